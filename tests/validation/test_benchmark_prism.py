"""A long prism under a flat table, seen along and across: closed forms of what it shows straight through, and of its dark band.

The prism has a table, sides that fall from the table's long edges to a keel, and upright ends. Its cross-section is plane, and
so is the path of every ray that is seen in it: mirrors, angles and widths are those of a drawing on paper.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from broken_lines import broken

import raylab as rl
from raylab.lighting.dome import Dome
from raylab.optics.materials import Material
from raylab.results import dark_areas
from raylab.results.statistics import shares
from raylab.scene.view import View
from raylab.stone.stone import Stone
from raylab.tracers.ledger import UNTRACED
from raylab.tracers.totals import UNTRACED_SQUARE
from raylab.tracing import Result, trace

WIDTH, LENGTH = 4.0, 12.0
GLASS, DIAMOND = 1.5, 2.417
"""Indices of the closed forms: round numbers for a glass and for diamond."""


def prism(
    slopes_deg: list[float], index: float, *, parts: tuple[float, ...] = (1.0,), width: float = WIDTH, length: float = LENGTH
) -> Stone:
    """A prism with its keel along x and its table, width x length mm, at z = 0.

    Parameters
    ----------
    slopes_deg : of the steps on either side, from the keel outwards. parts : the half-widths up to which each step reaches, as
        shares of half the table's; the last one is 1.
    """
    normals, distances = [[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]], [0.0, length / 2, length / 2]
    edge, height = width / 2, 0.0  # a point of the step, from the girdle inwards
    for slope, inner in zip(reversed(slopes_deg), [*reversed(parts[:-1]), 0.0], strict=True):
        s, c = math.sin(math.radians(slope)), math.cos(math.radians(slope))
        for side in (1.0, -1.0):
            normals.append([0.0, side * s, -c])
            distances.append(s * edge - c * height)
        height -= (edge - inner * width / 2) * math.tan(math.radians(slope))
        edge = inner * width / 2
    return Stone.from_planes(np.array(normals), np.array(distances), material=Material.constant(index), name="prism (invented)")


def transmittances(n_from: float, n_to: float, angle_deg: float) -> tuple[float, float]:
    """Share of s- and of p-polarised light that passes a surface (Fresnel; Born & Wolf, Principles of Optics, section 1.5)."""
    i = math.radians(angle_deg)
    sin_t = n_from / n_to * math.sin(i)
    if sin_t >= 1.0:
        return 0.0, 0.0
    t = math.asin(sin_t)
    if i < 1e-9:
        both = 1.0 - ((n_from - n_to) / (n_from + n_to)) ** 2
        return both, both
    return 1.0 - (math.sin(i - t) / math.sin(i + t)) ** 2, 1.0 - (math.tan(i - t) / math.tan(i + t)) ** 2


def refracted_deg(angle_deg: float, index: float) -> float:
    """The angle inside to the normal of the table, by Snell's law."""
    return math.degrees(math.asin(math.sin(math.radians(angle_deg)) / index))


def traced(stone: Stone, dome: Dome | None = None, view: View | None = None, **settings: Any) -> Result:
    """By the exact engine, on a few pixels."""
    return trace(stone, dome or Dome(), view, **{"resolution": 64, "by_facet": False, "precision": 0.01, **settings})


@pytest.mark.parametrize("slope", [20.0, 30.0, 41.0])
@pytest.mark.parametrize("tilt", [0.0, 8.0, -15.0])
def test_the_window_of_a_prism_seen_across(slope, tilt):
    """Tilted by t about its length, with t' = asin(sin t / n) inside, rays meet one side under p - t', the other under p + t'.

    The side that leans towards the eye's direction is met by the rays that enter before the keel: of the table's width W the
    share 1/2 - (h/W) tan t' = (1 - tan p tan t') / 2, h = (W/2) tan p being the depth of the keel. s and p are the same at both
    surfaces, so that the window is the mean over both of T(t) T'(p -+ t'), with T and T' from Fresnel's formulas.
    """
    inside = refracted_deg(tilt, GLASS)
    enter = transmittances(1.0, GLASS, abs(tilt))
    expected, lean = 0.0, math.tan(math.radians(slope)) * math.tan(math.radians(inside))
    for sign in (1.0, -1.0):
        leave = transmittances(GLASS, 1.0, abs(slope - sign * inside))
        expected += 0.5 * (1.0 + sign * lean) * 0.5 * (enter[0] * leave[0] + enter[1] * leave[1])
    view = View(abs(tilt), 90.0 if tilt >= 0.0 else -90.0)
    window = traced(prism([slope], GLASS), view=view).summary.statistics["window"]
    assert (window.low, window.value, window.high) == pytest.approx((expected,) * 3, abs=1e-12)


