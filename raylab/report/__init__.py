"""The report on a comparison of stones: one self-contained HTML file for screen and paper."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ..comparison.comparison import Comparison
from ..comparison.uncertainty import draws_for
from ..package_files import shipped
from ..stone.measuring.plane_uncertainty import Uncertainty
from ..version import __version__
from ..whole_files import whole_file
from . import pictures, tables

# map: heading and description
_MAPS = {
    "luminance": (
        "Luminance",
        "Light that returns to the eye. Lighter is brighter; all stones have the same scale.",
    ),
    "contrast": (
        "Contrast",
        "Luminance relative to the mean of each stone: above it (positive) or below it (negative). In print without colour, "
        "the luminance maps show the sign: lighter areas are positive here.",
    ),
    "leak": ("Leakage", "Light that leaves below the girdle plane. Lighter is more."),
}


def save_report(comparison: Comparison, path: str | Path, *, title: str = "", force: bool = False) -> None:
    """Write the report on a comparison as one self-contained HTML file.

    Raises InputError if the file exists and `force` is false, or if the folder is not writable.
    """
    with whole_file(path, force=force) as target:
        target.write_text(report_html(comparison, pictures.drawn(comparison), title=title), encoding="utf-8")


def report_html(comparison: Comparison, drawn: Mapping[str, bytes], *, title: str = "") -> str:
    """The HTML of the report: summary, drawings, maps, differences, ledger, numbers, proportions, uncertainty, cautions.

    `drawn` are the comparison's pictures, see `pictures.drawn`.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    shelf = Environment(
        loader=FileSystemLoader(shipped("report")), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    shelf.lstrip_blocks = True
    names = " and ".join(f"{label} ({stone.name})" for label, stone in zip(comparison.labels, comparison.stones, strict=True))
    held = {name: pictures.data_uri(name, data) for name, data in drawn.items()}
    return shelf.get_template("page.html.j2").render(
        title=title or f"Comparison of {names}",
        version=__version__,
        comparison=comparison,
        stones=tables.stones(comparison),
        drawings=[held[f"stone-{label.lower()}.svg"] for label in comparison.labels],
        glance=tables.glance(comparison),
        views=[tables.tilt_name(comparison, k) for k in range(len(comparison.views))],
        sentences=tables.sentences(comparison),
        maps=_maps(comparison, held),
        differences=_differences(comparison, held),
        ledger=held["ledger.svg"],
        ledger_text=tables.ledger_text(comparison),
        light=tables.light(comparison),
        proportions=tables.proportions(comparison),
        sureness=tables.sureness(comparison),
        designs=tables.designs(comparison),
        poses=tables.poses(comparison),
        biases=tables.biases(comparison),
        facet_by_facet=any(isinstance(stated.angle_deg, tuple) for stated in comparison.uncertainties),
        defaults=any(
            vars(stated)[key] == usual for stated in comparison.uncertainties for key, usual in vars(Uncertainty()).items()
        ),
        draws=draws_for(comparison.known_to_pct),
        verdicts=tables.count_verdicts(comparison),
        notes=tables.material_notes(comparison),
    )


def _maps(comparison: Comparison, held: Mapping[str, str]) -> list[dict[str, Any]]:
    """Every map with its heading, what it shows, and a text for who can't see it."""
    return [
        {"heading": heading, "text": text, "picture": held[f"{name}.png"], "alt": tables.map_text(comparison, name)}
        for name, (heading, text) in _MAPS.items()
    ]


def _differences(comparison: Comparison, held: Mapping[str, str]) -> list[dict[str, Any]]:
    """Every pair of stones."""
    return [
        {
            "heading": f"{first} and {other}",
            "verdicts": held[f"verdicts-{first}-{other}.svg".lower()],
            "verdicts_alt": tables.verdict_text(comparison, first, other),
            "picture": held[f"difference-{first}-{other}.png".lower()],
            "alt": tables.difference_text(comparison, first, other),
        }
        for first, other in itertools.combinations(comparison.labels, 2)
    ]
