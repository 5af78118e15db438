"""Facets whose points are not surely theirs: the mean of all planes that explain the surface about them, and their scatter.

A plane fitted to its own points is as uncertain as their noise makes it, while it is sure which points are its own. Of a facet
with a dozen points half lie beside an edge, as do those of a long narrow one; at a small angle a neighbor explains them nearly
as well. It may keep them, and the plane through the rest is off by many times its error. So the likelihood of all points about
the facet is averaged over its planes, each point lying on the highest of this plane and its neighbors, whichever that is. The
neighbors' planes stand, and their errors are passed on by how the mean follows them. With a flat prior this is the posterior
mean and covariance, here by importance sampling from a normal distribution that is fitted to them in turns (M.-S. Oh, J. O.
Berger, J. Stat. Comput. Simul. 41 (1992) 143; from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .envelope import CUTOFF, Envelope, Planes, squares

UNSURE = 0.25
"""Planes are averaged of a facet at whose edges so many points, as a share of its own, may be on the other side."""

OPEN = 2.0
"""Standard errors of the height between two planes, within which it is open which of them a point is on."""

TURNS = 3
"""Fits of the distribution that planes are drawn from."""

WIDER = 1.5
"""Variances of that distribution over those found, so that it reaches further out than what is averaged."""

REACH = 8.0
"""Standard errors of a plane's height at a point, within which the point may come to lie on it."""

LEAST_DRAWS = 16.0
"""With fewer that count (1 / sum of squared weights) no covariance is told, and the plane stays as it was fitted."""

_HALF = np.random.default_rng(0).standard_normal((128, 3))
_DRAWS = np.concatenate([_HALF, -_HALF])  # the same for every facet, so that a scan gives one stone


def averaged(points: np.ndarray, planes: Planes, under: Envelope, free: int, noise: float) -> Planes:
    """Planes, of whose first `free` those with unsure points are replaced by such means, and their errors too.

    `points` (V, 3) mm, `under` where they lie under the planes, `noise` (mm) what planes are chosen with.
    """
    gap = under.heights[:, 0] - under.heights[:, 1]
    errors = noise**2 * (_variance(planes, points, under.facet) + _variance(planes, points, under.rival))
    count = np.bincount(under.facet, minlength=len(planes))
    unsure = gap < OPEN * np.sqrt(errors)
    either = np.bincount(np.r_[under.facet[unsure], under.rival[unsure]], minlength=len(planes))
    beside = np.zeros((len(planes), len(planes)), dtype=bool)
    beside[under.facet, under.rival] = True
    normals, distances = planes.normals.copy(), planes.distances.copy()
    axes, covariance = planes.axes.copy(), planes.covariance.copy()
    for f in np.flatnonzero((either > UNSURE * count)[:free]).tolist():
        about = beside[f] | beside[:, f]
        about[f] = True
        found = _posterior(points, planes, under, f, about[under.facet], noise)
        if found is None:
            continue
        (height, *slopes), spread = found
        tilted = planes.normals[f] - planes.axes[f] @ slopes
        normals[f] = tilted / np.linalg.norm(tilted)
        distances[f] = normals[f] @ (planes.center[f] + height * planes.normals[f])
        axes[f] -= np.outer(normals[f], normals[f] @ axes[f])  # in the plane again, as errors are stated
        covariance[f] = spread / noise**2
    return replace(planes, normals=normals, distances=distances, axes=axes, covariance=covariance)


def _arms(planes: Planes, points: np.ndarray, f: np.ndarray | int) -> np.ndarray:
    """(N, 3) what a plane's height at its center and its slopes along its axes add at points (N, 3), each of the plane `f`."""
    arm = points - planes.center[f]
    return np.column_stack([np.ones(len(points)), (arm[:, None, :] @ planes.axes[f])[:, 0]])


def _variance(planes: Planes, points: np.ndarray, f: np.ndarray | int) -> np.ndarray:
    """(N,) variance of the height of the plane `f` at each of points (N, 3), for unit noise."""
    arms = _arms(planes, points, f)
    return np.asarray(((arms[:, None, :] @ planes.covariance[f])[:, 0] * arms).sum(axis=1))


def _posterior(
    points: np.ndarray, planes: Planes, under: Envelope, f: int, about: np.ndarray, noise: float
) -> tuple[np.ndarray, np.ndarray] | None:
    """Mean (3,) and covariance (3, 3) of a facet's height (mm) at its center and slopes along its axes, over its plane.

    None where fewer than `LEAST_DRAWS` count.
    `about` (V,) bool: the points of the facet and of its neighbors.
    """
    points, height, others = points[about], under.heights[about, 0], under.heights[about, 1]
    rival = np.where(under.facet[about] == f, under.rival[about], under.facet[about])
    own = points @ planes.normals[f] - planes.distances[f]
    others = np.where(under.facet[about] == f, others, height)
    near = own + REACH * noise * np.sqrt(_variance(planes, points, f)) > others
    points, rival, own, others = points[near], rival[near], own[near, None], others[near, None]
    arms = _arms(planes, points, f)
    mean, spread, wider = np.zeros(3), noise**2 * planes.covariance[f], 4.0
    for _ in range(TURNS):
        drawn = mean + _DRAWS @ np.linalg.cholesky(wider * spread).T
        height = own - arms @ drawn.T
        loss = squares(np.maximum(height, others), noise).sum(axis=0)
        log_weight = 0.5 * ((_DRAWS**2).sum(axis=1) - loss)  # likelihood over density
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        if (weight**2).sum() * LEAST_DRAWS > 1.0:
            return None
        mean = weight @ drawn
        off = (drawn - mean) * weight[:, None]
        spread, wider = (drawn - mean).T @ off, WIDER
    # the mean's slope by a neighbor's plane t is -cov(plane, d loss / d t) / 2; only points on that plane change its loss
    pull = np.where((height < others) & (others < CUTOFF * noise), -2.0 * others / noise**2, 0.0) @ off  # (N, 3)
    for g in np.unique(rival[rival >= 0]).tolist():
        on = rival == g
        J = -0.5 * pull[on].T @ _arms(planes, points[on], g)
        spread = spread + noise**2 * J @ planes.covariance[g] @ J.T
    return mean, spread
