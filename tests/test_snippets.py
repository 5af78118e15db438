"""Every piece of code in README.md and on the pages runs as it stands, but for sizes of pictures and lengths of series."""

from __future__ import annotations

import functools
import re
import shlex
import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

DOCS = Path(__file__).parents[1] / "docs"
sys.path.insert(0, str(DOCS))

import snippets  # noqa: E402

SMALL = 48
"""Pixels along a picture's side."""
SMALLER_COMMANDS = {
    "render": {"--resolution": SMALL},
    "color": {"--resolution": SMALL, "--spectrum": 3},
    "eyes": {"--resolution": SMALL, "--spectrum": 2},
    "tilt": {"--step-deg": 15},
    "film": {"--stills": 2, "--size": SMALL, "--spectrum": 2},
    "compare": {"--resolution": SMALL, "--precision": 0.2, "--known-to-pct": 45, "--no-looks": ""},
    "brillianteer": {"--precision": 0.1},
    "repolish": {"--precision": 0.1},
    "inclusion": {"--resolution": SMALL},
    "visibility": {"--resolution": SMALL, "--voxels": 16, "--rays": 20_000},
    "sweep": {"--processes": 1},
}
SMALLER_PYTHON = ((r"resolution=\d+", f"resolution={SMALL}"), (r"turning\(\d+\)", "turning(2)"))
NOT_RUN = ("workbench",)
"""A page for the browser, which runs until it is stopped."""


def smaller(block: snippets.Block, folder: Path) -> snippets.Block:
    """The block with the sizes above; outputs that a page shows are computed with the sizes that it shows."""
    if block.kind == "python" and ">>>" not in block.text:
        text = block.text
        for pattern, short in SMALLER_PYTHON:
            text = re.sub(pattern, short, text)
        return replace(block, text=text)
    if block.kind == "sh":
        return replace(
            block,
            text="\n".join(shlex.join(["raylab", *quick(short_sweep(argv, folder))]) for argv in snippets.commands(block)),
        )
    return block


def quick(argv: list[str]) -> list[str]:
    """A command's arguments with its options of size replaced."""
    wanted, kept, words = SMALLER_COMMANDS.get(argv[0], {}), [], iter(argv)
    for word in words:
        if word in wanted:
            next(words)
        else:
            kept.append(word)
    return [*kept, *(str(part) for option in wanted.items() for part in option if part != "")]


def short_sweep(argv: list[str], folder: Path) -> list[str]:
    """A shipped sweep's command, of a coarse copy with three values on each axis of many; any other as it is."""
    shipped = DOCS.parent / argv[1] if argv[0] == "sweep" else DOCS
    if not shipped.is_file():
        return argv
    short = folder / f"short-{shipped.name}"
    text = re.sub(r"number = \d+", "number = 3", shipped.read_text(encoding="utf-8"))
    short.write_text(f"{text}\n[sweep]\nprecision = 0.1\n", encoding="utf-8")
    return ["sweep", short.name, *argv[2:]]


def commands_of(pages: Iterable[Path], folder: Path) -> list[list[str]]:
    """All commands of pages, with the sizes above."""
    written = [smaller(block, folder) for page in pages for block in snippets.blocks(page)]
    return [argv for block in written if block.kind == "sh" for argv in snippets.commands(block)]


def run_before(page: Path, folder: Path) -> tuple[str, ...]:
    """Commands of earlier pages that ask the same of shipped files: a page that repeats one of them shows nothing new."""
    commands = commands_of(snippets.pages()[: snippets.pages().index(page)], folder)
    return tuple(" ".join(argv) for argv in commands if argv[0] == "compare" and (DOCS.parent / argv[1]).is_file())


@pytest.mark.parametrize("page", snippets.pages(), ids=lambda page: str(page.relative_to(DOCS.parent)))
def test_its_code_runs(page, tmp_path):
    skip = (*NOT_RUN, *run_before(page, tmp_path))
    snippets.run(page, tmp_path, smaller=functools.partial(smaller, folder=tmp_path), skip=skip)


def test_every_page_with_code_is_found():
    names = {page.name for page in snippets.pages()}
    assert {"README.md", "researcher.md", "cutter.md", "buyer.md", "physics.md", "files.md"} <= names


@pytest.mark.parametrize("text", [">>> 1 + 1\n3\n", "1 / 0\n"])
def test_wrong_code_is_noticed(text, tmp_path):
    page = tmp_path / "page.md"
    page.write_text(f"```python\n{text}```\n", encoding="utf-8")
    with pytest.raises((AssertionError, ZeroDivisionError)):
        snippets.run(page, tmp_path)


def test_a_wrong_command_is_noticed(tmp_path):
    page = tmp_path / "page.md"
    page.write_text("```sh\nraylab render no-such-scene.toml --out out\n```\n", encoding="utf-8")
    with pytest.raises(AssertionError, match="no-such-scene"):
        snippets.run(page, tmp_path)
    page.write_text("```sh\nraylab workbench --no-such-option\n```\n", encoding="utf-8")
    with pytest.raises(Exception, match="no-such-option"):
        snippets.run(page, tmp_path, skip=NOT_RUN)
