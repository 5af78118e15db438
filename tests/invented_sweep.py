"""A sweep whose numbers are made up, so that nothing is traced, and the sum of a surrogate's terms."""

from __future__ import annotations

import numpy as np
import xarray as xr

import raylab as rl
from raylab.sweeps.surrogates import Surrogate
from raylab.workbench.design_json import DEMO

BOX = {"pavilion_angle_deg": (40.0, 42.0), "table_pct": (53.0, 61.0), "crown_angle_deg": (33.0, 36.0)}


def invented_sweep(designs: int = 120) -> xr.Dataset:
    """A sweep whose brightness is made up; designs of steep pavilions under large tables are none of stones."""
    unit = np.random.default_rng(5).random((designs, 3))
    axes = {key: ("design", low + unit[:, k] * (high - low)) for k, (key, (low, high)) in enumerate(BOX.items())}
    brightness = 0.4 + 0.2 * np.sin(3.0 * unit[:, 0]) * unit[:, 1] + 0.1 * unit[:, 2] ** 2
    brightness[(unit[:, 0] > 0.7) & (unit[:, 1] > 0.7)] = np.nan
    shared = {key: value for key, value in DEMO.items() if key not in (*BOX, "kind", "name") and value is not None}
    light = {"dome": "head-shadow", "tilt_deg": 0.0, "tilt_azimuth_deg": 0.0}
    reason = ("design", np.isnan(brightness).astype(np.int8))
    found = {"brightness": ("design", brightness, {"long_name": "brightness"}), "reason": reason}
    return xr.Dataset(found, {**axes, **shared, **light}, {"raylab_version": rl.__version__})


def summed(model: Surrogate, u: np.ndarray) -> float:
    """The terms of a surrogate at a point u of its unit box."""
    terms, squares = model.terms(), ((model.points - u) ** 2).sum(axis=1)
    return float(terms.constant + terms.slopes @ u + terms.weights @ (0.5 * squares * np.log(squares)))
