"""Formulas as MathML, made when the pages are built: browsers draw it themselves, so no page loads a script from elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from docutils import nodes
from docutils.utils.math import MathError
from docutils.utils.math.latex2mathml import tex2mathml
from sphinx.util import logging

if TYPE_CHECKING:
    from sphinx.application import Sphinx
    from sphinx.writers.html5 import HTML5Translator

logger = logging.getLogger(__name__)


def _mathml(node: nodes.Element, *, block: bool) -> str:
    try:
        return tex2mathml(node.astext(), as_block=block)
    except MathError as error:
        logger.warning("formula not understood: %s", error, location=node)
        return ""


def inline(self: HTML5Translator, node: nodes.math) -> None:
    self.body.append(_mathml(node, block=False))
    raise nodes.SkipNode


def display(self: HTML5Translator, node: nodes.math_block) -> None:
    self.body.append(f'<div class="formula">{_mathml(node, block=True)}</div>\n')
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, Any]:
    app.add_html_math_renderer("mathml", (inline, None), (display, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
