"""Cuts on outlines that are no circle, against closed forms: stretched rounds, stacked frusta, areas of outlines."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial import ConvexHull
from scipy.special import ellipe

import raylab as rl
from raylab.errors import InputError, StoneError
from raylab.scene.view import silhouette
from raylab.stone.cuts import CUTS
from raylab.stone.cuts.outline import Circle
from raylab.stone.cuts.outlines import (
    Curved,
    Ellipse,
    Sides,
    bowed_triangle,
    cushion,
    hexagon,
    marquise,
    pear,
    rectangle,
    regular,
    tapered,
)


def _segment(radius: float, half: float) -> np.ndarray:
    """Area of a circular segment, and length of its arc, by half its central angle."""
    return np.array([0.5 * radius**2 * (2.0 * half - math.sin(2.0 * half)), 2.0 * radius * half])


def _lens(length: float, width: float) -> np.ndarray:
    """Area and perimeter of two equal arcs over one chord: tan(half / 2) is half of the arrow over half of the chord."""
    half = 2.0 * math.atan2(width, length)
    return 2.0 * _segment(0.5 * length / math.sin(half), half)


def _rounded(length: float, width: float, side: float, corner: float) -> np.ndarray:
    """A cushion lies everywhere the corners' radius r outside of four arcs that meet in points: A + P r + pi r^2 and
    P + 2 pi r (Steiner's formulas; textbook)."""
    radius, x, y = side - corner, 0.5 * length - side, 0.5 * width - side  # centres (x, 0) and (0, y)
    half = brentq(lambda a: math.hypot(x + radius * math.cos(a), radius * math.sin(a) - y) - radius, 0.0, 0.5 * math.pi)
    point = x + radius * math.cos(half), radius * math.sin(half)
    arcs = 2.0 * _segment(radius, half) + 2.0 * _segment(radius, math.asin(point[0] / radius))
    inner, around = np.add(arcs, [4.0 * point[0] * point[1], 0.0])
    return np.array([inner + around * corner + math.pi * corner**2, around + 2.0 * math.pi * corner])


DESCRIBED = {
    "ellipse": (lambda: Ellipse(0.7, 0.5), (math.pi * 0.7 * 0.5, 4.0 * 0.7 * ellipe(1.0 - (0.5 / 0.7) ** 2))),
    "marquise": (lambda: marquise(2.0, 1.0), _lens(2.0, 1.0)),
    "pear": (lambda: pear(1.5, 1.0), 0.5 * (np.array([math.pi / 4.0, math.pi]) + _lens(2.0, 1.0))),
    "cushion": (lambda: cushion(1.2, 1.0, 1.5, 0.15), _rounded(1.2, 1.0, 1.5, 0.15)),
    "square cushion": (lambda: cushion(1.0, 1.0, 1.2, 0.2), _rounded(1.0, 1.0, 1.2, 0.2)),
    "bowed triangle": (
        lambda: bowed_triangle(1.0, 1.2),
        np.array([math.sqrt(3.0) / 4.0, 0.0]) + 3.0 * _segment(1.2, math.asin(0.5 / 1.2)),
    ),
    "rectangle": (lambda: rectangle(1.4, 1.0), (1.4, 4.8)),
    "cut corners": (
        lambda: rectangle(1.4, 1.0, 0.15),
        (1.4 - 2.0 * 0.15**2, 4.8 - (8.0 - 4.0 * math.sqrt(2.0)) * 0.15),
    ),
    "square cut corners": (
        lambda: rectangle(1.0, 1.0, 0.15),
        (1.0 - 2.0 * 0.15**2, 4.0 - (8.0 - 4.0 * math.sqrt(2.0)) * 0.15),
    ),
    "tapered": (lambda: tapered(2.0, 1.0, 0.7), (1.7, 1.7 + 2.0 * math.hypot(2.0, 0.15))),
    "hexagon": (lambda: hexagon(1.3, 1.0), (1.3 - 0.5 / math.sqrt(3.0), 2.6 + 2.0 / math.sqrt(3.0))),
    "octagon": (lambda: regular(8, 1.0), (2.0 * (math.sqrt(2.0) - 1.0), 8.0 * (math.sqrt(2.0) - 1.0))),
}
"""Outlines, with the area and the perimeter that follow from the lengths which describe them."""
OUTLINES = {name: make() for name, (make, _) in DESCRIBED.items()}


@pytest.mark.parametrize(
    ("outline", "ratio", "symmetry"),
    [
        (Circle(0.5), 1.0, (360, 0.0)),
        (Ellipse(0.7, 0.5), 1.4, (2, 0.0)),
        (marquise(2.0, 1.0), 2.0, (2, 0.0)),
        (pear(1.5, 1.0), 1.5, (1, 0.0)),
        (cushion(1.2, 1.0, 1.5, 0.15), 1.2, (2, 0.0)),
        (cushion(1.0, 1.0, 1.2, 0.2), 1.0, (4, 0.0)),
        # Reuleaux's triangle, as wide in every direction
        (bowed_triangle(1.0, 1.0), 1.0, (3, 0.0)),
        (rectangle(1.4, 1.0), 1.4, (2, 0.0)),
        (rectangle(1.0, 1.0, 0.2), 1.0, (4, 0.0)),
        (tapered(2.0, 1.0, 0.7), 2.0, (1, 0.0)),
        (hexagon(1.3, 1.0), 1.3, (2, 0.0)),
        (hexagon(2.0 / math.sqrt(3.0), 1.0), 2.0 / math.sqrt(3.0), (6, 0.0)),
        (regular(5, 1.0), (1.0 + math.cos(math.pi / 5.0)) / (2.0 * math.sin(2.0 * math.pi / 5.0)), (5, 0.0)),
        # a parallelogram has half a turn and no mirror, a kite about the line y = x that mirror alone, and the last none
        (Sides(((1.0, -0.4), (1.2, 0.4), (-1.0, 0.4), (-1.2, -0.4))), 3.0, (2, None)),
        (Sides(((1.0, -0.5), (1.0, 1.0), (-0.5, 1.0), (-0.7, -0.7))), 1.0, (1, 45.0)),
        (Sides(((1.0, -0.5), (0.9, 0.8), (-0.5, 1.0), (-0.7, -0.7))), 1.0, (1, None)),
    ],
    ids=str,
)  # fmt: skip
def test_an_outline_has_a_ratio_and_a_symmetry(outline, ratio, symmetry):
    assert outline.ratio == pytest.approx(ratio, abs=1e-12)
    assert outline.symmetry == rl.SymmetryGroup(*symmetry)


@pytest.mark.parametrize("name", OUTLINES)
def test_an_outline_encloses_what_its_flats_do(name):
    """Flats are chords: the polygon's area tends to the outline's as their number squared, and a polygon has it exactly."""
    outline = OUTLINES[name]
    off = []
    for count in (64, 256):
        normals, far = outline.flats(count)
        around = np.argsort(np.arctan2(normals[:, 1], normals[:, 0]))
        sides, reach = normals[around, :2], far[around]
        pairs = np.stack([sides, np.roll(sides, -1, axis=0)], axis=1), np.stack([reach, np.roll(reach, -1)], axis=1)
        x, y = np.linalg.solve(pairs[0], pairs[1][..., None])[..., 0].T
        off.append(outline.area - 0.5 * float(x @ np.roll(y, -1) - np.roll(x, -1) @ y))
    if isinstance(outline, Curved):
        assert 0.0 < off[1] < off[0] / 10.0
        assert off[1] < 1e-3
    else:
        assert np.abs(off).max() < 1e-14


@pytest.mark.parametrize("name", DESCRIBED)
def test_an_outline_is_the_shape_that_its_lengths_describe(name):
    """Its perimeter is pi times the mean width (Cauchy); the mean over 0.25 degrees is good to 1e-5 where there are corners."""
    make, (area, perimeter) = DESCRIBED[name]
    outline = make()
    assert outline.area == pytest.approx(area, rel=1e-12)
    widths = [2.0 * outline.support(azimuth) for azimuth in np.arange(1440) * math.pi / 720.0]
    assert math.pi * np.mean(widths) == pytest.approx(perimeter, rel=1e-5)


@pytest.mark.parametrize(
    ("name", "outline", "given"),
    [
        ("oval brilliant", "ellipse", {"length_ratio": 1.4}),
        ("pear brilliant", "pear", {"length_ratio": 1.5}),
        ("marquise brilliant", "marquise", {"length_ratio": 2.0}),
        ("cushion brilliant", "cushion", {"length_ratio": 1.2, "side_radius_pct": 150.0, "corner_radius_pct": 15.0}),
        ("triangular brilliant", "bowed triangle", {"side_radius_pct": 120.0}),
        ("princess cut", "rectangle", {"length_ratio": 1.4}),
        ("cut-cornered brilliant", "square cut corners", {"corner_pct": 15.0}),
        ("emerald cut", "cut corners", {"length_ratio": 1.4, "corner_pct": 15.0}),
        ("square emerald cut", "square cut corners", {"corner_pct": 15.0}),
        ("baguette", "rectangle", {"length_ratio": 1.4}),
        ("tapered baguette", "tapered", {"length_ratio": 2.0, "narrow_pct": 70.0}),
        ("hexagonal step cut", "hexagon", {"length_ratio": 1.3}),
    ],
)
def test_a_cut_stands_on_the_outline_that_its_keys_describe(name, outline, given):
    """A curve's flats are chords: a stone is smaller than its outline, by at most a thousandth."""
    more = {"girdle_facets": 192} if "girdle_facets" in CUTS[name].keys else {}
    stone = rl.cut(name, table_pct=60.0, girdle_pct=6.0, width_mm=1.0, **given, **more)
    around = np.linalg.norm(np.roll(stone.outline_mm, -1, axis=0) - stone.outline_mm, axis=1).sum()
    found = np.array([stone.outline_area_mm2, around]) / DESCRIBED[outline][1]
    assert found.max() < 1.0 + 1e-12
    assert found.min() > (0.999 if more else 1.0 - 1e-12)


@pytest.mark.parametrize("name", [name for name, outline in OUTLINES.items() if isinstance(outline, Curved)])
def test_tangents_touch_and_enclose(name):
    """The contact lies on its tangent and on the outline; no point of the outline lies beyond any tangent."""
    outline = OUTLINES[name]
    azimuths = np.linspace(-math.pi, math.pi, 721)
    units = np.column_stack([np.cos(azimuths), np.sin(azimuths)])
    far = np.array([outline.support(azimuth) for azimuth in azimuths])
    touched = np.array([outline.contact(azimuth) for azimuth in azimuths])
    reached = np.array([outline.reach(azimuth) for azimuth in azimuths])[:, None] * units
    assert np.abs((touched * units).sum(axis=1) - far).max() < 1e-14
    for points in (touched, reached):
        assert (points @ units.T - far).max() < 1e-13
    own = np.array([outline.reach(math.atan2(y, x)) for x, y in touched])
    assert np.abs(own - np.linalg.norm(touched, axis=1)).max() < 1e-12
    # Cauchy: the mean width over all directions is the perimeter over pi, here of the fine polygon of contacts.
    around = np.linalg.norm(np.diff(touched, axis=0), axis=1).sum()
    assert 2.0 * far[:-1].mean() == pytest.approx(around / math.pi, rel=1e-4)


@pytest.mark.parametrize("name", OUTLINES)
def test_a_prism_on_an_outline_is_as_large_as_seen(name):
    """Tilted by t towards the azimuth a, a right prism shows A cos t + h w sin t, with w the outline's width across a; on
    average a quarter of its surface (Cauchy). Flats are chords, so that a curved one is a little smaller."""
    outline, height, worst = OUTLINES[name], 0.4, 1e-3 if isinstance(OUTLINES[name], Curved) else 1e-12
    normals, far = outline.flats(256)
    caps = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]])
    stone = rl.Stone.from_planes(np.vstack([normals, caps]), np.r_[far, height / 2.0, height / 2.0])
    for tilt, azimuth in ((0.0, 0.0), (25.0, 10.0), (50.0, 130.0), (80.0, 250.0)):
        t, across = math.radians(tilt), math.radians(azimuth + 90.0)
        wide = outline.support(across) + outline.support(across + math.pi)
        seen = ConvexHull(silhouette(stone, rl.View(tilt_deg=tilt, tilt_azimuth_deg=azimuth))).volume
        assert seen == pytest.approx(outline.area * math.cos(t) + height * wide * math.sin(t), rel=worst)
    mean_width = np.mean([2.0 * outline.support(azimuth) for azimuth in np.arange(1440) * math.pi / 720.0])
    surface = 4.0 * (outline.area / 2.0 + height * mean_width * math.pi / 4.0)
    assert stone.polyhedron.areas.sum() == pytest.approx(surface, rel=max(worst, 1e-5))


