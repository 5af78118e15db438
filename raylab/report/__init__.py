"""The report on a comparison of stones: one self-contained HTML file for screen and paper."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..comparison.comparison import Comparison
from ..comparison.summing_up import listed, sentences
from ..comparison.uncertainty import draws_for
from ..package_files import shipped
from ..pictures.turning import turning_script
from ..progress import Progress
from ..stone.extent import extent_of
from ..stone.measuring.plane_uncertainty import Uncertainty
from ..threads import at_once
from ..units import with_minus_signs
from ..version import __version__
from ..whole_files import whole_file
from . import darkness, inclusions, panels, pictures, tables
from .appearance import Appearance, appearance_of
from .file_names import letters
from .live_stones import live_page


def save_report(
    comparison: Comparison,
    path: str | Path,
    *,
    title: str = "",
    looks: bool = True,
    live: bool = False,
    force: bool = False,
    progress: bool | Progress = False,
) -> None:
    """Write the report on a comparison as one self-contained HTML file.

    Parameters
    ----------
    title : heading of the report; by default the names of the stones.
    looks : draw colour pictures of the stones and a film of them, and count fire and scintillation.
    live : let the reader turn the first four stones, traced live in the browser, see `save_show`.
    force : overwrite a file of this name.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises InputError if the file exists and `force` is false, or if the folder is not writable; UnsupportedScene for a stone
    that can't be traced live.
    """
    with whole_file(path, force=force) as target:
        frame = live_page(comparison) if live else ""
        drawn, seen = drawn_and_seen(comparison, looks, progress)
        target.write_text(report_html(comparison, drawn, seen, title=title, live=frame), encoding="utf-8")


def drawn_and_seen(
    comparison: Comparison, looks: bool = True, progress: bool | Progress = False
) -> tuple[dict[str, bytes], Appearance | None]:
    """The figures of a comparison, and what its stones look like unless `looks` is false; see `save_report`.

    Figures are drawn beside the tracing: they need one thread, which the tracer leaves idle now and then.
    """
    if not looks:
        return pictures.drawn(comparison), None
    made: dict[str, Any] = {}

    def work(what: str) -> None:
        made[what] = appearance_of(comparison, progress) if what == "seen" else pictures.drawn(comparison)

    at_once(work, ["drawn", "seen"], 2)
    return made["drawn"], made["seen"]


def report_html(
    comparison: Comparison, drawn: Mapping[str, bytes], seen: Appearance | None = None, *, title: str = "", live: str = ""
) -> str:
    """The HTML of the report: colour pictures, summary, film, maps, main numbers, and the details.

    Parameters
    ----------
    drawn : the comparison's figures, see `pictures.drawn`.
    seen : what the stones look like; without it the page has neither colour pictures nor a film.
    live : the page of the stones traced live, see `live_page`; none by default.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup, escape

    shelf = Environment(
        loader=FileSystemLoader(shipped("report")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        finalize=_as_text,
    )
    shelf.lstrip_blocks = True
    marks = letters(len(comparison.labels))
    files = {**drawn, **(seen.files if seen else {})}
    held = {name: pictures.data_uri(name, data) for name, data in files.items()}
    return shelf.get_template("page.html.j2").render(
        title=title or listed([stone.name for stone in comparison.stones]),
        version=__version__,
        comparison=comparison,
        scale=tables.SCALES[comparison.scale],
        stones=tables.stones(comparison),
        sentences=sentences(comparison),
        looks=panels.looks(comparison, seen, held) if seen else [],
        film=panels.film(comparison, seen, held) if seen else None,
        lively=panels.liveliness(comparison, seen) if seen else [],
        maps=panels.maps(comparison, held),
        key_numbers=tables.key_numbers(comparison),
        differences=panels.differences(comparison, held),
        ledger=held["ledger.svg"],
        ledger_text=tables.ledger_text(comparison),
        turning=Markup(turning_script(list(comparison.shown), "#turning figure", "#turning button")),
        live=escape(live),  # a page of its own, in which no sign is changed
        any_round=any(extent_of(stone).round for stone in comparison.stones),
        dark=darkness.panel(comparison),
        included=inclusions.panel(comparison),
        drawings=[held[f"{mark}-drawing.svg"] for mark in marks],
        parts=tables.sentences(comparison),
        light=tables.light(comparison),
        proportions=tables.proportions(comparison),
        notes=tables.material_notes(comparison),
        **_trust(comparison),
    )


def _as_text(given: Any) -> Any:
    """What a reader sees of a plain text in the template; what is HTML already stays."""
    return given if hasattr(given, "__html__") or not isinstance(given, str) else with_minus_signs(given)


def _trust(comparison: Comparison) -> dict[str, Any]:
    """What the page says about uncertainties and corrections."""
    stated = comparison.uncertainties
    usual = Uncertainty().to_dict()
    return {
        "sureness": tables.sureness(comparison),
        "designs": tables.designs(comparison),
        "about_scans": comparison.about_scans,
        "poses": tables.poses(comparison),
        "biases": tables.biases(comparison),
        "facet_by_facet": any(isinstance(one.angle_deg, tuple) for one in stated),
        "defaults": any(vars(one)[key] == value for one in stated for key, value in usual.items()),
        "draws": draws_for(comparison.known_to_pct),
        "verdicts": tables.count_verdicts(comparison),
    }