@pytest.mark.parametrize("tilt", [0.0, 10.0, 25.0])
def test_the_window_of_a_prism_seen_along(tilt):
    """Tilted by t towards an end, the ray meets both sides under i with cos i = cos p cos t'.

    The planes of incidence differ there: that of the table holds the length, that of a side holds its normal. With s1 and s2
    the directions across them, cos a = s1.s2, light that has entered as I, Q = (T_s +- T_p) / 2 leaves by
    I (T'_s + T'_p) / 2 + Q cos 2a (T'_s - T'_p) / 2. Away from the ends each pixel shows this.
    """
    slope = 30.0
    inside = math.radians(refracted_deg(tilt, GLASS))
    down = np.array([-math.sin(inside), 0.0, -math.cos(inside)])
    normal = np.array([0.0, math.sin(math.radians(slope)), -math.cos(math.radians(slope))])
    at = math.degrees(math.acos(float(down @ normal)))
    across = np.cross(down, normal) / np.linalg.norm(np.cross(down, normal))
    turned = 2.0 * float(across[1]) ** 2 - 1.0  # cos 2a: the table's s is y
    enter, leave = transmittances(1.0, GLASS, tilt), transmittances(GLASS, 1.0, at)
    i, q = 0.5 * (enter[0] + enter[1]), 0.5 * (enter[0] - enter[1])
    expected = 0.5 * (i * (leave[0] + leave[1]) + q * turned * (leave[0] - leave[1]))
    for engine in ("beams", "rays"):
        maps = traced(prism([slope], GLASS), view=View(tilt, 0.0), engine=engine).maps
        middle = maps.window.sel(x=slice(-1.0, 1.0), y=slice(-1.7, 1.7)).values
        assert middle.size > 100
        assert middle == pytest.approx(expected, abs=1e-12)


def test_above_the_critical_angle_nothing_is_seen_through():
    """asin(1/1.5) = 41.81 degrees: a prism of 42 degrees returns all, and the light of the first surface is no window."""
    window = traced(prism([42.0], GLASS)).summary.statistics["window"]
    assert (window.low, window.value, window.high) == (0.0, 0.0, 0.0)
    steep = rl.View(70.0, 90.0)  # the table's glare leaves below the girdle plane, which tilts with the stone
    ledger = traced(prism([42.0], GLASS), view=steep).summary
    assert ledger.statistics["window"].value < ledger.ledger["leak"].value


def test_the_bracket_of_a_window_is_the_light_that_has_met_no_facet():
    """While nothing is traced inside, all that enters can yet be seen through, 1 - R(0); what was reflected once can not."""
    stone = prism([30.0], GLASS)
    entered = traced(stone, precision=1.0).summary.statistics["window"]
    assert (entered.low, entered.high) == pytest.approx((0.0, transmittances(1.0, GLASS, 0.0)[0]), abs=1e-12)
    once = traced(stone, max_bounces=1).summary
    assert once.ledger["untraced"].value > 0.05
    known = traced(stone).summary.statistics["window"].value
    assert (once.statistics["window"].low, once.statistics["window"].high) == pytest.approx((known, known), abs=1e-12)


