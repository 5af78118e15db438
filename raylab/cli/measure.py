"""``raylab measure``: proportions and facets of a stone, measured on its polygons."""

from __future__ import annotations

import math
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from .console import reading, say, say_json, say_materials, table
from .options import Flag, WholeIfAny, refuse_other_kind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ..comparison.uncertainty import Estimate
    from ..stone.measuring.callipers import Quantity
    from ..stone.proportions import FacetRow, Measurements
    from ..stone.scanning.report import ScanReport
    from ..stone.stone import Stone

MOST_PATCHES = 5


def measure(
    stone: Path,
    /,
    *,
    unit: str | None = None,
    material: str | None = None,
    noise_um: float | None = None,
    facets: Flag = False,
    wheel: WholeIfAny = None,
    uncertainty: Flag = False,
    save: Path | None = None,
    drawing: Path | None = None,
    force: Flag = False,
    json: Flag = False,
) -> None:
    """Measure the proportions, facets and weight of a stone.

    For example:

        raylab measure scenes/well-proportioned.toml
        raylab measure scenes/stones/offer-a.ply --unit mm

    Parameters
    ----------
    stone
        A stone file or scene file (TOML), a facet table (.csv, .tsv), or a scan (.stl, .obj, .ply, .glb, .3mf); or the name of
        a demo one (see `raylab scenes`).
    unit
        Unit of length of a scan: mm, um, cm, m or in. Required for .stl, .obj and .ply; .glb and .3mf state their own.
    material
        Material of a scanned stone. [default: diamond]
    noise_um
        Noise of the scanned points along the surface normal, micrometres. By default it is estimated from the scan.
    facets
        List every facet instead of one line per tier.
    wheel
        Number of teeth of an index wheel: list every facet, with its azimuth as a number of that wheel. A mark * stands where
        the azimuth lies between two teeth.
    uncertainty
        Also state the standard uncertainty of each proportion of a measured stone, and the interval that holds the true one in
        95 of 100 cases: from the usual errors of a measuring device and, of a scan, its own scatter facet by facet.
    save
        Save the stone to this file: a mesh (.stl, .obj, .ply in mm, .glb in metres), a facet table (.csv) or a recipe (.toml).
    drawing
        Save a drawing of the facets from above, side and below to this PNG file.
    force
        Overwrite existing files.
    json
        Print everything as JSON instead of tables.
    """
    from ..demo import own_or_demo
    from ..errors import InputError
    from ..stone.index_wheel import checked_wheel, index_of
    from ..stone.proportions import measure as measured
    from ..whole_files import refuse_taken

    teeth = None if wheel is None else checked_wheel(wheel, "--wheel")
    if drawing is not None:
        refuse_other_kind("--drawing", drawing, "a drawing is a PNG file", ".png")
    for file in filter(None, (save, drawing)):
        refuse_taken(file.parent, [file.name], force)
    path = own_or_demo(stone)
    body, report = _read(path, unit, material, noise_um)
    found = measured(body)
    if uncertainty and report is None and not body.measured:
        raise InputError(
            "a stone by its proportions has none", file=str(path), key="--uncertainty", value=None, expected="a measured stone"
        )
    estimates = _estimates(body, report) if uncertainty else {}
    _write(body, save, drawing, force)
    facts = {**found.to_dict(), "material_remark": body.material.remark}
    if uncertainty:
        facts["uncertainty"] = {name: one.to_dict() for name, one in estimates.items()}
    if teeth is not None:
        facts["wheel"] = teeth
        for row in facts["facets"]:
            row["index"] = index_of(row["azimuth_deg"], teeth)
    if report is not None:
        facts["scan"] = report.to_dict()
    if json:
        say_json(facts)
        return
    _print(body, found, report, estimates)
    if facets or teeth is not None:
        _print_facets(found.facets, teeth)
    else:
        rows = found.facets if report is None and found.tiers_from == "names" else sorted(found.facets, key=_downward_deg)
        table(("tier", "facets", "mean slope / deg", "spread / deg", "area / mm^2"), _tiers(rows))
    if report is not None:
        _print_scan(report)
    for written in filter(None, (save, drawing)):
        say(f"written: {written}")


