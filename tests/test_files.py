"""Files are there whole or not at all, give back what was put in, and overwrite nothing unasked."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
import tifffile
import trimesh
import xarray as xr

import raylab as rl
from raylab import files

STONE = rl.round_brilliant(
    table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32, culet_pct=1.0, material="sapphire"
)


@pytest.fixture(scope="module")
def result() -> rl.Result:
    dome = rl.Dome(lamps=(rl.Lamp(40, 30, 20, 3.0),), head_half_angle_deg=10)
    return rl.trace(STONE, dome, rl.View(tilt_deg=7), resolution=24, samples=4, engine="rays")


def left_in(folder: Path) -> list[str]:
    return sorted(os.listdir(folder))


def test_maps_come_back_with_units_and_coordinates(result, tmp_path):
    files.save_maps(result.arrays, tmp_path / "m.nc", {"scene_hash": "abc"})
    assert left_in(tmp_path) == ["m.nc"]
    with xr.open_dataset(tmp_path / "m.nc", engine="h5netcdf") as found:
        assert set(found.data_vars) == set(result.maps.data_vars)
        assert found.attrs["scene_hash"] == "abc"
        assert found.x.attrs["units"] == "mm"
        assert np.array_equal(found.x, result.maps.x)
        for name in result.maps.data_vars:
            assert found[name].encoding["dtype"] == result.maps[name].dtype
            assert found[name].attrs == result.maps[name].attrs
            assert np.array_equal(found[name].values, result.maps[name].values, equal_nan=True)
    assert "scene_hash" not in result.maps.attrs


def test_luminance_tiff_is_linear_float_with_its_top_row_first(result, tmp_path):
    files.save_luminance(result.arrays, tmp_path / "l.tiff")
    with tifffile.TiffFile(tmp_path / "l.tiff") as file:
        pixels, page = file.asarray(), file.pages[0]
        per_cm, of = page.tags["XResolution"].value
        assert page.tags["ResolutionUnit"].value == 3  # centimetre
    assert pixels.dtype == np.float32
    assert 10.0 * of / per_cm == pytest.approx(result.maps.attrs["pixel_mm"], rel=1e-6)
    upright = pixels[::-1]
    inside = np.isfinite(result.maps.luminance.values)
    assert np.array_equal(upright[inside], result.maps.luminance.values[inside].astype(np.float32))
    assert np.all(upright[~inside] == 0.0)


def test_summary_holds_ledger_statistics_and_provenance(result, tmp_path):
    files.save_summary(result, tmp_path / "s.json")
    found = json.loads((tmp_path / "s.json").read_text())
    assert set(found["ledger"]) == {"sky", "head", "leak", "absorbed", "scattered", "untraced"}
    assert sum(found["ledger"].values()) == pytest.approx(1.0, abs=1e-12)
    assert {"brightness", "contrast_rms", "glare"} <= set(found["stats"])
    assert set(found["brackets"]) == set(found["errors"]) == {*found["ledger"], *found["stats"]}
    assert found["scene"]["hash"] == result.scene.hash()
    assert (found["raylab_version"], found["engine"], found["wavelengths_nm"]) == (rl.__version__, "rays", [589.3])
    assert "ordinary" in found["notes"]["material"]
    assert found["stone"]["weight_ct"] == STONE.weight_ct


def test_json_has_null_where_a_number_is_not_finite():
    assert json.loads(files.to_json({"a": [float("nan"), float("inf"), 1.5], "b": ({"c": None},)})) == {
        "a": [None, None, 1.5],
        "b": [{"c": None}],
    }


@pytest.mark.parametrize(("kind", "rounding"), [("stl", 1e-7), ("obj", 1e-7), ("ply", 1e-7), ("glb", 1e-7)])
def test_a_mesh_encloses_the_stone(kind, rounding, tmp_path):
    """Each format holds 32-bit floats or 8 digits: coordinates to 1e-7 of the size, so the volume to a few 1e-7."""
    path = tmp_path / f"stone.{kind}"
    files.save_stone(STONE, path)
    mesh = trimesh.load_mesh(path)
    mesh.apply_scale(1e3 if kind == "glb" else 1.0)  # GLB is in metres
    mesh.merge_vertices()
    assert mesh.is_watertight
    assert mesh.is_convex
    assert mesh.volume == pytest.approx(STONE.volume_mm3, rel=6 * rounding)  # positive: wound outward; in mm
    assert np.allclose(mesh.extents, STONE.size_mm, rtol=2 * rounding)
    assert left_in(tmp_path) == [path.name]


@pytest.mark.parametrize(("suffix", "unit"), [(".csv", None), (".stl", "mm"), (".obj", "mm"), (".ply", "mm"), (".glb", None)])
def test_a_stone_that_was_saved_is_read_again(suffix, unit, tmp_path):
    """Exactly from a table; from a mesh to the rounding of its 32-bit numbers and of the girdle's narrow flats."""
    path = tmp_path / f"stone{suffix}"
    files.save_stone(STONE, path)
    again = rl.load_stone(path, unit=unit)
    assert again.volume_mm3 == pytest.approx(STONE.volume_mm3, rel=1e-12 if suffix == ".csv" else 1e-6)
    assert sorted(again.tiers) == sorted(STONE.tiers)


def test_an_unknown_kind_of_stone_file_is_refused(tmp_path):
    with pytest.raises(rl.InputError, match=r"stone\.xyz: unknown kind of stone file; expected a file name that ends in \.stl"):
        files.save_stone(STONE, tmp_path / "stone.xyz")
    assert left_in(tmp_path) == []


def test_a_file_in_the_way_is_kept_unless_forced(tmp_path):
    path = tmp_path / "stone.csv"
    path.write_text("mine")
    with pytest.raises(rl.InputError, match=r"stone\.csv: exists already; nothing was written"):
        files.save_stone(STONE, path)
    assert path.read_text() == "mine"
    files.save_stone(STONE, path, force=True)
    assert path.read_text().startswith("# side:")
    assert left_in(tmp_path) == ["stone.csv"]


def test_a_link_in_the_way_is_kept_too(tmp_path):
    (tmp_path / "link.csv").symlink_to(tmp_path / "nowhere.csv")
    with pytest.raises(rl.InputError, match="exists already"):
        files.save_stone(STONE, tmp_path / "link.csv")
    assert left_in(tmp_path) == ["link.csv"]
