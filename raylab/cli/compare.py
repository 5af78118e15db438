"""``raylab compare``: offered stones side by side, with the differences that their measurements resolve."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import Parameter

from ..progress import duration
from .console import faults_by_option, reading, say, say_json, say_materials, say_shortfalls, table
from .options import About, Flag, Force, Whole, refuse_beside

if TYPE_CHECKING:
    from ..comparison.comparison import Comparison
    from ..comparison.uncertainty import Estimate
    from ..comparison.verdicts import Words
    from ..lighting.dome import Dome
    from ..progress import Progress
    from ..stone.measuring.plane_uncertainty import Uncertainty
    from ..stone.stone import Stone


LAID_DEG = {"width": 0.0, "length": 90.0}
"""Azimuths of a tilt about width and length of stones that are laid alike: their length lies along azimuth 0."""

REPORT, NUMBERS = "report.html", "comparison.json"

PATIENCE_S = 10.0
"""Work that takes longer is announced."""

STONE_S, DRAW_S, LOOKS_S = 1.0, 0.06, 5.0
"""Seconds on two cores, as measured: for a stone, for a displaced stone in one view, and for the looks of a stone."""


def compare(
    *stones: Path,
    dome: str = "head-shadow",
    out: Path | None = None,
    unit: str | None = None,
    scale: Literal["equal length", "equal area", "true size"] = "equal length",
    tilt_deg: Annotated[tuple[float, ...], Parameter(negative="")] = (0.0, 10.0, 20.0),
    tilt_azimuth_deg: float | None = None,
    about: About | None = None,
    angle_deg: float | None = None,
    common_angle_deg: float | None = None,
    distance_um: float | None = None,
    coverage: float = 2.0,
    known_to_pct: float = 10.0,
    resolution: Whole = 256,
    precision: float = 2e-3,
    seed: Whole = 0,
    looks: bool = True,
    live: Flag = False,
    force: Force = False,
    json: Flag = False,
) -> None:
    """Compare two or more stones: differences, their location, and their significance.

    The numbers are those of the stones as given, and each difference is the difference of two of them. It is significant if it
    exceeds the uncertainty of the measurements, which only facet tables and scans have unless you state it: a stone by its
    proportions is taken as exact. With `--out`, the command writes a self-contained report (`report.html`), the numbers
    (`comparison.json`), the pictures and a film into a folder. Pictures are named after the files of the stones. The files
    appear together when the work is done, or not at all.

    For example:

        raylab compare scenes/stones/offer-a.csv scenes/stones/offer-b.csv --out out

    Parameters
    ----------
    stones
        Two or more files, each with one stone: facet tables, scans, stone files or scene files; or names of demo ones.
    dome
        Name of a built-in dome (see `raylab domes`), or a dome file (TOML).
    out
        Output folder; created if it does not exist.
    unit
        Unit of length of meshes that state none (.stl, .obj, .ply): mm, um, cm, m or in.
    scale
        Trace the stones at `equal length` (of a round stone: its mean diameter), at `equal area` of the outline, or at
        `true size`.
    tilt_deg
        Tilt of a view, degrees; repeat the option for several views.
    tilt_azimuth_deg
        Azimuth towards which the table leans, degrees counter-clockwise from the length, of a round stone from a main.
        [default: 0]
    about
        Instead of an azimuth: tilt the stones about their `length` or about their `width`.
    angle_deg
        Standard uncertainty of the direction of a measured facet, degrees. For a scan, the scatter of each facet is added.
    common_angle_deg
        Standard uncertainty of slope that all facets of a crown or pavilion share, degrees.
    distance_um
        Standard uncertainty of the position of a measured facet, micrometres. For a scan, the scatter of each facet is added.
    coverage
        Coverage factor: a difference is significant if it exceeds this many standard uncertainties.
    known_to_pct
        Relative accuracy of the uncertainties, percent; 10 needs 51 draws of each stone, 5 needs 201.
    resolution
        Pixels along each side of the maps.
    precision
        Width of the bracket on brightness: a smaller one is more exact and takes longer.
    seed
        Seed of the random draws.
    looks
        Draw the stones in colour under three lights and in motion, and count fire and scintillation (with `--out`).
    live
        Let the reader of the report turn the first four stones, traced live in the browser (with `--out`).
    json
        Print the numbers as JSON instead of tables.
    """
    from ..comparison.comparing import compare as compared
    from ..comparison.uncertainty import draws_for
    from ..demo import own_or_demo
    from ..lighting.dome_file import load_dome
    from ..progress import part_of, reporter
    from ..scene.settings import TraceSettings
    from ..scene.view import View
    from ..stone.measuring.plane_uncertainty import EXACT, Uncertainty
    from ..whole_files import whole_set

    stated = {"angle_deg": angle_deg, "common_angle_deg": common_angle_deg, "distance_um": distance_um}
    options = ("dome", "scale", "tilt_deg", "tilt_azimuth_deg", "coverage", "known_to_pct", "resolution", "precision", "seed")
    with faults_by_option(*options, *stated, tilts="tilt_deg"):
        refuse_beside(about, tilt_azimuth_deg)
        azimuth = LAID_DEG[about] if about is not None else tilt_azimuth_deg or 0.0
        said: dict[str, Any] = {key: value for key, value in stated.items() if value is not None}
        offered, uncertainties = _loaded([own_or_demo(one) for one in stones], unit, Uncertainty(**said) if said else None)
        light = load_dome(dome)
        measured = sum(one != EXACT for one in uncertainties)
        seconds = STONE_S * len(offered) + DRAW_S * measured * draws_for(known_to_pct) * len(tilt_deg)
        seconds += LOOKS_S * len(offered) * (looks and out is not None)

        files: dict[str, str] = {}
        with ExitStack() as held:
            if out is not None:
                files = _planned([path.stem for path in stones], light, tilt_deg if looks else ())
                stage = held.enter_context(whole_set(out, [REPORT, NUMBERS, *files.values()], force=force))
            update = _announced(held.enter_context(reporter(True, "comparing", counted=False)), len(offered), seconds)
            found = compared(
                *offered,
                dome=light,
                view=View(tilt_azimuth_deg=azimuth),
                tilts=tilt_deg,
                scale=scale,
                uncertainty=uncertainties,
                coverage=coverage,
                known_to_pct=known_to_pct,
                resolution=resolution,
                settings=TraceSettings(precision=precision, seed=seed),
                progress=part_of(update, 0.0, 0.6 if looks and out is not None else 1.0),
            )
            if out is not None:
                _write_all(found, stage, files, part_of(update, 0.6, 0.4) if looks else None, live)
    if json:
        say_json(found.to_dict())
        return
    _print(found)
    if out is not None:
        say(f"{2 + len(files)} files in {out}; read {out / REPORT} first")


def _announced(progress: Progress, stones: int, seconds: float) -> Progress:
    """The same progress, which says on stderr at its first call, when all input has been found good, how long work takes."""
    lines = []
    if seconds > PATIENCE_S:
        lines = [f"comparing {stones} stones takes about {duration(5 * round(seconds / 5))} on two cores\n"]

    def update(done: float, total: float) -> None:
        if lines:
            sys.stderr.write(lines.pop())
        progress(done, total)

    return update


def _loaded(paths: list[Path], unit: str | None, stated: Uncertainty | None) -> tuple[list[Stone], list[Uncertainty]]:
    """The stones and their uncertainties, the usual ones where none is stated; the unit applies to meshes that state none."""
    from ..comparison.comparing import usual_uncertainty
    from ..errors import InputError
    from ..stone.measuring.plane_uncertainty import Uncertainty
    from ..stone.scanning.mesh_file import SUFFIXES, UNIT_UNSAID
    from ..stone.stone_file import load_stone

    if unit is not None and not any(path.suffix.lower() in UNIT_UNSAID for path in paths):
        raise InputError("all files state their unit", key="--unit", value=unit, expected="none for these files")
    offered, uncertainties = [], []
    for path in paths:
        suffix = path.suffix.lower()
        if suffix in SUFFIXES:
            from ..stone.scanning.scan import load_scan  # half a second to import: only when used

            with reading(path):
                scan = load_scan(path, unit=unit if suffix in UNIT_UNSAID else None)
            offered.append(scan.stone)
            uncertainties.append(scan.report.uncertainty(stated or Uncertainty()))
        else:
            offered.append(load_stone(path))
            uncertainties.append(stated or usual_uncertainty(offered[-1]))
    return offered, uncertainties


def _planned(names: Sequence[str], dome: Dome, tilts_deg: Sequence[float]) -> dict[str, str]:
    """The pictures of stones whose files have these names: the file of each by its name within the page.

    `tilts_deg` : of the views, none where no colour pictures are to be drawn.
    """
    from ..report.file_names import FILM, figure_names, letters, look_names, marks
    from ..report.looks import lights, shown_views
    from ..scene.view import View

    every = letters(len(names)), marks(names)
    inside, files = (figure_names(one) for one in every)
    if tilts_deg:
        domes, views = lights(dome), shown_views([View(tilt_deg=tilt) for tilt in dict.fromkeys(tilts_deg)])
        more, other = (look_names(one, domes, views) for one in every)
        inside, files = [*inside, *more, FILM], [*files, *other, FILM]
    return dict(zip(inside, files, strict=True))


def _write_all(found: Comparison, folder: Path, files: Mapping[str, str], drawing: Progress | None, live: bool) -> None:
    """All files of a comparison, its pictures by their names within the page; `drawing`, where colour pictures are wanted."""
    from ..files import to_json
    from ..report import drawn_and_seen, report_html
    from ..report.live_stones import live_page

    frame = live_page(found) if live else ""
    drawn, seen = drawn_and_seen(found, drawing is not None, drawing or False)
    (folder / REPORT).write_text(report_html(found, drawn, seen, live=frame), encoding="utf-8")
    (folder / NUMBERS).write_text(to_json(found.to_dict()), encoding="utf-8")
    for name, data in {**drawn, **(seen.files if seen else {})}.items():
        (folder / files[name]).write_bytes(data)


def _print(found: Comparison) -> None:
    """The stones and their labels, then the numbers and verdicts of each view."""
    from ..comparison.summing_up import sentences
    from ..comparison.uncertainty import UNKNOWN
    from ..comparison.verdicts import words

    for label, stone in zip(found.labels, found.stones, strict=True):
        say(f"{label}  {stone.name}: {stone.material.name}, {stone.weight_ct:.3f} ct, {len(stone)} facets")
    for label, count in found.left_out().items():
        say(
            f"  {label}: numbers are those of the stone without its {count} inclusion{'s' * (count > 1)}; the report shows them"
        )
    for sentence in found.about_scans:
        say(f"  {sentence}")
    say_materials(*found.stones)
    say(f"dome {found.dome.name}; {found.scale}; engine {found.summaries[0][0].engine}")
    for sentence in sentences(found):
        say(sentence)
    for k, (view, light) in enumerate(zip(found.views, found.light, strict=True)):
        verdicts = found.light_verdicts(k)
        say()
        heads = (f"tilt {view.tilt_deg:g} deg", "unit", *(part for label in found.labels for part in (label, "+-")))
        rows = []
        for name in verdicts:
            what = words(name)
            some = [each.get(name, UNKNOWN) for each in light]
            cells = (text for one in some for text in (what.bare(one.statistic.value), _uncertainty(one, what)))
            rows.append((what.title, what.unit or "1", *cells))
        table(heads, rows, left=2)
        for pairs in verdicts.values():
            for verdict in pairs:
                if verdict.outcome != "unknown":
                    say(f"  {verdict.sentence}")
        for label, summary in zip(found.labels, found.summaries[k], strict=True):
            say_shortfalls(summary, label)
    say()
    table(
        ("measured", *found.labels, "+- (each)"),
        [
            (
                words(name).title,
                *(words(name).show(each.get(name, UNKNOWN).statistic.value) for each in found.proportions),
                ", ".join(_uncertainty(each.get(name, UNKNOWN), words(name)) for each in found.proportions),
            )
            for name in found.proportion_verdicts()
        ],
    )
    say()
    say(f"laid alike: {'; '.join(_laid(found))}")
    say("A larger number is not necessarily better. raylab gives no grade, no valuation and no cutting order.")


def _laid(found: Comparison) -> list[str]:
    """How each stone was turned and scaled to be traced."""
    return [
        f"{label} turned by {pose.turn_deg:z.2f} deg, scaled by {pose.factor:.4f}"
        for label, pose in zip(found.labels, found.poses, strict=True)
    ]


def _uncertainty(one: Estimate, what: Words) -> str:
    """The uncertainty of a number, or a dash where nothing was measured."""
    return what.bare(one.uncertainty) if one.uncertainty > 0.0 else "-"
