"""What the report shows beyond numbers: colour pictures with one exposure, a film, fire and scintillation, and their files."""

from __future__ import annotations

import io
import os
from dataclasses import replace

import numpy as np
import pytest
from blank_pictures import blank_pictures
from PIL import Image

import raylab as rl
from raylab.cli import main
from raylab.color.picture import KEY
from raylab.comparison.comparing import compare
from raylab.comparison.comparison import Comparison
from raylab.report import file_names, film, liveliness, looks
from raylab.report.appearance import Appearance, appearance_of
from raylab.workbench import background
from raylab.workbench.file_exchange import DEMO

SHAPE = {"table_pct": 57.0, "crown_angle_deg": 34.5, "girdle_facets": 16}
COARSE = rl.TraceSettings(precision=0.2)
SMALL = {looks: {"SIDE": 32, "WAVELENGTHS": 3, "LOOSE": COARSE}, liveliness: {"LEAN_DEG": 2, "POINTS": 32}}
SMALL[film] = {"SIDE": 24, "STILLS": 5, "WAVELENGTHS": 2, "LOOSE": COARSE}


@pytest.fixture(scope="module", autouse=True)
def small():
    with pytest.MonkeyPatch.context() as patch:
        for module, values in SMALL.items():
            for name, value in values.items():
                patch.setattr(module, name, value)
        yield


@pytest.fixture(scope="module")
def two() -> Comparison:
    stones = [rl.round_brilliant(**SHAPE, pavilion_angle_deg=angle, name=f"P {angle:g}") for angle in (40.75, 42.5)]
    return compare(*stones, dome="head-shadow", resolution=16, settings=COARSE, tilts=(10.0, 0.0))


@pytest.fixture(scope="module")
def seen(two) -> Appearance:
    facts: list[float] = []
    found = appearance_of(two, lambda done, total: facts.append(done / total))
    assert facts == sorted(facts)
    assert facts[-1] == pytest.approx(1.0)
    return found


def test_each_stone_is_seen_in_two_views_under_three_lights(two, seen):
    assert [look.dome.name for look in seen.looks] == ["head-shadow", "small-lamps", "side-window"]
    assert seen.looks[0].dome is two.dome
    assert {look.dome.head_half_angle_deg for look in seen.looks} == {16.0}
    for look in seen.looks:
        assert [view.tilt_deg for view in look.views] == [0.0, 10.0]
        assert [len(row) for row in look.pictures] == [2, 2]
        assert {one.exposure for row in look.pictures for one in row} == {look.exposure}
        assert len({(one.grid.x0_mm, one.grid.pixel_mm) for row in look.pictures for one in row}) == 1


def test_a_picture_is_the_color_picture_of_the_stone_as_laid(two, seen):
    look = seen.looks[1]
    made = look.pictures[1][1]
    alone = rl.color_picture(
        rl.Scene(two.shown[1], look.dome, look.views[1], COARSE), spectrum=made.waves, grid=made.grid, exposure=look.exposure
    )
    np.testing.assert_array_equal(made.xyz, alone.xyz)
    assert made.error == alone.error


def test_the_exposure_lifts_the_median_of_dark_faces_and_leaves_bright_ones(seen):
    for look, bright in zip(seen.looks, (True, False, False), strict=True):
        pictures = [one for row in look.pictures for one in row]
        median = np.median(np.concatenate([one.xyz[one.coverage > 0.5, 1] for one in pictures]))
        assert look.exposure == (1.0 if bright else pytest.approx(KEY / median, rel=0.05))
        assert look.exposure == looks.exposure_for([replace(one, exposure=1.0) for one in pictures])
        dark = [replace(one, xyz=0.0 * one.xyz) for one in pictures]
        assert looks.exposure_for(dark) == 1.0


@pytest.mark.parametrize(
    ("own", "names"),
    [
        ("head-shadow", ["head-shadow", "small-lamps", "side-window"]),
        ("small-lamps", ["small-lamps", "side-window", "head-shadow"]),
        ("overcast-sky", ["overcast-sky", "small-lamps", "side-window"]),
    ],
)
def test_the_light_of_the_comparison_comes_first_and_once(own, names):
    dome = rl.load_dome(own)
    assert [one.name for one in looks.lights(dome)] == names
    renamed = replace(dome, name="desk")
    assert [one.name for one in looks.lights(renamed)] == ["desk", *names[1:]]
    assert looks.lights(renamed)[0] is renamed


def test_only_wavelengths_at_which_the_stones_are_known():
    diamond = rl.round_brilliant(**SHAPE, pavilion_angle_deg=40.75)
    other = replace(diamond, material=rl.get_material("moissanite"))
    low = other.material.index.range_nm()[0]
    assert looks.spectrum_for([diamond], 4).low_nm == 400.0
    assert looks.spectrum_for([diamond, other], 4).low_nm == pytest.approx(low)
    tinted = replace(diamond, material=replace(diamond.material, absorption=((450.0, 0.1), (650.0, 0.2))))
    waves = looks.spectrum_for([diamond, tinted], 4)
    assert (waves.low_nm, waves.high_nm) == (450.0, 650.0)


