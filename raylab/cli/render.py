"""``raylab render``: trace a scene and write maps, numbers and pictures into a folder."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from cyclopts import Parameter

from ..demo import FIRST, demo_folder, own_or_demo
from .console import say, say_json, table
from .options import AS_IN_THE_FILE, AS_THE_SCENE_SAYS, Engine, Flag, Force, Json, OutFolder, SceneFile, Sight, Subject

if TYPE_CHECKING:
    from ..progress import Progress
    from ..results.accounting import FacetTable
    from ..results.dark_areas import DarkAreas
    from ..results.statistics import Statistic
    from ..scene.scene import Scene
    from ..tracing import Result


def render(
    scene: SceneFile = Path(FIRST),
    /,
    *,
    out: OutFolder,
    subject: Subject = AS_IN_THE_FILE,
    sight: Sight = AS_THE_SCENE_SAYS,
    engine: Engine = None,
    precision: float | None = None,
    facets: Flag = False,
    dark: Flag = False,
    svg: Literal["luminance", "sky", "head", "leak", "absorbed", "scattered", "untraced", "glare", "window"] | None = None,
    three_d: Annotated[bool, Parameter(name="--3d", negative="")] = False,
    ray: Annotated[list[tuple[float, float]] | None, Parameter(negative="")] = None,
    force: Force = False,
    json: Json = False,
) -> None:
    """Trace a scene and write maps, numbers and pictures into a folder.

    The command writes `summary.json`, `maps.nc` (all maps, 64-bit floats, coordinates in mm), `luminance.tiff` (linear, 32-bit
    floats), `overview.png` and one PNG per map. The files appear together when the work is done, or not at all.

    Without a scene it draws the demo stone `well-proportioned`.

    For example:

        raylab render --out out
        raylab render scenes/well-proportioned.toml --out out --resolution 800

    Parameters
    ----------
    precision
        Width of the bracket on brightness: a smaller one is more exact and takes longer (exact engine).
    facets
        Print the light that leaves through each tier and the causes of dark areas. Also write `facets.csv` (every facet) and
        `leak-from-below.png` (exact engine).
    dark
        Print the largest connected dark area and the dark band across the width of a long stone. `summary.json` holds them too.
        Also write `dark-areas.png`.
    svg
        Also write a vector picture coloured by this quantity, such as `luminance.svg`. Its polygons are virtual facets:
        each is a part of the face with one path of light, which a browser shows on hover (exact engine).
    three_d
        Also draw the stone in 3D with its tiers and a view ray: `stone-3d.png`.
    ray
        Point of the map, x and y in mm. Its view ray is drawn through the stone with the light that leaves at each hit, as
        in `--3d --ray 1.2 0.5`. The option can be repeated. By default one ray beside the middle is drawn.
    """
    from ..errors import InputError
    from ..files import report
    from ..pictures.drawing3d import why_not_drawn
    from ..progress import reporter
    from ..results.maps import DEFINITIONS
    from ..tracers.engines import engine_for
    from ..tracing import trace_scene
    from ..whole_files import whole_set

    wanted = subject.scene(scene, sight, engine=engine, precision=precision)
    planned = ["summary.json", "maps.nc", "luminance.tiff", "overview.png", *(f"{name}.png" for name in DEFINITIONS)]
    exact = engine_for(wanted).exact
    extra = [*(["facets.csv", "leak-from-below.png"] if facets and exact else []), *([f"{svg}.svg"] if svg and exact else [])]
    if ray and not three_d:
        raise InputError("needs the 3D picture", key="--ray", expected="the option --3d as well")
    lacking = why_not_drawn() if three_d else ""
    solid = ["stone-3d.png"] if three_d and not lacking else []
    outlined = ["dark-areas.png"] if dark else []
    with whole_set(out, planned + extra + solid + outlined, force=force) as stage:
        if solid:  # first, so that a point outside the stone is refused before the work
            _draw_3d(wanted, ray, stage / "stone-3d.png")
        result = trace_scene(wanted, progress=True)
        areas = _draw_dark(result, stage / "dark-areas.png") if dark else None
        with reporter(True, "pictures") as update:
            count = _write_all(result, areas, stage, extra, update)
    if json:
        say_json(report(result, areas))
    else:
        if own_or_demo(scene).parent == demo_folder():
            say(f"the demo scene {scene.stem}, shipped with raylab; `raylab scenes` lists more")
        _print(result)
        if areas is not None:
            _print_dark(areas)
        if result.summary.facets is not None and facets:
            _print_facets(result.summary.facets)
        if svg and not exact:
            say(f"  {svg}.svg: not written; virtual facets need an exact engine (parallel view)")
        if lacking:
            say(f"  stone-3d.png: not written; {lacking}")
        say(f"{count} files in {out}")


def _draw_3d(scene: Scene, points: list[tuple[float, float]] | None, file: Path) -> None:
    """The stone in 3D, with the view rays through points of the map, or through one beside the middle."""
    from ..errors import InputError
    from ..pictures.drawing3d import view3d
    from ..single_ray import ray_path

    radius = float(scene.stone.size_mm[:2].min()) / 2.0
    points = [(0.36 * radius, 0.14 * radius)] if points is None else points
    paths = [ray_path(scene, x, y) for x, y in points]
    for point, path in zip(points, paths, strict=True):
        if not path.hits:
            raise InputError("outside the stone", key="--ray", value=point, expected="a point on the stone, x and y in mm")
    view3d(scene.stone, paths, file=file)


def _draw_dark(result: Result, file: Path) -> DarkAreas:
    """The dark areas, outlined over the luminance."""
    from ..darkness import dark_areas
    from ..files import save_png
    from ..pictures.dark_plots import dark_figure

    found = dark_areas(result)
    save_png(dark_figure(result, found), file)
    return found


def _write_all(result: Result, dark: DarkAreas | None, folder: Path, extra: list[str], update: Progress) -> int:
    """Write all files of a render, `extra` files by their names; return the number of files."""
    from concurrent.futures import ThreadPoolExecutor

    from .. import files
    from ..pictures import drawings, plots, vector
    from ..results.maps import DEFINITIONS
    from ..version import __version__

    scene = result.scene
    about = {"title": scene.title, "scene_hash": scene.hash(), "raylab_version": __version__}
    names = [name for name in DEFINITIONS if name in result.arrays.names]
    with ThreadPoolExecutor(1) as packer:  # compressing lets Python run on, which draws meanwhile
        packed = [packer.submit(files.save_maps, result.arrays, folder / "maps.nc", about)]
        packed.append(packer.submit(files.save_luminance, result.arrays, folder / "luminance.tiff"))
        drawn = {}
        for name, pixels in plots.map_pictures(result, names):
            drawn[name] = pixels
            packed.append(packer.submit(files.save_pixels, pixels, folder / f"{name}.png"))
            update(len(drawn), len(names) + 1)
        packed.append(packer.submit(files.save_pixels, plots.overview_picture(result, drawn), folder / "overview.png"))
        for one in packed:
            one.result()
    for name in extra:
        if name.endswith(".svg"):
            files.save_svg(vector.svg(result, name.removesuffix(".svg")), folder / name)
        elif name == "facets.csv" and result.summary.facets is not None:
            files.save_facets(result.summary.facets, folder / name)
        else:
            files.save_png(drawings.leak_figure(result), folder / name)
    files.save_summary(result, folder / "summary.json", dark)
    return len(list(folder.iterdir()))


def _print(result: Result) -> None:
    """The numbers as a compact table."""
    from ..files import report

    scene, summary, facts = result.scene, result.summary, report(result)
    say(scene.title or scene.name)
    stone = scene.stone
    say(f"{stone.name}: {stone.material.name}, {stone.weight_ct:.3f} ct; dome {scene.dome.name}; {_view(scene)}")
    waves = ", ".join(f"{w:g}" for w in scene.settings.all_nm)
    say(f"engine {summary.engine}, {waves} nm, scene {facts['scene']['hash'][:12]}")
    say()
    heads = ("", "value", "at least", "at most", "std. error")
    table(("ledger (area mean)", *heads[1:]), [_row(name, entry) for name, entry in summary.ledger.items()])
    total = sum(entry.value for entry in summary.ledger.values())
    say(f"  sum of the six entries: {total:.9f}")
    say()
    table(("statistics", *heads[1:]), [_row(name, entry) for name, entry in summary.beside_ledger.items()])
    for about, note in facts["notes"].items():
        say(f"  {about}: {note}")
    say()


def _print_facets(facets: FacetTable) -> None:
    """The accounting by tier, and the paths of the dark areas."""
    from ..results.accounting import DARK_BELOW

    count = Counter(facets.tiers)
    columns = ("area", "dark", "sky", "head", "leak", "scattered", "glare")
    rows = [(tier, str(count[tier]), *(f"{100.0 * sums[c]:.3f}" for c in columns)) for tier, sums in facets.by_tier().items()]
    table(("by tier", "facets", *(f"{c} %" for c in columns)), rows)
    say("  area, dark: share of the outline, by entry facet; the others: share of the light, by the facet where it leaves")
    say()
    value, low, high = (100.0 * share for share in facets.dark)
    say(f"dark (luminance below {DARK_BELOW:g} of the mean): {value:.3f} % of the outline, bracket {low:.3f} to {high:.3f} %")
    shown = [path for path in facets.dark_paths[:8] if path.area >= 1e-4]
    if shown:
        table(("% of the outline", "strongest path"), [(f"{100 * p.area:.3f}", str(p)) for p in shown], left=2)
    say()


def _print_dark(found: DarkAreas) -> None:
    """The dark areas, and where the largest one lies."""
    from ..results.dark_areas import NUMBERS

    rows = [_row(NUMBERS[key].label, one) for key, one in found.statistics.items()]
    table((f"dark: below {found.below:g} of the mean", "value", "at least", "at most", "std. error"), rows)
    x, y, left, right, bottom, top = (round(mm, 3) + 0.0 for mm in (*found.center_mm, *found.extent_mm))  # no minus zero
    say(f"  the largest lies about ({x:.3f}, {y:.3f}) mm: x from {left:.3f} to {right:.3f}, y from {bottom:.3f} to {top:.3f}")
    say()


def _row(name: str, entry: Statistic) -> tuple[str, ...]:
    error = f"{entry.error:.1e}" if entry.error > 0.0 else "none"
    return name, f"{entry.value:.5f}", f"{entry.low:.5f}", f"{entry.high:.5f}", error


def _view(scene: Scene) -> str:
    view = scene.view
    words = f"tilted {view.tilt_deg:g} degrees towards {view.tilt_azimuth_deg:g}" if view.tilt_deg else "face-up"
    return words if view.distance_mm is None else f"{words}, eye at {view.distance_mm:g} mm"