@pytest.mark.parametrize("name", OUTLINES)
def test_lines_through_an_outline_are_as_long_as_crofton_says(name):
    """Isotropic lines in the plan are pi A / P long on average, P being pi times the mean width (Cauchy, Crofton; textbook)."""
    outline = OUTLINES[name]
    normals, far = outline.flats(256)
    order = np.argsort(np.arctan2(normals[:, 1], normals[:, 0]))
    pairs = np.stack([order, np.roll(order, -1)], axis=1)
    corners = np.linalg.solve(normals[pairs, :2], far[pairs][..., None])[..., 0]
    chords, widths = [], []
    for azimuth in (np.arange(45) + 0.5) * math.pi / 45.0:
        turn = np.array([[math.cos(azimuth), math.sin(azimuth)], [-math.sin(azimuth), math.cos(azimuth)]])
        (along, out), (then, beyond) = (turn @ one.T for one in (corners, np.roll(corners, -1, axis=0)))
        places = out.min() + (np.arange(200)[:, None] + 0.5) / 200.0 * np.ptp(out)
        crossed = (out <= places) != (beyond <= places)
        with np.errstate(divide="ignore", invalid="ignore"):
            where = along + (places - out) / (beyond - out) * (then - along)
        chords.append(
            np.ptp(out) * (np.where(crossed, where, -np.inf).max(axis=1) - np.where(crossed, where, np.inf).min(axis=1)).mean()
        )
        widths.append(outline.support(azimuth + math.pi / 2.0) + outline.support(azimuth - math.pi / 2.0))
    perimeter = math.pi * np.mean(widths)
    assert np.sum(chords) / np.sum(widths) == pytest.approx(math.pi * outline.area / perimeter, rel=1e-3)


