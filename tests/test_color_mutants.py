"""Colour, fire, movement and the eyes' view: each of their tests fails on broken physics.

The colour of spectra has its own mutants (`validation/test_benchmark_color.py`), the tracers have theirs
(`validation/test_mutants.py`).
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import test_absorption
import test_color_picture
import test_eyes
import test_fire
import test_sky_patches
import test_tilting

from raylab.color import eyes, fire, picture
from raylab.motion import scintillation, tilting
from raylab.optics import absorption
from raylab.optics.materials import Material
from raylab.results.statistics import Statistic
from raylab.scene.view import View
from raylab.tracers.exact import tracer
from raylab.tracers.sampled import sampling, spectra, view_rays

Patch = pytest.MonkeyPatch


def no_dispersion(patch: Patch) -> None:
    true = Material.n
    patch.setattr(Material, "n", lambda self, wavelength_nm: true(self, 589.3))


def another_pair_of_lines(patch: Patch) -> None:
    true = fire.path_spread_deg
    for module in (fire, test_fire):
        patch.setattr(module, "path_spread_deg", lambda *given: true(*given[:3], 0.9 * given[3] + 0.1 * given[4], given[4]))


def exits_not_refracted(patch: Patch) -> None:
    """The way inside the stone told as the way outside."""
    true = fire.exit_directions

    def inside(facets: np.ndarray, stone: Any, view: View, n: float) -> np.ndarray:
        facets = np.atleast_2d(facets)
        longer = np.column_stack([facets, np.full(len(facets), -1)])
        directions = true(longer, stone, view, n)
        last = stone.normals[np.take_along_axis(facets, (facets >= 0).sum(axis=1)[:, None] - 1, axis=1)[:, 0]]
        cos = np.einsum("pk,pk->p", directions, last)
        within = (directions - cos[:, None] * last) / n
        alone = (facets >= 0).sum(axis=1) == 1
        return np.where(alone[:, None], directions, within + np.sqrt(1.0 - (within**2).sum(axis=1))[:, None] * last)

    for module in (fire, test_fire):
        patch.setattr(module, "exit_directions", inside)


def total_reflection_let_through(patch: Patch) -> None:
    true = fire.exit_directions
    patch.setattr(fire, "exit_directions", lambda *given: np.nan_to_num(true(*given)))


def not_white_balanced(patch: Patch) -> None:
    patch.setattr(picture, "white_balance", lambda xyz, *whites: xyz)


def always_daylight(patch: Patch) -> None:
    true = picture.color_weights
    patch.setattr(picture, "color_weights", lambda waves, light: true(waves, "D65"))


def shifted_wavelengths(patch: Patch) -> None:
    """Each wavelength's picture weighed as its neighbour."""
    true = picture.color_weights
    patch.setattr(picture, "color_weights", lambda *given: np.roll(true(*given), 1, axis=0))


def upside_down(patch: Patch) -> None:
    true = picture._luminance
    patch.setattr(picture, "_luminance", lambda *given: tuple(one[::-1] for one in true(*given)))


def half_the_absorption(patch: Patch) -> None:
    true = tracer.stone_table

    def table(*given: Any) -> Any:
        found = true(*given)
        weaker = found.medium._replace(absorption_per_mm=0.5 * found.medium.absorption_per_mm)
        return found._replace(medium=weaker)

    patch.setattr(tracer, "stone_table", table)


def differences_by_the_ruler(patch: Patch) -> None:
    """The distance in CIELAB instead of CIEDE2000."""
    patch.setattr(picture, "ciede2000", lambda one, other: np.linalg.norm(np.subtract(one, other)))


def centimeters_for_millimeters(patch: Patch) -> None:
    patch.setattr(absorption, "CM_PER_MM", 1.0)


def decadic_for_natural(patch: Patch) -> None:
    patch.setattr(absorption, "CM_PER_MM", 0.1 / math.log(10.0))


def chroma_off_by_a_tenth(patch: Patch) -> None:
    true = fire.xyz_to_lab
    patch.setattr(fire, "xyz_to_lab", lambda *given: true(*given) * [1.0, 1.1, 1.0])


