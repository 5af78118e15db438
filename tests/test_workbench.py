"""The workbench without a browser: designs, answers, the latest question wins, who may ask, files in and out."""

from __future__ import annotations

import asyncio
import io
import json
import re
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scanned
import trimesh
from small_scenes import scene_of
from websockets.exceptions import InvalidStatus
from workbench_link import answers_to
from workbench_process import ROOT, BenchProcess, unpack

import raylab as rl
from raylab.cutting.blocked import blocked_stone
from raylab.cutting.last_facets import finished
from raylab.errors import InputError
from raylab.single_ray import ray_path
from raylab.stone.facet_table import facet_table
from raylab.stone.measuring.plane_uncertainty import EXACT, Uncertainty
from raylab.stone.scanning.scan import load_scan
from raylab.stone.stone_file import STONE_READERS
from raylab.tracers.ledger import ENTRIES, HEAD, LEAK, SKY
from raylab.tracers.reference import trace_path
from raylab.tracers.sampled.view_rays import sample_points, view_rays
from raylab.workbench import answers, pages
from raylab.workbench import background as jobs
from raylab.workbench.answers import Answerer
from raylab.workbench.conversation import Conversation
from raylab.workbench.design_json import DEMO, facet_design, proportion_design, rows_of, stone_of, stone_toml, stones_of
from raylab.workbench.file_exchange import SAVED, open_bytes, open_demo, open_path, saved
from raylab.workbench.messages import encode
from raylab.workbench.optical import light_through
from raylab.workbench.own_domes import dome_of_page
from raylab.workbench.request_queue import RequestQueue
from raylab.workbench.scan_facts import uncertainty_of

HEAD_SHADOW = rl.load_dome("head-shadow")
STATIC = ROOT / "raylab" / "workbench" / "static"


def question(**values: Any) -> dict[str, Any]:
    asked = {"kind": "picture", "id": 1, "side": "a", "step": "exact", "design": DEMO, "dome": "head-shadow"}
    return {**asked, "maps": ["contrast", "leak"], "facet": None, **values}


def answer(**values: Any) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    return unpack(Answerer({"head-shadow": HEAD_SHADOW}).answer(question(**values)))


# --- designs ---------------------------------------------------------------------------------------------------------


def test_a_design_by_proportions_is_the_round_brilliant():
    stone = rl.round_brilliant(**{key: value for key, value in DEMO.items() if key not in ("kind", "cut", "absorption_per_mm")})
    same = stone_of(json.loads(json.dumps(DEMO)))
    np.testing.assert_array_equal(same.normals, stone.normals)
    np.testing.assert_array_equal(same.distances_mm, stone.distances_mm)
    assert (same.tiers, same.name, same.material.name) == (stone.tiers, stone.name, "diamond")


def test_a_table_of_facets_gives_the_stone_back_to_rounding():
    stone = stone_of({**DEMO, "girdle_finish": "absorbing", "material": "sapphire", "absorption_per_mm": 0.02})
    same = stone_of(json.loads(json.dumps(facet_design(stone))))
    np.testing.assert_allclose(same.normals, stone.normals, atol=4e-16)
    np.testing.assert_array_equal(same.distances_mm, stone.distances_mm)
    assert (same.tiers, same.indices, same.finishes) == (stone.tiers, stone.indices, stone.finishes)
    assert same.symmetry == stone.symmetry
    assert same.material.absorption_per_mm(589.3) == 0.02


def test_a_spectrum_of_absorption_survives():
    pairs = [[450.0, 0.05], [650.0, 0.01]]
    design = facet_design(stone_of({**DEMO, "absorption_per_mm": pairs}))
    assert design["absorption_per_mm"] == pairs
    assert stone_of(design).material.absorption_per_mm(550.0) == pytest.approx(0.03, abs=1e-15)


def test_heights_and_weight_become_angles_and_diameter():
    given = {"cut": "round brilliant", "table_pct": 57, "crown_height_pct": 14.5, "pavilion_depth_pct": 43, "weight_ct": 1.0}
    stone = rl.round_brilliant(**{key: value for key, value in given.items() if key != "cut"})
    same = stone_of(proportion_design(given, stone))
    np.testing.assert_allclose(same.normals, stone.normals, atol=1e-14)
    assert same.weight_ct == pytest.approx(1.0, rel=1e-12)


def changed(rows: list[list[Any]], name: str, column: int, value: Any) -> list[list[Any]]:
    return [[*row[:column], value, *row[column + 1 :]] if f"{row[0]} {row[1]}" == name else row for row in rows]


ROWS = rows_of(stone_of(DEMO))
FACETED = {"kind": "facets", "facets": ROWS}