def test_outlines_that_are_none():
    arrow = ((1.0, 0.0), (-1.0, 1.0), (-0.5, 0.0), (-1.0, -1.0))
    with pytest.raises(StoneError, match="not convex: light could leave such a stone and enter it again"):
        Sides(arrow)
    with pytest.raises(StoneError, match="three or more, counter-clockwise"):
        Sides(((0.0, 0.0), (0.0, 1.0), (1.0, 0.0)))
    with pytest.raises(StoneError, match="the cut corners meet"):
        rectangle(1.2, 1.0, 0.5)
    with pytest.raises(StoneError, match=r"narrow = 1\.1: wider than the wide end; expected at most 1"):
        tapered(2.0, 1.0, 1.1)
    with pytest.raises(
        StoneError, match=r"corner_radius_pct = 49\.0: the sides leave no room.* sides of more than 50 % of the"
    ):
        cushion(1.0, 1.0, 0.5, 0.49)


@pytest.mark.parametrize(("length", "side_radius"), [(1.1, 0.6), (1.6, 1.0), (2.0, 4.0)])
def test_a_cushion_has_the_corners_that_its_sides_leave_room_for(length, side_radius):
    """Up to the stated bound to rounding, at which two arcs of sides vanish; beyond it that bound is named."""
    with pytest.raises(StoneError, match=r"expected less than [0-9.]+ % of the width") as refused:
        cushion(length, 1.0, side_radius, 0.49)
    most = float(refused.value.expected.split()[2]) / 100.0
    for radius, room in ((0.999 * most, True), (1.001 * most, False)):
        if room:
            outline = cushion(length, 1.0, side_radius, radius)
            assert 0.0 < min(arc.turn for arc in outline.arcs) < 0.02
            assert (outline.length, outline.width) == pytest.approx((length, 1.0), abs=1e-12)
        else:
            with pytest.raises(StoneError, match="no room for round corners"):
                cushion(length, 1.0, side_radius, radius)


