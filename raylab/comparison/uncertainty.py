"""Propagation of the uncertainty of measured planes to numbers.

`Uncertainty` states the errors of the planes; `propagate` carries them to any numbers that follow from a stone: proportions,
statistics at several tilts, or numbers of the user. Three parts of each number are kept apart: bracket and standard error of
the engine, the uncertainty of the measurement (standard deviation), and the shift. The **shift** is the bias of the number; the
expected value of the true stone is ``value - shift``. Errors of measurement make a symmetric stone look less symmetric, and
somewhat less bright.

There are two methods. Random draws of all planes at once work for every number, also one that jumps, and are the default.
Finite differences, one standard deviation to either side of each independent error, need a smooth number. Optical statistics
are not smooth, since a whole virtual facet may pass from lamp to dark in one step.

**The expected value of the true stone**, by draws: the planes hold the errors of the measurement, of variance 1 in its unit.
Copies with more errors added hold variance 2 and, with the same errors made larger, `WIDER` + 1; a straight line through
the means of both leads back to variance 0 (simulation and extrapolation: Cook & Stefanski, J. Am. Stat. Assoc. 89 (1994)
1314-1328, from memory). The line does not start at the measured number itself, which would be cheaper. A number that jumps
stands higher or lower by chance than those of stones all about it, by up to half its uncertainty; so does the true stone's,
by another chance. A line from the measured number doubles its share of that, and 95 % intervals then held the truth in 87
to 90 % (`benchmarks/bench_coverage.py`).

**Kinks.** A length that ends where three or more planes meet depends on whichever of them lies deepest: the girdle at a main is
as thin as the deeper of two halves makes it, and an extent as large as the farther of two corners. Noise in planes that truly
meet in a point moves such a number by a share of the errors' size, not of their variance. A straight line in the size
through the same two means leads farther back than one in the variance: by `KINKED` times the growth from the stated errors to
the larger ones. A geometric number whose growth is more than `CLEAR` standard errors from 0 bears this as its `kink`, and its
interval reaches from the one line's end to the other's. A mean over many places loses its scatter but not its kink, so that
intervals without it held the truth in 79 to 85 % where they should in 95. Statistics of light are means over hundreds of facets
and pieces of facets, and their intervals were measured without it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..errors import InputError
from ..progress import Progress, reporter
from ..results.statistics import Statistic
from ..scene.scene import Scene
from ..stone.measuring.plane_uncertainty import Uncertainty, displaced
from ..stone.stone import Stone
from ..threads import in_order
from ..tracing import summary_of
from ..units import number_in

COVERAGE = 2.0
"""Standard deviations to either side that hold about 95 % (the customary coverage factor: JCGM 100:2008, section 6.3.3)."""

WIDER = 3.0
"""Variance of the larger errors, in that of the measurement."""

KINKED = math.sqrt(2.0) / (math.sqrt(WIDER + 1.0) - math.sqrt(2.0)) - 2.0 / (WIDER - 1.0)
"""How much farther, in growths, a line in the errors' size leads back to no error than one in their variance."""

CLEAR = 2.0
"""Standard errors from which a growth is not chance."""

Numbers = Callable[[Stone], Mapping[str, "Statistic | float"]]
"""A function of a stone that returns named numbers."""


@dataclass(frozen=True)
class Estimate:
    """A number with bracket, standard error, measurement uncertainty and bias, each stated separately.

    Attributes
    ----------
    statistic : value, bracket and standard error of the engine.
    uncertainty : standard uncertainty from the measurement of the planes; NaN where it could not be found.
    uncertainty_error : standard error of `uncertainty` itself.
    shift : bias of the value, its expected excess over the value of the true stone.
    shift_error : standard error of `shift` itself, from the finite number of draws.
    kink : by how much more the value may be biased where it depends on the deepest of several planes; 0 where nothing shows it.
    """

    statistic: Statistic
    uncertainty: float
    uncertainty_error: float
    shift: float
    shift_error: float = 0.0
    kink: float = 0.0

    @property
    def best(self) -> float:
        """The value without bias: the expected value of the true stone."""
        return self.statistic.value - self.shift

    @property
    def standard_uncertainty(self) -> float:
        """Standard uncertainty of `best`: of the measurement, of the draws and of sampling, added in squares."""
        return math.hypot(self.uncertainty, self.shift_error, self.statistic.error)

    @property
    def traced(self) -> tuple[float, float]:
        """Between which numbers the value lies but for its standard errors: the bracket, or the value itself where it counts
        the untraced light too."""
        s = self.statistic
        return (s.value, s.value) if s.whole else (s.low, s.high)

    @property
    def biases(self) -> tuple[float, float]:
        """The smallest and the largest bias that the value may have: none, the shift, or the shift with the kink."""
        every = (0.0, self.shift, self.shift + self.kink)
        return min(every), max(every)

    def interval(self, coverage: float = COVERAGE) -> tuple[float, float]:
        """`traced`, less each of `biases`, widened by `coverage` times `standard_uncertainty`."""
        half_width, (low, high), (least, most) = coverage * self.standard_uncertainty, self.traced, self.biases
        return low - most - half_width, high - least + half_width

    def to_dict(self) -> dict[str, float]:
        """Plain numbers, ready for JSON."""
        s, (low, high) = self.statistic, self.interval()
        record = {"value": s.value, "bracket_low": s.low, "bracket_high": s.high, "engine_error": s.error}
        record |= {"uncertainty": self.uncertainty, "uncertainty_error": self.uncertainty_error}
        record |= {"shift": self.shift, "shift_error": self.shift_error, "kink": self.kink}
        return {**record, "best": self.best, "interval_low": low, "interval_high": high}


