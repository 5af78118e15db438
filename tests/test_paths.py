"""The strongest path of each virtual facet: the oracle's, told in words, and the same in every pixel that it fills."""

from __future__ import annotations

import math

import numpy as np
import polyhedra
import pytest
import xarray as xr
from small_scenes import beams_of

import raylab as rl
from raylab import files
from raylab.results.paths import strongest_paths
from raylab.tracers import reference
from raylab.tracers.ledger import FIELDS, GLARE, UNTRACED

BRILLIANT = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
DOME = rl.Dome(head_half_angle_deg=15, tray_radiance=0.1)
TILTED = rl.View(tilt_deg=13, tilt_azimuth_deg=50)


def reported_by_oracle(stone: rl.Stone, view: rl.View, point: np.ndarray) -> tuple[list[int], str, float]:
    """Facets and ledger entry of the strongest path of one view ray, and its lead over the next strongest part."""
    turn = view.rotation()
    path = reference.trace_path(turn.T @ (*point, 50.0), turn.T @ (0.0, 0.0, -1.0), stone, min_weight=1e-9)
    parts = []
    for k, (weight, direction, bounces) in enumerate(path.exits):
        head = math.degrees(math.acos(min(1.0, (turn @ direction)[2]))) < DOME.head_half_angle_deg
        facets = path.facets[: 1 if k == 0 else bounces + 2]
        parts.append((weight, facets, "head" if head else ("leak" if direction[2] < 0.0 else "sky")))
    parts.append((path.scattered, path.facets, "scattered"))
    parts.sort(key=lambda part: -part[0])
    return parts[0][1], parts[0][2], parts[0][0] - parts[1][0] if len(parts) > 1 else 1.0


STONES = {
    "brilliant": BRILLIANT,
    "tinted": rl.round_brilliant(
        table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32,
        material=rl.get_material("diamond").tinted(0.1),
    ),
    "low index": polyhedra.random_polyhedron(5, n=1.5),
    "absorbing": polyhedra.random_polyhedron(4, absorbing_share=0.4),
    "absorbing, tinted": polyhedra.random_polyhedron(7, absorption_per_mm=1.5, absorbing_share=0.3),
}  # fmt: skip


