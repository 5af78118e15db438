"""Rough facets: small mirrors whose normals scatter about the facet's own, by the GGX law.

Share of the surface per solid angle of normals m, at the angle t from the facet's normal, with the roughness a:

    D(m) = a^2 / (pi cos^4 t (a^2 + tan^2 t)^2),

and a direction at the angle t is seen by the share G = 2 / (1 + sqrt(1 + a^2 tan^2 t)) of the mirrors that face it (Smith).
Source: Walter, Marschner, Li and Torrance, Microfacet models for refraction through rough surfaces, EGSR 2007, equations 33
and 34; both directions of a reflection or refraction count by the product of their G (ibid., equation 23).

The ray's own direction w draws a mirror among those that it sees, by the density G(w) (w.m) D(m) / (w.n) (Heitz, Sampling the
GGX distribution of visible normals, JCGT 7(4) (2018) 1, from memory): the mirrors are stretched to a half ball, which is seen
from w as a half disc and a half ellipse. At this mirror light is reflected and refracted as at a polished facet, polarization
included. What leaves along a direction o counts by the weight G(o), for the rest of the integrand is the density; so there is
no factor n^2 but the one that a polished facet has. The share 1 - G(o) meets the surface again. Where it goes is not followed
(single scattering): it is booked as untraced, and so is what would run through the facet's plane.
"""

from __future__ import annotations

import math

from ..jit import njit
from .surface import axis_across


@njit(inline="always")
def seen_share(cosine, roughness):
    """Smith's G of a direction at this cosine from the facet's normal; 0 for one behind the facet."""
    if cosine <= 0.0:
        return 0.0
    return 2.0 / (1.0 + math.sqrt(1.0 + roughness * roughness * (1.0 - cosine * cosine) / (cosine * cosine)))


@njit()
def visible_normal(wx, wy, wz, nx, ny, nz, roughness, first, second):
    """The normal of a mirror that the unit direction w sees on a facet with the normal n; w.n > 0, and so is w.m.

    `first` and `second` are uniform in [0, 1). Azimuths count from `axis_across` n, right-handed about n.
    """
    ax, ay, az = axis_across(nx, ny, nz)
    bx, by, bz = ny * az - nz * ay, nz * ax - nx * az, nx * ay - ny * ax
    # w in the facet's axes, stretched so that the mirrors are a half ball, and two axes across it
    x = roughness * (wx * ax + wy * ay + wz * az)
    y = roughness * (wx * bx + wy * by + wz * bz)
    z = wx * nx + wy * ny + wz * nz
    norm = math.sqrt(x * x + y * y + z * z)
    x, y, z = x / norm, y / norm, z / norm
    flat = math.sqrt(x * x + y * y)
    ux, uy = (-y / flat, x / flat) if flat > 0.0 else (1.0, 0.0)
    vx, vy, vz = -z * uy, z * ux, x * uy - y * ux
    # a point of the disc, of which the side below the equator is squeezed to what is seen of it
    radius, angle = math.sqrt(first), 2.0 * math.pi * second
    u, v = radius * math.cos(angle), radius * math.sin(angle)
    whole = math.sqrt(1.0 - u * u)
    v = 0.5 * (1.0 - z) * whole + 0.5 * (1.0 + z) * v
    toward = math.sqrt(max(0.0, 1.0 - u * u - v * v))
    hx = roughness * (u * ux + v * vx + toward * x)
    hy = roughness * (u * uy + v * vy + toward * y)
    hz = max(v * vz + toward * z, 1e-300)
    norm = 1.0 / math.sqrt(hx * hx + hy * hy + hz * hz)
    hx, hy, hz = hx * norm, hy * norm, hz * norm
    return hx * ax + hy * bx + hz * nx, hx * ay + hy * by + hz * ny, hx * az + hy * bz + hz * nz
