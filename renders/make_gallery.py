"""Make the gallery's pictures, all or by name, beside this file:

    python renders/make_gallery.py
    python renders/make_gallery.py lamps eyes

Stones and rooms are invented; `renders/GALLERY.md` says what each picture shows.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import imageio.v3 as iio
import numpy as np

import raylab as rl
from raylab.pictures.brillianteering_plots import grid_figure, preview_figure
from raylab.pictures.fire_plots import fire_figure
from raylab.pictures.inclusion_plots import inclusion_figure
from raylab.pictures.tilt_plots import tilt_figure
from raylab.pictures.visibility_plots import slices_figure
from raylab.report.pictures import maps_figure, packed_png

HERE = Path(__file__).parent
SCENES = HERE.parent / "scenes"
GREY = 0.03
SIDE = 360
CUTS = {
    "pavilion 38, crown 34.5": {"pavilion_angle_deg": 38.0},
    "pavilion 40.75, crown 34.5": {},
    "pavilion 44, crown 34.5": {"pavilion_angle_deg": 44.0},
    "pavilion 40.75, crown 25": {"crown_angle_deg": 25.0},
}

OTHER_CUTS = (
    ("oval brilliant", "pear brilliant", "marquise brilliant", "cushion brilliant"),
    ("princess cut", "triangular brilliant", "emerald cut", "rose cut"),
)


def stone(material: Any = "diamond", **proportions: float) -> rl.Stone:
    usual = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "lower_half_pct": 77.0}
    return rl.round_brilliant(**{**usual, **proportions}, material=material)


def save(name: str, *encoded: np.ndarray) -> None:
    """Pictures of one height side by side, 8 bits."""
    iio.imwrite(HERE / f"{name}.png", np.round(255.0 * np.concatenate(encoded, axis=1)).astype(np.uint8))


def figure_of(name: str, figure: Any) -> None:
    figure.savefig(HERE / f"{name}.png", dpi=90)


def seen(scene: rl.Scene, exposure: float = 1.0, light: str = "D65", resolution: int = SIDE) -> np.ndarray:
    return rl.color_picture(replace(scene, resolution=resolution), light, exposure, 16).srgb(GREY)


def face_up() -> None:
    save("face-up", seen(rl.load_scene(SCENES / "well-proportioned.toml"), resolution=480))


def cuts() -> None:
    """Eight cuts face-up in rows of four, with the proportions that they have by default."""
    rows = []
    for names in OTHER_CUTS:
        stones = [rl.cut(name, **({"table_pct": 58.0} if name != "rose cut" else {})) for name in names]
        loose = rl.TraceSettings(precision=1e-2)
        scenes = [rl.Scene(one, rl.load_dome("furnished-room"), settings=loose) for one in stones]
        rows.append(np.concatenate([seen(scene, 1.5, resolution=230) for scene in scenes], axis=1))
    save("cuts", np.concatenate(rows, axis=0))


def compare_cuts() -> None:
    """Luminance of a round, an oval and a cushion brilliant at outlines of one area, tilted about their length."""
    usual = {"table_pct": 58.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
    stones = [rl.cut(f"{name} brilliant", **usual) for name in ("round", "oval", "cushion")]
    lit, about = rl.load_dome("head-shadow"), rl.View(tilt_azimuth_deg=90.0)
    found = rl.compare(*stones, dome=lit, view=about, tilts=(0.0, 10.0), scale="equal area")
    (HERE / "compare-cuts.png").write_bytes(packed_png(maps_figure(found, "luminance"), dpi=110))


def lamps() -> None:
    lit = rl.load_dome("small-lamps")
    looks = (rl.View(), rl.View(6.0, 20.0))
    save("lamps", *(seen(rl.Scene(stone(), lit, look), 5.0) for look in looks))


def fire() -> None:
    kinds = ("diamond", "sapphire")
    found = [rl.fire_map(rl.Scene(stone(kind), rl.load_dome("head-shadow"), resolution=480)) for kind in kinds]
    titles = [f"{kind}: mean {one.mean_deg:.2f} degree" for kind, one in zip(kinds, found, strict=True)]
    figure_of("fire", fire_figure(found, titles))


def body_color() -> None:
    """Face-up and through the pavilion: colourless, faint yellowish, faint brownish; and the colours of several cuts told."""
    even = rl.Dome(name="even", tray_radiance=1.0)
    clear = rl.get_material("diamond")
    rows = []
    for view in (rl.View(), rl.View(180.0)):
        kinds = [clear, *(clear.tinted(rl.load_tint(name).pairs) for name in ("faint-yellowish", "faint-brownish"))]
        scenes = [rl.Scene(stone(material), even, view, rl.TraceSettings(precision=2e-4)) for material in kinds]
        rows.append(np.concatenate([seen(scene, 0.9, resolution=240) for scene in scenes], axis=1))
    save("body-color", np.concatenate(rows, axis=0))
    for tint in ("faint-yellowish", "faint-brownish"):
        tinted = clear.tinted(rl.load_tint(tint).pairs)
        for words, angles in CUTS.items():
            one = stone(tinted, **angles)
            up, below = (rl.face_up_color(rl.Scene(one, even, view)) for view in (rl.View(), rl.View(180.0)))
            lab = " | ".join(f"{number:.1f}" for number in up.lab)
            sys.stdout.write(f"| {tint} | {words} | {lab} | {up.difference:.2f} | {below.difference:.2f} |\n")


def convergence() -> None:
    """Root mean square of XYZ over a picture, against 96 wavelengths, for sets of both kinds."""
    from matplotlib.figure import Figure

    numbers, finest = (2, 4, 8, 16, 32), 96
    figure = Figure(figsize=(9.2, 3.8), layout="constrained")
    for axes, name in zip(figure.subplots(1, 2, sharey=True), ("head-shadow", "small-lamps"), strict=True):
        scene = rl.Scene(stone(), rl.load_dome(name), rl.View(6.0, 20.0), rl.TraceSettings(precision=1e-2), 96)
        true = np.nan_to_num(rl.color_picture(scene, spectrum=finest).xyz)
        for kind, style, tint in (("uniform", "o-", "#31688e"), ("gauss", "s--", "#440154")):
            seen = [rl.color_picture(scene, spectrum=rl.wavelength_set(n, kind)).xyz for n in numbers]
            off = [np.sqrt(np.mean((np.nan_to_num(xyz) - true) ** 2) / np.mean(true**2)) for xyz in seen]
            axes.loglog(numbers, off, style, color=tint, label=kind)
        axes.set_xticks(numbers, [str(n) for n in numbers])
        axes.minorticks_off()
        axes.set(xlabel="wavelengths", title=f"dome {name}, tilted by 6 degrees")
        axes.grid(alpha=0.3)
        axes.legend(frameon=False)
    figure.axes[0].set_ylabel(f"rms of XYZ against {finest}, relative")
    figure_of("convergence", figure)


def rooms() -> None:
    workroom, counter = (rl.load_scene(SCENES / f"{name}.toml") for name in ("north-workroom", "evening-counter"))
    save("rooms", seen(workroom, 5.0), seen(counter, 60.0, "A"))


def tilted() -> None:
    dome, angles = rl.load_dome("head-shadow"), list(range(0, 31, 2))
    figure_of("tilt", tilt_figure(rl.tilt(stone(), dome, angles), rl.scintillation(stone(), dome, angles)))


def eyes() -> None:
    dome = rl.with_head(rl.Dome(zones=(rl.Zone((10, 50), (20, 80), 4.0),)), 250.0)
    pair = rl.eye_pair(rl.Scene(stone(), dome, rl.View(5.0, 40.0), rl.TraceSettings(samples=9), 300), exposure=3.0, spectrum=8)
    gap = np.full((300, 12, 3), 1.0)
    save("eyes", pair.side_by_side(background=GREY), gap, pair.anaglyph(GREY))


def film() -> None:
    both = [stone(), stone(pavilion_angle_deg=43.5)]
    look = rl.circling(24, 10.0)
    rl.save_video(both, rl.load_dome("small-lamps"), HERE / "film.gif", look, size=150, exposure=5.0, fps=12, force=True,
                  spectrum=10, stills=HERE.parent / "out-gallery-stills", progress=True)  # fmt: skip


def inclusions() -> None:
    """Three plotted inclusions: luminance, contrast against the stone without, reflections before one is seen."""
    found = rl.inclusion_images(replace(rl.load_scene(SCENES / "plotted-inclusions.toml"), resolution=256))
    (HERE / "inclusions.png").write_bytes(packed_png(inclusion_figure(found), dpi=90))


def visibility() -> None:
    """The luminance that is lost to a small dark speck, in slices of a stone."""
    field = rl.visibility(rl.load_scene(SCENES / "well-proportioned.toml"))
    (HERE / "visibility.png").write_bytes(packed_png(slices_figure(field, "lost"), dpi=90))


def compare() -> None:
    """Contrast of the two offered stones, face-up and tilted; few draws, since no uncertainty shows in it."""
    offers = [rl.load_stone(SCENES / "stones" / f"offer-{letter}.csv") for letter in "ab"]
    found = rl.compare(*offers, dome=rl.load_dome("head-shadow"), tilts=(0.0, 10.0), known_to_pct=50.0)
    (HERE / "compare.png").write_bytes(packed_png(maps_figure(found, "contrast"), dpi=130))


def brillianteering() -> None:
    """A blocked stone finished in the three best of nine ways under an objective, and all nine as small maps."""
    blocked, dome = rl.load_stone(SCENES / "stones" / "blocked.csv"), rl.load_dome("head-shadow")
    grid = rl.brillianteering_grid(blocked, dome, {"star_pct": [45, 50, 55], "lower_half_pct": [72, 77, 82]})
    choices = [best.choice for best in rl.best_brillianteering(grid, "most brightness with weight_ct >= 1.014")]
    preview = rl.brillianteer(blocked, dome, choices, coverage=100.0)
    (HERE / "finish.png").write_bytes(packed_png(preview_figure(preview), dpi=90))
    (HERE / "finish-grid.png").write_bytes(packed_png(grid_figure(grid, tuple(choices)), dpi=90))


PICTURES: dict[str, Callable[[], None]] = {
    "face-up": face_up,
    "cuts": cuts,
    "compare-cuts": compare_cuts,
    "lamps": lamps,
    "fire": fire,
    "body-color": body_color,
    "convergence": convergence,
    "rooms": rooms,
    "tilt": tilted,
    "inclusions": inclusions,
    "visibility": visibility,
    "compare": compare,
    "brillianteering": brillianteering,
    "eyes": eyes,
    "film": film,
}

if __name__ == "__main__":
    for name in sys.argv[1:] or PICTURES:
        PICTURES[name]()
