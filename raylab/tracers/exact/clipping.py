"""Cutting a polygon by the facets that a beam meets, without a gap and without an overlap.

All rays of a beam run along one direction v. Ray (x, y) of the map plane is the line o(x, y) + t v, where o is affine in
(x, y); it leaves the body at the smallest t = (d - n.o)/(n.v) over the planes that face along v. Each t is affine in (x, y)
too, so the plane that wins does so on a convex polygon, and the winners' polygons tile the beam.

The tiling is built plane by plane. It is kept as cells that share their corners by number, and each corner holds the
smallest t so far. A new plane takes the corners where it is nearer by more than a tolerance; an edge with one corner taken
is cut once, and the cells on both sides get the same new corner. So the cells tile the polygon whatever rounding does;
rounding can only shift a cut, by the tolerance. Which planes are needed is decided without a guess: the smallest of affine
functions is concave, so a plane that wins anywhere in a cell wins at one of its corners, and every corner is compared with
every plane.

A tie within the tolerance is no win: a beam that runs exactly along an edge stays whole on one side of it.

Planes are named by their rows in the stone's table. The functions here take arrays one by one and work in place, see `jit`.
numba's counting of references (two locked operations at every look into a tuple) would take two thirds of the time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...jit import njit
from .nearest_plane import RECIPROCAL, count_nearer, distance, leaves_core, nearest_plane, new_columns, ray_origin, scale

# Columns of `corners`: x, y; the smallest t so far, and 1/(n.v) of its plane; for the plane being put in, its t minus the
# smallest, and its side: -1 nearer, 1 farther, 0 within the tolerance; for a corner that a cut made on side k of the polygon
# k, else -1.
X, Y, T, T_RECIPROCAL, GAIN, SIDE, BORDER = range(7)
# Columns of `cells`: number of corners, row of the plane, corners counter-clockwise.
SIZE, ROW, LOOP = 0, 1, 2
# Columns of `cuts`: the edge that was cut (two corners), its new corner; _AFTER: the corner that follows when edges are joined.
_AFTER = 3


class Workspace(NamedTuple):
    """Arrays that one cut of a polygon after another uses.

    Attributes
    ----------
    columns : (9, R) the stone's planes; keys : (R,) whole numbers; see `nearest_plane`.
    corners : (K, 7). cells : (R + 2, W), the last row is one polygon at work. edges : (E, 2) pairs of corners, the edges around
        what a plane takes. cuts : (K, 4).
    """

    columns: np.ndarray
    keys: np.ndarray
    corners: np.ndarray
    cells: np.ndarray
    edges: np.ndarray
    cuts: np.ndarray


def new_workspace(planes: np.ndarray) -> Workspace:
    """Room to cut polygons of up to R + 64 sides by a stone with planes (R, 4)."""
    rows = len(planes)
    corners = 8 * rows + 256
    return Workspace(
        columns=new_columns(planes),
        keys=np.empty(rows, np.int64),
        corners=np.empty((corners, 7)),
        cells=np.empty((rows + 2, 2 * rows + 74), np.int64),
        edges=np.empty((4 * corners, 2), np.int64),
        cuts=np.empty((corners, 4), np.int64),
    )


@njit(in_place=True)
def area_of(x, y, size):
    """Area of a polygon of `size` corners x, y (at least (size,)), positive counter-clockwise.

    Taken about its first corner, so that small ones stay exact.
    """
    twice = 0.0
    for k in range(1, size - 1):
        twice += (x[k] - x[0]) * (y[k + 1] - y[0]) - (x[k + 1] - x[0]) * (y[k] - y[0])
    return 0.5 * twice


@njit(in_place=True)
def _shared_side(corners, a, b, sides):
    """The side of the beam's polygon on which the corners a and b lie, or -1. Corner k < sides ends sides k-1 and k."""
    border_a, border_b = int(corners[a, BORDER]), int(corners[b, BORDER])
    after_a, after_b = (a + 1 if a + 1 < sides else 0), (b + 1 if b + 1 < sides else 0)
    if a < sides and b < sides:
        return a if after_a == b else (b if after_b == a else -1)
    if b < sides:
        a, b, border_a, border_b, after_a = b, a, border_b, border_a, after_b
    if a < sides:  # b was made by a cut
        return border_b if border_b >= 0 and (border_b == a or (border_b + 1 if border_b + 1 < sides else 0) == a) else -1
    return border_a if border_a == border_b else -1


