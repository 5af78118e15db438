"""A field of visibility on the disk: netCDF for arrays with labels, VTK's image data for programs that show volumes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from . import netcdf
from .errors import InputError
from .results.visibility_field import VisibilityField
from .whole_files import whole_file


def save_visibility(field: VisibilityField, path: str | Path, *, force: bool = False) -> None:
    """Write a field of visibility as netCDF (.nc) or as VTK image data (.vti).

    The image data hold the same values in the voxels as cell data, NaN outside the stone; lengths in mm, stone's frame.

    Raises InputError for another suffix, or an existing file without `force`.
    """
    suffix = Path(path).suffix.lower()
    if suffix not in (".nc", ".vti"):
        raise InputError("unknown kind of file", file=str(path), expected="a file name that ends in .nc or .vti")
    packed = netcdf.of_dataset(field.maps) if suffix == ".nc" else b""
    with whole_file(path, force=force) as target:
        if suffix == ".nc":
            target.write_bytes(packed)
        else:
            image_data(field).save(target)


def image_data(field: VisibilityField) -> Any:
    """The field as `pyvista.ImageData`."""
    import pyvista

    maps = field.maps
    sides = [float(maps.attrs[f"d{axis}_mm"]) for axis in "xyz"]
    corner = [float(maps[axis][0]) - 0.5 * side for axis, side in zip("xyz", sides, strict=True)]
    grid: Any = pyvista.ImageData(dimensions=np.array(maps.inside.shape) + 1, spacing=sides, origin=corner)
    for name, values in maps.data_vars.items():
        grid.cell_data[str(name)] = values.values.ravel(order="F")
    return grid
