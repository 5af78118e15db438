"""Does one facet take the whole of a beam's polygon? Most often it does, and then nothing needs to be cut.

A point of a facet's plane lies in the facet if it lies behind the planes around it: the facet's fence, the planes of all facets
that share a corner with it. So it is enough to find the facet that one corner's ray meets, and to look whether the rays
of the other corners pass its plane inside the fence; the polygon between them does too, because the facet is convex.
"""

from __future__ import annotations

import numpy as np

from ...jit import njit
from ...stone.stone import Stone
from ..stone_table import StoneTable
from .nearest_plane import first_met, line

BLOCK = 16
"""A fence's planes lie side by side in blocks of so many; most fences need one. Kernels read the number from the array: the
compiler writes loops of a length known beforehand out plane by plane, without vector instructions."""


def fences_of(stone: Stone, table: StoneTable) -> tuple[np.ndarray, np.ndarray]:
    """All facets' fences in the order of the table, in blocks of planes (K, 4, BLOCK) end to end, and their starts (F + 1,)."""
    loops = [stone.polyhedron.loops[facet] if facet >= 0 else np.empty(0, np.int64) for facet in table.facet]
    starts = np.concatenate([[0], np.cumsum([len(loop) for loop in loops])])
    corner = np.concatenate(loops)
    meeting = np.repeat(np.arange(len(loops)), np.diff(starts))[np.argsort(corner, kind="stable")]
    return _fences(table.planes, corner, starts, meeting, np.concatenate([[0], np.cumsum(np.bincount(corner))]))


@njit()
def _fences(planes, corner, starts, meeting, ends):  # type: ignore[no-untyped-def]
    """Facet f has the corners corner[starts[f]:starts[f + 1]]; at corner c meet the facets meeting[ends[c]:ends[c + 1]]."""
    facets, blocks = len(starts) - 1, 0
    fence, fences = np.empty((2 * facets, 4, BLOCK)), np.zeros(facets + 1, np.int64)
    seen_from = np.full(facets, -1)
    for f in range(facets):
        seen_from[f], lane = f, BLOCK
        for k in range(starts[f], starts[f + 1]):
            for m in range(ends[corner[k]], ends[corner[k] + 1]):
                g = meeting[m]
                if seen_from[g] != f:
                    seen_from[g] = f
                    if lane == BLOCK:
                        if blocks == len(fence):
                            fence = np.concatenate((fence, np.empty_like(fence)))
                        fence[blocks, :3] = 0.0
                        fence[blocks, 3] = 1.0  # a plane outside which nothing is
                        blocks, lane = blocks + 1, 0
                    fence[blocks - 1, :, lane] = planes[g]
                    lane += 1
        fences[f + 1] = blocks
    return fence[:blocks], fences


@njit()
def whole(ahead, bits, fence, fences, beam, x, y, sides, mains, core2, tolerance):  # type: ignore[no-untyped-def]
    """The facet that the ray of a polygon's first corner meets (-1: none), whether it takes the whole polygon, and its t there.

    Where it doesn't, several may share the polygon.

    Parameters
    ----------
    ahead, bits, mains, core2 : see `facing`. fence, fences : see `fences_of`.
    beam, x, y, sides : the beam and its polygon.
    tolerance : mm; a ray that passes the facet's plane outside a fence by less is inside. No wider than in `clip.split`, which
        decides where this doesn't.
    """
    vx, vy, vz = beam[9], beam[10], beam[11]
    ox, oy, oz = line(beam, x[0], y[0])
    met, t = first_met(ahead, bits, mains, ox, oy, oz, vx, vy, vz, core2)
    f = max(met, 0)
    nx, ny, nz, d = ahead[0, f], ahead[1, f], ahead[2, f], ahead[3, f]
    over, out = 1.0 / (nx * vx + ny * vy + nz * vz), 0
    # Counted to the end, though one outside decides: most often none is, and vector instructions don't stop half-way.
    for k in range(sides):
        px, py, pz = line(beam, x[k], y[k])
        way = (d - (nx * px + ny * py + nz * pz)) * over
        px, py, pz = px + way * vx, py + way * vy, pz + way * vz
        for block in range(fences[f], fences[f + 1]):
            for lane in range(np.uintp(0), np.uintp(fence.shape[2])):
                apart = fence[block, 0, lane] * px + fence[block, 1, lane] * py + fence[block, 2, lane] * pz
                out += 1 if fence[block, 3, lane] - apart < -tolerance else 0
    return met, met >= 0 and out == 0, t
