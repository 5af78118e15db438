"""Body colour from a file: absorption spectra as CSV, in the unit that spectroscopy of gems uses.

    # source: who measured it, where it is published         (or: "# invented", for demo data)
    wavelength_nm,absorption_per_cm
    380,0.49
    390,0.41

The coefficient is the natural one: intensity falls as exp(-a l). From an absorbance A (decadic, as spectrometers print it)
over a path of l cm it is a = ln(10) A / l = 2.3026 A / l, with the reflections at both faces taken off first.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

from ..errors import InputError, nearest
from ..package_files import shipped
from ..reading import MIB, Kind, read_text, reader
from ..units import number_in

COLUMNS = ("wavelength_nm", "absorption_per_cm")
CM_PER_MM = 0.1
SPECTRUM = Kind("an absorption spectrum (CSV)", MIB)
_MAX_PER_CM = 1e4
_BOUNDS_NM = (100.0, 20000.0)
_SUFFIX = ".csv"
_SHIPPED = shipped("optics/data/absorption")


class Absorption(NamedTuple):
    """An absorption spectrum; ``material.tinted(spectrum.pairs)`` is the material with this body colour.

    Attributes
    ----------
    pairs : (wavelength in nm, natural absorption coefficient in 1/mm), wavelengths rising.
    origin : the file's comment that names the source or says "invented".
    """

    pairs: tuple[tuple[float, float], ...]
    origin: str


@reader
def read_absorption(path: str | Path) -> Absorption:
    """An absorption spectrum from a CSV file; see the module for its form.

    Raises InputError, naming file, line and value, for a missing or unreadable file, a wrong heading, a line that is not two
    numbers, wavelengths that don't rise, a negative coefficient, fewer than two lines, or no word about the origin.
    """
    return _read(Path(path))


def tints() -> tuple[str, ...]:
    """Names of the shipped demo tints, sorted. All are invented.

    >>> tints()
    ('faint-brownish', 'faint-yellowish')
    """
    return tuple(sorted(file.name.removesuffix(_SUFFIX) for file in _SHIPPED.iterdir() if file.name.endswith(_SUFFIX)))


def tint(name: str) -> Absorption:
    """A shipped demo tint by its name.

    >>> tint("faint-yellowish").pairs[2]
    (400.0, 0.035)
    """
    if name not in tints():
        raise InputError("unknown tint", key="tint", value=name, expected=nearest(str(name), tints()))
    return _read(_SHIPPED / (name + _SUFFIX))


def load_tint(name_or_path: str | Path) -> Absorption:
    """A built-in tint by name, or the spectrum in a CSV file (a path that ends in .csv or contains a folder)."""
    given = Path(name_or_path)
    if isinstance(name_or_path, Path) or given.suffix.lower() == _SUFFIX or given.name != name_or_path:
        return read_absorption(given)
    return tint(name_or_path)


def _read(file: Path) -> Absorption:
    text = read_text(file, SPECTRUM)
    try:
        return parse_absorption(text)
    except InputError as error:
        raise error.within(file=str(file)) from None


def parse_absorption(text: str) -> Absorption:
    """The same from the text of such a file; errors carry the line, not the file."""
    numbered = [(number, line.strip()) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]
    comments = [line.lstrip("# \t") for _, line in numbered if line.startswith("#")]
    table = [(number, line) for number, line in numbered if not line.startswith("#")]
    origin = next((line for line in comments if line.lower().startswith(("source:", "invented"))), None)
    if origin is None:
        raise InputError("no source stated", expected="a comment '# source: ...' or '# invented'")
    heading = ",".join(COLUMNS)
    if not table or [name.strip() for name in table[0][1].split(",")] != list(COLUMNS):
        number, line = table[0] if table else (len(numbered) + 1, "")
        raise InputError("wrong heading", key=f"line {number}", value=line, expected=heading)
    pairs: list[tuple[float, float]] = []
    for number, line in table[1:]:
        wavelength, per_cm = _numbers(number, line)
        if pairs and wavelength <= pairs[-1][0]:
            raise InputError(
                "wavelengths do not increase", key=_key(number, 0), value=wavelength, expected=f"more than {pairs[-1][0]:g}"
            )
        pairs.append((wavelength, round(per_cm * CM_PER_MM, 15)))
    if len(pairs) < 2:
        raise InputError("too few lines", expected=f"at least two lines of {heading}")
    return Absorption(tuple(pairs), origin)


def _numbers(number: int, line: str) -> tuple[float, float]:
    cells = line.split(",")
    if len(cells) != len(COLUMNS):
        raise InputError(f"{len(cells)} columns", key=f"line {number}", value=line, expected="two numbers separated by a comma")
    found = []
    for column, cell in enumerate(cells):
        try:
            found.append(float(cell))
        except ValueError:
            raise InputError("not a number", key=_key(number, column), value=cell.strip(), expected="e.g. 450.5") from None
        if not math.isfinite(found[-1]):
            raise InputError("not finite", key=_key(number, column), value=cell.strip(), expected="a number")
    wavelength = number_in(_key(number, 0), found[0], *_BOUNDS_NM, "nm")
    return wavelength, number_in(_key(number, 1), found[1], 0.0, _MAX_PER_CM, "1/cm")


def _key(number: int, column: int) -> str:
    return f"line {number}, {COLUMNS[column]}"
