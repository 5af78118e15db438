"""From spectra to colours on a screen, one named step at a time. Nothing is adapted, exposed or clipped unasked.

    spectrum -> XYZ        weights of the wavelength set under a light; a perfect white has Y = 1
    XYZ -> XYZ             white balance: linear Bradford, from the white of the light to the white of sRGB
    XYZ -> linear sRGB     matrix of IEC 61966-2-1:1999; values below 0 or above 1 are colours that no screen shows
    linear -> in gamut     towards the neutral of equal luminance, just as far as needed
    in gamut -> sRGB       encoding of IEC 61966-2-1:1999
    XYZ -> Lab             CIELAB, relative to a stated white, and CIEDE2000 between two colours

All functions take arrays whose last axis holds the three components, and keep nan (a pixel that no stone covers) as nan.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..units import number_in
from .spectrum import WavelengthSet, color_weights

XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
"""IEC 61966-2-1:1999, with the four digits that the standard prints."""

SRGB_TO_XYZ = np.linalg.inv(XYZ_TO_SRGB)
SRGB_WHITE = SRGB_TO_XYZ.sum(axis=1)
"""XYZ of linear (1, 1, 1): D65 within 2e-4, the rounding of the matrix. The target of the white balance."""

BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""XYZ to sharpened cone responses: Lam, thesis, University of Bradford 1985 (cited from memory); used without Lam's
non-linear blue, as in the ICC profile specification (from memory)."""


def spectrum_to_xyz(spectrum: Any, waves: WavelengthSet, light: str = "D65") -> np.ndarray:
    """XYZ (..., 3) of spectra (..., N) given at the set's wavelengths, relative to a perfect white under the light (Y = 1).

    >>> from raylab.optics.spectrum import wavelength_set
    >>> float(spectrum_to_xyz([0.5] * 8, wavelength_set(8))[1].round(12))
    0.5
    """
    return np.asarray(spectrum, dtype=float) @ color_weights(waves, light)


def white_xyz(waves: WavelengthSet, light: str = "D65") -> np.ndarray:
    """XYZ (3,) of a perfect white under the light, as `spectrum_to_xyz` gives it: the set's own range, Y = 1."""
    return color_weights(waves, light).sum(axis=0)


def white_balance(xyz: Any, white_from: Any, white_to: Any = SRGB_WHITE) -> np.ndarray:
    """Colours (..., 3) seen under one white, as they look under another: von Kries scaling of linear Bradford responses.

    `white_from` itself becomes `white_to` exactly; all else is a model of the eye's adaptation.
    """
    gain = (BRADFORD @ np.asarray(white_to, dtype=float)) / (BRADFORD @ np.asarray(white_from, dtype=float))
    return np.asarray(xyz, dtype=float) @ (np.linalg.inv(BRADFORD) @ (gain[:, None] * BRADFORD)).T


def xyz_to_linear_srgb(xyz: Any) -> np.ndarray:
    """Linear sRGB (..., 3), unclipped, of XYZ (..., 3) with Y = 1 for white.

    >>> xyz_to_linear_srgb([0.0, 1.0, 0.0]).tolist()
    [-1.5372, 1.8758, -0.204]
    """
    return np.asarray(xyz, dtype=float) @ XYZ_TO_SRGB.T


def into_gamut(linear: Any) -> np.ndarray:
    """Linear sRGB (..., 3) brought within 0 to 1.

    The colour moves on a straight line towards the neutral of equal luminance and stops at the first point that a screen
    shows: luminance is kept, chroma is given up. Brighter than white becomes white, darker than black becomes black. Colours in
    gamut are left as they are.

    >>> into_gamut([-0.2, 0.4, 0.1]).round(4).tolist()
    [0.0, 0.3338, 0.1669]
    >>> into_gamut([3.0, 1.5, 1.2]).tolist()
    [1.0, 1.0, 1.0]
    """
    found = np.array(linear, dtype=float)
    outside = ~((found >= 0.0) & (found <= 1.0)).all(axis=-1)
    some = found[outside]
    luminance = (some @ (SRGB_TO_XYZ[1] / SRGB_WHITE[1]))[..., None]
    neutral = np.clip(luminance, 0.0, 1.0)
    away = some - neutral
    # Largest part of the way from neutral to colour that stays in gamut: neutral + part * away in [0, 1].
    span = np.where(away > 0, 1.0 - neutral, neutral)
    part = np.divide(span, np.abs(away), out=np.ones_like(away), where=np.abs(away) > span).min(axis=-1, keepdims=True)
    part = np.where((luminance < 0) | (luminance > 1), 0.0, part)
    found[outside] = np.clip(neutral + part * away, 0.0, 1.0)
    return found


def srgb_encode(linear: Any) -> np.ndarray:
    """Encoded sRGB of linear sRGB, element by element. Meant for 0 to 1; nothing is clipped, negative values stay linear.

    >>> float(srgb_encode(0.18).round(8))
    0.46135613
    """
    linear = np.asarray(linear, dtype=float)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055)[()]


