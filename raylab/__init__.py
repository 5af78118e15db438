"""raylab: light performance of faceted stones, from the physics.

>>> import raylab as rl
>>> stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
>>> stone.material.name, len(stone)
('diamond', 153)

Everything public is a name of this module; each is imported when it is first used, so that ``import raylab`` is quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .color_picture import face_up_color, picture
    from .comparing import compare
    from .comparison import Comparison
    from .dome import Dome, Lamp, Zone
    from .drawing3d import view3d
    from .errors import InputError, RaylabError, StoneError
    from .eyes import eye_pair, with_head
    from .files import save_stone
    from .fire import chroma, fire_map
    from .gradients import gradient
    from .optics.fresnel import critical_angle_deg, fresnel
    from .optics.materials import Material, get_material, materials
    from .optimising import Optimum, optimise
    from .raypath import RayPath, ray_path
    from .report import save_report
    from .scene import Scene
    from .scenefile import dome_names, load_dome, load_scene, load_stone
    from .scintillation import flashing
    from .stone.brilliant import round_brilliant
    from .stone.measure import Measurements, measure
    from .stone.plane_errors import Uncertainty
    from .stone.planes import Stone
    from .sweeping import sweep
    from .tilting import tilt
    from .tracing import Result, trace, trace_scene
    from .uncertainty import Estimate, propagate, statistics_of
    from .video import circling, save_video
    from .view import View

_HOME = {
    "Comparison": "comparison",
    "Dome": "dome",
    "Estimate": "uncertainty",
    "InputError": "errors",
    "Lamp": "dome",
    "Material": "optics.materials",
    "Measurements": "stone.measure",
    "Optimum": "optimising",
    "RayPath": "raypath",
    "RaylabError": "errors",
    "Result": "tracing",
    "Scene": "scene",
    "Stone": "stone.planes",
    "StoneError": "errors",
    "Uncertainty": "stone.plane_errors",
    "View": "view",
    "Zone": "dome",
    "chroma": "fire",
    "circling": "video",
    "compare": "comparing",
    "critical_angle_deg": "optics.fresnel",
    "dome_names": "scenefile",
    "eye_pair": "eyes",
    "face_up_color": "color_picture",
    "fire_map": "fire",
    "flashing": "scintillation",
    "fresnel": "optics.fresnel",
    "get_material": "optics.materials",
    "gradient": "gradients",
    "load_dome": "scenefile",
    "load_scene": "scenefile",
    "load_stone": "scenefile",
    "materials": "optics.materials",
    "measure": "stone.measure",
    "picture": "color_picture",
    "propagate": "uncertainty",
    "optimise": "optimising",
    "ray_path": "raypath",
    "round_brilliant": "stone.brilliant",
    "save_report": "report",
    "save_stone": "files",
    "save_video": "video",
    "statistics_of": "uncertainty",
    "sweep": "sweeping",
    "tilt": "tilting",
    "trace": "tracing",
    "trace_scene": "tracing",
    "with_head": "eyes",
    "view3d": "drawing3d",
}

__version__ = "0.1.0"
__all__ = [
    "Comparison",
    "Dome",
    "Estimate",
    "InputError",
    "Lamp",
    "Material",
    "Measurements",
    "Optimum",
    "RayPath",
    "RaylabError",
    "Result",
    "Scene",
    "Stone",
    "StoneError",
    "Uncertainty",
    "View",
    "Zone",
    "__version__",
    "chroma",
    "circling",
    "compare",
    "critical_angle_deg",
    "dome_names",
    "eye_pair",
    "face_up_color",
    "fire_map",
    "flashing",
    "fresnel",
    "get_material",
    "gradient",
    "load_dome",
    "load_scene",
    "load_stone",
    "materials",
    "measure",
    "optimise",
    "picture",
    "propagate",
    "ray_path",
    "round_brilliant",
    "save_report",
    "save_stone",
    "save_video",
    "statistics_of",
    "sweep",
    "tilt",
    "trace",
    "trace_scene",
    "view3d",
    "with_head",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(importlib.import_module(f".{_HOME[name]}", __name__), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return __all__
