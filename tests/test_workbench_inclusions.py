"""Inclusions on the page, without a browser: where a click plots one, what is seen of it, how it is kept, and its strips."""

from __future__ import annotations

import base64
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from workbench_process import unpack

import raylab as rl
from raylab.designs.design import COLUMNS, row_of
from raylab.notebook.stone_design import design_of
from raylab.stone.inclusions.inclusion_file import inclusion_tables, load_inclusions
from raylab.stone.inclusions.placing import point_below
from raylab.workbench import strips, visibility_slices
from raylab.workbench.answers import STEPS, Answerer
from raylab.workbench.design_json import DEMO, facet_design, stone_of
from raylab.workbench.file_exchange import open_bytes, open_path, saved
from raylab.workbench.inclusion_facts import MOST_IMAGES, RESOLUTION

DOME = rl.load_dome("head-shadow")
SPECK = {"name": "speck", "shape": "sphere", "facet": "table", "at_mm": [0.4, 0.1], "apparent_depth_mm": 0.3, "radius_mm": 0.1}
DESIGN = {**DEMO, "girdle_facets": 32, "inclusions": [SPECK]}
SHAPES = (
    rl.Inclusion.sphere((0.5, 0.2, -0.4), 0.05, name="speck"),
    rl.Inclusion.ellipsoid((0, 0.1, 0), (0.3, 0.2, 0.1), axis=(0, 1, 0), second_axis=(0, 0, 1), transmittance=0.25),
    rl.Inclusion.disc((0.1, 0, 0.2), 0.3, (0, 0, -1), transmittance=0.5),
    rl.Inclusion.polyhedron([(0, 0, 0), (0.2, 0, 0), (0, 0.2, 0), (0, 0, 0.3)]),
)


def answered(**values: Any) -> dict[str, Any]:
    question = {"id": 1, "side": "a", "step": "exact", "design": DESIGN, "dome": DOME.name, **values}
    return unpack(Answerer({DOME.name: DOME}).answer(question))[0]


def test_a_click_on_a_map_plots_what_then_lies_below_the_point_clicked():
    stone, x, y = stone_of(DESIGN), 0.31, -0.52
    place = answered(kind="plot", x_mm=x, y_mm=y)["plotted"]
    assert place["facet"] == "table 0"
    found = point_below(stone, **place, depth_mm=0.25)
    assert found == pytest.approx((x, y, stone.vertices_mm[:, 2].max() - 0.25), abs=1e-12)


def test_a_click_on_a_tilted_map_plots_through_the_facet_that_its_view_ray_meets():
    view = rl.View(tilt_deg=10.0, tilt_azimuth_deg=30.0)
    place = answered(kind="plot", x_mm=2.2, y_mm=0.4, tilt_deg=10.0, tilt_azimuth_deg=30.0)["plotted"]
    stone = stone_of(DESIGN)
    point = np.array(point_below(stone, **place, depth_mm=1e-9))
    assert (view.rotation() @ point)[:2] == pytest.approx([2.2, 0.4], abs=1e-8)
    assert place["facet"] == rl.ray_path(rl.Scene(stone, DOME, view), 2.2, 0.4).hits[0].name


def test_a_click_on_a_facet_in_3d_plots_through_its_point():
    stone = stone_of(DESIGN)
    facet = stone.tiers.index("pavilion main")
    name, point = stone.facet_name(facet), stone.polyhedron.centroids[facet]
    place = answered(kind="plot", facet=name, point_mm=point.tolist())["plotted"]
    assert place == {"facet": name, "at_mm": pytest.approx([0.0, 0.0], abs=1e-12)}


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"x_mm": 9.0, "y_mm": 0.0}, "lies outside the stone"),
        ({"x_mm": 9.0}, "not a position on the map"),
        ({"facet": "tabel", "point_mm": [0.0, 0.0, 1.0]}, "no point of a facet"),
        ({"facet": "table 0", "point_mm": [0.0, 0.0]}, "no point of a facet"),
        ({"facet": "table 0", "point_mm": [0.0, 0.0, float("nan")]}, "point_mm"),
    ],
)
def test_a_click_beside_the_stone_is_refused_in_one_line(values, words):
    text = answered(kind="plot", **values)["error"]["text"]
    assert words in text
    assert "\n" not in text


