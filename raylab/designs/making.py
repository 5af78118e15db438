"""What a design means: its stone, its dome and its view, made of the values of its keys."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from ..lighting.dome import Dome
from ..optics.materials import Material, get_material
from ..scene.view import View
from ..stone.cuts import USUAL
from ..stone.known_cuts import get_cut
from ..stone.measuring.length import extents, length_deg_of
from ..stone.offsets import deviate
from ..stone.recognition import recognized
from ..stone.stone import Stone
from .deviations import offsets_of
from .keys import CUT, DOME_KEYS, STONE, Design


def stone_of(design: Design) -> Stone:
    """The stone of a design, with its facets moved.

    Raises InputError where its parameters are out of range, StoneError where they make no stone.
    """
    stone = _given_stone(design) if STONE in design else _cut_stone(design)
    offsets = offsets_of(design)
    return deviate(stone, offsets) if offsets else stone


def _given_stone(design: Design) -> Stone:
    """The stone as it is, in another material where the design states one."""
    stone: Stone = design[STONE]
    material = material_of(design, stone.material)
    return stone if material is stone.material else stone.relabeled(material=material)


def _cut_stone(design: Design) -> Stone:
    """The stone of a cut by its parameters."""
    cut = get_cut(design.get(CUT, USUAL))
    values = {key: design[key] for key in cut.keys if key in design}
    return cut.made(material=material_of(design), **values)


def material_of(design: Design, usual: str | Material = "diamond") -> Material:
    """The material of a design with its body colour; the usual one where it states none.

    Raises InputError for an absorption out of range.
    """
    material = get_material(design.get("material", usual))
    return material.tinted(design["absorption_per_mm"]) if "absorption_per_mm" in design else material


def dome_in(design: Design) -> Dome:
    """The dome of a design, with what the design changes of it. Raises InputError for a number out of range."""
    changes = tuple((key, design[key]) for key in DOME_KEYS if key in design)
    return _changed(design["dome"], changes) if changes else design["dome"]


@lru_cache(maxsize=64)  # designs that follow each other share a dome and what is computed of it
def _changed(dome: Dome, changes: tuple[tuple[str, float], ...]) -> Dome:
    return replace(dome, **dict(changes))  # type: ignore[arg-type]  # keys of DOME_KEYS, which are fields of numbers


def view_of(design: Design) -> View:
    """The view of a design."""
    return View(**{key: design[key] for key in ("tilt_deg", "tilt_azimuth_deg", "turn_deg") if key in design})


def geometry_of(stone: Stone) -> dict[str, float]:
    """A stone's numbers that need no light: `GEOMETRY` without the outline as seen.

    Length and width are those that `measure` takes of a stone with length and width, and so lie as the stone does.
    """
    length_mm, width_mm = extents(stone.outline_mm, length_deg_of(recognized(stone))).tolist()
    height_mm = float(stone.size_mm[2])
    return {
        "weight_ct": stone.weight_ct,
        "length_mm": length_mm,
        "width_mm": width_mm,
        "depth_pct": 100.0 * height_mm / width_mm,
        "spread_mm2_per_ct": stone.spread_mm2_per_ct,
    }
