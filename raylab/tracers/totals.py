"""`Totals`: area means over a stone's outline, from which all statistics follow."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from .ledger import CHANNELS

LUMINANCE_SQUARE, UNTRACED_SQUARE, SWING_SQUARE, UNMET = range(CHANNELS, CHANNELS + 4)
MOMENTS = CHANNELS + 4
"""Area means kept for statistics: the ledger's channels, then the squares of the luminance, of the untraced weight and of the
swing, by which the luminance in a point could be other at the edges: dimmer and brighter together; last the untraced weight
that may not have met a facet from inside yet, the only one that can still show a window."""


@dataclass(frozen=True)
class Totals:
    """Area means over the stone's outline as seen; of one scene, or of many in arrays whose first axis, ..., numbers them.

    Attributes
    ----------
    area_mm2 : area of the outline on the map plane; (...,) of many scenes.
    mean : (..., MOMENTS) area means of what was traced. Certain brackets follow from them.
    covariance : (..., MOMENTS, MOMENTS) of the sampling error of `estimate`.
    tail : (..., MOMENTS) what the light that an exact engine left inside is estimated to add; zeros without an estimate.
    """

    area_mm2: Any
    mean: np.ndarray
    covariance: np.ndarray
    tail: np.ndarray = field(default_factory=lambda: np.zeros(MOMENTS))

    @property
    def estimate(self) -> np.ndarray:
        """(..., MOMENTS) area means with the estimated rest. Values follow from them."""
        return self.mean + self.tail

    @property
    def whole(self) -> bool:
        """Whether the estimate counts the light that was left inside; an engine does so for all scenes or for none."""
        return bool(self.tail.any())

    def with_errors(self, factor: Any) -> Totals:
        """The same with errors times a factor, one for each scene."""
        return replace(self, covariance=self.covariance * (np.asarray(factor) ** 2)[..., np.newaxis, np.newaxis])

    def error(self, gradient: np.ndarray) -> Any:
        """(...,) standard error of a statistic with the given gradient (..., MOMENTS) by the means (delta method)."""
        variance = gradient[..., np.newaxis, :] @ self.covariance @ gradient[..., :, np.newaxis]
        return np.sqrt(np.maximum(0.0, variance[..., 0, 0]))

    def error_of(self, moment: int) -> Any:
        """(...,) standard error of one of the means: `error` for the gradient that is 1 there."""
        return np.sqrt(np.maximum(0.0, self.covariance[..., moment, moment]))
