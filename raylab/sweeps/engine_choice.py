"""Which engine traces a sweep whose settings name none, and whether it builds the stones.

Sweeps are exact: numbers have brackets that hold for certain. Whoever states a standard error, and no statistic whose bracket
is to be narrow, says that numbers with errors serve. Where there are many designs and a device that traces them, its engine is
taken then: it reaches the same standard errors, by samples alone. What is taken stands in the result's attributes, and belongs
to the sweep: on another machine, without the device, the same call in the same folder is refused.
"""

from __future__ import annotations

from typing import Any

from ..designs.design import scene_of
from ..designs.keys import CUT, PARAMETERS
from ..designs.lots import builds_all
from ..designs.making import stone_of
from ..engine_table import ENGINES
from ..errors import InputError
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..stone.cuts import USUAL
from ..tracers.engine import BuildingEngine, DeviceEngine, Engine
from ..tracers.engines import engine_named
from .axes import Plan

MANY = 20_000
"""With fewer designs a device and its processes have hardly started before an exact engine is done with some of them."""
TRIED = 64
"""Designs of which one has to be a stone."""


def chosen(plan: Plan, settings: TraceSettings) -> str | None:
    """The engine that a sweep takes by itself in place of an exact one; None where it takes none."""
    exact = settings.standard_error is None or bool(settings.precision_of)
    if settings.engine is not None or exact or len(plan) <= MANY:
        return None
    for name in ENGINES:
        engine = engine_named(name)
        found = isinstance(engine, DeviceEngine) and engine.devices() > 0
        if found and builds_every(plan, engine) and _carries(plan, engine, settings):
            return name
    return None


def builds_every(plan: Plan, engine: Engine) -> bool:
    """Whether an engine builds the stones of all designs."""
    cuts = plan.stated(CUT) if CUT in plan.columns else [plan.fixed.get(CUT, USUAL)]
    return isinstance(engine, BuildingEngine) and builds_all(engine, set(cuts), (*plan.columns, *plan.fixed))


def _carries(plan: Plan, engine: Engine, settings: TraceSettings) -> bool:
    """Whether an engine can trace what the designs choose, such as a finish: asked of one stone for each choice."""
    choices = [key for key in plan.columns if key in PARAMETERS and PARAMETERS[key].choices]
    each: list[dict[str, Any]] = [{}, *({key: value} for key in choices for value in plan.stated(key))]
    scenes = [_scene(plan, choice, settings) for choice in each]
    return all(scene is not None and engine.supports(scene) is None for scene in scenes)


def _scene(plan: Plan, choice: dict[str, Any], settings: TraceSettings) -> Scene | None:
    """The first design that is a stone, with a choice of its own; None where none of the first is."""
    for design in plan.designs(0, TRIED):
        try:
            return scene_of(stone_of({**design, **choice}), design, settings)
        except InputError:
            continue
    return None
