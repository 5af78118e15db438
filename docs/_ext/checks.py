"""The directive ``{checks} MODULE``: the checks of one file of tests/validation, with their sources, as their docstrings say.

What each was off when last measured stands in docs/shown/checks.csv, which docs/make_shown.py writes.
"""

from __future__ import annotations

import ast
import csv
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

if TYPE_CHECKING:
    from sphinx.application import Sphinx

HERE = Path(__file__).parents[1]
CHECKS = HERE.parent / "tests" / "validation"
MEASURED = HERE / "shown" / "checks.csv"


def described(module: str) -> dict[str, str]:
    """Name and docstring of each check of a module, read without running it."""
    tree = ast.parse((CHECKS / f"{module}.py").read_text(encoding="utf-8"))
    functions = [node for node in tree.body if isinstance(node, ast.FunctionDef)]
    marked = [one for one in functions if any(isinstance(d, ast.Name) and d.id == "check" for d in one.decorator_list)]
    return {one.name: " ".join((ast.get_docstring(one) or "").split()) for one in marked}


def measured() -> dict[str, float]:
    """By "module.check", how many of its tolerances it was off."""
    if not MEASURED.exists():
        return {}
    with MEASURED.open(newline="", encoding="utf-8") as lines:
        return {f"{row['module']}.{row['check']}": float(row["tolerances"]) for row in csv.DictReader(lines)}


class Checks(SphinxDirective):
    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        module, found = self.arguments[0], measured()
        self.env.note_dependency(str(MEASURED))
        self.env.note_dependency(str(CHECKS / f"{module}.py"))
        lines = ["| what is checked, source, tolerance | off by |", "|---|---|"]
        for name, text in described(module).items():
            off = found.get(f"{module}.{name}")
            lines.append(f"| {_plain(text)} | {'' if off is None else f'{off:.2g}'} |")
        return self.parse_text_to_nodes("\n".join(lines))


def _plain(text: str) -> str:
    """A docstring as a cell of a Markdown table: nothing but code in backticks means anything."""
    parts = text.replace("``", "`").split("`")
    return "".join(f"`{part}`" if k % 2 else re.sub(r"([|*_^$<\[\]])", r"\\\1", part) for k, part in enumerate(parts))


def setup(app: Sphinx) -> dict[str, Any]:
    app.add_directive("checks", Checks)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
