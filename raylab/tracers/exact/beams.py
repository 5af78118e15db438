"""The exact tracer: the finite list of polygons that the eye sees in a stone, the virtual facets.

Under a parallel view all rays that enter one facet travel in one direction, so whole polygons travel: each is cut by the
facets it meets and the pieces go on (beam splitting, Konoshonkin, Kustova & Borovoi, JQSRT 164 (2015) 175-183; written from
the physics). Polygons have no sampling noise. What is left inside when tracing stops is `untraced`, so each statistic
is a bracket that holds for certain; rays may estimate it.

    trace_beams      beams that enter (`entering`), rounds of work (`schedule`), the loop (`beam_kernel`) over batches
                     (`beam_batch`) and its parts: one beam and one facet (`beam_optics`, `nearest_plane`, `single_facet`),
                     cutting a polygon (`clipping`)
    wedge, tint      symmetry (`shared_symmetry`); body colour along whole polygons (`mean_transmission`)
    Rounds, Draws    how much work is enough (`enough`), and the estimate of what waits then (`tail`)
    Beams            the polygons, their sums, and their pixels (`pixel_coverage`)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numba
import numpy as np

from ...errors import InputError, UnsupportedScene
from ...jit import njit
from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ...stopping import pause
from ...units import whole_in
from ..goal import Goal
from ..ledger import BRIGHTER, CHANNELS, DIMMER, LUMINANCE, ON_POLYGONS, SOURCE_X, SOURCE_Y, UNTRACED
from ..shared_symmetry import Symmetry, find_symmetry, no_symmetry
from ..stone_table import stone_table
from ..totals import MOMENTS, Totals
from . import beam_optics as optics
from .beam_batch import Batch, Rules, Surroundings
from .enough import Stop, work_until_enough
from .entering import entering_beams, near_the_origin
from .mean_transmission import book_means
from .nearest_plane import padded
from .pixel_coverage import rasterize
from .schedule import Rounds
from .single_facet import neighbor_planes
from .tail import NO_TAIL, Draws, Tail, tail_of

NAME = "beams"
"""What this engine is called in the table."""
TOLERANCE = 1e-12
"""Share of the stone's size by which a cut may be off; see `clipping`."""
MAX_BEAMS = 1_000_000
"""Most polygons held at a time, 400 MB of them."""
BOOKED = 1 << 13
"""Polygons of a tinted stone that are booked between two pauses, see `stopping`."""


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


def why_not(scene: Scene) -> str | None:
    """Why whole polygons can't travel in a scene, as a clause; None where they can."""
    far, inside = scene.view.distance_mm, len(scene.stone.inclusions)
    if inside:
        return f"it does not follow polygons past inclusions, and the stone has {inside}"
    if scene.stone.scatters:
        finish = next(one for one in scene.stone.finishes if one.scatters)
        return f"it does not scatter light, and the stone has the finish '{finish}'"
    return None if far is None else f"it needs a parallel view, and the view has distance_mm = {far:g}"


