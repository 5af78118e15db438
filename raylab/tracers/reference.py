"""The oracle: one view ray at a time, in plain Python, written to be read.

It shares nothing with the fast tracers but the `Stone` and the `Dome`. Polarisation is carried as a coherency matrix in
the lab frame, J = <E E*> (3 x 3, complex), with trace J the power: at an interface the field is split along s and p,
multiplied by the complex Fresnel amplitudes (Born & Wolf, section 1.5), and put together along the new direction. The
fast tracers carry Stokes parameters instead, so the two agree only where both are right.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, field, replace

import numpy as np

from ..lighting.dome import MARGIN, Dome, Lamp, Zone
from ..stone.finish import ABSORBING, POLISHED
from ..stone.stone import Stone
from .ledger import (
    ABSORBED,
    BOUNCES,
    BRIGHTER,
    CHANNELS,
    DIMMER,
    DOUBT,
    GLARE,
    HEAD,
    INCLUDED,
    LEAK,
    LUMINANCE,
    SCATTERED,
    SKY,
    SOURCE_X,
    SOURCE_Z,
    UNTRACED,
    WINDOW,
)
from .reference_crossings import crosses
from .reference_scattering import Draw, amount_of, drawn_by_cosine, drawn_mirror, seen_share


@dataclass
class Path:
    """What became of one view ray.

    Attributes
    ----------
    facets, points : facet numbers met, the entry first, and where, (3,) mm; empty for a miss.
    exits : (weight, unit direction in the stone's frame, internal reflections before) of each part that left, the glare first.
    glare, absorbed, scattered, untraced : the other parts. included : the part of `absorbed` that inclusions took.
    taken : number of a hit -> what its facet took; their sum is `scattered`.
    by_scattering : what happened after light was first scattered; None where it never was.
    """

    facets: list[int] = field(default_factory=list)
    points: list[np.ndarray] = field(default_factory=list)
    exits: list[tuple[float, np.ndarray, int]] = field(default_factory=list)
    glare: float = 0.0
    absorbed: float = 0.0
    scattered: float = 0.0
    untraced: float = 0.0
    included: float = 0.0
    taken: dict[int, float] = field(default_factory=dict)
    by_scattering: Path | None = None

    def row(self, dome: Dome, turn: np.ndarray) -> np.ndarray:
        """The path's ledger as (CHANNELS,) numbers; `turn` (3, 3) takes the stone's frame to the dome's."""
        row = np.zeros(CHANNELS)
        row[INCLUDED] = self.included
        row[GLARE], row[ABSORBED], row[SCATTERED], row[UNTRACED] = self.glare, self.absorbed, self.scattered, self.untraced
        for number, (weight, direction, bounces) in enumerate(self.exits):
            in_dome = turn @ direction
            bookings = _bookings(direction, in_dome, dome)
            entry, luminance = bookings[0]
            row[entry] += weight
            row[LUMINANCE] += weight * luminance
            row[DOUBT] += weight * (len({entry for entry, _ in bookings}) > 1)
            row[DIMMER] += weight * (luminance - min(other for _, other in bookings))
            row[BRIGHTER] += weight * (max(other for _, other in bookings) - luminance)
            row[SOURCE_X : SOURCE_Z + 1] += weight * in_dome
            row[BOUNCES] += weight * bounces
            row[WINDOW] += weight * (number > 0 and bounces == 0 and entry == LEAK)
        return row

    def parts(self) -> list[Path]:
        """Where something that happens now is booked."""
        return [self] if self.by_scattering is None else [self, self.by_scattering]

    def take(self, weight: float) -> None:
        """Book what the facet takes that was met last."""
        self.taken[len(self.facets) - 1] = weight
        for one in self.parts():
            one.scattered += weight

    def leave(self, weight: float, direction: np.ndarray, bounces: int) -> None:
        """Book what leaves."""
        for one in self.parts():
            one.exits.append((weight, direction, bounces))


def _bookings(direction: np.ndarray, in_dome: np.ndarray, dome: Dome) -> list[tuple[int, float]]:
    """Ledger entry and luminance of what leaves, by the rule of `lighting.dome`, and after it all that other sides of the edges
    would give. The direction (3,) is given in the stone's frame and in the dome's."""
    found: list[tuple[int, float]] = []
    above_head = in_dome[2] - math.cos(math.radians(dome.head_half_angle_deg)) if dome.head_half_angle_deg > 0.0 else -1.0
    if above_head >= -MARGIN:
        found.append((HEAD, 0.0))
    if above_head > MARGIN:
        return found
    if direction[2] >= -MARGIN:
        # In the units given; the tray is lit, so that a dome of lamps alone is not refused as dark.
        bare = replace(dome, zones=(), lamps=(), tray_radiance=dome.brightest, absolute=True)
        seen = [float(bare.radiance(in_dome))]
        patches: list[Zone | Lamp] = [*dome.zones, *dome.lamps]
        for patch in patches:
            inside = _zone_depth(in_dome, patch) if isinstance(patch, Zone) else _lamp_depth(in_dome, patch)
            if inside > MARGIN:
                seen = [patch.radiance]
            elif inside >= -MARGIN:
                seen = [patch.radiance, *seen]
        unit = 1.0 if dome.absolute else dome.brightest
        found += [(SKY, radiance / unit) for radiance in seen]
    if direction[2] <= MARGIN:
        found.append((LEAK, dome.table.tray))
    return found


def _zone_depth(seen: np.ndarray, zone: Zone) -> float:
    """How far inside a zone a direction (3,) is, below 0 outside: in sines of elevation, on the unit sphere from an azimuth."""
    low, high = zone.elevation_deg
    depths = [seen[2] - math.sin(math.radians(low))] if low > -90.0 else []
    depths += [math.sin(math.radians(high)) - seen[2]] if high < 90.0 else []
    start, end = zone.azimuth_deg
    if end - start < 360.0:
        # From the middle of the zone, so that both edges are as far away.
        azimuth = math.degrees(math.atan2(seen[1], seen[0]))
        off = abs((azimuth - (start + end) / 2.0 + 180.0) % 360.0 - 180.0)
        depths.append(math.hypot(seen[0], seen[1]) * math.radians((end - start) / 2.0 - off))
    return min(depths, default=1.0)


def _lamp_depth(seen: np.ndarray, lamp: Lamp) -> float:
    """How far inside a lamp a direction (3,) is, in cosines of the angle to its middle."""
    up, around = math.radians(lamp.elevation_deg), math.radians(lamp.azimuth_deg)
    middle = np.array([math.cos(up) * math.cos(around), math.cos(up) * math.sin(around), math.sin(up)])
    return float(seen @ middle) - math.cos(math.radians(lamp.radius_deg))


def amplitudes(cos_i: float, n_from: float, n_to: float) -> tuple[complex, complex, complex, complex, complex]:
    """r_s, r_p, t_s, t_p and the complex cosine of refraction at an interface."""
    sin_t = n_from / n_to * math.sqrt(max(0.0, 1.0 - cos_i * cos_i))
    cos_t = cmath.sqrt(1.0 - sin_t * sin_t)
    s, p = n_from * cos_i + n_to * cos_t, n_to * cos_i + n_from * cos_t
    r_s, r_p = (n_from * cos_i - n_to * cos_t) / s, (n_to * cos_i - n_from * cos_t) / p
    return r_s, r_p, 2.0 * n_from * cos_i / s, 2.0 * n_from * cos_i / p, cos_t


def _until(signed_distance: np.ndarray, n_dot_v: np.ndarray) -> np.ndarray:
    """How far a ray goes until it meets planes, mm; infinitely far where it is all but parallel to them."""
    with np.errstate(over="ignore"):
        return signed_distance / n_dot_v


def _cross(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """The cross product of two vectors (3,); numpy's takes ten times as long for one pair."""
    (x, y, z), (u, v, w) = one, other
    return np.array([y * w - z * v, z * u - x * w, x * v - y * u])


def _split(
    coherency: np.ndarray, direction: np.ndarray, normal: np.ndarray, n_from: float, n_to: float, polarized: bool
) -> tuple[np.ndarray, np.ndarray, float, np.ndarray | None]:
    """Reflect and refract a beam: reflected coherency and direction, transmitted power and direction (None: none).

    `normal` points to the side of `n_to`, so that direction . normal > 0.
    """
    cos_i = float(direction @ normal)
    r_s, r_p, t_s, t_p, cos_t = amplitudes(cos_i, n_from, n_to)
    s = _cross(direction, normal)
    if np.linalg.norm(s) < 1e-6:
        s = _cross(direction, np.eye(3)[np.abs(direction).argmin()])
    s = s / np.linalg.norm(s)
    p = _cross(s, direction)
    mirrored = direction - 2.0 * cos_i * normal
    power_s, power_p = float((s @ coherency @ s).real), float((p @ coherency @ p).real)
    if not polarized:
        power_s = power_p = (power_s + power_p) / 2.0
    p_mirrored = _cross(s, mirrored)
    jones = r_s * np.outer(s, s) + r_p * np.outer(p_mirrored, p)
    reflected = jones @ coherency @ jones.conj().T
    if not polarized:
        power = abs(r_s) ** 2 * power_s + abs(r_p) ** 2 * power_p
        reflected = power / 2.0 * (np.outer(s, s) + np.outer(p_mirrored, p_mirrored))
    if abs(cos_t.imag) > 0.0 or cos_t.real == 0.0:
        return reflected, mirrored, 0.0, None
    flow = n_to * cos_t.real / (n_from * cos_i)
    passed = flow * (abs(t_s) ** 2 * power_s + abs(t_p) ** 2 * power_p)
    refracted = n_from / n_to * direction + (cos_t.real - n_from / n_to * cos_i) * normal
    return reflected, mirrored, passed, refracted


def trace_path(
    origin: np.ndarray,
    direction: np.ndarray,
    stone: Stone,
    *,
    wavelength_nm: float = 589.3,
    polarized: bool = True,
    min_weight: float = 1e-4,
    max_bounces: int = 200,
    draw: Draw | None = None,
) -> Path:
    """Follow one view ray backwards from the eye.

    Parameters
    ----------
    origin : (3,) mm, outside the stone. direction : (3,) unit vector. Both in the stone's frame.
    draw : gives two uniform numbers in [0, 1) for the facet met after so many others, by which it scatters; needed only by
        a stone that scatters.

    Returns
    -------
    Path : empty where the stone is missed.
    """
    n, absorption = stone.material.n(wavelength_nm), stone.material.absorption_per_mm(wavelength_nm)
    path = Path()
    n_dot_v, signed_distance = stone.normals @ direction, stone.distances_mm - stone.normals @ origin
    facing, leaving = n_dot_v < 0.0, n_dot_v > 0.0
    if np.any(signed_distance[n_dot_v == 0.0] < 0.0):
        return path
    enter = np.where(facing, _until(signed_distance, np.where(facing, n_dot_v, 1.0)), -np.inf)
    leave = _until(signed_distance[leaving], n_dot_v[leaving])
    f = int(enter.argmax())
    if not 0.0 <= enter[f] < leave.min():
        return path
    here = origin + enter[f] * direction
    path.facets.append(f)
    path.points.append(here)
    rough, normal = stone.finishes[f].kind == "rough", stone.normals[f]
    if stone.finishes[f] != POLISHED and not rough:
        left = amount_of(stone.finishes[f])
        path.take(1.0 - left)
        if left > 0.0 or stone.finishes[f] != ABSORBING:
            path.by_scattering = Path()
            path.glare = path.by_scattering.glare = left
            path.leave(left, drawn_by_cosine(stone.normals[f], draw, 0), 0)
        return path
    if rough:
        normal = drawn_mirror(-direction, normal, amount_of(stone.finishes[f]), draw, 0)
    glare, mirrored, passed, inside = _split(_across(direction), direction, -normal, 1.0, n, polarized)
    entered = 1.0
    if rough:
        glare, entered = _leaves_rough(path, stone, f, (glare, mirrored), (passed, inside), outside=True)
    path.glare = float(np.trace(glare).real)
    if path.by_scattering is not None:
        path.by_scattering.glare = path.glare
    path.leave(path.glare, mirrored, 0)
    if inside is None:
        return path
    coherency = entered * (_entered(direction, inside, -normal, n) if polarized else passed * _across(inside))
    direction, last = inside, f
    for bounces in range(max_bounces):
        n_dot_v, signed_distance = stone.normals @ direction, np.maximum(stone.distances_mm - stone.normals @ here, 0.0)
        ahead = (n_dot_v > 0.0) & (np.arange(len(stone)) != last)
        distance = np.where(ahead, _until(signed_distance, np.where(ahead, n_dot_v, 1.0)), np.inf)
        f = int(distance.argmin())
        here = here + distance[f] * direction
        left = math.exp(-absorption * distance[f])
        lost = float(np.trace(coherency).real) * (1.0 - left)
        for one in path.parts():
            one.absorbed += lost
        coherency = coherency * left
        for inclusion in stone.inclusions:
            if crosses(here - distance[f] * direction, here, inclusion.shape):
                lost = float(np.trace(coherency).real) * (1.0 - inclusion.transmittance)
                for one in path.parts():
                    one.absorbed, one.included = one.absorbed + lost, one.included + lost
                coherency = coherency * inclusion.transmittance
        path.facets.append(f)
        path.points.append(here)
        rough, normal = stone.finishes[f].kind == "rough", stone.normals[f]
        if stone.finishes[f] == POLISHED or rough:
            if rough:
                normal = -drawn_mirror(-direction, -normal, amount_of(stone.finishes[f]), draw, bounces + 1)
            coherency, direction, passed, outside = _split(coherency, direction, normal, n, 1.0, polarized)
            if rough:
                coherency, left = _leaves_rough(path, stone, f, (coherency, direction), (passed, outside), outside=False)
                passed *= left
            if outside is not None:
                path.leave(passed, outside, bounces)
        else:
            light, left = float(np.trace(coherency).real), amount_of(stone.finishes[f])
            path.take(light * (1.0 - left))
            if stone.finishes[f] == ABSORBING:
                return path
            path.by_scattering = path.by_scattering or Path()
            direction = drawn_by_cosine(-stone.normals[f], draw, bounces + 1)
            coherency = light * left * _across(direction)
        last = f
        if np.trace(coherency).real < min_weight:
            break
    for one in path.parts():
        one.untraced += float(np.trace(coherency).real)
    return path


def _leaves_rough(
    path: Path,
    stone: Stone,
    facet: int,
    reflected: tuple[np.ndarray, np.ndarray],
    passed: tuple[float, np.ndarray | None],
    *,
    outside: bool,
) -> tuple[np.ndarray, float]:
    """What other mirrors leave of the coherency that one reflects, and the share that they leave of what passes it.

    What they stop is booked as untraced; `outside` says where the ray came from.
    """
    path.by_scattering = path.by_scattering or Path()
    roughness, out = amount_of(stone.finishes[facet]), stone.normals[facet] * (1.0 if outside else -1.0)
    back = seen_share(reflected[1], out, roughness)
    through = 0.0 if passed[1] is None else seen_share(passed[1], -out, roughness)
    for one in path.parts():
        one.untraced += float(np.trace(reflected[0]).real) * (1.0 - back) + passed[0] * (1.0 - through)
    return reflected[0] * back, through


def _across(direction: np.ndarray) -> np.ndarray:
    """Coherency of unpolarized light of power 1 along `direction`."""
    return (np.eye(3) - np.outer(direction, direction)) / 2.0


def _entered(direction: np.ndarray, inside: np.ndarray, inward: np.ndarray, n: float) -> np.ndarray:
    """Coherency of unpolarized light of power 1 after it entered along `inside`."""
    cos_i = float(direction @ inward)
    _, _, t_s, t_p, cos_t = amplitudes(cos_i, 1.0, n)
    s = _cross(direction, inward)
    if np.linalg.norm(s) < 1e-6:
        return n * cos_t.real / cos_i * abs(t_s) ** 2 * _across(inside)
    s = s / np.linalg.norm(s)
    p = _cross(s, inside)
    flow = n * cos_t.real / cos_i / 2.0
    return flow * (abs(t_s) ** 2 * np.outer(s, s) + abs(t_p) ** 2 * np.outer(p, p))