def srgb_decode(encoded: Any) -> np.ndarray:
    """Linear sRGB of encoded sRGB: the inverse of `srgb_encode`.

    >>> float(srgb_decode(0.5).round(8))
    0.21404114
    """
    encoded = np.asarray(encoded, dtype=float)
    return np.where(encoded <= 0.04045, encoded / 12.92, ((np.maximum(encoded, 0.04045) + 0.055) / 1.055) ** 2.4)[()]


def xyz_to_srgb(xyz: Any, *, white: Any, exposure: float = 1.0) -> np.ndarray:
    """Colours for a screen: white balance, exposure, gamut and encoding, in this order.

    Parameters
    ----------
    xyz : (..., 3), Y = 1 for a perfect white.
    white : XYZ (3,) that shall look neutral, e.g. `white_xyz`; None leaves the colours unadapted.
    exposure : factor on the light; 1 shows a perfect white as the screen's white.

    Returns
    -------
    Encoded sRGB (..., 3) within 0 to 1, nan where `xyz` is nan.
    """
    number_in("exposure", exposure, 0.0, 1e6)
    balanced = np.asarray(xyz, dtype=float) if white is None else white_balance(xyz, white)
    return srgb_encode(into_gamut(xyz_to_linear_srgb(exposure * balanced)))


def xyz_to_lab(xyz: Any, white: Any) -> np.ndarray:
    """CIELAB (..., 3) of XYZ (..., 3) relative to a white (3,): L* 0 to 100, a*, b*. CIE 015:2018.

    >>> xyz_to_lab([0.25, 0.25, 0.25], [1.0, 1.0, 1.0]).round(4).tolist()
    [57.0754, 0.0, 0.0]
    """
    ratio = np.asarray(xyz, dtype=float) / np.asarray(white, dtype=float)
    knee = 6 / 29
    f = np.where(ratio > knee**3, np.cbrt(ratio), ratio / (3 * knee**2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(lab_1: Any, lab_2: Any) -> np.ndarray:
    """CIEDE2000 difference (...) between CIELAB colours (..., 3), with k_L = k_C = k_H = 1.

    Written from Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21-30, doi:10.1002/col.20070. Hues exactly opposite, where
    the formula jumps, are compared with a margin of 1e-9 degrees, so that rounding does not choose the branch.

    >>> float(ciede2000([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485]).round(4))
    2.0425
    """
    L1, a1, b1 = np.moveaxis(np.asarray(lab_1, dtype=float), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(lab_2, dtype=float), -1, 0)
    # a' is stretched near the neutral axis, by the mean chroma of the two.
    seventh = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(seventh / (seventh + 25.0**7))
    C1, h1 = _polar(a1 * stretch, b1)
    C2, h2 = _polar(a2 * stretch, b2)
    dH, h = _hue_difference(C1, h1, C2, h2)
    dL, dC, L, C = L2 - L1, C2 - C1, (L1 + L2) / 2, (C1 + C2) / 2
    T = 1 - 0.17 * _cos(h - 30) + 0.24 * _cos(2 * h) + 0.32 * _cos(3 * h + 6) - 0.20 * _cos(4 * h - 63)
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)
    S_C, S_H = 1 + 0.045 * C, 1 + 0.015 * C * T
    # Chroma and hue of blues are not independent: a rotation term.
    turn = np.radians(60 * np.exp(-(((h - 275) / 25) ** 2)))
    R_T = -2 * np.sqrt(C**7 / (C**7 + 25.0**7)) * np.sin(turn)
    l_term, c_term, h_term = dL / S_L, dC / S_C, dH / S_H
    return np.sqrt(np.maximum(l_term**2 + c_term**2 + h_term**2 + R_T * c_term * h_term, 0.0))


def _hue_difference(C1: Any, h1: Any, C2: Any, h2: Any) -> tuple[Any, Any]:
    """Delta H' and the mean hue (degrees) of CIEDE2000: across the shorter arc, and the other's hue where one is grey."""
    gray = C1 * C2 == 0
    dh = np.where(gray, 0.0, h2 - h1)
    far = np.abs(dh) > 180 + 1e-9
    mean = np.where(gray, h1 + h2, (h1 + h2) / 2)
    mean = np.where(far, np.where(h1 + h2 < 360, mean + 180, mean - 180), mean)
    dh = np.where(far, dh - 360 * np.sign(dh), dh)
    return 2 * np.sqrt(C1 * C2) * np.sin(np.radians(dh) / 2), mean


def _polar(a: Any, b: Any) -> tuple[Any, Any]:
    """Chroma and hue in degrees, 0 to 360; hue 0 where there is no chroma."""
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def _cos(angle_deg: Any) -> Any:
    return np.cos(np.radians(angle_deg))
