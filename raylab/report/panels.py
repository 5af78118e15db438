"""The pictures of the report as the page arranges them: panels of colour pictures, maps, the film, fire and scintillation."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Any

from ..comparison.comparison import Comparison
from ..comparison.summing_up import listed
from . import tables
from .appearance import Appearance
from .file_names import FILM, letters, look_names
from .film import TILT_DEG, WAVELENGTHS
from .liveliness import LEAN_DEG
from .pictures import data_uri

# map: heading and description
_MAPS = {
    "luminance": (
        "How bright each point is",
        "The light that comes back to the eye. Lighter is brighter; all stones have the same scale.",
    ),
    "contrast": (
        "Where a stone is lighter or darker than its own mean",
        "Contrast: above the mean of the stone (positive) or below it (negative). In print without colour, the maps of "
        "brightness show the sign: lighter areas are positive here.",
    ),
    "leak": (
        "Where light is lost below",
        "Leakage: light that leaves the stone below its girdle and never comes back. Lighter is more.",
    ),
}


def maps(comparison: Comparison, held: Mapping[str, str]) -> list[dict[str, Any]]:
    """Every map with its heading, what it shows, and for each stone its picture with a text for who can't see it."""
    each = list(zip(letters(len(comparison.labels)), comparison.labels, comparison.stones, strict=True))
    return [
        {
            "heading": heading,
            "text": text,
            "pictures": [
                {
                    "picture": held[f"{letter}-{name}.png"],
                    "alt": tables.map_text(comparison, name, k),
                    "caption": f"{label}: {stone.name}",
                }
                for k, (letter, label, stone) in enumerate(each)
            ],
        }
        for name, (heading, text) in _MAPS.items()
    ]


def differences(comparison: Comparison, held: Mapping[str, str]) -> list[dict[str, Any]]:
    """Every pair of stones."""
    return [
        {
            "heading": f"{first} and {other}",
            "verdicts": held[f"{first}-and-{other}-verdicts.svg".lower()],
            "verdicts_alt": tables.verdict_text(comparison, first, other),
            "picture": held[f"{first}-and-{other}-difference.png".lower()],
            "alt": tables.difference_text(comparison, first, other),
        }
        for first, other in itertools.combinations(comparison.labels, 2)
    ]


def looks(comparison: Comparison, seen: Appearance, held: Mapping[str, str]) -> list[dict[str, Any]]:
    """A panel for each light: rows by view, in them a picture of each stone with a text for who can't see it."""
    views = seen.looks[0].views
    names = iter(look_names(letters(len(comparison.labels)), [look.dome for look in seen.looks], views))
    panels = []
    for look in seen.looks:
        by_stone = [[held[next(names)] for _ in views] for _ in comparison.labels]
        rows = [
            [
                {
                    "picture": by_stone[k][v],
                    "alt": f"Colour picture of stone {label} ({stone.name}), {tables.view_name(view)}, under {look.light}.",
                    "caption": f"{label}, {tables.view_name(view)}",
                }
                for k, (label, stone) in enumerate(zip(comparison.labels, comparison.stones, strict=True))
            ]
            for v, view in enumerate(views)
        ]
        panels.append({"light": look.light, "rows": rows, "made": _made(look)})
    return panels


def _made(look: Any) -> str:
    """How the pictures of a light were made."""
    count = len(look.pictures[0][0].waves)
    error = f"estimated error of colours, CIEDE2000: {look.error}"
    return f"Under {look.light}: exposure {look.exposure:g}, {count} wavelengths; {error}."


def film(comparison: Comparison, seen: Appearance, held: Mapping[str, str]) -> dict[str, str]:
    """The film, its strip of stills, and texts."""
    names = [f"{label} ({stone.name})" for label, stone in zip(comparison.labels, comparison.stones, strict=True)]
    return {
        "light": seen.film.look.light,
        "film": held[FILM],
        "strip": data_uri("strip.png", seen.film.strip),
        "alt": f"Film of {listed(names)} under {seen.film.look.light}: each leans {TILT_DEG:g}° to one side and to the other.",
        "order": listed(comparison.labels),
        "tilt": f"{TILT_DEG:g}°",
        "wavelengths": str(WAVELENGTHS),
    }


def liveliness(comparison: Comparison, seen: Appearance) -> list[dict[str, Any]]:
    """Fire and scintillation: a row with its meaning and the number of each stone."""
    return [
        {
            "name": "Fire, face-up",
            "text": "How far the face-up stone spreads white light into colours: mean angle between its blue-green and its red "
            "part (Fraunhofer lines F and C). A larger angle can show more colour under lamps. The error is not known.",
            "cells": [f"{one.fire_deg:.2f}°" for one in seen.lively],
        },
        {
            "name": "Scintillation",
            "text": "How much the stone flashes when it moves: share of the face that turns from bright to dark or back with "
            f"each degree of tilt, from face-up to {LEAN_DEG}°, in the light of the maps. "
            "± is an estimate of the error of counting.",
            "cells": [f"{100 * one.flash_per_deg:.1f} ± {100 * one.flash_error:.1f} % per degree" for one in seen.lively],
        },
    ]
