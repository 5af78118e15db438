"""Facets that scatter, against closed forms, against the oracle, and by what light can't do: be lost, or prefer a direction."""

from __future__ import annotations

import math

import numpy as np
from both_tracers import ENTRIES, EVEN, EXACT, LEAN, RICH, by_rays, gem, on_threads
from checks import above, check, off
from polyhedra import box, directions, entering_rays, random_polyhedron, random_rays
from scipy.integrate import quad

from raylab.lighting.dome import Dome, Lamp
from raylab.optics.fresnel import fresnel
from raylab.optics.materials import Material
from raylab.stone.finish import NUMBERS
from raylab.stone.stone import Stone
from raylab.tracers import ledger, microfacets, reference
from raylab.tracers.keyed import keyed_uniform
from raylab.tracers.scattering import BY_SCATTERING, FIRST_AXIS, PARTS

N = 1.8
SIGMAS = 4.5
"""Standard errors by which a mean of random paths may be off."""


def some_finishes(stone: Stone, key: int) -> Stone:
    """A stone with facets of all finishes at random; the first is Lambertian, the next rough."""
    rng = np.random.default_rng([50, key])
    names = [stone.facet_name(f) for f in range(len(stone))]
    kinds = rng.choice(["polished", "polished", "absorbing", "lambertian", "rough"], len(stone))
    kinds[:2] = "lambertian", "rough"
    texts = [f"{kind} {rng.random():.3f}" if kind in NUMBERS else str(kind) for kind in kinds]
    return stone.with_finishes(dict(zip(names, texts, strict=True)))


def stones(count: int) -> list[Stone]:
    """A brilliant with a Lambertian girdle, and random polyhedra, clear and tinted, with all finishes."""
    bodies = [random_polyhedron(k, n=1.4 + 0.2 * k, absorption_per_mm=0.3 * (k % 2)) for k in range(count - 1)]
    return [gem(0.1, girdle_finish="lambertian 0.7"), *(some_finishes(one, key) for key, one in enumerate(bodies))]


def oracle(stone: Stone, origins: np.ndarray, ways: np.ndarray, seed: int, **options: float) -> np.ndarray:
    """(R, CHANNELS + PARTS) rows of the reference tracer, and what came by scattering, with the random numbers of the rays."""
    rows = []
    for key, (origin, way) in enumerate(zip(origins, ways, strict=True)):

        def draw(met: int, key: int = key) -> tuple[float, float]:
            return keyed_uniform(seed, key, met, FIRST_AXIS), keyed_uniform(seed, key, met, FIRST_AXIS + 1)

        path = reference.trace_path(origin, way, stone, draw=draw, **options)
        part = np.zeros(PARTS) if path.by_scattering is None else path.by_scattering.row(RICH, LEAN)[:PARTS]
        rows.append(np.concatenate([path.row(RICH, LEAN), part]))
    return np.array(rows)


def agree_on(bodies: list[Stone], count: int) -> float:
    """Oracle and packet tracer with the same random numbers: every channel of every ray to 1e-10, and the six entries sum to 1.

    The oracle keeps its own cosine law, mirrors and shadows, and its own account of what came by scattering.
    """
    worst, one = 0.0, np.ones(count)
    for key, stone in enumerate(bodies):
        sent = random_rays(stone, count, key)
        rules = {"polarized": key % 2 == 0, "min_weight": 1e-3}
        slow = oracle(stone, *sent, key, **rules)
        with on_threads(1):
            fast = by_rays(stone, *sent, RICH, seed=key, **rules)
        parts = fast[:, BY_SCATTERING]
        worst = max(worst, off(fast[:, : slow.shape[1]], slow, 1e-10), above(float((parts[:, 0] > 0.0).sum()), 1.0))
        worst = max(worst, off(fast[:, ENTRIES].sum(axis=1), one, EXACT), above(1.0 + EXACT, parts[:, 1:].sum(axis=1).max()))
    return worst


@check
def tracers_agree() -> float:
    """See `agree_on`."""
    return agree_on(stones(6), 12)


def diffuse_inside(n: float) -> float:
    """Share of diffuse light inside that a polished surface reflects: Fresnel's reflectance, averaged by the cosine law."""

    def reflected(angle: float) -> float:
        return float(fresnel(math.degrees(angle), n, 1.0).reflectance) * math.sin(2.0 * angle)

    critical = math.asin(1.0 / n)
    return quad(reflected, 0.0, critical, epsabs=1e-10)[0] + math.cos(critical) ** 2


def off_by(found: np.ndarray, expected: float) -> float:
    """How far a mean of random numbers is from what is expected, in units of `SIGMAS` standard errors."""
    error = float(found.std(ddof=1)) / math.sqrt(len(found))
    return abs(float(found.mean()) - expected) / (SIGMAS * error if error > 0.0 else EXACT)


