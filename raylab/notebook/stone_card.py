"""The card of a stone: three drawings, the stone in 3D, and what is measured on it."""

from __future__ import annotations

from ..comparison.verdicts import words
from ..stone.extent import size_words
from ..stone.proportions import measure
from ..stone.stone import Stone
from .html import Html, note, page, row, table
from .line_drawing import three_drawings
from .turned_stone import turned_stone


def card(stone: Stone) -> Html:
    """Drawings, the stone in 3D, and the mean of each measured quantity."""
    found = measure(stone)
    about = found.definitions
    rows = [(words(key).title, words(key).show(one.mean)) for key, one in found.items() if about[key].mean]
    half = -(-len(rows) // 2)
    numbers = row(table(rows[:half]), table(rows[half:]))
    return page(stone.name, stone_line(stone), three_drawings(stone), turned_stone(stone), numbers, *material_notes(stone))


def stone_line(stone: Stone) -> str:
    """Material, weight, size and facets of a stone, and where its planes come from."""
    planes = "measured" if stone.measured else "by its proportions" if stone.cut else "from its planes"
    return f"{stone.material.name}, {stone.weight_ct:.3f} ct, {size_words(stone)}, {len(stone)} facets, {planes}"


def material_notes(*stones: Stone) -> list[Html]:
    """What is left out of the materials' models, and which of their numbers are from memory: once for each."""
    some = dict.fromkeys((stone.material.name, stone.material.remark) for stone in stones)
    return [note(f"{name}: {remark}") for name, remark in some if remark]
