"""Where a facet's light is seen: for every pixel, how much of its view ray meets a given facet.

The exact engine keeps each virtual facet's path as a chain of nodes. Along a chain all rays of a polygon share one
direction and one weight, so following each chain once, with the engine's own optics, gives the share of a ray that is still
inside when it meets a facet. Body colour is left out: it dims a path, but does not move it.
"""

from __future__ import annotations

import numpy as np

from ..jit import njit
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from ..stone.finish import ABSORBS
from ..tracers.exact.beam_optics import INTENSITY, WIDTH, enter_beam, reflect_beam
from ..tracers.exact.beams import Beams
from ..tracers.exact.pixel_coverage import rasterize
from ..tracers.ledger import CHANNELS
from ..tracers.stone_table import stone_table


@njit()
def _weights(nodes, row_of, stone, sky, turn, polarized):
    """(N,) the share of its view ray that meets the facet of each node; nodes (N, 2) come after the ones before them."""
    beams, ledger = np.zeros((len(nodes), WIDTH)), np.zeros(CHANNELS)
    weights = np.ones(len(nodes))
    for k in range(len(nodes)):
        before, row = nodes[k, 0], row_of[nodes[k, 1]]
        if before < 0:
            enter_beam(beams[k], ledger, row, stone, sky, turn, polarized)
            continue
        beams[k] = beams[before]
        weights[k] = beams[k, INTENSITY]
        if stone.finish[row] == ABSORBS:
            beams[k, INTENSITY] = 0.0
        else:
            n = stone.planes[row]
            reflect_beam(beams[k], n[0], n[1], n[2], n[3], stone.medium.n, polarized)
    return weights


@njit()
def _first_meeting(nodes, weights, facet):
    """(N,) the weight with which the chain up to each node first met `facet`; 0 where it never did."""
    met = np.zeros(len(nodes))
    for k in range(len(nodes)):
        before = nodes[k, 0]
        met[k] = met[before] if before >= 0 else 0.0
        if met[k] == 0.0 and nodes[k, 1] == facet:
            met[k] = weights[k]
    return met


def light_through(beams: Beams, facet: int, grid: PixelGrid, scene: Scene) -> np.ndarray:
    """(ny, nx) mean share of each pixel's view rays that meets `facet`: 1 where they enter through it, NaN off the stone.

    Parameters
    ----------
    beams : the virtual facets of the scene at its one wavelength, paths kept.
    """
    table = stone_table(scene.stone, scene.settings.wavelength_nm)
    row_of = np.argsort(table.facet)
    turn = np.ascontiguousarray(scene.view.rotation())
    weights = _weights(beams.nodes, row_of, table, scene.dome.table, turn, scene.settings.polarized)
    images = beams.symmetry.facets  # (copies, F): where each copy of the wedge has its facets
    shares = []
    for copy in range(len(images)):
        original = int(np.flatnonzero(images[copy] == facet)[0])
        shares.append(_first_meeting(beams.nodes, weights, original)[beams.leaves])
    whole = beams.unfolded()
    values = np.concatenate(shares)[:, None]
    drawn = rasterize(whole.vertices_mm, whole.starts, values, grid)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(drawn.coverage > 0.0, drawn.sums[:, :, 0] / drawn.coverage, np.nan)
