"""From traced fields to maps on (y, x) in mm, with units and definitions: plain arrays, and an `xarray.Dataset` of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from ..scene.pixel_grid import PixelGrid
from ..stone.stone import Stone
from ..tracers.engine_result import EngineResult
from ..tracers.ledger import LUMINANCE
from .paths import Paths

if TYPE_CHECKING:
    import xarray as xr

# name: (long name, unit, definition)
DEFINITIONS: dict[str, tuple[str, str, str]] = {
    "luminance": (
        "luminance",
        "1",
        "radiance towards the eye, in units of the brightest radiance of the dome unless the dome is absolute",
    ),
    "contrast": ("contrast", "1", "(L - mean)/mean, with the mean over the outline of the stone"),
    "sky": ("sky", "1", "share of the light that leaves above the girdle plane, outside the head cone"),
    "head": ("head", "1", "share of the light that leaves into the head cone"),
    "leak": ("leak", "1", "share of the light that leaves below the girdle plane"),
    "absorbed": ("absorbed", "1", "share of the light that body colour absorbs or inclusions take"),
    "included": ("taken by inclusions", "1", "share of the light that inclusions take; part of absorbed"),
    "scattered": ("scattered", "1", "share of the light that absorbing and Lambertian facets take"),
    "by_scattering": ("luminance by scattering", "1", "part of the luminance whose light a facet scattered"),
    "untraced": (
        "untraced at most",
        "1",
        "share of the light that is still inside when tracing ends, before rays are drawn that estimate where it goes",
    ),
    "glare": ("glare", "1", "share of the light that the first surface reflects; part of sky, head and leak"),
    "window": ("seen straight through", "1", "share of the light that leaves below the girdle plane unreflected; part of leak"),
    "source_elevation": ("source elevation", "degree", "elevation of the weighted mean direction of the light"),
    "bounces": ("internal reflections", "1", "weighted mean number of internal reflections before the light leaves"),
    "coverage": ("coverage", "1", "share of the pixel that the stone covers"),
    "luminance_error": ("standard error of luminance", "1", "estimated from the scatter of the samples in the pixel"),
}
_MADE_OF = {
    "contrast": ("luminance",),
    "bounces": ("bounces", "sky", "head", "leak"),
    "source_elevation": ("source_x", "source_y", "source_z"),
}
"""The traced fields that a map is derived from; the other maps are fields themselves."""
STATISTIC_OF = {"luminance": "brightness", "contrast": "contrast_rms", "leak": "leak"}
"""The statistic that stands with a map, for the maps that stones are shown by."""
LONGEST = 24
"""Paths with more facets than this are shortened to the first and the last ones, so two paths may have the same words."""
PATH_DEFINITION = (
    "number in path_name of the path along which the virtual facet that covers most of the pixel sees its largest part: the "
    "facets met, the one looked through first, and the ledger entry in which that part is booked"
)


class Variable(NamedTuple):
    """An array with the names of its dimensions, and what it is."""

    dims: tuple[str, ...]
    values: np.ndarray
    attrs: dict[str, Any]


@dataclass(frozen=True)
class MapArrays:
    """Maps on (y, x) in mm as plain arrays; with labels they are an `xarray.Dataset`, which takes long to import.

    Attributes
    ----------
    grid : the pixels. attrs : engine, size of a pixel in mm, stone, dome, material.
    variables : maps and coordinates by name, in the order of a file. coordinates : which of them are coordinates.
    """

    grid: PixelGrid
    variables: dict[str, Variable]
    coordinates: tuple[str, ...]
    attrs: dict[str, Any]

    @property
    def names(self) -> tuple[str, ...]:
        """The maps."""
        return tuple(name for name in self.variables if name not in self.coordinates)

    def values(self, name: str) -> np.ndarray:
        """A map (resolution, resolution), with several wavelengths (wavelengths, resolution, resolution). Raises KeyError."""
        return self.variables[name].values

    def dataset(self) -> xr.Dataset:
        """The same arrays with labels."""
        import xarray as xr

        maps, coordinates = ({k: self.variables[k] for k in names} for names in (self.names, self.coordinates))
        return xr.Dataset(maps, coordinates, self.attrs)


def map_arrays(traced: Sequence[EngineResult], grid: PixelGrid, *, spectral: bool) -> MapArrays:
    """Maps of a scene at one wavelength or several.

    The traced fields are taken over, not copied: a large picture is held in memory once.

    Parameters
    ----------
    traced : results on one grid of pixels, one per wavelength.
    spectral : True puts `wavelength_nm` as the leading dimension; False (one wavelength) as a scalar coordinate.
    """
    layers = [layer(one) for one in traced]
    wavelengths = np.array([one.wavelength_nm for one in traced])
    names = [name for name in DEFINITIONS if name in layers[0]]
    dims = ("wavelength_nm", "y", "x") if spectral else ("y", "x")
    variables = {}
    for name in names:
        long_name, units, definition = DEFINITIONS[name]
        values = np.stack([layer.pop(name) for layer in layers]) if spectral else layers[0].pop(name)
        variables[name] = Variable(dims, values, {"long_name": long_name, "units": units, "definition": definition})
    about = {"units": "nm", "long_name": "wavelength in air"}
    coordinates = {
        "x": Variable(("x",), grid.x_mm, {"units": "mm", "long_name": "x"}),
        "y": Variable(("y",), grid.y_mm, {"units": "mm", "long_name": "y"}),
        "wavelength_nm": Variable(("wavelength_nm",), wavelengths, about) if spectral else Variable((), wavelengths[0], about),
    }
    attrs = {"engine": traced[0].engine, "pixel_mm": grid.pixel_mm}
    return MapArrays(grid, {**variables, **coordinates}, tuple(coordinates), attrs)


def with_paths(maps: MapArrays, polygons: Sequence[np.ndarray], paths: Sequence[Paths], stone: Stone) -> MapArrays:
    """Maps with one more, `path`: along which strongest path the virtual facet is seen that covers most of each pixel.

    It holds numbers, -1 outside the stone, whose words are in the coordinate `path_name` along `path_id`: only paths that
    some pixel shows, those of larger area first (with several wavelengths, at the first one that shows them).

    Parameters
    ----------
    polygons : (ny, nx) numbers of virtual facets, -1 for none, one array per wavelength. paths : theirs, one per wavelength.
    """
    layers, numbers = [], dict[str, int]()
    for polygon, path in zip(polygons, paths, strict=True):
        seen = np.zeros(len(path), bool)
        seen[path.which[polygon[polygon >= 0]]] = True
        number_of = np.full(len(path), -1, np.int32)
        shown = np.flatnonzero(seen)
        for k, name in zip(shown.tolist(), path.names(shown, stone, LONGEST), strict=True):
            number_of[k] = numbers.setdefault(name, len(numbers))
        layers.append(np.append(number_of[path.which], np.int32(-1))[polygon])  # -1 takes the last, which is -1
    dims = maps.variables["luminance"].dims
    values = np.stack(layers) if "wavelength_nm" in dims else layers[0]
    about = {"long_name": "strongest path", "units": "1", "definition": PATH_DEFINITION, "outside": -1}
    named = Variable(("path_id",), np.array(list(numbers), dtype=object), {"long_name": "facets along the path"})
    more = {"path_name": named, "path": Variable(dims, values, about)}
    return replace(maps, variables={**maps.variables, **more}, coordinates=(*maps.coordinates, "path_name"))


def fields_of(names: Iterable[str]) -> tuple[str, ...]:
    """The traced fields that these maps are made of.

    >>> fields_of(["leak", "contrast", "luminance"])
    ('leak', 'luminance')
    """
    return tuple(dict.fromkeys(field for name in names for field in _MADE_OF.get(name, (name,))))


def layer(traced: EngineResult) -> dict[str, np.ndarray]:
    """The maps of one wavelength whose fields were traced, derived in place where that spares memory."""
    fields = traced.fields
    maps = {name: fields[name] for name in DEFINITIONS if name in fields}
    derived = [name for name, needed in _MADE_OF.items() if set(needed) <= set(fields)]
    if "contrast" in derived:
        mean, values = traced.totals.mean[LUMINANCE], fields["luminance"]
        maps["contrast"] = (values - mean) / mean if mean > 0.0 else np.full_like(values, np.nan)
    if "bounces" in derived:
        left = fields["sky"] + fields["head"] + fields["leak"]
        with np.errstate(invalid="ignore", divide="ignore"):
            maps["bounces"] = np.divide(fields["bounces"], left, out=fields["bounces"])
    if "source_elevation" in derived:
        flat = np.hypot(fields["source_x"], fields["source_y"])
        maps["source_elevation"] = np.degrees(np.arctan2(fields["source_z"], flat, out=flat), out=flat)
    return maps
