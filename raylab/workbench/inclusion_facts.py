"""Inclusions for the page: where a click plots one, and what is seen of them.

A click on a map plots an inclusion through the facet that its view ray meets first; a click on the stone in 3D, through the
facet clicked. What is seen of them takes longer than a picture, so the page asks for it in the background, while nothing moves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from ..errors import InputError
from ..inclusions import inclusion_images
from ..scene.scene import Scene
from ..single_ray import ray_path
from ..stone.inclusions.inclusion import MOST
from ..stone.inclusions.inclusion_file import SIZES
from ..stone.inclusions.placing import plotted_at
from ..units import number_in

RESOLUTION = 256
"""Pixels along a side of the picture in which images are looked for: an image smaller than one of them may be missed."""
MOST_IMAGES = 12
"""So many images are listed, the strongest first."""


def shown_shapes() -> dict[str, Any]:
    """What the page needs of inclusions: by shape, the keys of its size, and how many a stone may have."""
    return {"sizes": SIZES, "most": MOST}


def plot_answer(scene: Scene, question: Mapping[str, Any]) -> dict[str, Any]:
    """The facet, by name, and the `at_mm` through which an inclusion is plotted: at `point_mm` (3,) of `facet`, where the
    question has these, else where the view ray through its `x_mm` and `y_mm` meets the stone.

    Raises InputError for an unknown facet, a point outside the stone, and numbers that are no point.
    """
    stone = scene.stone
    if question.get("point_mm"):
        names = [stone.facet_name(f) for f in range(len(stone))]
        facet, point = question.get("facet"), [number_in("point_mm", one, -1e6, 1e6, "mm") for one in question["point_mm"]]
        if facet not in names or len(point) != 3:
            raise InputError("no point of a facet", key="facet", value=facet, expected="a facet of the stone and a point of it")
        number, spot = names.index(facet), np.array(point)
    else:
        hits = ray_path(scene, *map_point(question), min_weight=1.0).hits
        if not hits:
            raise InputError("this point lies outside the stone", key="x_mm", expected="a point of the stone")
        number, spot = hits[0].facet, hits[0].point_mm
    return {"plotted": {"facet": stone.facet_name(number), "at_mm": list(plotted_at(stone, number, spot))}}


def map_point(question: Mapping[str, Any]) -> tuple[float, float]:
    """The point of the map plane that a question states, mm. Raises InputError where it states none."""
    x, y = question.get("x_mm"), question.get("y_mm")
    for key, value in (("x_mm", x), ("y_mm", y)):
        if value is None or not abs(value) < 1e6:
            raise InputError("not a position on the map", key=key, value=value, expected="a number of mm")
    return float(x), float(y)  # type: ignore[arg-type]  # checked


def inclusion_answer(scene: Scene) -> dict[str, Any]:
    """The strongest images of a stone's inclusions in a view, and what they take of its light.

    Raises InputError for a stone without inclusions.
    """
    found = inclusion_images(replace(scene, resolution=RESOLUTION))
    facts = found.to_dict()
    return {"inclusions": {**facts, "images": facts["images"][:MOST_IMAGES], "pixel_mm": float(found.maps.attrs["pixel_mm"])}}
