"""The search among the facets of wedges: what it finds is what a search among all facets finds."""

from __future__ import annotations

import numpy as np
import pytest

import raylab as rl
from raylab.tracers.stone_table import StoneTable, crosses_axis, stone_table
from raylab.tracers.wedges import WEDGES, Wedges, numbers_around, row_ahead, wedge_of, wedges_in, wedges_of

RAYS = 400
STONES = {
    "round brilliant": rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.8, culet_pct=2),
    "pear brilliant": rl.cut("pear brilliant", table_pct=57),
    "emerald cut": rl.cut("emerald cut", table_pct=60),
    "rose cut": rl.cut("rose cut"),
}


def lowered(name: str, crossed: bool = True) -> tuple[StoneTable, Wedges]:
    table = stone_table(STONES[name], 589.3)
    assert crosses_axis(table.planes)
    return table, wedges_in(table) if crossed else wedges_of(table.planes, table.sloping, 3.0, False)


def rays(table: StoneTable) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Origins, directions and the rows stood on, of random rays that were reflected by a sloping facet."""
    random = np.random.default_rng(5)
    inside = random.dirichlet(np.full(len(table.planes), 0.3), RAYS) @ (0.2 * table.planes[:, :3] * table.planes[:, 3:])
    ways = random.normal(size=(RAYS, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, np.newaxis]
    rows, away = nearest(table, inside, ways, np.full(RAYS, -1))
    normals = table.planes[rows, :3]
    return inside + away[:, np.newaxis] * ways, ways - 2.0 * np.sum(ways * normals, axis=1)[:, np.newaxis] * normals, rows


def nearest(table: StoneTable, origins: np.ndarray, ways: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows and distances by a search among all sloping facets."""
    planes = table.planes[: table.sloping]
    towards = ways @ planes[:, :3].T
    away = np.maximum(planes[:, 3] - origins @ planes[:, :3].T, 0.0) / np.where(towards > 0.0, towards, np.nan)
    away[np.arange(table.sloping) == last[:, np.newaxis]] = np.nan
    return np.nanargmin(away, axis=1), np.nanmin(away, axis=1)


def found(table: StoneTable, wedges: Wedges) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows by wedges, and rows and distances by all, of the random rays of a stone."""
    origins, ways, last = rays(table)
    by_wedges = [
        row_ahead(table.planes, *wedges, float(row), *origin, *way)
        for row, origin, way in zip(last, origins, ways, strict=True)
    ]
    return (np.array([row for _, _, row in by_wedges]), *nearest(table, origins, ways, last))


@pytest.mark.parametrize("name", STONES)
def test_the_facet_of_wedges_is_that_of_all(name):
    table, wedges = lowered(name)
    rows, wanted, _ = found(table, wedges)
    assert np.array_equal(rows, wanted)


def test_a_facet_that_a_wedge_does_not_list_is_missed():
    table, wedges = lowered("round brilliant")
    without = wedges._replace(rows=np.where(wedges.rows == 49, 0, wedges.rows))  # a main of the pavilion, the table twice
    rows, wanted, _ = found(table, without)
    assert (wanted == 49).any()
    assert (rows != wanted).any()


def test_a_wedge_of_a_brilliant_lists_one_facet_of_each_ring():
    _, wedges = lowered("round brilliant")
    assert (wedges.spans[:, 1] - wedges.spans[:, 0] == 7).all()  # table, star, two mains, two halves, culet
    assert sorted(numbers_around()) == list(range(WEDGES))


def test_where_the_axis_misses_the_stone_each_wedge_lists_all():
    table, wedges = lowered("emerald cut", crossed=False)
    assert np.array_equal(wedges.spans, [[0, table.sloping]] * WEDGES)
    rows, wanted, _ = found(table, wedges)
    assert np.array_equal(rows, wanted)


def test_wedges_are_sixteenths():
    angles = np.arange(0.25, 360.0, 0.5)
    numbers = np.array([wedge_of(x, y) for x, y in zip(np.cos(np.radians(angles)), np.sin(np.radians(angles)), strict=True)])
    assert np.array_equal(numbers, numbers_around()[(angles / 22.5).astype(int)])