def test_what_is_seen_is_what_the_library_finds():
    settings, _ = STEPS["exact"]
    found = rl.inclusion_images(rl.Scene(stone_of(DESIGN), DOME, rl.View(), settings, RESOLUTION))
    told = answered(kind="inclusions")["inclusions"]
    assert (told["number"], told["large_and_strong"]) == (len(found.images), found.large_and_strong)
    assert told["taken"]["value"] == pytest.approx(found.taken.value, rel=1e-12)
    assert [one["area_mm2"] for one in told["images"]] == pytest.approx([one.area_mm2 for one in found.images[:MOST_IMAGES]])


def test_a_picture_says_that_it_is_sampled_where_its_inclusions_lie_and_what_is_cut_off():
    wide = {"shape": "sphere", "center_mm": [0.0, 0.0, 0.9], "radius_mm": 0.3}
    told = answered(kind="picture", step="coarse", maps=["luminance"], design={**DESIGN, "inclusions": [SPECK, wide]})
    assert not told["exact"]
    assert told["summary"]["engine"] == "rays"
    assert told["shape"]["inclusions"] == inclusion_tables(stone_of({**DESIGN, "inclusions": [SPECK, wide]}).inclusions)
    (remark,) = told["shape"]["inclusion_remarks"]
    assert remark.startswith("inclusion 2 reaches ")
    assert "is cut off" in remark
    bare = answered(kind="picture", step="coarse", maps=["luminance"], design=DEMO)
    assert (bare["exact"], bare["shape"]["inclusions"]) == (True, [])


def test_tables_state_every_shape():
    assert stone_of({**DESIGN, "inclusions": json.loads(json.dumps(inclusion_tables(SHAPES)))}).inclusions == SHAPES


def test_inclusions_are_kept_in_the_scene_file_with_proportions(tmp_path):
    name, data = saved(DESIGN, "toml", "W-1 (invented)", {"name": DOME.name}, {"tilt_deg": 3.0})
    assert open_bytes(name, data).design["inclusions"] == [SPECK], "plotted as it was"
    (tmp_path / name).write_bytes(data)
    assert rl.load_scene(tmp_path / name).stone.inclusions == stone_of(DESIGN).inclusions


def test_a_stone_of_measured_facets_is_kept_in_two_files(tmp_path):
    stone = stone_of(DESIGN).with_inclusions(SHAPES)
    design = facet_design(stone)
    for kind in ("toml", "csv"):
        name, data = saved(design, kind, "", {"name": DOME.name}, {})
        (tmp_path / name).write_bytes(data)
    again = rl.load_scene(tmp_path / saved(design, "toml", "", None, {})[0]).stone
    assert again.inclusions == SHAPES
    np.testing.assert_allclose(again.distances_mm, stone.distances_mm, rtol=1e-9)


def test_a_scene_whose_inclusions_stand_in_a_csv_file_opens_with_them_listed(tmp_path):
    (tmp_path / "plotted.csv").write_text("shape,center_mm,radius_mm\nsphere,0.1 0 0.2,0.05\n")
    bare = {key: value for key, value in DESIGN.items() if key != "inclusions"}
    text = saved(bare, "toml", "", {"name": DOME.name}, {})[1].decode()
    text = text.replace("[dome]", 'inclusions = "plotted.csv"\n\n[dome]')
    (tmp_path / "scene.toml").write_text(text)
    opened = stone_of(open_path(tmp_path / "scene.toml").design)
    assert opened.inclusions == load_inclusions(tmp_path / "plotted.csv", opened)


def test_a_notebook_shows_a_stone_with_its_inclusions():
    stone = stone_of(DESIGN)
    assert stone_of(design_of(stone)).inclusions == stone.inclusions


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("/etc/hostname", "inclusions = '/etc/hostname': wrong type; expected a list of tables"),
        ([{**SPECK, "radius_mm": 0}], "inclusions#1.radius_mm = 0.0: out of range"),
        ([SPECK, {**SPECK, "apparent_depth_mm": 3.0}], "inclusions#2.apparent_depth_mm = 3.0: below the other side"),
        ([{**SPECK, "at_mm": [3.0, 0.0]}], "inclusions#1.at_mm = [3.0, 0.0]: beside table"),
        ([{**SPECK, "facet": "tabel"}], "inclusions#1.facet = 'tabel': unknown facet; did you mean 'table'"),
        ([{"shape": "sphere", "center_mm": [0, 0, 3], "radius_mm": 1}], "its middle is not inside the stone"),
        ([{**SPECK, "radius": 1}], "inclusions#1.radius = 1: unknown key"),
        ([SPECK] * 1001, "at most 1000"),
    ],
)
def test_a_faulty_inclusion_is_one_line_that_names_it(given, words):
    text = answered(kind="picture", maps=[], design={**DESIGN, "inclusions": given})["error"]["text"]
    assert words in text
    assert "\n" not in text


