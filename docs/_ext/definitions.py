"""The directive ``{definitions} NAME``: a table as the library holds it, so that page and library can't differ.

Tables of one cut take the cut's name too: ``{definitions} parameters round brilliant``.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

if TYPE_CHECKING:
    from sphinx.application import Sphinx

    import raylab as rl

Table = tuple[tuple[str, ...], list[tuple[str, ...]]]


def maps() -> Table:
    from raylab.results.maps import DEFINITIONS

    return ("map", "unit", "definition"), [(f"`{name}`", unit, text) for name, (_, unit, text) in DEFINITIONS.items()]


def statistics() -> Table:
    from raylab.results.statistics import STATISTICS, SYMMETRY

    known = (*STATISTICS.values(), SYMMETRY)
    rows = [(f"`{one.key}`", one.unit, _titled(one.label, one.definition)) for one in known]
    return ("statistic", "unit", "definition"), rows


def geometry() -> Table:
    from raylab.designs.keys import GEOMETRY

    return ("variable", "unit", "meaning"), [(f"`{name}`", unit, text) for name, (text, unit) in GEOMETRY.items()]


def reasons() -> Table:
    from raylab.designs.keys import REASONS

    return ("reason", "name", "meaning"), [(str(code), f"`{name}`", text) for code, (name, text) in enumerate(REASONS)]


def engines() -> Table:
    from raylab.engine_table import ENGINES
    from raylab.tracers.engines import engine_named

    known = [engine_named(name) for name in ENGINES]
    return ("engine", "description"), [(f"`{one.name}`", one.description) for one in known]


def settings() -> Table:
    """The settings of a trace, with the words of `TraceSettings`."""
    from raylab.scene.settings import TraceSettings

    meaning = _attributes(TraceSettings)
    rows = [(f"`{one.name}`", f"{meaning[one.name]} Default: {_toml(one.default)}.") for one in fields(TraceSettings)]
    return ("key", "meaning"), rows


def cuts() -> Table:
    import raylab as rl

    rows = []
    for one in rl.cuts():
        mirror = "" if one.symmetry.mirror_deg is None else f"; a mirror at azimuth {one.symmetry.mirror_deg:g}°"
        rows.append((f"`{one.name}`", f"order {one.symmetry.order}{mirror}", one.description))
    return ("cut", "symmetry", "description"), rows


def parameters(name: str) -> Table:
    """What a [stone] table may state of a cut."""
    rows = []
    for one in _cut(name).parameters:
        if one.instead_of is not None:
            rule = f"In place of `{one.instead_of}`."
        elif one.default is not None:
            rule = f"Default: {_toml(one.default)}."
        else:
            rule = f"Left out: {one.unset}." if one.optional else "Required."
        rows.append((f"`{one.key}`", f"{_titled(one.label, one.description)}. Allowed: {one.span}. {rule}"))
    return ("key", "meaning"), rows


def tiers(name: str) -> Table:
    return ("tier", "side"), [(f"`{one.name}`", one.side) for one in _cut(name).tiers]


def measured(name: str) -> Table:
    """What is measured on stones of a cut, with the sources."""
    from raylab.stone.cuts.shared import OF_ANY_STONE

    every = (*OF_ANY_STONE, *_cut(name).measured)
    rows = [(f"`{one.key}`", one.unit, _titled(one.label, one.definition)) for one in every]
    return ("quantity", "unit", "definition"), rows


def finishes() -> Table:
    from raylab.stone.finish import FINISHES

    return ("finish", "a facet with this finish"), [(f"`{name}`", text) for name, text in FINISHES.items()]


def domes() -> Table:
    import raylab as rl

    return ("dome", "description"), [(f"`{name}`", rl.load_dome(name).description) for name in rl.dome_names()]


def materials() -> Table:
    import raylab as rl
    from raylab.optics.materials import other_names
    from raylab.units import SODIUM_D_NM

    rows = []
    for name in rl.materials():
        material = rl.get_material(name)
        n = f"{material.n(SODIUM_D_NM):.4f}"
        others = ", ".join(f"`{other}`" for other in other_names(name))
        rows.append((f"`{name}`", others, n, f"{material.density_g_cm3:g}", material.source, material.remark))
    return ("material", "other names", f"n at {SODIUM_D_NM} nm", "g/cm³", "index from", "remark"), rows


def _cut(name: str) -> rl.Cut:
    import raylab as rl

    return next(one for one in rl.cuts() if one.name == name)


def _titled(label: str, text: str) -> str:
    """A definition after the name that it explains."""
    return f"*{label}*: {text}"


def _attributes(kind: type) -> dict[str, str]:
    """What a class's docstring says of each attribute."""
    section = (inspect.getdoc(kind) or "").split("Attributes\n----------\n")[1].split("\n\n")[0]
    return {name: " ".join(words.split()) for name, words in re.findall(r"^(\w+) : (.*(?:\n +.*)*)", section, re.M)}


def _toml(value: object) -> str:
    """A value as a TOML file states it."""
    if value is None:
        return "none"
    text = str(value).lower() if isinstance(value, bool) else f'"{value}"' if isinstance(value, str) else str(value)
    return f"`{text}`"


_OF_RESULTS = (maps, statistics, geometry, reasons)
_OF_SCENES = (engines, settings, cuts, parameters, tiers, measured, finishes, domes, materials)
TABLES: dict[str, Callable[..., Table]] = {table.__name__: table for table in (*_OF_RESULTS, *_OF_SCENES)}


class Definitions(SphinxDirective):
    required_arguments = 1
    optional_arguments = 1
    final_argument_whitespace = True

    def run(self) -> list[nodes.Node]:
        name, *of = self.arguments
        heads, rows = TABLES[name](*of)
        rule = ["---"] * len(heads)
        lines = ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in (heads, rule, *rows)]
        return self.parse_text_to_nodes("\n".join(lines))


def setup(app: Sphinx) -> dict[str, Any]:
    app.add_directive("definitions", Definitions)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
