"""Settings of the whole test run, and the browser that checks the pages."""

from __future__ import annotations

import gc
import os
import signal
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest
from needs import launched
from playwright.sync_api import Browser, Playwright, sync_playwright
from workbench_process import BenchProcess

os.environ.setdefault("NUMBA_NUM_THREADS", str(max(2, os.cpu_count() or 1)))  # so that thread counts can be compared anywhere
os.environ.setdefault(
    "OMP_WAIT_POLICY", "passive"
)  # else a thread spins for 6 ms after each kernel, on a core that others want
gc.set_threshold(100_000, 20, 20)  # of millions of objects few die: looking seldom saves a part in 25
# A script's background, and all that it starts, ignores Ctrl-C; what `nohup` starts ignores that the terminal is gone.
signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)

CI = os.environ.get("CI") == "true"
ON_DEVICE = Path(__file__).parent / "gpu"
"""Tests that need a graphics processor."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """How many designs of each cut the tests on a graphics processor trace."""
    parser.addoption("--gpu-designs", type=int, default=200, help="random designs of each cut in tests/gpu (10000 for all)")


def why_no_device() -> str | None:
    """What is missing of a graphics processor; numba, which this imports, reads the variables above once."""
    from raylab.tracers.gpu import device

    return device.why_no_device()


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Tests on a graphics processor are collected only where there is one."""
    there = ON_DEVICE in (collection_path, *collection_path.parents)
    return True if there and why_no_device() is not None else None


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="module")
def browser(playwright: Playwright) -> Iterator[Browser]:
    try:
        found = launched(playwright)
    except FileNotFoundError as error:
        pytest.skip(f"pages are not checked in a browser: {error}")
    yield found
    found.close()


@pytest.fixture(scope="session")
def workbench() -> Iterator[BenchProcess]:
    """One server for all tests that leave it as they found it: it takes two seconds to start."""
    process = BenchProcess()
    yield process
    assert process.stop() == "", "the server had nothing to complain of"
    assert process.process.returncode == 0


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """One line for each reason to skip: how many tests, where, why; and one where the tests on a device were left out."""
    asked = [Path(arg.split("::")[0]).resolve() for arg in terminalreporter.config.args]
    if any(one in (ON_DEVICE, *ON_DEVICE.parents) for one in asked) and (reason := why_no_device()) is not None:
        terminalreporter.write_line(f"tests/gpu not collected: {reason}")
    files = defaultdict[str, list[str]](list)
    for report in terminalreporter.stats.get("skipped", ()):
        _, _, reason = report.longrepr
        files[reason.removeprefix("Skipped: ")].append(Path(report.location[0]).name)
    for reason, where in files.items():
        forbidden = "; CI=true allows no skipped test" if CI else ""
        terminalreporter.write_line(f"{len(where)} skipped in {', '.join(sorted(set(where)))}: {reason}{forbidden}")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A run of CI checks everything, so that a skipped test is an error there."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")  # the processes that -n starts have none
    if CI and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
