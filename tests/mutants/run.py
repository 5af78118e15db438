"""Mutants of eight packages, by the library mutmut: ``python tests/mutants/run.py``.

mutmut changes one thing in one function at a time, and asks the tests whether they notice. What it changes and which tests it
asks stands in ``[tool.mutmut]`` of `pyproject.toml`. This script asks for each mutant only tests that run its function, the
quickest first, up to `BUDGET_S` seconds of them: a mutant that survives may yet be caught by the rest of the tests.

Left out by rule are: what an error or a warning says (by mutmut's own patterns), and mutants that change nothing but the
letters of a text with a space in it, or the name or unit by which `number_in` and `whole_in` complain. mutmut itself makes no
mutants of annotations, docstrings, decorated functions (here: properties, one kernel, one reader) and code outside functions.

`equivalent.toml`, a file beside this one, lists mutants that are not counted, each with its reason: the result is the same, the
tool can't ask, or only the look of a picture changes.
"""

from __future__ import annotations

import argparse
import ast
import itertools
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections import defaultdict
from difflib import unified_diff
from fnmatch import fnmatchcase
from pathlib import Path
from random import Random
from textwrap import dedent

from mutmut.stats import status_by_exit_code

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
PACKAGES = ("results", "comparison", "color", "motion", "designs", "cutting", "report", "sweeps")
BESIDE = ("tests", "scenes", "benchmarks", "docs", "notebooks", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE")
BUDGET_S = 30.0
LEAST_CAUGHT = 0.95
STATS = "mutmut-stats.json"
CAUGHT = ("killed", "timeout", "segfault")
GENERATE = "import sys; from mutmut import __main__ as m; m.copy_src_dir(); m.create_mutants(int(sys.argv[1]))"


def prepared(place: Path, jobs: int) -> None:
    """A copy of the project with all mutants, in a folder as mutmut makes it."""
    shutil.rmtree(place, ignore_errors=True)
    copied(("raylab", "pyproject.toml"), place)
    copied((*BESIDE, "pyproject.toml"), place / "mutants")
    subprocess.run([sys.executable, "-c", GENERATE, str(jobs)], cwd=place, check=True, stdout=subprocess.DEVNULL)


def copied(names: tuple[str, ...], place: Path) -> None:
    """Copies of the project's folders and files."""
    place.mkdir(parents=True, exist_ok=True)
    leave = shutil.ignore_patterns("__pycache__", "_build", "api", "found", ".*")
    for name in names:
        source = ROOT / name
        shutil.copytree(source, place / name, ignore=leave) if source.is_dir() else shutil.copy(source, place)


def folder_of(package: str, place: Path) -> Path:
    """A folder with the same mutants for one more run of mutmut, which writes files of its own and asks the tests of today."""
    folder = place / "packages" / package
    shutil.rmtree(folder, ignore_errors=True)
    copied(("pyproject.toml",), folder)
    copied((*BESIDE, "pyproject.toml"), folder / "mutants")
    (folder / "raylab").symlink_to(place / "raylab")
    (folder / "mutants" / "raylab").symlink_to(place / "mutants" / "raylab")
    shutil.copy(place / "mutants" / STATS, folder / "mutants")
    return folder


def started(folder: Path, *words: str, **more: str) -> subprocess.Popen[bytes]:
    """A module of Python's started in a folder; numba's threads are of a kind that survives a fork."""
    settings = {"NUMBA_NUM_THREADS": "2", "NUMBA_THREADING_LAYER": "workqueue", "OPENBLAS_NUM_THREADS": "1", **more}
    return subprocess.Popen([sys.executable, "-m", *words], cwd=folder, env={**os.environ, **settings})


def measured(place: Path, jobs: int) -> None:
    """Write what mutmut wants to know of the tests: the quickest that run each function, up to the budget, and their times.

    A test that fails here, for what this machine lacks, is named and catches nothing.
    """
    reached = place / "reached"
    reached.mkdir()
    selection = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["mutmut"]["pytest_add_cli_args_test_selection"]
    words = ("pytest", "-p", "reached", "-n", str(jobs), "--dist", "worksteal", "-p", "no:cacheprovider", *selection)
    path = os.pathsep.join([str(place / "mutants"), str(HERE), os.environ.get("PYTHONPATH", "")])
    started(place / "mutants", *words, MUTANT_UNDER_TEST="stats", REACHED=str(reached), PYTHONPATH=path).wait()
    tests, time_s = defaultdict[str, set[str]](set), dict[str, float]()
    for file in reached.iterdir():
        found = json.loads(file.read_text())
        time_s |= found["time_s"]
        for function, names in found["tests"].items():
            tests[function].update(name for name in names if "\\" not in name)  # pytest doesn't find such a name again
        print(*(f"fails or is skipped here: {name}" for name in found["failed"]), sep="\n", end="")
    stats = {
        "tests_by_mangled_function_name": {function: quickest(names, time_s) for function, names in tests.items()},
        "duration_by_test": time_s,
        "stats_time": sum(time_s.values()),
    }
    (place / "mutants" / STATS).write_text(json.dumps(stats))


def quickest(tests: set[str], time_s: dict[str, float]) -> list[str]:
    """The quickest tests, up to the budget; at least one."""
    ordered = sorted(tests, key=lambda test: (time_s[test], test))
    sums = itertools.accumulate(time_s[test] for test in ordered)
    return [test for k, (test, sum_s) in enumerate(zip(ordered, sums, strict=True)) if k == 0 or sum_s <= BUDGET_S]


def verdicts(place: Path) -> dict[str, int | None]:
    """The exit code of each mutant's tests, by the mutant's name."""
    found: dict[str, int | None] = {}
    for file in sorted((place / "mutants" / "raylab").rglob("*.meta")):
        found |= json.loads(file.read_text())["exit_code_by_key"]
    return found


def sources(place: Path) -> dict[str, tuple[list[str], list[str]]]:
    """The lines of each mutant's function, and of the function as it is."""
    found = {}
    for file in sorted((place / "mutants" / "raylab").rglob("*.spans")):
        path = file.with_suffix("")
        module = ".".join(path.relative_to(place / "mutants").with_suffix("").parts).removesuffix(".__init__")
        lines = path.read_text().splitlines()
        spans = {name: lines[start - 1 : end] for name, (start, end) in json.loads(file.read_text())["spans"].items()}
        for name, mutant in spans.items():
            function, _, number = name.rpartition("__mutmut_")
            if number.isdigit():
                found[f"{module}.{name}"] = (mutant, spans[f"{function}__mutmut_orig"])
    return found


def without_texts(lines: list[str]) -> str:
    """A function as a tree, without its own name and without what only people read: the letters of texts that have a space in
    them, and the names and units that `number_in` and `whole_in` put into an error."""
    tree = ast.parse(dedent("\n".join(lines)))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("number_in", "whole_in"):
            node.args = node.args[1:4]
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value:
            node.value = " "
    tree.body[0].name = ""
    return ast.dump(tree)


def run(place: Path, names: list[str], jobs: int, limit_s: float) -> None:
    """Ask the tests about mutants: one run of mutmut for each package, all at once, each stopped after a while."""
    runs = []
    for package in PACKAGES:
        own = [name for name in names if name.startswith(f"raylab.{package}.")]
        if own:
            share = max(1, round(jobs * len(own) / len(names)))
            runs.append(started(folder_of(package, place), "mutmut", "run", "--max-children", str(share), *own))
    end = time.monotonic() + limit_s
    for process in runs:
        try:
            process.wait(max(0.0, end - time.monotonic()))
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGINT)
    for process in runs:
        process.wait()


