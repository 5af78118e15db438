"""View rays through points of the map plane, and what each of them gives."""

from __future__ import annotations

import numpy as np

from ...scene.scene import Scene
from ...scene.view import View, height_above
from ...stone.stone import Stone
from ..packets import PathRules
from ..stone_table import stone_table
from .by_scattering import mean_of_two
from .rays import trace_rays


def view_cones(points: np.ndarray, view: View, area_mm2: float | np.ndarray) -> np.ndarray | None:
    """(R,) solid angle, sr, in which the eye sees a small area of the map plane about points (R, 2); None if parallel.

    The area is that of all or one for each point.

    Area times cosine over distance squared.
    """
    eye = view.eye_mm
    return None if eye is None else area_mm2 * eye[2] / (((points - eye[:2]) ** 2).sum(axis=1) + eye[2] ** 2) ** 1.5


def view_rays(
    points: np.ndarray, stone: Stone, view: View, in_pupil: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Origins and unit directions (R, 3), stone's frame, of the view rays through points (R, 2) of the map plane, mm.

    They start in the middle of the pupil, or at the points `in_pupil` (R, 2) of it, in units of its radius.
    """
    turn, middle = view.rotation(), view.eye_mm
    if middle is None:
        origins = np.column_stack([points, np.full(len(points), height_above(stone))])
        return origins @ turn, np.broadcast_to(np.array([0.0, 0.0, -1.0]) @ turn, origins.shape)
    eye = np.broadcast_to(middle, (len(points), 3))
    if in_pupil is not None:
        eye = eye + 0.5 * view.pupil_mm * np.column_stack([in_pupil, np.zeros(len(points))])
    directions = np.column_stack([points, np.zeros(len(points))]) - eye
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    return eye @ turn, directions @ turn


def sample_points(
    points: np.ndarray,
    scene: Scene,
    wavelength_nm: float,
    *,
    in_pupil: np.ndarray | None = None,
    area_mm2: float | np.ndarray = 0.0,
    first_key: int = 0,
) -> tuple[np.ndarray, np.ndarray]:
    """Ledger rows (R, CHANNELS) and hits (R,) of the view rays through points (R, 2) of the map plane, mm.

    Parameters
    ----------
    in_pupil : see `view_rays`.
    area_mm2 : the part of the map plane that each stands for, over which a perspective view averages images of the sky.
    first_key : in a stone that scatters a row is the mean of two paths, (R, WIDTH), whose random numbers are keyed by the
        number of the point and this.
    """
    settings = scene.settings
    origins, directions = view_rays(points, scene.stone, scene.view, in_pupil)
    table, cones = stone_table(scene.stone, wavelength_nm), view_cones(points, scene.view, area_mm2)
    rules = PathRules(settings.polarized, settings.min_weight, settings.max_bounces, seed=settings.seed)

    def trace(keys: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
        rows, hit, _ = trace_rays(
            origins, directions, table, scene.dome.table, scene.view.rotation(), cones=cones, keys=keys, rules=rules
        )
        return rows, hit

    return mean_of_two(trace, np.arange(first_key, first_key + len(points))) if scene.stone.scatters else trace(None)
