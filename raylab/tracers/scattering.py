"""Light that a facet scatters: random directions, and what came by scattering, tallied beside the ledger.

A scattered ray goes on in one direction, drawn by numbers that depend on nothing but the seed, the ray's key and how many
facets it met before. Light that a Lambertian facet scatters is unpolarized; a rough facet is made of mirrors, see
`microfacets`.

The ledger's row of a ray in a stone that scatters is longer than others: by the part of the luminance and of each entry that
was booked after the ray's light was first scattered. While the ray is followed these columns hold what had been booked before.
"""

from __future__ import annotations

import math

import numpy as np

from ..jit import njit
from ..stone.finish import ABSORBS
from .keyed import keyed_uniform
from .ledger import CHANNELS, SCATTERED, UNTRACED, tally_glare
from .microfacets import seen_share, visible_normal
from .stone_table import StoneTable
from .surface import axis_across

PARTS = UNTRACED + 1
"""Channels whose part that came by scattering is kept: the luminance and the six entries."""
BY_SCATTERING = slice(CHANNELS, CHANNELS + PARTS)
"""These parts in a row."""
MET = CHANNELS + PARTS
"""Column that is 1 once the ray's light was scattered."""
SPREAD = MET + 1
"""Column of a row that is the mean of two: the square of half the difference of their luminances."""
WIDTH = SPREAD + 1

FIRST_AXIS = 8  # of random numbers; those before it place the view rays
FIRST_SURFACE = 0  # how many facets a ray met before it enters


def scatters(stone: StoneTable) -> bool:
    """Whether a facet's finish sends light on in random directions."""
    return bool((stone.finish > ABSORBS).any())


def settle(rows: np.ndarray) -> None:
    """Turn what `rows` (R, WIDTH) had before light was scattered into what came by scattering."""
    before = rows[:, BY_SCATTERING]
    rows[:, BY_SCATTERING] = np.where(rows[:, MET, None] > 0.0, rows[:, :PARTS] - before, 0.0)


@njit()
def remember(row):
    """Note in a ledger row (WIDTH,) what had been booked before the light was first scattered."""
    if row[MET] == 0.0:
        row[MET] = 1.0
        for channel in range(PARTS):
            row[CHANNELS + channel] = row[channel]


@njit(inline="always")
def random_pair(seed, key, met):
    """Two uniform numbers in [0, 1) for the facet that a ray of this key meets after `met` others."""
    return keyed_uniform(seed, key, met, FIRST_AXIS), keyed_uniform(seed, key, met, FIRST_AXIS + 1)


@njit()
def cosine_about(nx, ny, nz, seed, key, met):
    """A random unit direction about the unit vector n, by the cosine law: uniform over the disc below the hemisphere.

    The azimuth counts from `axis_across` n, right-handed about n. `met` is how many facets the ray of this key met before.
    """
    first, second = random_pair(seed, key, met)
    out, up, angle = math.sqrt(first), math.sqrt(1.0 - first), 2.0 * math.pi * second
    x, y = out * math.cos(angle), out * math.sin(angle)
    ax, ay, az = axis_across(nx, ny, nz)
    bx, by, bz = ny * az - nz * ay, nz * ax - nx * az, nx * ay - ny * ax
    return x * ax + y * bx + up * nx, x * ay + y * by + up * ny, x * az + y * bz + up * nz


@njit()
def microfacet(vx, vy, vz, nx, ny, nz, roughness, seed, key, met):
    """The normal, on the side of n, of the mirror that a ray along v meets on a rough facet; it runs against n."""
    first, second = random_pair(seed, key, met)
    return visible_normal(-vx, -vy, -vz, nx, ny, nz, roughness, first, second)


@njit()
def shadowed(ledger, reflected, passed, cos_reflected, cos_passed, roughness, stands):
    """The shares of what a mirror reflects and lets pass that leave a rough facet at these cosines from it.

    The light that doesn't is booked in `ledger` (WIDTH,) as untraced, `stands` times.
    """
    remember(ledger)
    reflects, passes = seen_share(cos_reflected, roughness), seen_share(cos_passed, roughness)
    ledger[UNTRACED] += stands * (reflected * (1.0 - reflects) + passed * (1.0 - passes))
    return reflects, passes


@njit()
def meet_outside(ledger, row, stone, dome, turn, seed, key):
    """A view ray meets an absorbing or a Lambertian facet from outside: all its light is booked in `ledger`, a row."""
    if stone.finish[row] == ABSORBS:
        ledger[SCATTERED] += 1.0
        return
    albedo = stone.amount[row]
    ledger[SCATTERED] += 1.0 - albedo
    remember(ledger)
    x, y, z = cosine_about(stone.planes[row, 0], stone.planes[row, 1], stone.planes[row, 2], seed, key, FIRST_SURFACE)
    tally_glare(ledger, albedo, x, y, z, turn, dome, 0.0)
