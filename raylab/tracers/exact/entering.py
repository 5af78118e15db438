"""The first beams of a trace: one through each facet that faces the eye."""

from __future__ import annotations

import numpy as np

from ... import plane_geometry
from ...lighting.dome import DomeTable
from ...stone.stone import Stone
from ..ledger import ON_POLYGONS
from ..shared_symmetry import within
from ..stone_table import StoneTable
from . import beam_optics as optics
from .beam_batch import Batch


def near_the_origin(stone: Stone) -> tuple[Stone, np.ndarray]:
    """A stone that lies off the origin by more than its size, moved to its own middle, where numbers are finer; and the shift
    (3,), mm, that takes it back. Other stones as they are, shift 0."""
    middle = (stone.vertices_mm.min(axis=0) + stone.vertices_mm.max(axis=0)) / 2.0
    if np.linalg.norm(middle) <= stone.size_mm.max():
        return stone, np.zeros(3)
    return stone.moved(shift_mm=-middle), middle


def entering_beams(
    stone: Stone, table: StoneTable, sky: DomeTable, turn: np.ndarray, cuts: np.ndarray, polarized: bool
) -> Batch:
    """One beam through each facet that faces the eye, cut to the wedge.

    Parameters
    ----------
    turn : (3, 3) rotation from the stone's frame to the dome's. cuts : of the wedge, see `Symmetry`.
    """
    seen = np.ascontiguousarray((stone.vertices_mm @ turn.T)[:, :2])
    nothing = 1e-17 * float(stone.size_mm.max()) ** 2  # a sliver at a corner that a cut runs through
    body = stone.polyhedron
    reaching = stone.normals @ turn[2] > 0.0
    if len(cuts):  # few facets reach into a wedge: the others are left out all at once
        inside = (seen @ cuts.T > 0.0)[body.corners]
        full = np.flatnonzero(np.diff(body.starts))
        reaching[full] &= np.logical_or.reduceat(inside, body.starts[full]).all(axis=1)
    facets, polygons, areas = [], [], []
    for facet in np.flatnonzero(reaching).tolist():
        polygon = within(seen[body.loops[facet]], cuts)
        area = plane_geometry.area(polygon)
        if area > nothing:
            facets.append(facet)
            polygons.append(polygon)
            areas.append(area)
    count, sides = len(facets), np.array([len(polygon) for polygon in polygons])
    real = np.flatnonzero(table.facet >= 0)
    row_of = np.empty(len(stone), np.int64)
    row_of[table.facet[real]] = real
    beams, ledgers = np.empty((count, optics.WIDTH)), np.empty((count, ON_POLYGONS))
    optics.enter_beams(beams, ledgers, np.array(areas), row_of[facets], table, sky, turn, polarized)
    beams[:, optics.NODE] = beams[:, optics.STRONGEST_NODE] = np.arange(count)
    beams[:, optics.START], beams[:, optics.SIDES] = np.cumsum(sides) - sides, sides
    through = np.zeros((len(stone), ON_POLYGONS))
    through[facets] = beams[:, optics.AREA, None] * ledgers
    return Batch(
        beams,
        ledgers,
        np.ascontiguousarray(np.concatenate(polygons)),
        np.column_stack([np.full(count, -1), facets]).astype(np.int32),
        np.zeros((count, optics.EVENT)),
        pieces=0,
        lost=0,
        stopped=False,
        through=through,
    )
