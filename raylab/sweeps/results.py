"""`load_sweep`: a finished sweep read again, proved where its folder says what its result is."""

from __future__ import annotations

import importlib.util
import io
import os
from pathlib import Path
from typing import TYPE_CHECKING

from ..designs.design import COLUMNS
from ..designs.keys import KEYS
from ..errors import InputError
from ..reading import read_file, reader
from .dealing import Deal
from .store import RESULT, RESULT_FILE, ZARR, finished_result

if TYPE_CHECKING:
    import xarray as xr

    from .swept import Sweep

MADE_BY = "raylab_version"
"""An attribute that every result of a sweep has."""
_EXPECTED = "the folder, the .nc file or the .zarr folder of a sweep"


@reader
def load_sweep(path: str | Path) -> Sweep:
    """The result of a sweep, as `sweep` returned it.

    A result in pieces is read as far as it is asked for: variable by variable, or, where dask is installed, piece by piece
    (``found.brightness.max().compute()``).

    Parameters
    ----------
    path : the folder of a finished sweep, or its result (.nc, .zarr), which may lie elsewhere by now.

    Raises
    ------
    InputError : no such file, a sweep that is not finished, a damaged result, a file that is no sweep's.
    """
    place = Path(path)
    if place.is_dir() and place.suffix == ".zarr":
        return _in_pieces(place)
    folder = place if place.is_dir() else place.parent
    proved = finished_result(folder) if place.is_dir() or place.name == RESULT else None
    if proved is not None and proved[0].get("result") == "zarr":
        return _in_pieces(folder / ZARR)
    file = folder / RESULT if place.is_dir() else place
    return read_result(read_file(file, RESULT_FILE) if proved is None else proved[1], str(file))


def read_result(data: bytes, file: str) -> Sweep:
    """The dataset in the bytes of a netCDF file. Raises InputError, which names the file, where they are no sweep's."""
    import xarray as xr

    try:
        found = xr.load_dataset(io.BytesIO(data), engine="h5netcdf")
    except (OSError, ValueError) as error:
        raise InputError(f"not a NetCDF file: {error}", file=file, expected=_EXPECTED) from error
    return _as_sweep(_checked(found, file))


def _in_pieces(place: Path) -> Sweep:
    """The dataset in a Zarr folder, nothing of which is read yet. Raises InputError where it is no sweep's or not complete."""
    import xarray as xr

    if importlib.util.find_spec("zarr") is None:
        raise InputError("zarr is not installed", file=str(place), expected="pip install 'raylab[zarr]'")
    chunks: dict[str, int] | None = {} if importlib.util.find_spec("dask") is not None else None
    try:
        found = xr.open_zarr(place, chunks=chunks, consolidated=True, zarr_format=2)
    except (OSError, ValueError, KeyError, TypeError) as error:
        words = str(error).splitlines()[0]
        raise InputError(f"not a Zarr folder: {words}", file=str(place), expected=_EXPECTED) from error
    for name, one in found.variables.items():
        files = sum(entry.name[0] != "." for entry in os.scandir(place / str(name)))
        wanted = one.encoding["chunks"] if one.ndim else ()
        if files != Deal(one.shape, wanted, 1).blocks:
            raise InputError(f"damaged result: files of {name} are gone", file=str(place), expected="all files of the sweep")
    return _as_sweep(_checked(found, str(place)))


def _as_sweep(found: xr.Dataset) -> Sweep:
    """The same as a `Sweep`, its variables in the order of the columns (zarr lists its arrays by their names)."""
    from .swept import Sweep  # it imports xarray

    order = dict.fromkeys((*COLUMNS, *KEYS, *found.variables))
    variables, coords = ({name: one[name].variable for name in order if name in one} for one in (found.data_vars, found.coords))
    return Sweep(variables, coords, found.attrs)


def _checked(found: xr.Dataset, file: str) -> xr.Dataset:
    if MADE_BY not in found.attrs or "reason" not in found:
        raise InputError("not the result of a sweep", file=file, expected=_EXPECTED)
    return found
