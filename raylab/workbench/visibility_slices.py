"""The field of visibility for the page: computed when it is asked for, and sent whole, so that the page can slice it anywhere.

The page draws the luminance that a small speck would take. Its colours go by the root of the value, as in `visibility_plots`.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np

from ..errors import InputError
from ..fields import visibility
from ..lighting.dome import Dome
from ..pictures.visibility_plots import BRIGHTEST
from ..progress import Progress
from ..results.visibility_field import VisibilityField
from ..scene.scene import Scene
from ..stone.inclusions.inclusion import label
from ..stone.stone import Stone
from .design_json import stone_of
from .own_domes import dome_of_page
from .questions import FIELD, checked, view_of

VOXELS, RAYS = 48, 150_000
"""A few seconds of two cores; the standard error of a voxel that is seen is some 3 %, and the answer states it."""
SHARE = 0.1
"""Of the volume, where a speck shows least."""


def visibility_slices(request: dict[str, Any], domes: Mapping[str, Dome], update: Progress) -> dict[str, Any]:
    """The field of a design: a byte for each voxel, where these lie, and what the field is at the stone's inclusions.

    Byte 0 is outside the stone; 1 to 255 are the root of the value over that of `top_pct`, in percent per mm^2.
    Raises InputError for an invalid request, UnsupportedScene for a stone that scatters light.
    """
    request = checked(request, FIELD)
    scene = Scene(stone_of(request["design"]), dome_of_page(request, domes), view_of(request))
    field = visibility(scene, voxels=VOXELS, rays=RAYS, progress=update)
    maps, least = field.maps, field.least_seen(SHARE)
    lost = maps.lost.values
    top = float(np.nanquantile(lost, BRIGHTEST))
    shares = np.sqrt(np.clip(lost / top, 0.0, 1.0)) if top > 0.0 else np.where(np.isnan(lost), np.nan, 0.0)
    levels = np.where(np.isnan(shares), 0, 1 + np.rint(254.0 * np.nan_to_num(shares))).astype(np.uint8)
    return {
        "levels": base64.b64encode(levels.tobytes()).decode(),
        "shape": list(levels.shape),
        "first_mm": [float(maps[axis][0]) for axis in "xyz"],
        "step_mm": [float(maps.attrs[f"d{axis}_mm"]) for axis in "xyz"],
        "top_pct": 100.0 * top,
        "relative_error": field.relative_error,
        "places": [place_in(field, scene.stone, number) for number in range(1, len(scene.stone.inclusions) + 1)],
        "least": {"share": least.share, "below_pct": 100.0 * least.below, "regions": [str(one) for one in least.regions[:3]]},
    }


def place_in(field: VisibilityField, stone: Stone, number: int) -> dict[str, Any]:
    """What a small speck in the middle of inclusion `number` would show; `outside` says why there is nothing to say."""
    one = stone.inclusions[number - 1]
    found: dict[str, Any] = {"name": label(one, number), "center_mm": list(one.center_mm)}
    try:
        here = field.at(one.center_mm)
    except InputError:  # its middle is in the stone, so this voxel is one of those at the surface without a value
        return {**found, "outside": "its voxel lies almost wholly outside the stone"}
    return {**found, "images": here["images"], "lost_pct": 100.0 * here["lost"], "error_pct": 100.0 * here["lost_error"]}
