"""The girdle of a scanned stone: flats one by one, walls by its plan, flats on an even wheel, or a round by tangent planes.

A girdle's flats are small and differ little: with 96 of them the middle of a flat stands back from the corners by 0.05 % of
the radius, 1.7 um on a stone of 6.5 mm. Where points and noise allow it, each flat is a facet like any other. Where too few
points lie on a flat for a plane of its own, an upright wall has fewer unknowns, and the girdle is read from its plan (`walls`).
Where that fails, the flats' common period still may show, because all of them speak at once; then the wheel's number of sides
and its phase are fitted, and a smooth outline. Where not even that shows, the girdle counts as round and is given
`ROUND_SIDES` tangent planes that keep the area of its outline.

All four are put to the same points. Of those whose squared heights are no more than noise makes them the one with the fewest
parameters is taken: least sum of squared heights in noise variances plus log(points) per parameter (Schwarz, Ann. Stat. 6
(1978) 461). Where none explains the points so well, the least of all. A score alone would take a smooth outline that noise
rules out for two hundred parameters of walls, and its lengths would be off by more than is stated.

A smooth outline runs through the middle of what flats do: corners stand out over it. How far, is told by what its points show
beyond noise, or could hide in it, and is part of its errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ...convex_hulls import ConvexHull
from ..measuring.plane_uncertainty import SIDES
from .envelope import CUTOFF, Envelope, Planes, edge_distance, envelope, squares
from .mesh import Mesh
from .plane_fit import EDGE_MM
from .walls import BEND, UNKNOWNS, bend, upright_walls

STEEP = math.sin(math.radians(25.0))
"""A plane is a girdle plane if its normal rises or falls by less than this from the table's plane. Crowns and pavilions are
flatter by far; between them lie only planes laid through points of the girdle and of a half together."""

ROUND_SIDES = 96
"""Tangent planes of a round girdle."""

HARMONICS = 6
"""Most waves around the stone that the smooth outline has."""

LEAST = 12
"""Points without which no girdle is fitted."""

RIM = 0.02
"""Share of the stone's width within which girdle points lie inside its outline."""

CLEARLY = 4.0
"""Standard errors by which squares must exceed those of noise, for points not to lie on an outline fitted as a whole."""

STANDS_OUT = math.sqrt(1.0 / 5.0 * 5.0 / 3.0)
"""Standard uncertainty of the outline, in sagittas of its flats. In any direction it reaches by 2/3 - x^2 beyond the smooth
curve through the flats' mean, x even in 0 to 1 from corner to middle; the square of that has the mean 1/5. Opposite flats stand
alike, and of the five waves that share a girdle's error (`plane_uncertainty.WAVES`) three move opposite sides alike."""

LEANING = math.sin(math.radians(10.0))
"""A plane that leans by more than this may be a half of a thick stone, where walls are sought by their plan."""

ENOUGH = 60
"""With fewer points the girdle's walls are taken as upright."""


@dataclass(frozen=True)
class Girdle:
    """`kind` is "flats" (planes fitted one by one), "upright flats", "even flats" or "round"; `planes` are in the frame of the
    mesh, the last `fixed` of them fitted as a whole."""

    kind: str
    planes: Planes
    fixed: int


@dataclass(frozen=True)
class _Band:
    """Girdle points about the girdle's axis: radius, azimuth and height (mm), and relative weights of mean 1."""

    radius: np.ndarray
    azimuth: np.ndarray
    height: np.ndarray
    weight: np.ndarray


