"""A live page in a browser, asked for the numbers behind its pictures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Browser, Page

import raylab as rl
from raylab.live.baking import live_set
from raylab.live.live_scene import LiveScene, lights_of
from raylab.live.page import show_html
from raylab.optics.spectrum import color_weights
from raylab.scene.pixel_grid import PixelGrid
from raylab.tracers.sampled.view_rays import sample_points

WAIT_MS = 240_000
CENTRE = (0.5, 0.5)
Window = tuple[float, float, float]
"""Middle and half side of a part of the picture, in halves of the whole one."""
WHOLE = (0.0, 0.0, 1.0)

_PLATE = """async ([stone, dome, side, frames, view, quality]) => {
  const { tracer } = document.querySelector("main").shownLive;
  const plate = tracer.plate(side);
  for (let n = 0; n < frames; n += 1) {
    tracer.add(plate, stone, tracer.domes[dome], view, quality);
    if (n % 8 === 7) await tracer.finished();
  }
  const [color, ledger, others] = tracer.read(plate.film, side, side).map((values) => [...values]);
  const means = tracer.means(plate);
  tracer.develop(plate, { exposure: 1, backdrop: 0.1, map: null });
  const shown = new Uint8Array(4 * side * side);
  tracer.gl.readPixels(0, 0, side, side, tracer.gl.RGBA, tracer.gl.UNSIGNED_BYTE, shown);
  const { totals } = plate;
  plate.free();
  return { color, ledger, others, means, shown: [...shown], totals: [...totals] };
}"""
_RAYS = """([numbers, stone, dome, turn, wave, quality]) => {
  const { tracer } = document.querySelector("main").shownLive;
  return tracer.rays(numbers, stone, dome, turn, wave, quality);
}"""


class LivePage:
    """Stones and domes on a live page that has stopped to draw by itself; `faults` are the page's errors."""

    def __init__(self, browser: Browser, folder: Path, stones: Sequence[rl.Stone], domes: Sequence[Any]) -> None:
        scene = LiveScene(tuple(stones), lights_of(domes))
        self.stones, self.domes, self.half_mm = scene.stones, scene.domes, scene.half_mm
        self.file = folder / "live.html"
        self.file.write_text(show_html(scene, stills=False), encoding="utf-8")
        self.context = browser.new_context(offline=True, reduced_motion="reduce", viewport={"width": 400, "height": 700})
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(WAIT_MS)
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.faults.append(message.text) if message.type == "error" else None)
        self.page.goto(self.file.as_uri())
        self.page.evaluate("() => { document.querySelector('main').shownLive.hidden = true; }")

    def grid(self, side: int, window: Window = WHOLE) -> PixelGrid:
        x, y, half = (share * self.half_mm for share in window)
        return PixelGrid(x - half, y - half, 2.0 * half / side, side)

    def plate(
        self,
        stone: int,
        dome: int,
        view: rl.View,
        side: int,
        frames: int,
        *,
        jitter: tuple[float, float] | None = CENTRE,
        polarized: bool = True,
        wave: int | None = None,
        window: Window = WHOLE,
    ) -> dict[str, Any]:
        """What the shader sums up over frames, rows rising: XYZ (side, side, 3) and ledger times coverage, and the coverage.

        `wave` is the number of the only wavelength; by default every frame has four others.
        """
        quality = {"most": 200, "least": 1e-4, "polarized": polarized, "jitter": jitter}
        quality |= {} if wave is None else {"waves": [wave] * 4}
        turn = view.rotation().ravel().tolist()
        eye = None if view.distance_mm is None else [0.0, 0.0, view.distance_mm]
        grid = self.grid(side, window)
        middle = [start + 0.5 * side * grid.pixel_mm for start in (grid.x0_mm, grid.y0_mm)]
        asked = {"turn": turn, "middle": middle, "pixel": grid.pixel_mm, "eye": eye}
        found = self.page.evaluate(_PLATE, [stone, dome, side, frames, asked, quality])
        color = np.array(found["color"]).reshape(side, side, 4)
        totals = np.array(found["totals"]).reshape(4, 3)
        each = np.arange(side) % 2
        total = totals[each[None, :] + 2 * each[:, None]]
        white = color_weights(live_set()).sum(axis=0)
        ledger = np.concatenate([np.array(found[key]).reshape(side, side, 4) for key in ("ledger", "others")], axis=-1)
        shown = np.array(found["shown"], np.uint8).reshape(side, side, 4)[..., :3]
        return {
            "xyz": color[..., :3] / total * white,
            "coverage": color[..., 3] / frames,
            "ledger": ledger[..., :7] / total[..., 1:2],
            "means": found["means"],
            "shown": shown,
        }

    def rays(
        self,
        origins: np.ndarray,
        directions: np.ndarray,
        stone: int,
        dome: int,
        view: rl.View,
        wave: int,
        polarized: bool = True,
    ) -> np.ndarray:
        """(R, 12) what the shader says of single rays: glare, path, luminance, hit; the six entries; two first exits."""
        quality = {"most": 200, "least": 1e-4, "polarized": True}
        numbers = np.column_stack([origins, directions]).ravel().tolist()
        turn = view.rotation().ravel().tolist()
        found = self.page.evaluate(_RAYS, [numbers, stone, dome, turn, wave, quality])
        return np.concatenate([np.array(part).reshape(-1, 4) for part in found], axis=1)

    def close(self) -> None:
        self.context.close()