# --- an oval is a stretched round ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", range(4))
def test_an_oval_is_the_image_of_a_round(key):
    """Stretched along x by the ratio: every plane, to rounding; the volume times the ratio."""
    rng = np.random.default_rng([70, key])
    ratio = float(rng.uniform(1.0, 2.5))
    given = {
        "table_pct": rng.uniform(50, 65), "crown_angle_deg": rng.uniform(28, 38), "pavilion_angle_deg": rng.uniform(38, 43),
        "star_pct": rng.uniform(45, 60), "lower_half_pct": rng.uniform(60, 85), "girdle_pct": rng.uniform(3, 6),
        "culet_pct": float(key) / 2.0, "girdle_facets": 64,
    }  # fmt: skip
    round_ = rl.round_brilliant(**given, diameter_mm=1.0)
    oval = rl.oval_brilliant(**given, length_ratio=ratio, width_mm=1.0)
    assert oval.tiers == round_.tiers
    stretched = round_.normals / [ratio, 1.0, 1.0]
    length = np.linalg.norm(stretched, axis=1)
    assert np.abs(oval.normals - stretched / length[:, None]).max() < 2e-15
    assert np.abs(oval.distances_mm - round_.distances_mm / length).max() < 1e-15
    assert oval.volume_mm3 == pytest.approx(ratio * round_.volume_mm3, rel=1e-13)


def test_slopes_follow_the_outline_and_ends_are_as_stated():
    """tan(slope) goes with one over the tangent's distance from the axis; at the ends it can be stated."""
    oval = rl.oval_brilliant(table_pct=57.0, length_ratio=1.5)
    mains = oval.facets_of("pavilion main")
    far = [Ellipse(0.75, 0.5).support(math.radians(azimuth)) for azimuth in oval.azimuth_deg()[mains]]
    assert np.tan(np.radians(oval.slope_deg()[mains])) * far == pytest.approx(0.5 * math.tan(math.radians(40.75)), rel=1e-12)
    keeled = rl.oval_brilliant(table_pct=57.0, length_ratio=1.5, pavilion_end_angle_deg=35.0, crown_end_angle_deg=30.0)
    for tier, stated in (("pavilion main", 35.0), ("crown main", 30.0)):
        ends = [f for f in keeled.facets_of(tier) if abs(keeled.normals[f, 1]) < 1e-12]
        assert keeled.slope_deg()[ends] == pytest.approx([stated, stated], abs=1e-12)
    lowest = keeled.vertices_mm[keeled.vertices_mm[:, 2] < keeled.vertices_mm[:, 2].min() + 1e-9]
    assert len(lowest) == 2  # the keel's two ends
    assert np.ptp(lowest[:, 1]) < 1e-12 < np.ptp(lowest[:, 0])


@pytest.mark.parametrize(("name", "ends"), [("oval brilliant", (0.75, 0.75)), ("pear brilliant", (1.0, 0.5))])
def test_stated_ends_leave_the_width_as_it_is(name, ends):
    """tan(slope) times the tangent's distance is how high a main stands over the axis: as stated at the point and at the other
    end, as across the width at the sides, and halfway between at the mains between. The table is as wide as stated."""
    stone = rl.cut(
        name, table_pct=57.0, length_ratio=1.5, girdle_pct=6.0, width_mm=1.0, crown_angle_deg=34.5, crown_end_angle_deg=32.0,
        pavilion_angle_deg=40.75, pavilion_end_angle_deg=35.0,
    )  # fmt: skip
    outline = {"oval brilliant": Ellipse(0.75, 0.5), "pear brilliant": pear(1.5, 1.0)}[name]
    for tier, across, end in (("crown main", 34.5, 32.0), ("pavilion main", 40.75, 35.0)):
        mains = stone.facets_of(tier)
        azimuths = stone.azimuth_deg()[mains]
        far = np.array([outline.support(math.radians(azimuth)) for azimuth in azimuths])
        rise = np.tan(np.radians(stone.slope_deg()[mains])) * far
        side = 0.5 * math.tan(math.radians(across))
        point, back = (distance * math.tan(math.radians(end)) for distance in ends)
        expected = [point, (side + point) / 2.0, side, (side + back) / 2.0, back]
        around = np.argsort(np.abs((azimuths + 180.0) % 360.0 - 180.0))
        assert rise[around] == pytest.approx(np.repeat(expected, [1, 2, 2, 2, 1]), rel=1e-12)
    assert np.ptp(stone.vertices_mm[stone.polyhedron.loops[stone.facets_of("table")[0]], 1]) == pytest.approx(0.57, rel=1e-12)


# --- four pavilion mains -------------------------------------------------------------------------------------------------


