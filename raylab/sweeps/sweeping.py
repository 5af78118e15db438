"""`sweep`: statistics over axes of proportions, light and view, as labelled arrays.

Two sweeps of the same designs give the same numbers to the last bit, however the work is dealt out: in one process, in several,
on a cluster (of one kind of processor), in one go or with interruptions.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import netcdf
from ..code_id import code_id
from ..designs.design import COLUMNS
from ..errors import InputError
from ..progress import Progress, reporter
from ..room import Need
from ..scene.settings import TraceSettings
from ..tracers.engine import BatchEngine, DeviceEngine, Engine
from ..tracers.engines import engine_named, settled
from .axes import Plan, plan_of
from .conditions import Condition
from .counting import count_of
from .dealing import BLOCK, Deal
from .engine_choice import builds_every, chosen
from .facts import facts_of
from .labels import dataset, form
from .pieces import Pieces, check_zarr
from .probing import cost_s
from .results import load_sweep
from .store import Store
from .workers import MAKER, Chunk, Done, Work, client_of, in_cluster, in_processes, in_this_process

if TYPE_CHECKING:
    from .swept import Sweep

MEMORY_BYTES, DISK_BYTES = 1100, 800
"""What a design takes of a result in one file: measured, at the peak, with 400,000 of them; parts and result, on the disk."""
PIECES_MEMORY_BYTES, PIECES_DISK_BYTES = 400_000_000, 440
"""What a sweep takes whose result is in pieces, beside its engine; and a design of it, on the disk."""
CHUNK_S = 4.0
"""Aimed-at work in a chunk, seconds: the most that a killed process loses."""
MOST_IN_CHUNK = 4096
"""Of designs whose stones are built one by one. Where the engine builds them, a chunk is a block."""
LONGEST_S = 20.0
"""A block that takes longer is no chunk: not all of its designs are built by the engine, or they take many rays."""
A_DEVICE = 12
"""Processes that share a device: while it traces for one, the others make numbers of what they have and write them. Of short
traces 3 kept an H200 busy for less than half of what 8 did."""
ALONE_S = 4.0
"""Work shorter than this isn't worth starting processes for."""


