"""A recipe from the tables of a TOML file: the keys of [stone] that stand in place of a cut and its parameters."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Literal

from ...errors import InputError
from ...optics.materials import Material
from ...toml_tables import NumberOrPairs, Numbers, Table, schema
from ...units import number_in, whole_in
from ..cuts.outlines import Sides
from ..finish import get_finish
from ..known_cuts import get_cut
from ..recognition import name_tiers
from ..stone import Stone
from ..symmetry_group import SymmetryGroup
from ..tier import CULET, GIRDLE, TABLE
from .closing import closed
from .girdle import Girdle
from .laying import Layout
from .recipe import Point, RecipeTier
from .shapes import outline_from, places_of

_OWN = ("outline", "girdle", "tier", "symmetry")
"""Keys of [stone] that only a recipe has."""

MOST_ENTRIES = 1000
_FACETS = 96
_RECIPE = schema(
    outline=(dict, ...),
    girdle=(dict, ...),
    tier=(list[dict[str, Any]], ...),
    symmetry=(str, "1"),
    cut=(str, None),
    name=(str, None),
    material=(str, None),
    absorption_per_mm=(NumberOrPairs, 0.0),
    tint=(str, None),
)
_GIRDLE = schema(thickness_mm=(float, ...), facets=(int, None), finish=(str, None))
_TIER = schema(
    name=(str, ...),
    side=(Literal["crown", "pavilion"], ...),
    azimuth_deg=(Numbers, None),
    one_per=(Literal["side", "corner"], None),
    slope_deg=(float, None),
    distance_mm=(float, None),
    meets=(str, None),
    height_mm=(float, None),
    through=(list[dict[str, Any]], None),
    finish=(str, None),
)
_POINT = schema(
    on=(list[str], None),
    azimuth_deg=(float, None),
    height_mm=(float, None),
    way_pct=(float, None),
    girdle_deg=(float, None),
    girdle_corner=(int, None),
    foot=(str, None),
    axis_mm=(float, None),
    xyz_mm=(Numbers, None),
)


def is_recipe(stone: Mapping[str, Any]) -> bool:
    """Does a [stone] table state a recipe, and not a cut with its parameters or a file?"""
    return any(key in stone for key in _OWN)


def recipe_from(table: Table, material_of: Callable[[Table], Material]) -> Stone:
    """The stone that the recipe in a [stone] table makes; `material_of` reads the material of the table once it is checked.

    Raises InputError, one line with file, section and key, for what can't be read, and StoneError, with tier and azimuth, for
    what makes no stone.
    """
    table = table.checked(_RECIPE)
    material = material_of(table)
    cut = table.values.get("cut")
    if cut is not None:
        table.build(get_cut, name=cut)
    symmetry = table.build(SymmetryGroup.parse, text=table.values.get("symmetry", "1"))
    tiers = table.parts("tier")
    if len(tiers) > MOST_ENTRIES:
        raise table.fault("too many entries", "tier", len(tiers), f"at most {MOST_ENTRIES}")
    layout = Layout(_girdle(table), symmetry)
    for one in tiers:
        one.build(layout.lay, tier=_tier(one))
    name = table.values.get("name", cut or "recipe")
    stone = table.build(closed, layout=layout, material=material, cut=cut or "", name=name)
    if cut is not None:
        _check_cut(table, cut, stone)
    return stone


def _check_cut(table: Table, cut: str, stone: Stone) -> None:
    """Raise InputError for a stated cut whose facets are clearly those of another, or of which the stone has no tier.

    A stone that is recognised as no cut may still be one that its facets were added to, so that its tiers' names decide.
    """
    found = name_tiers(stone.normals, stone.distances_mm).recognition
    if found is not None and cut not in (found.cut, *found.also):
        raise table.fault(
            "the facets are those of another cut", "cut", cut, f"{' or '.join((found.cut, *found.also))!r}, or none"
        )
    own = {tier.name for tier in get_cut(cut).tiers} - {TABLE.name, GIRDLE.name, CULET.name}
    if found is None and not own & set(stone.tiers):
        raise table.fault("no tier of this cut is among the recipe's", "cut", cut, f"tiers such as {min(own)!r}, or no cut")


def _girdle(table: Table) -> Girdle:
    outline = outline_from(table.part("outline"))
    own = table.part("girdle").checked(_GIRDLE)
    sides, corners = places_of(outline)

    def make(thickness_mm: float, facets: int = _FACETS, finish: str = "polished") -> Girdle:
        if "facets" in own.values and isinstance(outline, Sides):
            raise InputError("this outline has its own sides", key="facets", value=facets, expected="no number of facets")
        thickness = number_in("thickness_mm", thickness_mm, 0.0, 1e4, "mm", open_ends=True)
        count = whole_in("facets", facets, 16, 360)
        return Girdle(outline, thickness / 2.0, count, sides, corners, get_finish(finish, "finish"))

    return own.build(make, **own.values)


def _tier(table: Table) -> RecipeTier:
    table = table.checked(_TIER)
    values = {key: value for key, value in table.values.items() if key != "through"}
    azimuth = values.get("azimuth_deg")
    if azimuth == ():
        raise table.fault("no azimuth", "azimuth_deg", [], "one or more")
    return RecipeTier(**values, through=tuple(_point(one) for one in table.parts("through")))


def _point(table: Table) -> Point:
    table = table.checked(_POINT)
    xyz = table.values.get("xyz_mm")
    if xyz is not None and (not isinstance(xyz, tuple) or len(xyz) != 3):
        raise table.fault("not a point", "xyz_mm", xyz, "three numbers in brackets")
    for key, low, high, unit in _RANGES:
        for number in xyz or () if key == "xyz_mm" else [table.values[key]] if key in table.values else []:
            table.build(number_in, key=key, value=number, low=low, high=high, unit=unit)
    return Point(**table.values)


_RANGES = (
    ("azimuth_deg", -360.0, 360.0, "degrees"),
    ("girdle_deg", -360.0, 360.0, "degrees"),
    ("height_mm", -1e4, 1e4, "mm"),
    ("axis_mm", -1e4, 1e4, "mm"),
    ("xyz_mm", -1e4, 1e4, "mm"),
    ("way_pct", 0.0, 100.0, "%"),
)
