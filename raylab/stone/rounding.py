"""Rounded edges: every edge of a stone becomes a strip of narrow planes about a cylinder.

A real edge is a few micrometres round. Here it is replaced by planes that touch a cylinder of the given radius, which touches
both facets, at equal steps of angle. Planes of several edges meet at the corners as they come; no ball is put there.

With the radius r, the angle t between the two facets' normals, s planes and steps of a = t / (s + 1) each, an edge's strip is
2 s r tan(a / 2) wide and takes away r^2 (tan(t / 2) - (s + 1) tan(a / 2)) of area in a cut across it; with many planes r t and
r^2 (tan(t / 2) - t / 2).
"""

from __future__ import annotations

import itertools

import numpy as np

from ..errors import StoneError
from ..units import number_in, whole_in
from .finish import Finish, get_finish
from .stone import Stone

EDGE = "edge"
"""Tier of the planes that round edges."""

MOST_UM, MOST_STEPS, STEPS = 1000.0, 16, 3
NARROWEST_MM = 1e-7
"""An edge whose planes would be narrower than this stays sharp."""


def rounded(stone: Stone, radius_um: float, steps: int = STEPS, *, finish: str | Finish = "polished") -> Stone:
    """The stone with rounded edges.

    Parameters
    ----------
    radius_um : radius of the edges, above 0 to 1000 um.
    steps : planes that round an edge, 1 to 16; they are facets of the tier ``"edge"``.
    finish : finish of these planes, see `Finish`.

    Returns
    -------
    Stone : the facets of `stone` with their names, tiers and finishes, and after them the tier ``"edge"``. Its proportions are
        measured on what the rounding leaves of each facet. Planes that others cut off are left out.

    Raises
    ------
    InputError : a radius or a number of steps out of range, an unknown finish.
    StoneError : a stone whose edges are rounded already; a radius at which a facet vanishes.
    """
    radius = number_in("radius_um", radius_um, 0.0, MOST_UM, "um", open_ends=True) * 1e-3
    planes = whole_in("steps", steps, 1, MOST_STEPS)
    if EDGE in stone.tiers:
        expected = "a stone without the tier 'edge'"
        raise StoneError("the edges are rounded already", key="radius_um", value=radius_um, expected=expected)
    normals, distances = _strips(stone, radius, planes)
    made = Stone.from_planes(
        np.concatenate([stone.normals, normals]),
        np.concatenate([stone.distances_mm, distances]),
        tiers=[*stone.tiers, *[EDGE] * len(normals)],
        indices=[*stone.indices, *range(len(normals))],
        material=stone.material,
        finishes=[*stone.finishes, *[get_finish(finish)] * len(normals)],
        symmetry=stone.symmetry,
        cut=stone.cut,
        name=stone.name,
        measured=stone.measured,
        redundant="drop",
    )
    gone = {stone.facet_name(f) for f in range(len(stone))} & set(made.dropped)
    if gone:
        problem = f"rounding takes {len(gone)} facet(s): {', '.join(sorted(gone)[:4])}"
        raise StoneError(problem, key="radius_um", value=radius_um, expected="a smaller radius")
    return made.relabeled(inclusions=stone.inclusions, dropped=stone.dropped)


def _strips(stone: Stone, radius: float, steps: int) -> tuple[np.ndarray, np.ndarray]:
    """Normals (N, 3) and distances (N,), mm, of the planes that round all edges."""
    one, other, corner = _edges(stone)
    angle = np.arctan2(
        np.linalg.norm(np.cross(stone.normals[one], stone.normals[other]), axis=1),
        (stone.normals[one] * stone.normals[other]).sum(axis=1),
    )
    wide = 2.0 * radius * np.tan(angle / (2 * steps + 2)) >= NARROWEST_MM
    one, other, angle, points = one[wide], other[wide], angle[wide], stone.vertices_mm[corner[wide]]
    middle = stone.normals[one] + stone.normals[other]
    middle /= np.linalg.norm(middle, axis=1)[:, None]
    across = stone.normals[other] - stone.normals[one]
    across /= np.linalg.norm(across, axis=1)[:, None]
    share = np.arange(1, steps + 1) / (steps + 1.0) - 0.5
    turn = angle[:, None] * share  # (edges, steps): from the middle between both normals
    normals = np.cos(turn)[..., None] * middle[:, None] + np.sin(turn)[..., None] * across[:, None]
    depth = radius * (np.cos(turn) / np.cos(angle / 2.0)[:, None] - 1.0)
    distances = (normals * points[:, None]).sum(axis=2) - depth
    return normals.reshape(-1, 3), distances.ravel()


def _edges(stone: Stone) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """For each edge, (E,) each: the two facets that share it, and a corner on it."""
    first: dict[tuple[int, int], int] = {}
    found = []
    for f, loop in enumerate(stone.polyhedron.loops):
        for a, b in itertools.pairwise([*loop.tolist(), int(loop[0])]):
            if (b, a) in first:
                found.append((first[b, a], f, a))
            first[a, b] = f
    one, other, corner = np.array(found).T
    return one, other, corner
