"""The test run itself: what it brings to a machine, what it does without, and that nothing can hold it up."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import lowest
import needs
import pytest

ROOT = Path(__file__).parents[1]


def test_ci_runs_the_readmes_test_command():
    section = re.search(r"## Two commands.*?```sh\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    assert (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()[-1] == section[1].splitlines()[1]


def test_each_dependency_is_tested_in_its_lowest_version():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [one for name in ("3mf", "cluster", "notebook", "zarr", "video") for one in project["optional-dependencies"][name]]
    needed = [re.match(r"([\w.-]+)(?:\[\w+\])?>=[\d.]+$", one) for one in [*project["dependencies"], *extras]]
    assert all(needed), "each states a lowest version"
    tested = [package for packages in lowest.TOUCHES.values() for package in packages]
    assert sorted(tested) == sorted(one[1] for one in needed)
    assert all((ROOT / test.split("::")[0]).exists() for test in lowest.TOUCHES)


def test_files_with_the_longest_tests_are_left_out_of_the_lowest_run(monkeypatch):
    always = next(iter(lowest.TOUCHES))
    times = {
        f"{always}::test_long": 70.0,
        "tests/test_a.py::test_b[1-x]": 40.0,
        "tests/test_a.py::test_c": 2.0,
        "tests/test_d.py::test_e": 1.0,
        "tests/test_d.py::test_f": 3.0,
    }
    cases = "".join(
        f'<testcase classname="c" file="{test.split("::")[0]}" line="3" name="{test.split("::")[1]}" time="{seconds}" />'
        for test, seconds in times.items()
    )
    assert lowest.times_in(f'<testsuites><testsuite name="pytest">{cases}</testsuite></testsuites>'.encode()) == times
    for most_s, files in ((116.0, ""), (115.0, "a"), (74.0, "a"), (73.0, "da")):
        monkeypatch.setattr(lowest, "MOST_S", most_s)
        assert lowest.too_long(times) == [test for file in files for test in sorted(times) if f"test_{file}.py" in test]


def test_a_python_that_is_missing_is_said_and_no_fault(capsys):
    assert lowest.main(["--python", "python0.1"]) == 0
    assert capsys.readouterr().out == "lowest.py: no python0.1 on this machine: nothing is tested with it\n"


@pytest.mark.skipif(os.name == "nt", reason="scripts of a shell")
def test_a_python_behind_a_stand_in_is_found(tmp_path, monkeypatch):
    real = tmp_path / "versions" / "python9.9"
    real.parent.mkdir()
    for path, lines in (
        (real, "exit 0"),
        (tmp_path / "python9.9", "exit 127"),
        (tmp_path / "pyenv", f'[ "$1 $2 $3" = "whence --path python9.9" ] && echo "{real}"'),
    ):
        path.write_text(f"#!/bin/sh\n{lines}\n")
        path.chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert lowest.found("python9.9") == str(real)
    (tmp_path / "pyenv").unlink()
    assert lowest.found("python9.9") is None


# What a machine is given


APT = """#!/bin/sh
echo "${BY:-root} apt-get $*" >> "$PLACE/log"
for last; do :; done
case "$last" in
  "$REFUSED") echo "E: Unable to locate package $last"; exit 100;;
  update) ;;
  *) echo "#!/bin/sh" > "$PLACE/$last"; /bin/chmod +x "$PLACE/$last";;
