"""Cutting a polygon by the facets that a beam meets, without a gap and without an overlap.

All rays of a beam run along one direction v. Ray (x, y) of the map plane is the line o(x, y) + t v, where o is affine in
(x, y); it leaves the body at the smallest t_f(x, y) = (d_f - n_f.o)/(n_f.v) over the facets f that face along v. Each t_f
is affine too, so the facet that wins does so on a convex polygon, and the winners' polygons tile the beam.

The tiling is built facet by facet. It is kept as cells that share their corners by number, and each corner holds the
smallest t so far. A new facet takes the corners where it is nearer by more than a tolerance; an edge with one corner taken
is cut once, and the cells on both sides get the same new corner. So the cells tile the polygon whatever rounding does;
rounding can only shift a cut, by the tolerance. Which facets are needed is decided without a guess: the smallest of affine
functions is concave, so a facet that wins anywhere in a cell wins at one of its corners, and every corner is compared with
every facet.

A tie within the tolerance is no win: a beam that runs exactly along an edge stays whole on one side of it.

How it is made fast: arrays are handed down one by one and used to the end of each function, because numba counts
references (two locked operations) at every look into a tuple and at every array whose last use stands under a condition;
that alone took two thirds of the time.
"""

from __future__ import annotations

import numpy as np

from ...jit import njit
from .nearest_plane import OVER, distance, face, first_met, line, nearer, new_ahead, outside

# The workspace: arrays that one cut after another uses. `ahead`, `bits`: see `facing`.
# corner (K, 7): x, y; smallest t so far and 1/(n.v) of its facet; for the facet being put in, its t minus the smallest and
#   its side: -1 nearer, 1 farther, 0 within the tolerance; for a corner that a cut made on side k of the polygon k, else -1.
X, Y, T, T_OVER, GAIN, SIDE, BORDER = range(7)
# cells (F + 2, W): number of corners, facet, corners counter-clockwise; the last row is one polygon at work.
SIZE, OWNER, LOOP = 0, 1, 2
# edges (E, 2): edges around what a facet takes. made (K, 4): cut edge (two corners), its new corner; _AFTER: the corner that
#   follows when the edges are joined.
_AFTER = 3


def new_workspace(planes: np.ndarray) -> tuple[np.ndarray, ...]:
    """Room to cut polygons of up to F + 64 sides by a stone with planes (F, 4).

    Returns ahead, bits, corner, cells, edges, made.
    """
    facets = len(planes)
    corners = 8 * facets + 256
    return (
        new_ahead(planes),
        np.empty(facets, np.int64),
        np.empty((corners, 7)),
        np.empty((facets + 2, 2 * facets + 74), np.int64),
        np.empty((4 * corners, 2), np.int64),
        np.empty((corners, 4), np.int64),
    )


@njit()
def area_of(x, y, size):  # type: ignore[no-untyped-def]
    """Area of a polygon, positive counter-clockwise; taken about its first corner, so that small ones stay exact."""
    twice = 0.0
    for k in range(1, size - 1):
        twice += (x[k] - x[0]) * (y[k + 1] - y[0]) - (x[k + 1] - x[0]) * (y[k] - y[0])
    return 0.5 * twice


@njit()
def _shared_side(corner, a, b, sides):  # type: ignore[no-untyped-def]
    """The side of the beam's polygon on which both corners lie, or -1. Corner k < sides ends sides k-1 and k."""
    at_a, at_b = int(corner[a, BORDER]), int(corner[b, BORDER])
    after_a, after_b = (a + 1 if a + 1 < sides else 0), (b + 1 if b + 1 < sides else 0)
    if a < sides and b < sides:
        return a if after_a == b else (b if after_b == a else -1)
    if b < sides:
        a, b, at_a, at_b, after_a = b, a, at_b, at_a, after_b
    if a < sides:  # b was made by a cut
        return at_b if at_b >= 0 and (at_b == a or (at_b + 1 if at_b + 1 < sides else 0) == a) else -1
    return at_a if at_a == at_b else -1


@njit()
def _cut_edge(ahead, corner, made, beam, a, b, f, owner, cuts, corners, sides):  # type: ignore[no-untyped-def]
    """The corner where facet f's gain on edge (a, b) is zero; returns it and the new numbers of cuts and corners."""
    for k in range(cuts):
        if (made[k, 0] == a and made[k, 1] == b) or (made[k, 0] == b and made[k, 1] == a):
            return made[k, 2], cuts, corners
    c = corners
    share = corner[a, GAIN] / (corner[a, GAIN] - corner[b, GAIN])
    corner[c, X] = corner[a, X] + share * (corner[b, X] - corner[a, X])
    corner[c, Y] = corner[a, Y] + share * (corner[b, Y] - corner[a, Y])
    corner[c, BORDER] = _shared_side(corner, a, b, sides)
    # Both facets are equally far here; the one met less obliquely says how far with the smaller rounding error.
    steeper = f if ahead[OVER, f] < ahead[OVER, owner] else owner
    corner[c, T] = distance(ahead, beam, steeper, corner[c, X], corner[c, Y])
    corner[c, T_OVER] = ahead[OVER, steeper]
    corner[c, SIDE] = 0.0
    made[cuts, 0], made[cuts, 1], made[cuts, 2] = a, b, c
    return c, cuts + 1, corners + 1