@pytest.mark.parametrize(
    ("design", "words"),
    [
        (None, ["kind"]),
        ([], ["kind"]),
        ({"kind": "proportion"}, ["kind", "did you mean 'proportions'"]),
        ({**DEMO, "cut": "round briliant"}, ["cut", "unknown cut", "round brilliant"]),
        ({**DEMO, "crown_height_pct": 15.0}, ["crown_angle_deg and crown_height_pct are alternatives"]),
        ({**DEMO, "table_pc": 57}, ["table_pc", "did you mean 'table_pct'"]),
        ({**DEMO, "table_pct": "57"}, ["table_pct", "a number"]),
        ({**DEMO, "pavilion_angle_deg": 95}, ["pavilion_angle_deg", "95", "89"]),
        ({**DEMO, "star_pct": 2}, ["the stars cross the table", "star_pct"]),
        ({**DEMO, "girdle_pct": 0}, ["the girdle vanishes", "girdle_pct"]),
        ({**DEMO, "material": "diamnod"}, ["did you mean 'diamond'"]),
        ({**DEMO, "absorption_per_mm": -1}, ["absorption_per_mm"]),
        ({**FACETED, "facets": ROWS[:3]}, ["facets", "4 to 2000"]),
        ({**FACETED, "facets": [*ROWS, ["star", 8]]}, ["row of a facet"]),
        ({**FACETED, "facets": changed(ROWS, "star 2", 3, 100)}, ["slope_deg of star 2", "100", "0 to 90"]),
        ({**FACETED, "facets": changed(ROWS, "star 2", 2, "left")}, ["row of a facet", "star"]),
        ({**FACETED, "facets": changed(ROWS, "star 2", 5, float("nan"))}, ["distance_mm of star 2"]),
        ({**FACETED, "facets": changed(ROWS, "star 2", 5, 9.0)}, ["without a facet", "star 2"]),
        ({**FACETED, "facets": [row for row in ROWS if row[2] == "down"]}, ["it is unbounded"]),
        ({**FACETED, "scan": 1.0}, ["scan"]),
    ],
)
def test_a_design_that_is_no_stone_is_reported_in_one_line(design, words):
    with pytest.raises(rl.InputError) as facts:
        stone_of(design)
    line = str(facts.value)
    assert "\n" not in line
    assert [word for word in words if word not in line] == [], line


def test_a_design_as_toml_is_a_scene_that_gives_the_same_stone(tmp_path):
    design = {**DEMO, "name": 'a "quoted" \\ name\x7f\n', "absorption_per_mm": [[450.0, 0.05], [650.0, 0.01]]}
    path = tmp_path / "x.toml"
    view = {"tilt_deg": 7.5, "tilt_azimuth_deg": 30.0}
    path.write_text(stone_toml(design, "a title", {"name": "head-shadow"}, view), "utf-8")
    scene = rl.load_scene(path)
    np.testing.assert_array_equal(scene.stone.normals, stone_of(design).normals)
    assert (scene.stone.name, scene.title, scene.dome.name) == (design["name"], "a title", "head-shadow")
    assert (scene.view.tilt_deg, scene.view.tilt_azimuth_deg) == (7.5, 30.0)
    assert open_path(path).design == design


# --- answers ---------------------------------------------------------------------------------------------------------


def test_an_exact_answer_is_what_trace_says():
    header, arrays = answer(tilt_deg=4.0, tilt_azimuth_deg=20.0)
    view = rl.View(tilt_deg=4.0, tilt_azimuth_deg=20.0)
    result = rl.trace(stone_of(DEMO), HEAD_SHADOW, view, by_facet=False)  # with the settings that everybody has by default
    assert header["summary"] == json.loads(json.dumps(result.summary.to_dict()))
    assert header["weight_ct"] == stone_of(DEMO).weight_ct
    for name in ("contrast", "leak"):
        np.testing.assert_array_equal(arrays[f"map {name}"], result.maps[name].values.astype("<f4"))


def test_a_stone_with_the_names_of_a_brilliant_alone_is_of_no_cut():
    """The page takes a stone for what its shape says, as `measure` does; a stated cut stays."""
    design = {**facet_design(stone_of(DEMO)), "cut": None}
    assert answer(design=design, step="coarse")[0]["shape"]["cut"] == "round brilliant"
    rows = [["table", 0, "up", 0, 0, 1.0, "polished"]]
    tiers = (("crown main", "up", 40, 2.2), ("girdle", "up", 90, 3.0), ("pavilion main", "down", 43, 2.0))
    rows += [[tier, k, side, slope, 360 * k / 7, mm, "polished"] for tier, side, slope, mm in tiers for k in range(7)]
    header = answer(design={**FACETED, "facets": rows}, step="coarse")[0]
    assert rl.measure(stone_of({**FACETED, "facets": rows})).cut is None
    assert header["shape"]["cut"] is None


def test_a_table_made_of_proportions_was_not_measured():
    """Its report then states no error of measurement; that of a facet table does."""
    for stone in (stone_of(DEMO), rl.load_stone(ROOT / "scenes" / "stones" / "blocked.csv")):
        design = facet_design(stone)
        assert stone_of(design).measured is stone.measured is (stone.name != DEMO["name"])
        assert answer(design=design, step="coarse")[0]["shape"]["measured"] is stone.measured


def test_a_facet_table_without_names_is_recognised_and_says_how_surely():
    rows = [["facet", k, *row[2:]] for k, row in enumerate(facet_design(stone_of(DEMO))["facets"])]
    found = answer(design={**FACETED, "cut": None, "facets": rows}, maps=[])[0]["measured"]
    assert found["cut"] == "round brilliant"
    assert found["recognition"].startswith("round brilliant, 100.0 % of the surface in its tiers")


def coarse_scan(folder: Path) -> Path:
    """A mesh of three or four points a facet, with a noise of 1 um."""
    vertices, triangles = scanned.tessellated(stone_of({**DEMO, "girdle_facets": 16}), 0)
    mesh = trimesh.Trimesh(scanned.noisy(vertices, 0.001, np.random.default_rng(3)), triangles, process=False)
    mesh.export(folder / "coarse.ply")
    return folder / "coarse.ply"


