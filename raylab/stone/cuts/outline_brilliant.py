"""Brilliants on an outline that is no circle: what the round brilliant's rules become when the stone is longer than wide.

All lengths are shares of the width. Eight mains on crown and on pavilion stand where the tangents of the outline face the
azimuths 0, 45, 90, ... of a circle that was stretched to the outline's length. Each passes through its foot, the point that
its tangent touches, and holds the tangent. All mains of a side fall towards one point on the axis, so that the slope of each
follows from that across the width: its tangent is smaller the farther the foot's tangent lies from the axis. Where the slope
at the ends is stated as well, the height over the axis changes from the width's to the ends' by the squared cosine of the
circle's azimuth, and the pavilion ends in a keel.

Stars and halves follow by the rules of `brilliant`. An unpainted half passes through its foot, the tip, and the joint on the
girdle, so that the girdle is as thick at the joints as at the mains. An ellipse with one slope a side is therefore the
stretched image of a round brilliant, plane by plane.

With four pavilion mains, at ends and sides, the pavilion mains between them are left out, and two mains that follow one another
meet in a longer edge. Two halves at such an edge would each span an eighth of the girdle and cut through it. Four halves take
their place: they keep the sixteen places on the girdle that the upper halves have, so that the girdle is as even as with eight
mains, and all four meet in the tip on that edge. A cone over a convex line is convex, and so is the pavilion. (That long
brilliants have four or eight mains is common practice; where the four stand differs, and here it is our choice.)
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..planes import DOWN, UP, planes_through
from ..tier import CULET, GIRDLE, TABLE, Tier
from .brilliant import CROWN_MAIN, LOWER_HALF, PAVILION_MAIN, STAR, UPPER_HALF
from .cut import Facets, Reason
from .girdle_edge import thinnest
from .outlines import Curved
from .parameter import Values
from .round_brilliant import GIRDLE_VANISHES, HALVES_PAST_CULET, STARS_CROSS_TABLE

MAINS = 8
MAINS_CUT_TABLE = Reason(
    "mains_cut_table", "crown_end_angle_deg", "some crown mains would cut off corners of the table and reach over the stars"
)
MAINS_APART = Reason("mains_apart", "pavilion_end_angle_deg", "the edge between two pavilion mains would meet no third one")
HALVES_CUT_TIPS = Reason("halves_cut_tips", "pavilion_end_angle_deg", "some lower halves would cut off the tips of others")
HALVES_TOO_SHORT = Reason("lower_halves_too_short", "lower_half_pct", "some lower halves would cut off the tips of others")
CULET_PAST_MAINS = Reason("culet_past_mains", "culet_pct", "the pavilion mains meet before they reach the culet")
REASONS: tuple[Reason, ...] = (
    STARS_CROSS_TABLE, HALVES_PAST_CULET, GIRDLE_VANISHES, MAINS_CUT_TABLE, HALVES_CUT_TIPS, HALVES_TOO_SHORT, CULET_PAST_MAINS,
    MAINS_APART,
)  # fmt: skip


class _Feet(NamedTuple):
    """Where the mains of both sides stand, counter-clockwise from +x: the azimuth around the circle (K,), radians, and foot,
    normal and far as in `_Mains`."""

    around: np.ndarray
    foot: np.ndarray
    normal: np.ndarray
    far: np.ndarray

    def every(self, step: int) -> _Feet:
        """Those that are `step` apart, from the first on."""
        return _Feet(*(part[::step] for part in self))


class _Mains(NamedTuple):
    """The mains of one side: feet (K, 2), the tangents there by normals (K, 2) and distances (K,), heights (K,) over the axis.

    Over a point p of the plan the height of a main over the girdle's edge is `rise * (1 - normal.p / far)`.
    """

    foot: np.ndarray
    normal: np.ndarray
    far: np.ndarray
    rise: np.ndarray

    def heights(self, points: np.ndarray) -> np.ndarray:
        """(K,) of each main over its own one of the points (K, 2)."""
        return np.asarray(self.rise * (1.0 - np.vecdot(self.normal, points) / self.far))

    def toward(self, height: float) -> np.ndarray:
        """(K, 2) where the line from each foot to the axis, on the main, has a height."""
        return np.asarray(self.foot * (1.0 - height / self.rise)[:, None])


class _Joints(NamedTuple):
    """Where each main meets the next, in plan, (K, 2) each: the edge's inner end, where a third main meets it (not finite where
    none does), its outer end, and the joint's point on the girdle."""

    inner: np.ndarray
    outer: np.ndarray
    girdle: np.ndarray


