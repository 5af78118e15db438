"""The rose cut: a flat base that borders the girdle alone, and a dome of triangles in sixths."""

from __future__ import annotations

import math

import numpy as np

from ..cuts.outline import Circle
from ..cuts.rose_cut import BASE, ORDER, ROSE_CUT, ROSE_HALF, ROSE_SIDE, ROSE_STAR
from ..tier import GIRDLE
from .outline_fit import deviation, framed
from .shape import BROAD, LEVEL_DEG, OUTLINE, PRESENT, SPARE, Named, Shape, by_place

IN_PLACE = 0.9
"""Least agreement of stars and sides with sixths of a turn (1: perfect)."""


def is_base(shape: Shape, facet: int) -> bool:
    """True for a level facet that meets the girdle alone, the whole of its side, under or over a dome of smaller facets."""
    same = (shape.normals[:, 2] > 0.0) == (shape.normals[facet, 2] > 0.0)
    own, dome = same & ~shape.steep, ~same & ~shape.steep
    if shape.slope_deg[facet] > LEVEL_DEG or not dome.any() or not shape.steep.any():
        return False
    others = float(shape.area[own].sum() - shape.area[facet])
    return others <= SPARE * float(shape.area[facet]) and bool(shape.area[dome].max() < shape.area[facet])


def rose(shape: Shape) -> Named | None:
    """A rose cut with its facets named, or None."""
    down = (shape.normals[:, 2] < 0.0) & ~shape.steep
    if not down.any() or not is_base(shape, int(shape.largest(down).argmax())):
        return None
    dome = (shape.normals[:, 2] > 0.0) & ~shape.steep
    rim = ~dome
    highest = np.array([p[:, 2].max() if len(p) else -math.inf for p in shape.loops])
    top, bottom = highest.max(), min(p[:, 2].min() for p in shape.loops if len(p))
    names = [GIRDLE.name if steep else BASE.name for steep in shape.steep]
    for f in np.flatnonzero(dome).tolist():
        if highest[f] > top - 0.02 * (top - bottom):
            names[f] = ROSE_STAR.name
        else:
            names[f] = (ROSE_HALF if shape.contact(f, rim) > BROAD else ROSE_SIDE).name
    pattern = np.array([name in (ROSE_STAR.name, ROSE_SIDE.name) for name in names])
    wave = np.sum(shape.area[pattern] * np.exp(1j * ORDER * shape.azimuth[pattern]))
    if abs(wave) < IN_PLACE * shape.area[pattern].sum():
        return None
    azimuth = float(np.angle(wave)) / ORDER
    step = 2.0 * math.pi / ORDER
    places = {ROSE_STAR.name: (ORDER, 0.0), ROSE_SIDE.name: (ORDER, 0.0), ROSE_HALF.name: (2 * ORDER, step / 4.0)}
    numbers = by_place(shape, names, places, azimuth)
    missing = any(names.count(name) < PRESENT * count for name, (count, _) in places.items())
    off = deviation(framed(shape.outline, azimuth), Circle(1.0))
    if missing or off > OUTLINE or shape.spare(names) > SPARE:
        return None
    return Named.lying(names, numbers, ROSE_CUT, azimuth, off, {name: count for name, (count, _) in places.items()})