def _print(stone: Stone, found: Measurements, report: ScanReport | None, estimates: dict[str, Estimate]) -> None:
    """What the stone is, how surely, and its proportions, with the uncertainties of a measured one if they are there."""
    cut = found.cut or "unknown cut"
    say(f"{found.name}: {cut}, {found.material}, {found.weight_ct:.4f} ct, {found.volume_mm3:.3f} mm^3, {len(stone)} facets")
    if found.cut is None:
        by_file = report is None and found.tiers_from == "names"  # a scan has names from its shape
        tiers = "as the file names them" if by_file else "by side, ring from the girdle on and slope"
        say(f"of no known cut: tiers {tiers}; percentages are of the width")
    surely = found.recognition if report is None else report.recognition
    if surely is not None:
        say(f"cut recognised by shape: {surely}")
    say(f"spread {found.spread_mm2_per_ct:.2f} mm^2/ct")
    say_materials(stone)
    say()
    heads = ("proportion", "mean", *(_BOUNDS if estimates else ()), "min", "max", "spread", "unit", "positions")
    proportions = []
    for key, quantity in found.items():
        bounds = _bounds(key, estimates.get(key)) if estimates else ()
        proportions.append((found.definitions[key].label, *_cells(quantity.mean), *bounds, *_places(quantity)))
    table(heads, proportions)
    if estimates:
        say(_said_of_errors(report))
    say()


def _write(stone: Stone, save: Path | None, drawing: Path | None, force: bool) -> None:
    """The files that are wanted, both of them or none."""
    from ..files import save_png, save_stone
    from ..whole_files import whole_file

    with ExitStack() as held:
        if drawing is not None:
            from ..pictures.drawings import stone_figure

            save_png(stone_figure(stone), held.enter_context(whole_file(drawing, force=force)))
        if save is not None:
            save_stone(stone, save, force=force)


def _read(path: Path, unit: str | None, material: str | None, noise_um: float | None) -> tuple[Stone, ScanReport | None]:
    """The stone in a file; for a scan also the report of its reconstruction."""
    from ..errors import InputError
    from ..stone.scanning.mesh_file import SUFFIXES
    from ..stone.stone_file import load_stone

    if path.suffix.lower() not in SUFFIXES:
        if noise_um is not None:
            raise InputError(
                "applies to scans only", file=str(path), key="--noise-um", value=noise_um, expected="no value for this file"
            )
        with reading(path):
            return load_stone(path, unit=unit, material=material), None
    from ..stone.scanning.scan import load_scan

    with reading(path):
        scan = load_scan(path, unit=unit, material=material or "diamond", noise_um=noise_um)
    return scan.stone, scan.report


def _print_scan(report: ScanReport) -> None:
    """A few lines on the reconstruction of a scan, with the patches that no facet explains."""
    say()
    noise = f"noise {report.noise_um:.3g} um ({'stated' if report.noise_stated else 'estimated'})"
    if math.isnan(report.noise_um):
        noise = "noise not known (too few points on a facet; --noise-um states it)"
    share = f"{report.explained_pct:.2f} % of the surface lies on the facets"
    say(f"scan: {report.triangles} triangles, unit {report.unit}, {noise}, {share}")
    edges = f"edges rounded within {report.rounding_um:.0f} um" if report.rounding_um else "edges sharp"
    say(f"  {edges}; girdle: {report.girdle}; extra facets: {', '.join(report.extra) or 'none'}")
    if report.rounding_um:
        say(f"  of the stone or of the scanner; --edge-radius-um scanned traces a radius of {report.edge_radius_um:.0f} um")
    walls = report.uncertain_walls
    if walls:
        worst = max(walls, key=lambda fit: fit.distance_error_um)
        known = f"{worst.name} is known to {worst.distance_error_um:.0f} um"
        say(f"  walls may be missing beside {len(walls)} of the girdle's ({known}): length and width are no better known there")
    leans = report.open_leans
    if leans:
        worst = max(leans, key=lambda fit: fit.lean_error_deg)
        known = f"the points of {worst.name} tell it to {worst.lean_error_deg:.0f} deg"
        say(f"  the lean of {len(leans)} of the girdle's walls is open ({known}): they are taken as upright")
    for patch in report.unexplained[:MOST_PATCHES]:
        position = ", ".join(f"{x:.2f}" for x in patch.position_mm)
        say(f"  patch of {patch.area_mm2:.4f} mm^2 at ({position}) mm: up to {patch.depth_um:.0f} um {patch.kind} the facets")
    rest = len(report.unexplained) - MOST_PATCHES
    if rest > 0:
        say(f"  and {rest} smaller patches")


