"""Random designs of each cut by sampled engines, and how far they are from the exact engine's brackets.

    python tests/gpu/compared.py gpu,gpu-single 10000 ["oval brilliant" ...]

prints for any sampled engines the figures that the tests judge for those on a graphics processor, and what is wrong with them.
A lot's designs hang on its number alone, so that 10,000 begin with those of 200.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path += [str(Path(__file__).parent.parent / "validation"), str(Path(__file__).parent.parent)]

from random_cuts import random_stones, random_views

import raylab as rl
from raylab.results.statistics import STATISTICS
from raylab.results.statistics.limits import limits_of
from raylab.results.summary import exact_record, record
from raylab.stone.cuts import CUTS
from raylab.tracers.engines import engine_named
from raylab.tracers.goal import Goal
from raylab.tracers.ledger import ENTRIES

WAVELENGTH_NM = 589.3
EXACT = rl.TraceSettings(precision=1e-3, standard_error=None)
ROUNDING = {"gpu": 1e-12, "gpu-single": 2e-5, "rays": 1e-12}
"""Engine -> how far rounding takes the sum of a ledger from one, and a mean from itself."""
LOT = 50
"""Designs that are drawn from one key, and traced exactly by one process."""
AT_A_TIME = 10
"""Lots in a batch of a sampled engine."""
FAR = 6.0
"""Stated errors beyond which a number counts as far."""
TELLING = 30
"""Designs under which nothing is said of errors."""


class Compared(NamedTuple):
    """What is known of D designs of a cut by S statistics.

    Attributes
    ----------
    off : (D, S) how far the values are outside of the exact engine's brackets. error : (D, S) as stated.
    ledger : (D, 6) the entries. rounding : how far it takes their sum from one.
    """

    off: np.ndarray
    error: np.ndarray
    ledger: np.ndarray
    rounding: float

    @property
    def size(self) -> np.ndarray:
        """(S,) the root of the mean square of what is off, over that of the stated errors; 0 where both are."""
        off, error = (np.sqrt((one**2).mean(axis=0)) for one in (self.off, self.error))
        return np.divide(off, error, out=np.where(off > 1e-9, np.inf, 0.0), where=error > 1e-9)

    @property
    def far(self) -> float:
        """The share of numbers that are further off than `FAR` stated errors and a thousandth."""
        return float((self.off > FAR * self.error + 1e-3).mean())

    @property
    def unclosed(self) -> np.ndarray:
        """(D,) bool: ledgers that don't sum to one. Faint paths end by lot, so that they close but for the stated errors."""
        entries = [place for place, key in enumerate(STATISTICS) if key in ENTRIES]
        allowed = FAR * self.error[:, entries].sum(axis=1) + self.rounding
        return np.asarray(abs(self.ledger.sum(axis=1) - 1.0) > allowed)

    @property
    def wrong(self) -> list[str]:
        """What can't be so. What lies outside of the brackets is as large as the stated errors: of so few randomizations, up to
        twice."""
        several = len(self.off) >= TELLING
        found = {
            "numbers that are none": not (np.isfinite(self.off).all() and np.isfinite(self.error).all()),
            "ledgers that don't sum to one": self.unclosed.any(),
            "entries below zero": (self.ledger < 0.0).any(),
            "off by more than is stated": several and (self.size >= 2.0).any(),
            "too many far off": several and self.far >= 0.01,
        }
        return [text for text, is_so in found.items() if is_so]

    def __str__(self) -> str:
        sizes = ", ".join(f"{key} {size:.2f}" for key, size in zip(STATISTICS, self.size, strict=True) if size)
        summary = f"{len(self.off)} designs; off over stated error: {sizes}; {100.0 * self.far:.3f} % far"
        return f"{summary}; largest {self.off.max():.1e}; {'; '.join(self.wrong) or 'nothing wrong'}"


def lots_of(count: int) -> list[range]:
    """The numbers of so many designs, by lots."""
    return [range(first, min(first + LOT, count)) for first in range(0, count, LOT)]


