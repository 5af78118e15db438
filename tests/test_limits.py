"""The limits of numbers: each is stated in the error, and the next number beyond an end is refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

import raylab as rl
from raylab.color.eyes import usual_pupil_mm
from raylab.motion.tilting import MOST_STEPS, angle_steps, path_of
from raylab.motion.view_paths import MOST, circling, moved, rocking, turning
from raylab.sweeps.axes import plan_of
from raylab.sweeps.points import MOST_POINTS

DOME = rl.load_dome("head-shadow")
STONE = rl.round_brilliant(table_pct=57.0, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=16)
REST = {"crown_angle_deg": 34.5, "pavilion_angle_deg": 41.0}


@dataclass(frozen=True)
class Limit:
    """A number's range; `call` refuses what lies beyond it. `low_works`: the lower end is asked too, because that is quick."""

    call: Callable[[float], object]
    key: str
    low: float
    high: float
    unit: str = ""
    whole: bool = False
    low_works: bool = False
    high_works: bool = False


def optimized(**given: float) -> object:
    return rl.optimize({"table_pct": (56.0, 58.0)}, DOME, settings=rl.TraceSettings(precision=0.2), **REST, **given)


LIMITS = {
    "distance of the pupils": Limit(lambda x: rl.eye_pair(STONE, DOME, pupils_apart_mm=x), "pupils_apart_mm", 0.0, 1e6, "mm"),
    "luminance": Limit(usual_pupil_mm, "luminance_cd_m2", 0.0, 1e6, "cd/m^2", low_works=True, high_works=True),
    "coverage": Limit(lambda x: rl.compare(STONE, STONE, dome=DOME, coverage=x), "coverage", 0.1, 10.0),
    "resolution of scintillation": Limit(
        lambda x: rl.scintillation(STONE, DOME, tilt_deg=[0.0, 1.0], resolution=x), "resolution", 16, 4096, whole=True
    ),
    "tilt": Limit(lambda x: path_of(x, 0.0, 0.0), "tilt_deg", -180.0, 180.0, "degrees", low_works=True, high_works=True),
    "azimuth": Limit(lambda x: path_of(0.0, x, 0.0), "azimuth_deg", -360.0, 360.0, "degrees", low_works=True, high_works=True),
    "turn": Limit(lambda x: path_of(0.0, 0.0, x), "turn_deg", -3600.0, 3600.0, "degrees", low_works=True, high_works=True),
    "step": Limit(lambda x: angle_steps(0.0, 400.0, x), "step_deg", 1e-6, 360.0, "degrees", high_works=True),
    "stills": Limit(lambda x: rocking(x), "frames", 1, MOST, low_works=True),
    "tilt of rocking": Limit(lambda x: rocking(3, x), "tilt_deg", 0.0, 180.0, "degrees", low_works=True, high_works=True),
    "tilt of circling": Limit(lambda x: circling(3, x), "tilt_deg", 0.0, 180.0, "degrees", low_works=True, high_works=True),
    "angle of turning": Limit(
        lambda x: turning(3, x), "angle_deg", -3600.0, 3600.0, "degrees", low_works=True, high_works=True
    ),
    "turn of a film": Limit(
        lambda x: moved(rl.View(), "turn", 3, x), "angle_deg", 0.0, 3600.0, "degrees", low_works=True, high_works=True
    ),
    "tilt of a film": Limit(
        lambda x: moved(rl.View(), "rock", 3, x), "angle_deg", 0.0, 180.0, "degrees", low_works=True, high_works=True
    ),
    "points of a scan": Limit(lambda x: optimized(scan=x), "scan", 3, 10_000),
    "designs to fill": Limit(
        lambda x: plan_of({"table_pct": (56.0, 58.0)}, {**REST, "dome": DOME}, "halton", x), "number", 1, MOST_POINTS["halton"],
        whole=True, low_works=True,
    ),
    "seed": Limit(
        lambda x: plan_of({"table_pct": (56.0, 58.0)}, {**REST, "dome": DOME}, "halton", 2, x), "seed", 0, 2**63 - 1,
        whole=True, low_works=True, high_works=True,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", LIMITS)
def test_the_next_number_beyond_an_end_is_refused_with_the_range(name):
    limit = LIMITS[name]
    if limit.whole:
        beyond = (limit.low - 1, limit.high + 1)
        said = f"a whole number from {limit.low} to {limit.high}"
    else:
        beyond = (float(np.nextafter(limit.low, -math.inf)), float(np.nextafter(limit.high, math.inf)))
        said = f"{limit.low:g} to {limit.high:g}{' ' + limit.unit if limit.unit else ''}"
    for value in beyond:
        with pytest.raises(rl.InputError) as caught:
            limit.call(value)
        line = str(caught.value)
        assert line.startswith(limit.key), line
        assert line.endswith(f"out of range; expected {said}"), line
    for end, works in ((limit.low, limit.low_works), (limit.high, limit.high_works)):
        if works:
            limit.call(end)


def test_the_number_of_steps_and_of_angles_is_limited():
    assert len(angle_steps(0.0, float(MOST_STEPS - 1), 1.0)) == MOST_STEPS
    with pytest.raises(rl.InputError, match="too many steps"):
        angle_steps(0.0, float(MOST_STEPS), 1.0)
    assert len(path_of(np.zeros(MOST_STEPS), 0.0, 0.0)) == MOST_STEPS
    with pytest.raises(rl.InputError, match="not angles"):
        path_of(np.zeros(MOST_STEPS + 1), 0.0, 0.0)
    with pytest.raises(rl.InputError, match="empty range of angles"):
        angle_steps(1.0, 1.0, 1.0)


def test_a_film_keeps_the_views_other_angles():
    look = rl.View(tilt_deg=7.0, tilt_azimuth_deg=30.0, turn_deg=11.0)
    assert [(v.tilt_deg, v.tilt_azimuth_deg, v.turn_deg) for v in moved(look, "turn", 2, 90.0)] == [
        (7.0, 30.0, 11.0), (7.0, 30.0, 56.0)
    ]  # fmt: skip
    rocked = moved(look, "rock", 4, 20.0)
    assert [round(v.tilt_deg, 9) for v in rocked] == [0.0, 20.0, 0.0, 20.0]
    assert (rocked[1].tilt_azimuth_deg, rocked[3].tilt_azimuth_deg, rocked[1].turn_deg) == (30.0, -150.0, 11.0)
    assert {v.turn_deg for v in moved(look, "circle", 4, 20.0)} == {11.0}


def test_a_tilt_of_nothing_keeps_its_azimuth_and_a_small_negative_one_turns_about():
    looks = path_of([0.0, -0.5, 0.5], 40.0, 0.0)
    assert [(v.tilt_deg, v.tilt_azimuth_deg) for v in looks] == [(0.0, 40.0), (0.5, -140.0), (0.5, 40.0)]
