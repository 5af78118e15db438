"""``raylab brillianteer``: the predicted brightness, contrast and weight of a blocked stone for each choice of last facets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from .console import faults_by_option, reading, say, say_json, say_materials, say_shortfalls, say_written, table
from .options import Flag, Force, OutFolder, Whole

if TYPE_CHECKING:
    import xarray as xr

    from ..cutting.choices import Best
    from ..cutting.preview import Preview
    from ..errors import InputError
    from ..results.statistics import Statistic
    from ..stone.stone import Stone

Values = Annotated[list[float] | None, Parameter(consume_multiple=True, negative="")]

STAR_PCT, LOWER_HALF_PCT = (45.0, 50.0, 55.0), (72.0, 77.0, 82.0)
"""Lengths that the command tries by default: the library's defaults and one step to either side."""

CAUTION = "material that is removed can't be put back; these numbers are no cutting order"


def brillianteer(
    blocked: Path,
    /,
    *,
    out: OutFolder,
    star_pct: Values = None,
    lower_half_pct: Values = None,
    upper_half_pct: Values = None,
    upper_painting_deg: Values = None,
    lower_painting_deg: Values = None,
    objective: str = "most brightness",
    show: Whole = 3,
    dome: str = "head-shadow",
    diameter_mm: float | None = None,
    unit: str | None = None,
    girdle_finish: str | None = None,
    coverage: float = 3.0,
    angle_uncertainty_deg: float | None = None,
    distance_uncertainty_um: float | None = None,
    precision: float = 2e-4,
    force: Force = False,
    json: Flag = False,
) -> None:
    """Compare choices of last facets for a blocked stone with measured mains.

    The command traces every combination of the given lengths and painting angles, exactly and face-up. It orders them by
    the objective and writes `choices.png` (contrast maps of the first choices on one scale), `grid.png` (all combinations;
    omitted for a single one), `grid.nc` and `finish.json`.

    Material that is removed can't be put back. The command gives no cutting order.

    For example:

        raylab brillianteer scenes/stones/blocked.csv --out out/finish --objective "most brightness with weight_ct >= 1.01"

    Parameters
    ----------
    blocked
        The blocked stone: a facet table (.csv) with the table, the mains and optionally girdle and culet, or a scan of it.
        `blocked` names the demo one.
    star_pct
        Star lengths to try, percent of the distance from the table edge to the girdle. [default: 45 50 55]
    lower_half_pct
        Lower-half lengths to try, percent of the distance from the girdle to the apex. [default: 72 77 82]
    upper_half_pct
        Upper-half lengths to try, percent of the distance from the girdle to the table edge. By default the upper halves meet
        the tips of the stars.
    upper_painting_deg
        Painting angles of the upper halves to try, degrees towards their mains; negative values mean digging. [default: 0]
    lower_painting_deg
        Painting angles of the lower halves to try, degrees; negative values mean digging. [default: 0]
    objective
        Objective that orders the choices: `most` or `least` of one number, optionally `with` limits, such as
        "most brightness with weight_ct >= 1.00". The numbers are those of `raylab statistics`, `weight_ct` and `lost_points`.
    show
        How many choices to show side by side, those first by the objective, 1 to 6.
    dome
        Name of a built-in dome (see `raylab domes`), or a dome file (TOML).
    diameter_mm
        Girdle diameter of the finished stone, mm. Needed if the girdle of a round stone is not measured or not yet at its
        final size; any other outline must have been measured.
    unit
        Unit of length of a scan: mm, um, cm, m or in.
    girdle_finish
        Finish of the girdle: `polished` or `absorbing` (bruted). By default the finish in the facet table; a scan holds none.
    coverage
        Coverage factor: a main is listed if it deviates from its tier by more than this many standard uncertainties.
    angle_uncertainty_deg
        Standard uncertainty of the direction of a measured facet, degrees. The default 0.05 is common practice; state the value
        of your device.
    distance_uncertainty_um
        Standard uncertainty of the height of a measured facet, micrometres. The default 3 is common practice.
    precision
        Width of the bracket on brightness: a smaller one is more exact and takes longer.
    json
        Print the numbers as JSON instead of tables.
    """
    from ..cutting.blocked import blocked_stone
    from ..cutting.choices import WEIGHTS, best_brillianteering, brillianteering_grid
    from ..cutting.mains import coverage_factor
    from ..cutting.objective import read_objective
    from ..cutting.preview import MOST_ALTERNATIVES
    from ..cutting.preview import brillianteer as previewed
    from ..errors import InputError
    from ..lighting.dome_file import load_dome
    from ..pictures.brillianteering_plots import varied
    from ..results.statistics import STATISTICS
    from ..scene.settings import TraceSettings
    from ..stone.measuring.plane_uncertainty import Uncertainty
    from ..whole_files import whole_set

    if not 1 <= show <= MOST_ALTERNATIVES:
        raise InputError("out of range", key="--show", value=show, expected=f"1 to {MOST_ALTERNATIVES}")
    given = {
        "star_pct": star_pct or list(STAR_PCT),
        "lower_half_pct": lower_half_pct or list(LOWER_HALF_PCT),
        "upper_half_pct": upper_half_pct,
        "upper_painting_deg": upper_painting_deg,
        "lower_painting_deg": lower_painting_deg,
    }
    axes = {key: values for key, values in given.items() if values}
    uncertainties: dict[str, Any] = {"angle_deg": angle_uncertainty_deg, "distance_um": distance_uncertainty_um}
    own = (*given, "objective", "precision", "coverage", "diameter_mm", "angle_uncertainty_deg", "distance_uncertainty_um")
    option: dict[str, Any] = {"angle_deg": "angle_uncertainty_deg", "distance_um": "distance_uncertainty_um"}
    with faults_by_option(*own, **option):
        uncertainty = Uncertainty(**{key: value for key, value in uncertainties.items() if value is not None})
        wanted, settings = read_objective(objective, (*STATISTICS, *WEIGHTS)), TraceSettings(precision=precision)
        coverage_factor(coverage)
    sides, _ = varied({key: len(values) for key, values in axes.items()})
    stone, light = _read(blocked, unit, girdle_finish), load_dome(dome)
    with faults_by_option(*own, **option):
        try:
            blocked_stone(stone, diameter_mm)
        except InputError as error:
            raise error if error.key in own else error.within(file=str(blocked)) from error
    files = ["choices.png", *["grid.png"] * bool(sides), "grid.nc", "finish.json"]
    with faults_by_option(*own, **option), whole_set(out, files, force=force) as stage:
        grid = brillianteering_grid(stone, light, axes, diameter_mm=diameter_mm, settings=settings, progress=True)
        best = best_brillianteering(grid, wanted, show)
        if not best:
            raise _none_fits(grid, objective)
        choices = [one.choice for one in best]
        preview = previewed(
            stone, light, choices, diameter_mm=diameter_mm, uncertainty=uncertainty, coverage=coverage,
            settings=settings, progress=True,
        )  # fmt: skip
        facts = {"objective": objective, **preview.to_dict(), "grid": _grid_facts(grid), "caution": CAUTION}
        for record, one in zip(facts["alternatives"], best, strict=True):
            record["tied_with_first"] = one.tied
        _write(stage, preview, grid, facts, drawn=bool(sides))
    if json:
        say_json(facts)
        return
    _print_choices(preview, best, grid, objective)
    _print_mains(preview)
    say_written(files, out)
    say(f"caution: {CAUTION}")


