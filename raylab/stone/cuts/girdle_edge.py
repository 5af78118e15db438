"""How thick a girdle is where the facets of crown and pavilion meet it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .cut import Facets


def thinnest(flats: tuple[np.ndarray, np.ndarray], above: Sequence[Facets], below: Sequence[Facets]) -> float:
    """The girdle's least thickness: at one of its corners, since its edges are straight over each flat.

    Parameters
    ----------
    flats : normals (K, 3) and distances (K,) of the girdle's facets, counter-clockwise.
    above, below : the facets that meet the girdle.
    """
    normals, distances = flats
    sides = np.stack([normals[:, :2], np.roll(normals[:, :2], -1, axis=0)], axis=1)
    corners = np.linalg.solve(sides, np.stack([distances, np.roll(distances, -1)], axis=1)[..., None])[..., 0]
    return float((_edge(above, corners) + _edge(below, corners)).min())


def _edge(facets: Sequence[Facets], corners: np.ndarray) -> np.ndarray:
    """(K,) how far from z = 0 the lowest of the planes is over each corner (K, 2)."""
    normals = np.concatenate([one.normals for one in facets])
    distances = np.concatenate([np.broadcast_to(one.distances, len(one.normals)) for one in facets])
    heights = (distances[:, None] - normals[:, :2] @ corners.T) / np.abs(normals[:, 2])[:, None]
    return np.asarray(heights.min(axis=0))
