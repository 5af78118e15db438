"""Shares of the view's light: the ledger's six entries, and glare. See `tracers.ledger`."""

from __future__ import annotations

from ...tracers.ledger import ABSORBED, FIELDS, GLARE, HEAD, LEAK, SCATTERED, SKY, UNTRACED
from ...tracers.totals import Totals
from .definition import Definition, Statistic, unit_vector


def _share(channel: int, label: str, definition: str) -> Definition:
    """The area mean of a channel of the ledger, of which each part of the untraced light may yet become a part."""

    def of(totals: Totals, peak_radiance: float) -> Statistic:
        value, untraced = float(totals.mean[channel]), float(totals.mean[UNTRACED])
        low = 0.0 if channel == UNTRACED else value
        high = value if channel in (UNTRACED, GLARE) else value + untraced  # what is untraced has passed the first surface
        return Statistic(value, low, high, totals.error(unit_vector(channel)))

    return Definition(
        key=FIELDS[channel],
        label=label,
        definition=f"area mean of the share of light that {definition}",
        percent=True,
        span=(0.0, 1.0),
        of=of,
        gradient=lambda mean, peak_radiance: unit_vector(channel),
    )


GLARE_SHARE = _share(GLARE, "glare of the first surface", "is reflected by the first surface")

LEDGER = (
    _share(SKY, "light returned from the sky", "leaves above the girdle plane, outside the head cone"),
    _share(HEAD, "light blocked by the head", "leaves into the head cone"),
    _share(LEAK, "leakage below the girdle", "leaves below the girdle plane"),
    _share(ABSORBED, "absorption by body colour", "is absorbed by body colour"),
    _share(SCATTERED, "light lost at the girdle", "meets an absorbing facet"),
    _share(UNTRACED, "untraced", "is still inside when tracing ends"),
)
"""The six entries, in the ledger's order."""