def test_the_report_of_the_page_counts_the_noise_of_a_scan_or_says_that_it_is_not_known(tmp_path):
    path, usual = coarse_scan(tmp_path), Uncertainty()
    opened = {noise: json.loads(json.dumps(open_path(path, "mm", noise).design)) for noise in (None, 2.0)}
    unknown, stated = (uncertainty_of(design, stone_of(design)) for design in opened.values())
    assert unknown == replace(usual, scatter_left_out=True)
    assert (opened[None]["scan"]["noise_um"], opened[2.0]["scan"]["noise_um"]) == (None, 2.0)
    assert not stated.scatter_left_out
    own = load_scan(path, unit="mm", noise_um=2.0).report.uncertainty(usual)
    np.testing.assert_allclose(stated.distance_um, own.distance_um, rtol=1e-3)
    np.testing.assert_allclose(stated.angle_deg, own.angle_deg, rtol=1e-3)
    table = {key: value for key, value in opened[2.0].items() if key != "scan"}
    assert uncertainty_of(table, stone_of(table)) == usual
    assert uncertainty_of(DEMO, stone_of(DEMO)) == EXACT
    polished = {"kind": "repolished", "of": opened[None], "facet": "table 0", "depth_mm": 0.01}
    assert uncertainty_of(polished, stone_of(polished)).scatter_left_out
    few = {**opened[2.0], "scan": {**opened[2.0]["scan"], "errors": [[0.1, 0.1, 1.0]]}}
    with pytest.raises(InputError, match=r"^scan.errors: wrong number of errors; expected three for each of"):
        uncertainty_of(few, stone_of(few))


def test_a_file_that_names_a_scan_knows_its_noise_as_the_scan_does(tmp_path):
    mesh, scene = coarse_scan(tmp_path), '[dome]\nname = "head-shadow"\n'
    own = {noise: open_path(mesh, "mm", noise).design["scan"] for noise in (None, 2.0)}
    for name, rest, noise in (("alone.toml", "", None), ("alone.toml", "", 2.0), ("scene.toml", scene, 2.0)):
        path = tmp_path / name
        path.write_text(f'schema = 1\n[stone]\nfile = "coarse.ply"\nunit = "mm"\nfinishes = {{ girdle = "absorbing" }}\n{rest}')
        assert open_path(path, noise_um=noise).design["scan"] == own[noise]
    path.write_text('schema = 1\n[stone]\nfile = "coarse.ply"\nunit = "mm"\nedge_radius_um = 20\n')
    assert "scan" not in open_path(path).design  # other planes than the scan's
    path.write_text(GOOD.decode())
    with pytest.raises(InputError, match=r"scene\.toml: noise_um = 2\.0: applies to scans only; expected no value"):
        open_path(path, noise_um=2.0)


def test_the_noise_is_taken_with_a_file_and_refused_in_one_line(workbench, tmp_path):
    data = coarse_scan(tmp_path).read_bytes()
    status, _, body = workbench.post("/open?name=s.ply&unit=mm&noise_um=2", data)
    assert (status, json.loads(body)["design"]["scan"]["stated"]) == (200, True)
    for noise, words in (("x", "noise_um = 'x': not a number"), ("-1", "s.ply: noise_um = -1.0: out of range")):
        status, _, body = workbench.post(f"/open?name=s.ply&unit=mm&noise_um={noise}", data)
        assert (status, json.loads(body)["error"]["text"].startswith(words)) == (422, True)
    assert "applies to scans only" in workbench.post("/open?name=s.toml&noise_um=1", GOOD)[2].decode()


def test_a_coarse_answer_brackets_the_exact_one():
    coarse, exact = answer(step="coarse")[0]["summary"], answer()[0]["summary"]
    for name in (*ENTRIES, "brightness", "contrast_rms"):
        low, high = coarse["brackets"][name]
        assert low - 1e-12 <= exact["brackets"][name][0] <= exact["brackets"][name][1] <= high + 1e-12
    assert "symmetry" not in coarse["stats"]
    assert exact["stats"]["symmetry"] == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ({"kind": "tea"}, "picture"),
        ({"kind": ["picture"]}, "picture"),
        ({"step": "finest"}, "step"),
        ({"dome": "heads-shadow"}, "did you mean 'head-shadow'"),
        ({"dome": {}}, "dome"),
        ({"maps": ["contrasts"]}, "contrast"),
        ({"maps": "contrast"}, "maps"),
        ({"maps": [["contrast"]]}, "maps"),
        ({"maps": ["leak"] * 5}, "maps"),
        ({"tilt_deg": "7"}, "tilt_deg"),
        ({"tilt_deg": 300}, "tilt_deg"),
        ({"kind": "ray", "x_mm": None, "y_mm": 0}, "x_mm"),
        ({"kind": "ray", "x_mm": 0, "y_mm": float("nan")}, "y_mm"),
        ({"design": {}}, "kind"),
    ],
)
def test_a_faulty_question_is_answered_in_one_line(values, word):
    (header,) = answers_to([json.dumps(question(**values))])
    assert word in header["error"]["text"]
    assert "\n" not in header["error"]["text"]
    assert (header["id"], header["side"], header["arrays"]) == (1, "a", [])


