"""Facet planes of a scanned convex stone: patches first, then planes, then only those that the surface needs.

1. The noise: from points of neighbouring triangles, then from the patches themselves, climbing until both agree (`noise`).
2. Patches of one plane (`patches`). Largest first, a patch's plane is taken up if the surface is clearly better explained
   with it than without (`candidates`).
3. Alternately points to planes and planes to points (`plane_fit`), leaving out planes that the surface can do without, and
   rearranging those that stand in each other's way (`moves`).
4. The girdle as a whole, where its flats can't be found one by one (`girdle_fit`, with `walls` and `smooth_girdle`); once more
   with better planes of crown and pavilion, and without planes that may only stand in for walls.

The measure of all choices is one sum: over the surface's points the squared height above the envelope of the planes in
noise variances, each at most `CUTOFF` squared so that a chip counts as unexplained and no more; plus `NEEDED` for each plane.
Where edges are rounded by polishing or blurred by the scanner, the choices are made with a noise as large as that shows them
too deep, so that they are not cut up into facets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...errors import StoneError
from ...plane_geometry import convex_outline, following
from ..polyhedron import Polyhedron, intersect
from .candidates import MAX_FACETS, Candidates, Surface, patch_planes
from .envelope import NEEDED, Envelope, Planes, edge_rounding, envelope, squares
from .few_points import averaged
from .girdle_fit import Girdle, bent, fit_girdle, is_steep
from .mesh import Mesh
from .moves import rearranged
from .noise import ENOUGH, LEAST_NOISE_MM, patches_and_noise, pooled_noise, redundancy
from .plane_fit import EDGE_MM, fit_planes
from .stone_pose import LARGE, NEARLY

ROUNDS = 8
"""Most turns of refinement between rearrangements."""

REARRANGED = 8
"""Most rearrangements."""

EDGE_NOISE = 0.2
"""Noise with which planes are chosen, as a share of the half-width of rounded edges. An edge of 50 degrees (crown to girdle)
lies too deep by about half of that."""

STEADY = 0.2
"""Refinement ends when no plane is tilted by more than this share of its own uncertainty."""


UPRIGHT = math.sin(math.radians(5.0))
"""A plane that leans by less than this stands upright; a girdle's does."""


@dataclass(frozen=True)
class Found:
    """The `planes` of the facets, where the mesh's vertices lie under them, the `noise` (mm) of the vertices, the half-width
    `rounding` (mm) of rounded edges, and the girdle as it was fitted (None where there is none)."""

    planes: Planes
    under: Envelope
    noise: float
    noise_known: bool
    rounding: float
    girdle: Girdle | None


def find_facets(mesh: Mesh, noise_mm: float | None) -> Found:
    """The planes of a mesh's facets; the vertices' noise (mm) is estimated where it is not given.

    Raises StoneError where the surface is not made of planes.
    """
    patches, noise, least = patches_and_noise(mesh, noise_mm)
    if noise_mm is None and noise < LEAST_NOISE_MM:  # convex as it stands: every patch is a facet, drawn without error
        planes = patch_planes(patches)
        if len(planes) > MAX_FACETS:
            raise StoneError("the surface is not faceted", value=len(planes), expected=f"at most {MAX_FACETS} facets")
        return Found(planes, envelope(mesh.vertices, planes), noise, bool((planes.count > 3).any()), 0.0, None)
    surface = Surface(mesh)
    candidates = Candidates(surface, patches)
    planes = candidates.taken_up(None, noise)
    rounding = edge_rounding(mesh.vertices, candidates.large(planes), noise)
    coarse = EDGE_NOISE * rounding
    planes = candidates.taken_up(None, max(noise, coarse)) if rounding else planes
    state = _with_girdle(candidates, _State(planes, None, np.zeros(3)), max(noise, coarse), noise)
    for change in (_with_girdle, _without_bevels):  # the better crown and pavilion are known, the better the girdle's points
        if noise_mm is None:
            noise = max(pooled_noise(state.planes), least)
        working = max(noise, coarse)
        state = min(state, change(candidates, state, working, noise), key=lambda one: one.cost(surface, working))
    planes, girdle, up = state
    known = noise_mm is not None or redundancy(planes) >= ENOUGH
    under = envelope(mesh.vertices, planes)
    if not surface.drawn:
        planes = averaged(mesh.vertices, planes, under, state.free(), max(noise, coarse))
        under = envelope(mesh.vertices, planes)
    if girdle is None or girdle.kind == "flats":
        planes = bent(mesh, planes, under, up, noise, EDGE_MM + rounding)
    return Found(planes, under, noise, known, rounding, girdle)


