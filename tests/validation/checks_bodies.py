"""Whole bodies whose answer is known in closed form: slab, roof, cube corner, prism."""

from __future__ import annotations

import math

import numpy as np
import tmm
from checks import check, off
from polyhedra import bisect, box, cube_corner, prism, published, ref, visited

from raylab.lighting.dome import Dome
from raylab.optics.materials import Material
from raylab.stone.stone import Stone
from raylab.tracers import ledger, reference
from raylab.tracers import stone_table as tables
from raylab.tracers.sampled import rays

N = 2.417
DIGITS8 = 6e-9
"""Half a unit of the eighth decimal, in which the slab values are printed, with room for rounding."""

UP_ONLY = Dome(sky_radiance=1.0, tray_radiance=0.0)
DEEP = {"min_weight": 1e-13, "max_bounces": 400}


def _slab(n: float, absorption_per_mm: float = 0.0) -> Stone:
    """A plate 1 mm thick and so wide that no path of weight reaches its rim."""
    return box(1000.0, 1.0, Material.constant(n).tinted(absorption_per_mm))


def _onto_slab(angle_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Origin and direction of a ray that meets the slab's upper face near its middle."""
    way = np.array([math.sin(math.radians(angle_deg)), 0.0, -math.cos(math.radians(angle_deg))])
    return np.array([0.1, 0.2, 0.5]) - 10.0 * way, way


def slab_rows(stone: Stone, angle_deg: float, polarized: bool = True) -> np.ndarray:
    """(2, CHANNELS) the ledger rows of one ray from the reference tracer and from the packet tracer."""
    origin, way = _onto_slab(angle_deg)
    path = reference.trace_path(origin, way, stone, polarized=polarized, **DEEP)
    table = tables.stone_table(stone, 589.3)
    row, _, _ = rays.trace_rays(
        origin[None], way[None], table, UP_ONLY.table, np.eye(3), rules=rays.PathRules(polarized, **DEEP)
    )
    return np.array([path.row(UP_ONLY, np.eye(3)), row[0]])


def _stokes_slab(angle_deg: float, n: float, polarized: bool = True) -> tuple[float, float]:
    """Reflected and transmitted share of a transparent slab (Stokes 1862): 2R/(1+R) and (1-R)/(1+R), R from `tmm`."""
    inside = tmm.snell(1.0, n, math.radians(angle_deg))
    single = np.array([tmm.interface_R(pol, 1.0, n, math.radians(angle_deg), inside) for pol in "sp"])
    if not polarized:
        single = single.mean(keepdims=True)
    return float(np.mean(2.0 * single / (1.0 + single))), float(np.mean((1.0 - single) / (1.0 + single)))


@check
def slab_printed() -> float:
    """A traced slab's reflectance against `slab.R` (Stokes 1862; tmm's `inc_tmm` agrees), to the printed decimals."""
    worst = 0.0
    for key in [key for key in published() if key.startswith("slab.R.")]:
        n, angle = key.removeprefix("slab.R.").rsplit(".", 1)
        found = slab_rows(_slab(float(n)), float(angle))[:, ledger.SKY]
        worst = max(worst, off(found, [ref(key)] * 2, DIGITS8))
    return worst


@check
def slab_energy() -> float:
    """Both sides of a traced slab, 0 to 85 degrees, both polarisation modes, against Stokes's sums with R from `tmm`.

    Tolerance: the weight at which the path is ended, times the 30 reflections that may still share it out.
    """
    worst = 0.0
    for angle in (0.0, 20.0, 40.0, 60.0, 67.5, 80.0, 85.0):
        for polarized in (True, False):
            found = slab_rows(_slab(N), angle, polarized)[:, [ledger.SKY, ledger.LEAK]]
            worst = max(worst, off(found, [_stokes_slab(angle, N, polarized)] * 2, 3e-12))
    return worst


@check
def slab_shortcut() -> float:
    """Averaging s and p at every reflection gives 0.348829 at 60 degrees (closed form 2r/(1+r)), not 0.304992."""
    shortcut = _stokes_slab(60.0, N, polarized=False)[0]
    found = slab_rows(_slab(N), 60.0, polarized=False)[:, ledger.SKY]
    return max(off(shortcut, 0.348829, 6e-7), off(found, [shortcut] * 2, 3e-12))


@check
def slab_diffuse() -> float:
    """A slab under diffuse light, `slab.diff` (closed form): rays at 200 Gauss points of the cosine; nine decimals."""
    worst = 0.0
    at, weight = np.polynomial.legendre.leggauss(200)
    cosine = (at + 1.0) / 2.0
    ways = np.column_stack([np.sqrt(1.0 - cosine**2), np.zeros_like(cosine), -cosine])
    origins = np.array([0.1, 0.2, 0.5]) - ways
    for key, n in (("slab.diff.15", 1.5), ("slab.diff.2417", N)):
        wide = tables.stone_table(box(1e6, 1.0, Material.constant(n)), 589.3)  # grazing light is reflected very often
        rows, _, _ = rays.trace_rays(
            origins, ways, wide, UP_ONLY.table, np.eye(3), rules=rays.PathRules(min_weight=1e-13, max_bounces=100_000)
        )
        worst = max(worst, off(rows[:, ledger.SKY] @ (weight * cosine), ref(key), 1e-9))
    return worst


@check
def slab_absorbing() -> float:
    """A slab that lets 0.9 through in one pass, normal incidence: `slab.abs` (closed form), ten decimals."""
    rows = slab_rows(_slab(N, -math.log(0.9)), 0.0)
    found = rows[:, [ledger.LEAK, ledger.SKY, ledger.ABSORBED]]
    T, R = ref("slab.abs.T"), ref("slab.abs.R")
    return off(found, [[T, R, 1.0 - T - R]] * 2, [6e-11, 6e-11, 1.2e-10])


@check
def slab_absorbing_oblique() -> float:
    """The absorbing slab at 40 degrees: the path through it is longer by the cosine of refraction (closed form, R from tmm)."""
    angle, inside = math.radians(40.0), tmm.snell(1.0, N, math.radians(40.0)).real
    tau = 0.9 ** (1.0 / math.cos(inside))
    R = np.array([tmm.interface_R(pol, 1.0, N, angle, inside) for pol in "sp"])
    passed = np.mean((1.0 - R) ** 2 * tau / (1.0 - R**2 * tau**2))
    back = np.mean(R + R * (1.0 - R) ** 2 * tau**2 / (1.0 - R**2 * tau**2))
    found = slab_rows(_slab(N, -math.log(0.9)), 40.0)[:, [ledger.LEAK, ledger.SKY]]
    return off(found, [[passed, back]] * 2, 3e-12)


@check
def slab_offset() -> float:
    """Sideways offset of light through a plate, `slab.offset` (closed form), eight decimals; and it goes on straight.

    Where the refracted ray turns from the lower face to the side wall, its run across the plate is the way to that wall.
    """
    worst = 0.0
    for key in [key for key in published() if key.startswith("slab.offset.")]:
        n, angle = key.removeprefix("slab.offset.").rsplit(".", 1)
        stone = _slab(float(n))
        origin, way = _onto_slab(float(angle))

        def hits_wall(x: float, stone: Stone = stone, way: np.ndarray = way) -> bool:
            start = np.array([x, 0.0, 0.5]) - way
            return stone.normals[reference.trace_path(start, way, stone, min_weight=0.5).facets[1], 2] == 0.0

        run = 500.0 - bisect(490.0, 500.0 - 1e-9, hits_wall)
        found = (way[0] / -way[2] - run) * -way[2]
        straight = reference.trace_path(origin, way, stone, **DEEP).exits[1][1]
        worst = max(worst, off(found, ref(key), DIGITS8), off(straight, way, 1e-14))
    return worst


@check
def roof_orders() -> float:
    """Normal entry above a 90-degree roof: everything comes back, order by order, `roof.order` (closed form).

    Tolerance: nine printed decimals; the directions to rounding.
    """
    roof = prism([90.0, -45.0, -135.0], [0.1, 0.5, 0.5], 1000.0, N)
    path = reference.trace_path(np.array([0.2, 0.0, 5.0]), np.array([0.0, 0.0, -1.0]), roof, **DEEP)
    weights = [weight for weight, _, _ in path.exits]
    expected = [ref(f"roof.order.{k}") for k in range(4)]
    ways = np.array([way for _, way, _ in path.exits])
    return max(
        off(weights[:4], expected, 6e-10),
        off(sum(weights), ref("roof.total"), 1e-12),
        off(ways, np.tile([0.0, 0.0, 1.0], (len(ways), 1)), 1e-14),
    )


@check
def cube_corner_returns() -> float:
    """A cube corner sends light back along exactly the way it came, whatever the incidence (closed form).

    At normal entry each face is met at arccos(1/sqrt 3), `cc.incidence`. Tolerance: rounding; six decimals of the angle.
    """
    corner, worst = cube_corner(N), 0.0
    for tilt_deg, azimuth_deg in ((0.0, 0.0), (5.0, 20.0), (12.0, 100.0), (20.0, 250.0)):
        tilt, azimuth = math.radians(tilt_deg), math.radians(azimuth_deg)
        way = -np.array([math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)])
        origin = np.array([0.03, 0.02, 0.1]) - 5.0 * way
        path = reference.trace_path(origin, way, corner, **DEEP)
        returned = [exit_direction for _, exit_direction, bounces in path.exits if bounces == 3]
        worst = max(worst, off(returned, [-way], 1e-14), off(len(set(path.facets[1:4])), 3, 0.5))
        if tilt_deg == 0.0:
            _, ways = visited(corner, origin, way, path)
            incidence = np.degrees(np.arccos([v @ corner.normals[f] for v, f in zip(ways, path.facets, strict=True)][1:4]))
            worst = max(worst, off(incidence, [ref("cc.incidence")] * 3, 1e-5))
    return worst