def _print_facets(rows: Sequence[FacetRow], teeth: int | None) -> None:
    """One line per facet, with the number of an index wheel beside the azimuth where one is asked for."""
    from ..stone.index_wheel import BETWEEN, index_of, index_words

    columns: dict[str, Sequence[str]] = {
        "facet": [row.name for row in rows],
        "side": [row.side for row in rows],
        "slope / deg": _cells(*(row.slope_deg for row in rows)),
        "azimuth / deg": _cells(*(row.azimuth_deg for row in rows)),
    }
    if teeth is not None:
        columns[f"index of {teeth}"] = [index_words(index_of(row.azimuth_deg, teeth)) for row in rows]
    columns["distance / mm"] = _cells(*(row.distance_mm for row in rows))
    columns["area / mm^2"] = _cells(*(row.area_mm2 for row in rows))
    table(tuple(columns), list(zip(*columns.values(), strict=True)), left=2)
    if teeth is not None:
        say(f"  {BETWEEN} between two teeth; the wheel counts from azimuth 0, counter-clockwise seen from above")


def _estimates(stone: Stone, report: ScanReport | None) -> dict[str, Estimate]:
    """The proportions of a measured stone with the uncertainty that its planes give them."""
    from ..comparison.uncertainty import propagate
    from ..comparison.verdicts import within_nature
    from ..stone.measuring.plane_uncertainty import Uncertainty
    from ..stone.proportions import measure as measured
    from ..stone.recognition import recognized

    own = Uncertainty() if report is None else report.uncertainty(Uncertainty())
    named = recognized(stone)  # girdle flats, for one, err together
    found = propagate(named, lambda one: measured(one).numbers(), own, progress=True)
    return {name: within_nature(name, one) for name, one in found.items()}


_BOUNDS = ("+-", "at least", "at most")


def _bounds(name: str, one: Estimate | None) -> tuple[str, ...]:
    """Standard uncertainty and 95 % interval, or dashes for a number of which only the spread says anything."""
    from ..comparison.verdicts import natural_range

    if one is None or not math.isfinite(one.uncertainty):
        return ("-",) * len(_BOUNDS)
    (low, high), (least, most) = one.interval(), natural_range(name)
    return _cells(one.standard_uncertainty, max(low, least), min(high, most))


def _said_of_errors(report: ScanReport | None) -> str:
    """Where the uncertainties come from."""
    usual = "+-: standard uncertainty; at least, at most: 95 % interval; from the usual errors of a device (common practice)"
    if report is None:
        return usual
    if math.isnan(report.noise_um):
        return f"{usual}, without the scan's own scatter, which is not known"
    return f"{usual} and the scan's own scatter, facet by facet"


def _places(quantity: Quantity) -> tuple[str, ...]:
    return *_cells(quantity.min, quantity.max, quantity.spread), quantity.unit, str(len(quantity.values))


def _cells(*numbers: float) -> tuple[str, ...]:
    return tuple(f"{number:z.4f}" for number in numbers)


def _downward_deg(facet: FacetRow) -> float:
    """From 0 for a table to 180 for a culet: an order for facets that nobody has put in one."""
    return 180.0 - facet.slope_deg if facet.side == "down" else facet.slope_deg


def _tiers(facets: Sequence[FacetRow]) -> list[tuple[str, ...]]:
    """One line per tier, in the order of the facets."""
    rows = []
    for tier in dict.fromkeys(facet.tier for facet in facets):
        members = [facet for facet in facets if facet.tier == tier]
        slopes = [facet.slope_deg for facet in members]
        area = sum(facet.area_mm2 for facet in members)
        rows.append((tier, str(len(members)), *_cells(sum(slopes) / len(slopes), max(slopes) - min(slopes), area)))
    return rows
