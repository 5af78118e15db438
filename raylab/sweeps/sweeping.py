"""`sweep`: statistics over axes of proportions, light and view, as labelled arrays.

Two sweeps of the same designs give the same numbers to the last bit, however the work is dealt out: in one process, in several,
on a cluster (of one kind of processor), in one go or with interruptions.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import netcdf
from ..code_id import code_id
from ..designs.design import COLUMNS, trace_designs
from ..designs.keys import GEOMETRY, REASONS, about_key
from ..errors import InputError
from ..progress import Progress, reporter
from ..results.statistics import PARTS, STATISTICS
from ..room import Need
from ..scene.settings import TraceSettings
from ..tracers.engine import BatchEngine
from ..tracers.engines import engine_named, settled
from ..version import __version__
from .axes import Plan, label_of, plan_of
from .facts import facts_of
from .results import opened
from .store import Store
from .workers import MAKER, Chunk, Done, client_of, in_cluster, in_processes, in_this_process
from .zarr_copy import check_zarr, save_zarr

if TYPE_CHECKING:
    import xarray as xr

MEMORY_BYTES, DISK_BYTES = 1100, 600
"""What a design takes: measured, at the peak, with 400,000 of them; parts and result, on the disk."""
CHUNK_S = 4.0
"""Aimed-at work in a chunk, seconds: the most that a killed process loses."""
MOST_IN_CHUNK = 4096
PROBES = 4
"""Designs whose cost is measured before a sweep is cut into chunks."""
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
    processes: int | None = None,
    scheduler: Any = None,
    settings: TraceSettings | None = None,
    progress: bool | Progress = False,
    **fixed: Any,
) -> xr.Dataset:
    """Statistics of designs over axes, exact ones unless the settings name an engine that samples.

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
        the box of axes, each `between` (low, high), evenly, the same for the same `seed`.
    out : folder of the sweep. A second call resumes an interrupted sweep and reads a finished one. `force` starts again,
        even if the folder holds another sweep.
    zarr : write the result as a Zarr folder too, `sweep.zarr` in `out`; needs the extra ``raylab[zarr]``.
    processes : number of processes on this machine; by default all cores, for enough work.
    scheduler : address of a dask scheduler, or a dask client, for work on a cluster (best with one thread per worker
        process).
    settings : settings of the traces; `precision` is the width of an exact engine's bracket on brightness. With ``"rays"`` or
        ``"gpu"`` the numbers have standard errors, see `standard_error`. The wavelength applies unless
        ``wavelength_nm`` is an axis or fixed.
    progress : True for a bar, or a function that is called with how many designs are done and of how many.

    Returns
    -------
    xarray.Dataset : each statistic, with its certain bracket as ``_low`` and ``_high`` and its standard error as ``_error``;
        weight, depth and other geometry; and `reason`: 0, or why a design is no stone and has no numbers (names in its
        attributes). Symmetry is not among them: it is 1 for such stones, face-up under a dome of their symmetry.
        (``found["head"]`` needs its brackets: ``found.head`` is a method of xarray's.)

    Raises
    ------
    InputError : an invalid axis, key or setting; another sweep in the folder; a folder that is not writable.
    """
    settings, given = settled(settings or TraceSettings()), fixed if dome is None else {**fixed, "dome": dome}
    plan = plan_of(axes, given, layout, number, seed, wavelength_nm=settings.wavelength_nm)
    if zarr:
        check_zarr(out)
    place = None if out is None else Path(out)
    need = Need(f"{len(plan)} designs", MEMORY_BYTES * len(plan), DISK_BYTES * len(plan) * (1 + zarr), place)
    need.check("axes", "fewer designs")
    client, ours = (None, False) if scheduler is None else client_of(scheduler)
    try:
        together = isinstance(engine_named(str(settings.engine)), BatchEngine)
        count = _cores(processes, together) if client is None else max(1, sum(client.ncores().values()))
        alone = ALONE_S if processes is None and client is None else 0.0

        def size() -> int:
            cost_s = _cost_s(plan, settings)
            whole = replace(need, seconds=cost_s * len(plan) / count)
            whole.check("axes", "fewer designs, or more processes")
            if progress is True:
                whole.say()
            return MOST_IN_CHUNK if together else _chunk_size(len(plan), cost_s, count, alone)

        if out is None:
            return _run(plan, settings, size(), None, client, count, progress)
        facts = facts_of(plan, asdict(settings), code_id(MAKER))
        with closing(Store(out, facts, size, force)) as store:
            if store.finished:
                found = opened(store.read(), str(store.result))
            else:
                found = _run(plan, settings, store.size, store, client, count, progress)
            if zarr:
                save_zarr(found, store.folder)
            return found
    finally:
        if ours and client is not None:
            client.close()


def _run(
    plan: Plan, settings: TraceSettings, size: int, store: Store | None, client: Any, count: int, progress: bool | Progress
) -> xr.Dataset:
    """Trace the chunks that are missing and put all together."""
    rows = np.empty((len(plan), len(COLUMNS)))
    done = 0

    def fill(chunk: int, part: np.ndarray) -> None:
        nonlocal done
        rows[chunk * size : chunk * size + len(part)] = part
        done += len(part)

    if store is not None:
        for number in sorted(store.done):
            if (part := store.load(number)) is not None:
                fill(number, part)
    if progress is True and done:
        sys.stderr.write(f"{done} of {len(plan)} designs found from an earlier run\n")
    missing = sorted(set(range(-(-len(plan) // size))) - (store.done if store is not None else set()))
    chunks = (Chunk(chunk, list(plan.designs(chunk * size, (chunk + 1) * size))) for chunk in missing)
    with reporter(progress, "designs") as update:
        update(done, len(plan))
        for traced, part in _workers(chunks, min(count, len(missing)), settings, client):
            if store is not None:
                store.save(traced.number, part)
            fill(traced.number, part)
            update(done, len(plan))
    found = dataset(plan, settings, rows)
    if store is not None:
        store.finish(netcdf.of_dataset(found))
    return found


def _workers(chunks: Iterator[Chunk], count: int, settings: TraceSettings, client: Any) -> Done:
    if client is not None:
        return in_cluster(chunks, settings, client)
    return in_this_process(chunks, settings) if count < 2 else in_processes(chunks, settings, count)


def _cores(processes: int | None, together: bool) -> int:
    """The number of processes: the requested one, or that of available cores; one for designs that are traced together."""
    if processes is None:
        return 1 if together else len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if isinstance(processes, bool) or not isinstance(processes, int) or not 1 <= processes <= 4096:
        raise InputError(
            "not a number of processes", key="processes", value=processes, expected="a whole number from 1 to 4096"
        )
    return processes


def _cost_s(plan: Plan, settings: TraceSettings) -> float:
    """Seconds that a design takes, measured with a few of them."""
    probes = [next(plan.designs(k, k + 1)) for k in np.linspace(0, len(plan) - 1, min(PROBES, len(plan))).astype(int)]
    trace_designs(probes[:1], settings)  # compiles, or reads what was compiled
    start = time.perf_counter()
    trace_designs(probes, settings)
    return (time.perf_counter() - start) / len(probes)


def _chunk_size(designs: int, cost_s: float, count: int, alone_s: float) -> int:
    """Designs in a chunk: some seconds of work, and enough chunks for every process. Work of less than `alone_s` seconds is one
    chunk."""
    if cost_s * designs <= alone_s:
        return min(designs, MOST_IN_CHUNK)
    return max(1, min(round(CHUNK_S / cost_s), -(-designs // (4 * count)), MOST_IN_CHUNK))


def dataset(plan: Plan, settings: TraceSettings, rows: np.ndarray) -> xr.Dataset:
    """Rows (K, len(COLUMNS)) of a plan's designs as labelled arrays."""
    import xarray as xr

    coords: dict[str, Any] = {}
    for key in plan.columns:
        dim = (key,) if plan.layout == "grid" else plan.dims
        coords[key] = (dim, np.array(plan.coordinate(key)), _about(*about_key(key)))
    for key, value in plan.fixed.items():
        coords[key] = ((), label_of(value), _about(*about_key(key)))
    variables: dict[str, Any] = {}
    for column, name in enumerate(COLUMNS[:-1]):
        if name not in coords:
            variables[name] = (plan.dims, rows[:, column].reshape(plan.shape), _definition(name))
    codes = rows[:, -1].astype(np.int8).reshape(plan.shape)
    variables["reason"] = (plan.dims, codes, {"long_name": "reason for missing numbers", **_flags()})
    about = {
        "title": "raylab sweep: statistics of designs",
        "raylab_version": __version__,
        "code": code_id(MAKER),
        "engine": str(settings.engine),
        "layout": plan.layout,
        "precision": settings.precision,
        "polarized": int(settings.polarized),
        "max_bounces": settings.max_bounces,
    }
    if settings.standard_error is not None:
        about["standard_error"] = settings.standard_error
    return xr.Dataset(variables, coords, about)


def _about(long_name: str, unit: str) -> dict[str, str]:
    return {"long_name": long_name, "units": unit} if unit else {"long_name": long_name}


def _definition(name: str) -> dict[str, str]:
    if name in GEOMETRY:
        return _about(*GEOMETRY[name])
    statistic = next(known for known in STATISTICS if name in {known + part for part in PARTS})
    words = PARTS[name.removeprefix(statistic)][1]
    about = _about(statistic.replace("_", " ") + words, STATISTICS[statistic].unit)
    return {**about, "definition": STATISTICS[statistic].definition}


def _flags() -> dict[str, Any]:
    return {
        "flag_values": np.arange(len(REASONS), dtype=np.int8),
        "flag_meanings": " ".join(name for name, _ in REASONS),
        "definition": "; ".join(f"{code}: {words}" for code, (_, words) in enumerate(REASONS)),
    }