def slab_on(albedo: float, count: int) -> float:
    """A wide slab on a Lambertian floor, seen from above at 40 degrees: light goes to and fro between floor and surface.

    With R of the first surface and r, what the surface reflects of diffuse light from inside, the surface lets
    (1 - R) a (1 - r) / (1 - a r) out again and the floor takes (1 - R) (1 - a) / (1 - a r): a geometric series (Saunderson,
    J. Opt. Soc. Am. 32 (1942) 727, from memory).
    """
    slab = box(1000.0, 1.0, Material.constant(N))
    floor = slab.facet_name(int(np.argmin(slab.normals[:, 2])))
    slab = slab.with_finishes({floor: f"lambertian {albedo}"})
    lean = math.radians(40.0)
    way = np.array([math.sin(lean), 0.0, -math.cos(lean)])
    origins = np.broadcast_to(np.array([0.0, 0.0, 0.5]) - way, (count, 3))
    with on_threads(1):
        rows = by_rays(slab, origins, np.broadcast_to(way, (count, 3)), EVEN, np.eye(3), min_weight=1e-9, max_bounces=2000)
    R, r = float(fresnel(40.0, 1.0, N).reflectance), diffuse_inside(N)
    series = (1.0 - R) / (1.0 - albedo * r)
    parts = rows[:, BY_SCATTERING]
    out, taken = series * albedo * (1.0 - r), series * (1.0 - albedo)
    worst = max(off_by(rows[:, ledger.SKY] - R, out), off_by(rows[:, ledger.SCATTERED], taken))
    later = taken - (1.0 - R) * (1.0 - albedo)  # what the floor takes of light that it scattered before
    worst = max(worst, off_by(parts[:, ledger.SKY], out), off_by(parts[:, ledger.SCATTERED], later))
    return max(worst, off(rows[:, ledger.GLARE], np.full(count, R), EXACT))


@check
def slab_on_a_diffuse_floor() -> float:
    """See `slab_on`."""
    return max(slab_on(0.9, 4000), slab_on(0.3, 4000))


def sphere_on(count: int) -> float:
    """A polished cuboid with one Lambertian wall, in isotropic light: rays meet the wall n^2 times as often as from outside.

    Light that is all but kept fills every state inside with the n^2-fold radiance (Clausius), as in an integrating sphere, and
    no state of a cuboid misses the wall. So of the rays that meet the surface S, the share A/S meets the wall A from outside,
    and each ray meets it n^2 A/S times from inside; what a wall of albedo 1 - e takes is e times both.
    """
    e = 1e-6
    cuboid = box(2.0, 1.0, Material.constant(N))
    wall = int(np.argmax(cuboid.normals[:, 0]))
    cuboid = cuboid.with_finishes({cuboid.facet_name(wall): f"lambertian {1.0 - e!r}"})
    sent = entering_rays(cuboid, count, np.random.default_rng(51))
    with on_threads(1):
        rows = by_rays(cuboid, *sent, EVEN, np.eye(3), min_weight=1e-7, max_bounces=5000)
    areas = cuboid.polyhedron.areas
    return off_by(rows[:, ledger.SCATTERED] / e, (1.0 + N**2) * areas[wall] / areas.sum())


@check
def integrating_sphere() -> float:
    """See `sphere_on`."""
    return sphere_on(6000)


@check
def wall_from_outside() -> float:
    """A Lambertian box under a sky that brightens towards the zenith as 1 + 2 sin(elevation): the cosine law.

    Level upward, the mean of (1 + 2 z)/3 by the cosine law is (1 + 4/3)/3 = 7/9; upright, half of the hemisphere is the tray,
    dark here, and the other half gives (1 + 8/(3 pi))/6. (CIE overcast sky: Moon and Spencer 1942; integrals by hand.)
    """
    cube, count, worst, glare = box(2.0, 2.0, Material.constant(N)), 4000, 0.0, np.full(4000, 0.6)
    cube = cube.relabeled(tiers=("wall",) * 6, indices=tuple(range(6))).with_finishes({"wall": "lambertian 0.6"})
    sky = Dome(sky="overcast", tray_radiance=0.0)
    for way, expected in (((0.0, 0.0, -1.0), 7.0 / 9.0), ((-1.0, 0.0, 0.0), (1.0 + 8.0 / (3.0 * math.pi)) / 6.0)):
        ways = np.broadcast_to(np.array(way), (count, 3))
        rows = by_rays(cube, -5.0 * ways + 0.1, ways, sky, np.eye(3))
        worst = max(worst, off_by(rows[:, ledger.LUMINANCE], 0.6 * expected), off(rows[:, ledger.GLARE], glare, EXACT))
    return worst