def chart_of_1960(patch: Patch) -> None:
    """v = 6Y / (X + 15Y + 3Z) for v' = 9Y / (X + 15Y + 3Z)."""
    true = fire._uv
    patch.setattr(fire, "_uv", lambda xyz: true(xyz) * [1.0, 2.0 / 3.0])


def points_left_behind(patch: Patch) -> None:
    """The grid stays where it was face-up while the stone moves."""
    true = scintillation._luminance
    patch.setattr(
        scintillation,
        "_luminance",
        lambda scene, points, normals: true(scene, points @ scene.view.rotation(), normals),
    )


def angles_doubled(patch: Patch) -> None:
    true = scintillation._angle_deg
    patch.setattr(scintillation, "_angle_deg", lambda *given: 2.0 * true(*given))


def negative_tilts_to_the_same_side(patch: Patch) -> None:
    def views(**angles: Any) -> Any:
        for tilted, azimuth, turn in zip(*angles.values(), strict=True):
            yield View(abs(float(tilted)), float(azimuth), float(turn))

    patch.setattr(tilting, "views", views)


def turns_ignored(patch: Patch) -> None:
    true = tilting.exact_record

    def unturned(scene: Any, **given: Any) -> Any:
        return true(replace(scene, view=replace(scene.view, turn_deg=0.0)), **given)

    patch.setattr(tilting, "exact_record", unturned)


def brackets_dropped(patch: Patch) -> None:
    true = tilting.exact_record

    def tight(scene: Any, **given: Any) -> Any:
        found = true(scene, **given)
        found.statistics["brightness"] = Statistic(*[found.statistics["brightness"].value] * 3)
        return found

    patch.setattr(tilting, "exact_record", tight)


def _eyes_elsewhere(patch: Patch, factors: list[float]) -> None:
    """Rays start from a place other than the view's."""
    true = view_rays.view_rays

    def moved(points: np.ndarray, stone: Any, view: View, *rest: Any) -> Any:
        aside, _, distance = np.array([view.aside_mm, 0.0, view.distance_mm]) * factors
        return true(points, stone, replace(view, aside_mm=aside, distance_mm=distance), *rest)

    patch.setattr(view_rays, "view_rays", moved)
    patch.setattr(spectra, "view_rays", moved)


def eyes_exchanged(patch: Patch) -> None:
    _eyes_elsewhere(patch, [-1.0, 1.0, 1.0])


def eyes_too_near(patch: Patch) -> None:
    _eyes_elsewhere(patch, [1.0, 1.0, 0.97])


def _pupil_filled_otherwise(patch: Patch, change: Callable[[np.ndarray], np.ndarray]) -> None:
    true = sampling._spread_over_disc

    def changed(*given: Any) -> None:
        true(*given)
        given[-1][:] = change(given[-1])

    patch.setattr(sampling, "_spread_over_disc", changed)


def pupils_twice_as_wide(patch: Patch) -> None:
    _pupil_filled_otherwise(patch, lambda points: 2.0 * points)


def pupils_crowded_in_the_middle(patch: Patch) -> None:
    """Even in radius instead of in area."""
    _pupil_filled_otherwise(patch, lambda points: points * np.linalg.norm(points, axis=1)[:, None])


def head_twice_as_wide(patch: Patch) -> None:
    true = eyes.head_half_angle_deg
    patch.setattr(eyes, "head_half_angle_deg", lambda distance, width=170.0: true(distance, 2.0 * width))


def glasses_turned(patch: Patch) -> None:
    true = eyes.Pair.anaglyph
    patch.setattr(eyes.Pair, "anaglyph", lambda self, *given: true(eyes.Pair(self.right, self.left), *given))


def rows_of_equal_height(patch: Patch) -> None:
    """Pixels of a sky image as if those near the zenith were as large as those at the horizon."""
    image = test_sky_patches.IMAGE
    whole = np.zeros((image.shape[0] + 1, image.shape[1] + 1))
    whole[1:, 1:] = np.cumsum(np.cumsum(image, axis=0), axis=1) * 4.0 * math.pi / image.size
    patch.setattr(test_sky_patches, "RUNNING", whole)


