"""The engine `gpu`: view rays on a graphics processor, in double precision."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ..engine_result import EngineResult
from ..goal import Goal
from ..ledger import FIELDS, MAPPED
from ..outline_rays import fan_of
from ..randomizations import could_meet_in, totals_from, until
from ..totals import Totals
from .device import MOST_PLANES, why_no_device

NAME = "gpu"
"""What this engine is called in the table."""


@dataclass(frozen=True)
class GpuEngine:
    """Sampled tracing on a graphics processor: the rays of `sampled`, one thread each, in double precision."""

    name: str = NAME
    exact: bool = False
    description: str = "sampled on a graphics processor (CUDA; needs raylab[gpu]); parallel and perspective views"

    def supports(self, scene: Scene) -> str | None:
        """A clause where there is no such processor, or where the scene has what it doesn't carry."""
        if scene.view.pupil_mm:
            return "it takes the pupil for a point"
        if scene.stone.inclusions:
            return "it doesn't carry inclusions"
        if scene.stone.scatters:
            return "it doesn't carry facets that scatter"
        if len(scene.stone) > MOST_PLANES:
            return f"it holds stones of at most {MOST_PLANES} facets"
        return why_no_device()

    def trace(
        self,
        scene: Scene,
        wavelength_nm: float,
        grid: PixelGrid | None = None,
        *,
        goal: Goal | None = None,
        threads: int | None = None,
        progress: Progress = silent,
    ) -> EngineResult:
        """Maps by the samples of each pixel, area means by rays over the outline. See `Engine.trace`."""
        from .batches import pixel_maps

        totals = self.batch([scene], wavelength_nm, [goal or Goal()])[0]
        if grid is None:
            return EngineResult(None, wavelength_nm, self.name, {}, totals)
        means, coverage, error = pixel_maps(scene, wavelength_nm, grid, math.isqrt(scene.settings.samples))
        side = grid.resolution
        fields = {name: means[c].reshape(side, side) for c, name in enumerate(FIELDS[:MAPPED])}
        fields |= {"coverage": coverage.reshape(side, side), "luminance_error": error.reshape(side, side)}
        progress(side, side)
        return EngineResult(grid, wavelength_nm, self.name, fields, totals)

    def batch(self, scenes: Sequence[Scene], wavelength_nm: float, goals: Sequence[Goal]) -> list[Totals]:
        """Area means of many scenes. See `BatchEngine.batch`."""
        from .batches import outline_means

        fans = [fan_of(scene) for scene in scenes]

        def totals_of(some: list[int], points: int) -> list[Totals]:
            means = outline_means([scenes[k] for k in some], wavelength_nm, points, [fans[k] for k in some])
            return [
                totals_from(one, points, fans[k].area_mm2, could_meet_in(scenes[k])) for k, one in zip(some, means, strict=True)
            ]

        return until(goals, totals_of)


ENGINE = GpuEngine()
