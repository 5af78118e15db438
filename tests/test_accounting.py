"""The accounting by facet: it closes, it is as symmetric as what is seen, and the oracle's paths give the same."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import polyhedra
import pytest
from small_scenes import beams_of, scene_of, scene_text

import raylab as rl
from raylab import files
from raylab.cli import main
from raylab.pictures import drawings
from raylab.results.accounting import COLUMNS, account, mean_of
from raylab.tracers import reference
from raylab.tracers.exact.beams import Beams
from raylab.tracers.ledger import ENTRIES, FIELDS, GLARE, HEAD, LEAK, LUMINANCE, SCATTERED, SKY
from raylab.tracers.sampled.view_rays import sample_points

PROPORTIONS = {"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, "girdle_facets": 32}
BRILLIANT = rl.round_brilliant(**PROPORTIONS)
HEAD_ONLY = rl.Dome(head_half_angle_deg=20)
WINDOW = rl.Dome(sky_radiance=0.1, zones=(rl.Zone((20, 60), (-40, 40)),), tray_radiance=0.03, head_half_angle_deg=12)
TILTED = rl.View(tilt_deg=17, tilt_azimuth_deg=70, turn_deg=5)

VIEWS = {
    "wedge": (BRILLIANT, HEAD_ONLY, rl.View()),
    "tilted": (BRILLIANT, WINDOW, TILTED),
    "tinted": (rl.round_brilliant(**PROPORTIONS, material=rl.get_material("diamond").tinted(0.05)), WINDOW, TILTED),
    "tinted wedge": (rl.round_brilliant(**PROPORTIONS, material=rl.get_material("diamond").tinted(0.05)), HEAD_ONLY, rl.View()),
    "absorbing": (polyhedra.random_polyhedron(3, absorbing_share=0.4), WINDOW, TILTED),
    "absorbing, tinted": (polyhedra.random_polyhedron(8, absorption_per_mm=0.8, absorbing_share=0.3), WINDOW, rl.View()),
}


def traced(name: str, **options: object) -> Beams:
    return beams_of(*VIEWS[name], **options)


@pytest.mark.parametrize("name", VIEWS)
def test_each_column_sums_to_the_number_of_the_whole_stone(name):
    stone, dome, _ = VIEWS[name]
    beams = traced(name, precision=1e-2)
    table, mean = account(beams, stone, dome.peak_radiance), beams.totals.mean
    expected = {entry: mean[FIELDS.index(entry)] for entry in (*ENTRIES, "glare")}
    expected |= {"area": 1.0, "brightness": mean[LUMINANCE] / dome.peak_radiance, "dark": table.dark[0]}
    assert set(expected) == set(COLUMNS) == set(table.columns)
    for column, value in expected.items():
        assert table.columns[column].shape == (len(stone),)
        assert math.fsum(table.columns[column]) == pytest.approx(value, abs=1e-12)
        assert math.fsum(row[column] for row in table.by_tier().values()) == pytest.approx(value, abs=1e-12)
        assert table.columns[column].min() >= 0.0
    assert math.fsum(path.area for path in table.dark_paths) == pytest.approx(table.dark[0], abs=1e-12)


@pytest.mark.parametrize(("wedge", "rounding"), [(True, 1e-14), (False, 1e-11)])
def test_facets_of_a_tier_count_alike_under_a_symmetric_view(wedge, rounding):
    """Without the wedge each facet is worked out for itself: rounding in areas and weights, over some 10^4 polygons."""
    table = account(traced("wedge", wedge=wedge, precision=5e-3), BRILLIANT, 1.0)
    tiers = np.array(BRILLIANT.tiers)
    for tier in dict.fromkeys(BRILLIANT.tiers):
        apart = np.round(np.abs((BRILLIANT.azimuth_deg()[tiers == tier] + 22.5) % 45.0 - 22.5), 6)  # from the nearest main
        for ring in np.unique(apart):  # several for the girdle only
            for column in COLUMNS:
                assert np.ptp(table.columns[column][tiers == tier][apart == ring]) <= rounding, (tier, column)
    assert table.by_tier()["lower half"]["leak"] > 0.01  # there is something to compare


def oracle(name: str, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means and standard errors of the oracle's exits over random points, and how many points have any, (F, 6): sky, head,
    leak, scattered, glare by the facet of exit, and area by the facet looked through."""
    stone, dome, view = VIEWS[name]
    turn = view.rotation()
    radius = float(np.abs((stone.vertices_mm @ turn.T)[:, :2]).max())
    rng, found = np.random.default_rng(11), []
    while len(found) < count:
        x, y = rng.uniform(-radius, radius, 2)
        path = reference.trace_path(turn.T @ (x, y, 50.0), turn.T @ (0.0, 0.0, -1.0), stone, min_weight=1e-4)
        if not path.facets:
            continue
        left = np.zeros((len(stone), 6))
        left[path.facets[0], 5] = 1.0
        for k, (weight, direction, bounces) in enumerate(path.exits):
            facet = path.facets[0] if k == 0 else path.facets[bounces + 1]
            unit = turn @ direction
            head = math.degrees(math.acos(min(1.0, unit[2]))) < dome.head_half_angle_deg
            left[facet, 1 if head else (2 if direction[2] < 0.0 else 0)] += weight
        left[path.facets[-1], 3] += path.scattered
        left[path.facets[0], 4] += path.glare
        found.append(left)
    each = np.array(found)
    return each.mean(axis=0), each.std(axis=0, ddof=1) / np.sqrt(count), (each > 0.0).sum(axis=0)


