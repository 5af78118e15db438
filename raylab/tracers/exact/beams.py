"""What the exact tracer gives: the virtual facets, polygons with their ledgers, their sums and their pixels."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ...errors import InputError
from ...scene.pixel_grid import PixelGrid
from ...stopping import pause
from ..ledger import CHANNELS, ON_POLYGONS, SOURCE_X, SOURCE_Y
from ..shared_symmetry import Symmetry
from ..totals import MOMENTS, Totals
from .pixel_coverage import rasterize
from .tail import Tail


@dataclass(frozen=True, eq=False)
class Beams:
    """The virtual facets of a stone: polygons that tile its outline as seen, each with the full ledger of every ray in it.

    Attributes
    ----------
    vertices_mm : (K, 2) the polygons' corners end to end, counter-clockwise, on the map plane. starts : (L + 1,) polygon k
        has the corners starts[k] to starts[k + 1].
    areas_mm2 : (L,). rows : (L, ON_POLYGONS) ledger rows, see `ledger`; in a tinted stone means over each polygon.
    moments : (L, 4) means over each polygon of what `totals` has after the channels: the squares of luminance, untraced weight
        and swing, and the weight that was left inside before it met a facet there.
    leaves : (L,) each polygon's node; empty if paths were not kept. nodes : (N, 2) a path as a chain of nodes: the number
        of the node before (-1: none) and the facet met; the first is the entry.
    strongest : (L,) the node at which the largest single weight of the polygon was booked, empty if paths were not kept:
        where the most left or was scattered at once, or the last node if more is untraced.
    strongest_entry : (L,) under which ledger entry that was (SKY, HEAD, LEAK, SCATTERED or UNTRACED of `ledger`).
    copy_of : (L,) the symmetry copy a polygon is, see `Symmetry`; zeros before `unfolded`.
    symmetry : what the polygons stand for. Where it is more than the identity they tile one wedge.
    through : (F, ON_POLYGONS) which facet let it out: area means over the whole outline of what left through each facet of the
        stone or was scattered there, the first surface's reflection at the facet that reflected it. Summed over facets it is
        the ledger's mean but for `absorbed` and `untraced`.
    tail : what the light that waits is estimated to add, see `tail`.
    pieces : beam pieces reflected. rounds : how often the floor was lowered. lost : beams that rounding left without a
        consistent tiling and that were booked as untraced; 0 in all our tests. full : True if `max_beams` ended the work.
    """

    vertices_mm: np.ndarray
    starts: np.ndarray
    areas_mm2: np.ndarray
    rows: np.ndarray
    moments: np.ndarray
    leaves: np.ndarray
    nodes: np.ndarray
    strongest: np.ndarray
    strongest_entry: np.ndarray
    copy_of: np.ndarray
    symmetry: Symmetry
    through: np.ndarray
    tail: Tail
    pieces: int
    rounds: int
    lost: int
    full: bool

    def __len__(self) -> int:
        return len(self.areas_mm2)

    @property
    def copies(self) -> int:
        """How many images of the polygons the outline holds."""
        return len(self.symmetry.maps)

    @property
    def area_mm2(self) -> float:
        """Area of the outline as seen, mm^2."""
        return float(self.areas_mm2.sum()) * self.copies

    @cached_property
    def polygon_means(self) -> tuple[np.ndarray, np.ndarray]:
        """(MOMENTS,) area means over the outline of what polygons found; (2, 2) the mean of `Symmetry.maps`."""
        share = self.areas_mm2 / self.areas_mm2.sum()
        mean = np.zeros(MOMENTS)
        # Not by matrix product: BLAS adds in an order that hangs on its number of threads.
        mean[:ON_POLYGONS] = np.multiply(self.rows.T, share, order="C").sum(axis=1)
        over_copies = self.symmetry.maps.mean(axis=0)
        mean[SOURCE_X : SOURCE_Y + 1] = over_copies @ mean[SOURCE_X : SOURCE_Y + 1]
        mean[CHANNELS:] = np.multiply(self.moments.T, share, order="C").sum(axis=1)
        return mean, over_copies

    @cached_property
    def totals(self) -> Totals:
        """Area means over the outline: what polygons found, exactly, and what the tail is estimated to add."""
        mean, over_copies = self.polygon_means
        turned = np.eye(MOMENTS)
        turned[SOURCE_X : SOURCE_Y + 1, SOURCE_X : SOURCE_Y + 1] = over_copies
        covariance = turned @ self.tail.covariance @ turned.T
        return Totals(self.area_mm2, mean, covariance, turned @ self.tail.mean)

    def with_tail(self, tail: Tail) -> Beams:
        """The same polygons with another estimate of what waits."""
        made = replace(self, tail=tail)
        made.__dict__["polygon_means"] = self.polygon_means  # what the cached property would compute once more
        return made

    @cached_property
    def first(self) -> np.ndarray:
        """(L,) the node at which each polygon's path enters. Raises InputError if paths were not kept."""
        self._need_paths()
        before = np.where(self.nodes[:, 0] >= 0, self.nodes[:, 0], np.arange(len(self.nodes)))
        while not np.array_equal(further := before[before], before):  # each time twice as far back
            before = further
        return before[self.leaves]

    @property
    def entries(self) -> np.ndarray:
        """(L,) the facet through which the eye sees each polygon. Raises InputError if paths were not kept."""
        return self.symmetry.facets[self.copy_of, self.nodes[self.first, 1]]

    def _need_paths(self) -> None:
        if not len(self.leaves):
            raise InputError("paths were not kept", key="keep_paths", value=False, expected="True")

    def path(self, polygon: int) -> list[int]:
        """Facet numbers that a polygon's rays meet, the entry first. Raises InputError if paths were not kept."""
        self._need_paths()
        facets, node = [], int(self.leaves[polygon])
        while node >= 0:
            before, facet = self.nodes[node]
            facets.append(int(self.symmetry.facets[self.copy_of[polygon], facet]))
            node = int(before)
        return facets[::-1]

    def unfolded(self) -> Beams:
        """The same with every symmetry copy written out, so that the polygons tile the whole outline."""
        if self.copies == 1:
            return self
        count, sources = np.diff(self.starts), slice(SOURCE_X, SOURCE_Y + 1)
        backward = np.repeat(self.starts[:-1] + self.starts[1:], count) - 1 - np.arange(len(self.vertices_mm))
        corners, rows = np.empty((self.copies, *self.vertices_mm.shape)), np.empty((self.copies, *self.rows.shape))
        for copy, matrix in enumerate(self.symmetry.maps):
            pause()
            moved = self.vertices_mm @ matrix.T
            corners[copy] = moved if np.linalg.det(matrix) > 0.0 else moved[backward]
            rows[copy] = self.rows
            rows[copy, :, sources] = self.rows[:, sources] @ matrix.T
        return replace(
            self,
            vertices_mm=corners.reshape(-1, 2),
            starts=np.concatenate([[0], np.cumsum(np.tile(count, self.copies))]),
            areas_mm2=np.tile(self.areas_mm2, self.copies),
            rows=rows.reshape(-1, rows.shape[2]),
            moments=np.tile(self.moments, (self.copies, 1)),
            leaves=np.tile(self.leaves, self.copies),
            strongest=np.tile(self.strongest, self.copies),
            strongest_entry=np.tile(self.strongest_entry, self.copies),
            copy_of=np.repeat(np.arange(self.copies), len(self)),
            # The copies stand for themselves now; `facets` still turns each one's path into its own facets.
            symmetry=Symmetry(np.eye(2)[None], self.symmetry.facets, np.empty((0, 2))),
        )

    def pixels(self, grid: PixelGrid) -> tuple[np.ndarray, np.ndarray]:
        """Exact maps: (ny, nx, ON_POLYGONS) sums over each pixel's covered part and (ny, nx) the covered share of it.

        The mean over the covered part is sums / coverage. In a tinted stone each polygon is drawn with its mean.
        """
        whole = self.unfolded()
        drawn = rasterize(whole.vertices_mm, whole.starts, whole.rows, grid)
        return drawn.sums, drawn.coverage

    def dominant(self, grid: PixelGrid) -> np.ndarray:
        """(ny, nx) number, among those of `unfolded`, of the polygon that covers most of each pixel; -1 for none."""
        whole = self.unfolded()
        return rasterize(whole.vertices_mm, whole.starts, np.empty((len(whole), 0)), grid).polygon
