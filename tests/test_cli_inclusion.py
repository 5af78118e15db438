"""``raylab inclusion``: its files, its numbers, and what it refuses."""

import csv
import json

import pytest
import xarray as xr

import raylab as rl
from raylab.cli import main

PLOTTED = "shape,facet,depth_mm,radius_mm,name\nsphere,table,0.3,0.2,crystal\n"
SMALL = ("--resolution", "40", "--samples", "1")


@pytest.fixture
def plotted(tmp_path):
    file = tmp_path / "plotted.csv"
    file.write_text(PLOTTED)
    return file


def test_the_command_writes_maps_table_pictures_and_a_series(tmp_path, plotted, capsys):
    out = tmp_path / "out"
    series = ("--to-deg", "10", "--step-deg", "10")
    assert main(["inclusion", "well-proportioned", "--plotted", str(plotted), "--out", str(out), *SMALL, *series]) == 0
    said = capsys.readouterr().out
    names = {
        "inclusions.nc",
        "inclusions.json",
        "inclusions.csv",
        "inclusions.png",
        "inclusions-tilt.nc",
        "inclusions-tilt.png",
    }
    assert {path.name for path in out.iterdir()} == names
    stone = rl.load_scene("well-proportioned").stone
    stone = stone.with_inclusions(rl.load_inclusions(plotted, stone))
    scene = rl.Scene(stone, "head-shadow", settings=rl.TraceSettings(samples=1), resolution=40)
    found = rl.inclusion_images(scene)
    facts = json.loads((out / "inclusions.json").read_text())
    assert facts["taken"]["value"] == found.taken.value
    assert facts["number"] == len(found.images) > 0
    rows = list(csv.DictReader((out / "inclusions.csv").read_text().splitlines()))
    assert [row["inclusion"] for row in rows] == [one.name for one in found.images]
    assert rows[0]["facets"] == " > ".join(found.images[0].facets)
    with xr.open_dataset(out / "inclusions.nc") as maps, xr.open_dataset(out / "inclusions-tilt.nc") as tilted:
        assert maps.image.values.tolist() == found.maps.image.values.tolist()
        assert tilted.tilt_deg.values.tolist() == [0.0, 10.0]
        assert float(tilted.lost[0]) == found.lost.value
    assert f"{len(found.images)} images" in said
    assert "table 0" in said


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["well-proportioned"], "--plotted: the stone has no inclusions"),
        (["plotted-inclusions", "--contrast", "11"], "--contrast = 11.0: out of range"),
        (["plotted-inclusions", "--to-deg", "-3"], "--to-deg = -3.0: empty range of angles"),
    ],
)
def test_what_can_not_be_shown_is_one_line(tmp_path, words, says, capsys):
    out = tmp_path / "out"
    assert main(["inclusion", *words, "--out", str(out)]) == 2
    assert says in capsys.readouterr().err
    assert not out.exists()