def chosen(place: Path, packages: list[str], share: float, seed: int) -> list[str]:
    """The mutants to ask about: all of the packages but those that only people see, or a random share of them."""
    found = sources(place)
    names = [
        name
        for name in sorted(found)
        if name.split(".")[1] in packages and without_texts(found[name][0]) != without_texts(found[name][1])
    ]
    if share < 1.0:
        random = Random(seed)
        names = [name for name in names if random.random() < share]
    return names


def listed(name: str, change: list[str], known: list[dict[str, str]]) -> bool:
    """Whether a mutant is listed with a reason not to count it."""
    function = name.partition("__mutmut_")[0]
    return any(fnmatchcase(function, one["functions"]) and one["change"] in "\n".join(change) for one in known)


def difference(mutant: list[str], usual: list[str]) -> list[str]:
    """The changed lines, without the function's own first one."""
    lines = unified_diff(usual, mutant, lineterm="", n=0)
    return [line for line in lines if line[:1] in "+-" and line[:3] not in ("+++", "---") and "__mutmut_" not in line]


def report(place: Path, names: list[str], out: Path | None) -> bool:
    """Print a row for each package and each mutant that survived; whether enough are caught."""
    codes, code = verdicts(place), sources(place)
    known = tomllib.loads((HERE / "equivalent.toml").read_text())["mutant"]
    asked = [name for name in names if codes[name] is not None]
    survivors = {name: difference(*code[name]) for name in asked if verdict(codes[name]) not in CAUGHT}
    unlisted = {name: change for name, change in survivors.items() if not listed(name, change, known)}
    if out is not None:
        out.write_text(json.dumps({"codes": {name: codes[name] for name in names}, "survivors": survivors}, indent=0))
    enough = True
    print("package        mutants  caught  by a timeout      listed  survived  caught of the rest")
    for package in PACKAGES:
        own = [name for name in asked if name.startswith(f"raylab.{package}.")]
        if not own:
            continue
        late = sum(verdict(codes[name]) == "timeout" for name in own)
        alive = sum(name in unlisted for name in own)
        same = sum(name in survivors for name in own) - alive
        caught = len(own) - alive - same
        part = caught / max(1, caught + alive)
        enough &= part >= LEAST_CAUGHT
        print(f"{package:13s} {len(own):8d} {caught:7d} {late:13d} {same:11d} {alive:9d} {100 * part:18.1f} %")
    if len(asked) < len(names):
        print(f"not asked about: {len(names) - len(asked)} of {len(names)}")
    for name, change in unlisted.items():
        print(f"\n{name} ({verdict(codes[name])})", *change, sep="\n")
    return enough


