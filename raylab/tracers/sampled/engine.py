"""The engine `rays`: view rays through jittered points of every pixel, any view, standard errors from their scatter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid, grid_around
from ...scene.scene import Scene
from ...threads import at_most
from ..engine_result import EngineResult
from ..goal import Goal
from .outline import outline_totals
from .sampling import NAME, sample_image
from .spectra import spectra


@dataclass(frozen=True)
class RayEngine:
    """Sampled tracing, see `sample_image`."""

    name: str = NAME
    exact: bool = False
    description: str = "sampled: traces one path per view ray; parallel and perspective views; standard errors"

    def supports(self, scene: Scene) -> str | None:
        """None: every scene can be sampled."""
        return None

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
        """Maps and area means by the samples of each pixel; without a grid, area means by rays over the outline.

        See `Engine.trace`. Under a pupil, and where a facet scatters, the samples of the scene's pixels serve
        for these too.
        """
        with at_most(threads):
            if grid is None and not scene.view.pupil_mm and not scene.stone.scatters:
                return EngineResult(None, wavelength_nm, self.name, {}, outline_totals(scene, wavelength_nm, goal))
            grid = grid or grid_around(scene.stone, scene.view, scene.resolution)
            return sample_image(scene, wavelength_nm, grid, progress=progress)

    def spectra(
        self, scene: Scene, nodes_nm: Sequence[float], grid: PixelGrid, *, progress: Progress = silent
    ) -> Iterator[tuple[slice, np.ndarray, np.ndarray]]:
        """Tiles of a picture at many wavelengths. See `SpectralEngine.spectra`."""
        return spectra(scene, nodes_nm, grid, progress=progress)


ENGINE = RayEngine()
