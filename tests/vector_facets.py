"""Last facets by vectors alone: each plane is the cross product of two arms between the points that it must hold.

An oracle for `raylab.cutting.last_facets`, which works with slopes and azimuths and shares its rules with the round brilliant.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

import raylab as rl
from raylab.cutting.blocked import Blocked


def last_planes(blocked: Blocked, choice: rl.LastFacets) -> Iterator[tuple[str, np.ndarray, float]]:
    """Name, normal (3,) and distance of every star and half."""
    stone = blocked.stone
    table = stone.normals[blocked.table], stone.distances_mm[blocked.table]
    mains = list(blocked.pavilion)
    apex = np.linalg.lstsq(stone.normals[mains], stone.distances_mm[mains], rcond=None)[0]
    for tier, numbers in (("upper half", blocked.crown), ("lower half", blocked.pavilion)):
        lines = [_middle(stone, main) for main in numbers]
        feet = [start + _leaves(stone, blocked.girdle, start, run) * run for start, run in lines]
        for k, this in enumerate(numbers):
            after = (k + 1) % len(numbers)
            start, run = _edge(stone, this, numbers[after])
            outer = _leaves(stone, blocked.girdle, start, run)
            if tier == "upper half":
                one, other = (p + (table[1] - table[0] @ p) / (table[0] @ r) * r for p, r in (lines[k], lines[after]))
                chord = np.array([one[1] - other[1], other[0] - one[0]])
                inner = chord @ (one - start)[:2] / (chord @ run[:2])
                tip = start + (inner + choice.star_pct / 100.0 * (outer - inner)) * run
                yield f"star {k}", *_through(one, other, tip, 1.0)
                painting = choice.upper_painting_deg
                if choice.upper_half_pct is not None:
                    tip = start + (outer + choice.upper_half_pct / 100.0 * (inner - outer)) * run
            else:
                inner = (apex - start)[:2] @ run[:2] / (run[:2] @ run[:2])
                tip = start + (outer + choice.lower_half_pct / 100.0 * (inner - outer)) * run
                painting = choice.lower_painting_deg
            first, last = (math.atan2(*stone.normals[main, 1::-1]) for main in (this, numbers[after]))
            turn = (last - first) % (2.0 * math.pi) / 4.0 - math.radians(painting)
            for second, azimuth in enumerate((first + turn, last - turn)):
                foot = feet[k if second == 0 else after]
                level = np.array([-math.sin(azimuth), math.cos(azimuth), 0.0])  # a line of the facet that doesn't fall
                yield f"{tier} {2 * k + second}", *_through(foot, foot + level, tip, 1.0 if tier == "upper half" else -1.0)


def _middle(stone: rl.Stone, main: int) -> tuple[np.ndarray, np.ndarray]:
    """The line from the z axis outward down the middle of a main: a point and a direction."""
    n, d = stone.normals[main], stone.distances_mm[main]
    flat = n[:2] / np.hypot(*n[:2])
    return np.array([0.0, 0.0, d / n[2]]), np.array([*flat, -np.hypot(*n[:2]) / n[2]])


def _edge(stone: rl.Stone, this: int, after: int) -> tuple[np.ndarray, np.ndarray]:
    """The edge between two mains: a point and a direction, outward."""
    n, d = stone.normals[[this, after]], stone.distances_mm[[this, after]]
    run = np.cross(*n)
    run *= np.sign(run[:2] @ (n[0, :2] / np.hypot(*n[0, :2]) + n[1, :2] / np.hypot(*n[1, :2])))
    return np.linalg.solve(np.array([*n, run]), np.array([*d, 0.0])), run


def _leaves(stone: rl.Stone, girdle: tuple[int, ...], start: np.ndarray, run: np.ndarray) -> float:
    """Where a line first leaves through the girdle."""
    n, d = stone.normals[list(girdle)], stone.distances_mm[list(girdle)]
    outward = n @ run > 0.0
    return float(((d - n @ start)[outward] / (n @ run)[outward]).min())


def _through(a: np.ndarray, b: np.ndarray, c: np.ndarray, side: float) -> tuple[np.ndarray, float]:
    """The plane through three points whose normal faces a side."""
    normal = np.cross(b - a, c - a)
    normal *= side * np.sign(normal[2]) / np.linalg.norm(normal)
    return normal, float(normal @ c)
