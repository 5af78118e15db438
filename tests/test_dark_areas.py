"""Dark areas: connected pixels, the strip across the width, their brackets, and the doors that show them."""

from __future__ import annotations

import doctest
import json
from dataclasses import replace

import numpy as np
import pytest

import raylab as rl
from raylab import darkness
from raylab.cli import main
from raylab.pictures import plots
from raylab.pictures.dark_plots import dark_figure
from raylab.pictures.tilt_plots import tilt_figure
from raylab.plane_geometry import long_axis
from raylab.results import dark_areas as areas
from raylab.results.dark_areas import Cells, Pixels, Strip
from raylab.scene.pixel_grid import PixelGrid

DOME = rl.load_dome("head-shadow")
OVAL = rl.oval_brilliant(table_pct=57, pavilion_angle_deg=39.0, girdle_facets=32)
LOOSE = {"precision": 0.1, "by_facet": False}


@pytest.fixture(scope="module")
def seen() -> rl.Result:
    return rl.trace(OVAL, DOME, resolution=64, **LOOSE)


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(darkness).failed == 0


def face(luminance: np.ndarray, more: np.ndarray | float = 0.0) -> tuple[Cells, Pixels]:
    """Whole pixels of 1 mm as cells and as a grid, their strip the middle column."""
    side = len(luminance)
    grid, whole = PixelGrid(-side / 2.0, -side / 2.0, 1.0, side), np.ones(luminance.shape)
    pixels = Pixels(grid, whole, luminance, more * whole)
    return areas.cells_of_pixels(pixels, 0.0 * whole, Strip(np.array([1.0, 0.0]), 0.5)), pixels


def found_in(luminance: np.ndarray, more: np.ndarray | float = 0.0, below: float = 0.5) -> areas.DarkAreas:
    cells, pixels = face(luminance, more)
    return areas.dark_areas_of(cells, pixels, Strip(np.array([1.0, 0.0]), 0.5), below=below, band=1.0 / len(luminance))


def test_the_largest_area_is_connected_across_sides_not_corners():
    dark = np.array([[1, 1, 0, 0, 0], [1, 0, 0, 0, 0], [0, 1, 1, 0, 0], [0, 1, 1, 0, 0], [0, 0, 0, 0, 0]])
    found = found_in(1.0 - dark)
    assert found.largest.value == pytest.approx(4.0 / 25.0)
    assert found.center_mm == pytest.approx((-0.5, 0.5))
    assert found.extent_mm == (-1.5, 0.5, -0.5, 1.5)
    assert found.where.sum() == 4
    assert found.band_share.value == pytest.approx(2.0 / 25.0), "two of the four lie in the middle column"
    assert found.band_depth.value == pytest.approx(1.0 - (3.0 / 5.0) / (15.0 / 20.0))


def test_a_threshold_is_a_share_of_the_mean():
    levels = np.full((5, 5), 1.0)
    levels[1:4, 2] = 0.6  # the mean is 0.952
    assert found_in(levels).largest.value == 0.0
    assert np.isnan(found_in(levels).center_mm).all()
    assert found_in(levels, below=0.62).largest.value == 0.0
    assert found_in(levels, below=0.64).largest.value == pytest.approx(3.0 / 25.0)


def test_brackets_hold_whatever_the_untraced_light_does():
    """Any light between none and all of what is untraced, spot by spot, gives numbers within the bracket."""
    rng = np.random.default_rng(3)
    levels, more = rng.random((9, 9)), 0.3 * rng.random((9, 9))
    stated = found_in(levels, more)
    for _ in range(100):
        other = found_in(levels + more * rng.choice([0.0, 1.0, rng.random()], (9, 9)))
        for key, one in stated.statistics.items():
            assert one.low <= other.statistics[key].value <= one.high, key
    assert stated.largest.low < stated.largest.high


def test_areas_in_the_strip_are_those_of_pixels_as_fine_as_wanted(seen):
    """Polygons cut at the strip's edges, against the covered parts of pixels whose edges are the strip's own."""
    strip = areas.strip_across(OVAL, rl.View(), 0.2)
    assert strip.half_mm == pytest.approx(0.1 * 7.0)
    cells = areas.cells_of_beams(seen.beams[0], 1.0, strip)
    grid = PixelGrid(-3.5, -3.5, 1.4, 5)
    drawn = areas.pixels_of_beams(seen.beams[0], 1.0, grid)
    middle = drawn.coverage[:, 2] * grid.pixel_mm**2
    assert cells.in_strip.sum() == pytest.approx(middle.sum(), rel=1e-12)
    light = np.nansum(drawn.luminance[:, 2] * middle)
    assert (cells.in_strip * cells.luminance).sum() == pytest.approx(light, rel=1e-11)