class _State(NamedTuple):
    """All planes; the girdle, None where none was fitted, of which so many as it says are the last; the axis `up` (3,) about
    which it was sought."""

    planes: Planes
    girdle: Girdle | None
    up: np.ndarray

    def free(self) -> int:
        """How many planes, the first, are fitted one by one."""
        return len(self.planes) - (self.girdle.fixed if self.girdle else 0)

    def cost(self, surface: Surface, noise: float) -> tuple[bool, float]:
        """The measure of all choices, after whether the girdle's points are further off than noise makes them; a girdle's
        planes cost what they did where its kinds were compared."""
        squared = float(squares(envelope(surface.points, self.planes).height, noise).sum())
        if self.girdle is None:
            return True, squared + NEEDED * len(self.planes)
        steep = int(is_steep(self.planes, self.up).sum())
        alone = len(self.planes) - steep + max(steep - len(self.girdle.planes), 0)
        return self.girdle.unexplained, squared + NEEDED * alone + self.girdle.price


def _with_girdle(candidates: Candidates, state: _State, working: float, noise: float) -> _State:
    """The girdle anew between crown and pavilion, patches taken up beside it, and all planes refined.

    Where no wall of a girdle is known yet, mains that are square to crown facets look more walled than the table does. So if
    what is found about such a one leaves points unexplained, the largest facet is tried too.
    """
    planes, surface = state.planes, candidates.surface
    first, largest = level(planes), int(np.argmax(intersect(planes.normals, planes.distances).areas))
    found = _about(candidates, state, planes.normals[first], working, noise)
    if first == largest or (found.girdle is not None and not found.girdle.unexplained):
        return found
    other = _about(candidates, state, planes.normals[largest], working, noise)
    return min(found, other, key=lambda one: one.cost(surface, working)[1])


def _about(candidates: Candidates, state: _State, up: np.ndarray, working: float, noise: float) -> _State:
    """The girdle about an axis."""
    planes = state.planes
    girdle = fit_girdle(candidates.surface.mesh, planes, state.free(), up, working, noise)
    if girdle is not None:
        planes = candidates.taken_up(planes.only(~is_steep(planes, up)).with_(girdle.planes), working)
    planes = refined(candidates.surface, planes, working, fixed=girdle.fixed if girdle else 0)
    return _State(planes, girdle, planes.normals[np.argmax(planes.normals @ up)])


def _without_bevels(candidates: Candidates, state: _State, working: float, noise: float) -> _State:
    """The same without the planes within the girdle's height: the girdle anew, and patches taken up again where needed.

    A plane between a wall and a half, through points of both, may be taken up before the walls are known. Its points then
    belong to no girdle, and the wall that they are on is never found.
    """
    planes, girdle, up = state
    if girdle is None:
        return state
    points = candidates.surface.points
    under = envelope(points, planes)
    height, upright = points @ up, np.abs(planes.normals @ up) < UPRIGHT
    wall = upright[under.facet]
    if not wall.any():
        return state
    low, high = height[wall].min(), height[wall].max()
    count = np.bincount(under.facet, minlength=len(planes))
    within = np.bincount(under.facet, (height > low) & (height < high), len(planes))
    bevels = ~upright & (2 * within > count)
    bevels[state.free() :] = False
    if not bevels.any():
        return state
    return _about(candidates, _State(planes.only(~bevels), girdle, up), up, working, noise)


