"""``raylab sweep``: exact statistics over axes of proportions, light and view, kept in a folder and drawn."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .console import faults_by_option, goes_on, say, say_json, say_wide, table
from .options import Flag, Json, WholeIfAny

if TYPE_CHECKING:
    import xarray as xr

    from ..sweeps.sweep_file import SweepFile


def sweep(
    sweep: Path,
    /,
    *,
    out: Path,
    scheduler: str | None = None,
    processes: WholeIfAny = None,
    force: Flag = False,
    zarr: Flag = False,
    json: Json = False,
) -> None:
    """Trace all designs of a sweep file and draw the results.

    Before it starts, the command says how many designs meet the conditions of the file, and what large work takes of time,
    memory and disk; work for which there is no room is refused. It writes `sweep.nc` (every statistic with its bracket),
    `sweep.json` (the definition of the sweep), one picture per statistic, and `extremes.png` (contrast maps of the designs
    with the largest and the smallest value of a statistic). The same command resumes an interrupted sweep. Existing pictures
    are kept; delete a picture to have it drawn again.

    For example:

        raylab sweep scenes/sweeps/crown-and-pavilion.toml --out out/crown-and-pavilion

    Parameters
    ----------
    sweep
        Sweep file (TOML), or the name of a demo one (see `raylab scenes`).
    out
        Folder of the sweep; created if it does not exist.
    scheduler
        Address of a dask scheduler, such as `tcp://host:8786`, for work on a cluster.
    processes
        Number of processes on this machine. By default one per core, or up to twelve per graphics processor that traces.
    force
        Start again even if the folder holds another sweep, and draw all pictures again.
    zarr
        Write the result in pieces while the sweep runs, as a Zarr folder `sweep.zarr` instead of `sweep.nc`: memory then
        doesn't grow with the number of designs. Needs the package zarr.
    """
    from ..sweeps.sweep_file import read_sweep_file
    from ..sweeps.sweeping import sweep as swept

    request = read_sweep_file(sweep)
    how: dict[str, Any] = {"scheduler": scheduler, "processes": processes, "force": force, "zarr": zarr, "progress": True}
    with goes_on("sweep", force):
        with faults_by_option("scheduler", "processes"):
            found = swept(**request.arguments, out=out, **how)
        kept = _draw(request, found, out, force)
    facts = _facts(request, found)
    if json:
        say_json(facts)
    else:
        _print(request, facts, found, out, kept)


def _draw(request: SweepFile, found: xr.Dataset, out: Path, force: bool) -> list[str]:
    """The pictures that are not there, or all by `force`; returns the names of those that were kept."""
    from ..files import save_png
    from ..pictures.sweep_plots import extremes_figure, sweep_figure
    from ..whole_files import whole_set

    pictures = [*(f"{statistic}.png" for statistic in request.statistics), "extremes.png"]
    kept = [name for name in pictures if not force and os.path.lexists(out / name)]
    with whole_set(out, [name for name in pictures if name not in kept], force=force) as stage:
        for statistic in request.statistics:
            if f"{statistic}.png" not in kept:
                save_png(sweep_figure(found, statistic), stage / f"{statistic}.png")
        if "extremes.png" not in kept:
            save_png(extremes_figure(request.plan, found, request.extremes, request.settings), stage / "extremes.png")
    return kept


def _facts(request: SweepFile, found: xr.Dataset) -> dict[str, Any]:
    """The results as plain numbers."""
    from ..designs.keys import REASONS

    reasons = found.reason.values.ravel()
    counts = {name: int((reasons == code).sum()) for code, (name, _) in enumerate(REASONS)}
    return {
        "title": request.title,
        "designs": len(reasons),
        "reasons": {name: count for name, count in counts.items() if count},
        "code": found.attrs["code"],
        "precision": found.attrs["precision"],
        "statistics": {name: _ends(request, found, name) for name in request.statistics if counts["traced"]},
    }


def _ends(request: SweepFile, found: xr.Dataset, statistic: str) -> dict[str, Any]:
    """The designs where a statistic is highest and lowest, with its bracket and standard error (None: it has none)."""
    import numpy as np

    from ..sweeps.axes import label_of

    values = found[statistic].values.ravel()
    ends = {}
    for end, number in (("highest", int(np.nanargmax(values))), ("lowest", int(np.nanargmin(values)))):
        design = next(request.plan.designs(number, number + 1))
        about = {part: float(found[f"{statistic}_{part}"].values.ravel()[number]) for part in ("low", "high", "error")}
        ends[end] = {
            "design": {key: label_of(design[key]) for key in request.plan.columns},
            "value": float(values[number]),
            **about,
            "error": about["error"] or None,
        }
    return ends


def _print(request: SweepFile, facts: dict[str, Any], found: xr.Dataset, out: Path, kept: list[str]) -> None:
    say(request.title or "sweep")
    others = [f"{number} {name.replace('_', ' ')}" for name, number in facts["reasons"].items()]
    say(f"{facts['designs']} designs: {', '.join(others)}; code {facts['code'][:12]}")
    say()
    rows = []
    for statistic, ends in facts["statistics"].items():
        for end, one in ends.items():
            words = (
                f"{key} {value:g}" if isinstance(value, float) else f"{key} {value}" for key, value in one["design"].items()
            )
            numbers = (f"{one[part]:.5f}" for part in ("value", "low", "high"))
            error = "none" if one["error"] is None else f"{one['error']:.1e}"
            rows.append((f"{end} {statistic}", ", ".join(words), *numbers, error))
    table(("", "design", "value", "at least", "at most", "std. error"), rows, left=2)
    say()
    if "materials" in found.attrs:
        say(f"  {found.attrs['materials']}")
        say()
    say_wide(found, "designs")
    result = "sweep.zarr" if (out / "sweep.zarr").exists() else "sweep.nc"
    say(f"{result}, sweep.json and {len(request.statistics) + 1} pictures in {out}")
    if kept:
        say(f"existing pictures kept: {', '.join(kept)}; delete a picture to have it drawn again")
