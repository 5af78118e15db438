"""How surely a number follows from planes that were measured.

`Uncertainty` says by how much planes may be off; `propagate` carries it to any numbers that follow from a stone: proportions,
statistics of light at several tilts, or a user's own. Three things are told about each number and never mixed: what the
engine itself leaves open (bracket and standard error), the uncertainty of the measurement (standard deviation), and the
shift. The **shift** is how far random errors move the number on average: errors of measurement make an even stone look
less even, so the true stone is expected at ``value - shift``.

Two ways are open. Random draws of all planes at once serve always, also where a number jumps or bends, and are the
default. Finite differences, one standard deviation to either side of each independent error, serve where the number is
smooth; statistics of light are not, since a whole virtual facet may pass from lamp to dark in one step.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ..errors import InputError
from ..lighting.dome import Dome
from ..lighting.view import View
from ..results.stats import Statistic
from ..stone.plane_errors import Uncertainty, displaced
from ..stone.planes import Stone
from ..tracing import trace
from ..units import number_in

COVERAGE = 2.0
"""Standard deviations to either side that hold about 95 % (the customary coverage factor: JCGM 100:2008, section 6.3.3)."""

Numbers = Callable[[Stone], Mapping[str, "Statistic | float"]]
"""What follows from a stone: named numbers."""


@dataclass(frozen=True)
class Estimate:
    """A number with all that is known of its surroundings, each kind by itself.

    Attributes
    ----------
    statistic : value, bracket and standard error of the engine.
    uncertainty : standard uncertainty from the measurement of the planes; NaN where it could not be found.
    uncertainty_error : standard error of `uncertainty` itself.
    shift : how far errors of measurement move the number on average.
    """

    statistic: Statistic
    uncertainty: float
    uncertainty_error: float
    shift: float

    @property
    def best(self) -> float:
        """Where the true stone's number is expected."""
        return self.statistic.value - self.shift

    def interval(self, coverage: float = COVERAGE) -> tuple[float, float]:
        """The bracket about `best`, widened to either side by `coverage` times uncertainty and error."""
        reach = coverage * math.hypot(self.uncertainty, self.statistic.error)
        return self.statistic.low - self.shift - reach, self.statistic.high - self.shift + reach

    def to_dict(self) -> dict[str, float]:
        """Plain numbers, ready for JSON."""
        s, (low, high) = self.statistic, self.interval()
        told = {"value": s.value, "bracket_low": s.low, "bracket_high": s.high, "engine_error": s.error}
        told |= {"uncertainty": self.uncertainty, "uncertainty_error": self.uncertainty_error, "shift": self.shift}
        return {**told, "best": self.best, "interval_low": low, "interval_high": high}


def propagate(
    stone: Stone,
    numbers: Numbers,
    uncertainty: Uncertainty | None = None,
    *,
    method: Literal["draws", "derivative"] = "draws",
    known_to_pct: float = 10.0,
    key: tuple[int, ...] = (0,),
    progress: Callable[[float], None] | None = None,
) -> dict[str, Estimate]:
    """Carry the uncertainty of a stone's planes to numbers that follow from it.

    >>> from raylab.stone.brilliant import round_brilliant
    >>> stone = round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> found = propagate(stone, lambda s: {"weight_ct": s.weight_ct}, method="derivative")["weight_ct"]
    >>> print(f"{found.statistic.value:.3f} {found.uncertainty:.3f}")
    1.032 0.001

    Parameters
    ----------
    numbers : what follows from a stone; a name that a displaced stone lacks is left out of that draw.
    method : see the module's text.
    known_to_pct : how well the uncertainty itself is to be known by draws, percent of it for numbers that scatter normally:
        10 takes 51 draws, 5 takes 201.
    key : key of the random draws; two stones measured independently take different ones.
    progress : called with the share of the work done, 0 to 1.

    Raises
    ------
    InputError : a setting out of range, or errors so large that a displaced stone can't be closed.
    """
    wanted = uncertainty or Uncertainty()
    if method not in ("draws", "derivative"):
        raise InputError("unknown method", key="method", value=method, expected="'draws' or 'derivative'")
    nominal = {name: _statistic(value) for name, value in numbers(stone).items()}
    modes = wanted.modes(stone)
    if method == "draws":
        count = draws_for(known_to_pct)
        errors = (np.tensordot(np.random.default_rng((*key, k)).normal(size=len(modes)), modes, axes=1) for k in range(count))
    else:
        count = 2 * len(modes)
        errors = (side * mode for mode in modes for side in (1.0, -1.0))
    rows = np.array(list(_rows(stone, numbers, errors, list(nominal), _share_of(count, progress))))
    spread = _of_draws if method == "draws" else _of_differences
    return {name: spread(value, rows[:, k]) for k, (name, value) in enumerate(nominal.items())}


def draws_for(known_to_pct: float) -> int:
    """How many draws tell a standard deviation to so many percent of itself, for numbers that scatter normally.

    >>> draws_for(10.0), draws_for(5.0)
    (51, 201)
    """
    share = number_in("known_to_pct", known_to_pct, 0.1, 50.0, "%") / 100.0
    return math.ceil(1.0 + 0.5 / share**2 - 1e-9)


def statistics_of(stone: Stone, dome: Dome, view: View | None = None, **settings: Any) -> dict[str, Statistic]:
    """Ledger and statistics of one view by name; maps are kept too coarse to cost time. Settings as in `trace`."""
    coarse = 16 if (view or View()).parallel else 128
    summary = trace(stone, dome, view, by_facet=False, **{"resolution": coarse, **settings}).summary
    return {**summary.ledger, **summary.statistics()}


def _rows(
    stone: Stone, numbers: Numbers, errors: Iterator[np.ndarray], names: list[str], tell: Callable[[], None]
) -> Iterator[list[float]]:
    """The numbers of each displaced stone, NaN where it lacks one."""
    for error in errors:
        found = numbers(displaced(stone, error))
        yield [float(found[name]) if name in found else math.nan for name in names]
        tell()


def _of_draws(nominal: Statistic, values: np.ndarray) -> Estimate:
    """Scatter of the draws that have the number; its own error from their fourth moment."""
    values = values[np.isfinite(values)]
    if len(values) < 2:
        return Estimate(nominal, math.nan, math.nan, math.nan)
    scatter = float(values.std(ddof=1))
    fourth = float(((values - values.mean()) ** 4).mean())
    own = math.sqrt(max(0.0, fourth / scatter**4 - 1.0) / (4.0 * len(values))) * scatter if scatter > 0.0 else 0.0
    return Estimate(nominal, scatter, own, float(values.mean()) - nominal.value)


def _of_differences(nominal: Statistic, values: np.ndarray) -> Estimate:
    """Independent errors add in squares; curvature along each gives the shift, and says how far the straight line holds."""
    up, down = values[0::2], values[1::2]
    slope, bend = (up - down) / 2.0, up + down - 2.0 * nominal.value
    straight = math.sqrt(float(slope @ slope))
    return Estimate(nominal, straight, math.sqrt(straight**2 + float(bend @ bend) / 2.0) - straight, float(bend.sum()) / 2.0)


def _statistic(value: Statistic | float) -> Statistic:
    return value if isinstance(value, Statistic) else Statistic(float(value), float(value), float(value))


def _share_of(count: int, progress: Callable[[float], None] | None) -> Callable[[], None]:
    """Called after each piece of work, tells the share done."""
    done = iter(range(1, count + 1))

    def tell() -> None:
        share = next(done) / count
        if progress is not None:
            progress(share)

    return tell