@pytest.mark.parametrize("name", ["tilted", "tinted", "absorbing", "absorbing, tinted"])
def test_the_oracles_paths_leave_through_the_same_facets(name):
    """Random points: within 5 standard errors, where 20 points or more tell one, and what either tracer left untraced. Fewer
    points than 20 where 80 are due would come once in 10^9 tries (Chernoff's bound)."""
    stone, dome, _ = VIEWS[name]
    beams, count = traced(name, precision=2e-3), 600
    table = account(beams, stone, dome.peak_radiance)
    mean, error, points = oracle(name, count)
    exact = np.column_stack([table.columns[FIELDS[c]] for c in (SKY, HEAD, LEAK, SCATTERED, GLARE)] + [table.columns["area"]])
    untraced = beams.totals.mean[FIELDS.index("untraced")] + 1e-4
    facts = points >= 20
    assert facts.sum() > 10
    assert np.all(np.abs(mean - exact)[facts] <= 5.0 * error[facts] + untraced)
    assert np.all(exact[~facts] <= 80.0 / count + untraced)


def test_the_wedge_counts_for_all_its_copies():
    """With and without the wedge the same facets let out the same shares, to what is untraced."""
    one = account(traced("wedge", precision=2e-3), BRILLIANT, 1.0)
    whole = account(traced("wedge", precision=2e-3, wedge=False), BRILLIANT, 1.0)
    left = one.columns["untraced"].sum() + whole.columns["untraced"].sum()
    for column in set(COLUMNS) - {"untraced"}:
        assert np.abs(one.columns[column] - whole.columns[column]).max() <= left


def test_dark_is_what_random_points_say():
    """The share of 20,000 points that are darker than half the mean: binomial error, and the bracket."""
    stone, dome, view = VIEWS["tilted"]
    beams = traced("tilted", precision=1e-3)
    value, low, high = account(beams, stone, dome.peak_radiance).dark
    radius = float(np.abs((stone.vertices_mm @ view.rotation().T)[:, :2]).max())
    points = np.random.default_rng(5).uniform(-radius, radius, (20_000, 2))
    rows, hit = sample_points(points, scene_of(stone, dome, view, min_weight=1e-6), 589.3)
    luminance = rows[hit, LUMINANCE]
    share = float((luminance < 0.5 * beams.totals.mean[LUMINANCE]).mean())
    error = math.sqrt(share * (1.0 - share) / hit.sum())
    assert low <= value <= high
    assert low - 5.0 * error <= share <= high + 5.0 * error
    assert 0.1 < value < 0.9


@pytest.mark.parametrize("name", ["wedge", "tilted", "absorbing"])
def test_the_bracket_on_dark_holds(name):
    stone, dome, _ = VIEWS[name]
    loose, tight = (account(traced(name, precision=p), stone, dome.peak_radiance).dark for p in (0.05, 5e-4))
    assert loose[1] <= tight[1] + 1e-12
    assert tight[1] <= tight[0] <= tight[2]
    assert tight[2] <= loose[2] + 1e-12


def test_a_stone_under_even_light_has_nothing_dark():
    """Even light from all around, the tray included: a spot falls short of the sky only by what is untraced there. Where it is
    dark that is over half, so that twice the mean of what is untraced is the most that can be dark."""
    beams = beams_of(BRILLIANT, rl.Dome(tray_radiance=1.0), precision=1e-2)
    value, low, _ = account(beams, BRILLIANT, 1.0).dark
    assert low == 0.0
    assert value <= 2.0 * beams.totals.mean[FIELDS.index("untraced")]


def test_the_mean_over_wavelengths():
    result = rl.trace(BRILLIANT, WINDOW, TILTED, resolution=8, wavelengths_nm=(486.1, 656.3), precision=1e-2)
    blue, red = result.summary.facet_tables
    both = result.summary.facets
    assert np.abs(blue.columns["leak"] - red.columns["leak"]).max() > 1e-6
    for column in COLUMNS:
        assert both.columns[column] == pytest.approx((blue.columns[column] + red.columns[column]) / 2.0, abs=1e-15)
    assert both.dark == pytest.approx(np.mean([blue.dark, red.dark], axis=0), abs=1e-15)
    assert math.fsum(path.area for path in both.dark_paths) == pytest.approx(both.dark[0], abs=1e-12)
    areas = [path.area for path in both.dark_paths]
    assert areas == sorted(areas, reverse=True)
    assert len({(path.tiers, path.entry) for path in both.dark_paths}) == len(areas)
    assert mean_of([blue]) is blue


