"""From samples to pixels and area means, with the standard errors that follow from the strata.

Standard errors come from the scatter of the samples within each stratum, pooled over strata: an unbiased estimate of the
variance of a stratified mean (Cochran, Sampling Techniques, chapter 5; from memory). With one sample a pixel two neighbouring
pixels make a stratum; their means differ, so the stated error is on the safe side then.
"""

from __future__ import annotations

import math

import numba
import numpy as np

from ...jit import njit, parallel_kernel
from ...scene.scene import Scene
from ..ledger import BRIGHTER, CHANNELS, DIMMER, LUMINANCE, UNTRACED
from ..pixel_samples import stratum_of
from ..randomizations import could_meet_in
from ..scattering import SPREAD
from ..totals import LUMINANCE_SQUARE, MOMENTS, SWING_SQUARE, UNMET, UNTRACED_SQUARE, Totals


@njit()
def strata_of(cells, resolution):
    """The strata of the samples of whole rows of pixels: (T + 1,) where each begins and where the last one ends; (rows + 1,)
    which of them is the first of each row.

    With one sample in each pixel two neighbouring pixels make a stratum, and the last three where their number is odd.

    Parameters
    ----------
    cells : (P,) along each pixel's side; 1 in all of them or in none. resolution : pixels of a row.
    """
    rows, samples = cells.size // resolution, 0
    for pixel in range(cells.size):
        samples += cells[pixel] * cells[pixel]
    begins, firsts = np.empty(samples + 1, np.int64), np.empty(rows + 1, np.int64)
    found, sample, pixel = 0, 0, 0
    for row in range(rows):
        firsts[row], end = found, (row + 1) * resolution
        while pixel < end:
            k, within = cells[pixel], 0
            if k == 1:
                begins[found] = sample
                together = end - pixel if end - pixel <= 3 else 2
                found, sample, pixel = found + 1, sample + together, pixel + together
                continue
            while within < k * k:
                begins[found] = sample + within
                found, within = found + 1, within + stratum_of(within, k)[2]
            sample, pixel = sample + k * k, pixel + 1
    begins[found], firsts[rows] = sample, found
    return begins[: found + 1], firsts


@njit(inline="always")
def _moments(row, z):
    """Fill z (MOMENTS + 1,) from the ledger row (CHANNELS,) of a ray that met the stone, or (WIDTH,); the last is 1."""
    for k in range(CHANNELS):
        z[k] = row[k]
    z[LUMINANCE_SQUARE] = row[LUMINANCE] ** 2
    if row.size > CHANNELS:  # the product of two paths, of which the row is the mean
        z[LUMINANCE_SQUARE] -= row[SPREAD]
    z[UNTRACED_SQUARE] = row[UNTRACED] ** 2
    z[SWING_SQUARE] = (row[DIMMER] + row[BRIGHTER]) ** 2
    z[UNMET] = row[UNTRACED]  # of which next to nothing is unmet: rays end at a facet
    z[MOMENTS] = 1.0


@njit()
def means_of_hits(rows, hit, means):
    """Fill means (S, MOMENTS) over those that met the stone of S sets of rays, equally many and in order.

    rows, hit : (R, CHANNELS) and (R,).
    """
    points, z = len(rows) // len(means), np.zeros(MOMENTS + 1)
    for s in range(len(means)):
        total = np.zeros(MOMENTS + 1)
        for r in range(s * points, (s + 1) * points):
            if hit[r]:
                _moments(rows[r], z)
                total += z
        for k in range(MOMENTS):
            means[s, k] = total[k] / total[MOMENTS]


@parallel_kernel
def reduce_samples(rows, hit, starts, begins, firsts, usual, begin, means, coverage, luminance_error, sums, scatter):
    """Samples to pixels.

    Parameters
    ----------
    rows, hit : (R, CHANNELS) and (R,), the samples of P pixels in order, whole rows of pixels.
    starts : (P + 1,) where each pixel's samples begin. begins, firsts : see `strata_of`.
    usual : so many samples of a pixel count as that many in the sums; where it has more, each counts less.
    begin : number of the first pixel in `means` (CHANNELS, all pixels). coverage, luminance_error : (P,). All are filled.
    sums : (rows of pixels, MOMENTS + 1), filled: sums of the moments, the last of which is `hit`.
    scatter : (rows of pixels, MOMENTS + 1, MOMENTS + 1), filled: unbiased estimates of the covariance of these sums, the lower
        triangles.
    """
    size = MOMENTS + 1
    width = coverage.shape[0] // sums.shape[0]
    for line in numba.prange(sums.shape[0]):
        z, total, off = np.zeros(size), np.zeros(size), np.zeros(size)
        for i in range(line * width, (line + 1) * width):
            total[:] = 0.0
            for r in range(starts[i], starts[i + 1]):
                if hit[r]:
                    _moments(rows[r], z)
                    total += z
            hits, samples = total[MOMENTS], starts[i + 1] - starts[i]
            coverage[i] = hits / samples
            for c in range(CHANNELS):
                means[c, begin + i] = total[c] / hits if hits > 0.0 else np.nan
            luminance_error[i] = 0.0 if hits > 1.0 else np.nan
            counts = usual / samples
            for a in range(size):
                sums[line, a] += counts * total[a]
        i = line * width
        for t in range(firsts[line], firsts[line + 1]):
            first, last = begins[t], begins[t + 1]
            count, hits = last - first, 0
            while first >= starts[i + 1]:
                i += 1
            total[:] = 0.0
            for r in range(first, last):
                if hit[r]:
                    _moments(rows[r], z)
                    total += z
                    hits += 1
            if count < 2 or hits == 0:
                continue
            samples = starts[i + 1] - starts[i]
            larger, counts = count / (count - 1.0), usual / samples
            for r in range(first, last):
                z[:] = 0.0
                if hit[r]:
                    _moments(rows[r], z)
                for a in range(size):
                    off[a] = z[a] - total[a] / count
                for a in range(size):
                    if off[a] != 0.0:  # most channels are 0 in most stones
                        for b in range(a + 1):
                            scatter[line, a, b] += larger * counts * counts * off[a] * off[b]
                if samples > 1:  # of the luminance less the pixel's mean, where the stone was met
                    luminance_error[i] += larger * (off[LUMINANCE] - means[LUMINANCE, begin + i] * off[MOMENTS]) ** 2
        for i in range(line * width, (line + 1) * width):
            luminance_error[i] = math.sqrt(luminance_error[i]) / (coverage[i] * (starts[i + 1] - starts[i]))


def totals_of(area_mm2: float, sums: np.ndarray, scatter: np.ndarray, scene: Scene, most_counts: float) -> Totals:
    """Ratio estimates sum(z)/sum(hit) with the covariance of their errors.

    Where rays could have met something and none did, its error is that of one ray of weight 1, of those that count most.
    """
    full = scatter + np.tril(scatter, -1).T
    hits = sums[MOMENTS]
    mean = sums[:MOMENTS] / hits
    cross = np.outer(mean, full[MOMENTS, :MOMENTS])
    covariance = full[:MOMENTS, :MOMENTS] - cross - cross.T + np.outer(mean, mean) * full[MOMENTS, MOMENTS]
    for channel, most in could_meet_in(scene).items():
        if mean[channel] == 0.0 and covariance[channel, channel] == 0.0:
            covariance[channel, channel] = (most * most_counts) ** 2
    return Totals(area_mm2, mean, covariance / hits**2)
