"""A sweep's result as a Zarr folder beside the netCDF file, for those who read it piece by piece or over a network."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from ..whole_files import whole_set
from .store import KEPT, ZARR

if TYPE_CHECKING:
    import xarray as xr


def check_zarr(out: str | Path | None) -> None:
    """Before anything is traced: raises InputError where there is no folder for it, or zarr isn't installed."""
    if out is None:
        raise InputError("needs a folder", key="zarr", value=True, expected="out, the folder of the sweep")
    if importlib.util.find_spec("zarr") is None:
        raise InputError("zarr is not installed", key="zarr", value=True, expected="pip install 'raylab[zarr]'")


def save_zarr(found: xr.Dataset, folder: Path) -> None:
    """Write `sweep.zarr` into a sweep's folder, whole or not at all; one that is there is the same sweep's and stays.

    Raises InputError where it can't be written.
    """
    if (folder / ZARR).exists():
        return
    with whole_set(folder, [ZARR], kept=KEPT) as stage:
        found.to_zarr(stage / ZARR, mode="w", zarr_format=2, consolidated=True)
