"""Area means from independent randomizations of one lattice of rays: see `outline_rays`.

A larger lattice is worth more than more randomizations of a small one: where the face has edges, its error falls about as the
number of points to the power 0.75, that of the mean over randomizations as their number to the power 0.5. So their number is
fixed, and the lattice grows until the wanted error is reached.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from ..lighting.dome import Dome
from ..scene.scene import Scene
from ..stone.finish import ABSORBS, DIFFUSES, Finish
from ..stone.inclusions.inclusion import Inclusion
from .goal import Goal
from .ledger import ABSORBED, HEAD, INCLUDED, LEAK, LUMINANCE, SCATTERED, SKY
from .outline_rays import LATTICES
from .totals import Totals

RANDOMIZATIONS = 8
"""A standard error from so few is known to a quarter of itself."""
USUAL_POINTS = 2584
"""Rays of a randomization where no error is asked for."""
CHANCE = 0.2
"""Paths of less weight are ended by lot, see `packets.PathRules`: a quarter as many segments for an error that is larger by an
eighth."""
POWER = 0.75
"""The error falls as the number of points to this power, about: measured with round brilliants and ovals."""


def until(goals: Sequence[Goal], totals_of: Callable[[list[int], int], list[Totals]]) -> list[Totals]:
    """Area means of scenes whose errors reach their goals, or those of the largest lattice.

    Parameters
    ----------
    goals : one for each scene. totals_of : (numbers of scenes, points of a lattice) -> their area means.
    """
    found: dict[int, Totals] = {}
    tried = Tried(len(goals))
    points = [USUAL_POINTS if goal.error is None else LATTICES[0] for goal in goals]
    waiting = set(range(len(goals)))
    while waiting:
        size = min(points[k] for k in waiting)  # scenes that need the same lattice are traced together
        some = sorted(k for k in waiting if points[k] == size)
        found.update(zip(some, totals_of(some, size), strict=True))
        for k in some:
            error = goals[k].error
            if error is not None:
                off = float(error(found[k]))
                pooled = float(tried.add(k, size, off))
                found[k] = found[k].with_errors(pooled / off if off > 0.0 else 1.0)
                points[k] = int(larger_lattices(size, np.array(pooled)))
            if points[k] == size:
                waiting.remove(k)
    return [found[k] for k in range(len(goals))]


class Tried:
    """Errors of the lattices that scenes were traced with so far.

    A lattice whose own error came out small by chance would end the search, and its error be told too small. So what counts is
    the root mean square of the errors of all lattices so far, each brought to the size of the last one by `POWER`.
    """

    def __init__(self, scenes: int) -> None:
        self._sums, self._numbers = np.zeros(scenes), np.zeros(scenes)

    def add(self, which: Any, points: int, off: Any) -> np.ndarray:
        """What counts as the error of some scenes, by number, after one more lattice of so many points, with its own error."""
        self._sums[which] += (off * points**POWER) ** 2
        self._numbers[which] += 1.0
        return np.asarray(np.sqrt(self._sums[which] / self._numbers[which]) / points**POWER)


class Usual:
    """How large errors usually are: of scenes that are much like those to be traced, but none of them.

    So a scene begins with a lattice that will most likely do, whatever is traced beside it. Whether it does is judged by its
    own error and the usual one together, each variance with its degrees of freedom (Smyth 2004, Statistical Applications in
    Genetics and Molecular Biology 3:3; from memory). What is told is the scene's own.

    Attributes
    ----------
    points : of a lattice. off : the root mean square of the scenes' errors by it, as multiples of the wanted one.
    """

    LIKE = 12
    """Degrees of freedom that the usual error counts for: errors of random brilliants scatter by a fifth."""

    def __init__(self, points: int, off: np.ndarray) -> None:
        self.points, self.off = points, float(np.sqrt(np.nanmean(off**2)))

    def first(self) -> int:
        """Points of the smallest lattice that usually does."""
        return next((size for size in LATTICES if self._at(size) <= 1.0), LATTICES[-1])

    def judged(self, points: int, off: np.ndarray) -> np.ndarray:
        """(D,) what the errors `off` of scenes by a lattice of so many points most likely are."""
        own = RANDOMIZATIONS - 1
        return np.asarray(np.sqrt((self.LIKE * self._at(points) ** 2 + own * off**2) / (self.LIKE + own)))

    def _at(self, points: int) -> float:
        return self.off * (self.points / points) ** POWER


def larger_lattices(points: int, off: np.ndarray) -> np.ndarray:
    """Points of the lattices that reach goals by the errors of one so far; `points` where a goal is reached, or none is larger.

    Parameters
    ----------
    off : (D,) the errors as multiples of the wanted ones.
    """
    sizes = np.array(LATTICES)
    needed = points * np.minimum(1.1 * off ** (1.0 / POWER), 32.0)
    next_one = np.minimum(np.searchsorted(sizes, np.maximum(needed, points + 1)), len(sizes) - 1)
    return np.where((off <= 1.0) | (points == sizes[-1]), points, sizes[next_one])


def totals_from(means: np.ndarray, points: Any, area_mm2: Any, could: Mapping[int, float]) -> Totals:
    """Totals of a scene, or of many, from independent randomizations, with the covariance of their mean.

    Where rays could have met something and none did, its error is that of one ray of weight 1.

    Parameters
    ----------
    means : (..., S, MOMENTS) means of S randomizations. points : rays of each; (...,) of many scenes. area_mm2 : likewise.
    could : see `could_meet`.
    """
    number = means.shape[-2]
    mean = means.mean(axis=-2)
    off = means - mean[..., np.newaxis, :]
    covariance = np.swapaxes(off, -1, -2) @ off / (number * (number - 1))
    for channel, most in could.items():
        one_ray = (most / (number * points)) ** 2
        covariance[..., channel, channel] = np.where(mean[..., channel] == 0.0, one_ray, covariance[..., channel, channel])
    return Totals(area_mm2, mean, covariance)


def could_meet(dome: Dome, finishes: Iterable[Finish], inclusions: Iterable[Inclusion] = ()) -> dict[int, float]:
    """Channel -> most that a ray may add to it, for those in which a scene may have something that no ray has met.

    Parameters
    ----------
    finishes : of the stone's facets. inclusions : the stone's.
    """
    could = {LUMINANCE: dome.peak_radiance, SKY: 1.0, LEAK: 1.0}
    if dome.head_half_angle_deg:
        could[HEAD] = 1.0
    if any(finish.code == ABSORBS or (finish.code == DIFFUSES and finish.amount != 1.0) for finish in finishes):
        could[SCATTERED] = 1.0
    if any(one.transmittance < 1.0 for one in inclusions):
        could[ABSORBED] = could[INCLUDED] = 1.0
    return could


def could_meet_in(scene: Scene) -> dict[int, float]:
    """`could_meet` of a scene."""
    return could_meet(scene.dome, scene.stone.finishes, scene.stone.inclusions)