def both_ways(stone: Stone, count: int, one: tuple[float, float], other: tuple[float, float], radius_deg: float) -> float:
    """Reciprocity: what an eye in one cone of directions sees of a lamp in another is what it sees with both exchanged.

    Both cones are filled evenly with view rays, over the same disc across each; the radiance of the dome needs no factor n^2,
    since eye and lamp are both outside.
    """
    found = []
    for k, (eye, lamp) in enumerate(((one, other), (other, one))):
        rng = np.random.default_rng([52, k])
        dome = Dome(sky_radiance=0.0, tray_radiance=0.0, lamps=(Lamp(lamp[0], lamp[1], radius_deg, 1.0),))
        up, around = np.radians(eye)
        axis = np.array([math.cos(up) * math.cos(around), math.cos(up) * math.sin(around), math.sin(up)])
        ways = directions(int(count * 2.2 / (1.0 - math.cos(math.radians(radius_deg)))), rng)
        ways = -ways[ways @ axis > math.cos(math.radians(radius_deg))][:count]
        size = float(np.linalg.norm(stone.vertices_mm, axis=1).max())
        u = np.cross(ways, np.eye(3)[np.abs(ways).argmin(axis=1)])
        u /= np.linalg.norm(u, axis=1)[:, None]
        out, angle = size * np.sqrt(rng.random(len(ways))), 2.0 * math.pi * rng.random(len(ways))
        across = out[:, None] * (np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * np.cross(ways, u))
        with on_threads(1):
            found.append(by_rays(stone, across - 3.0 * size * ways, ways, dome, np.eye(3), seed=k)[:, ledger.LUMINANCE])
    apart = abs(found[0].mean() - found[1].mean())
    error = math.sqrt(sum(float(one.var(ddof=1)) / len(one) for one in found))
    return max(apart / (SIGMAS * error), above(float(found[0].mean()), 10.0 * error))


@check
def reciprocity() -> float:
    """See `both_ways`; a polyhedron with Lambertian facets of two albedos, and rough ones."""
    stone, kinds = random_polyhedron(3, n=1.7), ("lambertian 0.5", "polished", "lambertian 0.9", "rough 0.4")
    stone = stone.with_finishes({stone.facet_name(f): kinds[f % 4] for f in range(len(stone))})
    return both_ways(stone, 12_000, (70.0, 20.0), (35.0, 170.0), 25.0)


def shares_by_quadrature(angle_deg: float, roughness: float, n_from: float, n_to: float) -> tuple[float, float]:
    """What one rough surface reflects and lets pass of unpolarized light from one direction: the microfacet integrals.

    With the directions w to the light, r reflected and t refracted at a mirror of normal m,
    R = int F(w.m) D(m) G(w) G(r) (w.m)/(w.n) dm over the mirrors that face w, and T likewise with 1 - F and G(t)
    (Walter et al. 2007, equations 20 and 21 with the Jacobians 14 and 17; radiance over n^2). By the midpoint rule.
    """
    w = np.array([math.sin(math.radians(angle_deg)), 0.0, math.cos(math.radians(angle_deg))])
    # mirrors by tan t = a sqrt(s / (1 - s)), for which D(m) cos t dm = ds d(azimuth) / (2 pi)
    s = (np.arange(1000) + 0.5) / 1000.0
    azimuth = 2.0 * math.pi * (np.arange(180) + 0.5) / 180.0
    tangent = roughness * np.sqrt(s / (1.0 - s))
    cos_m = 1.0 / np.sqrt(1.0 + tangent**2)
    m = np.stack(np.broadcast_arrays(
        (tangent * cos_m)[:, None] * np.cos(azimuth), (tangent * cos_m)[:, None] * np.sin(azimuth), cos_m[:, None]
    ), axis=-1)  # fmt: skip
    cos_i = np.maximum(m @ w, 1e-12)
    sine = n_from / n_to * np.sqrt(np.maximum(1.0 - cos_i**2, 0.0))
    cos_t = np.sqrt(np.maximum(1.0 - sine**2, 0.0))
    rs = (n_from * cos_i - n_to * cos_t) / (n_from * cos_i + n_to * cos_t)
    rp = (n_to * cos_i - n_from * cos_t) / (n_to * cos_i + n_from * cos_t)
    fresnel_r = np.where(sine < 1.0, 0.5 * (rs**2 + rp**2), 1.0)
    reflected = 2.0 * cos_i * m[..., 2] - w[2]
    refracted = -(n_from / n_to * w[2] + (cos_t - n_from / n_to * cos_i) * m[..., 2])

    def seen(cos: np.ndarray) -> np.ndarray:
        safe = np.where(cos > 0.0, cos, 1.0)
        return np.where(cos > 0.0, 2.0 / (1.0 + np.sqrt(1.0 + roughness**2 * (1.0 / safe**2 - 1.0))), 0.0)

    density = seen(w[2]) * cos_i / (w[2] * m[..., 2])
    passes = np.where(sine < 1.0, 1.0 - fresnel_r, 0.0)
    return float((density * fresnel_r * seen(reflected)).mean()), float((density * passes * seen(-refracted)).mean())


