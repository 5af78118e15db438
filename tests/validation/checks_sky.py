"""The CIE standard overcast sky: its luminances and what they sum to."""

from __future__ import annotations

import math

import numpy as np
from checks import check, off
from polyhedra import published, ref

from raylab.lighting.dome import Dome

OVERCAST = {"sky": "overcast", "tray_radiance": 0.0}


@check
def overcast_luminances() -> float:
    """(1 + 2 sin elevation)/3 of the zenith, `sky.L` (CIE S 011:2003, ISO 15469), by zenith angle; seven decimals."""
    keys = [key for key in published() if key.startswith("sky.L.")]
    zenith = np.radians([float(key.removeprefix("sky.L.")) for key in keys])
    unit = np.column_stack([np.sin(zenith), np.zeros_like(zenith), np.cos(zenith)])
    return off(Dome(**OVERCAST).radiance(unit), [ref(key) for key in keys], 6e-8)


def _seen(azimuth_from: float, azimuth_to: float) -> tuple[np.ndarray, np.ndarray]:
    """Directions (G, 3) at Gauss points of the sky between two azimuths, and luminance times solid angle (G,) there."""
    at, weight = np.polynomial.legendre.leggauss(64)
    elevation = (at + 1.0) * math.pi / 4.0
    azimuth = azimuth_from + (at + 1.0) / 2.0 * (azimuth_to - azimuth_from)
    el, az = (grid.ravel() for grid in np.meshgrid(elevation, azimuth, indexing="ij"))
    unit = np.column_stack([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)])
    around = weight * (azimuth_to - azimuth_from) / 2.0
    solid_angle = np.outer(weight * math.pi / 4.0 * np.cos(elevation), around).ravel()
    return unit, Dome(**OVERCAST).radiance(unit) * solid_angle


@check
def overcast_illuminances() -> float:
    """Horizontal 7 pi/9, vertical pi/6 + 4/9, their ratio, mean 2/3, `sky` (closed forms), by quadrature; nine decimals."""
    everywhere, seen = _seen(-math.pi, math.pi)
    ahead, seen_ahead = _seen(-math.pi / 2.0, math.pi / 2.0)
    horizontal, vertical, mean = seen @ everywhere[:, 2], seen_ahead @ ahead[:, 0], seen.sum() / (2.0 * math.pi)
    found = [horizontal, vertical, vertical / horizontal, mean]
    return off(found, [ref(f"sky.{key}") for key in ("Eh", "Ev", "EvEh", "mean")], 6e-10)
