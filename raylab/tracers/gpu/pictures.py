"""Maps and pictures in colour, drawn band by band of pixels."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from typing import Any

import numpy as np
from numba import cuda

from ...convex_hulls import ConvexHull
from ...lighting.dome import Dome
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ...scene.settings import TraceSettings
from ...scene.view import silhouette
from ...stone.stone import Stone
from ..allocation import CORNER_WEIGHT, LEAST_CELLS
from ..ledger import LUMINANCE, MAPPED
from ..rim import SECTORS, sector_ends
from .batches import bodies, looks, on_card, rules_of, scale_for
from .blocks import Real, Scenes, holding, with_blocks
from .pixel_cells import Cells, cells_by_corners
from .pixel_sums import pixel_means, pixels_of
from .room import ROOM, device_number, few_on_card

BAND = 1 << 20
"""Pixels that are drawn in one launch, at all wavelengths together."""
CHANCE_IN_COLOR = 0.1
"""Paths of less weight are ended by lot where a picture is in colour."""
ROUNDING = 1e-5
"""Share of a length that rounding may come to, in single precision."""


def pixel_maps(scene: Scene, wavelength_nm: float, grid: PixelGrid, real: Real) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means (MAPPED, P), coverage (P,) and error of the luminance (P,) of the pixels of a grid, by the scene's samples a pixel
    on average, more where the luminance differs at corners; see `allocation`."""
    pixels, drawing = grid.resolution**2, _Drawing(scene, [wavelength_nm], real)
    means, coverage, error = (np.empty(shape, real) for shape in ((MAPPED, 1, pixels), (1, pixels), (1, pixels)))
    with drawing.cells(grid) as cells:
        for band, maps, stream in drawing.bands(grid, cells, tuple(range(MAPPED)), scene.settings, 0.0):
            for whole, part in zip((means, coverage, error), maps, strict=True):
                if part.shape == whole.shape:
                    part.copy_to_host(whole, stream=stream)
                    continue
                for row in np.ndindex(whole.shape[:-1]):
                    part[row][: band.stop - band.start].copy_to_host(whole[row][band], stream=stream)
    return means[:, 0], coverage[0], error[0]


def pixel_luminances(
    scene: Scene, nodes_nm: Sequence[float], grid: PixelGrid, real: Real
) -> Iterator[tuple[slice, np.ndarray, np.ndarray]]:
    """Some pixels of a grid, their luminance (W, K) at each wavelength, none where no stone is, and their coverage (K,), by as
    many samples for each. Of all that a picture shows, what faint paths bring is the least: these are ended by lot."""
    cells = Cells.evenly(scene.settings.samples)
    drawn = _Drawing(scene, nodes_nm, real).bands(grid, cells, (LUMINANCE,), scene.settings, CHANCE_IN_COLOR)
    for band, (means, coverage, _), stream in drawn:
        luminance, covered = means[0].copy_to_host(stream=stream), coverage[0].copy_to_host(stream=stream)
        yield band, luminance[:, : band.stop - band.start], covered[: band.stop - band.start]