def test_a_turned_stone_has_the_same_band(seen):
    found, turned = (rl.dark_areas(one) for one in (seen, rl.trace(OVAL, DOME, rl.View(turn_deg=37.0), resolution=64, **LOOSE)))
    for key in ("dark_band", "dark_band_depth"):
        assert turned.statistics[key].value == pytest.approx(found.statistics[key].value, abs=1e-9)
    assert np.degrees(np.arctan2(*turned.strip.along[::-1])) == pytest.approx(37.0)


def test_pixels_of_rays_agree_with_polygons():
    """Within 4.5 standard errors; what polygons leave untraced is far below that."""
    exact = rl.dark_areas(rl.trace(OVAL, DOME, resolution=64, precision=2e-3, by_facet=False)).band_depth
    sampled = rl.dark_areas(rl.trace(OVAL, DOME, resolution=64, samples=9, engine="rays", by_facet=False)).band_depth
    assert 0.0 < sampled.error < 0.02
    assert sampled.value == pytest.approx(exact.value, abs=4.5 * sampled.error + exact.width)


def test_a_round_stone_has_no_band_and_a_dark_area_all_the_same():
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
    found = rl.dark_areas(rl.trace(stone, DOME, resolution=48, wavelengths_nm=(500.0, 589.3, 650.0), **LOOSE))
    assert list(found.statistics) == ["dark_area"]
    assert found.strip is found.band_share is found.band_depth is None
    tilted = rl.tilt(stone, DOME, [0.0], settings=rl.TraceSettings(precision=0.1), dark=True)
    assert np.isnan(tilted.dark_band.values).all()
    assert 0.0 < float(tilted.dark_area[0]) < 1.0


def test_the_long_axis_is_found_wherever_it_lies():
    box = np.array([[-3.0, -1.0], [3.0, -1.0], [3.0, 1.0], [-3.0, 1.0]])
    turn = rl.View(turn_deg=30.0).rotation()[:2, :2]
    axis, factor = long_axis(box @ turn.T + (5.0, 2.0))
    assert axis == pytest.approx(turn[:, 0])
    assert factor == pytest.approx(3.0)


@pytest.mark.parametrize(("key", "value"), [("below", 0.0), ("below", 1.5), ("band", 0.0), ("band", 1.0)])
def test_shares_out_of_range_are_refused(seen, key, value):
    with pytest.raises(rl.InputError, match=key):
        rl.dark_areas(seen, **{key: value})


def test_a_series_is_its_single_views(seen):
    """Tilted to either side about its length the oval shows mirror images, so that the numbers are the same."""
    settings = rl.TraceSettings(precision=0.1)
    found = rl.tilt(OVAL, DOME, [-8.0, 0.0, 8.0], 90.0, settings=settings, dark=True)
    for key, one in rl.dark_areas(seen).statistics.items():
        if key != "dark_area":  # on other pixels
            assert float(found[key][1]) == pytest.approx(one.value, abs=1e-9)
        for part in ("", "_low", "_high"):
            assert float(found[key + part][0]) == pytest.approx(float(found[key + part][2]), abs=2e-3)
    assert float(found.dark_y_mm[0]) == pytest.approx(-float(found.dark_y_mm[2]), abs=0.05)
    without = rl.tilt(OVAL, DOME, [0.0], settings=settings)
    assert "dark_area" not in without
    assert float(without.brightness[0]) == float(found.brightness[1])
    assert len(tilt_figure(found).axes) == len(tilt_figure(without).axes) + 1


def test_commands_show_them(seen, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    rl.save_stone(OVAL, "oval.csv")
    lines = 'schema = 1\n[stone]\nfile = "oval.csv"\n[dome]\nname = "head-shadow"\n[output]\nresolution = 32\nprecision = 0.2\n'
    (tmp_path / "oval.toml").write_text(lines, encoding="utf-8")
    assert main(["tilt", "oval.toml", "--out", "t", "--to-deg", "4", "--step-deg", "4", "--dark", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert len(facts["dark_band_depth"]) == 2
    monkeypatch.setattr(plots, "map_pictures", lambda *_: iter(()))  # the other pictures take seconds
    monkeypatch.setattr(plots, "overview_picture", lambda *_: np.zeros((2, 2, 3), np.uint8))
    assert main(["render", "oval.toml", "--out", "r", "--dark"]) == 0
    assert "dark band across the width" in capsys.readouterr().out
    written = json.loads((tmp_path / "r" / "summary.json").read_text(encoding="utf-8"))["dark_areas"]
    assert list(written["values"]) == ["dark_area", "dark_band", "dark_band_depth"]
    assert written["extent_mm"][0] < written["center_mm"][0] < written["extent_mm"][1]
    assert (tmp_path / "r" / "dark-areas.png").stat().st_size > 1000


def test_the_picture_outlines_the_area(seen):
    found = rl.dark_areas(seen)
    axes = dark_figure(seen, found).axes[0]
    assert len(axes.collections) == 1
    assert len(axes.lines) == 3, "the centroid and the strip's two edges"
    assert len(dark_figure(seen, replace(found, strip=None)).axes[0].lines) == 1