def test_a_frame_keeps_every_number_and_aligns_arrays():
    given = {"a": np.array([[0.5, np.nan, -np.inf]]), "b": np.arange(5), "c": np.zeros((0, 3))}
    data = encode({"word": "ü", "none": float("nan")}, given)
    header, arrays = unpack(data)
    assert (header["word"], header["none"]) == ("ü", None)
    assert all((4 + int.from_bytes(data[:4], "little") + part["at"]) % 8 == 0 for part in header["arrays"])
    for name, array in given.items():
        np.testing.assert_array_equal(arrays[name], array)
        assert arrays[name].shape == array.shape


# --- the path of a ray and the light of a facet ----------------------------------------------------------------------


@pytest.mark.parametrize("view", [rl.View(), rl.View(tilt_deg=11.0, tilt_azimuth_deg=70.0)])
def test_a_followed_ray_books_what_the_sampled_tracer_books(view):
    stone = stone_of(DEMO)
    rng = np.random.default_rng(4)
    points = rng.uniform(-2.9, 2.9, (40, 2))
    rows, hit = sample_points(points, scene_of(stone, HEAD_SHADOW, view, min_weight=1e-3), 589.3)
    assert 20 < hit.sum() <= 40
    for point, row, met in zip(points, rows, hit, strict=True):
        path = ray_path(scene_of(stone, HEAD_SHADOW, view), *point)
        assert bool(path.hits) == bool(met)
        if met:
            for fate, channel in (("sky", SKY), ("head", HEAD), ("leak", LEAK)):
                assert sum(h.weight for h in path.hits if h.fate == fate) == pytest.approx(row[channel], abs=1e-10)
            spots = np.array([h.point_mm for h in path.hits])
            distances = spots @ stone.normals.T - stone.distances_mm
            assert distances.max() < 1e-9, "every hit lies on the stone"
            assert np.abs(distances[np.arange(len(spots)), [h.facet for h in path.hits]]).max() < 1e-9, "on its own facet"
            assert sum(h.weight for h in path.hits) + path.untraced == pytest.approx(1.0, abs=1e-12)


def test_a_ray_into_an_absorbing_girdle_is_scattered_there():
    stone = stone_of({**DEMO, "girdle_finish": "absorbing"})
    paths = [ray_path(scene_of(stone, HEAD_SHADOW), r, 0.1) for r in np.linspace(2.0, 3.24, 60)]
    ends = [path.hits[-1] for path in paths if path.hits and path.hits[-1].fate == "scattered"]
    assert ends
    assert all(hit.direction is None and stone.tiers[hit.facet] == "girdle" and hit.weight > 0 for hit in ends)


