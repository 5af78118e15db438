"""One ray at one surface: what is reflected, what is refracted, and how the polarization turns.

All functions here take plain numbers and return tuples of plain numbers, and know neither arrays nor stones. The loops of the
sampled and the exact tracer call them. The reference tracer shares none of them.

Letters: v is the ray's unit direction and n the facet's outward unit normal, each as three numbers. A ray that comes from
outside runs against n, a ray inside runs along n. The polarization is the Stokes row (I, Q, U, V) of `optics.fresnel`, and e
is the unit vector across v from which its Q and U are measured. Vectors are right-handed: s = v x n, p = s x v.
"""

from __future__ import annotations

import math

from ..jit import njit
from ..optics.fresnel import STEADY, interface


@njit(inline="always")
def axis_across(vx, vy, vz):
    """Some unit vector across v."""
    lies = abs(vx) < 0.5
    ex, ey, ez = 0.0 if lies else -vz, vz if lies else 0.0, -vy if lies else vx
    norm = 1.0 / math.sqrt(ex * ex + ey * ey + ez * ez)
    return ex * norm, ey * norm, ez * norm


@njit(inline="always")
def axis_of_incidence(vx, vy, vz, nx, ny, nz, ex, ey, ez):
    """The unit vector s across the plane of incidence; e where v runs along n, so that every plane is one of incidence."""
    sx, sy, sz = vy * nz - vz * ny, vz * nx - vx * nz, vx * ny - vy * nx
    sine2 = sx * sx + sy * sy + sz * sz
    oblique = sine2 >= STEADY
    norm = 1.0 / math.sqrt(sine2 if oblique else 1.0)
    return sx * norm if oblique else ex, sy * norm if oblique else ey, sz * norm if oblique else ez


@njit(inline="always")
def rotate_stokes(q, u, vx, vy, vz, ex, ey, ez, sx, sy, sz):
    """Q and U of a ray along v, measured from the axis s instead of the axis e."""
    cos = ex * sx + ey * sy + ez * sz
    sin = (ey * vz - ez * vy) * sx + (ez * vx - ex * vz) * sy + (ex * vy - ey * vx) * sz
    cos2, sin2 = cos * cos - sin * sin, 2.0 * cos * sin
    return cos2 * q + sin2 * u, cos2 * u - sin2 * q


@njit(inline="always")
def enter(vx, vy, vz, nx, ny, nz, index, polarized):
    """Unpolarized light of power 1 meets a surface of a medium of refractive index `index` from outside.

    Returns
    -------
    glare : reflected power. rx, ry, rz : its direction.
    i, q : Stokes numbers of what enters; u and v are 0. tx, ty, tz : its direction. ex, ey, ez : the axis of q.
    cos_i, cos_t : cosines of incidence and refraction.
    """
    cos_i = -(nx * vx + ny * vy + nz * vz)
    cos_i = cos_i if cos_i < 1.0 else 1.0
    glare, _, _, _, i, q, cos_t = interface(cos_i, 1.0 / index)
    bend = cos_i / index - cos_t
    ax, ay, az = axis_across(vx, vy, vz)
    ex, ey, ez = axis_of_incidence(vx, vy, vz, nx, ny, nz, ax, ay, az)
    return (
        glare,
        vx + 2.0 * cos_i * nx,
        vy + 2.0 * cos_i * ny,
        vz + 2.0 * cos_i * nz,
        i,
        q if polarized else 0.0,
        vx / index + bend * nx,
        vy / index + bend * ny,
        vz / index + bend * nz,
        ex,
        ey,
        ez,
        cos_i,
        cos_t,
    )


@njit(inline="always")
def interact(vx, vy, vz, nx, ny, nz, index, i, q, u, v, ex, ey, ez, polarized):
    """A ray inside a medium of refractive index `index` meets its surface. Written without branches, for vector code.

    Returns
    -------
    leaves : transmitted power, 0 at total reflection. tx, ty, tz : its direction.
    i, q, u, v : Stokes numbers of what is reflected. rx, ry, rz : its direction. ex, ey, ez : the axis of q and u.
    """
    cos_i = nx * vx + ny * vy + nz * vz
    cos_i = cos_i if cos_i < 1.0 else 1.0
    a, b, c, d, ta, tb, cos_t = interface(cos_i, index)
    if polarized:
        sx, sy, sz = axis_of_incidence(vx, vy, vz, nx, ny, nz, ex, ey, ez)
        q, u = rotate_stokes(q, u, vx, vy, vz, ex, ey, ez, sx, sy, sz)
        ex, ey, ez = sx, sy, sz
    bend = cos_t - index * cos_i
    return (
        ta * i + tb * q,
        index * vx + bend * nx,
        index * vy + bend * ny,
        index * vz + bend * nz,
        a * i + b * q,
        b * i + a * q if polarized else 0.0,
        c * u - d * v,
        c * v + d * u,
        vx - 2.0 * cos_i * nx,
        vy - 2.0 * cos_i * ny,
        vz - 2.0 * cos_i * nz,
        ex,
        ey,
        ez,
    )


@njit(inline="always")
def cone_inside(cone, cos_i, cos_t):
    """Solid angle, sr, times index squared of a cone of directions `cone`, sr, that enters under these cosines."""
    return cone * cos_i / cos_t


@njit(inline="always")
def cone_outside(cone, cos_i, cos_t):
    """Solid angle, sr, of a cone that leaves under these cosines; inside it is `cone` over index squared. At most 2 pi."""
    return 2.0 * math.pi if cone * cos_i >= 2.0 * math.pi * cos_t else cone * cos_i / cos_t
