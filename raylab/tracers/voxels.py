"""Voxels of a box: which of them a straight segment runs through and how far, and which part of each lies in a stone."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ..jit import njit

COLUMNS = 8
"""So many lines along z stand for a voxel's volume, along each of the two other sides."""


class VoxelGrid(NamedTuple):
    """Equal voxels that fill a box, in the stone's frame.

    Attributes
    ----------
    x0, y0, z0 : lower corner of the box, mm. dx, dy, dz : sides of a voxel, mm. nx, ny, nz : number of voxels along each side.
    """

    x0: float
    y0: float
    z0: float
    dx: float
    dy: float
    dz: float
    nx: int
    ny: int
    nz: int

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of voxels along x, y and z."""
        return self.nx, self.ny, self.nz

    @property
    def voxel_mm3(self) -> float:
        """Volume of a voxel."""
        return self.dx * self.dy * self.dz

    @property
    def middles_mm(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Coordinates of the voxels' middles along x, y and z, mm."""
        x, y, z = (
            low + (np.arange(count) + 0.5) * step
            for low, step, count in zip(self[:3], self[3:6], self.shape, strict=True)
        )  # fmt: skip
        return x, y, z


def voxels_of_box(low_mm: np.ndarray, high_mm: np.ndarray, counts: tuple[int, int, int]) -> VoxelGrid:
    """So many voxels along each side of the box between two corners (3,)."""
    (x, y, z), (dx, dy, dz) = np.asarray(low_mm).tolist(), ((np.asarray(high_mm) - low_mm) / counts).tolist()
    nx, ny, nz = counts
    return VoxelGrid(x, y, z, dx, dy, dz, nx, ny, nz)


@njit(inline="always")
def clipped(x, v, low, high, begin, end):
    """The part from `begin` to `end` of a line x + t v that lies between two level planes; empty where begin >= end."""
    if v > 0.0:
        return max(begin, (low - x) / v), min(end, (high - x) / v)
    if v < 0.0:
        return max(begin, (high - x) / v), min(end, (low - x) / v)
    return (begin, end) if low <= x <= high else (begin, begin)


@njit(inline="always")
def first_border(x, v, place):
    """Where a line, in units of a voxel, leaves the voxel number `place`: the parameter t; and the step from border to border.

    For a line that runs along the borders both are infinite.
    """
    if v == 0.0:
        return math.inf, math.inf
    return ((place + 1.0 if v > 0.0 else float(place)) - x) / v, abs(1.0 / v)


@njit(nogil=True)
def fill(grid, planes, inside):
    """Fill inside (nx * ny * nz,) with the share of each voxel in the body of planes (R, 4).

    The share is that of COLUMNS x COLUMNS lines along z, each cut exactly by the planes.
    """
    for column in range(grid.nx * grid.ny):
        i, j = column // grid.ny, column % grid.ny
        for line in range(COLUMNS * COLUMNS):
            x = grid.x0 + grid.dx * (i + (line // COLUMNS + 0.5) / COLUMNS)
            y = grid.y0 + grid.dy * (j + (line % COLUMNS + 0.5) / COLUMNS)
            low, high = -1e300, 1e300
            for row in range(planes.shape[0]):
                room = planes[row, 3] - planes[row, 0] * x - planes[row, 1] * y
                if planes[row, 2] > 0.0:
                    high = min(high, room / planes[row, 2])
                elif planes[row, 2] < 0.0:
                    low = max(low, room / planes[row, 2])
                elif room < 0.0:
                    high = -1e300
            bottom, top = (low - grid.z0) / grid.dz, (high - grid.z0) / grid.dz
            for k in range(max(int(max(bottom, 0.0)), 0), min(int(max(top, -1.0)) + 1, grid.nz)):
                share = min(top, k + 1.0) - max(bottom, float(k))
                if share > 0.0:
                    inside[column * grid.nz + k] += share / COLUMNS**2