@njit()
def _take(ahead, corner, cells, edges, made, beam, f, count, corners, sides):  # type: ignore[no-untyped-def]
    """Give facet f the part of every cell where it is nearest.

    Returns the new numbers of cells and corners; -1 cells where the workspace is too small or rounding left the corners'
    sides in disorder.
    """
    cuts, taken, pieces, kept = 0, 0, 0, 0
    work = cells.shape[0] - 1
    for c in range(count):
        size, won, lost, start = cells[c, SIZE], 0, 0, 0
        for k in range(size):
            side = corner[cells[c, LOOP + k], SIDE]
            if side < 0.0:
                won += 1
                start = k
            elif side > 0.0:
                lost += 1
        pieces += won > 0
        if size + LOOP + 3 > cells.shape[1] or taken + size + 2 > edges.shape[0]:
            return -1, corners
        if won > 0 and lost == 0:  # the whole cell goes to f
            for k in range(size):
                edges[taken, 0] = cells[c, LOOP + k]
                edges[taken, 1] = cells[c, LOOP + (k + 1 if k + 1 < size else 0)]
                taken += 1
            continue
        if won > 0:
            # Find the run of corners, none of them farther, that holds the nearer ones.
            stop, found = start, 0
            while True:
                before = start - 1 if start > 0 else size - 1
                if corner[cells[c, LOOP + before], SIDE] > 0.0:
                    break
                start = before
            run, walk = 0, start
            while corner[cells[c, LOOP + walk], SIDE] <= 0.0:
                found += corner[cells[c, LOOP + walk], SIDE] < 0.0
                run += 1
                stop = walk
                walk = walk + 1 if walk + 1 < size else 0
            after = walk
            if found != won:
                return -1, corners
            begin, end = cells[c, LOOP + start], cells[c, LOOP + stop]
            first, last = 0, run  # of the run, what lies strictly between the two cuts
            if corner[begin, SIDE] < 0.0:
                begin, cuts, corners = _cut_edge(
                    ahead, corner, made, beam, cells[c, LOOP + before], begin, f, cells[c, OWNER], cuts, corners, sides
                )
            else:
                first = 1
            if corner[end, SIDE] < 0.0:
                end, cuts, corners = _cut_edge(
                    ahead, corner, made, beam, end, cells[c, LOOP + after], f, cells[c, OWNER], cuts, corners, sides
                )
            else:
                last = run - 1
            walk = begin
            for k in range(first, last):
                step = start + k
                step = cells[c, LOOP + (step if step < size else step - size)]
                edges[taken, 0], edges[taken, 1] = walk, step
                taken += 1
                walk = step
            edges[taken, 0], edges[taken, 1] = walk, end
            edges[taken + 1, 0], edges[taken + 1, 1] = end, begin
            taken += 2
            # What stays: from the second cut around the farther corners to the first cut.
            rest = size - run
            cells[work, LOOP] = end
            for k in range(rest):
                step = after + k
                cells[work, LOOP + k + 1] = cells[c, LOOP + (step if step < size else step - size)]
            cells[work, LOOP + rest + 1] = begin
            size = rest + 2
            for k in range(size):
                cells[c, LOOP + k] = cells[work, LOOP + k]
        if kept != c:
            for k in range(size):
                cells[kept, LOOP + k] = cells[c, LOOP + k]
            cells[kept, OWNER] = cells[c, OWNER]
        cells[kept, SIZE] = size
        kept += 1
    if pieces == 0:
        return kept, corners
    size = _outline(cells, edges, made, taken, pieces)
    if size < 3:
        return -1, corners
    for k in range(size):
        cells[kept, LOOP + k] = cells[work, LOOP + k]
    cells[kept, SIZE], cells[kept, OWNER] = size, f
    return kept + 1, corners


@njit()
def _outline(cells, edges, made, taken, pieces):  # type: ignore[no-untyped-def]
    """Join the pieces that one facet took into one polygon, the last row of `cells`; returns its size, 0 if they don't."""
    if pieces > 1:  # an edge walked in both directions lies inside
        for e in range(taken):
            if edges[e, 0] < 0:
                continue
            for other in range(e + 1, taken):
                if edges[other, 0] == edges[e, 1] and edges[other, 1] == edges[e, 0]:
                    edges[e, 0] = -1
                    edges[other, 0] = -1
                    break
    left, start, work = 0, -1, cells.shape[0] - 1
    for e in range(taken):
        if edges[e, 0] >= 0:
            made[edges[e, 0], _AFTER] = edges[e, 1]
            start = edges[e, 0]
            left += 1
    if left + LOOP > cells.shape[1]:
        return 0
    size, walk = 0, start
    while size < left:
        cells[work, LOOP + size] = walk
        size += 1
        walk = made[walk, _AFTER]
        if walk == start:
            break
    return size if walk == start and size == left else 0