@pytest.mark.parametrize("view", [rl.View(), rl.View(tilt_deg=6.0, tilt_azimuth_deg=200.0)])
@pytest.mark.parametrize("name", ["table 0", "pavilion main 3", "lower half 5"])
def test_the_light_of_a_facet_is_the_weight_that_meets_it(view, name):
    """Against the oracle, ray by ray, in pixels that one virtual facet fills (their neighbours show the same share)."""
    stone = stone_of(DEMO)
    facet = next(f for f in range(len(stone)) if stone.facet_name(f) == name)
    result = rl.trace(stone, HEAD_SHADOW, view, resolution=480, precision=5e-3)
    from raylab.scene.pixel_grid import grid_around

    around = grid_around(stone, view, 480)
    light = light_through(result.beams[0], facet, around, result.scene)
    assert np.array_equal(np.isnan(light), result.maps.coverage.values == 0.0)
    untraced = result.maps.untraced.values
    shifts = ((0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (-1, -1))
    even = [np.abs(one - np.roll(one, shift, (0, 1))) < 1e-12 for one in (light, untraced) for shift in shifts]
    plain = np.argwhere(np.all(even, axis=0))
    plain = np.random.default_rng(0).permutation(plain)
    shares = light[plain[:, 0], plain[:, 1]]
    assert (shares > 0.02).sum() > 20
    seen = 0
    for row, column in [*plain[shares > 0.02][:20], *plain[shares <= 0.02][:20]]:
        origins, directions = view_rays(np.array([[around.x_mm[column], around.y_mm[row]]]), stone, view)
        path = trace_path(origins[0], directions[0], stone)
        wanted = 0.0
        if facet in path.facets:
            at = path.facets.index(facet)
            gone = sum(weight for k, (weight, _, bounces) in enumerate(path.exits) if k == 0 or bounces < at - 1)
            wanted = 1.0 if at == 0 else 1.0 - gone
        seen += light[row, column] > 0.0
        if light[row, column] > 0.0:
            assert light[row, column] == pytest.approx(wanted, abs=1e-9)
        else:  # what the exact engine left untraced may meet it later
            assert wanted <= untraced[row, column] + 1e-9
    assert seen >= 20


# --- the desk ---------------------------------------------------------------------------------------------------------


def test_the_latest_question_wins_and_no_stone_starves():
    async def story() -> list[tuple[str, int]]:
        queue, taken = RequestQueue(), []
        for number in range(100):
            queue.put({"kind": "picture", "side": "a", "id": number})
            if number == 50:
                queue.put({"kind": "picture", "side": "b", "id": number})
            assert len(queue) <= 2
        while len(queue):
            found = await queue.take()
            taken.append((found["side"], found["id"]))
        late = asyncio.create_task(queue.take())
        await asyncio.sleep(0)
        queue.put({"kind": "ray", "side": "a", "id": 100})
        found = await asyncio.wait_for(late, 5.0)
        return [*taken, (found["side"], found["id"])]

    assert asyncio.run(story()) == [("b", 50), ("a", 99), ("a", 100)]


def test_a_fault_of_ours_is_reported_and_the_page_lives_on(monkeypatch, caplog):
    def broken(*_: object) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setitem(answers.KINDS, "broken", broken)

    class Page:
        sent: list[bytes] = []  # noqa: RUF012

        async def send_bytes(self, data: bytes) -> None:
            self.sent.append(data)

    async def story() -> None:
        talk = Conversation(pages.Workbench(open_demo()), Page().send_bytes)
        task = asyncio.create_task(talk.answer_all())
        for number, kind in enumerate(("broken", "ray")):
            talk.queue.put(question(kind=kind, id=number, x_mm=0.0, y_mm=0.0))
            while len(Page.sent) <= number:
                await asyncio.sleep(0.01)
        task.cancel()

    asyncio.run(asyncio.wait_for(story(), 60))
    (first, _), (second, _) = (unpack(data) for data in Page.sent)
    assert "ZeroDivisionError" in first["error"]["text"]
    assert first["id"] == 0
    assert second["path"]["hits"]
    assert "a fault of ours" in caplog.text


# --- over the wire ---------------------------------------------------------------------------------------------------


def test_a_flood_of_questions_is_answered_by_the_last(workbench):
    with workbench.link() as page:
        for number in range(1, 61):
            design = {**DEMO, "pavilion_angle_deg": 40 + number / 60}
            page.send(json.dumps(question(id=number, step="coarse", design=design)))
        numbers = []
        while not numbers or numbers[-1] != 60:
            header, _ = unpack(page.recv(timeout=60))
            assert "error" not in header
            numbers.append(header["id"])
        assert numbers == sorted(numbers)
        assert len(numbers) < 30
        with pytest.raises(TimeoutError):
            page.recv(timeout=0.3)


@pytest.mark.parametrize("nonsense", ["", "tea", "[1]", "null", "[" * 100_000, "{" + '"a":1,' * 10])
def test_nonsense_on_the_link_is_answered_and_the_link_lives(workbench, nonsense):
    with workbench.link() as page:
        page.send(nonsense)
        assert "invalid request" in unpack(page.recv(timeout=20))[0]["error"]["text"]
        page.send(json.dumps(question(kind="ray", x_mm=0, y_mm=0)))
        assert unpack(page.recv(timeout=60))[0]["path"]["hits"]


@pytest.mark.parametrize("origin", [None, "http://rebound.example", "http://127.0.0.1:1", "null", "https://127.0.0.1"])
def test_pages_from_elsewhere_get_no_link(workbench, origin):
    with pytest.raises(InvalidStatus) as facts:
        workbench.link(Origin=origin)
    assert facts.value.response.status_code == 403


@pytest.mark.parametrize("host", ["rebound.example", "rebound.example:80", "127.0.0.1", "0.0.0.0", "127.0.0.1:1"])
def test_other_names_for_this_machine_get_nothing(workbench, host):
    """A page whose own name was made to mean 127.0.0.1 still says its own name."""
    assert workbench.request("GET", "/", Host=host)[0] == 403
    assert workbench.request("GET", "/start.json", Host=host)[0] == 403


def test_what_computes_or_writes_needs_the_pages_own_origin(workbench):
    for path in ("/save/csv", "/open?name=x.toml"):
        assert workbench.request("POST", path, b"{}")[0] == 403
        assert workbench.request("POST", path, b"{}", Origin="http://rebound.example")[0] == 403
    assert workbench.request("GET", "/", Origin="http://rebound.example")[0] == 403
    assert workbench.request("GET", "/")[0] == 200
    assert workbench.request("GET", "/", Host=f"localhost:{workbench.port}")[0] == 200


def test_the_server_listens_on_the_loopback_interface_alone(workbench):
    """As the kernel lists it: address and port in hexadecimal, state 0A for listening."""
    tables = [Path(f"/proc/{workbench.process.pid}/net/{kind}") for kind in ("tcp", "tcp6")]
    rows = [line.split() for table in tables if table.exists() for line in table.read_text().splitlines()[1:]]
    listening = [row[1] for row in rows if row[3] == "0A" and row[1].endswith(f":{workbench.port:04X}")]
    assert listening == [f"0100007F:{workbench.port:04X}"]


def test_the_page_may_load_nothing_from_elsewhere(workbench):
    headers = workbench.request("GET", "/")[1]
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    for source in re.findall(r"[a-z]+://\S+", policy.replace(";", " ")):
        assert re.fullmatch(rf"ws://(127\.0\.0\.1|localhost):{workbench.port}", source)
    for file in STATIC.iterdir():
        outside = re.findall(r"\b(?:https?|wss?):[^\s'\"`)]*", file.read_text("utf-8"))
        assert set(outside) <= {"http://www.w3.org/2000/svg", "ws://${location.host}${location.pathname}link"}, file.name


@pytest.mark.parametrize("path", ["/static/../server.py", "/static/%2e%2e/server.py", "/static/..%2fserver.py", "/etc/passwd"])
def test_nothing_but_the_pages_files_is_served(workbench, path):
    assert workbench.request("GET", path)[0] == 404


# --- files -----------------------------------------------------------------------------------------------------------

GOOD = b"schema = 1\n[stone]\ncut = 'round brilliant'\ntable_pct = 60\ncrown_angle_deg = 33\npavilion_angle_deg = 41\n"


@pytest.mark.parametrize(
    ("name", "data", "word"),
    [
        ("empty.toml", b"", "empty"),
        ("cut.toml", GOOD[:40], "line"),
        ("kinds.toml", GOOD.replace(b"60", b"'60'"), "table_pct"),
        ("impossible.toml", GOOD.replace(b"41", b"95"), "pavilion_angle_deg"),
        ("typo.toml", GOOD.replace(b"table_pct", b"tabel_pct"), "did you mean 'table_pct'"),
        ("old.toml", GOOD.replace(b"schema = 1", b"schema = 99"), "schema"),
        ("binary.toml", bytes(range(256)), "UTF-8"),
        ("picture.png", b"\x89PNG\r\n", ".png"),
        ("no-suffix", GOOD, "no suffix"),
        ("../../../etc/passwd", GOOD, "no suffix"),
        ("linked.toml", b"schema = 1\n[stone]\nfile = '/etc/hostname'\n", "refers to another file"),
        ("linked-tint.toml", GOOD + b"tint = 'x.csv'\n", "refers to another file"),
        ("linked-dome.toml", GOOD + b"[dome]\nfile = 'x.toml'\n", "refers to another file"),
        ("nested.toml", b"schema = 1\nx = " + b"[" * 5000, "nested"),
    ],
)
def test_a_bad_file_is_refused_in_one_line_by_the_name_the_user_knows(workbench, name, data, word):
    status, _, content = workbench.post(f"/open?name={name}", data)
    line = json.loads(content)["error"]["text"]
    assert status == 422
    assert word in line
    assert line.startswith(name.rsplit("/", 1)[-1])
    assert "\n" not in line
    assert "/tmp" not in line
    assert workbench.post("/open?name=good.toml", GOOD)[0] == 200, "the workbench goes on"


def test_a_file_beyond_the_limit_is_refused_while_it_comes(workbench):
    from raylab.workbench.file_exchange import MAX_BYTES

    status, _, content = workbench.post("/open?name=large.stl", b"\0" * (MAX_BYTES + 1))
    assert status == 413
    assert "large.stl: file too large" in json.loads(content)["error"]["text"]


def test_a_good_file_becomes_the_design_it_states(workbench):
    found = json.loads(workbench.post("/open?name=good.toml", GOOD)[2])
    assert (found["design"]["table_pct"], found["design"]["crown_angle_deg"]) == (60, 33)
    np.testing.assert_array_equal(stone_of(found["design"]).normals, stone_of(open_bytes("x.toml", GOOD).design).normals)


@pytest.mark.parametrize("design", [DEMO, facet_design(stone_of(DEMO))], ids=["proportions", "facets"])
def test_designs_are_kept_as_files(workbench, design):
    stone = stone_of(design)
    body = json.dumps({"design": design, "dome": "head-shadow", "tilt_deg": 5, "title": "t"}).encode()
    status, headers, content = workbench.post("/save/csv", body)
    assert status == 200
    assert content.decode() == facet_table(stone)
    assert headers["content-disposition"] == 'attachment; filename="w-1-invented.csv"'
    mesh = trimesh.load(io.BytesIO(workbench.post("/save/stl", body)[2]), file_type="stl")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(stone.volume_mm3, rel=1e-6)  # STL holds 32-bit numbers
    for kind in set(SAVED) & {suffix[1:] for suffix in STONE_READERS} - {"toml", "stl"}:
        again = stone_of(open_bytes(f"x.{kind}", workbench.post(f"/save/{kind}", body)[2]).design)
        np.testing.assert_allclose(again.normals, stone.normals, atol=1e-12)
    status, _, content = workbench.post("/save/toml", body)
    if design["kind"] == "facets":
        assert status == 422
        assert "CSV or STL" in json.loads(content)["error"]["text"]
    else:
        np.testing.assert_array_equal(stone_of(open_bytes("x.toml", content).design).normals, stone.normals)


@pytest.mark.parametrize(
    "body", [b"", b"tea", b"{}", b'{"design": 7}', b'{"design": {"kind": "facets"}}', b'{"tilt_deg": "x"}']
)
def test_nothing_usable_to_keep_is_reported(workbench, body):
    status, _, content = workbench.post("/save/csv", body)
    assert status == 422
    assert "\n" not in json.loads(content)["error"]["text"]


def test_a_dome_without_a_name_is_left_out_of_a_saved_scene():
    name, content = saved(dict(DEMO), "toml", "", None, {})
    assert name == "w-1-invented.toml"
    assert b"[dome]" not in content
    assert open_bytes(name, content).design == DEMO


# --- domes of the user's own -------------------------------------------------------------------------------------------

ROOM = b"""schema = 1
description = "A dim room with a wide lamp (invented)"
sky_radiance = 0.2
head_half_angle_deg = 10

[[zone]]
elevation_deg = [0, 30]
radiance = 0.5

[[lamp]]
elevation_deg = 60
radius_deg = 20
"""


def test_a_dome_of_the_users_own_is_what_its_file_says(workbench, tmp_path):
    found = json.loads(workbench.post("/open?name=my-room.toml", ROOM)[2])["dome"]
    assert (found["name"], found["description"]) == ("my-room", "A dim room with a wide lamp (invented)")
    (tmp_path / "my-room.toml").write_bytes(ROOM)
    room = rl.load_dome(tmp_path / "my-room.toml")
    own = {"dome": found["name"], "own_dome": found["table"]}
    assert dome_of_page(own, {}).digest == room.digest
    with_it, without = answer(step="coarse", **own)[0], answer(step="coarse")[0]
    known = unpack(Answerer({"my-room": room}).answer(question(step="coarse", dome="my-room")))[0]
    assert with_it["summary"] == known["summary"] != without["summary"]
    body = json.dumps({"design": DEMO, "tilt_deg": 5, **own}).encode()
    (tmp_path / "scene.toml").write_bytes(workbench.post("/save/toml", body)[2])
    assert rl.load_scene(tmp_path / "scene.toml").dome.digest == room.digest
    again = json.loads(workbench.post("/open?name=head-shadow.toml", ROOM)[2])["dome"]
    assert again["name"] == "head-shadow (own)", "raylab's own keeps its name"


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ({"sky": "image", "image": "/etc/passwd"}, "image: a dome of the page reads no picture"),
        ({"sky": "image"}, "needs sky = 'image' together with an image"),
        ({"file": "/etc/passwd", "sky_radiance": 1}, "unknown key"),
        ({"sky_radiance": "1"}, "sky_radiance = '1': wrong type"),
        ({"lamp": [{"elevation_deg": 95}]}, "lamp#1.elevation_deg = 95.0: out of range"),
        ({"lamp": [{"elevation_deg": 60, "image": "x"}]}, "lamp#1.image = 'x': unknown key"),
        ({"sky_radiance": 0}, "the dome has no light"),
        ({"lamp": [{"elevation_deg": 60, "azimuth_deg": 0, "radius_deg": 2, "radiance": 1}] * 700}, "dome too large"),
    ],
)
def test_a_dome_that_is_none_is_refused_wherever_it_comes_from(workbench, table, words):
    """As a file that is opened, and as keys in a question: neither reads another file of this machine."""
    lines = []
    for key, value in table.items():
        tables = value if isinstance(value, list) else []
        lines += [f"[[{key}]]\n" + "\n".join(f"{k} = {json.dumps(v)}" for k, v in one.items()) for one in tables]
        lines[:0] = [] if tables else [f"{key} = {json.dumps(value)}"]
    status, _, content = workbench.post("/open?name=x.toml", "\n".join(["schema = 1", *lines]).encode())
    line = json.loads(content)["error"]["text"]
    assert (status, line.startswith("x.toml: "), "\n" in line) == (422, True, False)
    assert words in line
    assert words in answer(own_dome=table)[0]["error"]["text"]
    assert words in lines_of(workbench, designs=[DEMO, DEMO], own_dome=table)[-1]["error"]["text"]
    body = json.dumps({"design": DEMO, "dome": "x", "own_dome": table}).encode()
    assert words in json.loads(workbench.post("/save/toml", body)[2])["error"]["text"]


