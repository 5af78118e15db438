"""The girdle of a scanned stone, sought again and again as the planes about it become better known.

About which axis it stands, which planes lie across its walls and those of crown or pavilion, and all planes refined with it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ...plane_geometry import convex_outline, following
from ..polyhedron import Polyhedron, intersect
from .anew import sought_anew
from .candidates import Candidates, Surface
from .envelope import NEEDED, Planes, envelope, squares
from .girdle_fit import Girdle, fit_girdle, is_steep
from .refining import refined
from .stone_pose import LARGE, NEARLY

UPRIGHT = math.sin(math.radians(5.0))
"""A plane that leans by less than this stands upright; a girdle's does."""


class State(NamedTuple):
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


def with_girdle(candidates: Candidates, state: State, working: float, noise: float) -> State:
    """The girdle anew between crown and pavilion, patches taken up beside it, and all planes refined.

    Where no wall of a girdle is known yet, mains that are square to crown facets look more walled than the table does. So if
    what is found about such a one leaves points unexplained, the largest facet is tried too.
    """
    planes, surface = state.planes, candidates.surface
    first, largest = levels(planes)
    found = _about(candidates, state, planes.normals[first], working, noise)
    if first == largest or (found.girdle is not None and not found.girdle.unexplained):
        return found
    other = _about(candidates, state, planes.normals[largest], working, noise)
    return min(found, other, key=lambda one: one.cost(surface, working)[1])


def _about(candidates: Candidates, state: State, up: np.ndarray, working: float, noise: float) -> State:
    """The girdle about an axis."""
    planes = state.planes
    girdle = fit_girdle(candidates.surface.mesh, planes, state.free(), up, working, noise)
    if girdle is not None:
        planes = candidates.taken_up(planes.only(~is_steep(planes, up)).with_(girdle.planes), working)
    planes = refined(candidates.surface, planes, working, fixed=girdle.fixed if girdle else 0)
    if girdle is not None:
        girdle = girdle.beside(planes, candidates.surface.mesh.vertices, working)
    return State(planes, girdle, planes.normals[np.argmax(planes.normals @ up)])


def without_bevels(candidates: Candidates, state: State, working: float, noise: float) -> State:
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
    return _about(candidates, State(planes.only(~bevels), girdle, up), up, working, noise)


def with_few_anew(candidates: Candidates, state: State, working: float, noise: float) -> State:
    """The same with planes of few points sought anew (`anew`), and then all planes refined."""
    surface = candidates.surface
    planes = sought_anew(surface.mesh.vertices, state.planes, state.free(), working)
    if planes is state.planes:
        return state
    planes = refined(surface, planes, working, fixed=state.girdle.fixed if state.girdle else 0)
    girdle = state.girdle and state.girdle.beside(planes, surface.mesh.vertices, working)
    return State(planes, girdle, planes.normals[np.argmax(planes.normals @ state.up)])


def levels(planes: Planes) -> tuple[int, int]:
    """Numbers of the plane that the girdle stands around, the table, a culet or a base, and of the largest facet's.

    It is the largest facet but for stones whose mains or steps are larger; about these little of the outline stands upright. So
    the largest facet is taken about which upright planes wall nearly the largest share. (Not by the largest gap between walls:
    where crown and pavilion steps are square to each other, they and the ends of the girdle leave less about a step than a
    girdle with a wall not found yet does about the table.)
    """
    body = intersect(planes.normals, planes.distances)
    area = np.asarray(body.areas)
    large = [f for f in np.argsort(-area, kind="stable").tolist() if area[f] > LARGE * area.max()]
    share = [_walled(body, planes.normals, planes.normals[f]) for f in large]
    return next(f for f, one in zip(large, share, strict=True) if one >= NEARLY * max(share)), large[0]


def _walled(body: Polyhedron, normals: np.ndarray, up: np.ndarray) -> float:
    """Share of a body's outline, seen along the axis `up` (3,), that its upright facets are wide together; at most 1."""
    x = np.cross(np.eye(3)[np.abs(up).argmin()], up)
    x /= np.linalg.norm(x)
    flat = body.vertices @ np.stack([x, np.cross(up, x)], axis=1)
    outline = convex_outline(flat)
    walls = [body.vertices[body.loops[f]] @ np.cross(up, normals[f]) for f in np.flatnonzero(np.abs(normals @ up) < UPRIGHT)]
    around = np.linalg.norm(following(outline) - outline, axis=1).sum()
    return min(1.0, float(sum(np.ptp(wall) for wall in walls if len(wall)) / around))
