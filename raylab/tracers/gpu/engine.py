"""The engines `gpu` and `gpu-single`: view rays on a graphics processor, in double and in single precision."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ...stone.cuts.round_rings import ARGUMENTS
from ..engine import Built, Lot
from ..engine_result import EngineResult
from ..goal import Goal
from ..ledger import FIELDS, MAPPED
from ..outline_rays import fan_of
from ..randomizations import could_meet_in, totals_from, until
from ..totals import Totals
from .device import CAPACITIES, device_count, only, why_no_device

if TYPE_CHECKING:
    from .blocks import Real

NAME = "gpu"
"""What this engine is called in the table."""
ROUND = "round brilliant"
ROUND_KEYS = frozenset({*ARGUMENTS, "girdle_facets", "girdle_finish", "diameter_mm", "weight_ct"})
"""The cut that is built on the processor, and the keys of its parameters."""


@dataclass(frozen=True)
class GpuEngine:
    """Sampled tracing on a graphics processor: the rays of `sampled`, one thread each."""

    name: str = NAME
    exact: bool = False
    description: str = "sampled on a graphics processor (CUDA; needs raylab[gpu]); parallel and perspective views"
    real: Real = np.float64

    def supports(self, scene: Scene) -> str | None:
        """A clause where there is no such processor, or where the scene has what it doesn't carry."""
        if scene.view.pupil_mm:
            return "it takes the pupil for a point"
        if scene.stone.inclusions:
            return "it doesn't carry inclusions"
        if scene.stone.scatters:
            return "it doesn't carry facets that scatter"
        if len(scene.stone) > CAPACITIES[-1]:
            return f"it holds stones of at most {CAPACITIES[-1]} facets"
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
        from .pictures import pixel_maps

        totals = self.batch([scene], wavelength_nm, [goal or Goal()])[0]
        if grid is None:
            return EngineResult(None, wavelength_nm, self.name, {}, totals)
        means, coverage, error = pixel_maps(scene, wavelength_nm, grid, self.real)
        side = grid.resolution
        fields = {name: means[c].reshape(side, side).astype(float) for c, name in enumerate(FIELDS[:MAPPED])}
        fields |= {
            name: one.reshape(side, side).astype(float) for name, one in (("coverage", coverage), ("luminance_error", error))
        }
        progress(side, side)
        return EngineResult(grid, wavelength_nm, self.name, fields, totals)

    def spectra(
        self, scene: Scene, nodes_nm: Sequence[float], grid: PixelGrid, *, progress: Progress = silent
    ) -> Iterator[tuple[slice, np.ndarray, np.ndarray]]:
        """The luminance at many wavelengths, band by band of pixels. See `SpectralEngine.spectra`."""
        from .pictures import pixel_luminances

        for band, luminance, covered in pixel_luminances(scene, nodes_nm, grid, self.real):
            yield band, luminance / luminance.dtype.type(scene.dome.peak_radiance), covered
            progress(band.stop, grid.resolution**2)

    def batch(self, scenes: Sequence[Scene], wavelength_nm: float, goals: Sequence[Goal]) -> list[Totals]:
        """Area means of many scenes. See `BatchEngine.batch`."""
        from .batches import outline_means

        fans = [fan_of(scene) for scene in scenes]

        def totals_of(some: list[int], points: int) -> list[Totals]:
            means = outline_means([scenes[k] for k in some], wavelength_nm, points, [fans[k] for k in some], self.real)
            return [
                totals_from(one, points, fans[k].area_mm2, could_meet_in(scenes[k])) for k, one in zip(some, means, strict=True)
            ]

        return until(goals, totals_of)

    def builds(self, cut: str, keys: frozenset[str]) -> bool:
        """Whether there is a builder for the cut, and a processor to run it. See `BuildingEngine.builds`."""
        return why_no_device() is None and cut == ROUND and keys <= ROUND_KEYS

    def built(self, lot: Lot) -> Built:
        """Designs built and traced on the processor. See `BuildingEngine.built`."""
        from .building import built_rounds

        return built_rounds(lot, self.real)

    def devices(self) -> int:
        """How many such processors there are. See `DeviceEngine.devices`."""
        return device_count()

    def only(self, device: int) -> dict[str, str]:
        """See `DeviceEngine.only`."""
        return only(device)


ENGINE = GpuEngine()
