"""`sweep`: statistics over axes of proportions, light and view, as labelled arrays.

Two sweeps of the same designs give the same numbers to the last bit, however the work is dealt out: in one process, in several,
on a cluster (of one kind of processor), in one go or with interruptions.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..code_id import code_id
from ..progress import Progress
from ..scene.settings import TraceSettings
from ..tracers.engines import engine_named, settled
from .axes import plan_of
from .conditions import Condition
from .counting import count_of
from .dealing import Deal
from .engine_choice import chosen
from .facts import facts_of
from .gathering import Crew, in_one, in_pieces
from .pieces import check_zarr
from .probing import cost_s
from .results import load_sweep
from .sizing import chunk_size, need_of, processes_of
from .store import Store
from .workers import MAKER, client_of

if TYPE_CHECKING:
    from .swept import Sweep

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
    need = need_of(plan, None if out is None else Path(out), zarr)
    need.check("axes", "fewer designs" if zarr else "fewer designs, or a result in pieces (--zarr; zarr=True)")
    left = count_of(plan)
    if progress is True and plan.conditions:
        sys.stderr.write(f"{left}\n")
    client, ours = (None, False) if scheduler is None else client_of(scheduler)
    try:
        engine = engine_named(str(settings.engine))
        count = processes_of(processes, engine) if client is None else max(1, sum(client.ncores().values()))
        alone = ALONE_S if processes is None and client is None else 0.0
        crew = Crew(settings, client, count, progress)

        def size() -> int:
            probed_s = cost_s(plan, settings, left.first, crew.around(count), client)
            whole = replace(need, what=f"{left.traced} designs", seconds=probed_s * left.traced / count)
            whole.check("axes", "fewer designs, or more processes")
            if progress is True:
                whole.say()
            return chunk_size(plan, engine, left.traced, probed_s, count, alone)

        if out is None:
            return in_one(plan, crew, Deal(plan.shape, plan.shape, size()), None)
        facts = facts_of(plan, asdict(settings), code_id(MAKER), left.digest, pieces=zarr)
        with closing(Store(out, facts, size, force)) as store:
            if not store.finished:
                if not zarr:
                    return in_one(plan, crew, store.deal, store)
                in_pieces(plan, crew, store)
            return load_sweep(store.folder)
    finally:
        if ours and client is not None:
            client.close()