# --- the command -----------------------------------------------------------------------------------------------------


def run(*words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "raylab", "workbench", *words]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)


def test_a_taken_port_is_reported_and_any_other_is_found_on_its_own(workbench):
    found = run("--no-browser", "--port", str(workbench.port))
    assert (found.returncode, found.stdout) == (2, "")
    assert str(workbench.port) in found.stderr
    assert found.stderr.count("\n") == 1


def test_a_stone_that_is_none_is_reported_before_anything_is_served(tmp_path):
    (tmp_path / "x.toml").write_bytes(GOOD.replace(b"41", b"95"))
    found = run("--no-browser", str(tmp_path / "x.toml"))
    assert (found.returncode, found.stdout) == (2, "")
    assert "x.toml" in found.stderr
    assert "pavilion_angle_deg" in found.stderr
    assert found.stderr.count("\n") == 1


def test_a_scene_opens_with_its_own_dome_and_tilt():
    for path in sorted((ROOT / "scenes").glob("*.toml")):
        scene = rl.load_scene(path)
        opened = open_path(path)
        start = pages.Workbench(opened).start()
        assert start["dome"] == scene.dome.name
        assert start["tilt_deg"] == scene.view.tilt_deg
        np.testing.assert_allclose(stone_of(start["design"]).normals, scene.stone.normals, atol=1e-14)
        assert stone_of(start["design"]).weight_ct == pytest.approx(scene.stone.weight_ct, rel=1e-12)
        assert stone_of(start["design"]).inclusions == scene.stone.inclusions


