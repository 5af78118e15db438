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
from collections.abc import Sequence
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
REASONS: tuple[Reason, ...] = (STARS_CROSS_TABLE, HALVES_PAST_CULET, GIRDLE_VANISHES, MAINS_CUT_TABLE)


class _Foot(NamedTuple):
    """Where the mains of both sides stand: the azimuth around the circle, radians, and foot, normal and far as in `_Main`."""

    around: float
    foot: np.ndarray
    normal: np.ndarray
    far: float


class _Main(NamedTuple):
    """A main: its foot (2,), the normal (2,) and distance of the tangent there, and its height over the axis.

    Over a point p of the plan its height over the girdle's edge is `rise * (1 - normal.p / far)`.
    """

    foot: np.ndarray
    normal: np.ndarray
    far: float
    rise: float

    def height(self, point: np.ndarray) -> float:
        return float(self.rise * (1.0 - self.normal @ point / self.far))

    def toward(self, height: float) -> np.ndarray:
        """(2,) where the line from the foot to the axis, on the main, has a height."""
        return self.foot * (1.0 - height / self.rise)


class _Joint(NamedTuple):
    """Where two mains meet, in plan: the edge's inner end, where a third meets it, its outer end, and the girdle's joint."""

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
    below = _mains(outline, feet[::each], values["pavilion_angle_deg"], values.get("pavilion_end_angle_deg"))
    crossing, girdle = _between(outline, feet)
    crown_height = (1.0 - table) * above[count // 4].rise
    corners = [main.toward(crown_height) for main in above]
    _check_table(above, corners, crown_height, values)
    stars, uppers, lowers = [], [], []
    joints = _joints(above, crossing, girdle)
    for k, joint in enumerate(joints):
        after = (k + 1) % count
        inner = _crossing(joint, corners[k], corners[after])
        tip = inner + values["star_pct"] / 100.0 * (joint.outer - inner)
        height = above[k].height(tip)
        if not height < crown_height:
            raise STARS_CROSS_TABLE.error(values["star_pct"], "more, or a smaller table")
        ends = (_raised(corner, crown_height, UP, rim) for corner in (corners[k], corners[after]))
        stars.append((*ends, _raised(tip, height, UP, rim)))
        uppers += _halves(above[k], above[after], joint, _raised(tip, height, UP, rim), UP, rim)
    culet = values["culet_pct"] / 100.0
    culet_height = (1.0 - culet) * below[len(below) // 4].rise
    if each > 1:
        crossing, girdle = _crossings(feet[::each]), np.array([one.foot for one in feet[each // 2 :: each]])
    for k, joint in enumerate(_joints(below, crossing, girdle)):
        tip = joint.outer + values["lower_half_pct"] / 100.0 * (joint.inner - joint.outer)
        height = below[k].height(tip)
        if culet > 0.0 and not height < culet_height:
            raise HALVES_PAST_CULET.error(values["lower_half_pct"], f"less with culet_pct = {values['culet_pct']:g}")
        top = _raised(tip, height, DOWN, rim)
        for part in range(each * k, each * (k + 1)):
            lowers += _halves(above[part], above[(part + 1) % count], joints[part], top, DOWN, rim)
    flats = outline.flats(values["girdle_facets"])
    crown = [_tier(CROWN_MAIN, above, UP, rim), Facets(UPPER_HALF, *planes_through(np.array(uppers)))]
    pavilion = [Facets(LOWER_HALF, *planes_through(np.array(lowers))), _tier(PAVILION_MAIN, below, DOWN, rim)]
    least = 100.0 * thinnest(flats, crown, pavilion)
    if not least > 0.0:
        raise GIRDLE_VANISHES.error(values["girdle_pct"], f"more than {values['girdle_pct'] - least:.2f} % at the mains")
    facets = [
        Facets(TABLE, np.array([[0.0, 0.0, UP]]), rim + crown_height),
        Facets(STAR, *planes_through(np.array(stars))),
        *crown,
        Facets(GIRDLE, *flats),
        *pavilion,
    ]
    if culet > 0.0:
        facets.append(Facets(CULET, np.array([[0.0, 0.0, DOWN]]), rim + culet_height))
    return facets


def _check_table(above: list[_Main], corners: list[np.ndarray], height: float, values: Values) -> None:
    """Raise StoneError where a main passes under a neighbour's table corner; that can only be where two slopes are stated."""
    for main, corner in zip(above * 2, [*corners[1:], corners[0], corners[-1], *corners[:-1]], strict=True):
        if main.height(corner) < height * (1.0 - 1e-9):
            end = above[0 if corner[0] > 0.0 else len(above) // 2]  # a pear's ends are not equally far from the axis
            rise = math.tan(math.radians(values["crown_angle_deg"])) * above[len(above) // 4].far
            level = math.degrees(math.atan(rise / end.far))
            raise MAINS_CUT_TABLE.error(values["crown_end_angle_deg"], f"nearer to {level:.2f} degrees")


Point = tuple[float, float, float]
Triangle = tuple[Point, Point, Point]


def _tier(tier: Tier, mains: Sequence[_Main], side: float, rim: float) -> Facets:
    """The facets of mains."""
    slopes = np.array([main.rise / main.far for main in mains])
    long, rises = np.hypot(slopes, 1.0), np.array([main.rise for main in mains])
    plan = slopes[:, None] * np.array([main.normal for main in mains])
    normals = np.column_stack([plan, np.full(len(mains), side)]) / long[:, None]
    return Facets(tier, normals, (rises + rim) / long)


def _feet(outline: Curved, stretch: float, count: int) -> list[_Foot]:
    """Where the mains stand, on either side, counter-clockwise from +x."""
    feet = []
    for k in range(count):
        around = 2.0 * math.pi * k / count
        azimuth = math.atan2(stretch * math.sin(around), math.cos(around))
        normal = np.array([math.cos(azimuth), math.sin(azimuth)])
        feet.append(_Foot(around, outline.contact(azimuth), normal, outline.support(azimuth)))
    return feet


def _mains(outline: Curved, feet: Sequence[_Foot], angle_deg: float, end_angle_deg: float | None) -> list[_Main]:
    """The mains of one side."""
    rise = math.tan(math.radians(angle_deg)) * outline.support(2.0 * math.pi * (len(feet) // 4) / len(feet))
    mains = []
    for around, foot, normal, far in feet:
        own = rise
        if end_angle_deg is not None:
            end = outline.support(0.0 if math.cos(around) > 0.0 else math.pi)
            own += (math.tan(math.radians(end_angle_deg)) * end - rise) * math.cos(around) ** 2
        mains.append(_Main(foot, normal, far, own))
    return mains


def _between(outline: Curved, feet: Sequence[_Foot]) -> tuple[np.ndarray, np.ndarray]:
    """Between each main and the next, on either side: where the tangents cross (K, 2), and the girdle's joint (K, 2)."""
    crossing = _crossings(feet)
    azimuths = [math.atan2(y, x) for x, y in crossing.tolist()]
    return crossing, np.array(
        [outline.reach(azimuth) * np.array([math.cos(azimuth), math.sin(azimuth)]) for azimuth in azimuths]
    )


def _crossings(feet: Sequence[_Foot]) -> np.ndarray:
    """(K, 2) where the girdle's tangents at each main and at the next cross."""
    normals, far = np.array([one.normal for one in feet]), np.array([one.far for one in feet])
    pairs = np.stack([np.arange(len(feet)), (np.arange(len(feet)) + 1) % len(feet)], axis=1)
    return np.asarray(np.linalg.solve(normals[pairs], far[pairs][..., None])[..., 0])


def _joints(mains: Sequence[_Main], crossing: np.ndarray, girdle: np.ndarray) -> list[_Joint]:
    """The joint of each main with the next, in plan.

    crossing : (K, 2) where the tangents cross. girdle : (K, 2) the joints' points on the girdle.
    """
    count, this = len(mains), np.arange(len(mains))
    after = (this + 1) % count
    normals, far, rise = (np.array([getattr(main, part) for main in mains]) for part in ("normal", "far", "rise"))
    slope = rise / far
    # The edge is the line where both mains are equally high; it passes through the point where the tangents cross.
    level = slope[:, None] * normals - (slope[:, None] * normals)[after]
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
    return [_Joint(*places) for places in zip(crossing + end[:, None] * inward, outer, girdle, strict=True)]


def _crossing(joint: _Joint, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(2,) where a joint's edge, in plan, crosses the line through two points."""
    chord, run = other - one, joint.outer - joint.inner
    across = np.array([-chord[1], chord[0]])
    return np.asarray(joint.inner + across @ (one - joint.inner) / (across @ run) * run)


def _halves(one: _Main, other: _Main, joint: _Joint, tip: Point, side: float, rim: float) -> list[Triangle]:
    """Three points of each of the two halves on both sides of a joint, which meet in a tip (3,)."""
    girdle = _raised(joint.girdle, 0.0, side, rim)
    return [(_raised(main.foot, 0.0, side, rim), girdle, tip) for main in (one, other)]


def _raised(place: np.ndarray, height: float, side: float, rim: float) -> Point:
    """A point of the plan (2,) at a height over the girdle's edge."""
    x, y = place.tolist()
    return x, y, side * (height + rim)