@check
def cube_corner_aperture() -> float:
    """The share of a triangular front face that returns light after three reflections is 2/3 (Eckhardt 1971, from memory).

    Tolerance: 5 standard errors of the sampled share.
    """
    corner, count = cube_corner(N), 20_000
    front = corner.polyhedron.loops[int(np.argmax(corner.normals[:, 2]))]
    shares = np.random.default_rng(11).dirichlet(np.ones(3), size=count)
    origins = shares @ corner.vertices_mm[front] + [0.0, 0.0, 1.0]
    ways = np.tile([0.0, 0.0, -1.0], (count, 1))
    table = tables.stone_table(corner, 589.3)
    out, _, _ = rays.trace_rays(
        origins, ways, table, UP_ONLY.table, np.eye(3), rules=rays.PathRules(min_weight=0.0, max_bounces=4)
    )
    R = ref("roof.order.0")
    returned = np.abs(out[:, ledger.SKY] - R - ref("roof.order.1")) < 1e-8
    return off(returned.mean(), ref("cc.aperture"), 5.0 * math.sqrt(2.0 / 9.0 / count))


def _deviation_deg(apex_deg: float, n: float, incidence_deg: float) -> float:
    """Deviation of the first transmitted beam of a prism with its apex up; NaN where nothing passes."""
    half = apex_deg / 2.0
    wedge = prism([half, 180.0 - half, -90.0], [0.5, 0.5, 0.5], 10.0, n)
    left = math.radians(180.0 - half)
    normal = np.array([math.cos(left), 0.0, math.sin(left)])
    turn = math.radians(incidence_deg)
    upward = np.array([math.sin(left), 0.0, -math.cos(left)])  # along the face, towards the apex: light comes from the base
    way = math.sin(turn) * upward - math.cos(turn) * normal
    path = reference.trace_path(0.5 * normal - way, way, wedge, min_weight=1e-3)
    passed = [exit_direction for _, exit_direction, bounces in path.exits[1:] if bounces == 0]
    return math.degrees(math.acos(passed[0] @ way)) if passed else math.nan


