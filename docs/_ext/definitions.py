"""The directive ``{definitions} NAME``: a table of definitions as the library holds them; page and library can't differ."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

if TYPE_CHECKING:
    from sphinx.application import Sphinx

Table = tuple[tuple[str, ...], list[tuple[str, ...]]]


def maps() -> Table:
    from raylab.results.maps import DEFINITIONS

    return ("map", "unit", "definition"), [(f"`{name}`", unit, text) for name, (_, unit, text) in DEFINITIONS.items()]


def geometry() -> Table:
    from raylab.designs.design import GEOMETRY

    return ("variable", "unit", "meaning"), [(f"`{name}`", unit, text) for name, (text, unit) in GEOMETRY.items()]


def reasons() -> Table:
    from raylab.designs.design import REASONS

    return ("reason", "name", "meaning"), [(str(code), f"`{name}`", text) for code, (name, text) in enumerate(REASONS)]


def finishes() -> Table:
    from raylab.stone.finish import FINISHES

    return ("finish", "a facet with it"), [(f"`{name}`", text) for name, text in FINISHES.items()]


def domes() -> Table:
    import raylab as rl

    return ("dome", "description"), [(f"`{name}`", rl.load_dome(name).description) for name in rl.dome_names()]


def materials() -> Table:
    import raylab as rl

    rows = []
    for name in rl.materials():
        material = rl.get_material(name)
        rows.append((f"`{name}`", f"{material.n(589.3):.4f}", f"{material.density_g_cm3:g}", material.source, material.note))
    return ("material", "n at 589.3 nm", "g/cm³", "index from", "remark"), rows


TABLES: dict[str, Callable[[], Table]] = {
    table.__name__: table for table in (maps, geometry, reasons, finishes, domes, materials)
}


class Definitions(SphinxDirective):
    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        heads, rows = TABLES[self.arguments[0]]()
        rule = ["---"] * len(heads)
        lines = ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in (heads, rule, *rows)]
        return self.parse_text_to_nodes("\n".join(lines))


def setup(app: Sphinx) -> dict[str, Any]:
    app.add_directive("definitions", Definitions)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
