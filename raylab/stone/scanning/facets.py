"""Facet planes of a scanned convex stone: patches first, then planes, then only those that the surface needs.

1. The noise: from points of neighbouring triangles, then from the patches themselves, climbing until both agree (`noise`).
2. Patches of one plane (`patches`). Largest first, a patch's plane is taken up if the surface is clearly better explained
   with it than without (`candidates`).
3. Alternately points to planes and planes to points (`refining`, `plane_fit`), leaving out planes that the surface can do
   without, and rearranging those that stand in each other's way (`moves`).
4. The girdle as a whole, where its flats can't be found one by one (`girdle_search`, `girdle_fit`, with `walls` and
   `smooth_girdle`); once more with better planes of crown and pavilion, and without planes that may only stand in for walls.
5. Planes of few points, each sought anew from starts that depend on no plane (`anew`).
6. Facets whose points are not surely theirs (`few_points`), and errors of those whose points scatter more than the noise.

The measure of all choices is one sum: over the surface's points the squared height above the envelope of the planes in
noise variances, each at most `CUTOFF` squared so that a chip counts as unexplained and no more; plus `NEEDED` for each plane.
Where edges are rounded by polishing or blurred by the scanner, the choices are made with a noise as large as that shows them
too deep, so that they are not cut up into facets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...errors import StoneError
from .candidates import MAX_FACETS, Candidates, Surface, patch_planes
from .envelope import Envelope, Planes, edge_rounding, envelope
from .few_points import averaged
from .girdle_fit import Girdle, bent, may_bend
from .girdle_search import State, with_few_anew, with_girdle, without_bevels
from .mesh import Mesh
from .noise import ENOUGH, LEAST_NOISE_MM, by_own_scatter, patches_and_noise, pooled_noise, redundancy
from .plane_fit import EDGE_MM
from .refining import only_needed

EDGE_NOISE = 0.2
"""Noise with which planes are chosen, as a share of the half-width of rounded edges. An edge of 50 degrees (crown to girdle)
lies too deep by about half of that."""


@dataclass(frozen=True)
class Found:
    """The `planes` of the facets, where the mesh's vertices lie under them, the `noise` (mm) of the vertices, the half-width
    `rounding` (mm) of rounded edges, and the girdle as it was fitted (None where there is none)."""

    planes: Planes
    under: Envelope
    noise: float
    noise_known: bool
    rounding: float
    girdle: Girdle | None


def find_facets(mesh: Mesh, noise_mm: float | None) -> Found:
    """The planes of a mesh's facets; the vertices' noise (mm) is estimated where it is not given.

    Raises StoneError where the surface is not made of planes.
    """
    patches, noise, least = patches_and_noise(mesh, noise_mm)
    if noise_mm is None and noise < LEAST_NOISE_MM:  # convex as it stands: every patch is a facet, drawn without error
        planes = patch_planes(patches)
        if len(planes) > MAX_FACETS:
            raise StoneError("the surface is not faceted", value=len(planes), expected=f"at most {MAX_FACETS} facets")
        return Found(planes, envelope(mesh.vertices, planes), noise, bool((planes.count > 3).any()), 0.0, None)
    surface = Surface(mesh)
    candidates = Candidates(surface, patches)
    planes = candidates.taken_up(None, noise)
    rounding = edge_rounding(mesh.vertices, candidates.large(planes), noise)
    coarse = EDGE_NOISE * rounding
    planes = candidates.taken_up(None, max(noise, coarse)) if rounding else planes
    state = with_girdle(candidates, State(planes, None, np.zeros(3)), max(noise, coarse), noise)
    # the better crown and pavilion are known, the better the girdle's points
    for change in (with_girdle, without_bevels, with_few_anew):
        if noise_mm is None:
            noise = max(pooled_noise(state.planes), least)
        working = max(noise, coarse)
        state = min(state, change(candidates, state, working, noise), key=lambda one: one.cost(surface, working))
    fixed = len(state.planes) - state.free()
    state = state._replace(planes=only_needed(surface.points, state.planes, fixed, max(noise, coarse)))
    planes, girdle, up = state
    known = noise_mm is not None or redundancy(planes) >= ENOUGH
    under, by_flats = envelope(mesh.vertices, planes), girdle is None or girdle.kind == "flats"
    if not surface.drawn and not rounding:  # points at rounded edges are on no plane, those inside of triangles no measurements
        planes = averaged(mesh.vertices, planes, under, state.free(), noise)
        under = envelope(mesh.vertices, planes)
        stated = np.arange(len(planes)) >= state.free()  # what was fitted as a whole
        planes = by_own_scatter(planes, under, stated | (by_flats & may_bend(planes, up)), noise)
    if by_flats:
        planes = bent(mesh, planes, under, up, noise, EDGE_MM + rounding)
    return Found(planes, under, noise, known, rounding, girdle)