def test_the_film_rocks_there_and_back(two, seen):
    tilts = film.rocking_tilts()
    assert tilts == [-one for one in reversed(tilts)]
    assert (tilts[0], tilts[len(tilts) // 2]) == (-film.TILT_DEG, 0.0)
    with Image.open(io.BytesIO(seen.film.webp)) as moving:
        assert moving.size == (2 * film.SIDE, film.SIDE)
        stills = []
        for k in range(moving.n_frames):
            moving.seek(k)
            stills.append(np.asarray(moving.convert("RGB"), dtype=float))
    order = [2, 3, 4, 3, 2, 1, 0, 1]
    assert len(stills) == len(order)
    with Image.open(io.BytesIO(seen.film.strip)) as strip:
        drawn = np.asarray(strip, dtype=float)
    assert drawn.shape == (2 * film.SIDE, 5 * film.SIDE, 3)
    for still, k in zip(stills, order, strict=True):
        off = []
        for other in range(5):
            wanted = drawn[:, other * film.SIDE : (other + 1) * film.SIDE]
            off.append(float(np.abs(still - np.concatenate(np.split(wanted, 2), axis=1)).mean()))
        assert int(np.argmin(off)) == k, "each still is that of its tilt, but for what the compression changes"
    assert film.film(two, seen.looks[-1]).webp == seen.film.webp


def test_many_stones_fill_rows():
    pictures = [np.full((2, 3, 3), k, np.uint8) for k in range(5)]
    sheet = film.side_by_side(pictures)
    assert sheet.shape == (4, 12, 3)
    assert sheet[0, ::3, 0].tolist() == [0, 1, 2, 3]
    assert sheet[3, 0, 0] == 4
    assert len(set(sheet[2:, 3:].ravel().tolist())) == 1


def test_fire_and_scintillation_are_those_of_their_functions(two, seen):
    one = seen.lively[1]
    settings = replace(COARSE, precision=liveliness.PRECISION)
    flashes = rl.scintillation(two.shown[1], "head-shadow", range(3), resolution=32, settings=settings)
    fire = rl.fire_map(rl.Scene(two.shown[1], two.dome, settings=settings, resolution=8))
    assert (one.fire_deg, one.flash_per_deg) == (fire.mean_deg, flashes.mean_share_per_deg)
    assert one.flash_error == pytest.approx(float(np.average(flashes.share_error, weights=flashes.angle_deg)))


def test_the_command_names_files_after_those_of_the_stones(two, seen, tmp_path, monkeypatch, capsys):
    def compared(*_, progress, **__) -> Comparison:
        progress(1, 2)
        progress(2, 2)
        return two

    monkeypatch.setattr("raylab.comparison.comparing.compare", compared)
    monkeypatch.setattr("raylab.report.pictures.drawn", lambda _: blank_pictures(2))
    monkeypatch.setattr("raylab.report.appearance_of", lambda *_: seen)
    for folder in ("one", "two"):
        (tmp_path / folder).mkdir()
        rl.save_stone(two.stones[0], tmp_path / folder / "Offer.csv")
    monkeypatch.chdir(tmp_path)
    asked = ["compare", "one/Offer.csv", "two/Offer.csv", "--out", "out", "--tilt-deg", "10", "--tilt-deg", "0"]
    assert main(asked) == 0
    files = {
        f"offer-{letter}-{what}" for letter in "ab" for what in ("drawing.svg", "luminance.png", "contrast.png", "leak.png")
    }
    looked = {
        f"offer-{x}-{y}-{z}.png"
        for x in "ab"
        for y in ("head-shadow", "small-lamps", "side-window")
        for z in ("face-up", "tilt-10")
    }
    pair = {"offer-a-and-offer-b-verdicts.svg", "offer-a-and-offer-b-difference.png"}
    assert set(os.listdir("out")) == {"report.html", "comparison.json", "ledger.svg", "film.webp", *files, *looked, *pair}
    with Image.open("out/offer-b-small-lamps-tilt-10.png") as picture:
        assert picture.size == (32, 32)
    output = capsys.readouterr()
    assert output.err == "comparing 2 stones takes about 25 s on two cores\n"
    assert f"{len(os.listdir('out'))} files in out" in output.out
    assert "Under an even sky with the dark head of the observer, " in output.out


@pytest.mark.parametrize(
    ("names", "marks"),
    [
        (["Offer A", "offer-b"], ("offer-a", "offer-b")),
        (["x", "X"], ("x-a", "x-b")),
        (["x", "x", "x-a"], ("a", "b", "c")),
        (["../..", "CON:", "a" * 99], ("a", "con", "a" * 40)),
    ],
)
def test_marks_are_safe_and_different(names, marks):
    assert file_names.marks(names) == marks


def test_the_report_of_the_workbench_has_the_pictures_unless_they_are_not_asked_for(two, monkeypatch):
    monkeypatch.setattr(background, "compare", lambda *_, **__: two)
    monkeypatch.setattr("raylab.report.pictures.drawn", lambda _: blank_pictures(2))
    request = {"designs": [DEMO, DEMO], "dome": two.dome.name}
    shares: list[float] = []
    made = background.report(request, {two.dome.name: two.dome}, lambda done, total: shares.append(done / total))
    assert made["html"].count('class="look"') == 3
    assert 'class="moving" src="data:image/webp;base64,UklGR' in made["html"]
    assert shares == sorted(shares)
    assert shares[-1] == pytest.approx(1.0)
    plain = background.report({**request, "looks": False}, {two.dome.name: two.dome}, lambda *_: None)
    assert 'class="look"' not in plain["html"]
    assert 'class="moving"' not in plain["html"]
    assert "Fire and scintillation" not in plain["html"]
