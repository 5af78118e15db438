"""Makes what the pages show, into docs/shown.

    python docs/make_shown.py pages     # pictures and printed lists, by running the pages' own commands
    python docs/make_shown.py checks    # how far each check of tests/validation is off
    python docs/make_shown.py           # both

Run it again after a change to what commands draw or print, or to what is checked.
"""

from __future__ import annotations

import importlib
import io
import shutil
import sys
import tempfile
from pathlib import Path

import snippets
from matplotlib.figure import Figure
from PIL import Image

import raylab as rl

SHOWN = Path(__file__).parent / "shown"
MOST_PIXELS = 1000
PICTURES = {
    "tutorials/researcher.md": ("pavilion.png",),
    "tutorials/cutter.md": ("blocked.png", "out/finish/choices.png", "out/finish/grid.png", "out/steeper/repolish.png"),
    "tutorials/buyer.md": tuple(
        f"out/compare/offer-{name}.png" for name in ("a-side-window-tilt-10", "b-side-window-tilt-10", "b-contrast")
    ),
}
LISTS = {
    "tutorials/cutter.md": {"measure": "blocked.txt", "brillianteer scenes/stones/blocked.csv --out out/finish ": "finish.txt"},
    "tutorials/buyer.md": {"compare": "compare.txt"},
}
"""By page: what a command prints, known by how it begins, and the file it goes to."""


def pages() -> None:
    for page, pictures in PICTURES.items():
        folder = Path(tempfile.mkdtemp())
        left = snippets.run(snippets.HERE / page, folder, skip=("workbench", "film", "tilt"))
        for picture in pictures:
            save(folder / picture)
        for beginning, name in LISTS.get(page, {}).items():
            (SHOWN / name).write_text(next(text for line, text in left.printed.items() if line.startswith(beginning)))
        shutil.rmtree(folder)
    worked_path()
    rounded_edges()
    white_furnace()


def checks() -> None:
    """How many of its tolerances each check is off, as checks.csv."""
    tests = snippets.ROOT / "tests"
    sys.path[:0] = [str(tests / "validation"), str(tests)]
    from checks import of_module

    rows = ["module,check,tolerances"]
    for module in sorted(path.stem for path in (tests / "validation").glob("checks_*.py")):
        try:
            found = of_module(importlib.import_module(module))
        except KeyError:  # holds no such checks
            continue
        rows += [f"{module},{one.id},{one.values[0]():.3g}" for one in found]
    (SHOWN / "checks.csv").write_text("\n".join(rows) + "\n")


def save(source: Path | io.BytesIO, name: str = "") -> None:
    """A picture, made small enough to be kept in the repository: fewer pixels, and a palette that keeps rare colours too."""
    picture = Image.open(source).convert("RGB")
    picture.thumbnail((MOST_PIXELS, MOST_PIXELS), Image.Resampling.LANCZOS)
    few = picture.quantize(256, method=Image.Quantize.MAXCOVERAGE, kmeans=1, dither=Image.Dither.NONE)
    few.save(SHOWN / (name or Path(str(source)).name), optimize=True)


def worked_path() -> None:
    """The ray of the page on physics, in the section of the stone through it."""
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_pct=3.5, diameter_mm=6.5)
    path = rl.ray_path(rl.Scene(stone, rl.load_dome("head-shadow")), 2.0, 0.1)
    figure = Figure(figsize=(7, 4.6), layout="constrained")
    axes = figure.subplots()
    x, z = outline(stone, 0.1).T
    axes.fill(x, z, facecolor="0.93", edgecolor="0.2")
    points = [(2.0, 2.4), *((hit.point_mm[0], hit.point_mm[2]) for hit in path.hits[:4])]
    axes.plot(*zip(*points, strict=True), color="black", marker="o", markersize=4)
    for hit in (path.hits[0], path.hits[3]):
        (x0, _, z0), way = hit.point_mm, hit.direction
        axes.annotate("", (x0 + way[0], z0 + way[2]), (x0, z0), arrowprops={"arrowstyle": "->", "linestyle": "--"})
        axes.text(x0 + way[0], z0 + way[2] + 0.1, f"{hit.weight:.3f} to the {hit.fate}", ha="center")
    for hit, words, dx in zip(path.hits[1:3], ("main 0", "main 4"), (0.15, -0.15), strict=True):
        axes.text(hit.point_mm[0] + dx, hit.point_mm[2] - 0.2, words, ha="left" if dx > 0 else "right")
    axes.text(2.08, 2.2, "view ray", ha="left")
    axes.set(aspect="equal", xlabel="x / mm", ylabel="z / mm", xlim=(-3.6, 4.4), ylim=(-3.2, 2.7))
    drawn = io.BytesIO()
    figure.savefig(drawn, format="png", dpi=110)
    save(drawn, "worked-path.png")


