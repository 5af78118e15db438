"""Tolkowsky's Diamond Design of 1919: his proportions, and the angles that a two-dimensional section reproduces."""

from __future__ import annotations

import math

import numpy as np
from checks import REFERENCE_NM, check, off
from polyhedra import N_DIAMOND, bisect, look_down, mains_only, ref, tiers_met

from raylab.optics import fresnel as optics
from raylab.optics.materials import Material
from raylab.stone.cuts import round_brilliant as brilliant
from raylab.stone.proportions import measure
from raylab.stone.stone import Stone
from raylab.tracers import reference

PLAIN = Material.constant(N_DIAMOND)


@check
def tolkowsky_heights() -> float:
    """Crown 16.2, pavilion 43.1, depth 59.3 % from 34.5, 40.75 degrees and a 53 % table, `tolk`; 0.05 (depth: 0.1, a sum)."""
    found = measure(
        brilliant.round_brilliant(
            table_pct=ref("tolk.table"), crown_angle_deg=ref("tolk.crown"), pavilion_angle_deg=ref("tolk.pav"), girdle_pct=3.0
        )
    )
    measured = [found.crown_height_pct.mean, found.pavilion_depth_pct.mean, found.depth_pct.mean - 3.0]
    return off(measured, [ref(f"tolk.{name}") for name in ("crownh", "pavd", "total")], [0.05, 0.05, 0.1])


def _tolkowsky(material: str | Material) -> Stone:
    crown = 50.0 * (1.0 - ref("tolk.table") / 100.0) * math.tan(math.radians(ref("tolk.crown")))
    return mains_only(ref("tolk.table"), crown, 50.0 * math.tan(math.radians(ref("tolk.pav"))), material)


def _first_exit(stone: Stone, tier: str, wavelength_nm: float = 589.3) -> tuple[reference.Path, float]:
    """A vertical ray that leaves by a facet of `tier` after two pavilion mains, and its angle from the axis there, degrees.

    The angle is negative where the light leans back towards the axis.
    """
    for x in np.arange(0.02, ref("tolk.table") / 100.0, 0.01):
        path = look_down(stone, x, wavelength_nm=wavelength_nm)
        if tiers_met(stone, path)[1:4] == ["pavilion main", "pavilion main", tier]:
            leaves = [direction for _, direction, bounces in path.exits if bounces == 2]
            if leaves:
                return path, math.degrees(math.atan2(-leaves[0][0], leaves[0][2]))
    return reference.Path(), math.nan


@check
def tolkowsky_chain() -> float:
    """A vertical ray at 40.75 degrees, `tolk.chain`: 40.75, 57.75, 17.0 inside; 44.964 by the table, -12.119 by a main.

    A two-dimensional closed form with n = 2.417; the stone is traced in three. Six decimals.
    """
    stone = _tolkowsky(PLAIN)
    path, by_table = _first_exit(stone, "table")
    _, by_main = _first_exit(stone, "crown main")
    inside, angles = np.array([0.0, 0.0, -1.0]), []
    for f in path.facets[1:3]:
        angles.append(math.degrees(math.acos(inside @ stone.normals[f])))
        inside = inside - 2.0 * (inside @ stone.normals[f]) * stone.normals[f]
    angles.append(math.degrees(math.atan2(-inside[0], inside[2])))
    found = [*angles, by_table, by_main]
    return off(found, [ref(f"tolk.chain.{name}") for name in ("i1", "i2", "dir", "table", "bezel")], 6e-7)


@check
def tolkowsky_dispersion() -> float:
    """The same exit at five Fraunhofer lines and the spread from B to G, `tolk.chain` (Peter's index); five decimals."""
    stone = _tolkowsky("diamond")
    by_table = {line: _first_exit(stone, "table", nm)[1] for line, nm in REFERENCE_NM.items()}
    by_main = {line: _first_exit(stone, "crown main", REFERENCE_NM[line])[1] for line in "BG"}
    found = [by_table[line] for line in "BCDFG"]
    found += [by_table["G"] - by_table["B"], by_main["B"] - by_main["G"]]
    expected = [ref(f"tolk.chain.table.{line}") for line in "BCDFG"]
    expected += [ref("tolk.chain.fire.table"), ref("tolk.chain.fire.bezel")]
    return off(found, expected, 1.1e-5)


def _escapes(pavilion_deg: float, bounces: int, x: float, lean_deg: float) -> bool:
    """Whether light leaves a stone of this pavilion angle at its first (0) or second (1) pavilion main."""
    stone = mains_only(80.0, 10.0, 50.0 * math.tan(math.radians(pavilion_deg)), PLAIN)
    path = look_down(stone, x, lean_deg)
    if tiers_met(stone, path)[1 : 2 + bounces] != ["pavilion main"] * (bounces + 1):
        raise AssertionError(f"the ray takes another path: {tiers_met(stone, path)[:4]}")
    return any(b == bounces for _, _, b in path.exits[1:])  # the first is the glare


@check
def tolkowsky_limits() -> float:
    """Pavilion angles at which light escapes, found by tracing: Tolkowsky's 24 26', 48 52', 43 43' and 51 51'; 0.02 degrees.

    In turn: a vertical ray at the first facet; the flattest ray at the first facet (his equation 9); the flattest ray from
    the other side at the second facet (equation 10); a vertical ray at the second facet.
    """
    found = [
        bisect(20.0, 30.0, lambda a: not _escapes(a, 0, 0.6, 0.0)),
        bisect(46.0, 51.0, lambda a: not _escapes(a, 0, 0.1, 89.99)),
        bisect(42.0, 45.0, lambda a: _escapes(a, 1, 0.7, -89.99)),
        bisect(50.0, 53.0, lambda a: _escapes(a, 1, 0.6, 0.0)),
    ]
    critical = optics.critical_angle_deg(N_DIAMOND)
    return off([critical, *found], [ref(f"tolk.{key}") for key in ("crit", "crit", "eq9", "eq10", "second.vert")], 0.02)