@pytest.mark.parametrize("wrong", [UNTRACED, UNTRACED_SQUARE])
def test_another_bracket_of_a_window_is_noticed(wrong, monkeypatch):
    monkeypatch.setattr(shares, "UNMET", wrong)
    with pytest.raises(AssertionError):
        test_the_bracket_of_a_window_is_the_light_that_has_met_no_facet()


INNER, OUTER, PART, HEAD = 45.0, 48.0, 0.1, 10.0
"""Two steps, the inner one over a tenth of the width, and the half-angle of the head: degrees."""


def lit(low_mm: float, high_mm: float) -> float:
    """Luminance of the prism beside its dark band, as far as three reflections tell, mean over distances from the keel.

    Two sides of slopes p and q turn a ray by 2(p + q) - 180 degrees: two outer steps by 12, an outer and an inner one by 6;
    both leave the table outside the head, in an even sky. What enters, 1 - R(0), leaves by T'(12) or T'(6). A ray that enters
    at -a beyond the inner step, a depth d(a) below the table, goes on 6 degrees below the horizontal (2 x 48 - 90); it meets
    the inner step on the other side where it comes below the corner at b: d(a) + (a + b) tan 6 > d(b).
    """
    b = PART * WIDTH / 2
    slope, fall = math.tan(math.radians(OUTER)), math.tan(math.radians(2.0 * OUTER - 90.0))
    # (half - a) slope + (a + b) fall = (half - b) slope
    a = b * (slope + fall) / (slope - fall)
    mixed, outer = (sum(transmittances(DIAMOND, 1.0, angle)) / 2.0 for angle in (6.0, 12.0))
    enter = transmittances(1.0, DIAMOND, 0.0)[0]
    split = min(max(a, low_mm), high_mm)
    return enter * ((split - low_mm) * mixed + (high_mm - split) * outer) / (high_mm - low_mm)


@pytest.mark.parametrize("across", [True, False])
def test_the_dark_band_of_a_prism(across):
    """Between two sides of 45 degrees a ray returns where it came from: into the head. So the dark band is as wide as the inner
    steps, exactly, and black: what stays inside returns the same way.

    With the keel across the width of the stone the band lies across: the strip of a fifth of the length holds it all, and
    half of the strip is dark. With the keel along the length a fifth of the band lies in the strip, as dark as the rest.
    """
    stone = prism([INNER, OUTER], DIAMOND, parts=(PART, 1.0), length=1.5 if across else LENGTH)
    dome = Dome(head_half_angle_deg=HEAD)
    result = traced(stone, dome, precision=1e-6, max_bounces=3, resolution=100)
    found = rl.dark_areas(result)
    assert found.largest.value == pytest.approx(PART, abs=1.1 * result.maps.attrs["pixel_mm"] / WIDTH)  # half a pixel a side
    assert found.center_mm == pytest.approx((0.0, 0.0), abs=1e-9)
    assert abs(found.strip.along[1 if across else 0]) == pytest.approx(1.0, abs=1e-12)
    assert found.band_share.value == pytest.approx(PART if across else 0.2 * PART, abs=1e-12)
    half = WIDTH / 2
    inside, rest = 0.5 * lit(0.1 * half, 0.2 * half), lit(0.2 * half, half)
    assert found.band_depth.value == pytest.approx(1.0 - inside / rest if across else 0.0, abs=1e-12)
    assert result.summary.brightness.low == pytest.approx(0.9 * lit(0.1 * half, half), abs=1e-12)


@pytest.mark.parametrize(
    ("function", "line", "instead"),
    [
        (dark_areas.strip_across, "0.5 * band", "0.4 * band"),
        (dark_areas._areas_inside, "beyond(-strip.half_mm)", "beyond(0.0)"),
        (dark_areas._depth, "1.0 - one / other, 1.0", "1.0 - other, 1.0"),
        (dark_areas._darks, "luminance < below * mean,", "luminance > below * mean,"),
    ],
    ids=lambda one: getattr(one, "__name__", None),
)
def test_a_broken_band_is_noticed(function, line, instead, monkeypatch):
    broken(monkeypatch, function, line, instead)
    with pytest.raises(AssertionError):
        test_the_dark_band_of_a_prism(True)
