"""A stone in 3D with the part of it where a small speck shows least. pyvista is imported when used."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from ..results.visibility_field import LeastSeen, VisibilityField
from ..voxel_files import image_data
from ..whole_files import whole_file
from .drawing3d import drawn_off_screen
from .stone_in_3d import eye_on, plotter_of

SIZE = (1100, 760)
_BODY = "#c0392b"


def save_least_seen(
    field: VisibilityField,
    least: LeastSeen,
    path: str | Path,
    *,
    azimuth_deg: float = -65.0,
    elevation_deg: float = 20.0,
    force: bool = False,
) -> None:
    """Draw the stone, see-through, and in it the voxels of `least`, as PNG.

    Raises InputError where the machine draws nothing in 3D, or for an existing file without `force`.
    """
    eye = eye_on(field.stone, (), azimuth_deg, elevation_deg, SIZE, 0.0)

    def plotter() -> Any:
        made = plotter_of(field.stone, (), eye, off_screen=True)
        grid: Any = image_data(field)
        shown = least.mask.values & (field.maps.inside.values >= 0.5)  # others would reach out of the stone
        grid.cell_data["least"] = shown.ravel(order="F").astype(np.uint8)
        body = grid.threshold(0.5, scalars="least")
        if body.n_cells:
            made.add_mesh(body.extract_surface(algorithm=None), color=_BODY, ambient=0.3, diffuse=0.7, smooth_shading=False)
        return made

    with whole_file(path, force=force) as target:
        target.write_bytes(drawn_off_screen(plotter))
