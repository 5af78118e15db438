"""A plugin of pytest: which functions of mutmut's each test runs, and how long the test takes, in a file for each process.

mutmut finds this out by one process, one test after another; this way pytest-xdist can share the work.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from mutmut.state import state

time_s: dict[str, float] = {}
tests: dict[str, list[str]] = {}
failed: set[str] = set()


def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]) -> None:
    time_s[item.nodeid] = time_s.get(item.nodeid, 0.0) + call.duration
    if call.excinfo is not None:
        failed.add(item.nodeid)
    if call.when == "teardown":
        for function in state()._stats:
            if item.nodeid not in failed:
                tests.setdefault(function, []).append(item.nodeid)
        state()._stats.clear()


def pytest_sessionfinish() -> None:
    found = {"tests": tests, "time_s": time_s, "failed": sorted(failed)}
    Path(os.environ["REACHED"], f"{os.getpid()}.json").write_text(json.dumps(found))