def _read(blocked: Path, unit: str | None, girdle_finish: str | None) -> Stone:
    """The blocked stone in a file, with the finish of its girdle where one is stated."""
    from dataclasses import replace

    from ..stone.finish import get_finish
    from ..stone.stone_file import load_stone

    with reading(blocked):
        stone = load_stone(blocked, unit=unit)
    if girdle_finish is None:
        return stone
    girdle, facets = get_finish(girdle_finish, "--girdle-finish"), zip(stone.on_girdle, stone.finishes, strict=True)
    return replace(stone, finishes=tuple(girdle if there else finish for there, finish in facets))


def _write(folder: Path, preview: Preview, grid: xr.Dataset, facts: dict[str, Any], *, drawn: bool) -> None:
    """The files of the command; the picture of the grid only where it is to be `drawn`."""
    from .. import netcdf
    from ..files import save_png, to_json
    from ..pictures.brillianteering_plots import grid_figure, preview_figure

    (folder / "grid.nc").write_bytes(netcdf.of_dataset(grid))
    (folder / "finish.json").write_text(to_json(facts), encoding="utf-8")
    save_png(preview_figure(preview), folder / "choices.png")
    if drawn:
        save_png(grid_figure(grid, preview.choices), folder / "grid.png")


def _none_fits(grid: xr.Dataset, objective: str) -> InputError:
    """Why no choice is left."""
    import numpy as np

    from ..errors import InputError

    reasons = [str(reason) for reason in grid.reason.values.ravel()]
    if all(reasons):
        return InputError("not possible for any choice", value=reasons[0], key="last facets", expected="other lengths")
    weight, bright = (grid[name].values for name in ("weight_ct", "brightness"))
    most = f"the largest weight is {np.nanmax(weight):.4f} ct, the largest brightness {np.nanmax(bright):.4f}"
    return InputError(
        "no choice meets the limits with certainty", key="--objective", value=objective, expected=f"other limits; {most}"
    )