class _Drawing:
    """Pictures of a scene at some wavelengths.

    All is copied and drawn in streams of its own: what goes through the common stream waits for all others, and they for it.
    """

    def __init__(self, scene: Scene, nodes_nm: Sequence[float], real: Real) -> None:
        self.scene, self.real, self.waves = scene, real, len(nodes_nm)
        kind: Any = real  # hashable, which numpy's stubs deny
        self.body = _body_on_card(scene.stone, tuple(nodes_nm), kind, device_number())
        self.dome = _dome_on_card(scene.dome, kind, device_number())
        self.look = {name: one.astype(real) for name, one in (looks([scene] * self.waves) | {"ends2": _ends2(scene)}).items()}
        self.kernel = functools.partial(holding, pixel_means, real, len(scene.stone), not scene.view.parallel)

    @contextmanager
    def cells(self, grid: PixelGrid) -> Iterator[Cells]:
        """How the samples of the scene's settings are shared out, by its first wavelength; see `allocation`."""
        settings, peak = self.scene.settings, self.scene.dome.peak_radiance
        if math.isqrt(settings.samples) < LEAST_CELLS:
            yield Cells.evenly(settings.samples)
            return
        coarse = replace(settings, min_weight=max(settings.min_weight, CORNER_WEIGHT))
        corners, found = replace(grid, resolution=grid.resolution + 1), None
        with ROOM.lent([(grid.resolution**2,)], np.int16) as (each,):
            for _, (light, _, _), stream in self.bands(
                corners, Cells.corner(), (LUMINANCE,), coarse, 0.0, self.waves * corners.resolution**2
            ):
                found = cells_by_corners(light[0, 0], settings.samples, peak, grid.resolution, each, stream)
            yield found or Cells.evenly(settings.samples)

    def bands(
        self,
        grid: PixelGrid,
        cells: Cells,
        channels: tuple[int, ...],
        settings: TraceSettings,
        chance: float,
        band: int | None = None,
    ) -> Iterator[tuple[slice, tuple[Any, ...], Any]]:
        """By bands of pixels: while one is fetched, the next one is drawn.

        Yields the pixels of a band, their maps on the card until the next one, see `pixel_means`, and the stream in which they
        are there.

        Parameters
        ----------
        channels : those wanted. chance : see `packets.PathRules`. band : pixels of one, of all wavelengths; by default `BAND`.
        """
        real, pixels, block = self.real, grid.resolution**2, pixels_of(len(channels))
        each = min(max((band or BAND) // self.waves, block), pixels)
        firsts, wanted = range(0, pixels, each), few_on_card(channels, "int64", device_number())
        place = (*map(real, (grid.x0_mm, grid.y0_mm, grid.pixel_mm)), grid.resolution)
        rules = rules_of(settings, real, chance)
        shapes = (len(channels), self.waves, each), (self.waves, each), (self.waves, each)
        kernel = self.kernel(light=channels == (LUMINANCE,))
        streams = [cuda.stream() for _ in firsts[:2]]
        with ExitStack() as lent:
            places = [(lent.enter_context(ROOM.lent(shapes, real)), stream) for stream in streams]
            look = lent.enter_context(ROOM.lent([one.shape for one in self.look.values()], real))
            lent.callback(lambda: [stream.synchronize() for stream in streams])  # before any of these is given back
            for there, one in zip(look, self.look.values(), strict=True):
                there.copy_to_device(one, streams[0])
            streams[0].synchronize()  # the other stream reads them, too
            *seen, ends2 = look
            scenes = self.body._replace(**dict(zip(self.look, seen, strict=False)))

            def draw(number: int) -> None:
                maps, stream = places[number % 2]
                with_blocks(kernel, (-(-each // block), self.waves), stream)(
                    scenes, self.dome, rules, place, cells.each, ends2, firsts[number], wanted,
                    scale_for(cells.most**2, self.scene.dome.peak_radiance), *maps,
                )  # fmt: skip

            draw(0)
            for number, first in enumerate(firsts):
                if number + 1 < len(firsts):
                    draw(number + 1)
                yield slice(first, min(first + each, pixels)), *places[number % 2]


@functools.lru_cache(maxsize=16)
def _body_on_card(stone: Stone, wavelengths_nm: tuple[float, ...], real: Any, device: int) -> Scenes:
    """One stone at some wavelengths, for pictures: a film shows it again and again. `device` is the card's number."""
    found: Scenes = on_card(bodies([stone] * len(wavelengths_nm), wavelengths_nm), real)
    return found


@functools.lru_cache(maxsize=16)
def _dome_on_card(dome: Dome, real: Any, device: int) -> Any:
    """See `_body_on_card`."""
    return on_card(dome.table, real)


def _ends2(scene: Scene) -> np.ndarray:
    """(SECTORS, 2) see `pixel_means`; with room for rounding."""
    corners = silhouette(scene.stone, scene.view)
    outline = corners[ConvexHull(corners).vertices]  # counter-clockwise
    sides = np.roll(outline, -1, axis=0) - outline
    off = outline[:, 0] * sides[:, 1] - outline[:, 1] * sides[:, 0]
    if off.min() <= 0.0:  # the middle is outside
        return np.tile([0.0, (1.0 + ROUNDING) * float((outline**2).sum(axis=1).max())], (SECTORS, 1))
    around = [_around(sector_ends()), _around(outline)]
    angles, begins = np.concatenate(around), np.argsort(around[1], kind="stable")
    order = np.argsort(angles, kind="stable")
    angles = angles[order]
    side = begins[np.searchsorted(angles[order >= SECTORS], angles, side="right") - 1]  # the one that a direction meets
    ways = np.stack([np.sin(angles), -np.cos(angles)], axis=-1)
    far = off[side] / (ways[:, 0] * sides[side, 1] - ways[:, 1] * sides[side, 0])
    places = far[:, np.newaxis] * ways
    pieces = np.roll(places, -1, axis=0) - places
    along = np.clip(-(places * pieces).sum(axis=1) / np.maximum((pieces**2).sum(axis=1), 1e-300), 0.0, 1.0)
    nearest = ((places + along[:, np.newaxis] * pieces) ** 2).sum(axis=1)
    sector = np.cumsum(order < SECTORS) - 1  # that each piece lies in
    near2, far2 = np.full(SECTORS, np.inf), np.zeros(SECTORS)
    np.minimum.at(near2, sector, nearest)
    np.maximum.at(far2, sector, np.maximum(far, np.roll(far, -1)) ** 2)
    return np.stack([(1.0 - ROUNDING) * near2, (1.0 + ROUNDING) * far2], axis=-1)


def _around(places: np.ndarray) -> np.ndarray:
    """(K,) radians in [0, 2 pi) from -y, where the first sector begins, counter-clockwise to each place (K, 2)."""
    return np.asarray((np.arctan2(places[:, 1], places[:, 0]) + 0.5 * np.pi) % (2.0 * np.pi))
