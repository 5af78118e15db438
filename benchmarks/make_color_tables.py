"""Writes the small tables in `raylab/optics/data`: observer, illuminants and the two demo tints.

    python benchmarks/make_color_tables.py

Observer and illuminants are taken from the package colour-science (BSD-3), which copied them from the publications of the
CIE; raylab ships them so that colour costs no 100 MB dependency. `tests/test_spectrum.py` compares every number with that
package. The demo tints are invented: smooth formulas, no measured stone.
"""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np

DATA = Path(__file__).parent.parent / "raylab" / "optics" / "data"
WAVELENGTHS_NM = np.arange(380, 785, 5)
ILLUMINANTS = ("D65", "A", "E", "LED-B3")


def observer() -> np.ndarray:
    """Colour-matching functions (M, 3) of the CIE 1931 2-degree observer."""
    import colour

    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return table.values[np.isin(table.wavelengths, WAVELENGTHS_NM)]


def illuminants() -> np.ndarray:
    """Relative spectral power (M, 4) of `ILLUMINANTS`, as tabulated (100 at 560 nm for D65, A and E)."""
    import colour

    tables = [colour.SDS_ILLUMINANTS[name] for name in ILLUMINANTS]
    return np.column_stack([table.values[np.isin(table.wavelengths, WAVELENGTHS_NM)] for table in tables])


TINT_NM = np.arange(380, 790, 10)
YELLOWISH = "a = 0.35 exp(-(wavelength - 400)/60), wavelength in nm"
BROWNISH = "a = 0.16 (500/wavelength)^3, wavelength in nm"


def yellowish() -> np.ndarray:
    return 0.35 * np.exp(-(TINT_NM - 400) / 60.0)


def brownish() -> np.ndarray:
    return 0.16 * (500.0 / TINT_NM) ** 3


def write(path: Path, about: list[str], columns: list[str], table: np.ndarray, digits: str) -> None:
    rows = [",".join([f"{row[0]:g}", *(f"{number:{digits}}" for number in row[1:])]) for row in table]
    path.write_text("\n".join([*("# " + line for line in about), ",".join(columns), *rows]) + "\n", encoding="utf-8")
    print(path.relative_to(DATA.parent.parent.parent), len(rows), "rows")


def main() -> None:
    import colour

    origin = f"source: package colour-science {colour.__version__}, written {datetime.date.today()} by make_color_tables.py"
    cie = "tables of CIE 015:2018, Colorimetry, 4th edition, doi:10.25039/TR.015.2018"
    write(
        DATA / "observer_cie_1931_2deg.csv",
        ["CIE 1931 2-degree standard observer, colour-matching functions", origin, cie],
        ["wavelength_nm", "x", "y", "z"],
        np.column_stack([WAVELENGTHS_NM, observer()]),
        ".12g",
    )
    write(
        DATA / "illuminants.csv",
        ["Relative spectral power of CIE illuminants: daylight, tungsten, equal energy, a phosphor LED", origin, cie],
        ["wavelength_nm", *ILLUMINANTS],
        np.column_stack([WAVELENGTHS_NM, illuminants()]),
        ".12g",
    )
    for name, formula, curve in [("faint-yellowish", YELLOWISH, yellowish), ("faint-brownish", BROWNISH, brownish)]:
        write(
            DATA / "absorption" / f"{name}.csv",
            [f"{name} demo tint", "invented: a smooth formula, no measured stone", formula],
            ["wavelength_nm", "absorption_per_cm"],
            np.column_stack([TINT_NM, curve()]),
            ".4f",
        )


if __name__ == "__main__":
    main()
