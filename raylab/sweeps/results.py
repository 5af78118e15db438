"""`load_sweep`: a finished sweep read again, proved where its folder says what its result is."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from ..reading import read_file, reader
from .store import RESULT, RESULT_FILE, finished_result

if TYPE_CHECKING:
    import xarray as xr

MADE_BY = "raylab_version"
"""An attribute that every result of a sweep has."""


@reader
def load_sweep(path: str | Path) -> xr.Dataset:
    """The result of a sweep, as `sweep` returned it.

    Parameters
    ----------
    path : the folder of a finished sweep, or a file of its result (.nc), which may lie elsewhere by now.

    Raises
    ------
    InputError : no such file, a sweep that is not finished, a damaged result, a file that is no sweep's.
    """
    place = Path(path)
    file = place / RESULT if place.is_dir() else place
    data = finished_result(file.parent) if file.name == RESULT else None
    return opened(read_file(file, RESULT_FILE) if data is None else data, str(file))


def opened(data: bytes, file: str) -> xr.Dataset:
    """The dataset in the bytes of a result. Raises InputError, which names the file, where they are no sweep's."""
    import xarray as xr

    expected = "the folder or the .nc file of a sweep"
    try:
        found = xr.load_dataset(io.BytesIO(data), engine="h5netcdf")
    except (OSError, ValueError) as error:
        raise InputError(f"not a NetCDF file: {error}", file=file, expected=expected) from error
    if MADE_BY not in found.attrs or "reason" not in found:
        raise InputError("not the result of a sweep", file=file, expected=expected)
    return found
