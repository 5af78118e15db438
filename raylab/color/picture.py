"""Colour pictures of a stone: traced at a set of wavelengths, seen by the CIE 1931 observer under a light.

    trace            luminance of each pixel at each wavelength of the set, relative to the dome's brightest direction
    spectrum -> XYZ  a perfect white as bright as the dome's brightest direction has Y = 1 (`optics.spectrum`)
    XYZ -> screen    white balance from the light to the screen's white, exposure, gamut, encoding (`optics.color`)

Only luminance is drawn, one wavelength on each thread at a time. With wavelengths that are given it goes into sums of three
numbers a pixel: memory does not grow with their number, and work grows in proportion to it. By default the wavelengths are
chosen by the error of the picture (`wavelength_choice`); then all luminances stay in memory until the picture is done. The
error that comes from the number of wavelengths is stated either way (`Picture.error`).

Gamut rule: a colour that no screen shows moves towards the neutral of equal luminance just as far as needed, and what is
brighter than white becomes white (`optics.color.into_gamut`). `Picture.linear` is untouched by it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from ..errors import InputError
from ..optics.color import ciede2000, into_gamut, srgb_encode, white_balance, white_xyz, xyz_to_lab, xyz_to_linear_srgb
from ..optics.spectrum import WavelengthSet, color_weights, wavelength_set
from ..progress import Progress, reporter
from ..room import Need
from ..scene.pixel_grid import PixelGrid, grid_around
from ..scene.scene import Scene
from ..threads import at_most, in_order
from ..tracers.engine import Engine, SpectralEngine
from ..tracers.engines import engine_for
from ..tracers.exact.beams import Beams
from ..tracers.exact.pixel_coverage import rasterize
from ..tracers.ledger import LUMINANCE, UNTRACED
from ..tracing import Result
from ..units import number_in
from .wavelength_choice import (
    BY_ERROR,
    ColorError,
    WavelengthChoice,
    choose,
    color_error,
    first_set,
    half_weights,
    pixel_errors,
)

KEY = 0.2
"""Luminance on the screen, linear, that the median of dark faces is raised to: about the grey that photographers expose for
(common practice)."""
BODY = 8
"""Wavelengths of a body colour (Gauss-Legendre): smooth spectra converge fast, see `optics.spectrum`."""


@dataclass(frozen=True, eq=False)
class Picture:
    """A colour picture, first row at the top.

    Attributes
    ----------
    xyz : (H, W, 3) mean over each pixel's covered part, relative to a perfect white as bright as the dome's brightest
        direction (Y = 1); nan where the stone covers nothing.
    coverage : (H, W) share of the pixel that the stone covers.
    white : (3,) XYZ of that white under the light, as the wavelength set sees it.
    light, exposure, waves, grid : how it was made; the grid's y rises, the picture's rows fall.
    halves : (2, H, W, 3) the same from every other wavelength, times `coverage`; see `wavelength_choice`.
    choice : how the wavelengths were chosen, None where they were given.
    """

    xyz: np.ndarray
    coverage: np.ndarray
    white: np.ndarray
    light: str
    exposure: float
    waves: WavelengthSet
    grid: PixelGrid
    halves: np.ndarray
    choice: WavelengthChoice | None = None

    @cached_property
    def error(self) -> ColorError | None:
        """Estimate of the error that comes from the number of wavelengths, CIEDE2000 over the stone; see `wavelength_choice`.
        None for a single wavelength."""
        covered = self.coverage > 0.0
        if len(self.waves) < 2 or not covered.any():
            return None
        shown = self.exposure * self.coverage[covered, None] * self.xyz[covered]
        return color_error(pixel_errors(shown, self.exposure * self.halves[:, covered], self.white))

    def mirrored(self) -> Picture:
        """The mirror image, left and right exchanged; for pixels that lie alike on either side of x = 0."""
        return replace(self, xyz=self.xyz[:, ::-1], coverage=self.coverage[:, ::-1], halves=self.halves[:, :, ::-1])

    @property
    def notes(self) -> tuple[str, ...]:
        """What the picture lacks: one sentence where the error exceeds the aim of the choice."""
        if self.choice is None or self.error is None or self.error.largest <= self.choice.error:
            return ()
        more = f"a larger limit of wavelengths than {self.choice.most} lowers it"
        if len(self.waves) < self.choice.most:
            more = "more samples lower it where the engine samples"
        return (
            f"the colour of a pixel may be off by {self.error.largest:.2f} CIEDE2000 with {len(self.waves)} wavelengths,"
            f" more than the aim of {self.choice.error:g}; {more}",
        )

    @property
    def about(self) -> str:
        """One sentence for a file of the picture: its wavelengths and the error of its colours."""
        off = "unknown" if self.error is None else str(self.error)
        low, high = self.waves.low_nm, self.waves.high_nm
        return f"{len(self.waves)} wavelengths, {low:g} to {high:g} nm; estimated error of colours, CIEDE2000: {off}"

    def linear(self, background: float = 0.0) -> np.ndarray:
        """(H, W, 3) linear sRGB, white-balanced and exposed, unclipped; a grey `background`, 0 to 1, where no stone is."""
        number_in("background", background, 0.0, 1.0)
        stone = self.exposure * xyz_to_linear_srgb(white_balance(np.nan_to_num(self.xyz), self.white))
        share = self.coverage[..., None]
        return share * stone + (1.0 - share) * background

    def srgb(self, background: float = 0.0) -> np.ndarray:
        """(H, W, 3) encoded sRGB within 0 to 1, brought into gamut as the module says."""
        return np.clip(srgb_encode(into_gamut(self.linear(background))), 0.0, 1.0)


def exposure_for(pictures: Sequence[Picture]) -> float:
    """The exposure at which the stones of pictures shown together are seen, in two digits.

    It raises the median of their faces to `KEY` and is at least 1, where the brightest direction of the dome is the white of
    the screen. 1 where half of the faces are black.
    """
    median = float(np.median(np.concatenate([one.xyz[one.coverage > 0.5, 1] for one in pictures])))
    return float(f"{max(1.0, KEY / median):.2g}") if median > 0.0 else 1.0


def color_picture(
    subject: Scene | Result,
    light: str = "D65",
    exposure: float = 1.0,
    spectrum: int | WavelengthSet | WavelengthChoice = BY_ERROR,
    *,
    grid: PixelGrid | None = None,
    threads: int | None = None,
    progress: bool | Progress = False,
) -> Picture:
    """A colour picture of a scene.

    >>> import raylab as rl
    >>> stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    >>> seen = rl.color_picture(rl.Scene(stone, rl.load_dome("head-shadow"), resolution=64), spectrum=4)
    >>> seen.srgb().shape
    (64, 64, 3)

    Parameters
    ----------
    subject : a `Scene`, traced at the wavelengths of the set; or a `Result`, whose virtual facets are reused if it was traced
        exactly at these wavelengths.
    light : illuminant, "D65", "A", "E" or "LED-B3".
    exposure : factor on luminance; at 1 the brightest direction of the dome is the white of the screen.
    spectrum : a number (uniform set, 400 to 700 nm), a set of `optics.spectrum.wavelength_set`, or a `WavelengthChoice`.
        By default they are chosen such that the estimated error of each pixel is at most 1 CIEDE2000, at most 128. An engine
        that samples gets the first 17 of a choice: the steps of its pixels are those of single rays, which more samples smooth.
    grid : pixels that replace those of the scene, which just hold the stone; films need one scale for all stills.
    threads : wavelengths traced at a time; by default the number of threads of numba. The picture does not depend on it.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises InputError for an unknown light, an exposure out of range, a wavelength outside the data of the material.
    """
    number_in("exposure", exposure, 0.0, 1e9, open_ends=True)
    choice = spectrum if isinstance(spectrum, WavelengthChoice) else None
    waves = first_set(spectrum)
    given = subject.scene if isinstance(subject, Result) else subject
    if not isinstance(given, Scene):
        raise InputError("wrong type", key="subject", value=subject, expected="a Scene or a Result")
    grid = grid or grid_around(given.stone, given.view, given.resolution)
    if choice:
        need = Need(f"pictures at {choice.most} wavelengths", choice.most * grid.resolution**2 * 8.0)
        need.check("resolution", "fewer pixels, or a number of wavelengths")
    white, engine = white_xyz(waves, light), engine_for(given.with_settings(wavelengths_nm=waves.nodes_nm[0]))
    with reporter(progress, "wavelengths") as update:
        if isinstance(engine, SpectralEngine):
            with at_most(threads):
                tiles = engine.spectra(given, waves.nodes_nm.tolist(), grid, progress=_share_of(update, len(waves)))
                sums = _of_tiles(tiles, waves, light, grid)
        else:
            seen = _Seen(subject, grid, threads, update)
            luminances: Iterable[np.ndarray]
            if choice and engine.exact:
                waves, luminances = choose(seen, choice, light, exposure)
            else:
                luminances = seen(waves.nodes_nm.tolist())
            sums = _of_luminances(luminances, waves, light, seen.coverage)
    with np.errstate(invalid="ignore", divide="ignore"):
        xyz = np.where(sums.coverage[..., None] > 0.0, sums.xyz / sums.coverage[..., None], np.nan)
    covered = np.clip(sums.coverage, 0.0, 1.0)
    return Picture(xyz[::-1], covered[::-1], white, light, float(exposure), waves, grid, sums.halves[:, ::-1], choice)


class _Sums(NamedTuple):
    """What a picture is made of, y rising, over each pixel's covered part: XYZ (side, side, 3), the same from every other
    wavelength (2, side, side, 3), and the coverage (side, side)."""

    xyz: np.ndarray
    halves: np.ndarray
    coverage: np.ndarray

    @classmethod
    def none(cls, coverage: np.ndarray) -> _Sums:
        return cls(np.zeros((*coverage.shape, 3)), np.zeros((2, *coverage.shape, 3)), coverage)


def _of_tiles(
    tiles: Iterable[tuple[slice, np.ndarray, np.ndarray]], waves: WavelengthSet, light: str, grid: PixelGrid
) -> _Sums:
    """The sums from tiles of pixels that are traced at all wavelengths at once, see `SpectralEngine.spectra`."""
    sums = _Sums.none(np.zeros((grid.resolution, grid.resolution)))
    weights = np.stack([color_weights(waves, light), *half_weights(waves, light)])
    weights = np.moveaxis(weights, 1, -1).reshape(9, -1)
    for tile, luminance, covered in tiles:
        sums.coverage.reshape(-1)[tile] = covered
        mixed = weights.astype(luminance.dtype) @ luminance  # all at once
        sums.xyz.reshape(-1, 3)[tile], *found = np.moveaxis(mixed.reshape(3, 3, -1), 1, -1)
        sums.halves.reshape(2, -1, 3)[:, tile] = found
    return sums


def _of_luminances(luminances: Iterable[np.ndarray], waves: WavelengthSet, light: str, coverage: np.ndarray) -> _Sums:
    """The sums from pictures of one wavelength each, in the order of the set; none of them is kept. `coverage` may become known
    with the pictures."""
    sums = _Sums.none(coverage)
    weights, half = color_weights(waves, light), half_weights(waves, light)
    for k, luminance in enumerate(luminances):
        sums.xyz[:] += luminance[..., None] * weights[k]
        for which in (0, 1):
            if half[which, k].any():
                sums.halves[which] += luminance[..., None] * half[which, k]
    return sums


def _share_of(update: Progress, number: int) -> Progress:
    """Progress in wavelengths where all of them are traced side by side."""
    return lambda done, total: update(number * done / total, number)


class _Seen:
    """Pixels at one wavelength after the other, as often as more wavelengths are wanted.

    Attributes
    ----------
    coverage : (side, side) share of each pixel that the stone covers, once the first wavelengths are traced; it is the same at
        all of them.
    """

    def __init__(self, subject: Scene | Result, grid: PixelGrid, threads: int | None, update: Progress) -> None:
        self.coverage = np.zeros((grid.resolution, grid.resolution))
        self._subject, self._grid, self._threads, self._update = subject, grid, threads, update
        self._done = 0

    def __call__(self, nodes_nm: list[float]) -> Iterator[np.ndarray]:
        """Luminance (side, side) summed over each pixel's covered part, y rising, relative to the dome's brightest."""
        first, total = self._done == 0, self._done + len(nodes_nm)
        for luminance, covered in _luminances(self._subject, self._grid, nodes_nm, self._threads):
            if first:
                self.coverage += covered / len(nodes_nm)
            self._done += 1
            self._update(self._done, total)
            yield luminance


def _luminances(
    subject: Scene | Result, grid: PixelGrid, nodes_nm: list[float], threads: int | None
) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """For each wavelength luminance over each pixel's covered part, relative to the dome's brightest, and coverage."""
    ready, given = (subject.beams, subject.scene) if isinstance(subject, Result) else ((), subject)
    scene = given.with_settings(wavelengths_nm=tuple(nodes_nm))
    engine = engine_for(scene)
    usable = len(ready) == len(nodes_nm) and given.settings.all_nm == tuple(nodes_nm)
    some: list[Beams | None] = list(ready) if usable else [None] * len(nodes_nm)

    def one(k: int) -> tuple[np.ndarray, np.ndarray]:
        return _luminance(scene, engine, grid, nodes_nm[k], some[k])

    for luminance, covered in in_order(one, range(len(nodes_nm)), threads):
        yield luminance / scene.dome.peak_radiance, covered


def _luminance(
    scene: Scene, engine: Engine, grid: PixelGrid, wavelength_nm: float, beams: Beams | None
) -> tuple[np.ndarray, np.ndarray]:
    """Luminance summed over each pixel's covered part, and coverage; both (side, side), y rising.

    Of virtual facets only the luminance is drawn: `beams` where they are at hand, else those of an exact engine.
    """
    if beams is None and engine.exact:
        beams = engine.trace(scene, wavelength_nm, threads=1).polygons
    if beams is not None:
        whole = beams.unfolded()
        drawn = rasterize(whole.vertices_mm, whole.starts, whole.rows[:, [LUMINANCE]], grid)
        return drawn.sums[..., 0], drawn.coverage
    traced = engine.trace(scene, wavelength_nm, grid)
    covered = traced.fields["coverage"]
    return np.nan_to_num(traced.fields["luminance"]) * covered, covered


@dataclass(frozen=True, eq=False)
class BodyColor:
    """The colour of a stone's whole face, and of its colourless twin.

    Attributes
    ----------
    lab : (3,) CIELAB of the exposed area-mean XYZ, relative to a perfect white as bright as the dome's brightest direction.
    twin_lab : (3,) the same stone without body colour. difference : CIEDE2000 between the two.
    untraced : the largest share of light left untraced at any wavelength, of either stone.
    """

    lab: np.ndarray
    twin_lab: np.ndarray
    difference: float
    untraced: float


def face_up_color(
    scene: Scene, light: str = "D65", exposure: float = 1.0, spectrum: int | WavelengthSet | None = None
) -> BodyColor:
    """Colour of the face as CIELAB, and its CIEDE2000 difference from the same stone without body colour.

    Parameters
    ----------
    scene : scene whose wavelengths are replaced; it is traced by an exact engine. ``View(tilt_deg=180)`` looks through the
        pavilion. The tray moves with the stone and then lies towards the observer, so that view needs a dome with a lit tray.
    exposure : factor on luminance, as in `color_picture`; colour differences are smaller for darker colours.
    spectrum : a number of wavelengths (Gauss-Legendre) or a set; by default 8 from 400 to 700 nm. A spectrum with fire has
        jumps, small in the mean over the face.

    Raises UnsupportedScene where no exact engine can trace the scene, such as in perspective.
    """
    if not isinstance(spectrum, WavelengthSet):
        spectrum = wavelength_set(BODY if spectrum is None else spectrum, "gauss")
    number_in("exposure", exposure, 0.0, 1e9, open_ends=True)
    white, stone = white_xyz(spectrum, light), scene.stone
    nodes = tuple(float(w) for w in spectrum.nodes_nm)
    given = scene.with_settings(engine=None, wavelengths_nm=nodes)
    engine = engine_for(given, exact=True)
    twin = replace(stone, material=replace(stone.material, absorption=()))
    labs, untraced = [], 0.0
    for one in (stone, twin) if stone.material.absorption else (stone,):
        seen = replace(given, stone=one)
        means = np.array([engine.trace(seen, w).totals.mean for w in nodes])
        xyz = means[:, LUMINANCE] / scene.dome.peak_radiance @ color_weights(spectrum, light)
        labs.append(xyz_to_lab(exposure * xyz, white))
        untraced = max(untraced, float(means[:, UNTRACED].max()))
    return BodyColor(labs[0], labs[-1], float(ciede2000(labs[0], labs[-1])), untraced)