@pytest.mark.parametrize("view", [rl.View(), TILTED], ids=["face-up", "tilted"])
@pytest.mark.parametrize("name", STONES)
def test_it_is_the_oracles(name, view):
    """At the middle of polygons, the largest and others. In a tinted stone the mean over a polygon decides: rays for which the
    first two parts are within 1 % of each other are left out there."""
    stone = STONES[name]
    whole = beams_of(stone, DOME, view, precision=1e-2).unfolded()
    paths = strongest_paths(whole)
    order = np.argsort(-whole.areas_mm2)
    seen = 0
    for k in [*order[:25], *np.random.default_rng(1).choice(order[: len(order) // 2], 25)]:
        middle = whole.vertices_mm[whole.starts[k] : whole.starts[k + 1]].mean(axis=0)
        facets, unit, lead = reported_by_oracle(stone, view, middle)
        path = paths.which[k]
        if lead < (1e-2 if stone.material.absorption_per_mm(589.3) else 1e-9) or paths.entry[path] == UNTRACED:
            continue
        assert [f for f in paths.facets[path] if f >= 0] == facets
        assert FIELDS[paths.entry[path]] == unit
        words = [*(stone.facet_name(f) for f in facets), unit]
        assert paths.name(path, stone) == " > ".join(words)
        seen += 1
    assert seen > 30


def test_paths_are_different_and_sorted_and_cover_the_outline():
    beams = beams_of(BRILLIANT, DOME, precision=1e-2)
    paths = strongest_paths(beams)
    assert len(paths.which) == len(beams.unfolded())
    assert np.all(np.diff(paths.areas_mm2) <= 0.0)
    assert paths.areas_mm2.sum() == pytest.approx(beams.area_mm2, rel=1e-12)
    assert len({paths.name(k, BRILLIANT) for k in range(len(paths))}) == len(paths)


def test_the_wedge_finds_all_paths():
    """Up to rounding the same areas; copies of one path that run along the same facets are one path."""
    areas = []
    for wedge in (True, False):
        paths = strongest_paths(beams_of(BRILLIANT, DOME, precision=2e-3, wedge=wedge))
        areas.append({paths.name(k, BRILLIANT): area for k, area in enumerate(paths.areas_mm2)})
    assert len(areas[0]) > 100
    for name in areas[0] | areas[1]:
        assert areas[0].get(name, 0.0) == pytest.approx(areas[1].get(name, 0.0), abs=1e-9)


def test_where_most_is_untraced_no_path_is_reported():
    whole = beams_of(BRILLIANT, DOME, TILTED, precision=0.5)
    paths = strongest_paths(whole)
    open_ones = np.flatnonzero(paths.entry[paths.which] == UNTRACED)
    assert len(open_ones) > 0
    for k in open_ones:
        assert paths.name(paths.which[k], BRILLIANT) == f"{BRILLIANT.facet_name(whole.entries[k])} > untraced"
        assert whole.rows[k, UNTRACED] > whole.rows[k, GLARE]  # the one part that each of them has
    settled = paths.entry[paths.which] != UNTRACED
    assert np.all(whole.rows[settled, UNTRACED] <= 0.5)  # no more than the largest part, so no more than half


def test_a_long_path_is_reported_in_short():
    paths = strongest_paths(beams_of(BRILLIANT, DOME, precision=1e-2))
    longest = int((paths.facets >= 0).sum(axis=1).argmax())
    words = paths.name(longest, BRILLIANT).split(" > ")
    count = len(words) - 1
    assert count > 3
    assert paths.name(longest, BRILLIANT, 2).split(" > ") == [words[0], f"({count - 2} more)", *words[-2:]]
    assert paths.name(longest, BRILLIANT, count) == " > ".join(words)


@pytest.mark.parametrize("view", [rl.View(), TILTED], ids=["face-up", "tilted"])
def test_the_map_names_the_path_of_each_pixel(view):
    """Where the oracle sees one path through all corners of a pixel, and its middle, that is the pixel's."""
    result = rl.trace(BRILLIANT, DOME, view, resolution=200, precision=1e-2)
    maps, half = result.maps, result.maps.attrs["pixel_mm"] / 2.0
    assert maps.path.dims == ("y", "x")
    assert np.array_equal(maps.path.values == -1, maps.coverage.values == 0.0)
    names, seen = maps.path_name.values, 0
    rng = np.random.default_rng(2)
    for i, j in rng.integers(0, 200, (50, 2)):
        if maps.coverage.values[i, j] < 1.0 - 1e-9:
            continue
        middle = np.array([maps.x.values[j], maps.y.values[i]])
        corners = [middle + half * np.array(direction) for direction in ((0, 0), (-1, -1), (1, -1), (1, 1), (-1, 1))]
        facts = [reported_by_oracle(BRILLIANT, view, corner) for corner in corners]
        if all(one[:2] == facts[0][:2] for one in facts):
            words = [*(BRILLIANT.facet_name(f) for f in facts[0][0]), facts[0][1]]
            assert names[maps.path.values[i, j]] == " > ".join(words)
            seen += 1
    assert seen > 10


def test_every_name_is_in_use_and_those_of_large_area_come_first():
    result = rl.trace(BRILLIANT, DOME, resolution=64)
    paths = strongest_paths(result.beams[0])
    used = np.unique(result.maps.path.values)
    assert used.tolist() == list(range(-1, len(result.maps.path_name)))
    area = {paths.name(k, BRILLIANT): area for k, area in enumerate(paths.areas_mm2)}
    assert np.all(np.diff([area[name] for name in result.maps.path_name.values]) <= 0.0)


def test_the_map_comes_back_from_netcdf(tmp_path):
    result = rl.trace(BRILLIANT, DOME, TILTED, resolution=16, precision=1e-2, wavelengths_nm=(486.1, 656.3))
    files.save_maps(result.arrays, tmp_path / "m.nc")
    with xr.open_dataset(tmp_path / "m.nc", engine="h5netcdf") as found:
        assert set(found.coords) == set(result.maps.coords)
        assert found.path.dtype == np.int32
        assert np.array_equal(found.path, result.maps.path)
        assert found.path_name.values.tolist() == result.maps.path_name.values.tolist()


def test_a_sampled_view_has_no_such_map():
    assert "path" not in rl.trace(BRILLIANT, DOME, resolution=8, samples=1, engine="rays").maps


def test_several_wavelengths_are_the_single_ones():
    """Bit by bit: maps, statistics and paths, the names put together."""
    waves = (486.1, 589.3, 656.3)
    together = rl.trace(BRILLIANT, DOME, TILTED, resolution=32, precision=1e-2, wavelengths_nm=waves)
    assert together.maps.luminance.dims == ("wavelength_nm", "y", "x")
    assert np.abs(together.maps.luminance[0] - together.maps.luminance[2]).max() > 0.1
    for k, wavelength in enumerate(waves):
        single = rl.trace(BRILLIANT, DOME, TILTED, resolution=32, precision=1e-2, wavelengths_nm=wavelength)
        layer = together.maps.isel(wavelength_nm=k)
        for name in single.maps.data_vars:
            if name != "path":
                assert np.array_equal(layer[name].values, single.maps[name].values, equal_nan=True), name
        assert together.summary.records[k] == single.summary.records[0]
        words = [np.append(maps.path_name.values, "")[maps.path.values] for maps in (layer, single.maps)]
        assert np.array_equal(*words)


def test_without_the_account_the_rest_is_the_same():
    whole, lean = (rl.trace(BRILLIANT, DOME, TILTED, resolution=32, by_facet=choice) for choice in (True, False))
    assert lean.summary.facets is None
    assert "facets" not in lean.summary.to_dict()["notes"]
    xr.testing.assert_identical(lean.maps, whole.maps[list(lean.maps)])
    assert "path" in whole.maps
    assert "path" not in lean.maps
    assert lean.summary.brightness == whole.summary.brightness
