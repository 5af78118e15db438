"""Scenes and virtual facets in one line, with the settings by keyword; and a scene file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from raylab.lighting.dome import Dome
from raylab.scene.scene import Scene
from raylab.scene.settings import TraceSettings
from raylab.scene.view import View
from raylab.stone.stone import Stone
from raylab.tracers.exact.beams import Beams
from raylab.tracers.exact.tracer import trace_beams
from raylab.units import SODIUM_D_NM

OF_THE_TRACER = ("max_beams", "wedge", "keep_paths", "threads")


SCENE = """\
schema = 1
[stone]
cut = "round brilliant"
table_pct = 57
crown_angle_deg = 34.5
pavilion_angle_deg = 40.75
girdle_facets = 32
[dome]
name = "head-shadow"
[output]
resolution = {}
"""


def scene_text(resolution: int) -> str:
    """A scene file, for commands; it ends within the section [output]."""
    return SCENE.format(resolution)


def scene_of(stone: Stone, dome: Dome, view: View | None = None, resolution: int = 512, **settings: Any) -> Scene:
    """A scene with some settings, by the names of `TraceSettings`."""
    return Scene(stone, dome, view or View(), TraceSettings(**settings), resolution)


def beams_of(
    stone: Stone,
    dome: Dome,
    view: View | None = None,
    *,
    wavelength_nm: float = SODIUM_D_NM,
    trace: Callable[..., Beams] = trace_beams,
    **options: Any,
) -> Beams:
    """The virtual facets of a scene by `trace_beams`, or by a broken one; settings and the tracer's own options by name."""
    own = {key: options.pop(key) for key in OF_THE_TRACER if key in options}
    return trace(scene_of(stone, dome, view, **options), wavelength_nm, **own)
