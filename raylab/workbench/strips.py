"""What a slider would do: the statistics of a design along the values of one key, with everything else as it is.

The page draws them below its sliders and against the tilt. It asks for the values of one after another while it rests. It
gets what is traced within a slice of time and asks again for the rest, so that other pages wait for no more than a slice, and a
picture for no more than the value in work. A value that gives no stone has no numbers.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from functools import cache, partial
from typing import Any, NamedTuple

import numpy as np

from ..designs.design import COLUMNS, row_of
from ..designs.keys import REASONS, reason_for
from ..errors import InputError, UnsupportedScene, nearest
from ..motion.tilting import path_of
from ..results.dark_areas import BAND_DEPTH, BAND_SHARE, LARGEST, NUMBERS, UNDEFINED
from ..results.statistics import STATISTICS
from ..results.statistics.brightness import BRIGHTNESS
from ..results.statistics.contrast import CONTRAST_RMS
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..tracers.engines import engine_for
from ..units import number_in
from .dark_facts import dark_areas_of_scene
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
DARK_SPANS = {LARGEST.key: 0.02, BAND_SHARE.key: 0.02, BAND_DEPTH.key: 0.1}
"""Numbers of dark areas that strips show where a question asks for one of them, and the least span of their scale. They take
the virtual facets of each value, which the statistics do without."""

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
    whether it stands above the maps, whether it is computed only for a question whose `number` it is."""
    return [
        {
            "key": key,
            "label": label,
            "unit": "ct" if key == WEIGHT else "",
            "of_view": key != WEIGHT,
            "definition": "weight of the stone" if key == WEIGHT else STATISTICS[key].definition,
            "span": span,
            "above": above,
            "asked": False,
        }
        for key, (label, span, above) in SHOWN.items()
    ] + [
        {
            "key": key,
            "label": NUMBERS[key].label,
            "unit": "",
            "of_view": True,
            "definition": NUMBERS[key].definition,
            "span": span,
            "above": False,
            "asked": True,
        }
        for key, span in DARK_SPANS.items()
    ]


class Point(NamedTuple):
    """The numbers of one value, by name.

    Attributes
    ----------
    numbers : NaN without a stone. errors : standard errors. brackets : certain ones, of numbers that have one instead.
    reason : why there is no stone; None where there is one.
    """

    numbers: dict[str, float]
    errors: dict[str, float]
    brackets: dict[str, list[float]]
    reason: str | None


def strip(question: Question, place: Place) -> dict[str, Any]:
    """The statistics `SHOWN` along `values` of `key`, as far as they are done; a negative tilt leans to the other side.

    A question whose `number` is one of `DARK_SPANS` gets those instead.

    Raises InputError for a key that neither the view nor the design has, and for values that are no numbers.
    """
    key, values = question.get("key", ""), _numbers(question.get("values", []))
    point = _darkness if question.get("number") in DARK_SPANS else _statistics
    begun_s, points = time.monotonic(), []
    for build in _scenes(question, key, values, place):
        points.append(point(build))
        if time.monotonic() - begun_s > SLICE_S:
            break
    return {
        "key": key,
        "values": values[: len(points)],
        "numbers": {name: [one.numbers[name] for one in points] for name in points[0].numbers},
        "errors": {name: [one.errors[name] for one in points] for name in points[0].errors},
        "brackets": {name: [one.brackets[name] for one in points] for name in points[0].brackets},
        "reasons": [one.reason for one in points],
    }


def _statistics(build: Callable[[], Scene]) -> Point:
    row = dict(zip(COLUMNS, row_of(build).tolist(), strict=True))
    code = int(row["reason"])
    errors = {name: row.get(f"{name}_error", 0.0) for name in SHOWN}
    return Point({name: row[name] for name in SHOWN}, errors, {}, REASONS[code][1] if code else None)


def _darkness(build: Callable[[], Scene]) -> Point:
    """The numbers `DARK_SPANS`; those of the band are undefined for a stone that isn't long."""
    found, reason = dict.fromkeys(DARK_SPANS, UNDEFINED), None
    try:
        found |= dark_areas_of_scene(build(), threads=1).statistics
    except UnsupportedScene:
        raise
    except InputError as error:
        reason = REASONS[reason_for(error)][1]
    return Point(
        {key: one.value for key, one in found.items()}, {}, {key: [one.low, one.high] for key, one in found.items()}, reason
    )


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
            yield partial(placed, place, stone, view)
        return
    if not isinstance(design, dict) or key not in design:
        known = (TILT, AZIMUTH, *(design if isinstance(design, dict) else ()))
        raise InputError("no key of the design", key="key", value=key[:60], expected=nearest(key, known))
    view = View(tilt_deg=tilt, tilt_azimuth_deg=azimuth)
    for value in values:
        yield partial(placed, place, partial(stone_of, {**design, key: value}), view)


def placed(place: Place, stone: Callable[[], Stone], view: View) -> Scene:
    """The scene of a value. One that no exact engine traces is sampled until its standard errors are those of a strip."""
    scene = place(stone(), view)
    engine = engine_for(scene)
    return scene if engine.exact else scene.with_settings(engine=engine.name, standard_error=SAMPLED_ERROR)