def _grid_facts(grid: xr.Dataset) -> dict[str, Any]:
    """The grid in plain lists, nested as its axes are listed."""
    names = [*map(str, grid.coords), *map(str, grid.data_vars)]
    return {"axes": list(map(str, grid.reason.dims)), **{name: grid[name].values.tolist() for name in names}}


def _print_choices(preview: Preview, best: tuple[Best, ...], grid: xr.Dataset, objective: str) -> None:
    """Weight now, and the first choices as a table."""
    stone, cut = preview.blocked.stone, int((grid.reason == "").sum())
    say(f"{stone.name}: {stone.material.name}, now {stone.weight_ct:.4f} ct; dome {preview.scene.dome.name}")
    say_materials(stone)
    refused = f"; {grid.reason.size - cut} are not possible" if cut < grid.reason.size else ""
    say(f"{cut} choices traced{refused}; the first {len(best)} by the objective, {objective}:")
    say()
    rows = []
    for k, (one, result) in enumerate(zip(best, preview.results, strict=True)):
        record = result.summary
        numbers = (record.brightness, record.contrast_rms, record.ledger["leak"])
        weights = f"{preview.stones[k].weight_ct:.4f}", f"{preview.lost_points(k):.2f}"
        rows.append((f"{k + 1}", str(one.choice), *map(bracket, numbers), *weights, "as 1" if one.tied else ""))
    table(("", "choice", "brightness", "contrast", "leak", "ct", "points lost", "tied"), rows, left=2)
    if any(one.tied for one in best):
        say("  'as 1': the bracket of this choice overlaps that of choice 1")
    for k, result in enumerate(preview.results):
        say_shortfalls(result.summary, f"choice {k + 1}")
    say()


def _print_mains(preview: Preview) -> None:
    """The mains that deviate from their tier, and the effect of correcting each one alone on the first choice."""
    off = [main for main in preview.mains if main.off]
    if not off:
        say(f"no main deviates from its tier by more than {preview.coverage:g} standard uncertainties")
        say()
        return
    say(
        f"mains that deviate from their tier by more than {preview.coverage:g} standard uncertainties, "
        "with the change in choice 1 if that main alone is corrected:"
    )
    say()
    rows = []
    for main, mended in zip(off, preview.corrections, strict=True):
        differences = (f"{main.slope_deg:+.3f}", f"{main.azimuth_deg:+.3f}", f"{main.height_um:+.1f}")
        if mended.change is None:
            changes: tuple[str, ...] = (f"not possible: {mended.reason}", "", "", "")
        else:
            light = mended.change.light
            seen = (bracket(light[name], "+") for name in ("brightness", "contrast_rms", "leak"))
            changes = (*seen, f"{mended.change.lost_points:.2f}")
        rows.append((main.name, ", ".join(main.off), *differences, *changes))
    heads = ("main", "off in", "slope / deg", "azimuth / deg", "height / um", "brightness", "contrast", "leak", "points lost")
    table(heads, rows, left=2)
    say()


def bracket(record: Statistic, sign: str = "") -> str:
    """A number with its bracket, or with its standard error where that is wider, as it is of sampled ones."""

    def shown(number: float) -> str:
        return f"{number:{sign if round(number, 4) else ''}z.4f}"  # no sign at zero

    if record.error > record.high - record.low:
        error = f"{record.error:.4f}" if record.error >= 5e-5 else "<0.0001"
        return f"{shown(record.value)} +- {error}"
    return f"{shown(record.value)} [{shown(record.low)}, {shown(record.high)}]"
