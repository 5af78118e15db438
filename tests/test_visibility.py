"""`rl.visibility` and `raylab visibility`: the field as it is given, looked up, saved, drawn and refused."""

import json

import numpy as np
import pytest
import xarray as xr
from polyhedra import box

import raylab as rl
from raylab.cli import main
from raylab.errors import InputError
from raylab.lighting.dome import Dome
from raylab.results.visibility_field import FIELDS
from raylab.threads import at_most
from raylab.tracers.voxels import fill, voxels_of_box

STONE = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32)
SCENE = rl.Scene(STONE, "head-shadow")
FEW = {"voxels": 12, "rays": 4000}


@pytest.fixture(scope="module")
def field():
    return rl.visibility(SCENE, **FEW)


def test_fields_have_labels_units_and_errors(field):
    assert set(field.maps.data_vars) == {"inside", *FIELDS, *(f"{name}_error" for name in FIELDS)}
    assert field.maps.lost.dims == ("x", "y", "z")
    assert field.maps.lost.shape == (12, 12, 12)
    assert field.maps.taken.attrs["units"] == field.maps.lost_error.attrs["units"] == "mm-2"
    inside = field.maps.inside.values
    assert inside.sum() * np.prod(STONE.size_mm / 12) == pytest.approx(STONE.volume_mm3, rel=1e-3)
    assert np.array_equal(np.isfinite(field.maps.lost.values), inside >= 0.02)
    assert 0.02 < field.relative_error < 0.4
    assert float(field.maps.images.min()) >= 0.0


def test_numbers_hang_neither_on_threads_nor_on_inclusions(field):
    """The same bits on one thread, of a stone with inclusions, and by stone, dome and view."""
    spotted = STONE.with_inclusions(rl.Inclusion.sphere((0.2, 0.1, 0.3), 0.2))
    with at_most(1):
        again = rl.visibility(spotted, "head-shadow", **FEW)
    xr.testing.assert_identical(again.maps, field.maps)


def test_a_part_of_the_stone_has_the_numbers_of_the_whole(field):
    """The voxels of a box that halves the field's: the mean of eight is the one."""
    maps = field.maps
    sides = np.array([maps.attrs[f"d{axis}_mm"] for axis in "xyz"])
    middle = np.array([float(maps[axis][k]) for axis, k in zip("xyz", (5, 6, 7), strict=True)])
    fine = rl.visibility(SCENE, voxels=2, rays=FEW["rays"], box_mm=(middle - sides / 2, middle + sides / 2))
    for name in FIELDS:
        assert float(fine.maps[name].mean()) == pytest.approx(float(maps[name][5, 6, 7]), rel=1e-9)
    assert field.at(middle)["lost"] == float(maps.lost[5, 6, 7])


def test_voxels_are_filled_as_the_body_cuts_them():
    """A box that is half a voxel off the grid."""
    stone = box(2.0, 1.0, 2.4)
    planes = np.column_stack([stone.normals, stone.distances_mm])
    grid = voxels_of_box(np.array([-1.5, -1.5, -1.0]), np.array([1.5, 1.5, 1.0]), (3, 3, 4))
    inside = np.zeros(36)
    fill(grid, planes, inside)
    side, up = np.array([0.5, 1.0, 0.5]), np.array([0.0, 1.0, 1.0, 0.0])
    assert inside.reshape(3, 3, 4) == pytest.approx(side[:, None, None] * side[:, None] * up, abs=1e-12)


def test_least_seen_is_the_smallest_part_of_that_volume(field):
    least = field.least_seen(0.2, "taken")
    values, inside, mask = field.maps.taken.values, field.maps.inside.values, least.mask.values
    assert least.share == pytest.approx(0.2, abs=0.01)
    assert values[mask].max() == least.below
    assert np.nanmin(values[~mask]) >= least.below
    whole = inside[np.isfinite(values)].sum()
    assert inside[mask].sum() / whole == pytest.approx(least.share)
    assert sum(one.share for one in least.regions) <= least.share + 1e-12
    for one in least.regions:
        assert sum(one.tiers.values()) == pytest.approx(1.0)
        assert set(one.tiers) <= set(STONE.tiers)
        assert (STONE.normals @ one.middle_mm - STONE.distances_mm).max() == pytest.approx(-one.clearance_mm, abs=1e-9)
    assert "% of the volume" in str(least.regions[0])