def level(planes: Planes) -> int:
    """Number of the plane that the girdle stands around: the table, a culet or a base.

    It is the largest facet but for stones whose mains or steps are larger; about these little of the outline stands upright. So
    the largest facet is taken about which upright planes wall nearly the largest share. (Not by the largest gap between walls:
    where crown and pavilion steps are square to each other, they and the ends of the girdle leave less about a step than a
    girdle with a wall not found yet does about the table.)
    """
    body = intersect(planes.normals, planes.distances)
    area = np.asarray(body.areas)
    large = [f for f in np.argsort(-area, kind="stable").tolist() if area[f] > LARGE * area.max()]
    share = [_walled(body, planes.normals, planes.normals[f]) for f in large]
    return next(f for f, one in zip(large, share, strict=True) if one >= NEARLY * max(share))


def _walled(body: Polyhedron, normals: np.ndarray, up: np.ndarray) -> float:
    """Share of a body's outline, seen along the axis `up` (3,), that its upright facets are wide together; at most 1."""
    x = np.cross(np.eye(3)[np.abs(up).argmin()], up)
    x /= np.linalg.norm(x)
    flat = body.vertices @ np.stack([x, np.cross(up, x)], axis=1)
    outline = convex_outline(flat)
    walls = [body.vertices[body.loops[f]] @ np.cross(up, normals[f]) for f in np.flatnonzero(np.abs(normals @ up) < UPRIGHT)]
    around = np.linalg.norm(following(outline) - outline, axis=1).sum()
    return min(1.0, float(sum(np.ptp(wall) for wall in walls if len(wall)) / around))


def refined(surface: Surface, planes: Planes, noise: float, *, fixed: int = 0) -> Planes:
    """Points to planes and planes to points until neither changes; planes that aren't needed are left out.

    The last `fixed` planes stay as they are. Of all turns the one is kept that explains the surface best.
    """
    best, least = None, np.inf
    for _ in range(REARRANGED):
        planes, score = _settled(surface, planes, noise, fixed)
        if score >= least:
            break
        best, least = planes, score
        found = envelope(surface.points, planes)
        planes = rearranged(surface.mesh.vertices, planes, found, len(planes) - fixed, noise)
        if planes is best:
            break
    if best is None:
        raise StoneError("the surface has no planes that enclose a body")
    return best


def _settled(surface: Surface, planes: Planes, noise: float, fixed: int) -> tuple[Planes, float]:
    """The best state of some turns of refinement, and its score; infinite where no body is left."""
    points = surface.points
    held = planes.only(np.arange(len(planes) - fixed, len(planes)))
    found = envelope(points, planes)
    best, least = planes, np.inf
    for _ in range(ROUNDS):
        needed = _needed(found, len(planes) - fixed, len(planes), noise)
        if not needed.all():
            planes = planes.only(needed)
            found = envelope(points, planes)
        fitted = fit_planes(surface.mesh, planes, found, noise, free=len(planes) - fixed, drawn=surface.drawn).with_(held)
        if len(fitted) < 4:
            break
        same = len(fitted) == len(planes)
        steady = needed.all() and same and _change(planes, fitted) < STEADY * noise
        planes, found = fitted, envelope(points, fitted, found if same else None)
        score = float(squares(found.height, noise).sum()) + NEEDED * len(planes)
        if score <= least:
            best, least = planes, score
        if steady:
            break
    return best, least


def _change(before: Planes, after: Planes) -> float:
    """Largest tilt between two states of the planes, over what noise of unit variance does to each."""
    tilt = np.abs(after.normals - before.normals).max(axis=1)
    unit = np.sqrt(after.covariance[:, 1:, 1:].trace(axis1=1, axis2=2).clip(0.0))
    return float((tilt / np.maximum(unit, 1e-300)).max())


def _needed(found: Envelope, free: int, planes: int, noise: float) -> np.ndarray:
    """(F,) bool: planes whose points would lie clearly worse on the others, and all after the first `free`.

    Of planes that could stand in for one another only the least needed goes in one turn.
    """
    worse = squares(found.heights[:, 1], noise) - squares(found.height, noise)
    loss = np.bincount(found.facet, worse, planes)
    keep = np.ones(planes, dtype=bool)
    touched = np.zeros(planes, dtype=bool)
    for f in np.argsort(loss[:free]):
        if loss[f] > NEEDED:
            break
        if not touched[f]:
            keep[f] = False
            touched[np.unique(found.rival[found.facet == f])] = True
    return keep
