"""One view ray, hit by hit: the position of each hit, the light that leaves there, and its direction.

The path is the oracle's (`tracers.reference`); this module adds the points in space and the words, for a person who asks
about one spot of a map and for pictures of a path through the stone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from .scene.scene import Scene
from .stone.finish import ABSORBING
from .stone.stone import Stone
from .tracers.ledger import FIELDS, entry_of_exit
from .tracers.reference import Path, trace_path
from .tracers.sampled.sampling import view_rays

SKY, HEAD, LEAK, SCATTERED, NOWHERE = "sky", "head", "leak", "scattered", ""


@dataclass(frozen=True)
class Hit:
    """One meeting of a ray with the stone's surface.

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
    )
    points = _points(path.facets, origin, direction, stone, stone.material.n(settings.middle_nm))
    leaves: list[tuple[float, np.ndarray | None]] = [(0.0, None)] * len(path.facets)
    for number, (weight, out, bounces) in enumerate(path.exits):
        leaves[0 if number == 0 else bounces + 1] = (weight, out)
    if path.scattered > 0.0:
        leaves[-1] = (path.scattered, None)
    hits = tuple(
        Hit(facet, stone.facet_name(facet), point, weight, out, _fate(scene, facet, weight, out))
        for facet, point, (weight, out) in zip(path.facets, points, leaves, strict=True)
    )
    return RayPath(_start(path, points, origin, direction, stone), hits, path.absorbed, path.untraced)


def _start(path: Path, points: list[np.ndarray], origin: np.ndarray, direction: np.ndarray, stone: Stone) -> np.ndarray:
    """A point on the ray half the stone's size before the entry: near enough to draw from."""
    return points[0] - 0.5 * float(stone.size_mm.max()) * direction if path.facets else origin


def _points(facets: list[int], origin: np.ndarray, direction: np.ndarray, stone: Stone, n: float) -> list[np.ndarray]:
    """Where a ray meets its facets, one after the other: Snell's law at the first, the mirror at each further one."""
    points, here = [], origin
    for number, f in enumerate(facets):
        normal = stone.normals[f]
        here = here + (stone.distances_mm[f] - normal @ here) / (normal @ direction) * direction
        points.append(here)
        cos = float(normal @ direction)
        if number == 0:
            direction = direction / n - (cos / n + math.sqrt(1.0 - (1.0 - cos * cos) / n**2)) * normal
        else:
            direction = direction - 2.0 * cos * normal
    return points


def _fate(scene: Scene, facet: int, weight: float, direction: np.ndarray | None) -> str:
    """The ledger's entry for what leaves."""
    if direction is None:
        return SCATTERED if scene.stone.finishes[facet] == ABSORBING and weight > 0.0 else NOWHERE
    return FIELDS[entry_of_exit(float(direction[2]), float((scene.view.rotation() @ direction)[2]), scene.dome.table.head_cos)]
