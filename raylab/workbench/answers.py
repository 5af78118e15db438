"""Requests of the page and their answers: pictures with their numbers, and the path of one view ray.

Every request is complete (design, dome, tilt). An answer does not depend on earlier requests, and an interruption or a restart
loses nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..cutting.blocked import blocked_stone
from ..cutting.mains import mains_off
from ..errors import InputError, nearest
from ..lighting.dome import Dome
from ..results.maps import DEFINITIONS, fields_of, layer
from ..results.statistics import SYMMETRY
from ..results.statistics.goals import goal_of
from ..results.summary import Summary, summarize
from ..scene.pixel_grid import PixelGrid, grid_around
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..single_ray import ray_path
from ..stone.extent import extent_of
from ..stone.inclusions.inclusion_file import inclusion_tables
from ..stone.proportions import measure
from ..stone.recognition import recognized
from ..stone.stone import Stone
from ..tracers.engines import engine_for
from ..tracers.exact.beams import Beams
from ..tracers.exact.image import exact_image
from ..tracers.exact.tracer import trace_beams
from ..tracers.ledger import LEAK
from ..tracing import trace_scene
from .colors import map_range
from .dark_facts import dark_answer
from .derived_designs import FINISHED
from .design_json import rows_of, stone_of, stones_of
from .inclusion_facts import inclusion_answer, map_point, plot_answer
from .live_parts import live_light, live_stone
from .messages import encode
from .optical import light_through
from .own_domes import dome_of_page
from .questions import about, view_of
from .strips import strip

COARSE, EXACT = "coarse", "exact"
STEPS: dict[str, tuple[TraceSettings, int]] = {
    COARSE: (TraceSettings(precision=3e-2), 208),
    EXACT: (TraceSettings(), 512),
}
"""How a picture is traced while a slider moves and when it rests, and its pixels along a side. At rest it is traced as the
commands do it."""

MOST_MAPS = 4

LEAST_SHOWN = 0.02
"""A followed ray ends below this share of its weight: a longer path is not readable."""


@dataclass(frozen=True)
class Answerer:
    """Answers questions; `domes` by the names that pages know."""

    domes: Mapping[str, Dome]

    def answer(self, question: dict[str, Any]) -> bytes:
        """The answer to a question of the schema `questions.LINK` as one message; an error is one line in the message."""
        record = about(question)
        try:
            kind = KINDS.get(str(question.get("kind")))
            if kind is None:
                raise InputError("unknown kind of request", key="kind", value=question.get("kind"), expected=nearest("", KINDS))
            header, arrays = kind(self, question)
        except InputError as error:
            return encode({**record, "error": {"text": str(error), "key": error.key}})
        return encode({**record, **header}, arrays)

    def place(self, question: dict[str, Any]) -> Callable[[Stone, View], Scene]:
        """What puts a stone under a view in the light of a question, with its step's settings.

        Raises InputError for an unknown dome or step.
        """
        dome, step = dome_of_page(question, self.domes), str(question.get("step", EXACT))
        if step not in STEPS:
            raise InputError("unknown step", key="step", value=step, expected=nearest(step, STEPS))
        return lambda stone, view: Scene(stone, dome, view, *STEPS[step])

    def scene(self, question: dict[str, Any], stone: Stone) -> Scene:
        """A stone under the light and the view of a question."""
        return self.place(question)(stone, view_of(question))


def _picture(self: Answerer, question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Maps, statistics, and the stone's shape."""
    names = question.get("maps", [])
    if len(names) > MOST_MAPS or not all(name in DEFINITIONS for name in names):
        expected = f"at most {MOST_MAPS} of " + ", ".join(DEFINITIONS)
        raise InputError("unknown maps", key="maps", value=str(names)[:80], expected=expected)
    before, stone = stones_of(question.get("design"))
    scene = self.scene(question, stone)
    traced = _coarse(scene, names) if question.get("step") == COARSE else _exact(scene)
    arrays = {f"map {name}": np.asarray(traced.fields[name]) for name in names if name in traced.fields}
    ranges = {name.removeprefix("map "): map_range(name.removeprefix("map "), values) for name, values in arrays.items()}
    facet = _facet(stone, question.get("facet"))
    if traced.beams is None:  # a stone that scatters: no virtual facets, so nothing is known of single facets
        facet = None
    else:
        arrays["leaks"] = traced.beams.through[:, LEAK]
        if facet is not None:
            arrays["light"] = light_through(traced.beams, facet, traced.grid, scene)
    header = {
        "summary": traced.summary.to_dict(),
        "grid": {"x0_mm": traced.grid.x0_mm, "y0_mm": traced.grid.y0_mm, "pixel_mm": traced.grid.pixel_mm},
        "ranges": ranges,
        "exact": traced.beams is not None,
        "turn": scene.view.rotation().tolist(),
        "weight_ct": stone.weight_ct,
        "weight_before_ct": None if before is None else before.weight_ct,
        "mains_off": _mains_off(before) if question["design"]["kind"] == FINISHED else [],
        "facet": question.get("facet") if facet is not None else None,
        "shape": _shape(stone),
        "live": live_stone(stone) if question.get("live") else None,
        "measured": None if question.get("step") == COARSE else _measured(stone),
    }
    return header, {**arrays, **_corners(stone)}