def verdict(code: int | None) -> str:
    return status_by_exit_code[code]


def main() -> int:
    given = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    given.add_argument("--package", nargs="*", choices=PACKAGES, default=list(PACKAGES))
    given.add_argument("--share", type=float, default=1.0, help="ask about this share of the mutants, chosen at random")
    given.add_argument("--seed", type=int, default=0, help="of the choice")
    given.add_argument("--names", type=Path, help="a file with the names of the mutants to ask about, one a line")
    given.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="mutants at a time")
    given.add_argument("--place", type=Path, default=ROOT / "build" / "mutants", help="the folder of the copies")
    given.add_argument("--kept", action="store_true", help="go on in this folder: make no copies, and measure no tests")
    given.add_argument(
        "--only-prepare", action="store_true", help="make the copies and the mutants, measure the tests, and stop"
    )
    given.add_argument("--limit-s", type=float, default=1e6, help="ask about no more mutants after so many seconds")
    given.add_argument("--out", type=Path, help="a JSON file for the verdicts")
    asked = given.parse_args()
    if not asked.kept:
        prepared(asked.place, asked.jobs)
        measured(asked.place, asked.jobs)
    if asked.only_prepare:
        return 0
    names = asked.names.read_text().split() if asked.names else chosen(asked.place, asked.package, asked.share, asked.seed)
    run(asked.place, names, asked.jobs, asked.limit_s)
    return not report(asked.place, names, asked.out)


if __name__ == "__main__":
    raise SystemExit(main())
