"""Labelled arrays as the bytes of a netCDF file.

Written by HDF5 itself after the rules of netCDF-4 (Unidata, The NetCDF User's Guide, appendix "File Format Specifications"):
a dimension is a dimension scale, each variable says by number which dimensions it has, and groups and attributes keep the
order in which they were made. h5netcdf, through which xarray writes, opens each variable some forty times: the seventy of a
sweep took half a second. It reads these files, and so does anything else that reads netCDF.

Made in memory, because HDF5 takes the whole process down where it writes to a disk that turns out to be full (h5py 3.16).
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from .version import __version__

if TYPE_CHECKING:
    import xarray as xr

_BARE = "This is a netCDF dimension but not a netCDF variable.%10d"


class Labelled(Protocol):
    """An array whose axes have names: `values` with one of `dims` for each axis, and what is to be known of it."""

    @property
    def dims(self) -> tuple[Any, ...]: ...
    @property
    def values(self) -> Any: ...
    @property
    def attrs(self) -> dict[Any, Any]: ...


def of_dataset(found: xr.Dataset) -> bytes:
    """The bytes of a dataset: what xarray reads from them is identical to it."""
    from xarray.conventions import cf_encoder, encode_dataset_coordinates

    return of_variables(*cf_encoder(*encode_dataset_coordinates(found)))


def of_variables(variables: Mapping[Any, Labelled], attrs: Mapping[Any, Any], **packing: Any) -> bytes:
    """The bytes of variables by name, numbers or text, in this order.

    Parameters
    ----------
    attrs : what is to be known of the whole.
    packing : how HDF5 compresses what has dimensions, as in ``compression="gzip"``.
    """
    import h5py

    sizes = {dim: size for one in variables.values() for dim, size in zip(one.dims, one.values.shape, strict=True)}
    number = {dim: k for k, dim in enumerate(sizes)}
    packed = io.BytesIO()
    with h5py.File(packed, "w", track_order=True) as file:
        _say(file, attrs)
        file.attrs["_NCProperties"] = np.bytes_(f"version=2,raylab={__version__},hdf5={h5py.version.hdf5_version}")
        for dim in sizes.keys() - variables.keys():
            file.create_dataset(dim, (sizes[dim],), ">f4", track_order=True).make_scale(_BARE % sizes[dim])
        for name, one in variables.items():
            written = _written(file, name, one, packing if one.dims else {})
            if name in sizes:
                written.make_scale(name)
        for dim in sizes.keys() - variables.keys():
            _say(file[dim], {"_Netcdf4Dimid": np.array(number[dim], np.int32)})
        for name, one in variables.items():
            if one.dims:
                theirs = np.array([number[dim] for dim in one.dims], np.int32)
                first = np.array(number[name] if name in number else theirs[0], np.int32)
                _say(file[name], {"_Netcdf4Dimid": first, "_Netcdf4Coordinates": theirs})
            if name not in sizes:
                for axis, dim in enumerate(one.dims):
                    file[name].dims[axis].attach_scale(file[dim])
    return packed.getvalue()


def _written(file: Any, name: str, one: Labelled, packing: dict[str, Any]) -> Any:
    """A variable and what is to be known of it, in the file."""
    import h5py

    values = np.asarray(one.values)
    if values.dtype.kind in "OU":
        written = file.create_dataset(name, data=values.astype(object), dtype=h5py.string_dtype(), track_order=True, **packing)
    else:
        fill = one.attrs.get("_FillValue")
        written = file.create_dataset(name, data=values, fillvalue=fill, track_order=True, **packing)
    _say(written, one.attrs)
    return written


def _say(thing: Any, attrs: Mapping[Any, Any]) -> None:
    """Attributes of a new file or variable: text, numbers, or rows of numbers. h5py's own way takes ten times as long."""
    from h5py import h5a, h5s, h5t, string_dtype

    text = string_dtype()
    for name, value in attrs.items():
        if isinstance(value, str):
            kind, space, held = h5t.py_create(text, logical=True), h5s.create(h5s.SCALAR), np.array(value, text)
        else:
            held = value if isinstance(value, np.ndarray) else np.atleast_1d(value)
            kind = h5t.py_create(held.dtype, logical=True)
            space = h5s.create_simple(held.shape) if held.shape else h5s.create(h5s.SCALAR)
        h5a.create(thing.id, name.encode(), kind, space).write(held)