@check
def prism_minimum_deviation() -> float:
    """2 asin(n sin A/2) - A, `prism.mindev` (closed form, six decimals): traced, and least there."""
    worst = 0.0
    for key in [key for key in published() if key.startswith("prism.mindev.") and ".pub" not in key]:
        index, apex = key.removeprefix("prism.mindev.").rsplit(".", 1)
        n, apex_deg = float(index), float(apex)
        incidence = math.degrees(math.asin(n * math.sin(math.radians(apex_deg / 2.0))))
        least, *more = (_deviation_deg(apex_deg, n, incidence + step) for step in (0.0, -1.0, 1.0))
        worst = max(worst, off(least, ref(key), 6e-7), 0.0 if least < min(more) else math.inf)
    return worst


@check
def prism_in_print() -> float:
    """Minimum deviation of ice, 60 and 90 degrees: Tatum, Geometric Optics 1.6 (0.05 deg); encyclopedia (0.005 deg)."""
    found = [
        _deviation_deg(apex, 1.31, math.degrees(math.asin(1.31 * math.sin(math.radians(apex / 2.0)))))
        for apex in (60.0, 90.0, 60.0)
    ]
    keys = ("prism.mindev.1.31.60.pub21.8", "prism.mindev.1.31.90.pub45.7", "prism.mindev.1.31.60.pub21.84")
    return off(found, [ref(key) for key in keys], [0.05, 0.05, 0.005])


@check
def prism_largest_apex() -> float:
    """Nothing passes a diamond prism of more than twice the critical angle, `prism.maxapex`; something just below."""
    limit, angles = ref("prism.maxapex"), [10.0, 30.0, 60.0, 80.0, 89.0, 89.9, 89.99]
    over = [_deviation_deg(limit + 0.001, N, a) for a in angles]
    under = [_deviation_deg(limit - 0.1, N, a) for a in angles]
    return 0.0 if np.all(np.isnan(over)) and not np.all(np.isnan(under)) else math.inf
