"""What is seen of inclusions: images of a disc in a slab by Snell and mirrors, their contrast, thresholds, and the tilt."""

import math
from dataclasses import replace

import numpy as np
import pytest
from polyhedra import body, box, finishes

import raylab as rl
from raylab.errors import InputError, UnsupportedScene
from raylab.lighting.dome import Dome
from raylab.results.inclusion_images import Eye

N, RADIUS, CENTER = 1.5, 0.15, np.array([0.4, -0.3, 0.2])
BLACK_SIDES = finishes(np.abs(box(6.0, 1.0, N).normals[:, 2]) < 0.5)
SLAB = body(box(6.0, 1.0, N).normals, box(6.0, 1.0, N).distances_mm, N, finishes=BLACK_SIDES).with_inclusions(
    rl.Inclusion.disc(CENTER, RADIUS, name="feather")
)
EVEN = Dome(sky_radiance=1.0, tray_radiance=1.0)
VIEW = rl.View(tilt_deg=25.0, tilt_azimuth_deg=40.0)


def scene(**given):
    settings = rl.TraceSettings(samples=1, min_weight=1e-6)
    return rl.Scene(SLAB, EVEN, **{"view": VIEW, "settings": settings, "resolution": 192, **given})


@pytest.fixture(scope="module")
def found():
    return rl.inclusion_images(scene())


def place_of(center):
    """Where a point below the slab's top is seen on the map: back along the refracted ray, and up."""
    turn = VIEW.rotation()
    way = turn.T @ np.array([0.0, 0.0, -1.0])
    across = way[:2] / N
    inside = np.array([*across, -math.sqrt(1.0 - across @ across)])
    return (turn @ (center + (0.5 - center[2]) / inside[2] * inside))[:2]


def test_images_are_where_snell_and_mirrors_put_them():
    """The direct one, and the one that the bottom mirrors, which shows the mirrored centre; further ones are below R^2."""
    found = rl.inclusion_images(scene(settings=rl.TraceSettings(samples=9)))
    below = np.array([CENTER[0], CENTER[1], -1.0 - CENTER[2]])
    assert [(one.reflections, one.facets) for one in found.images] == [(0, ("facet 2",)), (1, ("facet 2", "facet 5"))]
    pixel = found.maps.attrs["pixel_mm"]
    for one, center in zip(found.images, (CENTER, below), strict=True):
        assert one.center_mm == pytest.approx(place_of(center), abs=0.2 * pixel)
        foreshortened = math.pi * RADIUS**2 * math.cos(math.radians(25.0))
        assert one.area_mm2 == pytest.approx(foreshortened, rel=0.05)
        assert one.diameter_arcmin == pytest.approx(math.degrees(60 * 2 * math.atan(math.sqrt(one.area_mm2 / math.pi) / 250)))
        assert one.name == "inclusion 1 (feather)"


def test_contrast_is_against_the_stone_without(found):
    """Under an even sky the stone shows 1 everywhere, but for its black sides; the direct image is as dark as the glare."""
    R = float(rl.fresnel(25.0, 1.0, N).reflectance)
    direct = found.images[0]
    assert direct.taken == pytest.approx(1.0 - R, abs=1e-9)
    assert direct.contrast == pytest.approx(R - 1.0, abs=1e-5)
    s, p = (float(one) for one in (rl.fresnel(25.0, 1.0, N).reflectance_s, rl.fresnel(25.0, 1.0, N).reflectance_p))
    mirrored = np.median(found.maps.included.values[found.maps.image.values == 1])  # at its edge a third image shows
    assert mirrored == pytest.approx(0.5 * ((1 - s) * s + (1 - p) * p), rel=1e-9)
    bare = float((found.maps.bare * found.maps.coverage).sum() / found.maps.coverage.sum())
    assert found.lost.value * bare == pytest.approx(found.taken.value, rel=1e-2)  # the sides take a little of it
    assert 0.0 < found.lost.error < 0.2 * found.lost.value
    assert float(found.maps.contrast.min()) == pytest.approx(R - 1.0, abs=1e-5)


def test_the_stone_without_is_traced_to_the_last_bit():
    """Only rays that met an inclusion are traced anew; the others are the same with and without."""
    one = scene(resolution=24, settings=rl.TraceSettings(samples=4, engine="rays"))
    bare = rl.trace_scene(replace(one, stone=one.stone.with_inclusions(())), by_facet=False)
    found = rl.inclusion_images(one)
    assert np.array_equal(found.maps.bare.values, bare.maps.luminance.values, equal_nan=True)
    assert float(abs(found.maps.bare - found.maps.luminance).max()) > 0.1


def test_maps_number_the_images_and_their_reflections(found):
    image, reflections = found.maps.image.values, found.maps.reflections.values
    assert set(np.unique(image)) == {-1, 0, 1}
    assert (reflections[image == 0] == 0).all()
    assert (reflections[image == 1] == 1).all()
    assert (reflections[image < 0] == -1).all()
    pixel_mm2 = found.maps.attrs["pixel_mm"] ** 2
    assert [(image == k).sum() * pixel_mm2 for k in (0, 1)] == pytest.approx([one.area_mm2 for one in found.images])


def test_thresholds_decide_what_is_large_and_strong(found):
    direct, mirrored = found.images
    assert (direct.large_and_strong, mirrored.large_and_strong) == (True, False)
    assert found.to_dict()["large_and_strong"] == 1
    small = scene(resolution=64)
    assert rl.inclusion_images(small, contrast=0.03).large_and_strong == 2
    assert rl.inclusion_images(small, distance_mm=25_000.0).large_and_strong == 0
    assert rl.inclusion_images(small, resolves_arcmin=10.0).large_and_strong == 0
    near = rl.inclusion_images(scene(resolution=64, view=rl.View(distance_mm=100.0)))
    assert near.eye == Eye(distance_mm=100.0)


def test_numbers_follow_the_views():
    views = rl.rocking(2, 20.0)
    series = rl.inclusion_tilt(scene(resolution=48), views)
    assert series.tilt_deg.values.tolist() == [view.tilt_deg for view in views]
    for k, view in enumerate(views):
        one = rl.inclusion_images(scene(resolution=48, view=view))
        assert (float(series.taken[k]), float(series.lost[k])) == (one.taken.value, one.lost.value)
        assert int(series.images[k]) == len(one.images)
        covered = one.maps.coverage.values
        assert float(series.area[k]) == pytest.approx(covered[one.maps.image.values >= 0].sum() / covered.sum())


def test_a_stone_without_inclusions_or_an_exact_engine_is_refused():
    with pytest.raises(InputError, match="the stone has no inclusions"):
        rl.inclusion_images(rl.Scene(box(2.0, 1.0, N), EVEN))
    with pytest.raises(UnsupportedScene, match="past inclusions"):
        rl.inclusion_images(scene(settings=rl.TraceSettings(engine="beams")))
    with pytest.raises(InputError, match=r"contrast = 11\.0: out of range"):
        rl.inclusion_images(scene(), contrast=11.0)
    with pytest.raises(InputError, match="views: no view"):
        rl.inclusion_tilt(scene(), [])