# --- jobs ------------------------------------------------------------------------------------------------------------


def lines_of(workbench: BenchProcess, **asked: Any) -> list[dict[str, Any]]:
    status, headers, body = workbench.post("/report", json.dumps(asked).encode())
    assert (status, headers["content-type"]) == (200, "application/x-ndjson")
    return [json.loads(line) for line in body.splitlines()]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"designs": [DEMO]}, ["two stones"]),
        ({"designs": [DEMO, DEMO], "dome": "head-shade"}, ["did you mean 'head-shadow'"]),
        ({"designs": [DEMO, {**DEMO, "table_pct": "x"}], "dome": "head-shadow"}, ["table_pct", "a number"]),
        ({"designs": [DEMO, DEMO], "dome": "head-shadow", "known_to_pct": "x"}, ["known_to_pct"]),
        ({"designs": [DEMO, DEMO], "dome": "head-shadow", "tilts": ["x"]}, ["tilts"]),
        ({"designs": [DEMO, DEMO], "dome": "head-shadow", "tilts": 7}, ["tilts", "at most 6"]),
        ({"designs": [DEMO, DEMO], "dome": "head-shadow", "tilt_azimuth_deg": "x"}, ["tilt_azimuth_deg"]),
    ],
)
def test_a_report_that_cannot_be_made_is_reported_in_one_line(workbench, asked, words):
    *shares, last = lines_of(workbench, **asked)
    assert {tuple(line) for line in shares} == {("share",)}
    assert "\n" not in last["error"]["text"]
    assert [word for word in words if word not in last["error"]["text"]] == [], last


