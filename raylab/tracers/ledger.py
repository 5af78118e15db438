"""The ledger: where the weight of a view ray goes.

A view ray is followed backwards from the eye. At the stone's surface part of it is reflected; the rest enters and runs
one path of internal reflections. At every hit what is transmitted leaves for good, because a convex body is never
entered again. Each entry is tallied where it happens; none is computed as a rest:

    sky        left above the girdle plane, outside the head's cone
    head       left into the head's cone: the observer sees himself, dark
    leak       left below the girdle plane
    absorbed   taken by the body colour
    scattered  met an absorbing facet, such as a bruted (rough) girdle
    untraced   still inside when the path was ended

They sum to one to rounding. The girdle plane is the stone's own and tilts with it; the head's cone stands about the
dome's axis and covers both sky and leak. `glare` is the part of sky + head + leak that came off the first surface.

Per ray, a tracer fills one row of CHANNELS numbers, in the order below.
"""

from __future__ import annotations

from ..jit import njit
from ..lighting.dome import sky_radiance

ENTRIES = ("sky", "head", "leak", "absorbed", "scattered", "untraced")

LUMINANCE, SKY, HEAD, LEAK, ABSORBED, SCATTERED, UNTRACED, GLARE = range(8)
SOURCE_X, SOURCE_Y, SOURCE_Z = 8, 9, 10  # sum of weight x outside direction, dome's frame
BOUNCES = 11  # sum of weight x number of internal reflections before leaving
CHANNELS = 12
FIELDS = ("luminance", *ENTRIES, "glare", "source_x", "source_y", "source_z", "bounces")
"""Names of the channels, in their order."""


@njit(inline="always")
def entry_of_exit(z, w, head_cos):
    """HEAD, LEAK or SKY for what leaves along a unit direction: z its height in the stone's frame, w in the dome's."""
    if w > head_cos:
        return HEAD
    return LEAK if z < 0.0 else SKY


@njit(inline="always")
def tally_exit(row, weight, x, y, z, bounces, turn, dome, cone=0.0):
    """Book `weight` that leaves along the unit direction (x, y, z), stone's frame; returns the entry it is booked under.

    Parameters
    ----------
    row : (CHANNELS,) numbers. bounces : internal reflections before.
    turn : (3, 3) rotation from the stone's frame to the dome's. dome : a `DomeTable`.
    cone : solid angle, sr, for which this direction stands: none in a whole polygon under a parallel view, whose rays all
        leave alike.
    """
    u = turn[0, 0] * x + turn[0, 1] * y + turn[0, 2] * z
    v = turn[1, 0] * x + turn[1, 1] * y + turn[1, 2] * z
    w = turn[2, 0] * x + turn[2, 1] * y + turn[2, 2] * z
    entry = entry_of_exit(z, w, dome.head_cos)
    row[entry] += weight
    if entry == LEAK:
        row[LUMINANCE] += weight * dome.tray
    elif entry == SKY:
        row[LUMINANCE] += weight * sky_radiance(u, v, w, dome, cone)
    row[SOURCE_X] += weight * u
    row[SOURCE_Y] += weight * v
    row[SOURCE_Z] += weight * w
    row[BOUNCES] += weight * bounces
    return entry
