"""Planes refined: points to planes and planes to points, those left out that the surface can do without, others rearranged."""

from __future__ import annotations

import numpy as np

from ...errors import StoneError
from .candidates import Surface
from .envelope import NEEDED, Envelope, Planes, envelope, squares
from .moves import rearranged
from .plane_fit import fit_planes

ROUNDS = 8
"""Most turns of refinement between rearrangements."""

REARRANGED = 8
"""Most rearrangements."""

STEADY = 0.2
"""Refinement ends when no plane is tilted by more than this share of its own uncertainty."""


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


def only_needed(points: np.ndarray, planes: Planes, fixed: int, noise: float) -> Planes:
    """Planes without those that points (N, 3) can do without; the last `fixed` stay.

    Of a state kept as the best of all turns a plane may be left out in a later turn alone, which scores worse for what the fit
    of the others did.
    """
    while True:
        needed = _needed(envelope(points, planes), len(planes) - fixed, len(planes), noise)
        if needed.all():
            return planes
        planes = planes.only(needed)


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
