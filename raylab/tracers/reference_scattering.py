"""The oracle's random directions at a facet that scatters: by Lambert's cosine law, and at the mirrors of a rough facet.

Written to be read, and on other grounds than the kernels: a mirror is a point of a half ball as it is seen, squeezed back.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable

import numpy as np

from ..stone.finish import Finish

Draw = Callable[[int], tuple[float, float]]
"""Gives two uniform numbers in [0, 1) for the facet met after so many others."""


def amount_of(finish: Finish) -> float:
    """The number of a finish: what a Lambertian facet sends on, or the roughness; 0 where it has none."""
    return 0.0 if finish.amount is None else finish.amount


def seen_share(direction: np.ndarray, side: np.ndarray, roughness: float) -> float:
    """Share of the mirrors facing a direction that it sees, from the side of the facet to which `side` points (Walter 2007)."""
    cos = float(direction @ side)
    if cos <= 0.0:
        return 0.0
    return 2.0 / (1.0 + math.hypot(1.0, roughness * math.tan(math.acos(min(cos, 1.0)))))


def drawn_by_cosine(normal: np.ndarray, draw: Draw | None, met: int) -> np.ndarray:
    """A direction about `normal` by Lambert's cosine law, drawn from a point of the disc under the hemisphere."""
    first, second = _drawn(draw, met)
    point = cmath.rect(math.sqrt(first), 2.0 * math.pi * second)
    return np.asarray(np.array([point.real, point.imag, math.sqrt(1.0 - first)]) @ _frame(normal))


def drawn_mirror(toward: np.ndarray, normal: np.ndarray, roughness: float, draw: Draw | None, met: int) -> np.ndarray:
    """The normal of a mirror seen from the direction `toward`: a point of a half ball as seen from there, squeezed back.

    The mirrors' normals, stretched by 1/roughness along the facet, fill a half ball evenly; its outline is half a circle above
    and half an ellipse below.
    """
    first, second = _drawn(draw, met)
    frame, squeeze = _frame(normal), np.array([roughness, roughness, 1.0])
    seen_from = squeeze * (frame @ toward)
    seen_from = seen_from / np.linalg.norm(seen_from)
    level = np.cross([0.0, 0.0, 1.0], seen_from)
    level = level / np.linalg.norm(level) if np.linalg.norm(level) > 0.0 else np.array([1.0, 0.0, 0.0])
    up = np.cross(seen_from, level)
    point = cmath.rect(math.sqrt(first), 2.0 * math.pi * second)
    top, bottom = math.sqrt(1.0 - point.real**2), -seen_from[2] * math.sqrt(1.0 - point.real**2)
    height = (top + bottom) / 2.0 + point.imag / top * (top - bottom) / 2.0 if top > 0.0 else 0.0
    depth = math.sqrt(max(0.0, 1.0 - point.real**2 - height**2))
    mirror = squeeze * (point.real * level + height * up + depth * seen_from)
    return np.asarray(frame.T @ mirror / np.linalg.norm(mirror))


def _drawn(draw: Draw | None, met: int) -> tuple[float, float]:
    if draw is None:
        raise ValueError("a stone that scatters needs random numbers")
    return draw(met)


def _frame(normal: np.ndarray) -> np.ndarray:
    """(3, 3) axes as rows, the last one the normal; azimuths count from the first one.

    That is normal x (1, 0, 0), or normal x (0, 1, 0) where the normal leans along x.
    """
    east = np.cross(normal, np.eye(3)[0 if abs(normal[0]) < 0.5 else 1])
    east = east / np.linalg.norm(east)
    return np.array([east, np.cross(normal, east), normal])
