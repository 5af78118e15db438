"""Every notebook is run in a kernel, from an empty namespace, as it stands but for the lengths of three series; each ends in
asserts on what it found."""

from __future__ import annotations

import ast
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import nbformat
import pytest
from jupyter_client.manager import start_new_kernel
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

import raylab as rl

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
PATIENCE_S = 240
"""For one cell; a notebook takes under a minute on an idle machine of two cores."""
SHORTER = {
    "2-pavilion-sweep": (("rl.steps(38.5, 43.5, 51)", "rl.steps(38.5, 43.5, 26)"), ("scan=31", "scan=16")),
    "3-crown-against-pavilion": (("rl.steps(31, 38, 8)", "rl.steps(32, 37, 6)"),),
    "8-many-designs": (('"number": 2048', '"number": 256, "processes": 1'),),
}
"""Series of so many designs that half of them, or a quarter, show the same."""


def read(path: Path) -> nbformat.NotebookNode:
    return nbformat.read(path, as_version=4)


def test_they_are_numbered_and_there_are_eight():
    assert [path.name[:2] for path in NOTEBOOKS] == [f"{k}-" for k in range(1, 9)]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_outputs_are_stripped_and_the_last_cell_asserts(path):
    cells = [cell for cell in read(path).cells if cell.cell_type == "code"]
    assert all(cell.outputs == [] and cell.execution_count is None for cell in cells)
    tree = ast.parse(cells[-1].source)
    assert any(isinstance(node, ast.Assert) for node in ast.walk(tree)) or "assert_" in cells[-1].source
    assert path.stat().st_size < 50_000


@pytest.fixture(scope="module")
def run() -> Iterator[Callable[[nbformat.NotebookNode], None]]:
    """Runs notebooks one after another in one kernel, which takes three seconds to start and to import raylab."""
    home = os.path.dirname(os.path.dirname(rl.__file__))
    path = os.pathsep.join(filter(None, (home, os.environ.get("PYTHONPATH", ""))))
    env = {**os.environ, "PYTHONPATH": path, "JUPYTER_PLATFORM_DIRS": "1"}
    manager, client = start_new_kernel(kernel_name="python3", cwd=str(FOLDER), env=env)
    client.stop_channels()

    def go(notebook: nbformat.NotebookNode) -> None:
        notebook.cells.insert(0, nbformat.v4.new_code_cell("%reset_selective -f ^[^_]"))
        NotebookClient(notebook, km=manager, timeout=PATIENCE_S).execute()

    yield go
    manager.shutdown_kernel(now=True)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_runs_and_finds_what_it_says(path, run):
    notebook = read(path)
    for long, short in SHORTER.get(path.stem, ()):
        cells = [cell for cell in notebook.cells if long in cell.source]
        assert cells, f"{long} is no longer in {path.name}"
        for cell in cells:
            cell.source = cell.source.replace(long, short)
    run(notebook)


def test_a_notebook_that_finds_something_else_fails(run):
    cells = [nbformat.v4.new_code_cell(text) for text in ("found = 1", "assert found == 2")]
    with pytest.raises(CellExecutionError, match="AssertionError"):
        run(nbformat.v4.new_notebook(cells=cells))


def test_nothing_is_left_of_the_notebook_before(run):
    run(nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("kept = 1")]))
    run(nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("assert 'kept' not in globals()")]))
