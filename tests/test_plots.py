"""Pictures: every map is drawn, right way up, inside its outline, with unit and number; large maps are averaged."""

from __future__ import annotations

import io
import sys
import warnings
from pathlib import Path

import imageio.v3 as iio
import numpy as np
import pytest
from matplotlib.colors import TwoSlopeNorm
from matplotlib.figure import Figure

import raylab as rl
from raylab import files
from raylab.pictures import drawings, plots
from raylab.report import pictures as report_pictures
from raylab.results.maps import DEFINITIONS

PROPORTIONS = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 32}
STONE = rl.round_brilliant(**PROPORTIONS, name="a $tone_{with} \\odd [name] (invented)")
WINDOW = rl.Dome(name="window", sky_radiance=0.05, zones=(rl.Zone((15, 50), (-30, 30)),), tray_radiance=0.02)


@pytest.fixture(scope="module")
def result() -> rl.Result:
    view = rl.View(tilt_deg=25, tilt_azimuth_deg=70)
    stone = STONE.with_inclusions(rl.Inclusion.sphere((0.5, 0.2, 0.0), 0.2))  # for the map of what it takes
    stone = stone.with_finishes({"girdle": "lambertian 0.5"})  # and for that of what comes by scattering
    return rl.trace(stone, WINDOW, view, resolution=48, samples=4, wavelengths_nm=(486.1, 589.3, 656.3), engine="rays")


def rendered(figure: Figure, dpi: int = 60) -> np.ndarray:
    """(H, W, 3) pixels of a figure, drawn without a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        canvas = io.BytesIO()
        figure.savefig(canvas, format="png", dpi=dpi)
    return iio.imread(canvas.getvalue(), extension=".png")[:, :, :3]


def words(figure: Figure) -> str:
    every = [*figure.texts, *(axes.title for axes in figure.axes), *(axes._left_title for axes in figure.axes)]
    return "\n".join(text.get_text() for text in every)


def test_every_map_has_a_look():
    assert set(plots.LOOKS) == set(DEFINITIONS)
    uniform = {"cividis", "viridis", "magma"}
    assert {look.colors for name, look in plots.LOOKS.items() if name != "contrast"} <= uniform


@pytest.mark.parametrize("name", DEFINITIONS)
def test_each_map_is_drawn_with_scale_unit_and_number(result, name):
    if name not in result.maps:
        pytest.fail(f"the trace gave no map called {name}")
    figure = plots.map_figure(result, name)
    picture, bar = figure.axes
    assert (picture.get_xlabel(), picture.get_ylabel()) == ("x / mm", "y / mm")
    assert bar.get_ylabel().startswith(DEFINITIONS[name][0])
    facts = words(figure)
    assert STONE.name in facts.replace("\n", " ")
    assert "dome: window" in facts
    assert "tilted 25° towards 70°" in facts.replace("\n", " ")
    assert DEFINITIONS[name][0] + ": " in facts
    assert len(np.unique(rendered(figure).reshape(-1, 3), axis=0)) > 10


def test_titles_tell_the_number_of_the_wavelength_that_is_drawn(result):
    for wavelength, record in zip((486.1, 589.3, 656.3), result.summary.records, strict=True):
        facts = words(plots.map_figure(result, "leak", wavelength))
        assert f"leak: mean {record.statistics['leak'].value:.4g}" in facts
        assert f"{wavelength:g} nm" in facts
    middle = result.summary.records[1].statistics["contrast_rms"]
    assert f"contrast: RMS {middle.value:.4g}" in words(plots.map_figure(result, "contrast"))


def test_the_coverage_map_titles_its_area(result):
    """The map's pixels add up to the outline's area: sampled with 2 x 2 points a pixel along a rim of 48 x pi pixels, each
    good to a quarter of a pixel at worst, the sum is good to sqrt(48 pi)/4 pixels at one standard error."""
    facts = words(plots.map_figure(result, "coverage")).split("coverage: ")[1]
    pixel = result.maps.attrs["pixel_mm"] ** 2
    error = pixel * np.sqrt(48 * np.pi) / 4.0
    assert facts.split("\n")[0].endswith(" mm²")
    assert float(facts.split()[0]) == pytest.approx(result.summary.area_mm2, abs=4.0 * error)


def test_an_absolute_dome_titles_its_own_radiance():
    bright = rl.Dome(sky_radiance=20.0, absolute=True)
    result = rl.trace(STONE, bright, resolution=16, samples=1, engine="rays")
    weighted = np.average(result.maps.luminance.fillna(0.0), weights=result.maps.coverage)
    assert f"luminance: mean {weighted:.4g}" in words(plots.map_figure(result, "luminance"))
    assert weighted > 10.0


@pytest.mark.parametrize("engine", ["beams", "rays"])
def test_the_map_of_untraced_light_titles_what_it_shows(engine):
    """Its own mean, the ledger's `at most`: not the estimate of what is left once rays have followed that light."""
    found = rl.trace(STONE, rl.load_dome("head-shadow"), resolution=24, precision=0.05, engine=engine, max_bounces=20)
    title = words(plots.map_figure(found, "untraced")).split("untraced at most: mean ")[1].split("\n")[0]
    mean = np.average(found.maps.untraced.fillna(0.0), weights=found.maps.coverage)
    assert float(title) == pytest.approx(mean, rel=1e-3)
    assert mean > 1e-5


