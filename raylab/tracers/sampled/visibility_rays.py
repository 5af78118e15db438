"""View rays that leave in each voxel on their way what an absorber there would take from the face.

A ray from the eye runs through the stone in segments, as in `packets`: it carries the weight w along a segment, and L is the
luminance of all that leaves at the segment's end and later. A speck of cross-section s in a segment blocks the part of the face
that is seen through it, and takes from it w of the light and L of the luminance. The ray stands for a small area of the face,
so what a speck blocks in a voxel is, on average over its places there, the area times the length of the segment in the voxel,
over the voxel's volume, times s.

Light that hardly counts is followed by lot: a path that carries less than FAINT goes on with the chance of its weight over
FAINT, and then stands for as many as to carry FAINT. So no light is left untraced, and sums have no bias.

Per voxel these sums are kept, each over all segments, mm^2 of the face times mm:

    IMAGES  length times the cross-section of the beam inside, from segments with w of at least FAINT
    AREA    length times area on the map, from the same segments
    TAKEN   length times area times w
    LOST    length times area times L

The cross-section inside follows from the facet of entry: cos(refraction)/cos(incidence) of that outside. The rays of a
perspective view spread: the beam's two widths grow along the path as from the distances n D and n D cos^2 t/cos^2 i, with the
distance D of the eye (Coddington's equations for a plane surface, from memory; checked by a test against neighbouring rays).
"""

from __future__ import annotations

import math

import numpy as np

from ...jit import njit
from ...stone.finish import ABSORBS
from ..facet_search import entry_row
from ..keyed import keyed_uniform
from ..ledger import CHANNELS, LUMINANCE, tally_exit, tally_glare
from ..surface import enter, interact
from ..voxels import clipped, first_border
from ..wedges import next_row

IMAGES, AREA, TAKEN, LOST = range(4)
SUMS = 4
FAINT = 0.01
"""A segment that carries less of its ray shows no image of what it crosses."""
FACE_AREA, FACE_LUMINANCE = range(2)
"""Totals of the rays: area that they stand for where they meet the stone, mm^2, and luminance times this area."""

# Columns of a path's segments: start, direction, length, weight where it begins, for how many rays it stands, luminance of what
# leaves at its end (at last: from there on), distance along the path, mm.
_X, _Y, _Z, _VX, _VY, _VZ, _LENGTH, _WEIGHT, _STANDS, _LIGHT, _ALONG = range(11)
_LOT = 5  # the axis of keys of lots, which nothing else uses


@njit(nogil=True)
def leave_in_voxels(origins, directions, spread, area, stone, wedges, dome, turn, rules, key, grid, sums, totals):
    """Follow view rays and add what they leave to `sums` (voxels, SUMS) and to `totals` (2,).

    Parameters
    ----------
    origins, directions : (R, 3) mm outside the stone, and unit vectors, stone's frame.
    spread : (R,) solid angle, sr, of the rays through 1 mm^2 of the map plane; 0 in a parallel view.
    area : mm^2 of the map plane that each ray stands for.
    stone, wedges : a `StoneTable` whose facets are polished or absorb, and its `Wedges`. dome : a `DomeTable`.
    turn : (3, 3) rotation from the stone's frame to the dome's. rules : `PathRules`.
    key : the lots of ray r are keyed by the seed of the rules and key + r.
    grid : a `VoxelGrid`.
    """
    planes, finish = stone.planes, stone.finish
    spans, nearby, reach = wedges
    core2, far2, height, starts, listed = stone.rim
    index, absorption, polarized = stone.medium.n, stone.medium.absorption_per_mm, rules.polarized
    most, path, ledger = rules.max_bounces, np.empty((rules.max_bounces + 1, 11)), np.zeros(CHANNELS)
    for r in range(origins.shape[0]):
        x, y, z = origins[r, 0], origins[r, 1], origins[r, 2]
        vx, vy, vz = directions[r, 0], directions[r, 1], directions[r, 2]
        row, t = entry_row(planes, planes.shape[0], x, y, z, vx, vy, vz)
        if row < 0:
            continue
        totals[FACE_AREA] += area
        if finish[row] == ABSORBS:
            continue
        x, y, z = x + t * vx, y + t * vy, z + t * vz
        nx, ny, nz = planes[row, 0], planes[row, 1], planes[row, 2]
        glare, rx, ry, rz, i, q, vx, vy, vz, ex, ey, ez, cos_i, cos_t = enter(vx, vy, vz, nx, ny, nz, index, polarized)
        ledger[LUMINANCE] = 0.0
        tally_glare(ledger, glare, rx, ry, rz, turn, dome, 0.0)
        light, along, u, v, count, stands = ledger[LUMINANCE], 0.0, 0.0, 0.0, 0, 1.0
        beam, sagittal, tangential = cos_t / cos_i, 0.0, 0.0
        if spread[r] > 0.0:
            beam *= spread[r] * t * t
            sagittal, tangential = 1.0 / (index * t), (cos_i / cos_t) ** 2 / (index * t)
        while count <= most:
            row, t = next_row(planes, spans, nearby, reach, core2, far2, height, starts, listed, row, x, y, z, vx, vy, vz)
            if row < 0:
                break
            step = path[count]
            step[_X], step[_Y], step[_Z], step[_VX], step[_VY], step[_VZ] = x, y, z, vx, vy, vz
            step[_LENGTH], step[_WEIGHT], step[_STANDS], step[_LIGHT], step[_ALONG] = t, i, stands, 0.0, along
            count, along = count + 1, along + t
            if finish[row] == ABSORBS:
                break
            if absorption > 0.0:
                left = math.exp(-absorption * t)
                i, q, u, v = left * i, left * q, left * u, left * v
            x, y, z = x + t * vx, y + t * vy, z + t * vz
            nx, ny, nz = planes[row, 0], planes[row, 1], planes[row, 2]
            weight, tx, ty, tz, i, q, u, v, vx, vy, vz, ex, ey, ez = interact(
                vx, vy, vz, nx, ny, nz, index, i, q, u, v, ex, ey, ez, polarized
            )
            if weight > 0.0:
                ledger[LUMINANCE] = 0.0
                tally_exit(ledger, weight, tx, ty, tz, count - 1.0, turn, dome, 0.0)
                step[_LIGHT] = stands * ledger[LUMINANCE]
            if i * stands < FAINT:
                if not keyed_uniform(rules.seed, key + r, count, _LOT) * FAINT < i * stands:
                    break
                stands = FAINT / i
        later = 0.0
        for k in range(count - 1, -1, -1):
            later += path[k, _LIGHT]
            path[k, _LIGHT] = later
        totals[FACE_LUMINANCE] += area * (light + later)
        for k in range(count):
            _leave(path[k], area, area * beam, sagittal, tangential, absorption, grid, sums)


