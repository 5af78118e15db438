"""The directive ``{commands}``: each command of the command line, from its own help."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING, Any

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

if TYPE_CHECKING:
    from sphinx.application import Sphinx

_OPTION = re.compile(r"(?<![\w-])(--[a-z][\w-]*)")
"""An option in running text."""


def markdown() -> str:
    """The help of all commands, one heading each, as the command line prints it."""
    from raylab.cli import app

    text = app.generate_docs(usage_name="raylab")
    text = text[text.index("\n## raylab ") :].replace(" *[default: False]*", "")
    text = re.sub(r"(?<=\nraylab )(\S+) -m \S+", r"\1", text)  # a usage line takes up how this process was started
    text = re.sub(r"\n\n((?: {4}raylab .*\n)+)", _example, text)
    parts = enumerate(text.split("`"))  # each second one is code
    return "`".join(part if k % 2 else _OPTION.sub(r"`\1`", part) for k, part in parts)


def _example(found: re.Match[str]) -> str:
    """An indented example as a block of shell."""
    return f"\n\n```sh\n{textwrap.dedent(found[1])}```\n"


class Commands(SphinxDirective):
    def run(self) -> list[nodes.Node]:
        return self.parse_text_to_nodes(markdown(), allow_section_headings=True)


def setup(app: Sphinx) -> dict[str, Any]:
    app.add_directive("commands", Commands)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
