"""The directive ``{commands}``: each command of the command line, from its own help."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

if TYPE_CHECKING:
    from sphinx.application import Sphinx


def markdown() -> str:
    """The help of all commands, one heading each, as the command line prints it."""
    from raylab.cli import app

    text = app.generate_docs(usage_name="raylab")
    text = text[text.index("\n## raylab ") :].replace(" *[default: False]*", "")
    return re.sub(r"(?<=\nraylab )(\S+) -m \S+", r"\1", text)  # a usage line takes up how this process was started


class Commands(SphinxDirective):
    def run(self) -> list[nodes.Node]:
        return self.parse_text_to_nodes(markdown(), allow_section_headings=True)


def setup(app: Sphinx) -> dict[str, Any]:
    app.add_directive("commands", Commands)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