def sampled(
    live: LivePage, stone: int, dome: int, view: rl.View, side: int, polarized: bool = True, wave: int | None = None
) -> dict[str, np.ndarray]:
    """The same sums by the library: one ray through the middle of each pixel at each wavelength, in 64-bit numbers."""
    grid, waves = live.grid(side), live_set()
    points = np.stack(np.meshgrid(grid.x_mm, grid.y_mm), axis=-1).reshape(-1, 2)
    scene = rl.Scene(live.stones[stone], live.domes[dome], view, rl.TraceSettings(polarized=polarized))
    weights = color_weights(waves)
    if wave is not None:  # as the shader has it: relative to a white of this wavelength alone
        weights = np.where(np.arange(len(waves))[:, None] == wave, weights.sum(axis=0), 0.0)
    xyz, ledger, hits = np.zeros((len(points), 3)), np.zeros((len(points), 7)), np.zeros(len(points))
    for k in np.flatnonzero(weights[:, 1]):
        rows, hit = sample_points(points, scene, float(waves.nodes_nm[k]))
        xyz += rows[:, :1] / scene.dome.peak_radiance * weights[k]
        ledger += rows[:, 1:8] * weights[k, 1]
        hits = hit.astype(float)  # the outline is the same at all wavelengths
    shape = (side, side)
    return {"xyz": xyz.reshape(*shape, 3), "ledger": ledger.reshape(*shape, 7), "coverage": hits.reshape(shape)}


def luminance_at_its_places(live: LivePage, stone: int, dome: int, view: rl.View, side: int) -> float:
    """Mean luminance over the stone, by the library, of the very rays of a live picture that has shown each wavelength once."""
    waves = live_set()
    asked = "count => [...Array(count).keys()].map((n) => [shown.waves(n), shown.place(n)])"
    frames = live.page.evaluate(asked.replace("shown", "document.querySelector('main').shownLive.tracer"), len(waves))
    grid, weights = live.grid(side), color_weights(waves)[:, 1]
    scene = rl.Scene(live.stones[stone], live.domes[dome], view)
    columns, rows = (each.ravel() for each in np.meshgrid(np.arange(side), np.arange(side)))
    light = hits = 0.0
    for numbers, place in frames:
        for k, wave in enumerate(numbers):  # one of four neighbouring pixels
            mine = columns % 2 + 2 * (rows % 2) == k
            x = grid.x0_mm + (columns[mine] + place[0]) * grid.pixel_mm
            y = grid.y0_mm + (rows[mine] + place[1]) * grid.pixel_mm
            found, hit = sample_points(np.column_stack([x, y]), scene, float(waves.nodes_nm[wave]))
            light += weights[wave] * found[hit, 0].sum()
            hits += np.count_nonzero(hit)
    return light / weights.sum() / (hits / len(waves)) / live.domes[dome].peak_radiance


def path_of(facets: Sequence[int], order: Sequence[int]) -> int:
    """The shader's checksum of the first facets that a ray meets; `order` is the stone's facet of each of its planes."""
    place = {facet: k for k, facet in enumerate(order)}
    path = 0
    for facet in facets[:12]:
        path = (path * 31 + place[facet] + 1) & 0xFFFFFF
    return path
