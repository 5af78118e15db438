"""Numbers of an index wheel: by hand, on the command line, and between two teeth."""

from __future__ import annotations

import json
import math
import re

import pytest

import raylab as rl
from raylab.cli import main
from raylab.stone.index_wheel import MOST_TEETH, WHEELS, checked_wheel, index_of, index_words


def test_numbers_of_a_brilliant_by_hand():
    """Halves of a round brilliant stand at teeth 3, 9, 15, ... of 96 (11.25 degrees is 3 of 96), stars at 6, 18, ..."""
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    for tier, wanted in (("upper half", range(3, 96, 6)), ("star", range(6, 96, 12)), ("pavilion main", range(0, 96, 12))):
        assert [index_of(stone.azimuth_deg()[f], 96) for f in stone.facets_of(tier)] == list(wanted)
    assert {index_words(index_of(11.25, teeth)) for teeth in WHEELS} == {"1", "2", "2.25*", "2.50*", "3", "3.75*"}


@pytest.mark.parametrize(
    ("azimuth_deg", "teeth", "words"),
    [
        (359.9999999, 96, "0"),
        (-3.75, 96, "95"),
        (360.0, 64, "0"),
        (0.01, 96, "0.00*"),
        (11.25, 36, "1.13*"),
        (359.99, 96, "96.00*"),
    ],
)
def test_numbers_as_they_are_written(azimuth_deg, teeth, words):
    index = index_of(azimuth_deg, teeth)
    assert 0.0 <= index < teeth
    assert math.remainder(index * 360.0 / teeth - azimuth_deg, 360.0) == pytest.approx(0.0, abs=1e-6 * 360.0 / teeth)
    assert index_words(index) == words


@pytest.mark.parametrize("teeth", [2, MOST_TEETH + 1, 96.5, "96"])
def test_wheels_that_are_none(teeth):
    with pytest.raises(rl.InputError, match="wheel"):
        checked_wheel(teeth)


def test_the_command_lists_them_beside_the_azimuths(tmp_path, capsys):
    main(["measure", "scenes/stones/blocked.csv", "--wheel", "96"])
    lines = capsys.readouterr().out.splitlines()
    head = next(line for line in lines if "azimuth / deg" in line)
    assert head.index("azimuth / deg") < head.index("index of 96") < head.index("distance / mm")
    rows = [line.split() for line in lines if re.match(r"  girdle \d", line)]
    assert rows
    for *_, azimuth, index, _, _ in rows:  # the azimuth is rounded to 4 decimals
        assert float(index.strip("*")) == pytest.approx(index_of(float(azimuth), 96), abs=0.0051)
        assert index.endswith("*") == ("." in index)
    assert any("between two teeth" in line for line in lines)
    main(["measure", "scenes/stones/blocked.csv", "--wheel", "96", "--json"])
    facts = json.loads(capsys.readouterr().out)
    assert facts["wheel"] == 96
    assert all(row["index"] == index_of(row["azimuth_deg"], 96) for row in facts["facets"])
    assert main(["measure", "scenes/stones/blocked.csv", "--wheel", "2"]) == 2
    assert "--wheel = 2: out of range; expected a whole number from 3 to 3600" in capsys.readouterr().err
