"""The ledger: where the weight of a view ray goes.

A view ray is followed backwards from the eye. At the stone's surface part of it is reflected; the rest enters and runs
one path of internal reflections. At every hit what is transmitted leaves for good, because a convex body is never
entered again. Each entry is tallied where it happens; none is computed as a rest:

    sky        left above the girdle plane, outside the head's cone
    head       left into the head's cone: the observer sees himself, dark
    leak       left below the girdle plane
    absorbed   taken by the body colour, or by an inclusion
    scattered  met an absorbing facet, such as a bruted (rough) girdle
    untraced   still inside when the path was ended

They sum to one to rounding. The girdle plane is the stone's own and tilts with it; the head's cone stands about the
dome's axis and covers both sky and leak. Three parts of them are tallied beside the ledger:

    glare      the part of sky + head + leak that came off the first surface
    window     the part of leak that left without an internal reflection: the eye sees straight through the stone
    included   the part of absorbed that inclusions take; on each segment body colour comes first

Light that leaves within a rounding error of an edge is booked by one rule, see `lighting.dome`. How much of it there is, and
what the other bookings would give, stands beside the ledger:

    doubt      weight that rounding could book under another of sky, head and leak
    dimmer     by how much less the luminance could be
    brighter   by how much more

Per ray, a tracer fills one row of CHANNELS numbers, in the order below.
"""

from __future__ import annotations

import math

from ..jit import njit
from ..lighting.dome import MARGIN, sky_radiance

ENTRIES = ("sky", "head", "leak", "absorbed", "scattered", "untraced")

LUMINANCE, SKY, HEAD, LEAK, ABSORBED, SCATTERED, UNTRACED, GLARE = range(8)
SOURCE_X, SOURCE_Y, SOURCE_Z = 8, 9, 10  # sum of weight x outside direction, dome's frame
BOUNCES = 11  # sum of weight x number of internal reflections before leaving
WINDOW = 12
DOUBT, DIMMER, BRIGHTER = 13, 14, 15
INCLUDED = 16
CHANNELS = 17
MAPPED = DOUBT  # the channels before this one have maps of every stone; `included` has one where there are inclusions
ON_POLYGONS = INCLUDED  # the channels before this one are those of whole polygons, which no inclusion can meet
FIRST_SURFACE = -1.0
"""In place of a number of internal reflections."""
FIELDS = (
    "luminance",
    *ENTRIES,
    "glare",
    "source_x",
    "source_y",
    "source_z",
    "bounces",
    "window",
    "doubt",
    "dimmer",
    "brighter",
    "included",
)
"""Names of the channels, in their order."""


@njit(inline="always")
def entry_of_exit(z, w, head_cos):
    """HEAD, LEAK or SKY for what leaves along a unit direction: z its height in the stone's frame, w in the dome's.

    On the head's edge is inside it, on the girdle plane is above it.
    """
    if w >= head_cos - MARGIN:
        return HEAD
    return LEAK if z < -MARGIN else SKY


@njit(in_place=True)
def tally_glare(row, glare, x, y, z, turn, dome, cone):
    """Book `glare`, which the first surface reflects along (x, y, z); returns what `tally_exit` does."""
    return tally_exit(row, glare, x, y, z, FIRST_SURFACE, turn, dome, cone)


@njit(in_place=True)
def tally_exit(row, weight, x, y, z, bounces, turn, dome, cone):
    """Book `weight` that leaves the inside along the unit direction (x, y, z), stone's frame.

    Parameters
    ----------
    row : (CHANNELS,) numbers. bounces : internal reflections before; FIRST_SURFACE for what never was inside.
    turn : (3, 3) rotation from the stone's frame to the dome's. dome : a `DomeTable`.
    cone : solid angle, sr, for which this direction stands: none in a whole polygon under a parallel view, whose rays all
        leave alike.

    Returns
    -------
    entry : of the ledger. luminance, swing : for each unit of weight; swing is `dimmer` and `brighter` together.
    """
    entry, luminance, swing = _tally(row, weight, x, y, z, turn, dome, cone)
    if bounces < 0.0:
        row[GLARE] += weight
    else:
        row[BOUNCES] += weight * bounces
        if entry == LEAK and bounces == 0.0:
            row[WINDOW] += weight
    return entry, luminance, swing


@njit(in_place=True)
def _tally(row, weight, x, y, z, turn, dome, cone):
    """Book `weight` under its entry, with its luminance and direction; see `tally_exit`."""
    u = turn[0, 0] * x + turn[0, 1] * y + turn[0, 2] * z
    v = turn[1, 0] * x + turn[1, 1] * y + turn[1, 2] * z
    w = turn[2, 0] * x + turn[2, 1] * y + turn[2, 2] * z
    entry = entry_of_exit(z, w, dome.head_cos)
    if entry == HEAD:
        row[HEAD] += weight
    elif entry == LEAK:
        row[LEAK] += weight
    else:
        row[SKY] += weight
    on_head, on_plane = abs(w - dome.head_cos) <= MARGIN, abs(z) <= MARGIN
    doubtful = on_head or (on_plane and entry == SKY)
    luminance = low = high = sky = dimmest = brightest = 0.0
    if entry == SKY or (doubtful and z >= -MARGIN):
        sky, dimmest, brightest = sky_radiance(u, v, w, dome, cone)
    if entry == LEAK:
        luminance = low = high = dome.tray
    elif entry == SKY:
        luminance, low, high = sky, dimmest, brightest
    if doubtful:
        row[DOUBT] += weight
        low, high = _bounds_on_an_edge(on_head, z, dome.tray, dimmest, brightest)
    row[LUMINANCE] += weight * luminance
    swing = 0.0
    if low < luminance:
        row[DIMMER] += weight * (luminance - low)
        swing += luminance - low
    if high > luminance:
        row[BRIGHTER] += weight * (high - luminance)
        swing += high - luminance
    row[SOURCE_X] += weight * u
    row[SOURCE_Y] += weight * v
    row[SOURCE_Z] += weight * w
    return entry, luminance, swing


@njit(inline="always")
def _bounds_on_an_edge(on_head, z, tray, dimmest, brightest):
    """The smallest and the largest luminance of what leaves on the edge of the head or in the girdle plane, per weight.

    z : height of the direction in the stone's frame. tray : the tray's radiance. dimmest, brightest : bounds on the sky's.
    """
    low, high = math.inf, -math.inf
    if on_head:
        low = high = 0.0
    if z <= MARGIN:
        low, high = min(low, tray), max(high, tray)
    if z >= -MARGIN:
        low, high = min(low, dimmest), max(high, brightest)
    return low, high
