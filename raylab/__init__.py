"""raylab: how faceted stones handle light, computed from physics.

>>> import raylab as rl
>>> stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
>>> stone.material.name, len(stone)
('diamond', 153)

Everything public is a name of this module; each is imported when it is first used, so that ``import raylab`` is quick.

No import changes the state of the process. A script that traces many stones may run up to a tenth faster after one call of
`raylab.memory.keep_freed_memory`; the command line makes this call.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from .version import __version__

if TYPE_CHECKING:
    from .color.eyes import eye_pair, with_head
    from .color.fire import chroma, fire_map
    from .color.picture import color_picture, face_up_color
    from .color.wavelength_choice import WavelengthChoice
    from .comparison.comparing import compare
    from .comparison.comparison import Comparison
    from .comparison.uncertainty import Estimate, propagate, statistics_of
    from .cutting.choices import best_brillianteering, brillianteering_grid
    from .cutting.last_facets import LastFacets
    from .cutting.preview import Preview, brillianteer
    from .cutting.repolishing import repolish, what_if
    from .darkness import dark_areas
    from .designs.gradients import gradient
    from .errors import InputError, RaylabError, StoneError, UnsupportedScene
    from .fields import visibility
    from .files import save_stone
    from .inclusions import inclusion_images, inclusion_tilt
    from .lighting.dome import Dome, Lamp, Zone
    from .lighting.dome_file import dome_names, load_dome
    from .live.saving import save_show
    from .motion.scintillation import scintillation
    from .motion.tilting import tilt
    from .motion.view_paths import circling, rocking, turning
    from .notebook.explorer import Explorer, explore
    from .optics.absorption import load_tint
    from .optics.fresnel import critical_angle_deg, fresnel
    from .optics.materials import Material, get_material, materials
    from .optics.spectrum import wavelength_set
    from .pictures.color_files import save_color_png, save_linear_tiff
    from .pictures.drawing3d import view3d
    from .pictures.sweep_plots import sweep_figure
    from .pictures.video import save_video
    from .report import save_report
    from .results.visibility_field import VisibilityField
    from .scene.scene import Scene
    from .scene.scene_file import load_scene
    from .scene.settings import TraceSettings
    from .scene.view import View
    from .single_ray import RayPath, ray_path
    from .stone.cuts.baguette import baguette
    from .stone.cuts.cushion_brilliant import cushion_brilliant
    from .stone.cuts.cut import Cut
    from .stone.cuts.cut_cornered_brilliant import cut_cornered_brilliant
    from .stone.cuts.emerald_cut import emerald_cut
    from .stone.cuts.hexagonal_step_cut import hexagonal_step_cut
    from .stone.cuts.marquise_brilliant import marquise_brilliant
    from .stone.cuts.old_european_cut import old_european_cut
    from .stone.cuts.oval_brilliant import oval_brilliant
    from .stone.cuts.pear_brilliant import pear_brilliant
    from .stone.cuts.princess_cut import princess_cut
    from .stone.cuts.rose_cut import rose_cut
    from .stone.cuts.round_brilliant import round_brilliant
    from .stone.cuts.single_cut import single_cut
    from .stone.cuts.square_emerald_cut import square_emerald_cut
    from .stone.cuts.tapered_baguette import tapered_baguette
    from .stone.cuts.triangular_brilliant import triangular_brilliant
    from .stone.extent import azimuth_about
    from .stone.finish import Finish
    from .stone.inclusions.inclusion import Inclusion
    from .stone.inclusions.inclusion_file import load_inclusions
    from .stone.inclusions.placing import point_below
    from .stone.known_cuts import cut, cuts
    from .stone.measuring.plane_uncertainty import Uncertainty
    from .stone.offsets import Offset, deviate
    from .stone.proportions import Measurements, measure
    from .stone.rounding import rounded
    from .stone.scanning.report import ScanReport
    from .stone.scanning.scan import Scan, load_scan, stone_from_mesh
    from .stone.stone import Stone
    from .stone.stone_file import load_stone
    from .stone.symmetry_group import SymmetryGroup
    from .sweeps.axes import between, steps
    from .sweeps.conditions import LinearBound
    from .sweeps.optimizing import Optimum, optimize
    from .sweeps.pareto import pareto
    from .sweeps.profiles import profile
    from .sweeps.results import load_sweep
    from .sweeps.sensitivity import sobol_indices, variance_shares
    from .sweeps.surrogates import Surrogate, surrogate
    from .sweeps.sweeping import sweep
    from .sweeps.swept import Sweep
    from .tracing import Result, trace, trace_scene
    from .voxel_files import save_visibility

_HOME = {
    "Comparison": "comparison.comparison",
    "Cut": "stone.cuts.cut",
    "Dome": "lighting.dome",
    "Estimate": "comparison.uncertainty",
    "Explorer": "notebook.explorer",
    "Finish": "stone.finish",
    "Inclusion": "stone.inclusions.inclusion",
    "InputError": "errors",
    "Lamp": "lighting.dome",
    "LastFacets": "cutting.last_facets",
    "LinearBound": "sweeps.conditions",
    "Material": "optics.materials",
    "Measurements": "stone.proportions",
    "Offset": "stone.offsets",
    "Optimum": "sweeps.optimizing",
    "Preview": "cutting.preview",
    "RayPath": "single_ray",
    "RaylabError": "errors",
    "Result": "tracing",
    "Scan": "stone.scanning.scan",
    "ScanReport": "stone.scanning.report",
    "Scene": "scene.scene",
    "Stone": "stone.stone",
    "StoneError": "errors",
    "Surrogate": "sweeps.surrogates",
    "Sweep": "sweeps.swept",
    "SymmetryGroup": "stone.symmetry_group",
    "TraceSettings": "scene.settings",
    "Uncertainty": "stone.measuring.plane_uncertainty",
    "UnsupportedScene": "errors",
    "View": "scene.view",
    "VisibilityField": "results.visibility_field",
    "WavelengthChoice": "color.wavelength_choice",
    "Zone": "lighting.dome",
    "azimuth_about": "stone.extent",
    "baguette": "stone.cuts.baguette",
    "best_brillianteering": "cutting.choices",
    "between": "sweeps.axes",
    "brillianteer": "cutting.preview",
    "brillianteering_grid": "cutting.choices",
    "chroma": "color.fire",
    "circling": "motion.view_paths",
    "color_picture": "color.picture",
    "compare": "comparison.comparing",
    "critical_angle_deg": "optics.fresnel",
    "cushion_brilliant": "stone.cuts.cushion_brilliant",
    "cut": "stone.known_cuts",
    "cut_cornered_brilliant": "stone.cuts.cut_cornered_brilliant",
    "cuts": "stone.known_cuts",
    "dark_areas": "darkness",
    "deviate": "stone.offsets",
    "dome_names": "lighting.dome_file",
    "emerald_cut": "stone.cuts.emerald_cut",
    "explore": "notebook.explorer",
    "eye_pair": "color.eyes",
    "face_up_color": "color.picture",
    "fire_map": "color.fire",
    "fresnel": "optics.fresnel",
    "get_material": "optics.materials",
    "gradient": "designs.gradients",
    "hexagonal_step_cut": "stone.cuts.hexagonal_step_cut",
    "inclusion_images": "inclusions",
    "inclusion_tilt": "inclusions",
    "load_dome": "lighting.dome_file",
    "load_inclusions": "stone.inclusions.inclusion_file",
    "load_scan": "stone.scanning.scan",
    "load_scene": "scene.scene_file",
    "load_stone": "stone.stone_file",
    "load_sweep": "sweeps.results",
    "load_tint": "optics.absorption",
    "marquise_brilliant": "stone.cuts.marquise_brilliant",
    "materials": "optics.materials",
    "measure": "stone.proportions",
    "old_european_cut": "stone.cuts.old_european_cut",
    "optimize": "sweeps.optimizing",
    "oval_brilliant": "stone.cuts.oval_brilliant",
    "pareto": "sweeps.pareto",
    "pear_brilliant": "stone.cuts.pear_brilliant",
    "point_below": "stone.inclusions.placing",
    "princess_cut": "stone.cuts.princess_cut",
    "profile": "sweeps.profiles",
    "propagate": "comparison.uncertainty",
    "ray_path": "single_ray",
    "repolish": "cutting.repolishing",
    "rocking": "motion.view_paths",
    "rose_cut": "stone.cuts.rose_cut",
    "round_brilliant": "stone.cuts.round_brilliant",
    "rounded": "stone.rounding",
    "save_color_png": "pictures.color_files",
    "save_linear_tiff": "pictures.color_files",
    "save_report": "report",
    "save_show": "live.saving",
    "save_stone": "files",
    "save_video": "pictures.video",
    "save_visibility": "voxel_files",
    "scintillation": "motion.scintillation",
    "single_cut": "stone.cuts.single_cut",
    "sobol_indices": "sweeps.sensitivity",
    "square_emerald_cut": "stone.cuts.square_emerald_cut",
    "statistics_of": "comparison.uncertainty",
    "steps": "sweeps.axes",
    "stone_from_mesh": "stone.scanning.scan",
    "surrogate": "sweeps.surrogates",
    "sweep": "sweeps.sweeping",
    "sweep_figure": "pictures.sweep_plots",
    "tapered_baguette": "stone.cuts.tapered_baguette",
    "tilt": "motion.tilting",
    "trace": "tracing",
    "trace_scene": "tracing",
    "triangular_brilliant": "stone.cuts.triangular_brilliant",
    "turning": "motion.view_paths",
    "variance_shares": "sweeps.sensitivity",
    "view3d": "pictures.drawing3d",
    "visibility": "fields",
    "wavelength_set": "optics.spectrum",
    "what_if": "cutting.repolishing",
    "with_head": "color.eyes",
}

__all__ = [
    "Comparison",
    "Cut",
    "Dome",
    "Estimate",
    "Explorer",
    "Finish",
    "Inclusion",
    "InputError",
    "Lamp",
    "LastFacets",
    "LinearBound",
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
    "Surrogate",
    "Sweep",
    "SymmetryGroup",
    "TraceSettings",
    "Uncertainty",
    "UnsupportedScene",
    "View",
    "VisibilityField",
    "WavelengthChoice",
    "Zone",
    "__version__",
    "azimuth_about",
    "baguette",
    "best_brillianteering",
    "between",
    "brillianteer",
    "brillianteering_grid",
    "chroma",
    "circling",
    "color_picture",
    "compare",
    "critical_angle_deg",
    "cushion_brilliant",
    "cut",
    "cut_cornered_brilliant",
    "cuts",
    "dark_areas",
    "deviate",
    "dome_names",
    "emerald_cut",
    "explore",
    "eye_pair",
    "face_up_color",
    "fire_map",
    "fresnel",
    "get_material",
    "gradient",
    "hexagonal_step_cut",
    "inclusion_images",
    "inclusion_tilt",
    "load_dome",
    "load_inclusions",
    "load_scan",
    "load_scene",
    "load_stone",
    "load_sweep",
    "load_tint",
    "marquise_brilliant",
    "materials",
    "measure",
    "old_european_cut",
    "optimize",
    "oval_brilliant",
    "pareto",
    "pear_brilliant",
    "point_below",
    "princess_cut",
    "profile",
    "propagate",
    "ray_path",
    "repolish",
    "rocking",
    "rose_cut",
    "round_brilliant",
    "rounded",
    "save_color_png",
    "save_linear_tiff",
    "save_report",
    "save_show",
    "save_stone",
    "save_video",
    "save_visibility",
    "scintillation",
    "single_cut",
    "sobol_indices",
    "square_emerald_cut",
    "statistics_of",
    "steps",
    "stone_from_mesh",
    "surrogate",
    "sweep",
    "sweep_figure",
    "tapered_baguette",
    "tilt",
    "trace",
    "trace_scene",
    "triangular_brilliant",
    "turning",
    "variance_shares",
    "view3d",
    "visibility",
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