@njit()
def _leave(step, area, beam, sagittal, tangential, absorption, grid, sums):
    """Add a segment `step` (11,) of a path to the voxels that it runs through.

    Parameters
    ----------
    area : of the map, mm^2. beam : its cross-section inside where it enters, mm^2. sagittal, tangential : growth of its two
        widths along the path, 1/mm.
    """
    px, py, pz = (step[_X] - grid.x0) / grid.dx, (step[_Y] - grid.y0) / grid.dy, (step[_Z] - grid.z0) / grid.dz
    vx, vy, vz = step[_VX] / grid.dx, step[_VY] / grid.dy, step[_VZ] / grid.dz
    t, end = clipped(px, vx, 0.0, float(grid.nx), 0.0, step[_LENGTH])
    t, end = clipped(py, vy, 0.0, float(grid.ny), t, end)
    t, end = clipped(pz, vz, 0.0, float(grid.nz), t, end)
    if not t < end:
        return
    ny, nz = grid.ny, grid.nz
    i = min(max(int(px + t * vx), 0), grid.nx - 1)
    j = min(max(int(py + t * vy), 0), ny - 1)
    k = min(max(int(pz + t * vz), 0), nz - 1)
    (tx, wx), (ty, wy), (tz, wz) = first_border(px, vx, i), first_border(py, vy, j), first_border(pz, vz, k)
    weight, stands, lost, along = step[_WEIGHT], step[_STANDS], area * step[_LIGHT], step[_ALONG]
    while t < end:
        leaves = min(min(tx, ty), min(tz, end))
        length, middle = max(leaves - t, 0.0), 0.5 * (t + leaves)
        voxel = (i * ny + j) * nz + k
        carried = weight * math.exp(-absorption * middle) if absorption > 0.0 else weight
        if carried >= FAINT:
            far = along + middle
            sums[voxel, IMAGES] += length * beam * (1.0 + sagittal * far) * (1.0 + tangential * far)
            sums[voxel, AREA] += length * area
        sums[voxel, TAKEN] += length * area * stands * carried
        sums[voxel, LOST] += length * lost
        t = max(leaves, t)
        if tx <= leaves:
            i, tx = i + (1 if vx > 0.0 else -1), tx + wx
            if i < 0 or i >= grid.nx:
                return
        if ty <= leaves:
            j, ty = j + (1 if vy > 0.0 else -1), ty + wy
            if j < 0 or j >= ny:
                return
        if tz <= leaves:
            k, tz = k + (1 if vz > 0.0 else -1), tz + wz
            if k < 0 or k >= nz:
                return
