"""The keys of a design: a stone, its light and its view, as one flat set of named values.

A design is a dict. Its keys (`KEYS`) are the name and the parameters of a cut, or a stone as it is; the material; the dome and
what is changed of it; the tilt of the view and the wavelength. Further keys move facets, see `deviations`. They are the axes of
sweeps, gradients and searches. An invalid combination gets a reason (`REASONS`) instead of numbers, so that it does not end a
sweep of thousands.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from ..errors import InputError, StoneError, nearest
from ..lighting.dome_file import dome_of
from ..optics.materials import get_material
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.cuts import CUTS, USUAL
from ..stone.cuts.cut import Cut, Reason
from ..stone.cuts.parameter import Parameter
from ..stone.known_cuts import get_cut
from ..stone.stone import Stone
from ..stone.stone_file import load_stone
from ..units import SODIUM_D_NM, number_in
from .deviations import check_deviations, deviation

Design = Mapping[str, Any]

CUT = "cut"
"""Key of the cut; a round brilliant by default."""

STONE = "stone"
"""Key of a stone as it is, in place of a cut and its parameters."""

MATERIAL = "material"
"""Key of the material; that of a stone as it is where none is stated."""

PARAMETERS: dict[str, Parameter] = {}
"""Parameters of all cuts by key. A key means the same in every cut; what its description adds is the first one's."""
for _parameter in (one for cut in CUTS.values() for one in cut.parameters):
    PARAMETERS.setdefault(_parameter.key, _parameter)

STONE_KEYS: dict[str, tuple[str, str]] = {
    CUT: ("cut", ""),
    **{one.key: (one.label, one.unit or ("" if one.kind is str else "1")) for one in PARAMETERS.values()},
    STONE: ("stone", ""),
    MATERIAL: ("material", ""),
    "absorption_per_mm": ("absorption coefficient", "1/mm"),
}
DOME_KEYS = {
    "head_half_angle_deg": ("half-angle of the head", "degree"),
    "sky_radiance": ("radiance of the sky", "1"),
    "tray_radiance": ("radiance of the tray", "1"),
}
"""What is changed of the dome, in the dome's own units."""
LIGHT_KEYS = {
    "dome": ("dome", ""),
    **DOME_KEYS,
    "tilt_deg": ("tilt", "degree"),
    "tilt_azimuth_deg": ("azimuth of the tilt", "degree"),
    "turn_deg": ("turn about the axis", "degree"),
    "wavelength_nm": ("wavelength in air", "nm"),
}
KEYS: dict[str, tuple[str, str]] = {**STONE_KEYS, **LIGHT_KEYS}
"""The keys of a design: long name and unit; percentages are of the girdle diameter or of the width. A name has no unit."""

NAMED = (CUT, STONE, "dome", MATERIAL)
"""Keys whose values are shown by name."""

GEOMETRY: dict[str, tuple[str, str]] = {
    "weight_ct": ("weight", "ct"),
    "length_mm": ("length, of a round stone the girdle diameter", "mm"),
    "width_mm": ("width, of a round stone the girdle diameter", "mm"),
    "depth_pct": ("total depth, percent of the width", "%"),
    "spread_mm2_per_ct": ("face-up outline area per carat", "mm^2/ct"),
    "area_mm2": ("area of the outline as seen", "mm^2"),
}
"""A design's numbers that need no light; length and width as `measure` takes them."""

_IMPOSSIBLE: tuple[Reason, ...] = tuple(dict.fromkeys(reason for cut in CUTS.values() for reason in cut.reasons))
REASONS: tuple[tuple[str, str], ...] = (
    ("traced", "a stone, traced"),
    ("out_of_range", "a number out of range"),
    *((reason.name, reason.meaning) for reason in _IMPOSSIBLE),
    ("no_closed_stone", "the planes do not enclose a stone with a facet on each plane"),
    ("index_not_known", "the refractive index is unknown at the wavelength"),
    ("no_such_facet", "the stone has no facet of that name"),
    ("excluded", "a condition of the sweep excludes it"),
)
"""Reasons for missing numbers of a design, by code: name and meaning. Code 0: the design has numbers."""

_CODES = {name: code for code, (name, _) in enumerate(REASONS)}
TRACED, OUT_OF_RANGE, EXCLUDED = _CODES["traced"], _CODES["out_of_range"], _CODES["excluded"]
_REASON_OF_KEY = {"wavelengths_nm": "index_not_known", "offsets": "no_such_facet"}


def about_key(key: str) -> tuple[str, str]:
    """Long name and unit of a key."""
    parts = deviation(key)
    return KEYS[key] if parts is None else parts.about


