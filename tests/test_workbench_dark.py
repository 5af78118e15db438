"""Dark areas for the page, without a browser."""

from __future__ import annotations

import numpy as np
import pytest
from workbench_process import unpack

import raylab as rl
from raylab.results.dark_areas import DarkAreas
from raylab.results.statistics import Statistic
from raylab.scene.pixel_grid import PixelGrid
from raylab.workbench.answers import STEPS, Answerer
from raylab.workbench.dark_facts import outline_of
from raylab.workbench.design_json import DEMO, stone_of

DOME = rl.load_dome("head-shadow")


def test_the_page_gets_what_the_library_says():
    question = {"kind": "dark", "id": 1, "side": "a", "step": "exact", "design": DEMO, "dome": DOME.name}
    header, arrays = unpack(Answerer({DOME.name: DOME}).answer(question))
    settings, resolution = STEPS["exact"]
    found = rl.dark_areas(rl.trace_scene(rl.Scene(stone_of(DEMO), DOME, rl.View(), settings, resolution), by_facet=False))
    assert header["dark"] == {**found.to_dict(), "values": pytest.approx(found.to_dict()["values"], abs=1e-9)}
    assert arrays["outline"].shape[1] == 4
    low, high = arrays["outline"][:, ::2].min(), arrays["outline"][:, ::2].max()
    assert (low, high) == pytest.approx(found.extent_mm[:2], abs=1e-5)


def test_an_outline_runs_between_the_area_and_what_is_around_it():
    where = np.zeros((3, 4), bool)
    where[0, 1:3] = True  # two pixels beside each other, at the lower edge
    one = Statistic(0.0, 0.0, 0.0)
    found = DarkAreas(0.5, 0.2, one, (0.0, 0.0), (0.0,) * 4, where, PixelGrid(10.0, 20.0, 2.0, 4), None, None, None)
    sides = {tuple(map(tuple, sorted([side[:2].tolist(), side[2:].tolist()]))) for side in outline_of(found)}
    below = {((12.0, 20.0), (14.0, 20.0)), ((14.0, 20.0), (16.0, 20.0))}
    above = {((12.0, 22.0), (14.0, 22.0)), ((14.0, 22.0), (16.0, 22.0))}
    assert sides == below | above | {((12.0, 20.0), (12.0, 22.0)), ((16.0, 20.0), (16.0, 22.0))}
