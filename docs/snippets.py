"""The code of a page: found, and run in the order in which it stands, in one folder and one Python session.

A block of ``python`` is run; with prompts (>>>) its output is compared with what the page shows. A block of ``sh`` is read
line by line: a line that starts with ``raylab`` is run, unless it names a HOST of the reader's; any other (an installation,
say) is left to the reader. A block of ``toml`` or ``text`` that begins with ``# file: NAME`` is written to that file. Blocks of
other kinds are not looked at.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import os
import re
import shlex
import textwrap
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parent
_BLOCK = re.compile(r"^(?P<fence>`{3,})(?P<kind>python|sh|toml|text)\n(?P<text>.*?)^(?P=fence)$", re.M | re.S)
_FILE = re.compile(r"# file: (?P<name>[\w./-]+)\n")


@dataclass(frozen=True)
class Block:
    """One block of a page: its kind, its text, and the line of the page on which the text begins."""

    kind: str
    text: str
    line: int


@dataclass
class Run:
    """What running a page left behind: its session's names, and what each command printed, by the command."""

    names: dict[str, Any] = field(default_factory=lambda: {"__name__": "__page__"})
    printed: dict[str, str] = field(default_factory=dict)


def pages() -> list[Path]:
    """README.md, the gallery and every page that has blocks to run."""
    written = [path for path in sorted(HERE.rglob("*.md")) if "_build" not in path.parts]
    return [path for path in [ROOT / "README.md", ROOT / "renders" / "GALLERY.md", *written] if list(blocks(path))]


def blocks(page: Path) -> Iterator[Block]:
    text = page.read_text(encoding="utf-8")
    for found in _BLOCK.finditer(text):
        yield Block(found["kind"], found["text"], text.count("\n", 0, found.start("text")) + 1)


def commands(block: Block) -> Iterator[list[str]]:
    """The arguments of each ``raylab`` command of a block of ``sh``."""
    for line in block.text.replace("\\\n", " ").splitlines():
        words = shlex.split(line, comments=True)
        if words[:1] == ["raylab"]:
            yield words[1:]


def run(
    page: Path, folder: Path, *, smaller: Callable[[Block], Block] = lambda block: block, skip: tuple[str, ...] = ()
) -> Run:
    """Run a page's blocks in a folder, in which the repository's scenes lie.

    Parameters
    ----------
    smaller : what makes a block quicker. skip : commands that are parsed but not run, by name or with all their words.

    Raises AssertionError, naming page and line, for an output that differs and a command that fails.
    """
    left, todo = Run(), [smaller(block) for block in blocks(page)]
    if not (folder / "scenes").exists():
        (folder / "scenes").symlink_to(ROOT / "scenes")
    with _inside(folder):
        for block in todo:
            where = f"{page.name}, line {block.line}"
            if block.kind == "python":
                _python(block, where, left.names)
            elif block.kind == "sh":
                for argv in commands(block):
                    left.printed[" ".join(argv)] = _command(argv, where, skip)
            elif found := _FILE.match(block.text):
                Path(found["name"]).write_text(block.text[found.end() :], encoding="utf-8")
    return left


@contextlib.contextmanager
def _inside(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def _python(block: Block, where: str, names: dict[str, Any]) -> None:
    if ">>>" not in block.text:
        exec(compile("\n" * (block.line - 1) + block.text, where, "exec"), names)
        return
    test = doctest.DocTestParser().get_doctest(textwrap.dedent(block.text), names, where, where, block.line)
    told = io.StringIO()
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    runner.run(test, out=told.write, clear_globs=False)
    names.update(test.globs)
    assert runner.failures == 0, told.getvalue()


def _command(argv: list[str], where: str, skip: tuple[str, ...]) -> str:
    from raylab.cli import app, main

    elsewhere = any("//HOST:" in word for word in argv)  # a host of the reader's
    if elsewhere or argv[0] in skip or " ".join(argv) in skip:
        app.parse_args(argv, exit_on_error=False, print_error=False)
        return ""
    told, refused = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(refused):
        code = main(argv)
    assert code == 0, f"{where}: raylab {' '.join(argv)}: {refused.getvalue()}"
    return told.getvalue()
