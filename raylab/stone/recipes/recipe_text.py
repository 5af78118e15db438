"""A recipe as the text of a TOML file."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import fields

from ..cuts.outlines import Sides
from ..facet_table import named_material
from ..finish import POLISHED
from ..stone import Stone
from .describing import recipe_of
from .recipe import Point, RecipeTier

_ABOUT = """\
# A stone as a recipe: the outline, the girdle, and the tiers in cutting order.
# Lengths in mm, angles in degrees; heights are counted from the middle of the girdle, negative below.
"""


def recipe_text(stone: Stone) -> str:
    """The text of a stone's recipe, numbers to full precision.

    Raises InputError for what a recipe can't hold: a girdle that isn't vertical, a material that has no name.
    """
    recipe = recipe_of(stone)
    name = " ".join(stone.name.split())
    head: dict[str, object] = {"name": name}
    if stone.cut:
        head["cut"] = stone.cut
    head["material"] = named_material(stone)
    if stone.material.absorption:
        head["absorption_per_mm"] = [list(pair) for pair in stone.material.absorption]
    head["symmetry"] = str(stone.symmetry)
    girdle: dict[str, object] = {"thickness_mm": 2.0 * recipe.girdle.rim_mm}
    if not isinstance(recipe.fit.outline, Sides):
        girdle["facets"] = recipe.girdle.facets
    if recipe.girdle.finish != POLISHED:
        girdle["finish"] = str(recipe.girdle.finish)
    parts = [
        _ABOUT + "schema = 1",
        _table("[stone]", head),
        _table("[stone.outline]", {"shape": recipe.fit.shape, **recipe.fit.lengths}),
        _table("[stone.girdle]", girdle),
        *(_table("[[stone.tier]]", dict(_stated(entry))) for entry in recipe.entries),
    ]
    return "\n\n".join(parts) + "\n"


def _stated(entry: RecipeTier | Point) -> Iterator[tuple[str, object]]:
    """The keys of an entry that differ from their defaults."""
    for one in fields(entry):
        value = getattr(entry, one.name)
        if value != one.default:
            yield one.name, value


def _table(heading: str, values: Mapping[str, object]) -> str:
    return "\n".join([heading, *(f"{key} = {_value(value)}" for key, value in values.items())])


def _value(value: object) -> str:
    """A value in TOML."""
    if isinstance(value, Point):
        return "{ " + ", ".join(f"{key} = {_value(one)}" for key, one in _stated(value)) + " }"
    if isinstance(value, tuple) and value and isinstance(value[0], Point):
        return "[\n" + "".join(f"    {_value(one)},\n" for one in value) + "]"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)
