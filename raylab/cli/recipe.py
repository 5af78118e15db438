"""``raylab recipe``: a cut at its proportions, written as a recipe by tiers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from .console import faults_by_option, say, say_materials
from .options import Flag, refuse_other_kind

if TYPE_CHECKING:
    from ..stone.cuts.cut import Cut


def recipe(
    cut: str, /, *, out: Path, material: str = "diamond", name: str | None = None, force: Flag = False, **parameters: str
) -> None:
    """Write a cut as a recipe by tiers: outline, girdle, and how each tier is laid.

    The file can be edited and is read wherever a stone is. For a stone in a file, see `raylab measure --save`.

    For example:

        raylab recipe "round brilliant" --table-pct 57 --crown-angle-deg 34.5 --pavilion-angle-deg 40.75 --out my-round.toml

    Parameters
    ----------
    cut
        Name of the cut (see `raylab cuts`).
    out
        File to write (.toml).
    material
        Material of the stone.
    name
        Name of the stone. By default that of the cut.
    force
        Overwrite an existing file.
    parameters
        Parameters of the cut by their keys, such as --table-pct 57.
    """
    from ..files import save_stone
    from ..stone.known_cuts import get_cut

    refuse_other_kind("--out", out, "a recipe is a TOML file", ".toml")
    known = get_cut(cut)
    given = {key.replace("-", "_"): value for key, value in parameters.items()}
    with faults_by_option("material", *given, *known.keys):
        stone = known.stone(material=material, name=name, **_read(known, given))
    save_stone(stone, out, force=force)
    say(f"{stone.name}: {len(stone)} facets, {stone.weight_ct:.4f} ct")
    say_materials(stone)
    say(f"written: {out}")


def _read(cut: Cut, given: dict[str, str]) -> dict[str, Any]:
    """Parameters as numbers, and choices as they are given. A number that is none is left for the cut to refuse."""
    return {key: value if key not in cut.keys or cut.keys[key].choices else _number(value) for key, value in given.items()}


def _number(word: str) -> float | str:
    try:
        return int(word) if word.isdecimal() else float(word)
    except ValueError:
        return word
