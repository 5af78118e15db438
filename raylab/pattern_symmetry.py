"""How well a face-up luminance pattern agrees with its own rotations and mirror images.

A stone's nominal symmetry group (`Stone.symmetry`) of m rotations and mirror images has m - 1 members besides the identity.
With g running over them and x over the outline,

    symmetry = 1 - mean over g and x of (L(x) - L(g x))^2 / (2 var L),

which is the mean correlation of the pattern with its images: 1 for perfect agreement, 0 for none (our definition). Rays
are sent through x and exactly through its images, so no picture has to be turned and interpolated. Each of the m places of
such an orbit may stand for x, and the mean over all its pairs is twice its variance (with the divisor m - 1).
"""

from __future__ import annotations

import numpy as np

from .results.statistics import Statistic
from .scene.scene import Scene
from .scene.view import View
from .stone.stone import Stone
from .tracers.ledger import LUMINANCE
from .tracers.sampled.view_rays import sample_points

BATCHES = 16
POINTS = 1024


def why_undefined(stone: Stone, view: View) -> str:
    """The reason for a missing symmetry statistic; empty if there is one."""
    if stone.symmetry.size < 2:
        return "the stone has no nominal symmetry"
    if stone.scatters:
        return "light is scattered at random, and the pattern of single rays is noise"
    return "the view is tilted" if view.tilt_deg != 0.0 else ""


def agreement(scene: Scene) -> Statistic:
    """Symmetry of the luminance pattern under `stone.symmetry`, with its standard error.

    It is traced by rays at the middle wavelength of the scene, with any engine for the maps.
    """
    stone, settings = scene.stone, scene.settings
    extent = float(np.linalg.norm(stone.outline_mm, axis=1).max())
    radius, angle = np.random.default_rng([settings.seed, 0x5D]).random((2, POINTS))
    radius, angle = extent * np.sqrt(radius), 2.0 * np.pi * angle
    images = stone.symmetry.images(angle) + np.radians(scene.view.turn_deg)
    points = (radius[..., None] * np.stack([np.cos(images), np.sin(images)], axis=-1)).reshape(-1, 2)
    rows, hit = sample_points(points, scene, settings.middle_nm)
    seen = hit.reshape(len(images), POINTS).all(axis=0)
    luminance = rows[:, LUMINANCE].reshape(len(images), POINTS)[:, seen]
    squares = 2.0 * luminance.var(axis=0, ddof=1)
    variance = luminance.var()
    if variance == 0.0:  # an even pattern agrees with everything
        return Statistic(1.0, 1.0, 1.0)
    batches = [batch.mean() / (2.0 * variance) for batch in np.array_split(squares, BATCHES)]
    value = float(1.0 - squares.mean() / (2.0 * variance))
    return Statistic(value, value, value, float(np.std(batches, ddof=1) / np.sqrt(BATCHES)))
