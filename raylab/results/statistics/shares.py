"""Shares of the view's light: the ledger's six entries, and glare. See `tracers.ledger`."""

from __future__ import annotations

import numpy as np

from ...tracers.ledger import ABSORBED, DOUBT, FIELDS, GLARE, HEAD, LEAK, SCATTERED, SKY, UNTRACED, WINDOW
from ...tracers.totals import UNMET, Totals
from .definition import Definition, Statistic, statistic, unit_vector
from .limits import Limits


def _share(channel: int, label: str, definition: str) -> Definition:
    """The area mean of a channel of the ledger, of which each part of the untraced light may yet become a part where the scene
    can have it, and of which sky, head and leak may have to give to or take from each other what leaves on an edge."""

    def of(totals: Totals, limits: Limits) -> Statistic:
        value, traced, untraced = (
            means[..., one] for means, one in ((totals.estimate, channel), (totals.mean, channel), (totals.mean, UNTRACED))
        )
        none = np.zeros_like(traced)
        on_edges = channel == WINDOW or (channel in (SKY, HEAD, LEAK) and channel in limits)
        doubt = totals.mean[..., DOUBT] if on_edges else none
        low = none if channel == UNTRACED else np.maximum(0.0, traced - doubt)
        # Of what is untraced nothing becomes glare: it has passed the first surface.
        more = totals.mean[..., UNMET] if channel == WINDOW else untraced * limits.get(channel, 0.0)
        return statistic(value, low, traced + more + doubt, totals.error_of(channel), totals.whole)

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
WINDOW_SHARE = _share(
    WINDOW, "seen straight through", "leaves below the girdle plane without an internal reflection, part of the leakage"
)

LEDGER = (
    _share(SKY, "light returned from the sky", "leaves above the girdle plane, outside the head cone"),
    _share(HEAD, "light blocked by the head", "leaves into the head cone"),
    _share(LEAK, "leakage below the girdle", "leaves below the girdle plane"),
    _share(ABSORBED, "absorption by body colour", "is absorbed by body colour or taken by inclusions"),
    _share(SCATTERED, "light lost at the girdle", "absorbing and Lambertian facets take"),
    _share(UNTRACED, "untraced", "is still inside when tracing ends, also that of rays drawn to estimate the rest"),
)
"""The six entries, in the ledger's order."""
