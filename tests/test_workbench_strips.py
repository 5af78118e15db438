"""What a slider would do, without a browser: strips, their gaps and errors, and who overtakes them."""

from __future__ import annotations

import asyncio
from typing import Any

import numpy as np
import pytest
from workbench_process import unpack

import raylab as rl
from raylab.stopping import Stopped
from raylab.tracing import summary_of, trace_scene
from raylab.workbench import strips
from raylab.workbench.answers import STEPS, Answerer
from raylab.workbench.bounds import bounds_of
from raylab.workbench.design_json import DEMO, facet_design, stone_of
from raylab.workbench.request_queue import RequestQueue

DOMES = {"head-shadow": rl.load_dome("head-shadow")}
QUESTION = {"kind": "strip", "id": 1, "side": "a", "step": "coarse", "design": DEMO, "dome": "head-shadow"}


@pytest.fixture(autouse=True)
def whole(monkeypatch):
    """Answers hold all values, however long they take."""
    monkeypatch.setattr(strips, "SLICE_S", 1e9)


def answered(**values: Any) -> dict[str, Any]:
    return unpack(Answerer(DOMES).answer({**QUESTION, **values}))[0]


def summary(stone: rl.Stone, step: str, **view: float) -> tuple[float, ...]:
    found = summary_of(rl.Scene(stone, DOMES["head-shadow"], rl.View(**view), *STEPS[step]))
    window = found.beside_ledger["window"].value
    return found.brightness.value, found.contrast_rms.value, found.ledger["leak"].value, window, stone.weight_ct


def test_a_strip_at_rest_is_what_the_library_says_of_each_value():
    found = answered(key="table_pct", values=[55.0, 58.5], step="exact")
    stones = [stone_of({**DEMO, "table_pct": value}) for value in (55.0, 58.5)]
    wanted = np.array([summary(stone, "exact") for stone in stones]).T
    assert (found["key"], found["values"], found["reasons"]) == ("table_pct", [55.0, 58.5], [None, None])
    np.testing.assert_array_equal([found["numbers"][key] for key in strips.SHOWN], wanted)
    assert found["errors"]["weight_ct"] == [0.0, 0.0]


def test_a_coarse_strip_is_off_by_no_more_than_its_errors_say():
    values = [39.5, 40.5, 41.5]
    coarse, exact = (answered(key="pavilion_angle_deg", values=values, step=step) for step in ("coarse", "exact"))
    for key in ("brightness", "contrast_rms", "leak"):
        apart = np.abs(np.subtract(coarse["numbers"][key], exact["numbers"][key]))
        errors = np.hypot(coarse["errors"][key], exact["errors"][key])
        assert (errors > 0.0).all()
        assert (apart <= 5.0 * errors).all()


def test_values_without_a_stone_are_gaps_with_their_reason():
    found = answered(key="star_pct", values=[50.0, 2.0])
    assert found["numbers"]["brightness"][0] > 0.0
    assert [found["numbers"][key][1] for key in strips.SHOWN] == [None] * len(strips.SHOWN)
    assert found["reasons"][0] is None
    assert "star" in found["reasons"][1]


def test_dark_numbers_come_where_they_are_asked_for_and_are_those_of_dark_areas():
    found = answered(key="star_pct", values=[50.0, 2.0], number="dark_area")
    scene = rl.Scene(stone_of({**DEMO, "star_pct": 50.0}), DOMES["head-shadow"], rl.View(), *STEPS["coarse"])
    wanted = rl.dark_areas(trace_scene(scene)).largest
    assert found["numbers"]["dark_area"] == [pytest.approx(wanted.value, rel=1e-9), None]
    assert found["brackets"]["dark_area"][0] == pytest.approx([wanted.low, wanted.high], rel=1e-9)
    assert found["numbers"]["dark_band"] == [None, None]  # a round stone has none
    assert found["reasons"][0] is None
    assert "star" in found["reasons"][1]
    assert not answered(key="star_pct", values=[50.0])["brackets"]


@pytest.mark.parametrize("design", [DEMO, facet_design(stone_of(DEMO))], ids=["proportions", "facets"])
def test_a_strip_of_the_view_leans_to_both_sides(design):
    found = answered(design=design, key="tilt_deg", values=[-4.0, 4.0], tilt_azimuth_deg=70.0)
    there, back = (summary(stone_of(design), "coarse", tilt_deg=4.0, tilt_azimuth_deg=azimuth) for azimuth in (70.0, -110.0))
    np.testing.assert_allclose(np.array([found["numbers"][key] for key in strips.SHOWN]).T, [back, there], atol=1e-12)
    turned = answered(design=design, key="tilt_azimuth_deg", values=[70.0], tilt_deg=4.0)
    assert turned["numbers"]["leak"] == [found["numbers"]["leak"][1]]


def test_a_strip_of_a_facet_polished_again_and_of_no_move():
    design = {"kind": "repolished", "of": DEMO, "facet": "table", "slope_deg": 0.0, "azimuth_deg": 0.0, "depth_mm": 0.0}
    found = answered(design=design, key="depth_mm", values=[0.0, 0.05])
    assert found["numbers"]["weight_ct"] == [stone_of({**design, "depth_mm": depth}).weight_ct for depth in (0.0, 0.05)]


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ({"key": "tabel_pct"}, "did you mean 'table_pct'"),
        ({"key": "kind"}, None),
        ({"values": []}, "1 to 65"),
        ({"values": [1.0] * 66}, "1 to 65"),
        ({"values": [float("inf")]}, "values"),
        ({"dome": "heads-shadow"}, "did you mean 'head-shadow'"),
        ({"step": "finest"}, "step"),
        ({"key": "tilt_deg", "values": [200.0]}, "tilt_deg"),
    ],
)
def test_a_faulty_strip_is_reported_in_one_line_or_is_a_gap(values, word):
    found = answered(**{"key": "table_pct", "values": [57.0], **values})
    if word is None:
        assert found["numbers"]["brightness"] == [None]
    else:
        assert word in found["error"]["text"]


def test_an_answer_ends_with_its_slice_of_time(monkeypatch):
    monkeypatch.setattr(strips, "SLICE_S", 0.0)
    found = answered(key="table_pct", values=[55.0, 56.0, 57.0])
    assert (found["values"], len(found["numbers"]["leak"])) == ([55.0], 1)


def test_a_picture_overtakes_strips_at_once_and_a_strip_no_picture():
    async def story() -> None:
        queue = RequestQueue()
        queue.put(QUESTION)
        running = await queue.take()
        check = bounds_of(running, queue)
        check()
        queue.put({**QUESTION, "side": "b"})
        check()
        picture = {"kind": "picture", "side": "b", "step": "coarse"}
        queue.put(picture)
        with pytest.raises(Stopped):
            check()
        assert await queue.take() is picture, "the waiting strip is gone"
        assert len(queue) == 0
        queue.put(QUESTION)
        assert not queue.overtaken(picture)

    asyncio.run(story())


def test_an_exact_picture_is_given_up_at_once_and_a_coarse_one_after_its_time():
    async def story() -> list[bool]:
        queue, stopped = RequestQueue(), []
        for step in ("exact", "coarse"):
            picture = {"kind": "picture", "side": "a", "step": step}
            queue.put(picture)
            check = bounds_of(await queue.take(), queue)
            queue.put({**picture, "step": "coarse"})
            try:
                check()
            except Stopped:
                stopped.append(True)
            else:
                stopped.append(False)
        return stopped

    assert asyncio.run(story()) == [True, False]