def trace_beams(
    scene: Scene,
    wavelength_nm: float,
    *,
    max_beams: int = MAX_BEAMS,
    wedge: bool = True,
    keep_paths: bool = True,
    goal: Goal | None = None,
    threads: int | None = None,
    progress: Progress = silent,
) -> Beams:
    """Trace a scene exactly at one wavelength.

    Of its settings `precision`, `polarized`, `max_bounces` and `seed` count. `untraced` says which precision was reached where
    `max_bounces` or `max_beams` ended the work first.

    Parameters
    ----------
    max_beams : most polygons held at a time, about 400 bytes each. When they are reached work ends; what then waits carries
        at most one step of the floor more than what is set aside anyhow, and is booked as untraced with it.
    wedge : use the symmetry that stone, dome and view share, where there is one.
    keep_paths : keep each polygon's path, 8 bytes for each reflection (72 more in a tinted stone, which always keeps them).
    goal : what is wanted of the area means; None: no estimate of the rest.
    threads : how many to use, by default numba's number; results don't depend on it.
    progress : see `Rounds`.

    Raises
    ------
    UnsupportedScene : a perspective view, a stone with inclusions.
    InputError : `max_beams` out of range, a wavelength at which the material is not known.
    """
    if (reason := why_not(scene)) is not None:
        raise UnsupportedScene.by((NAME, reason))
    whole_in("max_beams", max_beams, 1, 100_000_000)
    settings, sky, turn = scene.settings, scene.dome.table, np.ascontiguousarray(scene.view.rotation())
    stone, shift = near_the_origin(scene.stone)
    plain = stone_table(stone, wavelength_nm)
    table = padded(plain)
    symmetry = find_symmetry(stone, sky, turn) if wedge and not shift.any() else no_symmetry(stone)
    first = entering_beams(stone, table, sky, turn, symmetry.cuts, settings.polarized)
    rules = Rules(
        floor=0.0,
        first_node=0,
        keep_paths=bool(keep_paths or table.medium.absorption_per_mm > 0.0),
        limit=max_beams,
        tolerance=TOLERANCE * float(stone.size_mm.max()),
        polarized=settings.polarized,
        max_bounces=settings.max_bounces,
    )
    surroundings = Surroundings(table, *neighbor_planes(stone, table), sky, turn)
    threads = threads or numba.get_num_threads()
    work = Rounds(first, rules, surroundings, threads, progress)

    def stop_here() -> Stop[Beams]:
        batch = work.batch()
        luminances = batch.ledgers[:, LUMINANCE].copy()
        moments, areas = _settle(batch, surroundings), batch.beams[:, optics.AREA].copy()
        columns = (optics.SIDES, optics.NODE, optics.STRONGEST_NODE, optics.STRONGEST_ENTRY)
        size, leaves, strongest, entry = (batch.beams[:, column].astype(np.int64) for column in columns)
        inside, waiting = batch.ledgers[:, UNTRACED] > batch.beams[:, optics.STRONGEST], batch.beams[:, optics.ALIVE] != 0.0
        beams = Beams(
            vertices_mm=batch.corners + (turn @ shift)[:2] if shift.any() else batch.corners,
            starts=np.concatenate([[0], np.cumsum(size)]),
            areas_mm2=areas,
            rows=batch.ledgers,
            moments=moments,
            leaves=leaves if keep_paths else np.empty(0, np.int64),
            nodes=batch.nodes if keep_paths else np.empty((0, 2), np.int32),
            strongest=np.where(inside, leaves, strongest) if keep_paths else np.empty(0, np.int64),
            strongest_entry=np.where(inside, UNTRACED, entry),
            copy_of=np.zeros(len(size), np.int64),
            symmetry=symmetry,
            through=_over_copies(batch.through / areas.sum(), symmetry.maps, symmetry.facets),
            tail=NO_TAIL,
            pieces=batch.pieces,
            rounds=work.count,
            lost=batch.lost,
            full=batch.stopped,
        )
        waits = float((areas * batch.ledgers[:, UNTRACED])[waiting].sum() / areas.sum())

        derivatives = goal.derivatives if goal is not None else None
        of_means = derivatives(beams.polygon_means[0]) if derivatives is not None else np.zeros((0, MOMENTS))
        draws = Draws(batch, luminances, of_means, plain, sky, turn, rules)

        def estimated(rays: int) -> Beams:
            draws.until(rays, settings.seed, threads)
            return beams.with_tail(tail_of(draws, waits))

        return estimated

    if goal is None:
        work.until(settings.precision)
        return stop_here()(0)
    return work_until_enough(work, settings, goal, stop_here)


def _settle(batch: Batch, surroundings: Surroundings) -> np.ndarray:
    """Fill the ledgers of a batch up: what is still inside is untraced, in a tinted stone all are means over their polygons.

    Returns `Beams.moments`.
    """
    stone, _, _, sky, turn = surroundings
    absorption, left = stone.medium.absorption_per_mm, batch.beams[:, optics.INTENSITY]
    unmet = np.where(batch.beams[:, optics.REFLECTIONS] == 0.0, left, 0.0)
    if absorption > 0.0:
        parts = []
        for start in range(0, len(batch.beams), BOOKED):
            pause()
            part = slice(start, start + BOOKED)
            parts.append(
                book_means(
                    batch.beams[part], batch.ledgers[part], batch.corners, batch.nodes, batch.events, absorption, sky, turn,
                    batch.through,
                )
            )  # fmt: skip
        return np.column_stack([np.concatenate(parts), unmet])
    batch.ledgers[:, UNTRACED] += left
    swing = batch.ledgers[:, DIMMER] + batch.ledgers[:, BRIGHTER]
    return np.column_stack([batch.ledgers[:, LUMINANCE] ** 2, batch.ledgers[:, UNTRACED] ** 2, swing**2, unmet])


@njit()
def _over_copies(through, maps, facets):
    """Means per facet (F, ON_POLYGONS) over one wedge, shared out over the facets of all its copies; see `Symmetry`."""
    out, copies = np.zeros(through.shape), len(maps)
    for copy in range(copies):
        for facet in range(through.shape[0]):
            image = facets[copy, facet]
            for k in range(through.shape[1]):
                out[image, k] += through[facet, k] / copies
            x, y = through[facet, SOURCE_X] / copies, through[facet, SOURCE_Y] / copies
            out[image, SOURCE_X] += maps[copy, 0, 0] * x + maps[copy, 0, 1] * y - x
            out[image, SOURCE_Y] += maps[copy, 1, 0] * x + maps[copy, 1, 1] * y - y
    return out