@njit(in_place=True)
def _cut_edge(columns, corners, cuts, beam, a, b, row, owner, cut_count, corner_count, sides):
    """The corner where the gain of the plane in `row` on the edge (a, b) of a cell of `owner` is zero.

    Returns it and the new numbers of cuts and corners.
    """
    for k in range(cut_count):
        if (cuts[k, 0] == a and cuts[k, 1] == b) or (cuts[k, 0] == b and cuts[k, 1] == a):
            return cuts[k, 2], cut_count, corner_count
    c = corner_count
    share = corners[a, GAIN] / (corners[a, GAIN] - corners[b, GAIN])
    corners[c, X] = corners[a, X] + share * (corners[b, X] - corners[a, X])
    corners[c, Y] = corners[a, Y] + share * (corners[b, Y] - corners[a, Y])
    corners[c, BORDER] = _shared_side(corners, a, b, sides)
    # Both planes are equally far here; the one met less obliquely says how far with the smaller rounding error.
    steeper = row if columns[RECIPROCAL, row] < columns[RECIPROCAL, owner] else owner
    corners[c, T] = distance(columns, beam, steeper, corners[c, X], corners[c, Y])
    corners[c, T_RECIPROCAL] = columns[RECIPROCAL, steeper]
    corners[c, SIDE] = 0.0
    cuts[cut_count, 0], cuts[cut_count, 1], cuts[cut_count, 2] = a, b, c
    return c, cut_count + 1, corner_count + 1


@njit(in_place=True)
def _take(columns, corners, cells, edges, cuts, beam, row, count, corner_count, sides):
    """Give the plane in `row` the part of each of `count` cells where it is nearest.

    Returns the new numbers of cells and corners; -1 cells where the workspace is too small or rounding left the corners'
    sides in disorder.
    """
    cut_count, taken, pieces, kept = 0, 0, 0, 0
    work = cells.shape[0] - 1
    for c in range(count):
        size, won, lost, start = cells[c, SIZE], 0, 0, 0
        for k in range(size):
            side = corners[cells[c, LOOP + k], SIDE]
            if side < 0.0:
                won += 1
                start = k
            elif side > 0.0:
                lost += 1
        pieces += won > 0
        if size + LOOP + 3 > cells.shape[1] or taken + size + 2 > edges.shape[0]:
            return -1, corner_count
        if won > 0 and lost == 0:  # the whole cell goes to the new plane
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
                if corners[cells[c, LOOP + before], SIDE] > 0.0:
                    break
                start = before
            run, walk = 0, start
            while corners[cells[c, LOOP + walk], SIDE] <= 0.0:
                found += corners[cells[c, LOOP + walk], SIDE] < 0.0
                run += 1
                stop = walk
                walk = walk + 1 if walk + 1 < size else 0
            after = walk
            if found != won:
                return -1, corner_count
            begin, end = cells[c, LOOP + start], cells[c, LOOP + stop]
            first, last = 0, run  # of the run, what lies strictly between the two cuts
            if corners[begin, SIDE] < 0.0:
                begin, cut_count, corner_count = _cut_edge(
                    columns, corners, cuts, beam, cells[c, LOOP + before], begin, row, cells[c, ROW],
                    cut_count, corner_count, sides,
                )  # fmt: skip
            else:
                first = 1
            if corners[end, SIDE] < 0.0:
                end, cut_count, corner_count = _cut_edge(
                    columns, corners, cuts, beam, end, cells[c, LOOP + after], row, cells[c, ROW],
                    cut_count, corner_count, sides,
                )  # fmt: skip
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
            cells[kept, ROW] = cells[c, ROW]
        cells[kept, SIZE] = size
        kept += 1
    if pieces == 0:
        return kept, corner_count
    size = _outline(cells, edges, cuts, taken, pieces)
    if size < 3:
        return -1, corner_count
    for k in range(size):
        cells[kept, LOOP + k] = cells[work, LOOP + k]
    cells[kept, SIZE], cells[kept, ROW] = size, row
    return kept + 1, corner_count


@njit(in_place=True)
def _outline(cells, edges, cuts, taken, pieces):
    """Join the pieces that one plane took into one polygon, the last row of `cells`; returns its size, 0 if they don't join."""
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
            cuts[edges[e, 0], _AFTER] = edges[e, 1]
            start = edges[e, 0]
            left += 1
    if left + LOOP > cells.shape[1]:
        return 0
    size, walk = 0, start
    while size < left:
        cells[work, LOOP + size] = walk
        size += 1
        walk = cuts[walk, _AFTER]
        if walk == start:
            break
    return size if walk == start and size == left else 0