UNKNOWN = Estimate(Statistic(math.nan, math.nan, math.nan, 0.0), 0.0, 0.0, 0.0)
"""For a number that a stone doesn't have."""


def propagate(
    stone: Stone,
    numbers: Numbers,
    uncertainty: Uncertainty | None = None,
    *,
    method: Literal["draws", "derivative"] = "draws",
    known_to_pct: float = 10.0,
    key: tuple[int, ...] = (0,),
    progress: bool | Progress = False,
) -> dict[str, Estimate]:
    """Propagate the uncertainty of the planes of a stone to numbers that follow from it.

    Without any uncertainty no stone is drawn, and the numbers have none either.

    >>> from raylab.stone.cuts.round_brilliant import round_brilliant
    >>> stone = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> found = propagate(stone, lambda s: {"weight_ct": s.weight_ct}, method="derivative")["weight_ct"]
    >>> print(f"{found.statistic.value:.3f} {found.uncertainty:.3f}")
    1.032 0.001

    Parameters
    ----------
    numbers : function of a stone that returns named numbers; a name that a displaced stone lacks is omitted in that draw.
    method : see the module.
    known_to_pct : relative accuracy of the uncertainty, percent, for normal errors: 10 needs 51 draws, 5 needs 201, each with
        errors of both sizes.
    key : key of the random draws; independent measurements need different keys.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    The numbers do not depend on the number of threads.

    Raises
    ------
    InputError : a setting out of range, or errors so large that the displaced planes no longer enclose a body.
    """
    wanted = uncertainty or Uncertainty()
    if method not in ("draws", "derivative"):
        raise InputError("unknown method", key="method", value=method, expected="'draws' or 'derivative'")
    given = numbers(stone)
    nominal = {name: _statistic(value) for name, value in given.items()}
    geometric = {name for name, value in given.items() if not isinstance(value, Statistic)}
    modes = wanted.modes(stone)
    if not len(modes):
        with reporter(progress, "stones") as update:
            update(1, 1)
        return {name: Estimate(value, 0.0, 0.0, 0.0) for name, value in nominal.items()}
    errors = _drawn(modes, draws_for(known_to_pct), key) if method == "draws" else [s * m for m in modes for s in (1.0, -1.0)]
    rows = np.empty((len(errors), len(nominal)))
    with reporter(progress, "stones") as update:
        for k, found in enumerate(in_order(lambda error: numbers(displaced(stone, error)), errors)):
            rows[k] = [float(found[name]) if name in found else math.nan for name in nominal]
            update(k + 1, len(errors))
    spread = _of_draws if method == "draws" else _of_differences
    estimates = {name: spread(value, rows[0::2, k], rows[1::2, k]) for k, (name, value) in enumerate(nominal.items())}
    return {name: one if name in geometric else replace(one, kink=0.0) for name, one in estimates.items()}


def draws_for(known_to_pct: float) -> int:
    """Number of draws that gives a standard deviation to this many percent of itself, for normal errors.

    >>> draws_for(10.0), draws_for(5.0)
    (51, 201)
    """
    share = number_in("known_to_pct", known_to_pct, 0.1, 50.0, "%") / 100.0
    return math.ceil(1.0 + 0.5 / share**2 - 1e-9)


def statistics_of(scene: Scene) -> dict[str, Statistic]:
    """Ledger and statistics of a scene by name, as `trace_scene` gives them, without maps.

    A perspective scene is sampled at its own resolution; about 128 pixels keep draws quick.
    """
    return summary_of(scene).statistics


def _drawn(modes: np.ndarray, count: int, key: tuple[int, ...]) -> list[np.ndarray]:
    """Errors (F, 3) of `count` draws, each as stated and made larger, in turn."""
    sizes = (np.random.default_rng((*key, k)).normal(size=len(modes)) for k in range(count))
    each = (np.tensordot(size, modes, axes=1) for size in sizes)
    return [size * error for error in each for size in (1.0, math.sqrt(WIDER))]


def _of_draws(nominal: Statistic, stated: np.ndarray, larger: np.ndarray) -> Estimate:
    """Scatter of the draws that have the number; its own error from their fourth moment. See the module's text."""
    both = np.isfinite(stated) & np.isfinite(larger)
    values = stated[both]
    if len(values) < 2:
        return Estimate(nominal, math.nan, math.nan, math.nan, math.nan)
    scatter = float(values.std(ddof=1))
    fourth = float(((values - values.mean()) ** 4).mean())
    own = math.sqrt(max(0.0, fourth / scatter**4 - 1.0) / (4.0 * len(values))) * scatter if scatter > 0.0 else 0.0
    back = values - 2.0 * (larger[both] - values) / (WIDER - 1.0)  # from variances 2 and WIDER + 1 to 0
    error = float(back.std(ddof=1)) / math.sqrt(len(back))
    growth = larger[both] - values
    mean, doubt = float(growth.mean()), float(growth.std(ddof=1)) / math.sqrt(len(growth))
    kink = KINKED * mean if abs(mean) > CLEAR * doubt else 0.0
    return Estimate(nominal, scatter, own, nominal.value - float(back.mean()), error, kink)


def _of_differences(nominal: Statistic, up: np.ndarray, down: np.ndarray) -> Estimate:
    """Independent errors add in squares; curvature along each gives the shift, and shows how far the linear model holds."""
    slope, bend = (up - down) / 2.0, up + down - 2.0 * nominal.value
    straight = math.sqrt(float(slope @ slope))
    return Estimate(nominal, straight, math.sqrt(straight**2 + float(bend @ bend) / 2.0) - straight, float(bend.sum()) / 2.0)


def _statistic(value: Statistic | float) -> Statistic:
    return value if isinstance(value, Statistic) else Statistic(float(value), float(value), float(value))
