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
    Beams            the polygons, their sums, and their pixels (`beams`, `pixel_coverage`)
"""

from __future__ import annotations

import numba
import numpy as np

from ...errors import UnsupportedScene
from ...jit import njit
from ...progress import Progress, silent
from ...scene.scene import Scene
from ...stopping import pause
from ...units import whole_in
from ..goal import Goal
from ..ledger import BRIGHTER, DIMMER, LUMINANCE, SOURCE_X, SOURCE_Y, UNTRACED
from ..shared_symmetry import find_symmetry, no_symmetry
from ..stone_table import stone_table
from ..totals import MOMENTS
from . import beam_optics as optics
from .beam_batch import Batch, Rules, Surroundings
from .beams import Beams
from .enough import Stop, work_until_enough
from .entering import entering_beams, near_the_origin
from .mean_transmission import book_means
from .nearest_plane import padded
from .schedule import Rounds
from .single_facet import neighbor_planes
from .tail import NO_TAIL, Draws, tail_of

NAME = "beams"
"""What this engine is called in the table."""
TOLERANCE = 1e-12
"""Share of the stone's size by which a cut may be off; see `clipping`."""
MAX_BEAMS = 1_000_000
"""Most polygons held at a time, 400 MB of them."""
BOOKED = 1 << 13
"""Polygons of a tinted stone that are booked between two pauses, see `stopping`."""


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
