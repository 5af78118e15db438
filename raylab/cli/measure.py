"""``raylab measure``: proportions and facets of a stone, read off its polygons."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter

from .console import say, say_json, table

Flag = Annotated[bool, Parameter(negative="")]


def measure(
    stone: Path,
    /,
    *,
    facets: Flag = False,
    save: Path | None = None,
    drawing: Path | None = None,
    force: Flag = False,
    json: Flag = False,
) -> None:
    """Measure a stone: proportions with their spread, facets by tier, weight.

    For example:

        raylab measure scenes/well-proportioned.toml

    Parameters
    ----------
    stone
        A stone file, or a scene file whose stone is meant.
    facets
        List every facet instead of one line per tier.
    save
        Also write the stone to this file: a mesh (.stl, .obj, .ply, .glb, in mm) or a table of facets (.csv).
    drawing
        Also draw its facets from above, side and below into this PNG.
    force
        Overwrite such a file if it is there.
    json
        Print everything as JSON instead of tables.
    """
    from ..files import save_png, save_stone
    from ..lighting.scenefile import load_stone
    from ..stone.measure import measure as measured

    body = load_stone(stone)
    found = measured(body)
    if save is not None:
        save_stone(body, save, force=force)
    if drawing is not None:
        from ..pictures.drawings import stone_figure

        save_png(stone_figure(body), drawing, force=force)
    facts = found.to_dict()
    if json:
        say_json(facts)
        return
    say(f"{found.name}: {found.material}, {found.weight_ct:.4f} ct, {found.volume_mm3:.3f} mm^3, {len(body)} facets")
    say(f"spread {found.spread_mm2_per_ct:.2f} mm^2/ct")
    say()
    heads = ("proportion", "mean", "least", "most", "spread", "unit", "places")
    table(heads, [_row(key, value) for key, value in facts.items() if isinstance(value, dict)])
    say()
    if facets:
        columns = ("facet", "slope / deg", "azimuth / deg", "distance / mm", "area / mm^2")
        rows = found.facets
        table(columns, [_cells(row.name, row.slope_deg, row.azimuth_deg, row.distance_mm, row.area_mm2) for row in rows])
    else:
        table(("tier", "facets", "mean slope / deg", "spread / deg", "area / mm^2"), _tiers(found.facets))
    for written in filter(None, (save, drawing)):
        say(f"written: {written}")


def _row(key: str, quantity: dict[str, Any]) -> tuple[str, ...]:
    name, _, unit = key.rpartition("_")
    numbers = (f"{quantity[part]:.4f}" for part in ("mean", "min", "max", "spread"))
    return name.replace("_", " "), *numbers, {"pct": "%"}.get(unit, unit), str(len(quantity["values"]))


def _cells(name: str, *numbers: float) -> tuple[str, ...]:
    return name, *(f"{number:.4f}" for number in numbers)


def _tiers(facets: Any) -> list[tuple[str, ...]]:
    """One line per tier, in the order of the facets."""
    rows = []
    for tier in dict.fromkeys(facet.tier for facet in facets):
        members = [facet for facet in facets if facet.tier == tier]
        slopes = [facet.slope_deg for facet in members]
        area = sum(facet.area_mm2 for facet in members)
        rows.append((tier, str(len(members)), *_cells("", sum(slopes) / len(slopes), max(slopes) - min(slopes), area)[1:]))
    return rows
