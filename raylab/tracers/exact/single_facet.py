"""Does one facet take the whole of a beam's polygon? Most often it does, and then nothing needs to be cut.

A point of a facet's plane lies in the facet if it lies behind the planes of the facet's neighbors: all facets that share a
corner with it. So it is enough to find the facet that one corner's ray meets, and to test whether the rays of the other
corners pass its plane behind all neighbors; the polygon between them does too, because the facet is convex.
"""

from __future__ import annotations

import numpy as np

from ...jit import njit
from ...stone.stone import Stone
from ..stone_table import StoneTable
from .nearest_plane import NX, NY, NZ, D, nearest_plane, ray_origin

BLOCK = 16
"""The neighbors' planes lie side by side in blocks of so many; most facets need one block. Kernels read the number from the
array: the compiler writes loops of a length known beforehand out plane by plane, without vector instructions."""


def neighbor_planes(stone: Stone, table: StoneTable) -> tuple[np.ndarray, np.ndarray]:
    """The planes of each row's neighbors, and the row itself, in blocks (K, 4, BLOCK) end to end; and their starts (R + 1,)."""
    body = stone.polyhedron
    return _in_blocks(table.planes, table.facet, body.corners, body.starts, len(body.vertices))


@njit()
def _at_corners(facet, corners, starts, count):
    """Which rows meet at each of `count` corners: end to end (C,), rows in order, and their starts (count + 1,)."""
    ends = np.zeros(count + 1, np.int64)
    for corner in corners:
        ends[corner + 1] += 1
    for corner in range(count):
        ends[corner + 1] += ends[corner]
    meeting, filled = np.empty(len(corners), np.int64), ends.copy()
    for row in range(len(facet)):
        if facet[row] >= 0:
            for k in range(starts[facet[row]], starts[facet[row] + 1]):
                meeting[filled[corners[k]]] = row
                filled[corners[k]] += 1
    return meeting, ends


@njit()
def _in_blocks(planes, facet, corners, starts, count):
    """`neighbor_planes` of rows with planes (R, 4): row r is facet[r], or a plane without a facet, -1.

    corners, starts : see `Polyhedron`, whose vertices are `count`.
    """
    meeting, ends = _at_corners(facet, corners, starts, count)
    rows, blocks, most = len(facet), 0, 0
    for corner in corners:
        most += ends[corner + 1] - ends[corner]  # planes, as if no row had a neighbor twice
    neighbors, neighbor_starts = np.empty(((most + (BLOCK - 1) * rows) // BLOCK, 4, BLOCK)), np.zeros(rows + 1, np.int64)
    seen_from = np.full(rows, -1)
    for row in range(rows):
        seen_from[row], lane = row, BLOCK
        first, last = (starts[facet[row]], starts[facet[row] + 1]) if facet[row] >= 0 else (0, 0)
        for k in range(first, last):
            for m in range(ends[corners[k]], ends[corners[k] + 1]):
                other = meeting[m]
                if seen_from[other] != row:
                    seen_from[other] = row
                    if lane == BLOCK:
                        neighbors[blocks, :3] = 0.0
                        neighbors[blocks, 3] = 1.0  # a plane outside which nothing is
                        blocks, lane = blocks + 1, 0
                    for part in range(4):
                        neighbors[blocks - 1, part, lane] = planes[other, part]
                    lane += 1
        neighbor_starts[row + 1] = blocks
    return neighbors[:blocks], neighbor_starts


@njit(in_place=True)
def single_facet(columns, keys, neighbors, neighbor_starts, beam, x, y, sides, sloping, core2, tolerance):
    """The row that the ray of a polygon's first corner meets (-1: none), whether it takes the whole polygon, and its t there.

    Where it doesn't, several may share the polygon.

    Parameters
    ----------
    columns, keys, sloping, core2 : see `nearest_plane`. neighbors, neighbor_starts : see `neighbor_planes`.
    beam, x, y, sides : the beam and its polygon.
    tolerance : mm; a ray that passes the facet's plane outside a neighbor by less is inside. No wider than in `clipping.split`,
        which decides where this doesn't.
    """
    vx, vy, vz = beam[9], beam[10], beam[11]
    ox, oy, oz = ray_origin(beam, x[0], y[0])
    met, t = nearest_plane(columns, keys, sloping, ox, oy, oz, vx, vy, vz, core2)
    row = max(met, 0)
    nx, ny, nz, d = columns[NX, row], columns[NY, row], columns[NZ, row], columns[D, row]
    reciprocal, outside = 1.0 / (nx * vx + ny * vy + nz * vz), 0
    # Counted to the end, though one outside decides: most often none is, and vector instructions don't stop half-way.
    for k in range(sides):
        px, py, pz = ray_origin(beam, x[k], y[k])
        step = (d - (nx * px + ny * py + nz * pz)) * reciprocal
        px, py, pz = px + step * vx, py + step * vy, pz + step * vz
        for block in range(neighbor_starts[row], neighbor_starts[row + 1]):
            for lane in range(np.uintp(0), np.uintp(neighbors.shape[2])):
                height = neighbors[block, 0, lane] * px + neighbors[block, 1, lane] * py + neighbors[block, 2, lane] * pz
                outside += 1 if neighbors[block, 3, lane] - height < -tolerance else 0
    return met, met >= 0 and outside == 0, t
