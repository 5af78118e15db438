"""One view ray, hit by hit: the position of each hit, the light that leaves there, and its direction.

The path is the oracle's (`tracers.reference`); this module adds the points in space and the words, for a person who asks
about one spot of a map and for pictures of a path through the stone. Where a facet scatters, the path goes on in one direction
of many, drawn by the seed of the scene.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .scene.scene import Scene
from .stone.stone import Stone
from .tracers.ledger import FIELDS, entry_of_exit
from .tracers.reference import Path, trace_path
from .tracers.sampled.view_rays import view_rays
from .tracers.scattering import random_pair

SKY, HEAD, LEAK, SCATTERED, NOWHERE = "sky", "head", "leak", "scattered", ""


@dataclass(frozen=True)
class Hit:
    """What becomes of a ray at one meeting with the stone's surface; two of them where a facet takes one part of it
    and reflects the other out of the stone.

    Attributes
    ----------
    facet, name : which facet. point_mm : (3,) where, stone's frame.
    weight : share of the view ray that leaves here, the reflection off the first surface included.
    direction : (3,) unit direction of the light that leaves, stone's frame; None where nothing does.
    fate : the ledger entry it is booked under: "sky", "head", "leak" or "scattered"; empty where nothing leaves.
    """

    facet: int
    name: str
    point_mm: np.ndarray
    weight: float
    direction: np.ndarray | None
    fate: str


@dataclass(frozen=True)
class RayPath:
    """A view ray followed backwards from the eye.

    Attributes
    ----------
    hits : the hits, the entry first; empty if the ray misses the stone. start_mm : (3,) a point of the ray outside the stone.
    absorbed, untraced : the share of the ray that body colour and inclusions take, and the untraced share.
    """

    start_mm: np.ndarray
    hits: tuple[Hit, ...]
    absorbed: float
    untraced: float

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, strings, lists and None, ready for JSON."""
        return {
            "start_mm": self.start_mm.tolist(),
            "hits": [
                {
                    "facet": hit.facet,
                    "name": hit.name,
                    "point_mm": hit.point_mm.tolist(),
                    "weight": hit.weight,
                    "direction": None if hit.direction is None else hit.direction.tolist(),
                    "fate": hit.fate,
                }
                for hit in self.hits
            ],
            "absorbed": self.absorbed,
            "untraced": self.untraced,
        }


def ray_path(scene: Scene, x_mm: float, y_mm: float, *, min_weight: float = 1e-3) -> RayPath:
    """Follow the view ray through a point of the map plane, at the middle wavelength of the scene.

    Parameters
    ----------
    x_mm, y_mm : the point on the map, mm.
    min_weight : the path ends when less than this share of the ray is left inside; replaces that of the scene, since a
        person reads the path.

    Returns
    -------
    RayPath : without hits for a point outside the stone.
    """
    stone, settings = scene.stone, scene.settings
    origins, directions = view_rays(np.array([[x_mm, y_mm]]), stone, scene.view)
    origin, direction = origins[0], np.asarray(directions[0])
    path = trace_path(
        origin,
        direction,
        stone,
        wavelength_nm=settings.middle_nm,
        polarized=settings.polarized,
        min_weight=min_weight,
        max_bounces=settings.max_bounces,
        draw=lambda met: random_pair(settings.seed, 0, met),
    )
    leaves: dict[int, list[tuple[float, np.ndarray | None]]] = {hit: [] for hit in range(len(path.facets))}
    for number, (weight, out, bounces) in enumerate(path.exits):
        leaves[0 if number == 0 else bounces + 1].append((weight, out))
    for hit, weight in path.taken.items():
        leaves[hit].append((weight, None))
    hits = tuple(
        Hit(facet, stone.facet_name(facet), point, weight, out, _fate(scene, weight, out))
        for facet, point, parts in zip(path.facets, path.points, leaves.values(), strict=True)
        for weight, out in parts or [(0.0, None)]
    )
    return RayPath(_start(path, origin, direction, stone), hits, path.absorbed, path.untraced)


def _start(path: Path, origin: np.ndarray, direction: np.ndarray, stone: Stone) -> np.ndarray:
    """A point on the ray half the stone's size before the entry: near enough to draw from."""
    return path.points[0] - 0.5 * float(stone.size_mm.max()) * direction if path.facets else origin


def _fate(scene: Scene, weight: float, direction: np.ndarray | None) -> str:
    """The ledger's entry for what leaves."""
    if direction is None:
        return SCATTERED if weight > 0.0 else NOWHERE
    return FIELDS[entry_of_exit(float(direction[2]), float((scene.view.rotation() @ direction)[2]), scene.dome.table.head_cos)]
