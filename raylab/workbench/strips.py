"""What a slider would do: the statistics of a design along the values of one key, with everything else as it is.

The page draws them below its sliders and against the tilt. It asks for the values of one after another while it rests. It
gets what is traced within a slice of time and asks again for the rest, so that other pages wait for no more than a slice, and a
picture for no more than the value in work. A value that gives no stone has no numbers.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial
from typing import Any

import numpy as np

from ..designs.design import COLUMNS, row_of
from ..designs.keys import REASONS
from ..errors import InputError, nearest
from ..motion.tilting import path_of
from ..results.statistics import STATISTICS
from ..results.statistics.brightness import BRIGHTNESS
from ..results.statistics.contrast import CONTRAST_RMS
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..tracers.engines import engine_for
from ..units import number_in
from .design_json import stone_of

WEIGHT = "weight_ct"
SHOWN = {
    BRIGHTNESS.key: ("brightness", 0.02, True),
    CONTRAST_RMS.key: ("contrast", 0.04, True),
    "leak": ("leak", 0.02, True),
    "window": ("seen straight through", 0.02, False),
    WEIGHT: ("weight", 0.01, True),
}
"""What strips show: the word for it, the least span of a strip's scale, so that no strip makes a mountain of the errors of
tracing, and whether it stands above the maps as well."""

MOST_VALUES = 65
SAMPLED_ERROR = 2e-3
"""Standard error to which brightness and contrast are sampled where no exact engine can trace a stone."""
SLICE_S = 0.25
"""Seconds after which an answer is given with the values that are done; at least one is."""

TILT, AZIMUTH = "tilt_deg", "tilt_azimuth_deg"

Question = dict[str, Any]
Place = Callable[[Stone, View], Scene]
"""Puts a stone under a view, in the light of the question."""


def shown_facts() -> list[dict[str, Any]]:
    """The numbers of strips as the page needs them: name, words, unit, whether the view changes it, least span of the scale,
    whether it stands above the maps."""
    return [
        {
            "key": key,
            "label": label,
            "unit": "ct" if key == WEIGHT else "",
            "of_view": key != WEIGHT,
            "definition": "weight of the stone" if key == WEIGHT else STATISTICS[key].definition,
            "span": span,
            "above": above,
        }
        for key, (label, span, above) in SHOWN.items()
    ]


def strip(question: Question, place: Place) -> dict[str, Any]:
    """The statistics `SHOWN` along `values` of `key`, as far as they are done; a negative tilt leans to the other side.

    Raises InputError for a key that neither the view nor the design has, and for values that are no numbers.
    """
    key, values = question.get("key", ""), _numbers(question.get("values", []))
    begun_s, rows = time.monotonic(), []
    for build in _scenes(question, key, values, place):
        rows.append(row_of(build))
        if time.monotonic() - begun_s > SLICE_S:
            break
    found = dict(zip(COLUMNS, np.array(rows).T, strict=True))
    return {
        "key": key,
        "values": values[: len(rows)],
        "numbers": {name: found[name].tolist() for name in SHOWN},
        "errors": {name: found[f"{name}_error"].tolist() if f"{name}_error" in found else [0.0] * len(rows) for name in SHOWN},
        "reasons": [None if code == 0 else REASONS[int(code)][1] for code in found["reason"]],
    }


def _numbers(values: Any) -> list[float]:
    if not isinstance(values, list) or not 1 <= len(values) <= MOST_VALUES:
        expected = f"a list of 1 to {MOST_VALUES} numbers"
        raise InputError("wrong number of values", key="values", value=np.size(values), expected=expected)
    return [number_in("values", value, -1e9, 1e9) for value in values]


def _scenes(question: Question, key: str, values: Iterable[float], place: Place) -> Iterator[Callable[[], Scene]]:
    """What builds the scene of each value; a stone whose view alone varies is built once."""
    design, tilt, azimuth = question.get("design"), question.get(TILT, 0.0), question.get(AZIMUTH, 0.0)
    if key in (TILT, AZIMUTH):
        stone = cache(partial(stone_of, design))
        for view in path_of(values if key == TILT else tilt, values if key == AZIMUTH else azimuth, 0.0):
            yield partial(_placed, place, stone, view)
        return
    if not isinstance(design, dict) or key not in design:
        known = (TILT, AZIMUTH, *(design if isinstance(design, dict) else ()))
        raise InputError("no key of the design", key="key", value=key[:60], expected=nearest(key, known))
    view = View(tilt_deg=tilt, tilt_azimuth_deg=azimuth)
    for value in values:
        yield partial(_placed, place, partial(stone_of, {**design, key: value}), view)


def _placed(place: Place, stone: Callable[[], Stone], view: View) -> Scene:
    """The scene of a value. One that no exact engine traces is sampled until its standard errors are those of a strip."""
    scene = place(stone(), view)
    engine = engine_for(scene)
    return scene if engine.exact else scene.with_settings(engine=engine.name, standard_error=SAMPLED_ERROR)
