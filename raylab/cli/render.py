"""``raylab render``: trace a scene; maps, numbers and pictures into a folder."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import Parameter

from .console import progress, say, say_json, table

if TYPE_CHECKING:
    from ..scene import Scene
    from ..stats import Statistic
    from ..tracing import Result

Flag = Annotated[bool, Parameter(negative="")]


def render(
    scene: Path,
    /,
    *,
    out: Path,
    dome: str | None = None,
    tilt_deg: float | None = None,
    tilt_azimuth_deg: float | None = None,
    resolution: int | None = None,
    samples: int | None = None,
    engine: Literal["rays", "beams"] | None = None,
    precision: float | None = None,
    seed: int | None = None,
    force: Flag = False,
    json: Flag = False,
) -> None:
    """Trace a scene and write maps, numbers and pictures into a folder.

    Written are `summary.json`, `maps.nc` (every map, 32-bit floats, mm), `luminance.tiff` (linear, 32-bit floats),
    `overview.png` and one PNG per map. All appear at once when the work is done, or none.

    For example:

        raylab render scenes/well-proportioned.toml --out out --resolution 800

    Parameters
    ----------
    scene
        Scene file (TOML); see `raylab scenes`.
    out
        Folder to write to; made if it isn't there.
    dome
        Another dome than the scene's: a shipped name (see `raylab domes`) or a TOML file.
    tilt_deg
        Another tilt than the scene's, degrees.
    tilt_azimuth_deg
        Where the table leans to, degrees counter-clockwise from +x.
    resolution
        Pixels along each side of the maps.
    samples
        View rays per pixel, a square number (sampled engine).
    engine
        Insist on `rays` (sampled) or `beams` (exact, parallel view).
    precision
        Width of the bracket on brightness (exact engine).
    seed
        Key of the random samples.
    force
        Overwrite files that an earlier run left in the folder.
    json
        Print the numbers as JSON instead of a table.
    """
    from ..files import report, whole_set
    from ..maps import DEFINITIONS
    from ..scenefile import load_scene
    from ..tracing import trace_scene

    settings = {"resolution": resolution, "samples": samples, "engine": engine, "precision": precision, "seed": seed}
    view = {"tilt_deg": tilt_deg, "tilt_azimuth_deg": tilt_azimuth_deg}
    wanted = _with_options(load_scene(scene), dome, view, settings)
    planned = ["summary.json", "maps.nc", "luminance.tiff", "overview.png", *(f"{name}.png" for name in DEFINITIONS)]
    with whole_set(out, planned, force=force) as stage:
        with progress("tracing") as tell:
            result = trace_scene(wanted, progress=tell)
        with progress("writing") as tell:
            count = _write_all(result, stage, tell)
    if json:
        say_json(report(result))
    else:
        _tell(result)
        say(f"{count} files in {out}")


def _with_options(scene: Scene, dome: str | None, view: dict[str, Any], settings: dict[str, Any]) -> Scene:
    """The scene with what the command line states otherwise; faults are told by the option's name."""
    from ..errors import InputError
    from ..scenefile import load_dome

    try:
        if dome is not None:
            scene = replace(scene, dome=load_dome(dome))
        looking = replace(scene.view, **{key: value for key, value in view.items() if value is not None})
        return replace(scene, view=looking, **{key: value for key, value in settings.items() if value is not None})
    except InputError as error:
        if error.file is not None or error.key not in ("dome", *view, *settings):
            raise
        option = "--" + error.key.replace("_", "-")
        raise InputError(error.problem, key=option, value=error.value, expected=error.expected) from error


def _write_all(result: Result, folder: Path, tell: Any) -> int:
    """Everything that a render leaves behind; returns the number of files."""
    from .. import __version__, files, plots

    scene = result.scene
    about = {"title": scene.title, "scene_hash": scene.hash(), "raylab_version": __version__}
    names = list(result.maps.data_vars)
    files.save_maps(result.maps, folder / "maps.nc", about)
    files.save_luminance(result.maps, folder / "luminance.tiff")
    files.save_png(plots.overview_figure(result), folder / "overview.png")
    for done, name in enumerate(names, start=1):
        files.save_png(plots.map_figure(result, str(name)), folder / f"{name}.png")
        tell(done / len(names))
    files.save_summary(result, folder / "summary.json")
    return len(list(folder.iterdir()))


def _tell(result: Result) -> None:
    """The numbers as a compact table."""
    from ..files import report

    scene, summary, facts = result.scene, result.summary, report(result)
    say(scene.title or scene.name)
    stone = scene.stone
    say(f"{stone.name}: {stone.material.name}, {stone.weight_ct:.3f} ct; dome {scene.dome.name}; {_view(scene)}")
    waves = ", ".join(f"{w:g}" for w in scene.wavelengths)
    say(f"engine {summary.engine}, {waves} nm, scene {facts['scene']['hash'][:12]}")
    say()
    heads = ("", "value", "at least", "at most", "std. error")
    table(("ledger (area mean)", *heads[1:]), [_row(name, entry) for name, entry in summary.ledger.items()])
    total = sum(entry.value for entry in summary.ledger.values())
    say(f"  the six sum to {total:.9f}")
    say()
    table(("statistics", *heads[1:]), [_row(name, entry) for name, entry in summary.statistics().items()])
    for about, note in facts["notes"].items():
        say(f"  {about}: {note}")
    say()


def _row(name: str, entry: Statistic) -> tuple[str, ...]:
    error = f"{entry.error:.1e}" if entry.error > 0.0 else "none"
    return name, f"{entry.value:.5f}", f"{entry.low:.5f}", f"{entry.high:.5f}", error


def _view(scene: Scene) -> str:
    view = scene.view
    words = f"tilted {view.tilt_deg:g} degrees towards {view.tilt_azimuth_deg:g}" if view.tilt_deg else "face-up"
    return words if view.distance_mm is None else f"{words}, eye at {view.distance_mm:g} mm"