def test_pictures_are_upright(result):
    """The picture's colours are those of the map, y up: checked at pixels in all four quadrants."""
    figure = plots.map_figure(result, "source_elevation")
    image = figure.axes[0].images[0]
    assert image.origin == "lower"
    left, right, bottom, top = image.get_extent()
    half = result.maps.attrs["pixel_mm"] / 2.0
    assert left == pytest.approx(float(result.maps.x[0]) - half, rel=1e-12)
    assert bottom == pytest.approx(float(result.maps.y[0]) - half, rel=1e-12)
    assert (right, top) == pytest.approx((float(result.maps.x[-1]) + half, float(result.maps.y[-1]) + half), rel=1e-12)
    pixels = rendered(figure, dpi=100)
    field = result.maps.source_elevation.sel(wavelength_nm=589.3)
    for i, j in ((14, 14), (14, 33), (33, 14), (33, 33)):
        across, up = figure.axes[0].transData.transform((float(field.x[j]), float(field.y[i]))) * 100.0 / figure.dpi
        seen = pixels[len(pixels) - 1 - int(up), int(across)] / 255.0
        near = field.values[i - 1 : i + 2, j - 1 : j + 2]
        shades = image.cmap((near + 90.0) / 180.0)[..., :3].reshape(-1, 3)
        # smoothed between neighbours: within the range of their shades, one 8-bit step allowed
        assert np.all(seen >= shades.min(axis=0) - 1.5 / 255.0)
        assert np.all(seen <= shades.max(axis=0) + 1.5 / 255.0)


def test_outside_the_stone_the_picture_is_neutral(result):
    figure = plots.map_figure(result, "luminance")
    pixels = rendered(figure, dpi=100)
    across, up = figure.axes[0].transAxes.transform((0.02, 0.02)) * 100.0 / figure.dpi
    corner = pixels[len(pixels) - 1 - int(up), int(across)]
    assert np.ptp(corner) == 0
    assert corner[0] == round(255 * float(plots.NEUTRAL))


def test_contrast_is_centered_on_zero(result):
    norm = plots.map_figure(result, "contrast").axes[0].images[0].norm
    assert isinstance(norm, TwoSlopeNorm)
    assert (norm.vmin, float(norm(0.0)), norm.vcenter) == (-1.0, 0.5, 0.0)
    assert norm.vmax >= 1.0
    bright = plots.map_figure(result, "contrast", 589.3).axes[1]
    high = bright.get_ylim()[1]
    assert high > 1.0, "a window in the dark"
    assert list(bright.get_yticks())[:3] == [-1.0, -0.5, 0.0]
    assert max(bright.get_yticks()) <= high


