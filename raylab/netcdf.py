"""Labelled arrays as the bytes of a netCDF file.

Made in memory, because HDF5 takes the whole process down where it writes to a disk that turns out to be full (h5py 3.16).
"""

from __future__ import annotations

import io
import sys
from collections.abc import Mapping
from contextlib import nullcontext
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    import xarray as xr


class Labelled(Protocol):
    """An array whose axes have names: `values` with one of `dims` for each axis, and what is to be known of it."""

    @property
    def dims(self) -> tuple[Any, ...]: ...
    @property
    def values(self) -> Any: ...
    @property
    def attrs(self) -> dict[Any, Any]: ...


def of_dataset(found: xr.Dataset) -> bytes:
    """The bytes of a dataset.

    Without a dask cluster's client in charge, because xarray would ask it for a lock on a file that isn't one (xarray 2026.9).
    """
    alone = sys.modules["dask"].config.set(scheduler="synchronous") if "dask" in sys.modules else nullcontext()
    with alone:
        return bytes(found.to_netcdf(engine="h5netcdf"))


def of_variables(variables: Mapping[Any, Labelled], attrs: Mapping[Any, Any], **packing: Any) -> bytes:
    """The bytes of variables by name, numbers or text, in this order; for maps that need no xarray.

    Parameters
    ----------
    attrs : what is to be known of the whole.
    packing : how HDF5 compresses what has dimensions, as in ``compression="gzip"``.
    """
    import h5netcdf
    import h5py

    packed = io.BytesIO()
    with h5netcdf.File(packed, "w") as file:
        file.attrs.update(dict(attrs))
        file.dimensions = {
            dim: size for one in variables.values() for dim, size in zip(one.dims, one.values.shape, strict=True)
        }
        for name, one in variables.items():
            text = one.values.dtype.kind in "OU"
            values, dtype = (one.values.astype(object), h5py.string_dtype()) if text else (one.values, one.values.dtype)
            written = file.create_variable(name, one.dims, dtype, data=values, **(packing if one.dims else {}))
            written.attrs.update(one.attrs)
    return packed.getvalue()