# --- the field of visibility -------------------------------------------------------------------------------------------


def test_the_field_of_the_page_is_the_librarys(monkeypatch):
    """Bytes are levels of the field of `rl.visibility`, and the places of inclusions are looked up in it."""
    monkeypatch.setattr(visibility_slices, "VOXELS", 8)
    monkeypatch.setattr(visibility_slices, "RAYS", 4000)
    stone, asked = stone_of(DESIGN), {"design": DESIGN, "dome": DOME.name, "tilt_deg": 12.0}
    shares: list[float] = []
    found = visibility_slices.visibility_slices(asked, {DOME.name: DOME}, lambda done, total: shares.append(done / total))
    field = rl.visibility(stone, DOME, rl.View(tilt_deg=12.0), voxels=8, rays=4000)
    lost, levels = 100.0 * field.maps.lost.values, np.frombuffer(base64.b64decode(found["levels"]), np.uint8)
    levels = levels.reshape(found["shape"]).astype(float)
    assert np.array_equal(levels == 0, np.isnan(lost))
    step = 2.0 * np.sqrt(found["top_pct"] * np.minimum(lost, found["top_pct"])) / 254.0
    known = np.minimum(lost, found["top_pct"])
    off = np.abs(found["top_pct"] * ((levels - 1.0) / 254.0) ** 2 - known)
    assert (off <= step + found["top_pct"] / 254.0**2)[levels > 0].all()
    (speck,) = found["places"]
    here = field.at(stone.inclusions[0].center_mm)
    assert (speck["images"], speck["lost_pct"]) == pytest.approx((here["images"], 100.0 * here["lost"]), rel=1e-12)
    at = [round((c - f) / s) for c, f, s in zip(speck["center_mm"], found["first_mm"], found["step_mm"], strict=True)]
    assert lost[tuple(at)] == pytest.approx(speck["lost_pct"], rel=1e-12)
    empty = replace(field, maps=field.maps.where(field.maps.z > 2.0))  # as a voxel of which hardly a part is in the stone
    assert visibility_slices.place_in(empty, stone, 1)["outside"].startswith("its voxel")
    assert 0.1 <= found["least"]["share"] < 0.2
    assert shares[-1] == 1.0
    with pytest.raises(rl.InputError, match="girdles"):
        visibility_slices.visibility_slices({**asked, "girdles": 1}, {DOME.name: DOME}, lambda done, total: None)


# --- strips of stones that no exact engine traces -------------------------------------------------------------------------


def rough() -> dict[str, Any]:
    """The demo stone with a girdle that scatters."""
    return facet_design(stone_of({**DESIGN, "inclusions": []}).with_finishes({"girdle": "lambertian 0.8"}))


@pytest.mark.parametrize(
    ("design", "key", "values", "step"),
    [
        (DESIGN, "tilt_deg", [0.0, 12.0], "exact"),
        (DESIGN, "absorption_per_mm", [0.0, 0.1], "exact"),
        (rough(), "tilt_deg", [0.0, 12.0], "coarse"),  # by rays through pixels, of which a finer picture has six times as many
    ],
    ids=["tilt", "slider", "scattering"],
)
def test_strip_and_tilt_curve_of_a_sampled_stone_are_the_librarys_within_the_stated_errors(
    design, key, values, step, monkeypatch
):
    monkeypatch.setattr(strips, "SLICE_S", 1e9)
    found = answered(kind="strip", step="coarse", design=design, key=key, values=values)
    settings = replace(STEPS[step][0], engine="rays", standard_error=strips.SAMPLED_ERROR, seed=5)
    for at, value in enumerate(values):
        stone = stone_of({**design, key: value} if key in design else design)
        scene = rl.Scene(stone, DOME, rl.View(tilt_deg=value if key == "tilt_deg" else 0.0), settings, STEPS[step][1])
        wanted = dict(zip(COLUMNS, row_of(lambda scene=scene: scene), strict=True))
        for name in ("brightness", "contrast_rms"):
            error = found["errors"][name][at]
            assert 0.0 < error <= strips.SAMPLED_ERROR
            assert abs(found["numbers"][name][at] - wanted[name]) <= 5.0 * np.hypot(error, wanted[f"{name}_error"])
    one, other = found["numbers"]["brightness"]
    assert abs(one - other) > 0.03, "far more than the errors"
