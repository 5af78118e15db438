"""Run by `test_gpu.py` under numba-cuda's simulator: python simulated_gpu.py FILE writes what the kernels give for `cases`."""

import json
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

import raylab as rl
from raylab.convex_hulls import ConvexHull
from raylab.optics.materials import get_material
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import silhouette
from raylab.tracers.facet_search import entry_row
from raylab.tracers.keyed import keyed_uniform
from raylab.tracers.ledger import FIRST_SURFACE
from raylab.tracers.rim import sector_of
from raylab.tracers.stone_table import stone_table
from raylab.tracers.totals import MOMENTS
from raylab.tracers.wedges import wedges_of

POINTS, TIMES, SIDE, SAMPLES, UNEVEN = 4, 2, 2, 4, 9
"""Rays of a randomization, randomizations, pixels along a side, samples of each; so many that pixels take different numbers."""
ANGLES = {"table_pct": 60, "crown_angle_deg": 30}
NODES_NM = (450.0, 650.0)
IN_SINGLE = (0, 1)
"""Which of the cases are traced in single precision too."""
HELD = 19
"""Sums of a block: of one pixel of a map, of three of a picture in color."""
SEEDS, RAYS = 40, 12
BUILT = {
    "table_pct": [57.0, 60.0, 57.0, 57.0],
    "crown_angle_deg": [34.0, 33.0, 34.0, 34.0],
    "pavilion_angle_deg": [41.0, 41.5, 89.5, 41.0],
    "culet_pct": [0.0, 1.5, 0.0, 0.0],
    "upper_painting_deg": [0.0, 1.0, 0.0, 0.0],
    "star_pct": [50.0, 55.0, 50.0, 5.0],
    "weight_ct": [1.0, 0.5, 1.0, 1.0],
    "girdle_facets": [16] * 4,
    "girdle_finish": ["absorbing"] * 4,
    "absorption_per_mm": [0.05] * 4,
    "dome": ["head-shadow"] * 4,
}
"""Round brilliants, of which the last two are no stones."""
DESIGNS = [{"pavilion_angle_deg": 44.0}, {"pavilion_angle_deg": 89.5}, {"pavilion_angle_deg": 46.0}]


def cases() -> list[Scene]:
    """A perspective view under an image of the sky; tint, absorbing girdle and tilt under zones; a view from the side."""
    picture = rl.Dome("picture", sky="image", image=np.random.default_rng(3).random((6, 12)))
    tinted = get_material("diamond").tinted(0.05)
    plain = rl.cut("single cut", **ANGLES, pavilion_angle_deg=44)
    bruted = rl.cut("single cut", **ANGLES, pavilion_angle_deg=44, girdle_finish="absorbing", material=tinted)
    settings = TraceSettings(samples=SAMPLES, min_weight=1e-2)
    uneven = replace(settings, samples=UNEVEN)
    return [
        Scene(plain, picture, rl.View(distance_mm=60.0), settings),
        Scene(bruted, rl.load_dome("side-window"), rl.View(12.0, 30.0), settings),
        Scene(plain, rl.load_dome("head-shadow"), rl.View(90.0, 20.0), uneven),
    ]


def with_lots(paths: object, chance: float) -> list[list[float]]:
    """(SEEDS, MOMENTS) sums over rays of one seed each, where paths below a weight are ended by lot, or none."""
    ahead, begin, advance, book = paths.ahead.fn, paths.begin.fn, paths.advance.fn, paths.book.fn
    body = rl.cut("single cut", **ANGLES, pavilion_angle_deg=44)
    table, dome, turn = stone_table(body, 589.3), rl.load_dome("head-shadow").table, np.eye(3)
    wedges = wedges_of(table.planes, table.sloping, 3.0, True)
    stone = (table.planes, table.finish, len(body), *wedges, *table.rim, *table.medium)
    places, found = np.random.default_rng(4).uniform(-2.0, 2.0, (SEEDS, RAYS, 2)), []
    for seed, some in enumerate(places):
        row = np.zeros(MOMENTS)
        for key, (x, y) in enumerate(some):
            on, t = entry_row(table.planes, len(body), x, y, 10.0, 0.0, 0.0, -1.0)
            on, ray, off, _ = begin(stone, on, x, y, 10.0 - t, 0.0, 0.0, -1.0, 0.0, True, row)
            so_far, stands, segments = book(off, 1.0, FIRST_SURFACE, (0.0, 0.0), turn, dome, row), 1.0, 0
            lot = keyed_uniform(seed, key, 0, 0)
            while on >= 0:
                stood, rules = stands, (True, 1e-2, 200, chance, seed)
                met = ahead(stone, 3.0, on, ray)
                on, ray, stands, lot, off = advance(stone, *met, segments, ray, stands, lot, 0.0, rules, row)
                so_far = book(off, stood, float(segments), so_far, turn, dome, row)
                segments += 1
        found.append(row.tolist())
    return found