@dataclass(frozen=True)
class _Traced:
    """What a picture needs of a trace; no `beams` from an engine that samples."""

    fields: Mapping[str, np.ndarray]
    summary: Summary
    grid: PixelGrid
    beams: Beams | None


def _exact(scene: Scene) -> _Traced:
    """The trace that everybody gets from `trace`."""
    result = trace_scene(scene, by_facet=False)
    return _Traced(
        {name: result.arrays.values(name) for name in result.arrays.names},
        result.summary,
        grid_around(scene.stone, scene.view, scene.resolution),
        result.beams[0] if result.beams else None,
    )


def _coarse(scene: Scene, names: Sequence[str]) -> _Traced:
    """The same without maps that are not shown, and without the symmetry statistic, whose rays would take longer than all the
    rest of a coarse picture. A stone that scatters is sampled with one ray a pixel."""
    if not engine_for(scene).exact:
        return _exact(scene.with_settings(samples=1))
    grid, wavelength_nm = grid_around(scene.stone, scene.view, scene.resolution), scene.settings.wavelength_nm
    beams = trace_beams(scene, wavelength_nm, goal=replace(goal_of(scene), early=False))
    image = exact_image(beams, grid, wavelength_nm, fields_of(names))
    summary = summarize(scene, [image], notes={SYMMETRY.key: "computed when the sliders rest"})
    return _Traced(layer(image), summary, grid, beams)


def _shape(stone: Stone) -> dict[str, Any]:
    """The facets of the stone for the page, in words and full precision."""
    return {
        "name": stone.name,
        "facets": rows_of(stone),
        "areas_mm2": stone.polyhedron.areas.tolist(),
        "size_mm": stone.size_mm.tolist(),
        "symmetry": vars(stone.symmetry),
        "cut": recognized(stone).cut or None,
        "measured": stone.measured,
        "inclusions": inclusion_tables(stone.inclusions),
        "inclusion_remarks": stone.inclusion_remarks(),
    }


def _corners(stone: Stone) -> dict[str, np.ndarray]:
    """What the page draws of the stone: corners, each facet's corners in turn, its plane."""
    body = stone.polyhedron
    corners = {"vertices": body.vertices, "loops": body.corners, "sizes": np.diff(body.starts)}
    return {**corners, "normals": stone.normals, "distances": stone.distances_mm}


def _mains_off(blocked: Stone | None) -> list[dict[str, Any]]:
    """The mains of a blocked stone that are off their tier's pattern by more than the usual uncertainty explains."""
    return [] if blocked is None else [main.to_dict() for main in mains_off(blocked_stone(blocked)) if main.off]


def _facet(stone: Stone, name: Any) -> int | None:
    """The number of the facet of this name, or None: a stone may have lost it since it was chosen."""
    return next((f for f in range(len(stone)) if stone.facet_name(f) == name), None) if name is not None else None


def _measured(stone: Stone) -> dict[str, Any]:
    """Measured proportions without their places: mean, extremes, spread, unit; the cut, and how surely its shape says it."""
    found = measure(stone)
    quantities = {key: {word: value for word, value in one.to_dict().items() if word != "values"} for key, one in found.items()}
    surely = None if found.recognition is None else str(found.recognition)
    about = {"cut": found.cut, "recognition": surely, "spread_mm2_per_ct": found.spread_mm2_per_ct}
    return {**about, **quantities, "extent": extent_of(stone)._asdict()}


def _ray(self: Answerer, question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """The path of the view ray through a point of the map."""
    scene = self.scene(question, stones_of(question.get("design"))[1])
    point = map_point(question)
    path = ray_path(scene, *point, min_weight=LEAST_SHOWN)
    return {"path": path.to_dict(), "x_mm": point[0], "y_mm": point[1]}, {}


def _strip(self: Answerer, question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """What a slider would do."""
    return strip(question, self.place(question)), {}


def _dark(self: Answerer, question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """The dark areas of the stone at rest."""
    return dark_answer(self.scene(question, stones_of(question.get("design"))[1]))


def _light(self: Answerer, question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """The light of the map that the browser traces, and its shaders."""
    return {"live": live_light(dome_of_page(question, self.domes))}, {}


def _plot(self: Answerer, question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """Where a click plots an inclusion."""
    return plot_answer(self.scene(question, stone_of(question.get("design"))), question), {}


def _inclusions(self: Answerer, question: dict[str, Any]) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """What is seen of the inclusions of the stone at rest."""
    return inclusion_answer(self.scene(question, stone_of(question.get("design")))), {}


Kind = Callable[[Answerer, dict[str, Any]], tuple[dict[str, Any], dict[str, np.ndarray]]]
KINDS: dict[str, Kind] = {
    "picture": _picture,
    "ray": _ray,
    "strip": _strip,
    "dark": _dark,
    "light": _light,
    "inclusions": _inclusions,
    "plot": _plot,
}
"""Kinds of request, by name."""
