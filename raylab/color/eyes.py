"""Pictures for two eyes at arm's length: a perspective pair, for free viewing or as an anaglyph, and the head of the observer.

The eyes stand at a distance above the middle of the girdle, apart by the distance between the pupils: 63 mm is the mean of
adults (Dodgson, Proc. SPIE 5291 (2004) 36-46). 250 mm is the near point by convention (common practice). Each eye has its
own view rays; stone, dome and head are the same for both. The head cone lies between the eyes.

The pictures are drawn on the map plane z = 0, so that points of the girdle plane coincide for both eyes, and points above
or below it have disparity. With increasing distance a view approaches the parallel one.

A pupil of finite size sees the girdle's plane sharp and blurs the rest (`pupil_mm`): each ray starts from another point of
a level disc and goes through the map plane where the ray from the disc's middle would. A point at height z becomes a disc of
diameter ``pupil z / (distance - z)`` there (similar triangles), and light that the stone sends into a part of the pupil
only is averaged. `usual_pupil_mm` gives the pupil diameter at a luminance.

Where the plane between the eyes is a mirror of stone and dome, the right picture is the mirror image of the left one and
isn't traced. Its noise is then the same.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..lighting.dome import Dome
from ..lighting.dome_file import DomeLike, dome_of
from ..optics.color import into_gamut, srgb_encode
from ..optics.spectrum import WavelengthSet
from ..progress import Progress, part_of, reporter
from ..scene.pixel_grid import grid_around
from ..scene.scene import Scene
from ..tracers.shared_symmetry import mirrored_across
from ..units import number_in
from .picture import Picture, color_picture
from .wavelength_choice import BY_ERROR, WavelengthChoice

PUPILS_APART_MM = 63.0
NEAR_MM = 250.0


@dataclass(frozen=True, eq=False)
class Pair:
    """The pictures of the left and the right eye, on one pixel grid."""

    left: Picture
    right: Picture

    def side_by_side(self, *, crossed: bool = False, background: float = 0.03, spacing: float = 0.04) -> np.ndarray:
        """(H, W, 3) encoded sRGB: the left eye's picture to the left for parallel viewing, to the right for `crossed` eyes.

        `spacing` is the distance between them, a share of a picture's width.
        """
        pictures = [one.srgb(background) for one in ((self.right, self.left) if crossed else (self.left, self.right))]
        height, width, _ = pictures[0].shape
        between = np.full((height, round(spacing * width), 3), float(srgb_encode(background)))
        return np.concatenate([pictures[0], between, pictures[1]], axis=1)

    def anaglyph(self, background: float = 0.03) -> np.ndarray:
        """(H, W, 3) encoded sRGB for glasses with red before the left eye and cyan before the right.

        Each picture is drawn in grey, by luminance: with colours the eyes would compete.
        """
        left, right = (one.linear(background) @ _LUMINANCE for one in (self.left, self.right))
        return np.clip(srgb_encode(into_gamut(np.stack([left, right, right], axis=-1).clip(0.0, 1.0))), 0.0, 1.0)


_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Luminance of linear sRGB: ITU-R BT.709."""


def head_half_angle_deg(distance_mm: float, head_width_mm: float = 170.0) -> float:
    """Half-angle of the cone that a head fills, seen from the stone: atan(half its width / distance).

    The default width, hair included, is assumed (common practice, no published source).

    >>> round(head_half_angle_deg(300.0), 3)
    15.819
    """
    number_in("distance_mm", distance_mm, 1.0, 1e9, "mm")
    number_in("head_width_mm", head_width_mm, 1.0, 1e4, "mm")
    return math.degrees(math.atan(head_width_mm / 2.0 / distance_mm))


def with_head(dome: DomeLike, distance_mm: float, head_width_mm: float = 170.0) -> Dome:
    """The dome with the head of an observer at a distance."""
    return replace(dome_of(dome), head_half_angle_deg=head_half_angle_deg(distance_mm, head_width_mm))


def usual_pupil_mm(luminance_cd_m2: float, field_deg2: float = 1000.0, age_years: float = 30.0) -> float:
    """Mean diameter of both eyes' pupils in light: Watson & Yellott, J. Vision 12(10):12 (2012), formula cited from memory.

    With F = luminance times field area and the reference age of 28.58 years:
    D = 7.75 - 5.75 (F / 846)^0.41 / ((F / 846)^0.41 + 2), then D + (age - 28.58) (0.02132 - 0.009562 D).

    >>> round(usual_pupil_mm(100.0), 3)
    3.253
    """
    number_in("luminance_cd_m2", luminance_cd_m2, 0.0, 1e6, "cd/m^2")
    number_in("field_deg2", field_deg2, 1.0, 2e4, "square degrees")
    number_in("age_years", age_years, 20.0, 83.0, "years")
    light = (luminance_cd_m2 * field_deg2 / 846.0) ** 0.41
    young = 7.75 - 5.75 * light / (light + 2.0)
    return young + (age_years - 28.58) * (0.02132 - 0.009562 * young)


def eye_pair(
    scene: Scene,
    distance_mm: float = NEAR_MM,
    pupils_apart_mm: float = PUPILS_APART_MM,
    *,
    pupil_mm: float = 0.0,
    light: str = "D65",
    exposure: float = 1.0,
    spectrum: int | WavelengthSet | WavelengthChoice = BY_ERROR,
    progress: bool | Progress = False,
) -> Pair:
    """A scene in colour as two eyes see it.

    Parameters
    ----------
    scene : scene whose wavelengths, engine and viewing distance are replaced. The head of its dome stays: see `with_head`.
    distance_mm : distance from the middle of the girdle to the midpoint of the eyes. pupils_apart_mm : along x of the map.
    pupil_mm : diameter of each pupil, 0 for a point.
    light, exposure, spectrum : as in `color_picture`; a choice is made for each eye.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises InputError for eyes inside the stone, and as `color_picture`.
    """
    number_in("pupils_apart_mm", pupils_apart_mm, 0.0, 1e6, "mm")
    left, right = (
        replace(scene.view, distance_mm=distance_mm, aside_mm=side * pupils_apart_mm / 2.0, pupil_mm=pupil_mm)
        for side in (-1.0, 1.0)
    )
    grid, seen = grid_around(scene.stone, (left, right), scene.resolution), scene.with_settings(engine=None)
    alike = mirrored_across(scene.stone, scene.dome.table, scene.view.rotation())
    traced = (left,) if alike else (left, right)
    with reporter(progress, "tracing", counted=False) as update:
        pictures = [
            color_picture(
                replace(seen, view=view),
                light,
                exposure,
                spectrum,
                grid=grid,
                progress=part_of(update, number / len(traced), 1.0 / len(traced)),
            )
            for number, view in enumerate(traced)
        ]
    return Pair(pictures[0], pictures[0].mirrored() if alike else pictures[1])
