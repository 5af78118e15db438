"""`Sweep`: the numbers of a sweep as xarray's labelled arrays, which a notebook shows at a glance."""

from __future__ import annotations

import xarray as xr

from ..displays import shown_by


class Sweep(xr.Dataset):  # type: ignore[no-untyped-call]  # of its __init_subclass__
    """What `sweep` and `load_sweep` return: an xarray Dataset in every respect but what a notebook shows of it.

    What is selected from it, as by ``found.sel(tilt_deg=0)``, is one too.
    """

    __slots__ = ()
    _repr_html_ = shown_by("sweep_card")
