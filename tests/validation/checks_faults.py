"""Faults that grading handbooks describe: fish-eye, table reflection, nail-head."""

from __future__ import annotations

import numpy as np
from checks import above, check, off
from polyhedra import N_DIAMOND, bisect, look_down, mains_only, published, ref, tiers_met

from raylab.lighting.dome import Dome
from raylab.optics.materials import Material
from raylab.stone.cuts import round_brilliant as brilliant
from raylab.stone.stone import Stone
from raylab.tracers import ledger
from raylab.tracers import stone_table as tables
from raylab.tracers.sampled import rays

PLAIN = Material.constant(N_DIAMOND)


def _through_table(stone: Stone, table_pct: float, dome: Dome, **limits: float) -> tuple[np.ndarray, np.ndarray]:
    """(R,) distance from the axis and (R, CHANNELS) rows of vertical rays over the whole table of a stone of radius 1."""
    place = np.linspace(-1.0, 1.0, 161) * table_pct / 100.0 + 1e-5
    x, y = (grid.ravel() for grid in np.meshgrid(place, place))
    top = float(stone.vertices_mm[:, 2].max())
    table = stone.tiers.index("table")
    corners = stone.vertices_mm[stone.polyhedron.loops[table]][:, :2]
    side = np.roll(corners, -1, axis=0) - corners
    within = np.all(side[:, 0] * (y[:, None] - corners[:, 1]) - side[:, 1] * (x[:, None] - corners[:, 0]) > 0.0, axis=1)
    origins = np.column_stack([x, y, np.full(len(x), top + 1.0)])[within]
    directions = np.tile([0.0, 0.0, -1.0], (len(origins), 1))
    out, _, _ = rays.trace_rays(
        origins, directions, tables.stone_table(stone, 589.3), dome.table, np.eye(3), rules=rays.PathRules(**limits)
    )
    return np.hypot(origins[:, 0], origins[:, 1]), out


def _girdle_seen(table_pct: float, depth_pct: float) -> float:
    """Share of the table through which an absorbing girdle is seen after one reflection in the pavilion."""
    stone = brilliant.round_brilliant(
        table_pct=table_pct,
        crown_angle_deg=34,
        pavilion_depth_pct=depth_pct,
        girdle_finish="absorbing",
        material=PLAIN,
        diameter_mm=2,
    )
    _, out = _through_table(stone, table_pct, Dome(), max_bounces=2)
    return float(np.mean(out[:, ledger.SCATTERED] > 0.0))


@check
def fish_eye_threshold() -> float:
    """Where the girdle starts to show, `geo.fisheye2d`: (3T^2-1)/(T^2+1), T = depth/50 (closed form, 4 decimals of a percent).

    Traced in the plane of a main: the ray's second internal facet turns from pavilion to girdle there.
    """
    worst = 0.0
    for key in [key for key in published() if key.startswith("geo.fisheye2d.")]:
        depth = float(key.removeprefix("geo.fisheye2d."))
        stone = brilliant.round_brilliant(
            table_pct=75, crown_angle_deg=34, pavilion_depth_pct=depth, girdle_finish="absorbing", material=PLAIN, diameter_mm=2
        )

        def sees_girdle(x: float, stone: Stone = stone) -> bool:
            return tiers_met(stone, look_down(stone, x))[1:] == ["pavilion main", "girdle"]

        low, high = ref(key) / 100.0 - 0.05, ref(key) / 100.0 + 0.005
        worst = max(worst, off(100.0 * bisect(low, high, sees_girdle), ref(key), 6e-5))
    return worst


@check
def fish_eye_of_the_handbook() -> float:
    """A fish-eye under 38 % pavilion depth, or about 40 % with a large table (course text); none at usual depths."""
    shows = [_girdle_seen(table, depth) for table, depth in ((53, 37), (57, 37.5), (66, 40))]
    hidden = [_girdle_seen(table, depth) for table, depth in ((53, 41), (57, 42), (57, 43), (60, 43))]
    return max(above(shows, 0.02), off(hidden, [0.0] * 4, 1e-12))


def _table_reflection(stone: Stone, table_pct: float) -> float:
    """Radius of the table's mirror image over the table's, in the plane of a main: inside it light leaves by the table."""

    def leaves_by_crown(x: float) -> bool:
        return tiers_met(stone, look_down(stone, x))[3] != "table"

    edge = table_pct / 100.0
    return bisect(0.02, edge - 1e-6, leaves_by_crown) / edge if leaves_by_crown(edge - 1e-6) else 1.0


@check
def table_reflection_in_two_dimensions() -> float:
    """Image of the table's edge, `geo.tabrefl2d` (closed form, table 57, crown 14.5, knife-edge girdle); three decimals."""
    worst = 0.0
    for depth in range(42, 51):
        found = _table_reflection(mains_only(57.0, 14.5, depth, PLAIN), 57.0)
        worst = max(worst, off(found, ref(f"geo.tabrefl2d.{depth}"), 6e-4))
    return worst


@check
def table_reflection_of_the_handbook() -> float:
    """20, 30, ... 100 % of the table at 42, 43, ... 50 % pavilion depth, `geo.tabrefl`; a rule of thumb, 8 points."""
    worst = 0.0
    for depth in range(42, 51):
        stone = brilliant.round_brilliant(
            table_pct=57, crown_height_pct=14.5, pavilion_depth_pct=depth, girdle_pct=2.5, material=PLAIN, diameter_mm=2
        )
        worst = max(worst, off(100.0 * _table_reflection(stone, 57.0), ref(f"geo.tabrefl.{depth}"), 8.0))
    return worst


@check
def nail_head_of_the_handbook() -> float:
    """A dark centre from 49 % pavilion depth on, the whole table at 50 % (course text): light comes back from the observer.

    A head of 15 degrees half-angle. Dark: over 85 % of what the middle of the table shows is the head. At 43 % the middle
    shows the head in the first surface, R(0) = 0.172, and by later orders under a thousandth.
    """
    shares = {}
    for depth in (43.0, 49.0, 50.0):
        stone = brilliant.round_brilliant(
            table_pct=57, crown_angle_deg=34, pavilion_depth_pct=depth, girdle_pct=3, material=PLAIN, diameter_mm=2
        )
        radius, out = _through_table(stone, 57, Dome(head_half_angle_deg=15.0))
        shares[depth] = [out[radius < part * 0.57, ledger.HEAD].mean() for part in (0.3, 0.9)]
    dark = above([shares[49.0][0], shares[50.0][0]], 0.85)
    whole = above(shares[50.0][1], 0.7)
    return max(dark, whole, off(shares[43.0][0], ref("opt.diamond.R0"), 1e-3))
