"""Write the two rooms of this folder: linear luminance seen from a stone on a table, as equirectangular float TIFFs.

Both rooms are invented, Lantern Quay's; no place was photographed. Each is a box with lit rectangles on its walls. A point of a
wall shows its own paint, lit by all rectangles (the form factor of a small patch at their middles) and by an even rest.

    python scenes/rooms/make_rooms.py
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile

HEIGHT, WIDTH, FINER = 96, 192, 4
"""Pixels, and how many rays per pixel along each side are averaged."""


@dataclass(frozen=True)
class Light:
    """A lit rectangle on a wall: the axis across the wall (0, 1, 2), its side (-1, 1), the ranges in m along the other two
    axes, and the luminance."""

    axis: int
    side: int
    first_m: tuple[float, float]
    second_m: tuple[float, float]
    luminance: float


@dataclass(frozen=True)
class Room:
    """A box: its half extents in m along x and y, floor and ceiling from the stone, the paints of walls, floor and ceiling."""

    half_x_m: float
    half_y_m: float
    floor_m: float
    ceiling_m: float
    paint: tuple[float, float, float]
    rest: float
    lights: tuple[Light, ...]


def panes(columns: int, rows: int, luminance: float) -> tuple[Light, ...]:
    """A window of several panes in the wall at +x, with frames of 8 cm between them."""
    left, low = (-1.5 + 0.7 * np.arange(columns)).tolist(), (0.1 + 0.63 * np.arange(rows)).tolist()
    return tuple(Light(0, 1, (y, y + 0.62), (z, z + 0.55), luminance) for y in left for z in low)


def spots(x_m: tuple[float, ...], y_m: tuple[float, ...], luminance: float) -> tuple[Light, ...]:
    """Lamps of 12 x 12 cm in the ceiling."""
    return tuple(Light(2, 1, (x - 0.06, x + 0.06), (y - 0.06, y + 0.06), luminance) for x in x_m for y in y_m)


DOORWAY = Light(1, -1, (-0.5, 0.7), (0.3, 1.1), 1.5)
ROOMS = {
    "north-workroom": Room(2.4, 3.0, -0.8, 1.9, (0.55, 0.25, 0.7), 0.15, panes(4, 2, 12.0)),
    "evening-counter": Room(
        3.0, 2.0, -1.0, 1.8, (0.35, 0.15, 0.5), 0.03, (*spots((-1.6, -0.6, 0.5, 1.4), (-0.7, 0.8), 80.0), DOORWAY)
    ),
}


def directions(height: int, width: int) -> np.ndarray:
    """(height, width, 3) unit directions of an equirectangular map: row 0 at the zenith, azimuth 0 in the middle, falling."""
    elevation = np.pi / 2 - (np.arange(height)[:, None] + 0.5) / height * np.pi
    azimuth = np.pi - (np.arange(width)[None] + 0.5) / width * 2 * np.pi
    x, y = np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth)
    return np.stack([x, y, np.broadcast_to(np.sin(elevation), x.shape)], axis=-1)


def luminance(room: Room, towards: np.ndarray) -> np.ndarray:
    """(...) luminance towards directions (..., 3), seen from the origin."""
    low = np.array([-room.half_x_m, -room.half_y_m, room.floor_m])
    high = np.array([room.half_x_m, room.half_y_m, room.ceiling_m])
    with np.errstate(divide="ignore"):
        distance = np.where(towards > 0, high, low) / np.where(towards == 0, 1e-12, towards)
    axis = distance.argmin(axis=-1)
    point = distance.min(axis=-1)[..., None] * towards
    side = np.sign(np.take_along_axis(towards, axis[..., None], axis=-1)[..., 0])
    walls, floor, ceiling = room.paint
    paint = np.where(axis < 2, walls, np.where(side > 0, ceiling, floor))
    normal = -np.eye(3)[axis] * side[..., None]
    lit = np.full(axis.shape, room.rest)
    for light in room.lights:
        others = [k for k in range(3) if k != light.axis]
        middle = np.zeros(3)
        middle[light.axis] = (high if light.side > 0 else low)[light.axis]
        middle[others] = np.mean(light.first_m), np.mean(light.second_m)
        area = np.ptp(light.first_m) * np.ptp(light.second_m)
        way = middle - point
        square = np.maximum((way**2).sum(axis=-1), 0.05)
        here = np.maximum((way * normal).sum(axis=-1), 0.0) / np.sqrt(square)
        there = np.maximum(way[..., light.axis] * light.side, 0.0) / np.sqrt(square)
        lit += light.luminance * area * here * there / (np.pi * square)
    seen = paint * lit
    for light in room.lights:
        others = [k for k in range(3) if k != light.axis]
        inside = (axis == light.axis) & (side == light.side)
        for k, (start, end) in zip(others, (light.first_m, light.second_m), strict=True):
            inside &= (point[..., k] >= start) & (point[..., k] <= end)
        seen = np.where(inside, light.luminance, seen)
    return seen


def picture(room: Room) -> np.ndarray:
    """(HEIGHT, WIDTH) float32, each pixel the mean of its rays."""
    fine = luminance(room, directions(HEIGHT * FINER, WIDTH * FINER))
    return fine.reshape(HEIGHT, FINER, WIDTH, FINER).mean(axis=(1, 3)).astype(np.float32)


if __name__ == "__main__":
    for name, room in ROOMS.items():
        tifffile.imwrite(Path(__file__).parent / f"{name}.tiff", picture(room), photometric="minisblack", compression="zlib")
