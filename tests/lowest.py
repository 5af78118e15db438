"""Test raylab with the lowest versions that pyproject.toml states: ``python3 tests/lowest.py``.

The script makes `.venv-lowest`, installs the lowest versions there by `uv`, and runs the tests but those of the files with the
longest: by the times of the last full run of `run.py`, all together take at most `MOST_S`, and `TOUCHES` are among them. Where
there was no such run, those of `TOUCHES` alone are run; with ``--all``, every test. It takes Python 3.13 where the machine has
it, since `run.py` tests the newest versions in the Python that runs it; with ``--python python3.12`` another. Where that one is
missing it says so, and that is no fault.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

from steps import ROOT, TIMES, side_by_side

OTHER = "python3.13"
"""The Python to take where there is a choice."""

TOUCHES = {
    "tests/test_materials.py": ("numpy",),
    "tests/test_mesh_file.py": ("trimesh", "networkx", "lxml"),
    "tests/test_files.py": ("xarray", "h5netcdf", "h5py", "tifffile"),
    "tests/test_sky_image.py": ("imageio",),
    "tests/test_plots.py": ("matplotlib", "numba", "scipy"),
    "tests/test_video.py": ("pillow", "av"),
    "tests/test_view3d.py": ("pyvista",),
    "tests/test_report.py": ("jinja2",),
    "tests/test_sweep_file.py": ("rich", "cyclopts"),
    "tests/test_workbench.py": ("pydantic",),
    "tests/test_workbench_attacked.py": ("starlette", "uvicorn", "websockets"),
    "tests/test_explorer.py": ("anywidget",),
    "tests/test_sweep.py::test_a_cluster_changes_no_bit": ("dask",),
    "tests/test_sweep_resume.py::test_a_result_in_pieces_is_the_same_result": ("zarr",),
}
"""Tests that use what raylab needs, with the packages for which each stands here; each package has one
(`test_run.py::test_each_dependency_is_tested_in_its_lowest_version`)."""


MOST_S = 240.0
"""Of all tests together, as the full run before took for each: two processes need half of it."""


def main(arguments: list[str]) -> int:
    """Exit code of the first step that fails, 0 if none does."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--python")
    asked = parser.parse_args(arguments)
    interpreter = found(asked.python) if asked.python else found(OTHER) or sys.executable
    if interpreter is None:
        print(f"lowest.py: no {asked.python} on this machine: nothing is tested with it")
        return 0
    place = ROOT / ".venv-lowest"
    python = place / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    # numba's index of a folder holds one version of numba only.
    os.environ |= {"NUMBA_CACHE_DIR": str(place / "kernels"), "VIRTUAL_ENV": str(place), **index()}
    tests = ["tests"] if asked.all else but_the_longest() if TIMES.exists() else list(TOUCHES)
    steps: list[list[list[str | Path]]] = [
        [[interpreter, "-m", "venv", "--clear", place]],
        [[python, "-m", "pip", "install", "-q", "uv"]],
        [[python, "-m", "uv", "pip", "install", "-q", "--resolution", "lowest-direct", "-e", ".[dev]"]],
        [[python, "tests/kernels.py", engine] for engine in ("beams", "rays")],
        [[python, "-m", "pytest", "-n", "2", "--dist", "worksteal", *tests]],
    ]
    return next((code for code in map(side_by_side, steps) if code), 0)


def but_the_longest() -> list[str]:
    """Arguments for pytest that leave long tests out, in a file: a command has no room for so many words."""
    times = times_in(TIMES.read_bytes())
    longest, place = too_long(times), TIMES.with_name("left-out.txt")
    place.write_text("\n".join(f"--deselect={test}" for test in longest), encoding="utf-8")
    kept = len(times) - len(longest)
    print(f"lowest.py: {kept} of {len(times)} tests; the others, of the files with the longest, in {place.relative_to(ROOT)}")
    return ["tests", f"@{place}"]


def times_in(report: bytes) -> dict[str, float]:
    """What each test took, s, from pytest's report in XML: its setup and what is torn down after it included."""
    cases = ElementTree.fromstring(report).iter("testcase")
    return {f"{case.attrib['file']}::{case.attrib['name']}": float(case.attrib["time"]) for case in cases}


def too_long(times: dict[str, float]) -> list[str]:
    """Tests without which the others take at most `MOST_S`; none of `TOUCHES`.

    Those of whole files, first the files whose tests take longest on average: the tests of a file may share a page, in the
    state to which earlier ones have brought it.
    """
    needed = {test for test in times if test.split("::")[0] in TOUCHES or test.split("[")[0] in TOUCHES}
    files: dict[str, list[str]] = {}
    for test in times.keys() - needed:
        files.setdefault(test.split("::")[0], []).append(test)
    took = {file: sum(times[test] for test in tests) for file, tests in files.items()}
    kept, left_out = sum(times[test] for test in needed), []
    for file in sorted(files, key=lambda file: (took[file] / len(files[file]), file)):
        kept += took[file]
        if kept > MOST_S:
            left_out += sorted(files[file])
    return left_out


def found(python: str) -> str | None:
    """The path of a Python that runs, or None. On PATH may stand a stand-in of pyenv, which knows where the real one is."""
    paths = [shutil.which(python)]
    if shutil.which("pyenv"):
        paths += subprocess.run(["pyenv", "whence", "--path", python], capture_output=True, text=True).stdout.splitlines()
    return next((path for path in paths if path and subprocess.run([path, "-V"], capture_output=True).returncode == 0), None)


def index() -> dict[str, str]:
    """The index that pip is set to use, if any, as uv wants to hear of it."""
    words = [sys.executable, "-m", "pip", "config", "get", "global.index-url"]
    found = os.environ.get("PIP_INDEX_URL") or subprocess.run(words, capture_output=True, text=True).stdout.strip()
    return {"UV_DEFAULT_INDEX": found} if found else {}


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
