"""The report on stones side by side: one HTML file that needs nothing else, on screen or on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from .. import __version__
from ..comparison.comparison import Comparison
from ..comparison.uncertainty import draws_for
from ..files import whole_file
from ..stone.plane_errors import Uncertainty
from . import pictures, tables

_HERE = Path(__file__).parent

# map: heading and what it shows
_MAPS = {
    "luminance": (
        "Luminance",
        "Where light comes back to the eye, and how much. Lighter is brighter; the scale is the same for all stones.",
    ),
    "contrast": (
        "Contrast",
        "The same light against each stone's own mean: above it or below it. Without colour, read the pattern off the "
        "luminance: what is lighter there is positive here.",
    ),
    "leak": ("Leakage", "Where light is lost below the girdle instead of coming back to the eye. Lighter is more."),
}


def save_report(comparison: Comparison, path: str | Path, *, title: str = "", force: bool = False) -> None:
    """Write the report on a comparison as one HTML file with everything in it.

    Raises InputError where a file is in the way and `force` isn't given, or the place can't be written to.
    """
    with whole_file(path, force=force) as target:
        target.write_text(report_html(comparison, title=title), encoding="utf-8")


def report_html(comparison: Comparison, *, title: str = "") -> str:
    """The report's HTML: drawings, verdicts, maps, ledger, numbers, proportions, how surely, cautions."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    shelf = Environment(loader=FileSystemLoader(_HERE), autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    shelf.lstrip_blocks = True
    names = " and ".join(f"{label} ({stone.name})" for label, stone in zip(comparison.labels, comparison.stones, strict=True))
    return shelf.get_template("page.html.j2").render(
        title=title or f"Stones side by side: {names}",
        version=__version__,
        comparison=comparison,
        stones=tables.stones(comparison),
        drawings=[pictures.data_uri(pictures.drawing_figure(stone), "svg") for stone in comparison.stones],
        glance=tables.glance(comparison),
        views=[tables.tilt_name(comparison, k) for k in range(len(comparison.views))],
        sentences=tables.sentences(comparison),
        maps=_maps(comparison),
        differences=_differences(comparison),
        ledger=pictures.data_uri(pictures.ledger_figure(comparison), "svg"),
        ledger_text=tables.ledger_text(comparison),
        light=tables.light(comparison),
        proportions=tables.proportions(comparison),
        sureness=tables.sureness(comparison),
        defaults=any(doubt == Uncertainty() for doubt in comparison.uncertainties),
        draws=draws_for(comparison.known_to_pct),
        verdicts=tables.count_verdicts(comparison),
        notes=tables.material_notes(comparison),
    )


def _maps(comparison: Comparison) -> list[dict[str, Any]]:
    """Every map with its heading, what it shows, and a text for who can't see it."""
    return [
        {
            "heading": heading,
            "text": text,
            "picture": pictures.data_uri(pictures.maps_figure(comparison, name)),
            "alt": tables.map_text(comparison, name),
        }
        for name, (heading, text) in _MAPS.items()
    ]


def _differences(comparison: Comparison) -> list[dict[str, Any]]:
    """The first stone against each other one."""
    first = comparison.labels[0]
    return [
        {
            "heading": f"{first} against {other}",
            "verdicts": pictures.data_uri(pictures.verdict_figure(comparison, k), "svg"),
            "verdicts_alt": tables.verdict_text(comparison, other),
            "picture": pictures.data_uri(pictures.difference_figure(comparison, k)),
            "alt": tables.difference_text(comparison, other),
        }
        for k, other in enumerate(comparison.labels)
        if k > 0
    ]