def scenes_of(cut: str, lot: range, settings: rl.TraceSettings) -> list[rl.Scene]:
    """A lot of random designs of a cut, the first of every two face-up and the other tilted, under a dome with a head."""
    dome, key = rl.load_dome("head-shadow"), lot.start
    stones = random_stones(CUTS[cut], len(lot), key)
    views = [rl.View() if k % 2 == 0 else view for k, view in enumerate(random_views(len(lot), key))]
    return [rl.Scene(stone, dome, view, settings) for stone, view in zip(stones, views, strict=True)]


def brackets(cut: str, lot: range) -> np.ndarray:
    """(D, S, 2) the least and the largest value of each statistic of a lot's designs, by the exact engine."""
    found = [exact_record(scene, threads=1).statistics for scene in scenes_of(cut, lot, EXACT)]
    return np.array([[(one[key].low, one[key].high) for key in STATISTICS] for one in found])


Awaited = Mapping[str, Sequence[Future[np.ndarray]]]
"""Cut -> the brackets of each of its lots."""


@contextmanager
def exactly(cuts: Iterable[str], count: int) -> Iterator[Awaited]:
    """The exact brackets of so many designs of each cut, worked out by as many processes as there are cores meanwhile."""
    cores = len(os.sched_getaffinity(0))
    with ProcessPoolExecutor(cores, get_context("spawn")) as pool:
        plain = {name: os.environ.pop(name, None) for name in ("NUMBA_DISABLE_JIT", "NUMBA_ENABLE_CUDASIM")}  # not in these
        awaited = {cut: [pool.submit(brackets, cut, lot) for lot in lots_of(count)] for cut in cuts}
        os.environ.update({name: value for name, value in plain.items() if value is not None})
        try:
            yield awaited
        finally:
            pool.shutdown(cancel_futures=True)


def values_of(engine: str, cut: str, count: int) -> np.ndarray:
    """(D, S, 4) value, bracket of the untraced light and standard error of each statistic of so many designs, by an engine."""
    settings, lots = rl.TraceSettings(engine=engine), lots_of(count)
    some = (lots[first : first + AT_A_TIME] for first in range(0, len(lots), AT_A_TIME))
    return np.concatenate([_traced([one for lot in each for one in scenes_of(cut, lot, settings)]) for each in some])


def compared(engine: str, values: np.ndarray, awaited: Sequence[Future[np.ndarray]]) -> Compared:
    """A cut's values (D, S, 4) by a sampled engine, beside the exact one's brackets."""
    value, low, high, error = values.transpose(2, 0, 1)
    least, most = np.concatenate([one.result() for one in awaited]).transpose(2, 0, 1)
    off = np.maximum(0.0, np.maximum(least - np.maximum(value, high), np.minimum(value, low) - most))
    ledger = value[:, [place for place, key in enumerate(STATISTICS) if key in ENTRIES]]
    return Compared(off, error, ledger, ROUNDING[engine])


def _traced(scenes: Sequence[rl.Scene]) -> np.ndarray:
    """(D, S, 4) as of `values_of`, of scenes of one engine."""
    tracer, goals = engine_named(scenes[0].settings.engine), [Goal()] * len(scenes)
    if hasattr(tracer, "batch"):
        totals = tracer.batch(scenes, WAVELENGTH_NM, goals)
    else:
        totals = [tracer.trace(one, WAVELENGTH_NM, goal=Goal()).totals for one in scenes]
    found = [
        record(WAVELENGTH_NM, one, limits_of(scene, WAVELENGTH_NM)).statistics
        for scene, one in zip(scenes, totals, strict=True)
    ]
    return np.array([[(one[key].value, one[key].low, one[key].high, one[key].error) for key in STATISTICS] for one in found])


def main() -> int:
    """Print the figures of the cuts named, or of all; 1 if anything is wrong."""
    given, designs, *named = sys.argv[1:]
    engines, count, cuts, started = given.split(","), int(designs), named or list(CUTS), time.perf_counter()
    right = True
    with exactly(cuts, count) as awaited:
        values = {(cut, engine): values_of(engine, cut, count) for cut in cuts for engine in engines}
        for (cut, engine), found in values.items():
            one = compared(engine, found, awaited[cut])
            right &= not one.wrong
            print(f"{time.perf_counter() - started:5.0f} s {engine}, {cut}: {one}", flush=True)
    return int(not right)


if __name__ == "__main__":
    sys.exit(main())
