"""The field of visibility: how much a small speck would show at each place of a stone. All definitions stand here.

For a point of the stone, an **image** is a facet path (the facet looked through, then those that reflect) along which the eye
sees it and that carries at least FAINT of its light there. With s the cross-section of a small speck:

    images   number of images
    area     their area on the map over s: face-up and directly seen it is the cosine of incidence over that of refraction
    taken    share of the face's light that an opaque speck takes, over s, 1/mm^2: all paths, the faint ones too
    lost     share of the face's luminance that is missing then, over s, 1/mm^2

Each is the mean over a voxel, or over the part of it that lies in the stone. They are exact for a speck so small that no light
meets it twice, and hold for any small speck, black or not: one that lets T pass takes 1 - T of it. For a sphere of radius r
they are averaged over it with the weights 1/sqrt(r^2 - d^2), d from its middle, since each chord then counts alike.

Inclusions of the stone itself are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import xarray as xr

from ..displays import shown_by
from ..errors import InputError
from ..scene.view import View
from ..stone.stone import Stone
from ..units import number_in

FIELDS = {
    "images": ("number of images", "1"),
    "area": ("area of the images on the map per cross-section", "1"),
    "taken": ("share of the light that a small opaque speck takes, per cross-section", "mm-2"),
    "lost": ("share of the luminance that is missing with a small opaque speck, per cross-section", "mm-2"),
}
"""The fields with their long names and units."""
LEAST_INSIDE = 0.02
"""A voxel of which less lies in the stone has no values."""
SMALLEST_REGION = 0.01
"""Regions with a smaller share of the mask are counted, and not listed."""


@dataclass(frozen=True)
class Region:
    """A connected part of a stone.

    Attributes
    ----------
    share : of the stone's volume. value : mean of the field in it. middle_mm : (3,) its voxel nearest to its centroid.
    tiers : what lies straight above it, along the stone's axis: tiers and their shares of it, the largest first.
    depth_mm : how far below these facets it lies: its tenth and its ninetieth percent, mm.
    nearest, clearance_mm : the facet nearest to the middle, and its distance.
    """

    share: float
    value: float
    middle_mm: tuple[float, float, float]
    tiers: dict[str, float]
    depth_mm: tuple[float, float]
    nearest: str
    clearance_mm: float

    def __str__(self) -> str:
        above = ", ".join(f"{tier} ({100.0 * share:.0f} %)" for tier, share in list(self.tiers.items())[:2])
        low, high = self.depth_mm
        return (
            f"{100.0 * self.share:.2f} % of the volume, {low:.2f} to {high:.2f} mm below {above}; its middle is "
            f"{self.clearance_mm:.2f} mm from {self.nearest}"
        )


@dataclass(frozen=True)
class LeastSeen:
    """Where a small speck shows least.

    Attributes
    ----------
    by, below : the field, and the value that it has at most there. share : of the stone's volume.
    mask : on (x, y, z), True there. regions : its connected parts, the largest first. small : how many smaller ones there are.
    """

    by: str
    below: float
    share: float
    mask: xr.DataArray
    regions: tuple[Region, ...]
    small: int

    def to_dict(self) -> dict[str, Any]:
        """Plain numbers, ready for JSON."""
        regions = [asdict(one) for one in self.regions]
        return {"by": self.by, "below": self.below, "share": self.share, "small": self.small, "regions": regions}


@dataclass(frozen=True)
class VisibilityField:
    """The field of a stone in one view.

    Attributes
    ----------
    maps : `xarray.Dataset` on (x, y, z), mm in the stone's frame: the four fields, each with its ``_error`` (standard error),
        and `inside`, the share of the voxel in the stone. NaN where less than 0.02 of a voxel is inside.
    stone, view : what is seen, and from where.
    """

    maps: xr.Dataset
    stone: Stone
    view: View

    _repr_html_ = shown_by("visibility_card")

    def __repr__(self) -> str:
        return f"<VisibilityField: {self.stone.name!r}, {' x '.join(str(n) for n in self.maps.inside.shape)} voxels>"

    @property
    def relative_error(self) -> float:
        """Median over the voxels with at least one image of the standard error of `lost` over its value."""
        seen = (self.maps.images >= 1.0) & (self.maps.lost > 0.0)
        ratio = (self.maps.lost_error / self.maps.lost).values[seen.values]
        return float(np.median(ratio)) if ratio.size else float("nan")

    def at(self, point_mm: Sequence[float]) -> dict[str, float]:
        """The values of the voxel that holds a point (3,), mm. Raises InputError for a point outside the stone or the box."""
        wanted = np.array([number_in("point_mm", one, -1e6, 1e6, "mm") for one in point_mm])
        place = []
        for one, axis in zip(wanted, ("x", "y", "z"), strict=True):
            at = self.maps[axis].values
            place.append(round(float((one - at[0]) / self.maps.attrs[f"d{axis}_mm"])))
            if not 0 <= place[-1] < len(at):
                raise InputError("outside the field", key="point_mm", value=wanted.tolist(), expected="a point in its box")
        found = {str(name): float(values[tuple(place)]) for name, values in self.maps.data_vars.items()}
        if np.isnan(found["lost"]):
            raise InputError("outside the stone", key="point_mm", value=wanted.tolist(), expected="a point inside the stone")
        return found

    def least_seen(self, share: float = 0.1, by: str = "lost") -> LeastSeen:
        """The part of the stone in which a field is smallest.

        Parameters
        ----------
        share : of the volume, 0.001 to 1. by : a field, such as ``"lost"`` or ``"images"``.

        Raises InputError for a share out of range, or another field.
        """
        share = number_in("share", share, 0.001, 1.0)
        if by not in FIELDS:
            raise InputError("unknown field", key="by", value=by, expected=" or ".join(FIELDS))
        values, inside = self.maps[by].values, self.maps.inside.values
        place = np.flatnonzero(np.isfinite(values.ravel()))
        order = place[np.argsort(values.ravel()[place], kind="stable")]
        grown = np.cumsum(inside.ravel()[order])
        taken = order[: int(np.searchsorted(grown, share * grown[-1])) + 1]
        mask = np.zeros(values.size, bool)
        mask[taken] = True
        regions, small = self._regions(mask.reshape(values.shape), by, float(grown[-1]))
        shown = xr.DataArray(mask.reshape(values.shape), self.maps.inside.coords, self.maps.inside.dims)
        below, reached = float(values.ravel()[taken[-1]]), float(grown[len(taken) - 1] / grown[-1])
        return LeastSeen(by, below, reached, shown, regions, small)

    def _regions(self, mask: np.ndarray, by: str, whole: float) -> tuple[tuple[Region, ...], int]:
        """Connected parts of a mask: voxels that share a side."""
        from scipy.ndimage import label

        labels, count = label(mask)
        values, inside = self.maps[by].values, self.maps.inside.values
        places = np.stack(np.meshgrid(*(self.maps[axis].values for axis in "xyz"), indexing="ij"), axis=-1)
        sizes = np.bincount(labels.ravel(), inside.ravel(), count + 1)[1:]
        listed = np.flatnonzero(sizes >= SMALLEST_REGION * sizes.sum())
        found = []
        for k in listed[np.argsort(-sizes[listed], kind="stable")]:
            here = labels == k + 1
            points, weights = places[here], inside[here]
            centroid = weights @ points / weights.sum()
            middle = points[int(((points - centroid) ** 2).sum(axis=1).argmin())]
            room = self.stone.distances_mm - self.stone.normals @ middle
            nearest, (x, y, z) = int(room.argmin()), middle.tolist()
            found.append(
                Region(
                    share=float(sizes[k] / whole),
                    value=float(weights @ values[here] / weights.sum()),
                    middle_mm=(x, y, z),
                    **_above(self.stone, points, weights),
                    nearest=self.stone.facet_name(nearest),
                    clearance_mm=max(float(room[nearest]), 0.0),
                )
            )
        return tuple(found), count - len(found)


def _above(stone: Stone, points: np.ndarray, weights: np.ndarray) -> dict[str, Any]:
    """`tiers` and `depth_mm` of points (P, 3) with weights (P,); see `Region`."""
    up = np.flatnonzero(stone.normals[:, 2] > 1e-9)
    height = (stone.distances_mm[up] - points @ stone.normals[up].T) / stone.normals[up, 2]
    shares: dict[str, float] = {}
    for facet, weight in zip(up[height.argmin(axis=1)].tolist(), weights.tolist(), strict=True):
        shares[stone.tiers[facet]] = shares.get(stone.tiers[facet], 0.0) + weight
    ordered = sorted(shares.items(), key=lambda one: -one[1])
    low, high = np.quantile(np.maximum(height.min(axis=1), 0.0), (0.1, 0.9))
    return {"tiers": {t: float(w / weights.sum()) for t, w in ordered}, "depth_mm": (float(low), float(high))}
