"""`Engine`: what traces a scene, whatever it stands on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol, runtime_checkable

import numpy as np

from ..progress import Progress, silent
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from .engine_result import EngineResult
from .goal import Goal
from .totals import Totals


class Engine(Protocol):
    """An engine.

    A module that holds one as ``ENGINE`` and a row in `engine_table.ENGINES` make it known everywhere: to `trace`, in scene
    files, on the command line.
    """

    @property
    def name(self) -> str:
        """Its name in the table."""

    @property
    def exact(self) -> bool:
        """True where area means have no sampling error and each comes with a bracket that holds for certain."""

    @property
    def description(self) -> str:
        """One line for a list of engines."""

    def supports(self, scene: Scene) -> str | None:
        """None where it can trace the scene, else one clause that says why not."""

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
        """Trace a scene at one wavelength.

        Parameters
        ----------
        wavelength_nm : nm; replaces that of the scene.
        grid : the pixels of the maps; None for area means only.
        goal : what is wanted of the area means. None asks for what `settings.precision` says, and for no estimate of the rest.
        threads : how many to use, by default numba's number; results don't depend on it.
        progress : called with how much is done and of how much.

        Raises
        ------
        UnsupportedScene : a scene that `supports` refuses.
        InputError : a wavelength at which the material is not known.
        """


@runtime_checkable
class SpectralEngine(Engine, Protocol):
    """An engine that also traces many wavelengths side by side, as pictures in colour need them."""

    def spectra(
        self, scene: Scene, nodes_nm: Sequence[float], grid: PixelGrid, *, progress: Progress = silent
    ) -> Iterator[tuple[slice, np.ndarray, np.ndarray]]:
        """Trace a picture tile by tile.

        Yields
        ------
        Which pixels of the picture, in order; their luminance (N, P) over the covered part, relative to the dome's brightest
        radiance, at N wavelengths; their coverage (P,).
        """


@runtime_checkable
class BatchEngine(Engine, Protocol):
    """A sampled engine that traces many scenes at once, as sweeps have them."""

    def batch(self, scenes: Sequence[Scene], wavelength_nm: float, goals: Sequence[Goal]) -> list[Totals]:
        """Area means of scenes under one dome with one set of settings, each to its goal.

        Raises
        ------
        InputError : a wavelength at which a material is not known.
        """
