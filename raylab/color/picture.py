"""Colour pictures of a stone: traced at a set of wavelengths, seen by the CIE 1931 observer under a light.

    trace            luminance of each pixel at each wavelength of the set, relative to the dome's brightest direction
    spectrum -> XYZ  a perfect white as bright as the dome's brightest direction has Y = 1 (`optics.spectrum`)
    XYZ -> screen    white balance from the light to the screen's white, exposure, gamut, encoding (`optics.color`)

Only luminance is drawn, one wavelength on each thread at a time, into one sum of three numbers a pixel: memory does not grow
with the number of wavelengths, and work grows in proportion to it.

Gamut rule: a colour that no screen shows moves towards the neutral of equal luminance just as far as needed, and what is
brighter than white becomes white (`optics.color.into_gamut`). `Picture.linear` is untouched by it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError
from ..optics.color import ciede2000, into_gamut, srgb_encode, white_balance, white_xyz, xyz_to_lab, xyz_to_linear_srgb
from ..optics.spectrum import WavelengthSet, color_weights, wavelength_set
from ..progress import Progress, reporter
from ..scene.pixel_grid import PixelGrid, grid_around
from ..scene.scene import Scene
from ..threads import in_order
from ..tracers.engine import Engine
from ..tracers.engines import engine_for
from ..tracers.exact.beams import Beams
from ..tracers.exact.pixel_coverage import rasterize
from ..tracers.ledger import LUMINANCE, UNTRACED
from ..tracing import Result
from ..units import number_in

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
    """

    xyz: np.ndarray
    coverage: np.ndarray
    white: np.ndarray
    light: str
    exposure: float
    waves: WavelengthSet
    grid: PixelGrid

    def linear(self, background: float = 0.0) -> np.ndarray:
        """(H, W, 3) linear sRGB, white-balanced and exposed, unclipped; a grey `background`, 0 to 1, where no stone is."""
        number_in("background", background, 0.0, 1.0)
        stone = self.exposure * xyz_to_linear_srgb(white_balance(np.nan_to_num(self.xyz), self.white))
        share = self.coverage[..., None]
        return share * stone + (1.0 - share) * background

    def srgb(self, background: float = 0.0) -> np.ndarray:
        """(H, W, 3) encoded sRGB within 0 to 1, brought into gamut as the module says."""
        return np.clip(srgb_encode(into_gamut(self.linear(background))), 0.0, 1.0)


def color_picture(
    subject: Scene | Result,
    light: str = "D65",
    exposure: float = 1.0,
    spectrum: int | WavelengthSet = 16,
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
    spectrum : a number of wavelengths (uniform set, 400 to 700 nm) or a set of `optics.spectrum.wavelength_set`.
    grid : pixels that replace those of the scene, which just hold the stone; films need one scale for all stills.
    threads : wavelengths traced at a time; by default the number of threads of numba. The picture does not depend on it.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises InputError for an unknown light, an exposure out of range, a wavelength outside the data of the material.
    """
    number_in("exposure", exposure, 0.0, 1e9, open_ends=True)
    waves = spectrum if isinstance(spectrum, WavelengthSet) else wavelength_set(spectrum)
    weights = color_weights(waves, light)
    ready = subject.beams if isinstance(subject, Result) else ()
    given = subject.scene if isinstance(subject, Result) else subject
    if not isinstance(given, Scene):
        raise InputError("wrong type", key="subject", value=subject, expected="a Scene or a Result")
    nodes = tuple(float(w) for w in waves.nodes_nm)
    scene = given.with_settings(wavelengths_nm=nodes)
    engine = engine_for(scene)
    grid = grid or grid_around(scene.stone, scene.view, scene.resolution)
    usable = len(ready) == len(nodes) and given.settings.wavelengths == nodes
    side = grid.resolution
    sums, coverage = np.zeros((side, side, 3)), np.zeros((side, side))
    some: list[Beams | None] = list(ready) if usable else [None] * len(nodes)

    def one(k: int) -> tuple[np.ndarray, np.ndarray]:
        return _luminance(scene, engine, grid, nodes[k], some[k])

    with reporter(progress, "wavelengths") as update:
        for k, (seen, covered) in enumerate(in_order(one, range(len(nodes)), threads)):
            sums += (seen / scene.dome.peak_radiance)[..., None] * weights[k]
            coverage += covered / len(nodes)
            update(k + 1, len(nodes))
    with np.errstate(invalid="ignore", divide="ignore"):
        xyz = np.where(coverage[..., None] > 0.0, sums / coverage[..., None], np.nan)
    return Picture(xyz[::-1], np.clip(coverage, 0.0, 1.0)[::-1], white_xyz(waves, light), light, float(exposure), waves, grid)


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
        jumps, small
        in the mean over the face.

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
