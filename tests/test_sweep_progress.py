"""The bar: rate and time left, in a terminal, in a notebook, and nothing where nobody looks."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

import raylab as rl
from raylab import progress as progress_bar
from raylab.progress import Pace, part_of, reporter


@pytest.fixture
def clock(monkeypatch):
    """A clock that a test sets."""
    now = [100.0]
    monkeypatch.setattr(progress_bar.time, "monotonic", lambda: now[0])
    return now


def test_rate_and_time_left_count_what_this_run_does(clock):
    """1000 designs of which an earlier run did 400: 100 in 5 s is 20 a second, and 500 more take 25 s."""
    pace = Pace("designs")
    assert pace.words(400, 1000) == "400 of 1000 designs"
    clock[0] += 5.0
    assert pace.words(500, 1000) == "500 of 1000 designs, 20 designs/s, 25 s left"
    clock[0] += 1000.0
    assert pace.words(600, 1000) == "600 of 1000 designs, 0.199 designs/s, 33 min 30 s left"
    assert Pace("designs").words(0, 38_500_000) == "0 of 38500000 designs"
    quick = Pace("designs")
    quick.words(0, 38_500_000)
    clock[0] += 100.0
    assert quick.words(10_345_678, 38_500_000) == "10345678 of 38500000 designs, 103457 designs/s, 4 min 32 s left"


def test_time_left_beyond_an_hour(clock):
    pace = Pace("designs")
    pace.words(0, 100)
    clock[0] += 100.0
    assert pace.words(1, 100).endswith("2 h 45 min left")


def test_a_share_of_the_work_is_reported_in_percent(clock):
    pace = Pace("tracing", counted=False)
    assert pace.words(0.2, 1.0) == "tracing: 20 %"
    clock[0] += 3.0
    assert pace.words(0.5, 1.0) == "tracing: 50 %, 5 s left"


def test_work_within_work_tells_a_part_of_the_whole():
    facts = []
    part = part_of(lambda done, total: facts.append((done, total)), 0.25, 0.5)
    for done in (0, 1, 4):
        part(done, 4)
    assert facts == [(0.25, 1.0), (0.375, 1.0), (0.75, 1.0)]


def test_a_function_gets_the_progress_and_none_gets_nothing():
    facts = []
    with reporter(lambda done, total: facts.append((done, total)), "designs") as update:
        update(1, 2)
    with reporter(False, "designs") as update:
        update(1, 2)
    assert facts == [(1, 2)]


def test_a_notebook_has_one_line_renewed_in_place(clock, monkeypatch):
    class Handle:
        def update(self, line, raw):
            lines.append(("update", line["text/plain"]))
            bars.append(line["text/html"])

    def display(line, raw, display_id):
        lines.append(("new", line["text/plain"]))
        return Handle()

    lines: list[tuple[str, str]] = []
    bars: list[str] = []
    monkeypatch.setattr(progress_bar, "_notebook", lambda: display)
    with reporter(True, "designs") as update:
        update(0, 10)  # nothing is shown of work shorter than a second
        for done in (2, 4, 6):
            clock[0] += 1.0
            update(done, 10)
        update(7, 10)  # not renewed at once
        update(10, 10)  # but at the end
    assert lines == [
        ("new", "4 of 10 designs, 2 designs/s, 3 s left"),
        ("update", "6 of 10 designs, 2 designs/s, 2 s left"),
        ("update", "10 of 10 designs, 3.33 designs/s, 0 s left"),
    ]
    assert 'max="1" value="0.600"' in bars[0]
    assert lines[1][1] in bars[0]


SCRIPT = """
import sys, time
from raylab.progress import reporter
with reporter(True, "designs") as update:
    for done in range(6):
        update(done, 5)
        time.sleep(float(sys.argv[1]))
"""


def run(terminal: bool, step_s: float = 0.3) -> str:
    """What a script's bar writes to its standard error, a real terminal or a pipe."""
    env = {**os.environ, "PYTHONPATH": str(Path(rl.__file__).parents[1]), "COLUMNS": "120", "TERM": "xterm"}
    command = [sys.executable, "-c", SCRIPT, str(step_s)]
    if not terminal:
        return subprocess.run(command, env=env, capture_output=True, text=True, check=True).stderr
    ours, theirs = pty.openpty()
    process = subprocess.Popen(command, env=env, stderr=theirs, stdout=theirs)
    os.close(theirs)
    seen = b""
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
        if not part:
            break
        seen += part
    os.close(ours)
    assert process.wait() == 0
    return seen.decode()


def test_a_terminal_shows_a_bar_with_rate_and_time_left():
    seen = run(terminal=True)
    assert "4 of 5 designs" in seen
    assert "designs/s" in seen
    assert "s left" in seen


def test_a_pipe_shows_nothing_of_short_work():
    assert run(terminal=False) == ""


def test_without_a_terminal_long_work_is_announced_and_tells_now_and_then_how_far_it_is(clock, capsys):
    with reporter(True, "designs") as update:
        for done in range(41):
            update(done, 40)
            clock[0] += 1.0
    with reporter(True, "angles") as update:  # 5 s in all: not long
        for done in range(6):
            update(done, 5)
            clock[0] += 1.0
    assert capsys.readouterr().err.splitlines() == [
        "raylab: 2 of 40 designs, 1 designs/s, 38 s left",
        "raylab: 13 of 40 designs, 1 designs/s, 27 s left",
        "raylab: 24 of 40 designs, 1 designs/s, 16 s left",
        "raylab: 35 of 40 designs, 1 designs/s, 5 s left",
    ]


def test_the_record_of_work_that_takes_days_stays_short(clock, capsys):
    """A line at each of the first hundred reports, then at every second one, and so on: a hundredth of the time so far."""
    with reporter(True, "designs") as update:
        for done in range(1001):
            update(done, 1000)
            clock[0] += 1000.0
    lines = capsys.readouterr().err.splitlines()
    assert lines[0].startswith("raylab: 1 of 1000 designs")
    assert len(lines) == pytest.approx(sum(100 / (k + 1) for k in range(10)), abs=5)


def test_short_work_shows_no_bar():
    assert run(terminal=True, step_s=0.01) == ""
