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
    from .color.eyes import eye_pair, with_head
    from .color.fire import chroma, fire_map
    from .color.picture import face_up_color, picture
    from .comparison.comparing import compare
    from .comparison.comparison import Comparison
    from .comparison.uncertainty import Estimate, propagate, statistics_of
    from .designs.gradients import gradient
    from .designs.optimising import Optimum, optimise
    from .errors import InputError, RaylabError, StoneError
    from .files import save_stone
    from .finishing.choosing import best_finishes, finish_grid
    from .finishing.cutting import LastFacets
    from .finishing.previewing import Preview, finish
    from .finishing.repolishing import repolish, what_if
    from .lighting.dome import Dome, Lamp, Zone
    from .lighting.scene import Scene
    from .lighting.scenefile import dome_names, load_dome, load_scene, load_stone
    from .lighting.view import View
    from .motion.paths import circling, rocking, turning
    from .motion.scintillation import flashing
    from .motion.tilting import tilt
    from .optics.absorption import load_tint
    from .optics.fresnel import critical_angle_deg, fresnel
    from .optics.materials import Material, get_material, materials
    from .optics.spectrum import wavelength_set
    from .pictures.color_files import save_color_png, save_linear_tiff
    from .pictures.drawing3d import view3d
    from .pictures.video import save_video
    from .raypath import RayPath, ray_path
    from .report import save_report
    from .stone.brilliant import round_brilliant
    from .stone.deviate import Offset, deviate
    from .stone.measure import Measurements, measure
    from .stone.plane_errors import Uncertainty
    from .stone.planes import Stone
    from .stone.scan import Scan, load_scan, stone_from_mesh
    from .stone.scanning.report import ScanReport
    from .sweeps.sweeping import sweep
    from .tracing import Result, trace, trace_scene

_HOME = {
    "Comparison": "comparison.comparison",
    "Dome": "lighting.dome",
    "Estimate": "comparison.uncertainty",
    "InputError": "errors",
    "Lamp": "lighting.dome",
    "LastFacets": "finishing.cutting",
    "Material": "optics.materials",
    "Measurements": "stone.measure",
    "Offset": "stone.deviate",
    "Optimum": "designs.optimising",
    "Preview": "finishing.previewing",
    "RayPath": "raypath",
    "RaylabError": "errors",
    "Result": "tracing",
    "Scan": "stone.scan",
    "ScanReport": "stone.scanning.report",
    "Scene": "lighting.scene",
    "Stone": "stone.planes",
    "StoneError": "errors",
    "Uncertainty": "stone.plane_errors",
    "View": "lighting.view",
    "Zone": "lighting.dome",
    "best_finishes": "finishing.choosing",
    "chroma": "color.fire",
    "circling": "motion.paths",
    "compare": "comparison.comparing",
    "critical_angle_deg": "optics.fresnel",
    "deviate": "stone.deviate",
    "dome_names": "lighting.scenefile",
    "eye_pair": "color.eyes",
    "face_up_color": "color.picture",
    "finish": "finishing.previewing",
    "finish_grid": "finishing.choosing",
    "fire_map": "color.fire",
    "flashing": "motion.scintillation",
    "fresnel": "optics.fresnel",
    "get_material": "optics.materials",
    "gradient": "designs.gradients",
    "load_dome": "lighting.scenefile",
    "load_scan": "stone.scan",
    "load_scene": "lighting.scenefile",
    "load_stone": "lighting.scenefile",
    "load_tint": "optics.absorption",
    "materials": "optics.materials",
    "measure": "stone.measure",
    "optimise": "designs.optimising",
    "picture": "color.picture",
    "propagate": "comparison.uncertainty",
    "ray_path": "raypath",
    "repolish": "finishing.repolishing",
    "rocking": "motion.paths",
    "round_brilliant": "stone.brilliant",
    "save_color_png": "pictures.color_files",
    "save_linear_tiff": "pictures.color_files",
    "save_report": "report",
    "save_stone": "files",
    "save_video": "pictures.video",
    "statistics_of": "comparison.uncertainty",
    "stone_from_mesh": "stone.scan",
    "sweep": "sweeps.sweeping",
    "tilt": "motion.tilting",
    "trace": "tracing",
    "trace_scene": "tracing",
    "turning": "motion.paths",
    "view3d": "pictures.drawing3d",
    "wavelength_set": "optics.spectrum",
    "what_if": "finishing.repolishing",
    "with_head": "color.eyes",
}

__version__ = "0.1.0"
__all__ = [
    "Comparison",
    "Dome",
    "Estimate",
    "InputError",
    "Lamp",
    "LastFacets",
    "Material",
    "Measurements",
    "Offset",
    "Optimum",
    "Preview",
    "RayPath",
    "RaylabError",
    "Result",
    "Scan",
    "ScanReport",
    "Scene",
    "Stone",
    "StoneError",
    "Uncertainty",
    "View",
    "Zone",
    "__version__",
    "best_finishes",
    "chroma",
    "circling",
    "compare",
    "critical_angle_deg",
    "deviate",
    "dome_names",
    "eye_pair",
    "face_up_color",
    "finish",
    "finish_grid",
    "fire_map",
    "flashing",
    "fresnel",
    "get_material",
    "gradient",
    "load_dome",
    "load_scan",
    "load_scene",
    "load_stone",
    "load_tint",
    "materials",
    "measure",
    "optimise",
    "picture",
    "propagate",
    "ray_path",
    "repolish",
    "rocking",
    "round_brilliant",
    "save_color_png",
    "save_linear_tiff",
    "save_report",
    "save_stone",
    "save_video",
    "statistics_of",
    "stone_from_mesh",
    "sweep",
    "tilt",
    "trace",
    "trace_scene",
    "turning",
    "view3d",
    "wavelength_set",
    "what_if",
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