def test_a_job_ends_when_nobody_waits_and_a_fault_of_ours_is_reported(caplog):
    """Whoever closes the lines stops the work at its next word; what fails is a line, and the next errand is done."""
    heard, ended = threading.Event(), threading.Event()

    def endless(update):
        try:
            while True:
                update(0.5, 1.0)
                heard.set()
                time.sleep(0.001)
        finally:
            ended.set()

    def faulty(update):
        raise ZeroDivisionError

    async def ask() -> list[dict[str, Any]]:
        with ThreadPoolExecutor(1) as worker:
            lines = jobs.streamed(worker, endless)
            await anext(lines)
            assert await asyncio.to_thread(heard.wait, 20.0)
            await lines.aclose()
            return [
                json.loads(line) for job in (faulty, lambda update: {"html": "x"}) async for line in jobs.streamed(worker, job)
            ]

    found = asyncio.run(ask())
    assert ended.is_set()
    assert [line for line in found if "share" not in line] == [
        {
            "error": {
                "text": "internal error (ZeroDivisionError); the terminal shows the details. Please report it.",
                "key": None,
            }
        },
        {"html": "x"},
    ]
    assert "ZeroDivisionError" in caplog.text


# --- material taken away ---------------------------------------------------------------------------------------------

BLOCKED = facet_design(rl.load_stone(ROOT / "scenes" / "stones" / "blocked.csv"))


def test_a_stone_polished_again_is_the_librarys():
    design = {"kind": "repolished", "of": DEMO, "facet": "pavilion main", "slope_deg": 0.3, "depth_mm": 0.004}
    before, after = stones_of(json.loads(json.dumps(design)))
    wanted = rl.repolish(stone_of(DEMO), "pavilion main", slope_deg=0.3, depth_mm=0.004)
    np.testing.assert_array_equal(after.normals, wanted.normals)
    np.testing.assert_array_equal(after.distances_mm, wanted.distances_mm)
    assert (before.weight_ct, after.name) == (stone_of(DEMO).weight_ct, "W-1 (invented), repolished")
    header, _ = answer(design=design, step="coarse")
    assert (header["weight_before_ct"], header["weight_ct"]) == (before.weight_ct, after.weight_ct)
    still = stone_of({**design, "slope_deg": 0, "depth_mm": 0})
    np.testing.assert_array_equal(still.distances_mm, before.distances_mm)
    assert answer(step="coarse")[0]["weight_before_ct"] is None


@pytest.mark.parametrize("diameter_mm", [None, 6.3])
def test_a_blocked_stone_finished_is_the_librarys(diameter_mm):
    choice = {"star_pct": 55.0, "lower_half_pct": 80.0, "upper_half_pct": None, "upper_painting_deg": 0.5}
    design = {"kind": "finished", "of": BLOCKED, **choice, "diameter_mm": diameter_mm}
    before, after = stones_of(json.loads(json.dumps(design)))
    workbench = blocked_stone(stone_of(BLOCKED), diameter_mm)
    wanted = finished(workbench, rl.LastFacets(**choice))
    np.testing.assert_array_equal(after.normals, wanted.normals)
    assert (before.weight_ct, after.weight_ct) == (workbench.stone.weight_ct, wanted.weight_ct)
    assert after.name == "W-7, blocked (invented), finished"


@pytest.mark.parametrize(
    ("design", "words"),
    [
        ({"kind": "repolished", "of": DEMO, "facet": "pavilion mian", "slope_deg": 1}, ["did you mean 'pavilion main'"]),
        ({"kind": "repolished", "of": DEMO, "facet": "table", "depth_mm": 0.6}, ["these facets vanish", "star 0"]),
        ({"kind": "repolished", "of": DEMO, "facet": "pavilion main", "depth_mm": 0.6}, ["the girdle has no thickness"]),
        ({"kind": "repolished", "of": DEMO, "facet": "table", "depth_mm": "1"}, ["depth_mm", "a number"]),
        ({"kind": "repolished", "of": DEMO, "facet": "table", "depht_mm": 1}, ["did you mean 'depth_mm'"]),
        (
            {"kind": "repolished", "of": {"kind": "finished", "of": DEMO}, "facet": "table"},
            ["kind", "facets", "proportions"],
        ),
        ({"kind": "repolished", "facet": "table"}, ["of", "missing"]),
        ({"kind": "finished", "of": 7}, ["of", "a table of keys"]),
        ({"kind": "finished", "of": DEMO}, ["not a blocked stone"]),
        ({"kind": "finished", "of": BLOCKED, "star_pct": 2.0}, ["star 0 crosses the table"]),
        ({"kind": "finished", "of": BLOCKED, "diameter_mm": 9.0}, ["diameter_mm", "at most 6.455 mm"]),
    ],
)
def test_what_cannot_be_ground_is_reported_in_one_line(design, words):
    with pytest.raises(rl.InputError) as facts:
        stone_of(design)
    line = str(facts.value)
    assert "\n" not in line
    assert [word for word in words if word not in line] == [], line