def judged() -> list[list[float]]:
    """For some outlines: of random places in and beside them, the shares wrongly taken for inside or outside, and left open."""
    from raylab.tracers.gpu.pictures import _ends2

    random, found = np.random.default_rng(5), []
    bodies = [
        rl.cut("emerald cut", table_pct=60),
        rl.cut("marquise brilliant", table_pct=57),
        rl.cut("single cut", **ANGLES, pavilion_angle_deg=44),
    ]
    for body in bodies:
        for view in (rl.View(), rl.View(40.0, 30.0, 20.0), rl.View(10.0, 5.0, distance_mm=60.0)):
            scene = Scene(body, rl.load_dome("head-shadow"), view, TraceSettings())
            corners = silhouette(body, view)
            sides = ConvexHull(corners).equations
            places = random.uniform(1.1 * corners.min(axis=0), 1.1 * corners.max(axis=0), (2000, 2))
            inside = (places @ sides[:, :2].T + sides[:, 2] <= 0.0).all(axis=1)
            near2, far2 = _ends2(scene)[[sector_of(*place) for place in places]].T
            away2 = (places**2).sum(axis=1)
            meets, misses = away2 < near2, away2 > far2
            wrong = (meets & ~inside) | (misses & inside)
            found.append([float(wrong.mean()), float((~meets & ~misses).mean())])
    return found


def asked_patiently(thread: threading.Thread) -> bool:
    """Whether a thread of the simulator runs. Its manager asks without end, and must not keep from them the lock they share."""
    time.sleep(0.0)
    return threading.Thread.is_alive(thread)


ALLOCATING = threading.Lock()


def shared_array(self: object, shape: object, dtype: object) -> np.ndarray:
    """The block's array of a line. The simulator's own function gives each of two threads that come at once one of its own."""
    caller = sys._getframe(1)
    with ALLOCATING:
        return self._allocations.setdefault((caller.f_code, caller.f_lineno), np.empty(shape, dtype))


def reduced() -> None:
    """The engines' modules with as few rays, randomizations and threads as show a fault: everything runs in pure Python."""
    import _numba_cuda_redirector  # noqa: F401 - done by site-packages' .pth file otherwise
    from numba.cuda.simulator.kernel import BlockThread
    from numba.cuda.simulator.kernelapi import FakeCUDAShared

    from raylab.tracers import randomizations
    from raylab.tracers.gpu import area_sums, batches, blocks, building, engine, pictures, pixel_cells, pixel_sums, single

    BlockThread.is_alive, FakeCUDAShared.array = asked_patiently, shared_array
    randomizations.USUAL_POINTS = building.USUAL_POINTS = POINTS
    batches.RANDOMIZATIONS, pictures.BAND = TIMES, 1
    tables = area_sums.outline_sums, pixel_sums.pixel_means, building.build
    functions = [*single._MADE.values(), *(kernel for table in tables for kernel in table.values())]
    for names in (
        *map(vars, (area_sums, blocks, building, pixel_cells, pixel_sums)),
        *(one.fn.__globals__ for one in functions),
    ):
        names |= {"THREADS": 2, "RANDOMIZATIONS": TIMES, "HELD": HELD}
    batches.CHANCE = building.CHANCE = pictures.CHANCE_IN_COLOR = 0.0
    building.CROWNS, building.PAVILIONS, building.SMALL = (33.0,), (40.5,), POINTS
    randomizations.Usual.first = lambda _: randomizations.LATTICES[0]  # where scenes begin that are not built there
    engine.why_no_device = lambda: None


def main() -> None:
    """What the kernels give for the cases, and for designs."""
    reduced()
    from raylab.designs.design import trace_designs
    from raylab.scene.pixel_grid import grid_around
    from raylab.sweeps.axes import plan_of
    from raylab.tracers import randomizations
    from raylab.tracers.gpu import building, engine, paths, single_engine

    found = []

    def seen(tracer: object, scene: Scene) -> dict[str, object]:
        traced = tracer.trace(scene, 589.3, grid_around(scene.stone, scene.view, SIDE))
        fields = {name: values.ravel().tolist() for name, values in traced.fields.items()}
        return {"mean": traced.totals.mean.tolist(), "fields": fields}

    for number, scene in enumerate(cases()):
        found.append(seen(engine.ENGINE, scene))
        if number in IN_SINGLE:
            found[-1]["single"] = seen(single_engine.ENGINE, scene)
    tinted, side = cases()[1], grid_around(cases()[1].stone, cases()[1].view, SIDE)
    tiles = list(engine.ENGINE.spectra(tinted, NODES_NM, side))
    assert [(tile.start, tile.stop) for tile, _, _ in tiles] == [(0, 3), (3, 4)], "in two bands"
    luminance, covered = (np.concatenate([tile[which] for tile in tiles], axis=-1).tolist() for which in (1, 2))
    found[1] |= {"spectra": (luminance, covered)}
    light = {"dome": rl.load_dome("head-shadow"), "wavelength_nm": 589.3, "cut": "single cut", **ANGLES}
    designs, settings = [{**light, **one} for one in DESIGNS], TraceSettings(engine="gpu", min_weight=1e-2)
    together = trace_designs(designs, settings)
    alone = np.concatenate([trace_designs([one], settings) for one in designs])
    found[-1] |= {"rows": together.tolist(), "alone": alone.tolist(), "reasons": together[:, -1].tolist()}
    run = plan_of(BUILT, {}, "paired").run(0, len(BUILT["table_pct"]))
    randomizations.LATTICES = building.LATTICES = (2, 3)  # both are tried for an error that neither reaches
    closer = replace(settings, standard_error=1e-6)
    found[-1] |= {"built": trace_designs(run, closer).tolist(), "by_host": trace_designs(list(run), closer).tolist()}
    found[-1]["judged"] = judged()
    found[-1]["lots"] = {chance: with_lots(paths, float(chance)) for chance in ("0.0", "0.3")}
    Path(sys.argv[1]).write_text(json.dumps(found))


if __name__ == "__main__":
    main()