def test_four_halves_meet_where_two_mains_do():
    """On the stretched circle the mains' tangents cross at its corner, and the edge from there to the axis passes the foot of
    the main that is left out. Six facets meet in each tip; the girdle is that of eight mains."""
    given = {"table_pct": 57.0, "length_ratio": 1.5, "width_mm": 1.0, "lower_half_pct": 70.0, "girdle_pct": 4.0}
    stone, eight = (rl.oval_brilliant(**given, pavilion_mains=mains) for mains in (4, 8))
    assert (len(stone.facets_of("pavilion main")), len(stone.facets_of("lower half")), len(eight) - len(stone)) == (4, 16, 4)
    out, steep = 0.5 * (1.0 - 0.7), math.tan(math.radians(40.75))
    tip = np.array([1.5 * out * math.sqrt(0.5), out * math.sqrt(0.5), -0.02 - steep * (0.5 - out * math.sqrt(0.5))])
    for signs in itertools.product((1.0, -1.0), repeat=2):
        at = np.flatnonzero(np.abs(stone.vertices_mm - tip * [*signs, 1.0]).max(axis=1) < 1e-12)
        met = [stone.tiers[f] for f, loop in enumerate(stone.polyhedron.loops) if np.isin(at, loop).any()]
        assert sorted(met) == ["lower half"] * 4 + ["pavilion main"] * 2
    rims = [rl.measure(one) for one in (stone, eight)]
    for key in ("girdle_pct", "girdle_ends_pct", "girdle_sides_pct", "girdle_corners_pct"):
        assert rims[0][key].mean == pytest.approx(4.0, abs=1e-9)
        assert rims[1][key].mean == pytest.approx(4.0, abs=1e-9)


@pytest.mark.parametrize("name", ["oval brilliant", "pear brilliant", "marquise brilliant", "cushion brilliant"])
def test_a_pavilion_of_four_mains_is_the_hull_of_its_corners(name):
    """Below the girdle's edge: the hull (scipy) of sixteen points on the outline, four tips and the lowest point. A half that
    cut into another, or through the girdle, would add corners."""
    stone = rl.cut(name, table_pct=57, girdle_pct=5, width_mm=1.0, pavilion_mains=4)
    below = np.isin(stone.tiers, ["pavilion main", "lower half"])
    plan = rl.Stone.from_planes(
        np.vstack([stone.normals[below], [0.0, 0.0, 1.0]]), np.r_[stone.distances_mm[below], -0.025], redundant="drop"
    )
    level = plan.vertices_mm[np.abs(plan.vertices_mm[:, 2] + 0.025) < 1e-9]
    assert (len(plan.vertices_mm), len(level), len(plan)) == (16 + 4 + 1, 16, 21)
    assert ConvexHull(plan.vertices_mm).volume == pytest.approx(plan.volume_mm3, rel=1e-12)
    crown = rl.measure(stone)
    assert crown.girdle_ends_pct.mean == pytest.approx(5.0, abs=1e-9)
    with pytest.raises(rl.InputError, match="a multiple of 4 from 4 to 8"):
        rl.cut(name, table_pct=57, pavilion_mains=6)


# --- step cuts are stacked frusta ----------------------------------------------------------------------------------------


def _stacked(area, inward: float, slopes: list[float]) -> float:
    """The volume between level outlines whose area is a quadratic function of how far the sides have moved inward."""
    step = inward / len(slopes)
    whole = 0.0
    for k, slope in enumerate(slopes):
        a, m, b = (area((k + part) * step) for part in (0.0, 0.5, 1.0))
        whole += math.tan(math.radians(slope)) * step * (a + 4.0 * m + b) / 6.0
    return whole


@pytest.mark.parametrize(("crown_steps", "pavilion_steps"), [(1, 1), (3, 3), (2, 5)])
@pytest.mark.parametrize("name", ["emerald cut", "square emerald cut", "baguette", "hexagonal step cut"])
def test_a_step_cut_weighs_its_frusta(name, crown_steps, pavilion_steps):
    ratio = {"square emerald cut": 1.0, "hexagonal step cut": 1.3}.get(name, 1.6)
    corner = 0.12 if "emerald" in name else 0.0

    def area(inward: float) -> float:
        width, length = 1.0 - 2.0 * inward, ratio - 2.0 * inward
        if name == "hexagonal step cut":  # its points move inward by 1/cos(30 degrees) of the sides' way
            return width * (ratio - 2.0 * inward / math.cos(math.pi / 6.0) - width / math.sqrt(3.0) / 2.0 * 1.0)
        return length * width - 2.0 * (corner * width) ** 2

    given = {"corner_pct": 100.0 * corner} if corner else {}
    given |= {"length_ratio": ratio} if name != "square emerald cut" else {}
    stone = rl.cut(
        name, table_pct=60.0, crown_angle_deg=40.0, crown_step_deg=6.0, crown_steps=crown_steps, pavilion_angle_deg=50.0,
        pavilion_step_deg=5.0, pavilion_steps=pavilion_steps, girdle_pct=4.0, width_mm=1.0, **given,
    )  # fmt: skip
    crown, pavilion = [40.0 - 6.0 * k for k in range(crown_steps)], [50.0 - 5.0 * k for k in range(pavilion_steps)]
    expected = 0.04 * area(0.0) + _stacked(area, 0.2, crown) + _stacked(area, 0.5, pavilion)
    assert stone.volume_mm3 == pytest.approx(expected, rel=1e-12)
    assert len(stone) == 1 + (crown_steps + pavilion_steps + 1) * {"hexagonal step cut": 6, "baguette": 4}.get(name, 8)


def test_a_tapered_baguette_loses_its_narrow_end():
    """The narrow end's facets close before the keel does: the deepest step has none there."""
    stone = rl.tapered_baguette(table_pct=60.0, narrow_pct=40.0, pavilion_steps=5, pavilion_step_deg=4.0)
    assert len(stone.facets_of("first pavilion step")) == 4
    assert len(stone.facets_of("fifth pavilion step")) == 3