@pytest.mark.parametrize(("size", "block"), [(12, 3), (13, 3), (7, 7), (5, 8)])
def test_blocks_are_means_weighted_by_coverage(size, block):
    rng = np.random.default_rng(size)
    coverage = np.where(rng.random((size, size)) < 0.3, 0.0, rng.random((size, size)))
    coverage[: min(block, size), : min(block, size)] = 0.0  # the first block covers nothing
    field = np.where(coverage > 0.0, rng.random((size, size)), np.nan)
    found = plots.block_mean(field, coverage, block)
    count = -(-size // block)
    assert found.shape == (count, count)
    assert np.isnan(found[0, 0])
    for i in range(count):
        for j in range(count):
            cell = np.s_[i * block : (i + 1) * block, j * block : (j + 1) * block]
            if coverage[cell].sum() > 0.0:
                expected = np.nansum(field[cell] * coverage[cell]) / coverage[cell].sum()
                assert found[i, j] == pytest.approx(expected, rel=1e-13)


def test_a_large_map_is_averaged_before_it_is_drawn(result, monkeypatch):
    monkeypatch.setattr(plots, "MOST_PIXELS", 20)
    axes = plots.map_figure(result, "luminance").axes[0]
    assert axes.images[0].get_array().shape == (16, 16)  # 48 pixels in blocks of 3
    half = result.maps.attrs["pixel_mm"] / 2.0
    assert axes.get_xlim() == pytest.approx((float(result.maps.x[0]) - half, float(result.maps.x[-1]) + half), rel=1e-12)
    rendered(axes.figure)


def test_the_overview_shows_maps_and_the_ledger(result):
    shown = ("luminance", "contrast", "leak")
    drawn = dict(plots.map_pictures(result, shown))
    figure = plots._overview_page(result)
    (bars,) = figure.axes
    assert bars.get_title(loc="left") == "ledger"
    widths = [bar.get_width() for bar in bars.patches]
    assert widths == pytest.approx([100.0 * entry.value for entry in result.summary.ledger.values()])
    assert [label.get_text() for label in bars.get_yticklabels()] == list(result.summary.ledger)
    assert result.scene.dome.name in figure.texts[0].get_text()
    pixels = plots.overview_picture(result, drawn)
    rows, columns = round(110 * (0.55 + 4.85 + 0.27)), 704  # of a map: axes, what is below them and the headline
    for place, name in enumerate(shown):
        assert np.array_equal(pixels[-rows:, place * columns : (place + 1) * columns], drawn[name][-rows:]), name
    around = rendered(figure, 110)
    assert np.array_equal(pixels[:-rows], around[:-rows])
    assert np.array_equal(pixels[-rows:, 3 * columns :], around[-rows:, 3 * columns :])
    assert np.array_equal(pixels, plots.overview_picture(result))  # draws what it isn't given


def test_a_stone_that_shows_no_light_is_drawn_all_the_same():
    tray_only = rl.Dome(sky_radiance=0.0, lamps=(rl.Lamp(1, 200, 0.1),))
    result = rl.trace(STONE, tray_only, resolution=12, samples=1, engine="rays")
    for name in result.maps.data_vars:
        rendered(plots.map_figure(result, name))
    plots.overview_picture(result)


def test_the_drawing_names_each_tier_that_each_side_shows():
    figure = drawings.stone_figure(STONE)
    above, side, below = ({text.get_text().rsplit(" ", 1)[0] for text in axes.texts} for axes in figure.axes)
    assert above == {"table", "star", "crown main", "upper half"}
    assert below == {"lower half", "pavilion main"}
    assert side == {"star", "crown main", "upper half", "girdle", "lower half", "pavilion main"}
    assert any(text.get_text() == "crown main 34.50°" for text in figure.axes[0].texts)
    rendered(figure)


def test_a_stone_of_no_cut_is_drawn_by_rings_with_its_length_and_width():
    """Facets that a table calls nothing but facets; the length runs askew to the axes."""
    given = rl.load_stone(Path(__file__).parents[1] / "scenes" / "stones" / "uneven-pentagon.toml")
    figure = drawings.stone_figure(rl.Stone.from_planes(given.normals, given.distances_mm, name="bare"))
    assert {text.get_text() for text in figure.axes[0].texts} == {"table 0.00°", "crown ring 1 42.00°", "crown ring 2 28.00°"}
    assert "5.848 x 4.984 x 3.150 mm" in figure.texts[0].get_text()


def test_pictures_need_neither_pyplot_nor_a_display(result, tmp_path):
    had = "matplotlib.pyplot" in sys.modules
    files.save_png(plots.map_figure(result, "leak"), tmp_path / "leak.png", dpi=50)
    assert ("matplotlib.pyplot" in sys.modules) == had
    assert (tmp_path / "leak.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_maps_drawn_on_one_ground_look_like_figures_of_their_own(result):
    names = ("luminance", "leak", "contrast")
    drawn = dict(plots.map_pictures(result, names, dpi=60))
    for name in names:
        assert np.mean(np.any(drawn[name] != rendered(plots.map_figure(result, name)), axis=-1)) < 0.002, name
    assert not np.array_equal(drawn["leak"], drawn["contrast"])


@pytest.mark.parametrize("draw", [drawings.stone_figure, report_pictures.drawing_figure])
def test_no_label_of_a_drawing_reaches_into_the_next_one(draw):
    """Of an emerald cut, whose tiers have long names and several slopes; an axis's own label stands left of its frame."""
    figure = draw(rl.emerald_cut(table_pct=62.0))
    rendered(figure)
    frames = [axes.get_tightbbox(bbox_extra_artists=[axes.yaxis, axes.xaxis]) for axes in figure.axes]
    for axes, following in zip(figure.axes, frames[1:], strict=False):
        assert max(text.get_window_extent().x1 for text in axes.texts) < following.x0
    assert "third pavilion step\n33.0° to 38.0°" in {text.get_text() for text in figure.axes[2].texts}
