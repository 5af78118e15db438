"""What is drawn about a statistic of a series: its certain bracket, or its standard error where the series asked for one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import xarray as xr


def band(found: xr.Dataset, name: str) -> tuple[np.ndarray, np.ndarray]:
    """The lower and the upper end, in the shape of the statistic."""
    if "standard_error" in found.attrs:
        middle, twice = found[name].values, 2.0 * found[name + "_error"].values
        return middle - twice, middle + twice
    return found[name + "_low"].values, found[name + "_high"].values


def band_name(found: xr.Dataset) -> str:
    """What `band` is."""
    return "range of two standard errors to either side" if "standard_error" in found.attrs else "bracket"
