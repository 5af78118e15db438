"""The engine `beams`: virtual facets, exact pixel coverage, area means with a bracket that holds for certain."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ...progress import Progress, silent
from ...scene.pixel_grid import PixelGrid
from ...scene.scene import Scene
from ...scene.settings import TraceSettings
from ..engine_result import EngineResult
from ..goal import Goal
from ..ledger import UNTRACED
from .beams import Beams
from .image import exact_image
from .tracer import MAX_BEAMS, NAME, trace_beams, why_not


@dataclass(frozen=True)
class BeamEngine:
    """Exact tracing by whole polygons, see `trace_beams`.

    Attributes
    ----------
    max_beams : most polygons held at a time, about 400 bytes each.
    """

    name: str = NAME
    exact: bool = True
    description: str = "exact: traces polygons; parallel views; no sampling noise; certain brackets"
    max_beams: int = MAX_BEAMS

    def supports(self, scene: Scene) -> str | None:
        """A clause where the view is in perspective, or the stone has inclusions."""
        return why_not(scene)

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
        """Virtual facets and their channels; their paths are kept if maps are requested. See `Engine.trace`."""
        maps = grid is not None
        if maps and goal is not None:
            goal = replace(goal, early=False)  # maps show what polygons found: none of the light may be missing
        beams = trace_beams(
            scene,
            wavelength_nm,
            max_beams=self.max_beams,
            keep_paths=maps,
            goal=goal,
            threads=threads,
            progress=progress,
        )
        notes = notes_of(beams, scene.settings, self.max_beams)
        if grid is None:
            return EngineResult(None, wavelength_nm, self.name, {}, beams.totals, beams, notes=notes)
        return replace(exact_image(beams, grid, wavelength_nm), notes=notes)


def notes_of(beams: Beams, settings: TraceSettings, max_beams: int = MAX_BEAMS) -> dict[str, str]:
    """Notes on numbers that miss the requested precision, with the remedy."""
    notes, untraced = {}, float(beams.totals.mean[UNTRACED])
    if untraced > settings.precision * (1.0 + 1e-9):
        notes["precision"] = (
            f"untraced share {untraced:.3g} exceeds the requested precision {settings.precision:g}; brackets are wider"
            + ("" if beams.full else f"; a max_bounces above {settings.max_bounces} narrows them")
        )
    if beams.full:
        notes["max_beams"] = f"tracing ended at {max_beams} polygons; use a larger precision or a sampled engine"
    if beams.lost:
        notes["rounding"] = (
            f"{beams.lost} beams were lost to rounding and are untraced, inside the brackets; a view turned by a thousandth "
            "of a degree cuts polygons elsewhere"
        )
    return notes


ENGINE = BeamEngine()