def complete(
    given: Design, varied: Mapping[str, Any] | Iterable[str] = (), wavelength_nm: float = SODIUM_D_NM
) -> dict[str, Any]:
    """What `given` and the defaults say about all that is not `varied`; names become domes and materials.

    Where the cut itself is varied (`varied` maps it to names), parameters that are not stated are left to each cut.
    `wavelength_nm` holds where neither states another.

    Raises InputError for an unknown key, both of two alternatives or neither, an unknown name.
    """
    stones, chosen = _made_of(given, varied)
    varied = tuple(varied)
    stated = [*varied, *(key for key, value in given.items() if value is not None)]
    for key in stated:
        if stated.count(key) > 1:
            raise InputError("given as an axis and as a fixed value", key=key, expected="one of the two")
    if STONE in stated:
        _check_light_keys([*given, *varied])
    for cut in chosen:
        _check_keys(cut, [*given, *varied], stated)
    check_deviations(stated, chosen, stones)
    full = {key: value for key, value in _defaults(chosen, stated, wavelength_nm).items() if key not in stated}
    full.update({key: resolved(key, value) for key, value in given.items() if value is not None})
    for choices in (*(choice for cut in chosen for choice in needed(cut)), ("dome",)):
        if not set(choices) & {*full, *varied}:
            raise InputError("missing", key=" or ".join(choices), expected="an axis or a fixed value")
    return {key: full[key] for key in (*KEYS, *full) if key in full}


def _made_of(given: Design, varied: Mapping[str, Any] | Iterable[str]) -> tuple[list[Stone], list[Cut]]:
    """The stones that are given or varied as they are; else the cuts."""
    axes = varied if isinstance(varied, Mapping) else {}
    if STONE in varied or given.get(STONE) is not None:
        return [one for one in axes.get(STONE, [given.get(STONE)]) if isinstance(one, Stone)], []
    return [], [get_cut(name) for name in (axes[CUT] if CUT in axes else [given.get(CUT) or USUAL])]


def _check_light_keys(keys: Iterable[str]) -> None:
    """Raise InputError for keys that no design of a stone as it is has."""
    known = [key for key in KEYS if key != CUT and key not in PARAMETERS]
    for key in keys:
        if key == CUT or key in PARAMETERS:
            raise InputError("a stone has proportions of its own", key=key, expected="no proportions beside a stone")
        if key not in known and deviation(key) is None:
            raise unknown_key(key, known)


def _check_keys(cut: Cut, keys: Iterable[str], stated: Iterable[str]) -> None:
    """Raise InputError for keys that no design of the cut has, and for alternatives that are both stated."""
    known = [key for key in KEYS if key not in PARAMETERS or key in cut.keys]
    for key in keys:
        if key not in known and deviation(key) is None:
            raise unknown_key(key, known, cut)
    cut.stated_once(dict.fromkeys(key for key in stated if key in cut.keys))


def unknown_key(key: str, known: Iterable[str], cut: Cut | None = None) -> InputError:
    """The refusal of a key that no design has, or none of a cut; of a setting, with the place where settings are given."""
    if key in {one.name for one in fields(TraceSettings)}:
        return InputError("a setting, not a design key", key=key, expected=f"settings=TraceSettings({key}=...)")
    problem = f"no parameter of the {cut.name}" if cut is not None and key in PARAMETERS else "unknown design key"
    return InputError(problem, key=key, expected=nearest(key, known))


def needed(cut: Cut) -> list[tuple[str, ...]]:
    """Keys of which a design of the cut must state one each."""
    plain = [one.key for one in cut.parameters if one.instead_of is None and one.default is None and not one.optional]
    return [(key, *(other for one, other in cut.alternatives if one == key)) for key in plain]


def _defaults(chosen: list[Cut], stated: Iterable[str], wavelength_nm: float) -> dict[str, Any]:
    """The defaults of the cut, where there is but one, and of `View`; one wavelength, and the material of a cut."""
    known: dict[str, Any] = {"wavelength_nm": wavelength_nm}
    if chosen:
        known |= {CUT: chosen[0].name, "material": get_material("diamond")}
    if len(chosen) == 1:
        known |= chosen[0].defaults(dict.fromkeys(stated))
    for key, parameter in inspect.signature(View).parameters.items():
        if key in LIGHT_KEYS and parameter.default is not None:
            known[key] = parameter.default
    return known


def resolved(key: str, value: Any) -> Any:
    """A dome, stone or material for its name or file, a plain number for a number. Raises InputError for anything else."""
    if key == "dome":
        return dome_of(value)
    if key == STONE:
        return _stone(value)
    if key == "material":
        return get_material(value)
    if key == CUT:
        return get_cut(value).name
    return PARAMETERS[key].plain(value) if key in PARAMETERS else number_in(key, value, -1e9, 1e9)


def _stone(given: Any) -> Stone:
    """A stone itself, or the one in a file."""
    if isinstance(given, str | Path):
        return load_stone(given)
    if not isinstance(given, Stone):
        raise InputError("wrong type", key=STONE, value=given, expected="a Stone, or the file of one")
    return given


def reason_of(reason: Reason) -> int:
    """The code of a cut's reason; see `REASONS`."""
    return _CODES[reason.name]


def reason_for(error: InputError) -> int:
    """The code of an error that a design raised; see `REASONS`."""
    if isinstance(error, StoneError):
        return _CODES[error.reason or "no_closed_stone"]
    return _CODES[_REASON_OF_KEY.get(error.key or "", "out_of_range")]