def test_depth_and_tier_of_a_region_are_those_above_it():
    """Under an even dome, in a slab: all is seen alike, so that the least seen part is any; what lies above it is the top."""
    slab = box(3.0, 1.0, 1.5)
    regions = rl.visibility(slab, Dome(sky_radiance=1.0), voxels=6, rays=1000).least_seen(1.0).regions
    assert len(regions) == 1
    assert regions[0].depth_mm == pytest.approx((1 / 12, 11 / 12))
    assert list(regions[0].tiers) == [slab.tiers[0]]
    assert regions[0].share == pytest.approx(1.0)


def test_files_hold_the_field(field, tmp_path):
    pyvista = pytest.importorskip("pyvista")
    for name in ("field.nc", "field.vti"):
        rl.save_visibility(field, tmp_path / name)
        with pytest.raises(InputError, match="exists"):
            rl.save_visibility(field, tmp_path / name)
    with xr.open_dataset(tmp_path / "field.nc") as kept:
        xr.testing.assert_identical(kept.load(), field.maps)
    grid = pyvista.read(tmp_path / "field.vti")
    corners = STONE.vertices_mm
    assert tuple(grid.bounds) == pytest.approx(tuple(np.stack([corners.min(axis=0), corners.max(axis=0)]).T.ravel()))
    place = grid.find_containing_cell((0.3, 0.4, 0.1))
    assert float(grid.cell_data["lost"][place]) == field.at((0.3, 0.4, 0.1))["lost"]
    with pytest.raises(InputError, match=r"expected a file name that ends in \.nc or \.vti"):
        rl.save_visibility(field, tmp_path / "field.vtk")


def test_the_card_shows_slices_and_regions(field):
    html = field._repr_html_()
    assert html.count("<img") == 3
    assert str(field.least_seen().regions[0]).split(";")[0] in html


def test_the_command_writes_what_the_function_gives(tmp_path, capsys):
    out = tmp_path / "out"
    words = ["plotted-inclusions", "--voxels", "12", "--rays", "4000", "--share", "0.2", "--by", "taken"]
    assert main(["visibility", *words, "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert {path.name for path in out.iterdir()} == {
        "visibility.nc",
        "visibility.vti",
        "visibility.json",
        "visibility.png",
    }
    scene = rl.load_scene("plotted-inclusions")
    found = rl.visibility(scene, **FEW)
    facts = json.loads((out / "visibility.json").read_text())
    assert facts["relative_error"] == found.relative_error
    assert facts["least_seen"]["below"] == found.least_seen(0.2, "taken").below
    assert facts["inclusions"][0]["lost"] == found.at(scene.stone.inclusions[0].center_mm)["lost"]
    assert "inclusion 1 (crystal)" in said
    assert "20." in said


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["well-proportioned", "--voxels", "0"], "--voxels = 0: out of range"),
        (["well-proportioned", "--rays", "10"], "--rays = 10: out of range"),
        (["well-proportioned", "--share", "2", "--rays", "1000", "--voxels", "4"], "--share = 2.0: out of range"),
        (["well-proportioned", "--voxels", "1024", "--rays", "1000"], "--voxels: 1024 x 1024 x 1024 voxels by 1,000 rays take"),
    ],
)
def test_what_can_not_be_computed_is_one_line(tmp_path, words, says, capsys, monkeypatch):
    monkeypatch.setattr("raylab.room.free_memory", lambda: 10**9)
    out = tmp_path / "out"
    assert main(["visibility", *words, "--out", str(out)]) == 2
    assert says in capsys.readouterr().err
    assert not out.exists()


def test_what_is_asked_wrongly_is_refused(field):
    with pytest.raises(InputError, match="dome: missing"):
        rl.visibility(STONE)
    with pytest.raises(InputError, match="dome: a scene has its own"):
        rl.visibility(SCENE, "even-sky")
    with pytest.raises(InputError, match=r"box_mm = .*: an empty box"):
        rl.visibility(SCENE, box_mm=((0, 0, 0), (1, 0, 1)))
    with pytest.raises(InputError, match="outside the stone"):
        field.at((3.2, 3.2, 1.0))
    with pytest.raises(InputError, match="outside the field"):
        field.at((9.0, 0.0, 0.0))
    with pytest.raises(InputError, match="by = 'seen': unknown field"):
        field.least_seen(by="seen")