@njit()
def _begin(ahead, corner, cells, beam, f, sides):  # type: ignore[no-untyped-def]
    """One cell, the whole polygon, of facet f; returns the number of cells, 1."""
    for v in range(sides):
        corner[v, T] = distance(ahead, beam, f, corner[v, X], corner[v, Y])
        corner[v, T_OVER] = ahead[OVER, f]
        corner[v, BORDER] = -1.0
        cells[0, LOOP + v] = v
    cells[0, SIZE], cells[0, OWNER] = sides, f
    return 1


@njit()
def _put_in(ahead, corner, cells, edges, made, beam, f, count, corners, sides, tolerance):  # type: ignore[no-untyped-def]
    """Let facet f take what it is nearest to; returns the new numbers of cells (-1: lost) and corners."""
    over = ahead[OVER, f]
    for v in range(corners):
        gain = distance(ahead, beam, f, corner[v, X], corner[v, Y]) - corner[v, T]
        slack = tolerance * (over + corner[v, T_OVER])
        corner[v, GAIN] = gain
        corner[v, SIDE] = -1.0 if gain < -slack else (1.0 if gain > slack else 0.0)
    old, room = corners, count + 2 < cells.shape[0] and corners + 2 * count < corner.shape[0]
    count, corners = _take(ahead, corner, cells, edges, made, beam, f, count if room else 0, corners, sides)
    for v in range(old):
        if corner[v, SIDE] < 0.0:
            corner[v, T] += corner[v, GAIN]
            corner[v, T_OVER] = over
    return count if room else -1, corners


@njit()
def split(ahead, bits, corner, cells, edges, made, beam, sides, met, mains, core2, tolerance):  # type: ignore[no-untyped-def]
    """Cut a beam's polygon by the facets it meets.

    Parameters
    ----------
    ahead, bits, corner, cells, edges, made : the workspace; the first `sides` rows of `corner` hold the polygon's X and Y,
        counter-clockwise.
    beam : o(x, y) = beam[0:3] + x beam[3:6] + y beam[6:9], direction beam[9:12].
    met : the facet that the first corner's ray meets.
    mains, core2 : see `StoneTable`.
    tolerance : mm; a facet nearer by less than this, seen across the beam, wins nothing.

    Returns the number of cells (`polygon` reads one), or -1 where the workspace was too small or rounding left no consistent
    tiling; neither has been seen.
    """
    vx, vy, vz = beam[9], beam[10], beam[11]
    face(ahead, 0, mains, vx, vy, vz)
    face(ahead, max(met, mains), met + 1, vx, vy, vz)  # a side facet only once it is met
    count, corners, seen = _begin(ahead, corner, cells, beam, met, sides), sides, 1
    while seen < corners and count >= 0:
        ox, oy, oz = line(beam, corner[seen, X], corner[seen, Y])
        # Is any facet nearer here than the cells say? Side facets are asked where the ray leaves outside the stone's core.
        t, slack = corner[seen, T], tolerance * corner[seen, T_OVER]
        if nearer(ahead, 0, mains, ox, oy, oz, t - slack - tolerance) > 0 or outside(ox, oy, t, vx, vy, core2):
            f, least = first_met(ahead, bits, mains, ox, oy, oz, vx, vy, vz, core2)
            face(ahead, max(f, mains), f + 1, vx, vy, vz)
            if t - least > slack + tolerance * ahead[OVER, f]:
                count, corners = _put_in(ahead, corner, cells, edges, made, beam, f, count, corners, sides, tolerance)
        seen += 1
    return count


@njit()
def polygon(corner, cells, cell, sides, x, y):  # type: ignore[no-untyped-def]
    """Write a cell's corners to x and y, without those that other cells' cuts left on a straight side; returns how many."""
    size, kept = cells[cell, SIZE], 0
    for k in range(size):
        v = cells[cell, LOOP + k]
        if v >= sides and corner[v, BORDER] >= 0.0:
            before = cells[cell, LOOP + (k - 1 if k > 0 else size - 1)]
            after = cells[cell, LOOP + (k + 1 if k + 1 < size else 0)]
            side = int(corner[v, BORDER])
            if _shared_side(corner, before, v, sides) == side and _shared_side(corner, v, after, sides) == side:
                continue
        x[kept], y[kept] = corner[v, X], corner[v, Y]
        kept += 1
    return kept
