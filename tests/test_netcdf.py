"""netCDF files are built as xarray builds them, and xarray reads from them what was put in."""

from __future__ import annotations

import io

import h5py
import numpy as np
import pytest
import xarray as xr

from raylab import netcdf

FOUND = xr.Dataset(
    {
        "brightness": (("tilt_deg", "stone"), np.array([[0.5, np.nan], [0.25, 1e-300]]), {"units": "1", "long_name": "Ω"}),
        "code": (("tilt_deg",), np.array([3, -1], np.int8), {"flag_values": np.arange(3, dtype=np.int8), "exact": 0.1}),
        "seen": (("corner", "tilt_deg"), np.array([[True, False]] * 3)),
        "name": ((), "étoile"),
    },
    {"tilt_deg": [0.0, 5.0], "stone": ["a", "bb"], "table_pct": 57.0, "weight_ct": ("stone", [1.0, 2.0], {"units": "ct"})},
    {"title": "a thing", "polarized": 1, "range": [0.0, 1.0]},
)


def read(data: bytes) -> xr.Dataset:
    return xr.load_dataset(io.BytesIO(data), engine="h5netcdf")


def built(data: bytes) -> dict[str, object]:
    """All that is in a file, by its place there: kinds, shapes, attributes with their types, but not who made it."""
    found: dict[str, object] = {}

    def look(name: str, thing: h5py.Group | h5py.Dataset) -> None:
        for key in thing.attrs:
            one = thing.attrs.get_id(key)
            lists = key in ("DIMENSION_LIST", "REFERENCE_LIST")  # addresses
            found[f"{name}@{key}"] = one.dtype, one.shape, len(thing.attrs[key]) if lists else str(thing.attrs[key])
        if isinstance(thing, h5py.Dataset):
            found[name] = thing.dtype, thing.shape, thing.is_scale, str(thing.fillvalue), str(thing[()])
            found[f"{name} scales"] = [[scale.name for scale in dim.values()] for dim in thing.dims]

    with h5py.File(io.BytesIO(data)) as file:
        look("", file)
        file.visititems(look)
    del found["@_NCProperties"]
    return found


def test_what_is_read_is_what_was_written():
    xr.testing.assert_identical(read(netcdf.of_dataset(FOUND)), FOUND)


def test_a_file_is_built_as_xarray_builds_it():
    assert built(netcdf.of_dataset(FOUND)) == built(bytes(FOUND.to_netcdf(engine="h5netcdf")))


@pytest.mark.parametrize("wrong", [FOUND.drop_vars("name"), FOUND.assign_attrs(polarized=2), FOUND.isel(stone=[0])])
def test_another_dataset_is_another_file(wrong):
    assert built(netcdf.of_dataset(wrong)) != built(netcdf.of_dataset(FOUND))


def test_packing_changes_no_number_and_text_is_not_padded():
    small = netcdf.of_variables(
        FOUND.drop_vars("seen").variables, {"coordinates": "table_pct"}, compression="gzip", shuffle=True
    )
    with h5py.File(io.BytesIO(small)) as file:
        assert file["brightness"].compression == "gzip"
        assert file["table_pct"].compression is None
        assert list(file["stone"].asstr()) == ["a", "bb"]
    assert np.array_equal(read(small).brightness, FOUND.brightness, equal_nan=True)