def sweep(
    axes: Mapping[str, Any],
    dome: Any = None,
    *,
    layout: str = "grid",
    number: int | None = None,
    seed: int = 0,
    out: str | Path | None = None,
    force: bool = False,
    zarr: bool = False,
    conditions: Iterable[Condition] = (),
    processes: int | None = None,
    scheduler: Any = None,
    settings: TraceSettings | None = None,
    progress: bool | Progress = False,
    **fixed: Any,
) -> Sweep:
    """Statistics of designs over axes, exact ones unless the settings ask for samples.

    >>> import raylab as rl
    >>> found = rl.sweep({"pavilion_angle_deg": rl.steps(40, 41, 3)}, "head-shadow", table_pct=57, crown_angle_deg=34.5)
    >>> found.brightness.dims, found.brightness.shape
    (('pavilion_angle_deg',), (3,))

    Parameters
    ----------
    axes : key to values: a list, tuple or array of them, or `steps` (start, stop, number). Keys are ``cut`` (by default a round
        brilliant) and the parameters of that cut (see `cuts`), or ``stone``, stones or their files as they are;
        ``material``, ``absorption_per_mm``; ``dome``, and of it ``head_half_angle_deg``, ``sky_radiance``, ``tray_radiance``;
        ``tilt_deg``, ``tilt_azimuth_deg``, ``turn_deg``, ``wavelength_nm``. A facet or tier and a field of `Offset` move
        facets: ``"pavilion main 3.slope_deg"``. Stones and domes of one axis have different names.
    dome : a `Dome`, or the name or file of one; unless it is an axis.
    **fixed : the other keys, common to all designs.
    layout : ``"grid"``; ``"paired"``, lists of one length; ``"sobol"``, ``"halton"`` or ``"latin"``, `number` designs that fill
        the box of axes, each `between` (low, high), evenly, or ``"random"``, at random; the same for the same `seed`.
    conditions : which of the designs to trace: each a `LinearBound`, or a function that is called with a design, a mapping of
        its keys to values. What one excludes has the reason ``excluded`` and no numbers.
    out : folder of the sweep. A second call resumes an interrupted sweep and reads a finished one. `force` starts again,
        even if the folder holds another sweep.
    zarr : write the result in pieces while the sweep runs, as a Zarr folder `sweep.zarr` in `out` instead of one file, so that
        memory doesn't grow with the number of designs; what is returned is read as far as it is asked for. Needs the extra
        ``raylab[zarr]``.
    processes : number of processes on this machine; by default all cores, for enough work, or up to twelve for each
        graphics processor that traces.
    scheduler : address of a dask scheduler, or a dask client, for work on a cluster (best with one thread per worker
        process).
    settings : settings of the traces; `precision` is the width of an exact engine's bracket on brightness. With ``"rays"`` or
        ``"gpu"`` the numbers have standard errors, see `standard_error`; where a device builds the stones it is reached in the
        root mean square, and single designs state more or less. Settings that state one, no `precision_of` and no
        engine take ``"gpu"`` by themselves for more than 20,000 designs of cuts that it builds, where there is such a
        processor; ``found.attrs["engine"]`` tells, and ``engine="beams"`` insists on brackets. The wavelength applies unless
        ``wavelength_nm`` is an axis or fixed.
    progress : True for a bar, or a function that is called with how many designs are done and of how many.

    Returns
    -------
    Sweep : an xarray.Dataset of each statistic, with its certain bracket as ``_low`` and ``_high`` and its standard error as
        ``_error``; weight, depth and other geometry; and `reason`: 0, or why a design is no stone and has no numbers (names in
        its attributes). Symmetry is not among them: it is 1 for such stones, face-up under a dome of their symmetry.
        (``found["head"]`` needs its brackets: ``found.head`` is a method of xarray's.)

    Raises
    ------
    InputError : an invalid axis, key, condition or setting; conditions that leave no design; another sweep in the folder; a
        folder that is not writable; more memory, disk or time than there is.
    """
    asked, given = settings or TraceSettings(), fixed if dome is None else {**fixed, "dome": dome}
    plan = plan_of(axes, given, layout, number, seed, wavelength_nm=asked.wavelength_nm, conditions=conditions)
    by_itself = chosen(plan, asked)
    settings = settled(asked if by_itself is None else replace(asked, engine=by_itself))
    if progress is True and by_itself is not None:
        sys.stderr.write(f"the engine {by_itself} was found and traces the sweep, of which no brackets are asked for\n")
    if zarr:
        check_zarr(out)
    need = _need(plan, None if out is None else Path(out), zarr)
    need.check("axes", "fewer designs" if zarr else "fewer designs, or a result in pieces (--zarr; zarr=True)")
    left = count_of(plan)
    if progress is True and plan.conditions:
        sys.stderr.write(f"{left}\n")
    client, ours = (None, False) if scheduler is None else client_of(scheduler)
    try:
        engine = engine_named(str(settings.engine))
        count = _cores(processes, engine) if client is None else max(1, sum(client.ncores().values()))
        alone = ALONE_S if processes is None and client is None else 0.0
        how = _How(settings, client, count, progress)

        def size() -> int:
            probed_s = cost_s(plan, settings, left.first, how.around(count), client)
            whole = replace(need, what=f"{left.traced} designs", seconds=probed_s * left.traced / count)
            whole.check("axes", "fewer designs, or more processes")
            if progress is True:
                whole.say()
            if isinstance(engine, BatchEngine):
                short = builds_every(plan, engine) and probed_s * BLOCK < LONGEST_S
                return min(BLOCK if short else MOST_IN_CHUNK, len(plan))
            return _chunk_size(left.traced, probed_s, count, alone)

        if out is None:
            return _in_one(plan, how, Deal(plan.shape, plan.shape, size()), None)
        facts = facts_of(plan, asdict(settings), code_id(MAKER), left.digest, pieces=zarr)
        with closing(Store(out, facts, size, force)) as store:
            if not store.finished:
                if not zarr:
                    return _in_one(plan, how, store.deal, store)
                _in_pieces(plan, how, store)
            return load_sweep(store.folder)
    finally:
        if ours and client is not None:
            client.close()


@dataclass(frozen=True)
class _How:
    """How designs are traced: settings, a dask client or none, how many processes, and who is told of it."""

    settings: TraceSettings
    client: Any
    count: int
    progress: bool | Progress

    @property
    def engine(self) -> Engine:
        """The engine that the settings name."""
        return engine_named(str(self.settings.engine))

    def around(self, count: int) -> list[dict[str, str]]:
        """What is added to the environment of each of so many processes: devices are shared out among them."""
        engine = self.engine
        devices = engine.devices() if isinstance(engine, DeviceEngine) else 0
        return [engine.only(k % devices) if isinstance(engine, DeviceEngine) and devices else {} for k in range(count)]


def _need(plan: Plan, place: Path | None, pieces: bool) -> Need:
    """What a sweep takes of memory and disk; its time is not known yet."""
    memory, disk = MEMORY_BYTES * len(plan), DISK_BYTES * len(plan)
    if pieces:
        memory, disk = min(memory, PIECES_MEMORY_BYTES), PIECES_DISK_BYTES * len(plan)
    return Need(f"{len(plan)} designs", memory, disk, place)