def facets_on(outline: Curved, values: Values, count: int = MAINS, stretch: float | None = None) -> list[Facets]:
    """The facets of a brilliant on an outline of width 1 that is its own mirror image in the x axis.

    Parameters
    ----------
    count : mains on each side. stretch : of the circle whose azimuths they face; by default the outline's length to its width.

    Raises StoneError, for one of `REASONS`, where the proportions make no stone.
    """
    circle = (outline.length / outline.width if stretch is None else stretch), count
    rim, table = values["girdle_pct"] / 200.0, values["table_pct"] / 100.0
    each = count // values.get("pavilion_mains", count)  # from one pavilion main to the next, in steps of the crown's
    feet = _feet(outline, *circle)
    above = _mains(outline, feet, values["crown_angle_deg"], values.get("crown_end_angle_deg"))
    below = _mains(outline, feet.every(each), values["pavilion_angle_deg"], values.get("pavilion_end_angle_deg"))
    crossing, girdle = _between(outline, feet)
    crown_height = (1.0 - table) * float(above.rise[count // 4])
    joints = _joints(above, crossing, girdle)
    if not np.isfinite(joints.inner).all():
        raise MAINS_CUT_TABLE.error(values["crown_end_angle_deg"])
    corners, after = above.toward(crown_height), _after(count)
    _check_table(above, corners, crown_height, values)
    inner = _crossed(joints, corners, corners[after])
    tips = inner + values["star_pct"] / 100.0 * (joints.outer - inner)
    heights = above.heights(tips)
    if not heights.max() < crown_height:
        raise STARS_CROSS_TABLE.error(values["star_pct"])
    ends, tops = _raised(corners, crown_height, UP, rim), _raised(tips, heights, UP, rim)
    stars = np.stack([ends, ends[after], tops], axis=1)
    uppers = _halves(above, joints, tops, UP, rim)
    culet = values["culet_pct"] / 100.0
    culet_height = (1.0 - culet) * float(below.rise[len(below.rise) // 4])
    if each > 1:
        crossing, girdle = _crossings(feet.every(each)), feet.foot[each // 2 :: each]
    lower_joints = _joints(below, crossing, girdle)
    if not np.isfinite(lower_joints.inner).all():
        raise MAINS_APART.error(values["pavilion_end_angle_deg"])
    tips = lower_joints.outer + values["lower_half_pct"] / 100.0 * (lower_joints.inner - lower_joints.outer)
    heights = below.heights(tips)
    if culet > 0.0:
        _check_culet(below, float(heights.max()), culet_height, values)
    tops = _raised(tips, heights, DOWN, rim)
    lowers = planes_through(_halves(above, joints, np.repeat(tops, each, axis=0), DOWN, rim))
    _check_tips(lowers, tops, values)
    flats = outline.flats(values["girdle_facets"])
    crown = [_tier(CROWN_MAIN, above, UP, rim), Facets(UPPER_HALF, *planes_through(uppers))]
    pavilion = [Facets(LOWER_HALF, *lowers), _tier(PAVILION_MAIN, below, DOWN, rim)]
    if not thinnest(flats, crown, pavilion) > 0.0:
        raise GIRDLE_VANISHES.error(values["girdle_pct"])
    facets = [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), rim + crown_height),
        Facets(STAR, *planes_through(stars)),
        *crown,
        Facets(GIRDLE, *flats),
        *pavilion,
    ]
    if culet > 0.0:
        facets.append(Facets(CULET, np.array([[0.0, 0.0, DOWN]]), rim + culet_height))
    return facets


def _check_table(above: _Mains, corners: np.ndarray, height: float, values: Values) -> None:
    """Raise StoneError where a main passes under a neighbour's table corner; that can only be where two slopes are stated."""
    beside = [np.roll(corners, -1, axis=0), np.roll(corners, 1, axis=0)]
    if min(above.heights(one).min() for one in beside) < height * (1.0 - 1e-9):
        raise MAINS_CUT_TABLE.error(values["crown_end_angle_deg"])


def _check_tips(halves: tuple[np.ndarray, np.ndarray], tips: np.ndarray, values: Values) -> None:
    """Raise StoneError where a lower half, planes as from `planes_through`, cuts off one of the tips (K, 3)."""
    normals, distances = halves
    if (tips @ normals.T - distances).max() > 1e-9:
        if values.get("pavilion_end_angle_deg") is None:
            raise HALVES_TOO_SHORT.error(values["lower_half_pct"])
        raise HALVES_CUT_TIPS.error(values["pavilion_end_angle_deg"])


def _check_culet(below: _Mains, deepest: float, height: float, values: Values) -> None:
    """Raise StoneError where halves pass the culet, or where mains meet before they reach it.

    deepest : how deep the tips of the halves reach. height : that of the culet.
    """
    if not deepest < height:
        raise HALVES_PAST_CULET.error(values["lower_half_pct"])
    fall = below.rise / below.far * below.normal[:, 0]
    one, other = fall > 0.0, fall <= 0.0
    # Mains are mirror images in the x axis, so that they meet over it: where one that falls along it crosses one that doesn't.
    rises, falls = below.rise[one, None], fall[one, None]
    meet = ((rises * fall[other] - below.rise[other] * falls) / (fall[other] - falls)).min()
    if not meet > height:
        raise CULET_PAST_MAINS.error(values["culet_pct"])


def _tier(tier: Tier, mains: _Mains, side: float, rim: float) -> Facets:
    """The facets of mains."""
    slopes = mains.rise / mains.far
    long = np.hypot(slopes, 1.0)
    normals = np.column_stack([slopes[:, None] * mains.normal, np.full(len(slopes), side)]) / long[:, None]
    return Facets(tier, normals, (mains.rise + rim) / long)


def _feet(outline: Curved, stretch: float, count: int) -> _Feet:
    """Where the mains stand."""
    around = [2.0 * math.pi * k / count for k in range(count)]
    azimuths = [math.atan2(stretch * math.sin(one), math.cos(one)) for one in around]
    return _Feet(
        np.array(around),
        np.array([outline.contact(azimuth) for azimuth in azimuths]),
        np.array([(math.cos(azimuth), math.sin(azimuth)) for azimuth in azimuths]),
        np.array([outline.support(azimuth) for azimuth in azimuths]),
    )


def _mains(outline: Curved, feet: _Feet, angle_deg: float, end_angle_deg: float | None) -> _Mains:
    """The mains of one side."""
    count = len(feet.far)
    rise = math.tan(math.radians(angle_deg)) * outline.support(2.0 * math.pi * (count // 4) / count)
    rises = np.full(count, rise)
    if end_angle_deg is not None:
        along = np.cos(feet.around)
        ends = np.where(along > 0.0, outline.support(0.0), outline.support(math.pi))
        rises += (math.tan(math.radians(end_angle_deg)) * ends - rise) * along**2
    return _Mains(feet.foot, feet.normal, feet.far, rises)


def _after(count: int) -> np.ndarray:
    """(count,) the number of the next one, around."""
    return (np.arange(count) + 1) % count


def _between(outline: Curved, feet: _Feet) -> tuple[np.ndarray, np.ndarray]:
    """Between each main and the next, on either side: where the tangents cross (K, 2), and the girdle's joint (K, 2)."""
    crossing = _crossings(feet)
    azimuths = [math.atan2(y, x) for x, y in crossing.tolist()]
    far = [outline.reach(azimuth) for azimuth in azimuths]
    girdle = [(out * math.cos(azimuth), out * math.sin(azimuth)) for azimuth, out in zip(azimuths, far, strict=True)]
    return crossing, np.array(girdle)


def _crossings(feet: _Feet) -> np.ndarray:
    """(K, 2) where the girdle's tangents at each main and at the next cross."""
    after = _after(len(feet.far))
    normals, far = np.stack([feet.normal, feet.normal[after]], axis=1), np.stack([feet.far, feet.far[after]], axis=1)
    return np.asarray(np.linalg.solve(normals, far[..., None])[..., 0])


def _joints(mains: _Mains, crossing: np.ndarray, girdle: np.ndarray) -> _Joints:
    """The joint of each main with the next, in plan.

    crossing : (K, 2) where the tangents cross. girdle : (K, 2) the joints' points on the girdle.
    """
    _, normals, far, rise = mains
    this, after, slope = np.arange(len(far)), _after(len(far)), rise / far
    # The edge is the line where both mains are equally high; it passes through the point where the tangents cross.
    fall = slope[:, None] * normals
    level = fall - fall[after]
    inward = np.stack([level[:, 1], -level[:, 0]], axis=1)
    inward *= (-np.copysign(1.0, np.vecdot(inward, crossing)) / np.sqrt(np.vecdot(inward, inward)))[:, None]
    # How far inward the edge meets each other main: on the axis where all fall towards one point.
    climb = slope * np.vecdot(normals, inward[:, None])
    gains = climb - climb[this, this][:, None]
    heights = rise * (1.0 - np.vecdot(normals, crossing[:, None]) / far)
    meets = gains > 0.0
    meets[this, this] = meets[this, after] = False
    end = np.where(meets, heights / np.where(meets, gains, 1.0), np.inf).min(axis=1)
    outer = crossing + np.vecdot(girdle - crossing, inward)[:, None] * inward
    return _Joints(crossing + end[:, None] * inward, outer, girdle)


def _crossed(joints: _Joints, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(K, 2) where each joint's edge, in plan, crosses the line from a point of `one` (K, 2) to one of `other` (K, 2)."""
    chord, run = other - one, joints.outer - joints.inner
    across = np.stack([-chord[:, 1], chord[:, 0]], axis=1)
    share = np.vecdot(across, one - joints.inner) / np.vecdot(across, run)
    return np.asarray(joints.inner + share[:, None] * run)


def _halves(mains: _Mains, joints: _Joints, tips: np.ndarray, side: float, rim: float) -> np.ndarray:
    """(2 K, 3, 3) three points of each of the two halves on both sides of each joint, which meet in its tip (3,)."""
    feet, girdle = _raised(mains.foot, 0.0, side, rim), _raised(joints.girdle, 0.0, side, rim)
    here, there = (np.stack([foot, girdle, tips], axis=1) for foot in (feet, feet[_after(len(feet))]))
    return np.stack([here, there], axis=1).reshape(-1, 3, 3)


def _raised(places: np.ndarray, height: float | np.ndarray, side: float, rim: float) -> np.ndarray:
    """(K, 3) points of the plan (K, 2) at a height or heights (K,) over the girdle's edge."""
    points = np.empty((len(places), 3))
    points[:, :2], points[:, 2] = places, side * (height + rim)
    return points