esac
"""
DPKG_QUERY = """#!/bin/sh
for last; do :; done
[ -e "$PLACE/$last" ] && printf installed
"""
SUDO = """#!/bin/sh
shift
BY=sudo exec "$@"
"""


@pytest.fixture
def no_download(monkeypatch):
    """Playwright tries for some seconds before it says that nothing can be downloaded."""
    monkeypatch.setattr(needs, "download_browser", lambda: print("needs.py: no browser downloaded: no network"))


@pytest.fixture
def machine(tmp_path, monkeypatch):
    """A machine whose package manager is a few lines of shell, where nothing can be downloaded."""
    for name, text in (("apt-get", APT), ("dpkg-query", DPKG_QUERY)):
        (tmp_path / name).write_text(text)
        (tmp_path / name).chmod(0o755)
    (tmp_path / "env").symlink_to("/usr/bin/env")
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setenv("PLACE", str(tmp_path))
    monkeypatch.setenv("REFUSED", "nothing")
    monkeypatch.setenv("PLAYWRIGHT_BROWSERS_PATH", str(tmp_path / "downloads"))
    monkeypatch.setenv("PLAYWRIGHT_DOWNLOAD_HOST", "http://127.0.0.1:9")
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    return tmp_path


def asked(machine: Path) -> list[str]:
    """What the package manager was asked for, and by whom."""
    log = machine / "log"
    lines = log.read_text().splitlines() if log.exists() else []
    return [f"{line.split()[0]} {line.split()[-1]}" for line in lines]


PACKAGES = ["libegl1", "libgl1-mesa-dri", "xvfb", "xdotool", "chromium"]


def test_root_installs_what_is_missing_and_nothing_twice(machine, capsys):
    (machine / "xvfb").touch()
    needs.bring()
    assert asked(machine) == ["root update", *(f"root {package}" for package in PACKAGES if package != "xvfb")]
    assert capsys.readouterr().out == ""
    (machine / "log").unlink()
    needs.bring()
    assert asked(machine) == []


def test_any_browser_will_do(machine, capsys):
    for name in (*PACKAGES[:-1], "google-chrome"):
        (machine / name).touch(mode=0o755)
    needs.bring()
    assert (asked(machine), capsys.readouterr().out) == ([], "")


def test_a_user_installs_through_sudo_where_it_asks_for_no_password(machine, monkeypatch, capsys):
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    (machine / "sudo").write_text(SUDO)
    (machine / "sudo").chmod(0o755)
    (machine / "true").symlink_to("/usr/bin/true")
    needs.bring()
    assert asked(machine) == ["sudo update", *(f"sudo {package}" for package in PACKAGES)]
    assert capsys.readouterr().out == ""


def test_a_user_without_sudo_reads_what_is_missing_and_why(machine, no_download, monkeypatch, capsys):
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    needs.bring()
    assert asked(machine) == []
    packages, browser = capsys.readouterr().out.splitlines()
    assert packages == f"needs.py: {', '.join(PACKAGES)} not installed: apt-get needs root, or sudo without a password"
    assert browser == "needs.py: no browser downloaded: no network"


@pytest.mark.parametrize("lacking", ["xvfb", "chromium"])
def test_a_package_that_the_distribution_lacks_keeps_no_other_away(machine, no_download, monkeypatch, capsys, lacking):
    monkeypatch.setenv("REFUSED", lacking)
    needs.bring()
    assert all((machine / package).exists() for package in PACKAGES if package != lacking)
    first, *more = capsys.readouterr().out.splitlines()
    assert first == f"needs.py: {lacking} not installed: E: Unable to locate package {lacking}"
    assert [line.split(": ")[1] for line in more] == (["no browser downloaded"] if lacking == "chromium" else [])


def test_a_machine_without_debians_packages_goes_on(machine, capsys):
    (machine / "apt-get").unlink()
    (machine / "dpkg-query").unlink()
    needs.bring()
    (line,) = capsys.readouterr().out.splitlines()
    assert line.startswith("needs.py: no browser downloaded: Error: ")


# Runs of a few tests with the settings of this run


def run(folder: Path, text: str, *arguments: str, before: str = "", **environment: str) -> tuple[int, list[str]]:
    """Exit code and lines of a run of the tests in `text`, by a shell that can do something `before`."""
    (folder / "test_few.py").write_text(text)
    words = [sys.executable, "-m", "pytest", "-c", ROOT / "pyproject.toml", "--rootdir", folder, "-p", "conftest", *arguments]
    line = " ".join(f"'{word}'" for word in [*words, folder / "test_few.py"])
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("CI", "PYTEST"))}
    ended = subprocess.run(
        ["/bin/sh", "-c", before.format(line) if before else line],
        env={**kept, "PYTHONPATH": str(ROOT / "tests"), **environment},
        capture_output=True,
        text=True,
        timeout=120,
    )
    return ended.returncode, ended.stdout.splitlines()


def test_without_a_browser_one_line_names_the_skipped_tests_and_ci_fails(tmp_path):
    text = "def test_a(browser):\n    pass\n\ndef test_b(browser):\n    pass\n"
    elsewhere = {"PATH": "/nowhere", "PLAYWRIGHT_BROWSERS_PATH": str(tmp_path)}
    code, lines = run(tmp_path, text, "-n0", **elsewhere)
    (line,) = [line for line in lines if "browser" in line]
    assert line.startswith("2 skipped in test_few.py: pages are not checked in a browser: none of google-chrome, ")
    assert code == 0
    code, lines = run(tmp_path, text, "-n1", CI="true", **elsewhere)
    assert any(line.endswith("CI=true allows no skipped test") for line in lines)
    assert code == 1


INTERRUPTING = """
import signal, subprocess, sys

def test_child():
    words = [sys.executable, "-c", "import time; print('up', flush=True); time.sleep(60)"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as child:
        child.stdout.readline()
        child.send_signal(signal.SIGINT)
        try:
            assert child.wait(timeout=10) == -signal.SIGINT
        finally:
            child.kill()
"""


@pytest.mark.parametrize("processes", ["-n0", "-n1"])
def test_ctrl_c_reaches_what_the_tests_start_in_the_background_of_a_script(tmp_path, processes):
    """A shell starts a background command with Ctrl-C ignored, and every process inherits that."""
    assert run(tmp_path, INTERRUPTING, processes, before="{} & wait $!")[0] == 0


HANGING = """
import time
from numba import njit

def test_waits():
    time.sleep(100)

@njit("float64(float64)")
def computes(x):
    for k in range(10**13):
        x = (1.25 * x) % 1.7
    return x

def test_computes():
    assert computes(1.1) < 1.7

def test_other():
    pass
"""


def test_a_test_that_does_not_end_fails_and_the_others_run(tmp_path):
    """One waits; the other computes, and compiled code hears no alarm."""
    code, lines = run(tmp_path, HANGING, "-n1", "-o", "timeout=0.5", "-o", "faulthandler_timeout=1")
    assert any("crashed while running" in line and "test_computes" in line for line in lines)
    assert lines[-1].startswith("2 failed, 1 passed")
    assert code == 1


def test_every_test_has_a_limit(pytestconfig):
    assert 0 < float(pytestconfig.getini("timeout")) < float(pytestconfig.getini("faulthandler_timeout"))
