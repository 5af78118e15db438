"""Facets that scatter at every door: names, files, engines, maps, numbers, one ray, and the page."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from polyhedra import box
from scipy.stats import chi2
from small_scenes import scene_of
from test_workbench import answer

import raylab as rl
from raylab.errors import InputError, UnsupportedScene
from raylab.optics.materials import Material
from raylab.stone.facet_table import facet_table
from raylab.stone.finish import Finish, get_finish
from raylab.tracers.ledger import ENTRIES, LUMINANCE
from raylab.tracers.sampled.view_rays import sample_points
from raylab.tracers.scattering import SPREAD
from raylab.workbench.design_json import DEMO, facet_design, stone_of

DOME = rl.load_dome("head-shadow")
GEM = rl.round_brilliant(
    table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_pct=8, girdle_finish="lambertian 0.8"
)


@pytest.fixture(scope="module")
def traced():
    return rl.trace(GEM, DOME, resolution=48)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("lambertian", "albedo; expected 'lambertian 0.8'"),
        ("lambertian 1.2", "albedo"),
        ("lambertian nan", "albedo"),
        ("lambertian -0.1", "albedo"),
        ("lambertian much", "not a finish; expected 'lambertian 0.8'"),
        ("lambertian 0.2 0.3", "not a finish"),
        ("rough", "roughness; expected 'rough 0.2'"),
        ("rough 1.5", "roughness"),
        ("polished 0.5", "has no number"),
        ("lambertin 0.2", "did you mean 'lambertian'"),
    ],
)
def test_a_finish_that_is_none_is_one_line(text, said):
    with pytest.raises(InputError, match=said) as refused:
        rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_finish=text)
    assert refused.value.key == "girdle_finish"
    assert "\n" not in str(refused.value)


def test_a_finish_is_what_its_text_says():
    assert get_finish("lambertian 0.8") == Finish("lambertian", 0.8) == get_finish(str(Finish("lambertian", 0.8)))
    assert [str(one) for one in GEM.finishes if one.scatters] == ["lambertian 0.8"] * int(GEM.on_girdle.sum())


def test_files_give_finishes_back(tmp_path):
    stone = GEM.with_finishes({"star": "lambertian 0.25", "star 3": "absorbing"})
    rl.save_stone(stone, tmp_path / "stone.csv")
    assert "# finish: star 0 = lambertian 0.25, " in facet_table(stone)
    light = '[dome]\nname = "head-shadow"\n'
    finishes = '[stone.finishes]\ngirdle = "polished"\n"star 3" = "lambertian 0.5"\n'
    scene = '[stone]\nfile = "stone.csv"\n' + finishes + light
    (tmp_path / "scene.toml").write_text("schema = 1\n" + scene)
    read = rl.load_scene(tmp_path / "scene.toml").stone
    assert rl.load_stone(tmp_path / "stone.csv").finishes == stone.finishes
    assert read.finishes == stone.with_finishes({"girdle": "polished", "star 3": "lambertian 0.5"}).finishes
    rl.save_stone(GEM, tmp_path / "recipe.toml")
    assert set(map(str, rl.load_stone(tmp_path / "recipe.toml").finishes)) == {"polished", "lambertian 0.8"}
    for wrong, said in (
        ('gridle = "absorbing"', "did you mean 'girdle'"),
        ("girdle = 3", "unknown finish"),
        ('girdle = "dull"', "unknown finish"),
    ):
        (tmp_path / "scene.toml").write_text("schema = 1\n" + scene.replace('girdle = "polished"', wrong))
        with pytest.raises(InputError, match=said) as refused:
            rl.load_scene(tmp_path / "scene.toml")
        assert "scene.toml" in str(refused.value)


def test_the_exact_engine_refuses_and_none_named_samples(traced):
    with pytest.raises(UnsupportedScene, match="the engine `beams` can't trace this scene: it does not scatter light"):
        rl.trace(GEM, DOME, engine="beams")
    assert traced.summary.engine == "rays"


def test_the_ledger_closes_and_the_part_by_scattering_stands_beside_it(traced):
    found = traced.summary.to_dict()
    assert sum(found["ledger"].values()) == pytest.approx(1.0, abs=1e-12)
    parts = found["by_scattering"]
    assert list(parts) == ["luminance", *ENTRIES]
    for entry in ENTRIES:
        assert 0.0 <= parts[entry]["value"] <= found["ledger"][entry] + 1e-12
    assert parts["sky"]["value"] > 5.0 * parts["sky"]["error"] > 0.0
    assert "of the luminance came by scattering" in found["notes"]["by_scattering"]
    assert "symmetry" not in found["stats"]
    seen = traced.maps.coverage.values * np.nan_to_num(traced.maps.by_scattering.values)
    assert seen.sum() / traced.maps.coverage.values.sum() == pytest.approx(parts["luminance"]["value"], rel=1e-12)
    polished = rl.trace(GEM.with_finishes({"girdle": "polished"}), DOME, resolution=16, engine="rays")
    assert "by_scattering" not in polished.summary.to_dict()
    assert "by_scattering" not in polished.arrays.names


def test_stated_errors_are_the_scatter_over_seeds():
    """Chi-square over 20 seeds lies in its 99.9 % range: of brightness, of the part by scattering, and of contrast, which two
    paths a ray keep free of their own scatter."""
    low, high = chi2.ppf([0.0005, 0.9995], 19)
    found = [rl.trace(GEM, DOME, resolution=14, seed=seed).summary for seed in range(20)]
    for values, errors in (
        ([one.brightness.value for one in found], [one.brightness.error for one in found]),
        (*np.array([one.by_scattering["luminance"] for one in found]).T,),
        ([one.contrast_rms.value for one in found], [one.contrast_rms.error for one in found]),
    ):
        assert low < 19.0 * np.var(values, ddof=1) / np.mean(np.square(errors)) < high


def test_two_paths_give_the_square_of_a_points_luminance():
    """The mean over keys of the product of two paths is the squared mean luminance of the point, within 4.5 standard errors."""
    cube = box(2.0, 2.0, Material.constant(1.8))
    cube = cube.with_finishes({cube.facet_name(int(np.argmin(cube.normals[:, 2]))): "lambertian 0.8"})
    scene = scene_of(cube, rl.Dome(sky_radiance=0.0, lamps=(rl.Lamp(60.0, 0.0, 25.0),)))
    rows, _ = sample_points(np.full((4000, 2), 0.3), scene, 589.3)
    light, square = rows[:, LUMINANCE], rows[:, LUMINANCE] ** 2 - rows[:, SPREAD]
    error = math.hypot(square.std(), 2.0 * light.mean() * light.std()) / math.sqrt(len(rows))
    assert abs(square.mean() - light.mean() ** 2) < 4.5 * error
    assert (light**2).mean() - light.mean() ** 2 > 4.5 * error, "without the product the scatter counts"


def test_a_ray_is_told_hit_by_hit():
    scene = rl.Scene(GEM.with_finishes({"table": "lambertian 0.25"}), DOME)
    outside = rl.ray_path(scene, 0.2, 0.1)
    assert [(hit.name, hit.fate != "scattered", hit.weight) for hit in outside.hits] == [
        ("table 0", True, 0.25),
        ("table 0", False, 0.75),
    ]
    for x, y in itertools.product((2.7, 3.1, 3.2), (0.1, 0.4)):
        path = rl.ray_path(scene, x, y)
        assert sum(hit.weight for hit in path.hits) + path.absorbed + path.untraced == pytest.approx(1.0, abs=1e-12)


def test_a_picture_in_color_of_a_wall_has_the_mean_of_the_cosine_law():
    """Rays that are alike by chance end no pixel early: that would leave out the dark head, 2 % of the light here."""
    slab = box(4.0, 1.0, 1.8)
    wall = slab.with_finishes({slab.facet_name(int(np.argmax(slab.normals[:, 2]))): "lambertian 0.9"})
    scene = rl.Scene(wall, rl.Dome(head_half_angle_deg=16.0), rl.View(), rl.TraceSettings(samples=16), resolution=32)
    seen, head = rl.color_picture(scene, spectrum=1), math.sin(math.radians(16.0)) ** 2
    luminance = float(np.nansum(seen.xyz[..., 1] * seen.coverage) / seen.coverage.sum() / seen.white[1])
    error = 0.9 * math.sqrt(head * (1.0 - head) / (16 * seen.coverage.sum()))
    assert luminance == pytest.approx(0.9 * (1.0 - head), abs=4.0 * error)
    assert 4.0 * error < 0.01


def test_the_page_samples_such_a_stone_and_says_what_it_cannot():
    design = {**DEMO, "girdle_finish": "lambertian 0.8"}
    header, arrays = answer(step="coarse", design=design, maps=["by_scattering"], facet="table 0")
    assert header["summary"]["engine"] == "rays"
    assert header["facet"] is None
    assert np.nanmax(arrays["map by_scattering"]) > 0.0
    refused, _ = answer(kind="dark", design=design)
    assert "does not scatter light" in refused["error"]["text"]
    assert stone_of(facet_design(stone_of(design))).finishes == stone_of(design).finishes