CAUGHT_BY = {
    no_dispersion: [
        test_fire.test_a_prism_spreads_as_snell_says,
        test_fire.test_the_spread_of_near_lines_is_the_sellmeier_derivative,
        test_fire.test_tolkowskys_path_spreads_from_b_to_g,
    ],
    another_pair_of_lines: [
        test_fire.test_a_prism_spreads_as_snell_says,
        test_fire.test_the_spread_of_near_lines_is_the_sellmeier_derivative,
    ],
    exits_not_refracted: [test_fire.test_a_prism_spreads_as_snell_says, test_fire.test_exits_are_the_oracles],
    total_reflection_let_through: [test_fire.test_total_reflection_at_the_exit_has_no_spread],
    not_white_balanced: [(test_color_picture.test_a_colorless_stone_without_dispersion_is_neutral, {"light": "A"})],
    always_daylight: [test_color_picture.test_a_picture_is_the_spectrum_of_the_maps],
    shifted_wavelengths: [
        test_color_picture.test_a_picture_is_the_spectrum_of_the_maps,
        test_color_picture.test_the_color_of_a_slab_is_beer_and_lambert,
    ],
    upside_down: [test_color_picture.test_a_picture_is_the_spectrum_of_the_maps],
    half_the_absorption: [test_color_picture.test_the_color_of_a_slab_is_beer_and_lambert],
    differences_by_the_ruler: [test_color_picture.test_the_color_of_a_slab_is_beer_and_lambert],
    centimeters_for_millimeters: [test_absorption.test_one_per_centimeter_is_a_tenth_per_millimeter],
    decadic_for_natural: [test_absorption.test_one_per_centimeter_is_a_tenth_per_millimeter],
    chroma_off_by_a_tenth: [test_fire.test_chroma_of_stated_colors],
    chart_of_1960: [test_fire.test_chroma_of_stated_colors],
    points_left_behind: [test_tilting.test_what_moves_with_the_stone_does_not_flash],
    angles_doubled: [test_tilting.test_a_flat_top_flashes_as_a_whole_when_it_mirrors_the_lamp],
    negative_tilts_to_the_same_side: [
        test_tilting.test_leaning_the_other_way_is_the_opposite_azimuth,
        test_tilting.test_a_series_is_its_single_traces_bit_for_bit,
    ],
    turns_ignored: [test_tilting.test_a_series_is_its_single_traces_bit_for_bit],
    brackets_dropped: [test_tilting.test_a_series_is_its_single_traces_bit_for_bit],
    eyes_exchanged: [test_eyes.test_the_edges_of_a_box_stand_where_rays_from_each_eye_put_them],
    eyes_too_near: [test_eyes.test_the_edges_of_a_box_stand_where_rays_from_each_eye_put_them],
    pupils_twice_as_wide: [test_eyes.test_a_pupil_blurs_what_lies_off_the_girdle],
    pupils_crowded_in_the_middle: [test_eyes.test_the_pupil_is_filled_evenly],
    head_twice_as_wide: [test_eyes.test_the_head_follows_distance_and_size],
    glasses_turned: [test_eyes.test_the_anaglyph_gives_each_eye_its_picture],
    rows_of_equal_height: [
        (test_sky_patches.test_a_patch_is_the_mean_by_quadrature, {"elevation": 50, "azimuth": 178, "cone": 0.3})
    ],
}
PAIRS = [
    pytest.param(mutation, *(found if isinstance(found, tuple) else (found, {})), id=f"{mutation.__name__}-{number}")
    for mutation, several in CAUGHT_BY.items()
    for number, found in enumerate(several)
]


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # from the broken physics
@pytest.mark.parametrize(("mutation", "test", "given"), PAIRS)
def test_mutant_is_caught(mutation, test, given, monkeypatch, request):
    """The test, which holds on sound physics, fails by one of its own assertions."""
    fixtures = {name: request.getfixturevalue(name) for name in inspect.signature(test).parameters if name not in given}
    mutation(monkeypatch)
    with pytest.raises(AssertionError):
        test(**given, **fixtures)