def rough_surface(angle_deg: float, roughness: float, count: int, *, inside: bool) -> tuple[np.ndarray, np.ndarray]:
    """(R,) each ray's shares that a rough surface reflects and lets pass at its first meeting, by the packet tracer.

    From outside a wide rough plate is met; from inside the rough floor of a polished plate, along the way that leads there at
    this angle, whose light is counted relative to what enters.
    """
    plate = box(1e4, 1.0, Material.constant(N))
    outside = math.asin(N * math.sin(math.radians(angle_deg))) if inside else math.radians(angle_deg)
    floor, top = (plate.facet_name(int(side)) for side in (np.argmin(plate.normals[:, 2]), np.argmax(plate.normals[:, 2])))
    plate = plate.with_finishes({floor if inside else top: f"rough {roughness}"})
    way = np.array([math.sin(outside), 0.0, -math.cos(outside)])
    origins, ways = np.broadcast_to(np.array([0.0, 0.0, 0.5]) - way, (count, 3)), np.broadcast_to(way, (count, 3))
    with on_threads(1):
        rows = by_rays(plate, origins, ways, EVEN, np.eye(3), min_weight=0.0, max_bounces=1 if inside else 0, polarized=False)
    if not inside:
        return rows[:, ledger.GLARE], rows[:, ledger.UNTRACED]
    entered = 1.0 - rows[:, ledger.GLARE]
    return rows[:, ledger.UNTRACED] / entered, rows[:, ledger.LEAK] / entered


@check
def microfacets_by_quadrature() -> float:
    """What a rough surface reflects or lets pass, from outside and inside, against the integrals over all mirrors.

    The tracer draws mirrors that a ray sees; the integrals weigh all of them. From outside the glare is compared, from inside
    what leaks; see `shares_by_quadrature`.
    """
    worst = 0.0
    for angle, roughness in ((0.0, 0.3), (60.0, 0.5), (75.0, 1.0)):
        reflected, _ = shares_by_quadrature(angle, roughness, 1.0, N)
        worst = max(worst, off_by(rough_surface(angle, roughness, 8000, inside=False)[0], reflected))
    for angle, roughness in ((0.0, 0.5), (30.0, 0.3)):
        _, passed = shares_by_quadrature(angle, roughness, N, 1.0)
        worst = max(worst, off_by(rough_surface(angle, roughness, 8000, inside=True)[1], passed))
    return worst


@check
def roughness_one_is_a_ball() -> float:
    """Looked at from straight above, mirrors of roughness 1 are a half ball: D = 1/pi, so that w.m has the density 2 w.m.

    The reflection then leaves evenly in all directions, as from a polished ball. Means of (w.m)^2 and (w.m)^4: 1/2 and 1/3.
    """
    cos, up = [], (0.6, 0.0, 0.8)
    for key in range(4000):
        first, second = keyed_uniform(7, key, 0, 0), keyed_uniform(7, key, 0, 1)
        cos.append(microfacets.visible_normal(*up, *up, 1.0, first, second) @ np.array(up))
    return max(off_by(np.array(cos) ** 2, 0.5), off_by(np.array(cos) ** 4, 1.0 / 3.0))


@check
def roughness_none_is_polished() -> float:
    """Rough facets of roughness 0 are polished to rounding; of roughness 1e-6 they lose next to nothing to other mirrors."""
    stone = random_polyhedron(2, n=1.7)
    sent = random_rays(stone, 60, 5)
    names = {stone.facet_name(f) for f in range(len(stone))}
    with on_threads(1):
        polished = by_rays(stone, *sent, EVEN)
        none, little = (by_rays(stone.with_finishes(dict.fromkeys(names, f"rough {a}")), *sent, EVEN) for a in ("0", "1e-6"))
    channels = [*ENTRIES, ledger.GLARE, ledger.BOUNCES]
    return max(
        off(none[:, channels], polished[:, channels], 1e-10),
        off(little[:, ENTRIES].sum(axis=1), np.ones(60), EXACT),
        off(np.mean(little[:, ledger.UNTRACED]), np.mean(polished[:, ledger.UNTRACED]), 1e-3),
    )
