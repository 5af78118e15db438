"""Finishes: by name, by code, one per facet."""

import numpy as np
import pytest
from polyhedra import box, finishes

from raylab.errors import InputError
from raylab.stone.finish import ABSORBING, ABSORBS, DIFFUSES, FINISHES, POLISHED, REFRACTS, ROUGH, get_finish
from raylab.stone.stone import Stone
from raylab.tracers.stone_table import stone_table

SLAB = box(2.0, 0.4, 1.5)


def test_a_finish_is_known_by_name_and_code():
    assert (get_finish("polished"), get_finish("absorbing")) == (POLISHED, ABSORBING)
    assert [get_finish(text).code for text in ("polished", "absorbing", "lambertian 0.5", "rough 0.1")] == [
        REFRACTS,
        ABSORBS,
        DIFFUSES,
        ROUGH,
    ]
    assert len(FINISHES) == 4
    assert get_finish(ABSORBING) is ABSORBING


@pytest.mark.parametrize("name", ["absorbin", "", True, None, 1.0])
def test_an_unknown_finish_is_refused_by_its_key(name):
    with pytest.raises(InputError, match=r"girdle_finish( = .*)?: unknown finish; (did you mean|one of|expected)"):
        get_finish(name, "girdle_finish")


def test_finishes_go_with_their_facets():
    """Through sorting and dropping of planes, and into the order of the kernels' table."""
    absorbing = np.arange(6) == 1
    stone = Stone.from_planes(
        np.vstack([[[1, 1, 1]], SLAB.normals]),
        [9.0, *SLAB.distances_mm],
        finishes=["absorbing", *finishes(absorbing)],
        redundant="drop",
    )
    assert [finish == ABSORBING for finish in stone.finishes] == absorbing.tolist()
    assert stone.scaled(2.0).finishes == stone.with_planes(stone.normals, stone.distances_mm).finishes == stone.finishes
    table = stone_table(stone.moved(np.roll(np.eye(3), 1, axis=0)), 589.3)
    assert table.facet[table.finish == ABSORBS].tolist() == [1]