# --- triangles -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chevrons", [2, 3, 4])
def test_a_princess_is_made_of_its_triangles(chevrons):
    """Volume as tetrahedra over the triangles, from the points that the proportions give; a rectangle weighs its ratio more."""
    given = {"table_pct": 64.0, "girdle_pct": 5.0, "chevrons": chevrons, "width_mm": 1.0}
    stone = rl.princess_cut(**given)
    assert len(stone) == 1 + 4 + 8 + 4 + 4 + 4 + 8 * chevrons
    rim, table = 0.025, 0.32
    middle = table + 0.5 * (0.5 - table)
    over = rim + math.tan(math.radians(38.0)) * (0.5 - middle)
    top = over + math.tan(math.radians(24.0)) * (middle - table)
    count = chevrons + 1
    depth = rim + np.cumsum([0.0, *(math.tan(math.radians(60.0 - 7.0 * k)) * 0.5 / count for k in range(count))])
    profile = [(0.0, 0.5 * (1.0 - k / count), -down) for k, down in enumerate(depth)]
    corner, beyond, inner, other = (0.5, 0.5, rim), (-0.5, 0.5, rim), (table, table, top), (-table, table, top)
    point, under, across = (0.0, middle, over), (0.5, 0.5, -rim), (-0.5, 0.5, -rim)
    triangles = [(inner, other, point), (corner, inner, point), (point, other, beyond), (corner, point, beyond)]
    triangles += [
        (inner, (0.0, 0.0, top), other),
        (corner, beyond, under),
        (beyond, across, under),
        (under, across, profile[1]),
    ]
    triangles += [(end, a, b) for a, b in itertools.pairwise(profile[1:]) for end in (under, across)]
    quarter = sum(abs(np.linalg.det(np.array(three))) for three in triangles) / 6.0
    assert stone.volume_mm3 == pytest.approx(4.0 * quarter, rel=1e-12)
    assert rl.princess_cut(**given, length_ratio=1.5).volume_mm3 == pytest.approx(1.5 * stone.volume_mm3, rel=1e-12)


@pytest.mark.parametrize(("chevrons", "corner"), [(2, 0.14), (3, 0.08), (4, 0.05)])
def test_a_cut_cornered_brilliant_is_made_of_its_triangles(chevrons, corner):
    """Volume as tetrahedra over the triangles, from the points that the proportions give; a rectangle weighs its ratio more."""
    given = {"table_pct": 64.0, "girdle_pct": 5.0, "chevrons": chevrons, "corner_pct": 100.0 * corner, "chevron_step_deg": 6.0}
    stone = rl.cut_cornered_brilliant(**given, width_mm=1.0)
    assert len(stone) == 1 + 4 + 4 + 8 + 4 + 8 + 4 + 4 + 8 * chevrons
    rim, table = 0.025, 0.32
    middle = table + 0.5 * (0.5 - table)
    over = rim + math.tan(math.radians(38.0)) * (0.5 - middle)
    top = over + math.tan(math.radians(24.0)) * (middle - table)
    count = chevrons + 1
    depth = rim + np.cumsum([0.0, *(math.tan(math.radians(60.0 - 6.0 * k)) * 0.5 / count for k in range(count))])
    profile = [(0.0, 0.5 * (1.0 - k / count), -down) for k, down in enumerate(depth)]
    end, cut = 0.5 - corner, table * (1.0 - 2.0 * corner)
    near, far, other = (end, 0.5, rim), (0.5, end, rim), (-end, 0.5, rim)
    inner, beside, across = (cut, table, top), (table, cut, top), (-cut, table, top)
    point, under, past, opposite = (0.0, middle, over), (end, 0.5, -rim), (0.5, end, -rim), (-end, 0.5, -rim)
    triangles = [(inner, (0.0, 0.0, top), across), (beside, (0.0, 0.0, top), inner), (inner, across, point)]
    triangles += [(near, inner, point), (point, across, other), (near, point, other)]
    triangles += [(near, far, inner), (far, beside, inner), (near, other, under), (other, opposite, under)]
    triangles += [(near, far, under), (far, past, under), (under, opposite, profile[1]), (under, past, profile[-1])]
    triangles += [(side, a, b) for a, b in itertools.pairwise(profile[1:]) for side in (under, opposite)]
    quarter = sum(abs(np.linalg.det(np.array(three))) for three in triangles) / 6.0
    assert stone.volume_mm3 == pytest.approx(4.0 * quarter, rel=1e-12)
    longer = rl.cut_cornered_brilliant(**given, width_mm=1.0, length_ratio=1.5)
    assert longer.volume_mm3 == pytest.approx(1.5 * stone.volume_mm3, rel=1e-12)


def test_a_rose_stands_on_its_ring():
    """Heights of ring and top from the slopes; the sides' points touch the girdle's edge."""
    stone = rl.rose_cut(diameter_mm=1.0, girdle_facets=48)
    reach = 0.275 * math.cos(math.pi / 6.0)
    top = 0.04 + math.tan(math.radians(50.0)) * (0.5 - reach) + math.tan(math.radians(25.0)) * reach
    assert stone.vertices_mm[:, 2].max() == pytest.approx(top, rel=1e-12)
    assert stone.vertices_mm[:, 2].min() == pytest.approx(-0.04, rel=1e-12)
    assert len(stone) == 6 + 6 + 12 + 48 + 1
    points = [stone.vertices_mm[loop] for f, loop in enumerate(stone.polyhedron.loops) if stone.tiers[f] == "rose side"]
    assert len(points) == 6
    assert all(np.isclose(p[:, 2], 0.04).any() for p in points)


