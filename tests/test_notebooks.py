"""Every notebook is run, as it stands, in a kernel of its own; each ends in asserts on what it found."""

from __future__ import annotations

import ast
import os
import sys
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

import raylab as rl

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
PATIENCE_S = 240
"""For one cell; a notebook takes under a minute on an idle machine of two cores."""


def read(path: Path) -> nbformat.NotebookNode:
    return nbformat.read(path, as_version=4)


def test_they_are_numbered_and_there_are_six():
    assert [path.name[:2] for path in NOTEBOOKS] == [f"{k}-" for k in range(1, 7)]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_outputs_are_stripped_and_the_last_cell_asserts(path):
    cells = [cell for cell in read(path).cells if cell.cell_type == "code"]
    assert all(cell.outputs == [] and cell.execution_count is None for cell in cells)
    tree = ast.parse(cells[-1].source)
    assert any(isinstance(node, ast.Assert) for node in ast.walk(tree)) or "assert_" in cells[-1].source
    assert path.stat().st_size < 50_000


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_runs_and_finds_what_it_says(path, monkeypatch):
    home = os.path.dirname(os.path.dirname(rl.__file__))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(filter(None, (home, os.environ.get("PYTHONPATH", "")))))
    monkeypatch.setenv("JUPYTER_PLATFORM_DIRS", "1")
    assert sys.executable
    NotebookClient(read(path), timeout=PATIENCE_S, resources={"metadata": {"path": str(FOLDER)}}).execute()
