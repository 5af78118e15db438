"""Factors, directions and the range check at the doors."""

import math

import numpy as np
import pytest

from raylab import units
from raylab.errors import InputError


def test_carat_is_a_fifth_of_a_gram():
    assert units.carat(1000.0, 1.0) == pytest.approx(5.0, rel=1e-15)  # 1 cm^3 of water


@pytest.mark.parametrize(
    ("elevation_deg", "azimuth_deg", "expected"),
    [(0, 0, (1, 0, 0)), (0, 90, (0, 1, 0)), (90, 123, (0, 0, 1)), (-30, 180, (-math.sqrt(0.75), 0, -0.5))],
)
def test_direction_by_elevation_and_azimuth(elevation_deg, azimuth_deg, expected):
    assert units.direction(elevation_deg, azimuth_deg) == pytest.approx(expected, abs=1e-15)


@pytest.mark.parametrize("value", [0, 1, 0.5, np.float32(0.25), np.int64(1)])
def test_numbers_inside_come_back_as_floats(value):
    found = units.number_in("x", value, 0.0, 1.0)
    assert type(found) is float
    assert found == value


@pytest.mark.parametrize("value", [-1e-9, 1.0000001, math.nan, math.inf, -math.inf, -(10**400), 10**4000])
def test_numbers_outside_are_refused_by_name(value):
    with pytest.raises(InputError, match=r"x_mm = .*: out of range; expected 0 to 1 mm"):
        units.number_in("x_mm", value, 0.0, 1.0, "mm")


@pytest.mark.parametrize("value", ["1", None, True, [1.0], 1j])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(InputError, match="not a number"):
        units.number_in("x", value, 0.0, 1.0)


def test_open_ends_exclude_the_limits():
    assert units.number_in("x", 0.5, 0.0, 1.0, open_ends=True) == 0.5
    for value in (0.0, 1.0):
        with pytest.raises(InputError, match="ends excluded"):
            units.number_in("x", value, 0.0, 1.0, open_ends=True)