def test_a_single_cut_measures_what_it_was_asked_for():
    stone = rl.single_cut(table_pct=62.0, crown_angle_deg=33.0, pavilion_angle_deg=41.5, girdle_pct=2.0)
    found = rl.measure(stone)
    assert found.table_pct.mean == pytest.approx(62.0, abs=1e-9)
    assert found.crown_angle_deg.mean == pytest.approx(33.0, abs=1e-9)
    assert found.girdle_pct.mean == pytest.approx(2.0, abs=1e-9)


# --- what can't be -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (
            lambda: rl.emerald_cut(table_pct=60, crown_steps=5, crown_step_deg=12),
            "crown_step_deg = 12.0: the crown's last step",
        ),
        (lambda: rl.baguette(table_pct=60, pavilion_steps=5, pavilion_step_deg=14), "pavilion_step_deg = 14.0: the pavilion's"),
        (lambda: rl.oval_brilliant(table_pct=57, star_pct=3), "star_pct = 3.0: the stars cross the table"),
        (lambda: rl.pear_brilliant(table_pct=57, lower_half_pct=99, culet_pct=10), "lower_half_pct = 99.0: the lower halves"),
        (lambda: rl.marquise_brilliant(table_pct=57, girdle_pct=0.5), "girdle_pct = 0.5: the girdle vanishes"),
        (
            lambda: rl.pear_brilliant(table_pct=57, crown_end_angle_deg=20, length_ratio=1.6),
            "crown_end_angle_deg = 20.0: some crown mains would cut off corners of the table and reach over the stars; "
            "expected at least ",
        ),
        (
            lambda: rl.oval_brilliant(
                table_pct=57,
                pavilion_angle_deg=20,
                pavilion_end_angle_deg=38,
                lower_half_pct=94,
                girdle_pct=40,
                length_ratio=2.4,
            ),
            "pavilion_end_angle_deg = 38.0: some lower halves would cut off the tips of others; expected",
        ),
        (
            lambda: rl.pear_brilliant(
                table_pct=57, pavilion_angle_deg=4, lower_half_pct=3, girdle_pct=49, length_ratio=1.7, pavilion_mains=4
            ),
            "lower_half_pct = 3.0: some lower halves would cut off the tips of others; expected at least ",
        ),
        (lambda: rl.cushion_brilliant(table_pct=57, side_radius_pct=50, corner_radius_pct=45), "corner_radius_pct = 45"),
        (lambda: rl.princess_cut(table_pct=70, star_angle_deg=39), "star_angle_deg = 39.0: the stars are no flatter"),
        (lambda: rl.princess_cut(table_pct=70, chevrons=4, chevron_step_deg=15), "chevron_step_deg = 15.0: the last chevron"),
        (lambda: rl.princess_cut(table_pct=70, chevrons=4, chevron_step_deg=9), "chevron_step_deg = 9.0: the chevrons of two"),
        (lambda: rl.princess_cut(table_pct=10, star_angle_deg=0.5), "star_angle_deg = 0.5: the corner facets would meet"),
        (lambda: rl.cut_cornered_brilliant(table_pct=70, star_angle_deg=39), "star_angle_deg = 39.0: the stars are no flatter"),
        (
            lambda: rl.cut_cornered_brilliant(table_pct=64, corner_pct=30),
            "chevron_step_deg = 7.0: the pavilion's corners",
        ),
        (
            lambda: rl.cut_cornered_brilliant(table_pct=10, star_angle_deg=0.5),
            "star_angle_deg = 0.5: the crown's corners",
        ),
        (lambda: rl.cut_cornered_brilliant(table_pct=64, corner_pct=50), "corner_pct = 50"),
        (lambda: rl.rose_cut(star_angle_deg=51), "star_angle_deg = 51.0: the stars are no flatter"),
        (lambda: rl.rose_cut(girdle_pct=0.5), "girdle_pct = 0.5: the girdle vanishes"),
        (lambda: rl.oval_brilliant(table_pct=57, length_ratio=0.8), "length_ratio = 0.8: "),
        (
            lambda: rl.emerald_cut(table_pct=57, girdle_pct=1e-15),
            "girdle_pct = 1e-15: nothing would be left of girdle 0, girdle 1, girdle 2 and 5 more; expected at least",
        ),
        (
            lambda: rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, culet_pct=1e-12),
            "culet_pct = 1e-12: nothing would be left of culet 0; expected",
        ),
        (lambda: rl.cut("emerald cut", table_pct=57, star_pct=50), "star_pct: no parameter of the emerald cut"),
        (lambda: rl.cut("emrald cut", table_pct=57), "unknown cut; did you mean 'emerald cut'"),
        (lambda: rl.cut("heart brilliant", table_pct=57), "a heart is not convex: light could leave such a stone and enter it"),
    ],
)
def test_impossible_stones_are_refused_in_one_line(make, says):
    with pytest.raises(rl.InputError) as told:
        make()
    assert says in str(told.value)
    assert "\n" not in str(told.value)


