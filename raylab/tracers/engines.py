"""Which engine traces a scene: the one that the scene asks for, or the first of the table that can."""

from __future__ import annotations

import importlib
from dataclasses import replace
from typing import cast

from ..engine_table import ENGINES
from ..errors import UnsupportedScene
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from .engine import Engine

_SAMPLES = "this work needs an exact engine, and the engine samples"


def engine_named(name: str) -> Engine:
    """The engine of a row of the table; its module is imported at first use."""
    return cast(Engine, importlib.import_module(ENGINES[name]).ENGINE)


def engine_for(scene: Scene, *, exact: bool = False) -> Engine:
    """The engine that traces a scene.

    Parameters
    ----------
    exact : only an engine without sampling error will do.

    Raises
    ------
    UnsupportedScene : the engine that the scene asks for can't trace it, or none of the table can; says why for each.
    """
    refusals = []
    for name in ENGINES if scene.settings.engine is None else (scene.settings.engine,):
        engine = engine_named(name)
        reason = _SAMPLES if exact and not engine.exact else engine.supports(scene)
        if reason is None:
            return engine
        refusals.append((name, reason))
    raise UnsupportedScene.by(*refusals)


def exact_only(settings: TraceSettings) -> TraceSettings:
    """Settings for many scenes that one exact engine traces, each at one wavelength; with the engine named, the table's first
    exact one if none is.

    Raises UnsupportedScene if they name an engine that samples, InputError for more than one wavelength.
    """
    if settings.engine is not None and not engine_named(settings.engine).exact:
        raise UnsupportedScene.by((settings.engine, _SAMPLES))
    return settled(settings)


def settled(settings: TraceSettings) -> TraceSettings:
    """Settings for many scenes that one engine traces, each at one wavelength; with the engine named, the table's first exact
    one if none is.

    Raises InputError for more than one wavelength.
    """
    exact = next(name for name in ENGINES if engine_named(name).exact)
    return replace(settings, engine=settings.engine or exact, wavelengths_nm=settings.wavelength_nm)


def exactly(scene: Scene) -> Scene:
    """The scene for work at one wavelength by an exact engine, which is then named in its settings.

    Raises UnsupportedScene where no exact engine can trace it, InputError for more than one wavelength.
    """
    return scene.with_settings(engine=engine_for(scene, exact=True).name, wavelengths_nm=scene.settings.wavelength_nm)
