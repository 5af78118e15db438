"""What came by scattering, as area means with standard errors, from the strata that all means of the sampled engine use."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..ledger import FIELDS, LUMINANCE
from ..scattering import BY_SCATTERING, PARTS, SPREAD


def mean_of_two(
    trace: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]], keys: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Rows (R, WIDTH) and hits (R,) of view rays that are each followed along two paths.

    Two independent paths tell the square of a point's luminance without the variance of the scattering: it is their product.

    Parameters
    ----------
    trace : traces the rays under given keys. keys : (R,) whole numbers, one for each ray.
    """
    rows, hit = trace(2 * keys)
    other, _ = trace(2 * keys + 1)
    spread = (0.5 * (rows[:, LUMINANCE] - other[:, LUMINANCE])) ** 2
    rows += other
    rows *= 0.5
    rows[:, SPREAD] = spread
    return rows, hit


class PartSums:
    """Sums of the parts that came by scattering, over tiles of whole rows of pixels."""

    def __init__(self) -> None:
        self.sums, self.scatter = np.zeros(PARTS + 1), np.zeros((PARTS + 1, PARTS + 1))

    def add(self, rows: np.ndarray, hit: np.ndarray, begins: np.ndarray) -> np.ndarray:
        """Add the samples of a tile; gives (R,) each sample's luminance by scattering.

        Parameters
        ----------
        rows, hit : (R, WIDTH) and (R,) the samples in order. begins : see `sums.strata_of`.
        """
        parts = np.column_stack([rows[:, BY_SCATTERING], np.ones(len(rows))]) * hit[:, None]
        counts = np.diff(begins)
        off = parts - np.repeat(np.add.reduceat(parts, begins[:-1]) / counts[:, None], counts, axis=0)
        larger = np.repeat(counts / np.maximum(counts - 1.0, 1.0), counts)
        self.sums += parts.sum(axis=0)
        self.scatter += (off * larger[:, None]).T @ off
        return parts[:, LUMINANCE]

    def means(self) -> dict[str, tuple[float, float]]:
        """Luminance and ledger entries by name: the area mean of the part that came by scattering, and its standard error.

        Ratio estimates, sum(part)/sum(hit).
        """
        hits = self.sums[PARTS]
        mean = self.sums[:PARTS] / hits
        variance = (
            np.diag(self.scatter)[:PARTS] - 2.0 * mean * self.scatter[PARTS, :PARTS] + mean**2 * self.scatter[PARTS, PARTS]
        )
        error = np.sqrt(np.maximum(variance, 0.0)) / hits
        return {FIELDS[k]: (float(mean[k]), float(error[k])) for k in range(PARTS)}
