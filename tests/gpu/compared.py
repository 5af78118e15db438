"""Random designs of a cut by a sampled engine, and how far they are from the exact engine's brackets.

    python tests/gpu/compared.py ENGINE DESIGNS ["oval brilliant" ...]

prints for any sampled engine the figures that the tests judge for those on a graphics processor.
"""

from __future__ import annotations

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path += [str(Path(__file__).parent.parent / "validation"), str(Path(__file__).parent.parent)]

from random_cuts import random_stones, random_views

import raylab as rl
from raylab.results.statistics import STATISTICS, Statistic
from raylab.results.statistics.limits import limits_of
from raylab.results.summary import exact_record, record
from raylab.stone.cuts import CUTS
from raylab.tracers.engines import engine_named
from raylab.tracers.goal import Goal
from raylab.tracers.ledger import ENTRIES
from raylab.tracers.totals import Totals

WAVELENGTH_NM = 589.3
EXACT = rl.TraceSettings(precision=1e-3, standard_error=None)
AT_A_TIME = 500
"""Designs in a batch."""
FAR = 6.0
"""Stated errors beyond which a number counts as far."""


class Compared(NamedTuple):
    """What is known of D designs of a cut by S statistics.

    Attributes
    ----------
    off : (D, S) how far the values are outside of the exact engine's brackets. error : (D, S) as stated.
    ledger : (D, 6) the entries.
    """

    off: np.ndarray
    error: np.ndarray
    ledger: np.ndarray

    @property
    def size(self) -> np.ndarray:
        """(S,) the root of the mean square of what is off, over that of the stated errors; 0 where both are."""
        off, error = (np.sqrt((one**2).mean(axis=0)) for one in (self.off, self.error))
        return np.divide(off, error, out=np.where(off > 1e-9, np.inf, 0.0), where=error > 1e-9)

    @property
    def ledger_error(self) -> np.ndarray:
        """(D,) stated errors of all entries together, as large as they can be."""
        entries = [place for place, key in enumerate(STATISTICS) if key in ENTRIES]
        return np.asarray(self.error[:, entries].sum(axis=1))

    @property
    def far(self) -> float:
        """The share of numbers that are further off than `FAR` stated errors and a thousandth."""
        return float((self.off > FAR * self.error + 1e-3).mean())

    def __str__(self) -> str:
        sizes = ", ".join(f"{key} {size:.2f}" for key, size in zip(STATISTICS, self.size, strict=True) if size)
        return f"off over stated error: {sizes}; {100.0 * self.far:.2f} % far; largest {self.off.max():.1e}"


def scenes_of(cut: str, count: int, settings: rl.TraceSettings) -> list[rl.Scene]:
    """Random designs of a cut, the first of every two face-up and the other tilted, under a dome with a head."""
    dome = rl.load_dome("head-shadow")
    views = [rl.View() if k % 2 == 0 else view for k, view in enumerate(random_views(count))]
    return [rl.Scene(stone, dome, view, settings) for stone, view in zip(random_stones(CUTS[cut], count), views, strict=True)]


def compared(engine: str, cut: str, count: int) -> Compared:
    """So many random designs of a cut by an engine and by the exact one; the latter in as many processes as there are cores."""
    tracer, settings = engine_named(engine), rl.TraceSettings(engine=engine)
    sampled = scenes_of(cut, count, settings)
    totals: list[Totals] = []
    for start in range(0, count, AT_A_TIME):
        some = sampled[start : start + AT_A_TIME]
        if hasattr(tracer, "batch"):
            totals += tracer.batch(some, WAVELENGTH_NM, [Goal()] * len(some))
        else:
            totals += [tracer.trace(one, WAVELENGTH_NM, goal=Goal()).totals for one in some]
    each_limits = [limits_of(scene, WAVELENGTH_NM) for scene in sampled]
    found = [record(WAVELENGTH_NM, one, limits).statistics for one, limits in zip(totals, each_limits, strict=True)]
    each = [range(first, count, os.cpu_count() or 1) for first in range(min(count, os.cpu_count() or 1))]
    true: dict[int, dict[str, tuple[float, float]]] = {}
    plain = {name: os.environ.pop(name, None) for name in ("NUMBA_DISABLE_JIT", "NUMBA_ENABLE_CUDASIM")}  # not in these
    with ProcessPoolExecutor(len(each), get_context("spawn")) as pool:
        for part in pool.map(partial(brackets, cut, count), each):
            true |= part
    os.environ.update({name: value for name, value in plain.items() if value is not None})
    off = [[_outside(found[k][key], *true[k][key]) for key in STATISTICS] for k in range(count)]
    error = [[found[k][key].error for key in STATISTICS] for k in range(count)]
    return Compared(np.array(off), np.array(error), np.array([[one[key].value for key in ENTRIES] for one in found]))


def brackets(cut: str, count: int, numbers: range) -> dict[int, dict[str, tuple[float, float]]]:
    """The least and the largest value of each statistic of some of the designs, by the exact engine. For other processes."""
    scenes = scenes_of(cut, count, EXACT)
    found = {k: exact_record(scenes[k], threads=1).statistics for k in numbers}
    return {k: {key: (one[key].low, one[key].high) for key in STATISTICS} for k, one in found.items()}


def _outside(one: Statistic, low: float, high: float) -> float:
    """How far a value is outside of a bracket, itself counted with its own untraced light."""
    return max(0.0, low - max(one.value, one.high), min(one.value, one.low) - high)


def main() -> None:
    """Print the figures of the cuts named, or of all."""
    engine, count, *cuts = sys.argv[1:]
    for cut in cuts or CUTS:
        print(f"{cut}: {compared(engine, cut, int(count))}", flush=True)


if __name__ == "__main__":
    main()