def test_the_summary_tells_it_in_plain_numbers():
    result = rl.trace(BRILLIANT, HEAD_ONLY, resolution=8)
    facts = json.loads(files.to_json(files.report(result)))
    assert facts["facets"]["by_facet"]["facet"] == [BRILLIANT.facet_name(f) for f in range(len(BRILLIANT))]
    assert list(facts["facets"]["by_tier"]) == list(dict.fromkeys(BRILLIANT.tiers))
    for entry in ENTRIES:
        traced = facts["brackets"][entry][1 if entry == "untraced" else 0]  # without the estimate of what was not
        assert math.fsum(facts["facets"]["by_facet"][entry]) == pytest.approx(traced, abs=1e-12)
    dark = facts["facets"]["dark"]
    assert math.fsum(path["area"] for path in dark["paths"]) + dark["other_paths"] == pytest.approx(dark["area"], abs=1e-12)
    assert dark["paths"][0]["path"].split(" > ")[-1] == "head"  # an even sky: only the head is dark
    assert "facets" not in facts["notes"]


def test_a_sampled_view_says_why_there_is_none():
    result = rl.trace(BRILLIANT, HEAD_ONLY, resolution=8, samples=1, engine="rays")
    facts = result.summary.to_dict()
    assert result.summary.facets is None
    assert "facets" not in facts
    assert "needs an exact engine" in facts["notes"]["facets"]
    with pytest.raises(rl.InputError, match="no accounting by facet"):
        drawings.leak_figure(result)


def test_the_table_comes_back_from_csv(tmp_path):
    result = rl.trace(BRILLIANT, WINDOW, TILTED, resolution=8, precision=1e-2)
    files.save_facets(result.summary.facets, tmp_path / "f.csv")
    with pytest.raises(rl.InputError, match="exists already"):
        files.save_facets(result.summary.facets, tmp_path / "f.csv")
    lines = [line for line in (tmp_path / "f.csv").read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert [row["facet"] for row in rows] == list(result.summary.facets.names)
    for column in COLUMNS:
        assert [float(row[column]) for row in rows] == result.summary.facets.columns[column].tolist()


def test_the_picture_from_below_has_each_pavilion_facet_in_its_shade():
    result = rl.trace(BRILLIANT, WINDOW, TILTED, resolution=8, precision=1e-2)
    figure = drawings.leak_figure(result)
    drawn = figure.axes[0].collections[0]
    below = np.flatnonzero(BRILLIANT.normals[:, 2] < -1e-9)
    leak = 100.0 * result.summary.facets.columns["leak"]
    assert drawn.get_array().tolist() == leak[below].tolist()
    assert drawn.get_cmap().name == "magma"
    assert drawn.get_clim() == (0.0, leak[below].max())
    for path, facet in zip(drawn.get_paths(), below, strict=True):
        inside = BRILLIANT.polyhedron.centroids[facet] * (1.0, -1.0, -1.0)  # seen from below, x to the right
        assert path.contains_point(inside[:2])
    assert f"{leak[below].sum():.4g} % through these facets" in figure.axes[0].get_title(loc="left")


SCENE = scene_text(16)


def test_the_command_line_prints_the_tiers_and_writes_table_and_pictures(tmp_path, capsys):
    (tmp_path / "s.toml").write_text(SCENE)
    assert main(["render", str(tmp_path / "s.toml"), "--out", str(tmp_path / "o"), "--facets", "--svg", "leak"]) == 0
    facts = capsys.readouterr().out
    by_tier = json.loads((tmp_path / "o" / "summary.json").read_text())["facets"]["by_tier"]
    for tier, sums in by_tier.items():
        line = next(line for line in facts.splitlines() if line.startswith(f"  {tier} "))
        assert line.split()[-3:] == [f"{100 * sums[column]:.3f}" for column in ("leak", "scattered", "glare")]
    assert "crown main > pavilion main > pavilion main > table > head" in facts
    for name in ("facets.csv", "leak-from-below.png", "leak.svg"):
        assert (tmp_path / "o" / name).stat().st_size > 1000
    assert not (tmp_path / "o" / "path.png").exists()


def test_the_command_line_says_why_a_sampled_view_has_none(tmp_path, capsys):
    (tmp_path / "s.toml").write_text(SCENE)
    words = ["--out", str(tmp_path / "o"), "--facets", "--svg", "leak", "--engine", "rays", "--samples", "1"]
    assert main(["render", str(tmp_path / "s.toml"), *words]) == 0
    facts = capsys.readouterr().out
    assert facts.count("an exact engine (parallel view)") == 2
    assert not {"facets.csv", "leak-from-below.png", "leak.svg"} & {file.name for file in (tmp_path / "o").iterdir()}


def test_a_file_of_the_accounting_in_the_way_is_reported_before_the_work(tmp_path, capsys):
    (tmp_path / "s.toml").write_text(SCENE)
    (tmp_path / "o").mkdir()
    (tmp_path / "o" / "facets.csv").write_text("mine")
    assert main(["render", str(tmp_path / "s.toml"), "--out", str(tmp_path / "o"), "--facets"]) == 2
    assert "facets.csv: exists already" in capsys.readouterr().err
    assert [file.name for file in (tmp_path / "o").iterdir()] == ["facets.csv"]