def _in_one(plan: Plan, how: _How, deal: Deal, store: Store | None) -> Sweep:
    """The result in one table, and in one file where there is a store."""
    rows = np.empty((len(plan), len(COLUMNS)))

    def fill(number: int, part: np.ndarray) -> None:
        start, stop = deal.span(number)
        rows[start:stop] = part

    _gather(Work(plan, how.settings, None), how, deal, store, fill, 0)
    found = dataset(plan, how.settings, rows)
    if store is not None:
        store.finish(netcdf.of_dataset(found))
    return found


def _in_pieces(plan: Plan, how: _How, store: Store) -> None:
    """The result in a Zarr folder, a block as soon as all of its chunks are done; only blocks that are begun are in memory.

    A chunk that is a block is written where it is traced, but on a cluster.
    """
    deal, pieces = store.deal, Pieces(store.folder, plan, store.deal, store.key)
    pieces.describe(form(plan, how.settings))
    begun: dict[int, tuple[np.ndarray, int]] = {}
    found = 0
    for block in sorted(store.written):
        if store.proves(block, pieces.read(block)):
            store.clear_parts(block)
            start, stop = deal.block_span(block)
            found += stop - start

    def fill(number: int, part: np.ndarray) -> None:
        block, (start, stop) = deal.block_of(number), deal.span(number)
        first, last = deal.block_span(block)
        rows, left = begun.pop(block) if block in begun else (np.empty((last - first, len(COLUMNS))), last - first)
        rows[start - first : stop - first] = part
        left -= stop - start
        if left:
            begun[block] = rows, left
        else:
            pieces.write(block, rows)
            store.settle(block)

    there = how.client is None and deal.chunks == deal.blocks
    _gather(Work(plan, how.settings, pieces if there else None), how, deal, store, fill, found)
    pieces.clear()
    store.seal()


def _gather(work: Work, how: _How, deal: Deal, store: Store | None, fill: Callable[[int, np.ndarray], None], done: int) -> None:
    """Hand over the chunks that are kept and trace those that are missing; `done` designs are there already."""
    plan = work.plan
    if store is not None:
        for number in sorted(store.done):
            if (part := store.load(number)) is not None:
                fill(number, part)
                done += len(part)
    if how.progress is True and done:
        sys.stderr.write(f"{done} of {len(plan)} designs found from an earlier run\n")
    there = (store.done, store.written) if store is not None else (set(), set())
    missing = [
        number
        for number in range(deal.chunks)
        if number not in there[0] and deal.block_of(number) not in there[1] and deal.span(number)[0] < deal.span(number)[1]
    ]
    if not plan.anywhere:  # functions of the user are asked here, where they are
        work = replace(work, plan=replace(plan, conditions=()))
    chunks = (
        Chunk(number, start, stop, None if plan.anywhere else plan.kept(start, stop))
        for number in missing
        for start, stop in [deal.span(number)]
    )
    with reporter(how.progress, "designs") as update:
        update(done, len(plan))
        for chunk, rows in _workers(chunks, min(how.count, len(missing)), work, how):
            if rows is not None:
                if store is not None:
                    store.save(chunk.number, rows)
                fill(chunk.number, rows)
            elif store is not None:
                store.settle(chunk.number)
            done += chunk.stop - chunk.start
            update(done, len(plan))


def _workers(chunks: Iterator[Chunk], count: int, work: Work, how: _How) -> Done:
    if how.client is not None:
        return in_cluster(chunks, work, how.client)
    if count < 2:
        return in_this_process(chunks, work)
    return in_processes(chunks, work, how.around(count))


def _cores(processes: int | None, engine: Engine) -> int:
    """The number of processes: the requested one, or that of available cores; some for each device, and one for designs that
    are traced together without a device."""
    if processes is None:
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        if not isinstance(engine, BatchEngine):
            return cores
        devices = engine.devices() if isinstance(engine, DeviceEngine) else 0
        return max(1, min(A_DEVICE * devices, cores))
    if isinstance(processes, bool) or not isinstance(processes, int) or not 1 <= processes <= 4096:
        raise InputError(
            "not a number of processes", key="processes", value=processes, expected="a whole number from 1 to 4096"
        )
    return processes


def _chunk_size(designs: int, cost_s: float, count: int, alone_s: float) -> int:
    """Designs in a chunk: some seconds of work, and enough chunks for every process. Work of less than `alone_s` seconds is one
    chunk."""
    if cost_s * designs <= alone_s:
        return min(designs, MOST_IN_CHUNK)
    return max(1, min(round(CHUNK_S / cost_s), -(-designs // (4 * count)), MOST_IN_CHUNK))
