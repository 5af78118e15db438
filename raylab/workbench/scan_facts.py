"""What a page knows of the scan that its stone came from: its noise, and what that means for each facet.

It is kept in the design, as `scan` of a table of facets, so that the report counts the errors of this scan, or says that they
are not known. A page that states the noise sends the file again: the planes that are found depend on it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from ..comparison.comparing import usual_uncertainty
from ..errors import InputError
from ..stone.measuring.plane_uncertainty import Uncertainty
from ..stone.scanning.report import ScanReport
from ..stone.stone import Stone
from ..toml_tables import Table, schema
from ..units import number_in

SCAN = "scan"
"""The key of a design."""

DIGITS = 4
"""Significant digits of a facet's errors; the page sends them with each question."""

_SCAN = schema(
    file=(str, ...),
    noise_um=(float | None, None),
    stated=(bool, False),
    recognition=(str | None, None),
    errors=(list[list[Any]], []),
)


def scan_facts(file: str, report: ScanReport) -> dict[str, Any]:
    """A scan for the page.

    Its file, its noise (None where it is not known) and whether the user stated it, how surely the cut was recognised, and each
    facet's errors of slope and across it (degrees) and of distance (um), None where one is not known.
    """
    fits = [(fit.slope_error_deg, fit.across_error_deg, fit.distance_error_um) for fit in report.facets]
    known = not math.isnan(report.noise_um)
    return {
        "file": file,
        "noise_um": report.noise_um if known else None,
        "stated": report.noise_stated,
        "recognition": None if report.recognition is None else str(report.recognition),
        "errors": [[_short(one) for one in row] for row in fits] if known else [],
    }


def _short(error: float) -> float | None:
    return float(f"{error:.{DIGITS}g}") if math.isfinite(error) else None


def uncertainty_of(design: Mapping[str, Any], stone: Stone) -> Uncertainty:
    """The uncertainty of the planes of a design's stone: the usual one of a device, with the scatter of its scan if it has one.

    A stone from which material was taken away since has the usual one; that its scan's noise is not known holds for it, too.
    Raises InputError for facts of a scan that are not those of `scan_facts`.
    """
    usual, facts = usual_uncertainty(stone), design.get("of", design).get(SCAN)
    if facts is None:
        return usual
    found = Table("", SCAN, facts).checked(_SCAN).values
    if found.get("noise_um") is None:
        return replace(usual, scatter_left_out=True)
    if "of" in design:
        return usual
    errors = [[_number(one) for one in row] for row in found.get("errors", ())]
    if np.shape(errors) != (len(stone), 3):
        raise InputError("wrong number of errors", key=f"{SCAN}.errors", expected=f"three for each of {len(stone)} facets")
    return usual.with_scatter(*np.array(errors).T)


def _number(error: Any) -> float:
    return math.nan if error is None else number_in(f"{SCAN}.errors", error, 0.0, math.inf)