def _named(cut, refused, given):
    """The parameters with the numbers that a refusal names, or without the one that it says to leave unstated."""
    changed = dict(given)
    for part in refused.expected.split(", and "):
        words = part.split()
        key = words.pop(0) if words[0] in cut.keys else refused.key
        changed.pop(key, None)
        if words[0] != "none:":
            changed[key] = float(words[2] if words[:2] in (["at", "least"], ["at", "most"]) else words[0])
    return changed


def test_a_girdle_at_its_bound_closes():
    """The bound that a message names is the bound."""
    given = {"table_pct": 57, "girdle_pct": 0.5}
    with pytest.raises(StoneError, match="expected at least") as told:
        rl.oval_brilliant(**given)
    kept = _named(CUTS["oval brilliant"], told.value, given)
    assert len(rl.oval_brilliant(**kept)) == 153
    with pytest.raises(StoneError):
        rl.oval_brilliant(**{**kept, "girdle_pct": kept["girdle_pct"] - 0.01})


def test_a_culet_at_its_bound_is_cut():
    """Flatter at the ends, the mains meet before they come to the height that the width's slope gives the culet."""
    flat = {"table_pct": 57, "pavilion_angle_deg": 41, "pavilion_end_angle_deg": 28, "lower_half_pct": 60}
    ends, sides = 0.7 * math.tan(math.radians(28.0)), 0.5 * math.tan(math.radians(41.0))
    bound = 100.0 * (1.0 - ends / sides)
    assert "culet" in rl.oval_brilliant(**flat, culet_pct=bound + 0.01).tiers
    with pytest.raises(StoneError, match=r"the pavilion mains meet before they reach the culet; expected"):
        rl.oval_brilliant(**flat, culet_pct=bound - 0.01)


def _refusal(cut, given):
    """The error that refuses proportions; None where they make a stone."""
    try:
        cut.stone(**given)
    except InputError as error:
        return error
    return None


@pytest.mark.parametrize("name", [name for name in CUTS if name != "single cut"])
def test_who_follows_a_refusal_has_a_stone_or_meets_another_rule(name):
    """Proportions half as far again as the page's sliders reach; each refusal says which number to change, and to what."""
    cut, rng, named = CUTS[name], np.random.default_rng([73, list(CUTS).index(name)]), 0
    sliders = [one for one in cut.parameters if one.slider is not None and one.key != "weight_ct"]
    for _ in range(60):
        given = {
            one.key: one.multiple * int(rng.integers(one.slider.low / one.multiple, one.slider.high / one.multiple + 1))
            if one.multiple
            else float(rng.uniform(max(one.low, 0.5 * one.slider.low), min(one.high, 1.5 * one.slider.high)))
            for one in sliders
        }
        refused = _refusal(cut, given)
        if isinstance(refused, StoneError):
            again = _refusal(cut, _named(cut, refused, given))
            assert again is None or (refused.reason and again.reason != refused.reason), (str(refused), str(again))
            named += 1
            if named == 2:
                return
    assert named > 0


def test_another_number_is_named_where_no_girdle_is_thick_enough():
    """A half that leans outward over the girdle takes all that the girdle is given."""
    given = {"table_pct": 61, "crown_end_angle_deg": 48, "length_ratio": 2.0, "star_pct": 78, "lower_half_pct": 71}
    given |= {"pavilion_end_angle_deg": 54, "girdle_pct": 45}
    with pytest.raises(StoneError, match=r"girdle_pct.*girdle vanishes.*; expected star_pct at most") as refused:
        rl.oval_brilliant(**given)
    assert len(rl.oval_brilliant(**_named(CUTS["oval brilliant"], refused.value, given))) == 153


def test_mains_that_never_meet_are_refused():
    with pytest.raises(
        StoneError, match=r"pavilion_end_angle_deg.*two pavilion mains would meet no third one; expected length_ratio at most"
    ):
        rl.pear_brilliant(table_pct=57, pavilion_angle_deg=42, pavilion_end_angle_deg=30, length_ratio=2.95)


def test_two_numbers_are_named_where_one_is_not_enough():
    given = {"table_pct": 90, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "star_pct": 5}
    with pytest.raises(StoneError, match=r"star_pct = 5.0: .*; expected 50 %, and table_pct at most [0-9.]+ %") as refused:
        rl.round_brilliant(**given)
    assert len(rl.round_brilliant(**_named(CUTS["round brilliant"], refused.value, given))) == 153


@pytest.mark.parametrize(
    ("name", "given", "says"),
    [
        (
            "triangular brilliant",
            {"table_pct": 25, "crown_angle_deg": 85, "pavilion_angle_deg": 8, "star_pct": 94, "lower_half_pct": 0.01},
            "girdle_pct = 5.0: the girdle vanishes in the valleys between the halves; expected table_pct at least 84.53 %",
        ),
        (
            "emerald cut",
            {"table_pct": 1, "crown_angle_deg": 2.1, "crown_step_deg": 20.7, "crown_steps": 4, "pavilion_angle_deg": 5.3},
            "crown_step_deg = 20.7: the crown's last step would be level or fall inward; "
            "expected 7 degrees, and crown_angle_deg at least 21.01 degrees",
        ),
    ],
    ids=["triangular brilliant", "emerald cut"],
)
def test_a_bound_is_named_where_several_things_are_far_from_usual(name, given, says):
    """Where no number of a slider keeps the rule, one of what is allowed is named."""
    refused = _refusal(CUTS[name], given)
    assert str(refused) == says
    again = _refusal(CUTS[name], _named(CUTS[name], refused, given))
    assert again is not None
    assert again.reason != refused.reason
