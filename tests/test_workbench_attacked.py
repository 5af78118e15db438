"""The workbench and those who mean it harm, or whose software is broken: no answer ends the link, nobody else gets in."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest
from workbench_link import answers_to

from raylab.workbench.design_json import DEMO
from raylab.workbench.messages import encode
from raylab.workbench.questions import about

sys.path.insert(0, str(Path(__file__).parent / "fuzz"))

import run
from doors import DOORS

RAY: dict[str, Any] = {"kind": "ray", "id": 1, "side": "a", "design": DEMO, "dome": "head-shadow", "x_mm": 0, "y_mm": 0}
DEEP = "[" * 500 + "]" * 500


def ray(**values: str) -> str:
    """A question about a ray, with values as JSON."""
    written = {**{key: json.dumps(value) for key, value in RAY.items()}, **values}
    return "{" + ", ".join(f'"{key}": {value}' for key, value in written.items()) + "}"


# --- the link --------------------------------------------------------------------------------------------------------

FAULTY: dict[str, str | bytes] = {
    "half a character": '{"kind": "\\ud800"}',
    "half a character as id": ray(id='"\\udfff"'),
    "half a character as the stone's name": ray(design=json.dumps({**DEMO, "name": "N"}).replace('"N"', '"\\ud800"')),
    "half a character as a key": ray(**{"\\ud800": "1"}),
    "deep id": ray(id=DEEP),
    "deep kind": ray(kind=DEEP),
    "deep design": ray(design='{"kind": "facets", "facets": ' + DEEP + "}"),
    "less deep id": ray(id="[" * 150 + "]" * 150),
    "id of too many digits": ray(id="9" * 6000),
    "number of many digits": ray(x_mm="9" * 4000),
    "kind of no kind": ray(kind='{"a": 1}'),
    "side of no side": ray(side='"c"'),
    "unknown key": ray(tea="1"),
    "not a number": ray(y_mm="NaN"),
    "binary": ray().encode(),
    "binary nonsense": b"\xff\xfe\0",
    "empty": "",
}


def test_a_faulty_message_is_answered_in_a_line_and_the_link_lives():
    frames = [frame for faulty in FAULTY.values() for frame in (faulty, ray())]
    found = answers_to(frames)
    for name, faulty, good in zip(FAULTY, found[::2], found[1::2], strict=True):
        line = faulty["error"]["text"]
        assert line.isprintable(), name
        assert "internal error" not in line, name
        assert good["path"]["hits"], name
    known = dict(zip(FAULTY, found[::2], strict=True))
    assert known["side of no side"]["id"] == 1, "the page learns which question it was"
    assert known["less deep id"]["id"] is None


@pytest.mark.parametrize("value", ["\ud800", "x" * 61, "\n", [1], {}, 2**53, -(10**4000), float("nan"), float("inf"), None])
def test_only_plain_values_are_repeated(value):
    assert about({"id": value, "kind": "ray"}) == {"id": None, "kind": "ray", "side": None, "step": None}


def test_every_answer_is_utf8():
    assert b"a?b" in encode({"word": "a\ud800b"})


def test_random_messages_are_answered():
    door = next(number for number, door in enumerate(DOORS) if door.name == "link.json")
    assert [found for number in range(300) for found in run.run(door + number * len(DOORS), 1)] == []
