"""xarray reads from netCDF files what was put in."""

from __future__ import annotations

import io

import h5py
import numpy as np
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


def test_what_is_read_is_what_was_written():
    xr.testing.assert_identical(read(netcdf.of_dataset(FOUND)), FOUND)


def test_packing_changes_no_number_and_text_is_not_padded():
    small = netcdf.of_variables(
        FOUND.drop_vars("seen").variables, {"coordinates": "table_pct"}, compression="gzip", shuffle=True
    )
    with h5py.File(io.BytesIO(small)) as file:
        assert file["brightness"].compression == "gzip"
        assert file["table_pct"].compression is None
        assert list(file["stone"].asstr()) == ["a", "bb"]
    assert np.array_equal(read(small).brightness, FOUND.brightness, equal_nan=True)
