"""What is seen of a stone's inclusions: their images, and what they take from the face. All definitions stand here.

An **image** is the part of the map whose view rays first meet the same inclusion along the same facets: the facet looked
through, then those that reflect. Without a reflection it is seen directly. What such a ray meets later adds to the
image's strength and is no image of its own. Each pixel counts by the view ray through its middle, so an image smaller than a
pixel may be missed.

    area        of its pixels, mm^2 on the map plane
    taken       mean share of their light that inclusions take, by the ledger
    contrast    (L - L0)/L0 with the mean luminance L over them, and L0 that of the same pixels of the stone without inclusions
    diameter    of a circle of equal area, as an angle from the eye's distance, arc minutes

**Large and strong enough** is an image whose diameter is at least what the eye resolves (by default one arc minute) and whose
contrast is at least `contrast` in size (by default 0.05; the threshold of the meteorological optical range, from memory). The
two thresholds are conventions: they leave out glare, motion, the pattern around, and the eye's adaptation.

Images from which less than 0.01 of the light is taken are counted as faint, and neither listed nor drawn.

Of the face as a whole: **taken** is the area mean of the ledger's `included`; **lost** is 1 - <L>/<L0>, the share of the face's
light that is missing.

Both stones are traced along the same view rays, so their difference has no noise of its own.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import xarray as xr

from ..scene.scene import Scene
from ..stone.inclusions.inclusion import label
from ..stone.stone import Stone
from ..tracers.sampled.meetings import Meetings, first_meetings
from ..tracers.sampled.view_rays import view_rays
from ..tracers.stone_table import stone_table
from .statistics import Statistic

MOST_REFLECTIONS = 30
"""A view ray is followed through so many reflections; what is left of it then is below a thousandth in most stones."""
FAINT = 0.01
"""Images from which less than this share of the light is taken are counted, and not listed."""
READING_DISTANCE_MM, ARC_MINUTE, CONTRAST = 250.0, 1.0, 0.05


@dataclass(frozen=True)
class Eye:
    """What an image is judged by.

    Attributes
    ----------
    distance_mm : from the stone, mm. resolves_arcmin : smallest angle that counts, arc minutes.
    contrast : smallest contrast that counts.
    """

    distance_mm: float = READING_DISTANCE_MM
    resolves_arcmin: float = ARC_MINUTE
    contrast: float = CONTRAST


@dataclass(frozen=True)
class InclusionImage:
    """One image of an inclusion; see the module.

    Attributes
    ----------
    inclusion : its number, from 1. name : what tables call it. reflections : internal reflections before.
    facets : names of the facets on the way, the one looked through first.
    area_mm2, center_mm : its size and centroid on the map.
    taken, luminance, bare : means over its pixels: share of light taken, luminance, and luminance without inclusions.
    contrast : (L - L0)/L0; NaN where the stone without inclusions is black there.
    diameter_arcmin : see the module. large_and_strong : whether both thresholds are reached.
    """

    inclusion: int
    name: str
    reflections: int
    facets: tuple[str, ...]
    area_mm2: float
    center_mm: tuple[float, float]
    taken: float
    luminance: float
    bare: float
    contrast: float
    diameter_arcmin: float
    large_and_strong: bool


@dataclass(frozen=True)
class InclusionImages:
    """The images of a stone's inclusions in one view.

    Attributes
    ----------
    images : the strongest first, by luminance missing times area. faint : how many more take less than `FAINT`.
    eye : the thresholds.
    taken : area mean of the light that inclusions take. lost : share of the face's luminance that is missing.
    maps : on (y, x): `luminance`, `bare` (without inclusions), `contrast`, `included`, `coverage`, `image` (number of the image
        in `images`, -1 for none) and `reflections` (before it is seen, -1 for none).
    """

    images: tuple[InclusionImage, ...]
    faint: int
    eye: Eye
    taken: Statistic
    lost: Statistic
    maps: xr.Dataset

    @property
    def large_and_strong(self) -> int:
        """Number of images that reach both thresholds."""
        return sum(one.large_and_strong for one in self.images)

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON."""
        return {
            "eye": asdict(self.eye),
            "taken": asdict(self.taken),
            "lost": asdict(self.lost),
            "number": len(self.images),
            "faint": self.faint,
            "large_and_strong": self.large_and_strong,
            "images": [asdict(one) for one in self.images],
        }


