"""The table of published values itself: every number has its source and says how it was come by."""

import csv
import math

from polyhedra import VALUES, published


def test_no_id_stands_twice():
    with VALUES.open(newline="", encoding="utf-8") as lines:
        ids = [row["id"] for row in csv.DictReader(lines)]
    assert len(ids) == len(set(ids)) > 300


def test_every_row_is_a_number_with_a_source():
    for key, row in published().items():
        assert math.isfinite(float(row["value"])), key
        assert row["source"], key
        assert any(word in row["how_obtained"] for word in ("read in", "computed", "from memory")), key