def white_furnace() -> None:
    """What one meeting with a rough facet of diamond loses to other mirrors, from outside and from inside, in percent."""
    tests = snippets.ROOT / "tests"
    sys.path[:0] = [str(tests / "validation"), str(tests)]
    from checks_scattering import shares_by_quadrature

    angles, n = (0.0, 30.0, 60.0, 80.0), 2.417
    heads = [f"{side} {angle:2.0f} deg".rjust(16) for side in ("outside", "inside") for angle in angles]
    lines = ["lost / %   " + "".join(heads)]
    for roughness in (0.05, 0.1, 0.2, 0.3, 0.5, 1.0):
        ways = [(1.0, n), (n, 1.0)]
        lost = [100.0 * (1.0 - sum(shares_by_quadrature(angle, roughness, *way))) for way in ways for angle in angles]
        lines.append(f"rough {roughness:<5g}" + "".join(f"{share:16.2f}" for share in lost))
    (SHOWN / "white-furnace.txt").write_text("\n".join(lines) + "\n")


def rounded_edges() -> None:
    """What round edges change: a corner of the table from near, and the numbers of the whole stone."""
    from raylab.scene.pixel_grid import PixelGrid
    from raylab.tracing import trace_scene

    sharp = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    dome, near = rl.load_dome("head-shadow"), PixelGrid(1.7, -0.13, 0.00065, 400)
    stones = {"sharp": sharp, **{f"{radius} um": rl.rounded(sharp, radius, 5) for radius in (1, 5, 20)}}
    figure = Figure(figsize=(10, 3), layout="constrained")
    lines = [f"{'edges':8s} {'planes':>6s} {'brightness':>18s} {'contrast_rms':>18s} {'weight lost':>12s}"]
    for axes, (name, stone) in zip(figure.subplots(1, 4, sharey=True), stones.items(), strict=True):
        settings = rl.TraceSettings(standard_error=1e-4, precision_of=("brightness", "contrast_rms"))
        scene = rl.Scene(stone, dome, settings=settings)
        found = trace_scene(scene, by_facet=False, grid=near)
        axes.imshow(
            found.map_values("luminance"), cmap="cividis", vmin=0, vmax=1, origin="lower", extent=(1.7, 1.96, -0.13, 0.13)
        )
        axes.set(title=name, xlabel="x / mm", ylabel="y / mm" if name == "sharp" else "")
        light, contrast = found.summary.brightness, found.summary.contrast_rms
        numbers = f"{light.value:8.5f} ± {light.error:.5f} {contrast.value:8.5f} ± {contrast.error:.5f}"
        lost = 1.0 - stone.weight_ct / sharp.weight_ct
        lines.append(f"{name:8s} {len(stone):6d} {numbers:>37s} {1e6 * lost:8.2f} ppm")
    drawn = io.BytesIO()
    figure.savefig(drawn, format="png", dpi=110)
    save(drawn, "rounded-edges.png")
    (SHOWN / "rounded-edges.txt").write_text("\n".join(lines) + "\n")


def outline(stone: rl.Stone, y_mm: float) -> object:
    """(P, 2) the corners of a stone's section at y, x and z in mm, in order."""
    import numpy as np
    from scipy.spatial import HalfspaceIntersection

    cut = np.column_stack([stone.normals[:, [0, 2]], stone.normals[:, 1] * y_mm - stone.distances_mm])
    corners = HalfspaceIntersection(cut[np.hypot(cut[:, 0], cut[:, 1]) > 1e-9], np.zeros(2)).intersections
    return corners[np.argsort(np.arctan2(corners[:, 1], corners[:, 0]))]


if __name__ == "__main__":
    for part in (pages, checks):
        if part.__name__ in (sys.argv[1:] or ["pages", "checks"]):
            part()