def images_in(scene: Scene, maps: xr.Dataset, taken: Statistic, eye: Eye) -> InclusionImages:
    """The images in traced maps at the middle wavelength of a scene.

    Parameters
    ----------
    maps : on (y, x), of the scene; `bare` is the luminance of the stone without inclusions, along the same view rays.
    taken : area mean of what inclusions take.
    """
    shown = maps[["luminance", "bare", "included", "coverage"]]
    with np.errstate(invalid="ignore", divide="ignore"):
        shown["contrast"] = (maps.luminance - maps.bare) / maps.bare.where(maps.bare > 0.0)
    met, pixels = _meetings(scene, maps)
    labels, firsts = _labels(met)
    means, areas = _means(shown, pixels, labels, float(maps.attrs["pixel_mm"]) ** 2)
    strong = np.flatnonzero(means["included"] >= FAINT)
    order = strong[np.argsort(((means["luminance"] - means["bare"]) * areas)[strong], kind="stable")]
    rank_of = np.full(len(firsts) + 1, -1)
    rank_of[order] = np.arange(len(order))
    image, reflections = np.full((2, maps.coverage.size), -1)
    image[pixels] = rank_of[labels]
    reflections[pixels] = np.where(image[pixels] >= 0, met.reflections, -1)
    dims, shape = maps.coverage.dims, maps.coverage.shape
    shown["image"], shown["reflections"] = (dims, image.reshape(shape)), (dims, reflections.reshape(shape))
    for name, words in _WORDS.items():
        shown[name].attrs = {"long_name": words, "units": "1"}
    shown.attrs = dict(maps.attrs)
    images = tuple(
        _image(scene.stone, {key: float(one[k]) for key, one in means.items()}, met, firsts[k], areas[k], eye) for k in order
    )
    return InclusionImages(images, len(firsts) - len(order), eye, taken, _lost(shown), shown)


_WORDS = {
    "luminance": "luminance",
    "bare": "luminance without inclusions",
    "contrast": "contrast against the stone without inclusions",
    "included": "share of the light that inclusions take",
    "coverage": "share of the pixel that the stone covers",
    "image": "number of the image, -1 for none",
    "reflections": "internal reflections before an inclusion is seen, -1 for none",
}


def _meetings(scene: Scene, maps: xr.Dataset) -> tuple[Meetings, np.ndarray]:
    """First meetings of the rays through the middles of pixels from which something was taken, and these pixels' numbers."""
    x, y = np.meshgrid(maps.x.values, maps.y.values)
    number = np.flatnonzero(np.nan_to_num(maps.included.values).ravel() > 0.0)
    origins, directions = view_rays(np.column_stack([x.ravel()[number], y.ravel()[number]]), scene.stone, scene.view)
    table = stone_table(scene.stone, scene.settings.middle_nm)
    met = first_meetings(origins, np.broadcast_to(directions, origins.shape), table, MOST_REFLECTIONS)
    hit = met.inclusion >= 0
    return Meetings(met.inclusion[hit], met.facets[hit]), number[hit]


def _labels(met: Meetings) -> tuple[np.ndarray, np.ndarray]:
    """(R,) which image each ray belongs to, and the first ray of each image."""
    if not len(met.inclusion):
        return np.empty(0, int), np.empty(0, int)
    keys = np.column_stack([met.inclusion, met.facets])
    _, firsts, labels = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    return labels.ravel(), firsts


def _means(
    shown: xr.Dataset, pixels: np.ndarray, labels: np.ndarray, pixel_mm2: float
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Means over each image's pixels, weighted by how far the stone covers them, and its area in mm^2."""
    y, x = np.meshgrid(shown.y.values, shown.x.values, indexing="ij")
    weights = shown.coverage.values.ravel()[pixels]
    whole = np.bincount(labels, weights)
    values = {"x": x, "y": y, **{name: shown[name].values for name in ("included", "luminance", "bare")}}
    means = {name: np.bincount(labels, weights * one.ravel()[pixels]) / whole for name, one in values.items()}
    return means, whole * pixel_mm2


def _image(stone: Stone, means: dict[str, float], met: Meetings, first: int, area_mm2: float, eye: Eye) -> InclusionImage:
    """The image with these means; `first` is one of its rays."""
    luminance, bare = means["luminance"], means["bare"]
    contrast = (luminance - bare) / bare if bare > 0.0 else math.nan
    arcmin = 60.0 * math.degrees(2.0 * math.atan(math.sqrt(area_mm2 / math.pi) / eye.distance_mm))
    number = int(met.inclusion[first])
    facets = tuple(stone.facet_name(int(f)) for f in met.facets[first] if f >= 0)
    return InclusionImage(
        inclusion=number + 1,
        name=label(stone.inclusions[number], number + 1),
        reflections=len(facets) - 1,
        facets=facets,
        area_mm2=float(area_mm2),
        center_mm=(means["x"], means["y"]),
        taken=means["included"],
        luminance=luminance,
        bare=bare,
        contrast=contrast,
        diameter_arcmin=arcmin,
        large_and_strong=bool(arcmin >= eye.resolves_arcmin and abs(contrast) >= eye.contrast),
    )


def _lost(shown: xr.Dataset) -> Statistic:
    """1 - <L>/<L0>. Its standard error takes two neighbouring pixels of a row for one stratum, which is on the safe side."""
    weights = shown.coverage.values
    less = np.nan_to_num((shown.bare - shown.luminance).values) * weights
    whole = float(np.nansum(shown.bare.values * weights))
    if not whole > 0.0:
        return Statistic(math.nan, math.nan, math.nan, math.nan)
    even = less[:, : less.shape[1] // 2 * 2]
    error = math.sqrt(float(((even[:, ::2] - even[:, 1::2]) ** 2).sum())) / whole
    value = float(less.sum()) / whole
    return Statistic(value, value, value, error)