@dataclass(frozen=True)
class _Outline:
    """A smooth outline fitted to a band: an ellipse (its coefficients, see `_ellipse`) and waves on it, whether it may lean,
    coefficients, their covariance for unit noise, the points' distances `off` (mm), and the price of its parameters."""

    sides: int
    phase: float
    ellipse: np.ndarray
    waves: int
    leans: bool
    beta: np.ndarray
    covariance: np.ndarray
    off: np.ndarray
    price: float

    def design(self, azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        """(N, P) what each coefficient contributes at azimuths and heights."""
        return _design(azimuth, height, self.waves, self.leans)

    def radius(self, azimuth: np.ndarray, height: np.ndarray) -> np.ndarray:
        """(N,) the outline's radius, mm, at azimuths and heights."""
        return _ellipse(azimuth, self.ellipse) + self.design(azimuth, height) @ self.beta

    def misfit(self, band: _Band, noise: float) -> float:
        """Sum of the band's squared distances from the outline in noise variances."""
        return _cost(self.off, band.weight, noise)

    def score(self, band: _Band, noise: float) -> float:
        """What outlines of the same band are compared by."""
        return self.misfit(band, noise) + self.price

    def sagitta(self, band: _Band, scatter: float) -> float:
        """Root mean square sagitta (mm) of the flats that the band shows beyond a `scatter` (mm) of its points, and one
        standard error more. Over a flat the outline's distance from its mean has 4/45 of the squared sagitta as variance."""
        beyond = self.misfit(band, scatter) - band.weight.sum() * (1.0 - len(self.beta) / len(band.weight))
        beyond += math.sqrt(2.0 * (band.weight**2).sum())
        return scatter * math.sqrt(45.0 / 4.0 * max(beyond, 0.0) / band.weight.sum())


def is_steep(planes: Planes, up: np.ndarray) -> np.ndarray:
    """(F,) bool: planes that stand nearly along the axis `up`."""
    return np.abs(planes.normals @ up) < STEEP


@dataclass(frozen=True)
class _Seen:
    """The points of a mesh about its girdle, and the frame that they are given in: x there = `turn` @ x - `origin`.

    `points` (N, 3) mm near the girdle, `near` (N,) their numbers in the mesh, `chosen` (N,) bool those clearly on no plane of
    crown or pavilion, `band` these.
    """

    turn: np.ndarray
    origin: np.ndarray
    points: np.ndarray
    near: np.ndarray
    chosen: np.ndarray
    band: _Band


def fit_girdle(mesh: Mesh, planes: Planes, free: int, up: np.ndarray, noise: float, scatter: float) -> Girdle | None:
    """The girdle about the axis `up` (3,); None where no band of the mesh's points lies between crown and pavilion.

    `planes` are all facets so far, the first `free` of them fitted one by one. `noise` (mm) is what planes are chosen with,
    `scatter` that of the vertices, less where edges are round.
    """
    surface, area = mesh.vertices, mesh.vertex_area
    steep = is_steep(planes, up)
    rest = planes.only(~steep)
    if len(rest) < 2 or not steep.any():
        return None
    seen = _seen(mesh, rest, up, noise)
    if seen is None:
        return None
    band, on_band = seen.band, seen.near[seen.chosen]
    smooth = _outline(band, 0, 0.0, noise)
    whole = min([smooth, *_even(band, smooth, noise)], key=lambda outline: outline.score(band, noise))
    explained = band.weight.sum() + CLEARLY * math.sqrt(2.0 * (band.weight**2).sum())

    def rank(misfit: float, price: float) -> tuple[bool, float]:
        return misfit > explained, misfit + price

    def of_walls(walls: Planes) -> tuple[bool, float]:
        heights = envelope(surface[on_band], rest.with_(walls)).height
        return rank(_cost(heights, band.weight, noise), UNKNOWNS * len(walls) * math.log(len(heights)))

    flats = planes.only(steep & (np.arange(len(planes)) < free))
    found = Girdle("flats", flats, 0)
    least, of_whole = of_walls(flats), rank(whole.misfit(band, noise), whole.price)
    sought = min(least, of_whole)[0] or (steep.sum() > SIDES and least < of_whole)
    for lean in (STEEP, LEANING) if sought else ():
        beside = flats.only(np.abs(flats.normals @ up) > lean)  # halves of a thick stone can be as steep
        walled = envelope(surface[seen.near], rest.with_(beside)).height < -CUTOFF * noise  # no edge is rounder than this
        if walled.sum() < LEAST:
            continue
        points, weight = seen.points[walled], area[seen.near[walled]]
        walls = _needed(upright_walls(points, weight, noise, scatter), points, weight / weight.mean(), noise)
        upright = beside.with_(_moved(walls, seen.turn, seen.origin))
        cost = of_walls(upright)
        if cost < least:
            found, least = Girdle("upright flats", upright, len(walls)), cost
    if least <= of_whole:
        return found
    kind = "even flats" if whole.sides else "round"
    tangents = _moved(_tangents(whole, band, noise, scatter), seen.turn, seen.origin)
    return Girdle(kind, tangents, len(tangents))


def _needed(walls: Planes, points: np.ndarray, weight: np.ndarray, noise: float) -> Planes:
    """Walls without those that take less off the points' squares than they cost: one may be laid through two points that only
    happen to lie off all others."""
    price = UNKNOWNS * math.log(len(points))
    while len(walls) > 2:
        found = envelope(points, walls)
        gain = squares(found.heights[:, 1], noise) - squares(found.height, noise)
        loss = np.bincount(found.facet, weight * gain, len(walls))
        if loss.min() >= price:
            break
        walls = walls.only(np.arange(len(walls)) != loss.argmin())
    return walls


def bent(mesh: Mesh, planes: Planes, under: Envelope, up: np.ndarray, noise: float, edge_mm: float) -> Planes:
    """Planes whose girdle flats, where there are more than `SIDES`, are as uncertain as the bend makes them that their points
    show: two flats that noise doesn't tell apart are one plane, which meets the next outside the outline.

    `under` is the planes' envelope at the mesh's vertices, `noise` (mm) theirs; points nearer than `edge_mm` to an edge with
    crown or pavilion don't count.
    """
    steep = is_steep(planes, up)
    if steep.sum() <= SIDES:
        return planes
    inside, _ = edge_distance(under, planes)
    on = steep[under.facet] & (steep[under.rival] | (inside > edge_mm)) & (np.abs(under.height) < CUTOFF * noise)
    if not on.any():
        return planes
    _, wall = np.unique(under.facet[on], return_inverse=True)
    level = np.cross(up, planes.normals[under.facet[on]])
    arm = mesh.vertices[on] - planes.center[under.facet[on]]
    along = (arm * level).sum(axis=1) / np.linalg.norm(level, axis=1)
    weight = mesh.vertex_area[on]
    covariance = planes.covariance.copy()
    covariance[steep] *= 1.0 + BEND * bend(along, under.height[on], wall, weight / weight.mean(), noise)
    return replace(planes, covariance=covariance)


def _seen(mesh: Mesh, rest: Planes, up: np.ndarray, noise: float) -> _Seen | None:
    """The points about the girdle of a mesh; None for too few. `rest` are the planes of crown and pavilion."""
    surface, area = mesh.vertices, mesh.vertex_area
    x = np.cross(np.eye(3)[np.abs(up).argmin()], up)
    x /= np.linalg.norm(x)
    turn = np.stack([x, np.cross(up, x), up])
    low = envelope(surface, rest).height
    margin = CUTOFF * noise + EDGE_MM
    if (low < -margin).sum() < 2 * LEAST:
        margin = 2.0 * noise
    near = np.flatnonzero(low < -0.5 * margin)
    if len(near) < LEAST:
        return None
    flat = surface[near] @ turn.T
    rim = _within_outline(surface @ turn[:2].T, flat[:, :2]) < RIM * np.ptp(flat[:, :2], axis=0).max()
    near, flat = near[rim], flat[rim]
    inside = low[near] < -margin
    if inside.sum() < LEAST:
        return None
    origin = np.r_[_circle_center(flat[inside, :2]), flat[inside, 2].mean()]
    smooth = _outline(_band(flat[inside] - origin, area[near[inside]]), 0, 0.0, noise)
    # choose the points again by where the outline stands, not by their own noise
    points = flat - origin
    radius = np.hypot(points[:, 0], points[:, 1]).clip(1e-9)
    fitted = smooth.radius(*_around(points))
    level = points * np.column_stack([fitted / radius, fitted / radius, np.ones_like(radius)])
    chosen = envelope((level + origin) @ turn, rest).height < -margin
    if chosen.sum() < LEAST:
        return None
    return _Seen(turn, origin, points, near, chosen, _band(points[chosen], area[near[chosen]]))


def _within_outline(flat: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(N,) how far points (N, 2) lie inside the convex outline of others (V, 2)."""
    sides = ConvexHull(flat).equations
    return -(points @ sides[:, :2].T + sides[:, 2]).max(axis=1)


def _around(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.arctan2(points[:, 1], points[:, 0]), points[:, 2]


def _band(points: np.ndarray, area: np.ndarray) -> _Band:
    azimuth, height = _around(points)
    return _Band(np.hypot(points[:, 0], points[:, 1]), azimuth, height, area / area.mean())


def _circle_center(flat: np.ndarray) -> np.ndarray:
    """Centre (2,) of the circle nearest to points (N, 2): least squares of x^2 + y^2 = 2 a x + 2 b y + c."""
    solved = np.linalg.lstsq(np.column_stack([2.0 * flat, np.ones(len(flat))]), (flat**2).sum(axis=1), rcond=None)[0]
    return np.asarray(solved[:2])


def _ellipse(azimuth: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    """(N,) radius, mm, of an ellipse about the origin; 1 / radius^2 = a + b cos 2 azimuth + c sin 2 azimuth."""
    return np.asarray((_design(2.0 * azimuth, azimuth, 1, leans=False) @ coefficients) ** -0.5)


def _stretched(azimuth: np.ndarray, ellipse: np.ndarray, *, back: bool = False) -> np.ndarray:
    """(N,) where azimuths on a circle come to when it is stretched along its diameters to an ellipse; `back`: the reverse."""
    mean, *wave = ellipse
    axis, size = 0.5 * math.atan2(-wave[1], -wave[0]), math.hypot(*wave)
    ratio = math.sqrt((mean + size) / (mean - size))
    along = azimuth - axis
    return np.asarray(axis + np.arctan2(np.sin(along) * (ratio if back else 1.0), np.cos(along) * (1.0 if back else ratio)))


def _nearest_ellipse(band: _Band) -> np.ndarray:
    """Coefficients (3,) of the ellipse nearest to a band; those of its mean circle where the nearest conic is none."""
    A = _design(2.0 * band.azimuth, band.azimuth, 1, leans=False)
    weight = (band.radius / band.radius.mean()) ** 3 * np.sqrt(band.weight)  # of 1 / radius^2, for the same error of radius
    found = np.linalg.lstsq(weight[:, None] * A, weight / band.radius**2, rcond=None)[0]
    is_one = found[0] > 1.05 * math.hypot(found[1], found[2])
    return np.asarray(found if is_one else [band.radius.mean() ** -2, 0.0, 0.0])


def _design(azimuth: np.ndarray, height: np.ndarray, waves: int, leans: bool) -> np.ndarray:
    """(N, P) waves around the stone, and a lean: the same all round, and towards x and y."""
    columns = [np.ones_like(azimuth), *(f(k * azimuth) for k in range(1, waves + 1) for f in (np.cos, np.sin))]
    columns += [height, height * np.cos(azimuth), height * np.sin(azimuth)] if leans else []
    return np.column_stack(columns)


def _cost(heights: np.ndarray, weight: np.ndarray, noise: float) -> float:
    return float((weight * squares(heights, noise)).sum())


def _outline(band: _Band, sides: int, phase: float, noise: float) -> _Outline:
    """The smooth outline of a band. Its walls are upright unless a lean shows: a lean of chance would make the stone wider.

    How surely the walls are known to be upright stays in the covariance.
    """
    ellipse = _nearest_ellipse(band)
    upright = _least_squares(band, sides, phase, ellipse, noise, leans=False)
    if len(band.radius) < ENOUGH:
        return upright
    leaning = _least_squares(band, sides, phase, ellipse, noise, leans=True)
    if leaning.score(band, noise) < upright.score(band, noise):
        return leaning
    return replace(leaning, beta=np.r_[upright.beta, 0.0, 0.0, 0.0], off=upright.off, price=upright.price)


def _least_squares(band: _Band, sides: int, phase: float, ellipse: np.ndarray, noise: float, *, leans: bool) -> _Outline:
    """Least squares of the radius, or with `sides` of the distance along the normal of the flat that a point is on."""
    around = _stretched(band.azimuth, ellipse, back=True)
    extent = band.radius * (np.cos(_off(around, sides, phase)) if sides else 1.0) - _ellipse(band.azimuth, ellipse)
    waves = min(HARMONICS, len(extent) // 24)
    A = _design(band.azimuth, band.height, waves, leans)
    use = np.ones(len(extent), dtype=bool)
    for _ in range(4):  # points off the outline, such as a chip's, are left out in the next turn
        W = band.weight[use, None] * A[use]
        M = np.linalg.pinv(A[use].T @ W)
        beta = M @ (W.T @ extent[use])
        off = np.abs(extent - A @ beta)
        use = off <= max(CUTOFF * noise, 4.0 * float(np.median(off)))
    covariance = M @ (W.T @ W) @ M
    price = (len(beta) + (2 if sides else 0)) * math.log(len(extent))
    return _Outline(sides, phase, ellipse, waves, leans, beta, covariance, off * _upright(band.azimuth, ellipse), price)


def _upright(azimuth: np.ndarray, ellipse: np.ndarray) -> np.ndarray:
    """(N,) cosine between an ellipse's radius and its normal: distances from it are so much less than along the radius."""
    step = 1e-6
    radius = _ellipse(azimuth, ellipse)
    return np.asarray(1.0 / np.hypot(1.0, (_ellipse(azimuth + step, ellipse) - radius) / step / radius))


def _off(azimuth: np.ndarray, sides: int, phase: float) -> np.ndarray:
    """Azimuth from the middle of the flat that a point is on, radians; all of them on the circle that an ellipse is made of."""
    step = 2.0 * math.pi / sides
    return (azimuth - phase + step / 2.0) % step - step / 2.0


def _even(band: _Band, smooth: _Outline, noise: float) -> list[_Outline]:
    """Wheels of flats whose period shows in what the smooth outline leaves.

    With N flats the radius swings by 2 R/N^2 as cos N(azimuth - phase), least in the middle of a flat. Flats of an oval are
    sought as a wheel's, stretched.
    """
    rest = band.radius - smooth.radius(band.azimuth, band.height)
    most = CUTOFF * noise + 5e-3 * float(band.radius.mean())  # a chip counts little
    rest = rest.clip(-most, most)
    sides = np.arange(HARMONICS + 2, 201)
    around = _stretched(band.azimuth, smooth.ellipse, back=True)
    wave = 2.0 * np.array([np.mean(band.weight * rest * np.exp(-1j * n * around)) for n in sides])
    expected = 2.0 * float(np.mean(band.radius)) / sides**2
    error = noise * math.sqrt(2.0 * float(np.mean(band.weight**2)) / len(rest))
    likely = (np.abs(wave) > 4.0 * error) & (np.abs(wave) > 0.5 * expected) & (np.abs(wave) < 2.0 * expected)
    return [
        _outline(band, int(n), float((math.pi - np.angle(c)) / n), noise)
        for n, c in zip(sides[likely], wave[likely], strict=True)
    ]


def _tangents(outline: _Outline, band: _Band, noise: float, scatter: float) -> Planes:
    """The planes of a wheel's flats or of a round outline, about the girdle's axis; for the noises see `fit_girdle`."""
    sides = outline.sides or ROUND_SIDES
    azimuth = _stretched(outline.phase + 2.0 * math.pi * np.arange(sides) / sides, outline.ellipse)
    level = np.zeros(sides)
    here, radius = outline.design(azimuth, level), outline.radius(azimuth, level)
    step = 1e-6
    along = (outline.design(azimuth + step, level) - here) / step / radius[:, None]  # mm per mm along the outline
    rise = (outline.radius(azimuth + step, level) - radius) / step / radius
    upward = outline.design(azimuth, level + 1.0) - here
    if not outline.sides:
        x = math.pi / sides
        radius = radius * math.sqrt(x / math.tan(x))  # tangent planes that enclose the outline's own area
    out = np.stack([np.cos(azimuth), np.sin(azimuth), level], axis=1)
    side = np.stack([-np.sin(azimuth), np.cos(azimuth), level], axis=1)
    normals = out - rise[:, None] * side - (upward @ outline.beta)[:, None] * [0.0, 0.0, 1.0]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    center = radius[:, None] * out
    J = np.stack([here, along, upward], axis=1)
    axes = np.stack([side, np.broadcast_to([0.0, 0.0, 1.0], side.shape)], axis=2)
    count = np.full(sides, len(band.azimuth) / sides)
    covariance = J @ outline.covariance @ J.transpose(0, 2, 1)
    covariance[:, 0, 0] += (STANDS_OUT * outline.sagitta(band, scatter) / scatter) ** 2
    return Planes(normals, (normals * center).sum(axis=1), center, count, np.full(sides, noise), axes, covariance)


def _moved(planes: Planes, turn: np.ndarray, origin: np.ndarray) -> Planes:
    """Planes from the girdle's own frame into the mesh's: x there = turn @ x here - origin."""
    normals = planes.normals @ turn
    center = (planes.center + origin) @ turn
    axes = np.einsum("ij,fik->fjk", turn, planes.axes)
    return Planes(normals, (normals * center).sum(axis=1), center, planes.count, planes.rms, axes, planes.covariance)
