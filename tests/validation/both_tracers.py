"""What the invariants are run on: a brilliant, some domes, and the two tracers behind one signature."""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Iterator

import numba
import numpy as np

from raylab.lighting.dome import Dome, Lamp, Zone
from raylab.optics.materials import Material
from raylab.scene.view import View
from raylab.stone.cuts.round_brilliant import round_brilliant
from raylab.stone.stone import Stone
from raylab.tracers import ledger, reference
from raylab.tracers import stone_table as tables
from raylab.tracers.sampled import rays

EVEN = Dome(sky_radiance=1.0, tray_radiance=1.0)
UPPER, LOWER = Dome(sky_radiance=1.0, tray_radiance=0.0), Dome(sky_radiance=0.0, tray_radiance=1.0)
RICH = Dome(
    sky="overcast",
    zones=(Zone((20.0, 50.0), (30.0, 140.0), 0.5),),
    lamps=(Lamp(60.0, 200.0, 8.0, 2.0),),
    head_half_angle_deg=12.0,
    tray_radiance=0.3,
)
LEAN = View(tilt_deg=17.0, tilt_azimuth_deg=33.0, turn_deg=5.0).rotation()
ENTRIES = [ledger.SKY, ledger.HEAD, ledger.LEAK, ledger.ABSORBED, ledger.SCATTERED, ledger.UNTRACED]
EXACT = 1e-12
"""Rounding: up to some hundred sums of numbers of at most 1."""


@functools.cache
def gem(absorption_per_mm: float = 0.0, girdle_finish: str = "polished", girdle_facets: int = 96) -> Stone:
    """A usual round brilliant of diamond's index."""
    return round_brilliant(
        table_pct=57,
        crown_angle_deg=34.5,
        pavilion_angle_deg=40.75,
        girdle_facets=girdle_facets,
        girdle_finish=girdle_finish,
        material=Material.constant(2.417).tinted(absorption_per_mm),
    )


def by_reference(
    stone: Stone, origins: np.ndarray, directions: np.ndarray, dome: Dome, turn: np.ndarray = LEAN, **options: float
) -> np.ndarray:
    """(R, CHANNELS) ledger rows from the reference tracer."""
    paths = (
        reference.trace_path(origin, direction, stone, **options) for origin, direction in zip(origins, directions, strict=True)
    )
    return np.array([path.row(dome, turn) for path in paths])


def by_rays(
    stone: Stone, origins: np.ndarray, directions: np.ndarray, dome: Dome, turn: np.ndarray = LEAN, **options: float
) -> np.ndarray:
    """(R, CHANNELS) ledger rows from the packet tracer."""
    table = tables.stone_table(stone, 589.3)
    return rays.trace_rays(origins, directions, table, dome.table, turn, rules=rays.PathRules(**options))[0]


@contextlib.contextmanager
def on_threads(count: int) -> Iterator[None]:
    """Run kernels on so many threads; one is quickest for many small calls."""
    before = numba.get_num_threads()
    numba.set_num_threads(count)
    try:
        yield
    finally:
        numba.set_num_threads(before)