@njit(in_place=True)
def _begin(columns, corners, cells, beam, row, sides):
    """One cell, the whole polygon, of the plane in `row`; returns the number of cells, 1."""
    for v in range(sides):
        corners[v, T] = distance(columns, beam, row, corners[v, X], corners[v, Y])
        corners[v, T_RECIPROCAL] = columns[RECIPROCAL, row]
        corners[v, BORDER] = -1.0
        cells[0, LOOP + v] = v
    cells[0, SIZE], cells[0, ROW] = sides, row
    return 1


@njit(in_place=True)
def _put_in(columns, corners, cells, edges, cuts, beam, row, count, corner_count, sides, tolerance):
    """Let the plane in `row` take what it is nearest to; returns the new numbers of cells (-1: lost) and corners."""
    reciprocal = columns[RECIPROCAL, row]
    for v in range(corner_count):
        gain = distance(columns, beam, row, corners[v, X], corners[v, Y]) - corners[v, T]
        slack = tolerance * (reciprocal + corners[v, T_RECIPROCAL])
        corners[v, GAIN] = gain
        corners[v, SIDE] = -1.0 if gain < -slack else (1.0 if gain > slack else 0.0)
    old, fits = corner_count, count + 2 < cells.shape[0] and corner_count + 2 * count < corners.shape[0]
    count, corner_count = _take(columns, corners, cells, edges, cuts, beam, row, count if fits else 0, corner_count, sides)
    for v in range(old):
        if corners[v, SIDE] < 0.0:  # not T + GAIN: beside the T of a plane that the beam grazes the sum would be rounded
            corners[v, T] = distance(columns, beam, row, corners[v, X], corners[v, Y])
            corners[v, T_RECIPROCAL] = reciprocal
    return count if fits else -1, corner_count


@njit(in_place=True)
def split(columns, keys, corners, cells, edges, cuts, beam, sides, met, sloping, core2, tolerance):
    """Cut a beam's polygon by the facets it meets.

    Parameters
    ----------
    columns, keys, corners, cells, edges, cuts : the `Workspace`; the first `sides` rows of `corners` hold the polygon's X and
        Y, counter-clockwise.
    beam : o(x, y) = beam[0:3] + x beam[3:6] + y beam[6:9], direction beam[9:12].
    met : the row of the plane that the first corner's ray meets.
    sloping : see `StoneTable`. core2 : see `Rim`.
    tolerance : mm; a plane nearer by less than this, seen across the beam, wins nothing.

    Returns the number of cells (`polygon` reads one), or -1 where the workspace was too small or rounding left no consistent
    tiling; neither is known of any stone.
    """
    vx, vy, vz = beam[9], beam[10], beam[11]
    scale(columns, 0, sloping, vx, vy, vz)
    scale(columns, max(met, sloping), met + 1, vx, vy, vz)  # a side facet only once it is met
    count, corner_count, seen = _begin(columns, corners, cells, beam, met, sides), sides, 1
    while seen < corner_count and count >= 0:
        ox, oy, oz = ray_origin(beam, corners[seen, X], corners[seen, Y])
        # Is any plane nearer here than the cells say? Side facets are tested where the ray leaves outside the stone's core.
        t, slack = corners[seen, T], tolerance * corners[seen, T_RECIPROCAL]
        nearer = count_nearer(columns, 0, sloping, ox, oy, oz, t - slack - tolerance) > 0
        if nearer or leaves_core(ox, oy, t, vx, vy, core2):
            row, least = nearest_plane(columns, keys, sloping, ox, oy, oz, vx, vy, vz, core2)
            scale(columns, max(row, sloping), row + 1, vx, vy, vz)
            if t - least > slack + tolerance * columns[RECIPROCAL, row]:
                count, corner_count = _put_in(
                    columns, corners, cells, edges, cuts, beam, row, count, corner_count, sides, tolerance
                )
        seen += 1
    return count


@njit(in_place=True)
def polygon(corners, cells, cell, sides, x, y):
    """Write a cell's corners to x and y, without those that other cells' cuts left on a straight side; returns how many."""
    size, kept = cells[cell, SIZE], 0
    for k in range(size):
        v = cells[cell, LOOP + k]
        if v >= sides and corners[v, BORDER] >= 0.0:
            before = cells[cell, LOOP + (k - 1 if k > 0 else size - 1)]
            after = cells[cell, LOOP + (k + 1 if k + 1 < size else 0)]
            side = int(corners[v, BORDER])
            if _shared_side(corners, before, v, sides) == side and _shared_side(corners, v, after, sides) == side:
                continue
        x[kept], y[kept] = corners[v, X], corners[v, Y]
        kept += 1
    return kept
