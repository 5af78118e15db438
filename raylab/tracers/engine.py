"""`Engine`: what traces a scene, whatever it stands on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol, runtime_checkable

import numpy as np

from ..lighting.dome import Dome
from ..optics.materials import Material
from ..progress import Progress, silent
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
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


@dataclass(frozen=True)
class Lot:
    """D designs of one cut in one material under one light, which differ in numbers alone.

    Attributes
    ----------
    cut : the cut's name. values : key of a parameter to the numbers (D,) of the designs, each within its range, alternatives
        converted to what they stand for (``crown_height_pct`` to ``crown_angle_deg``) and defaults filled in; what is the same
        in all is an array too, which may have no stride. stated : the parameters that are no numbers, such as
        ``girdle_finish``, as `Cut.settled` gives them.
    material : with its body colour. dome, view : the light, and a view without an eye (parallel).
    settings : of the traces, at one wavelength, at which the material is known. goal : what is wanted of the area means; of
        the totals of many designs it gives arrays.
    """

    cut: str
    values: Mapping[str, np.ndarray]
    stated: Mapping[str, Any]
    material: Material
    dome: Dome
    view: View
    settings: TraceSettings
    goal: Goal


class Built(NamedTuple):
    """What an engine found of the designs of a `Lot`.

    Attributes
    ----------
    fault : (D,) int. 0: traced. k > 0: no stone, by the k-th of the cut's `reasons`, counted from 1. -1: not built here, the
        design's stone or its reason has to come from the cut itself.
    geometry : (D, 5) weight_ct, length_mm, width_mm, depth_pct, spread_mm2_per_ct; see `designs.keys.GEOMETRY`.
    area_mm2 : (D,) of the outline as seen.
    means : (D, S, MOMENTS) area means by each of S independent randomizations.
    points : (D,) rays of each randomization.
    factor : (D,) by which errors are to be told larger than the scatter of the randomizations says, see `randomizations.Tried`.

    All but `fault` may be NaN, or anything, where a design isn't traced.
    """

    fault: np.ndarray
    geometry: np.ndarray
    area_mm2: np.ndarray
    means: np.ndarray
    points: np.ndarray
    factor: np.ndarray


@runtime_checkable
class BuildingEngine(BatchEngine, Protocol):
    """An engine that also builds the stones of some cuts, many at once, from arrays of their proportions."""

    def builds(self, cut: str, keys: frozenset[str]) -> bool:
        """Whether it can build designs of a cut that have these keys in `Lot.values` and `Lot.stated`, here and now: False
        too where what it runs on isn't there."""

    def built(self, lot: Lot) -> Built:
        """Area means of designs that it builds. What it gives of a design doesn't depend on the others in the lot."""


@runtime_checkable
class DeviceEngine(Engine, Protocol):
    """An engine that runs on devices of this machine, which processes can share."""

    def devices(self) -> int:
        """How many there are; 0 for none."""

    def only(self, device: int) -> dict[str, str]:
        """Variables of the environment of a process that is to use one of them, 0 to `devices` - 1, and no other."""
