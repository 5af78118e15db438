"""Does one facet take the whole of a beam's polygon? Most often it does, and then nothing needs to be cut.

A point of a facet's plane lies in the facet if it lies behind the planes around it: the facet's fence, the planes of all facets
that share a corner with it. So it is enough to find the facet that one corner's ray meets, and to look whether the rays
of the other corners pass its plane inside the fence; the polygon between them does too, because the facet is convex.
"""

from __future__ import annotations

import math

import numpy as np

from ..jit import njit
from ..stone.planes import Stone
from .facing import first_met, line
from .tables import StoneTable


def fences_of(stone: Stone, table: StoneTable) -> tuple[np.ndarray, np.ndarray]:
    """All facets' fences: planes (K, 4) end to end, and starts (F + 1,), in the order of the table."""
    loops = [stone.polyhedron.loops[facet] if facet >= 0 else np.empty(0, np.int64) for facet in table.facet]
    starts = np.concatenate([[0], np.cumsum([len(loop) for loop in loops])])
    corner = np.concatenate(loops)
    meeting = np.repeat(np.arange(len(loops)), np.diff(starts))[np.argsort(corner, kind="stable")]
    return _fences(table.planes, corner, starts, meeting, np.concatenate([[0], np.cumsum(np.bincount(corner))]))


@njit()
def _fences(planes, corner, starts, meeting, ends):  # type: ignore[no-untyped-def]
    """Facet f has the corners corner[starts[f]:starts[f + 1]]; at corner c meet the facets meeting[ends[c]:ends[c + 1]]."""
    facets, count = len(starts) - 1, 0
    fence, fences = np.empty((16 * facets, 4)), np.zeros(facets + 1, np.int64)
    seen_from = np.full(facets, -1)
    for f in range(facets):
        seen_from[f] = f
        for k in range(starts[f], starts[f + 1]):
            for m in range(ends[corner[k]], ends[corner[k] + 1]):
                g = meeting[m]
                if seen_from[g] != f:
                    seen_from[g] = f
                    if count == len(fence):
                        fence = np.concatenate((fence, np.empty_like(fence)))
                    fence[count] = planes[g]
                    count += 1
        fences[f + 1] = count
    return fence[:count], fences


@njit()
def whole(ahead, bits, fence, fences, passing, beam, x, y, sides, mains, core2, tolerance):  # type: ignore[no-untyped-def]
    """The facet that takes a beam's whole polygon, -1 where several may share it, and t at the polygon's first corner.

    Parameters
    ----------
    ahead, bits, mains, core2 : see `facing`. fence, fences : see `fences_of`. passing : (W, 3) room to work, W >= sides.
    beam, x, y, sides : the beam and its polygon.
    tolerance : mm; a ray that passes the facet's plane outside a fence by less is inside. No wider than in `clip.split`, which
        decides where this doesn't.
    """
    vx, vy, vz = beam[9], beam[10], beam[11]
    ox, oy, oz = line(beam, x[0], y[0])
    f, slide = first_met(ahead, bits, mains, ox, oy, oz, vx, vy, vz, core2)
    if f < 0:
        return -1, 0.0
    nx, ny, nz, d = ahead[0, f], ahead[1, f], ahead[2, f], ahead[3, f]
    over = 1.0 / (nx * vx + ny * vy + nz * vz)
    ox, oy, oz = ox + slide * vx, oy + slide * vy, oz + slide * vz
    reach2 = 0.0
    for k in range(1, sides):
        px, py, pz = line(beam, x[k], y[k])
        t = (d - (nx * px + ny * py + nz * pz)) * over
        px, py, pz = px + t * vx, py + t * vy, pz + t * vz
        passing[k, 0], passing[k, 1], passing[k, 2] = px, py, pz
        reach2 = max(reach2, (px - ox) * (px - ox) + (py - oy) * (py - oy) + (pz - oz) * (pz - oz))
    reach = math.sqrt(reach2)
    for g in range(fences[f], fences[f + 1]):
        nx, ny, nz, d = fence[g, 0], fence[g, 1], fence[g, 2], fence[g, 3]
        room = d - (nx * ox + ny * oy + nz * oz)
        if room > reach:  # so far from the first corner are none of the others
            continue
        if room < -tolerance:
            return -1, slide
        for k in range(1, sides):
            if d - (nx * passing[k, 0] + ny * passing[k, 1] + nz * passing[k, 2]) < -tolerance:
                return -1, slide
    return f, slide
