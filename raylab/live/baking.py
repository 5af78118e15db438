"""Stones, domes and colours as the plain numbers that the shader of a live picture takes.

The shader knows what the library knows: the stone's planes with side facets last and the index and absorption at each
wavelength, the dome's zones and lamps exactly, and three weights of each wavelength with the matrix that leads to the screen.
Inclusions lie in a texture of rows of four numbers (`INCLUSION_ROWS`). What the shader can't carry is refused here: more planes
than its block of numbers holds, more inclusions than the texture does, a finish that it doesn't know.

An image of the sky becomes one of at most `IMAGE_ROWS` rows, each pixel the exact mean over its solid angle (`sky_image`).
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np

from ..errors import UnsupportedScene
from ..lighting.dome import Dome
from ..lighting.sky_image import smaller_image
from ..optics.color import SRGB_TO_XYZ, SRGB_WHITE, XYZ_TO_SRGB, white_balance, white_xyz
from ..optics.spectrum import LOW_NM, WavelengthSet, color_weights, wavelength_set
from ..stone.finish import ABSORBS
from ..stone.stone import Stone
from ..tracers.crossings import inclusion_table
from ..tracers.stone_table import stone_table
from ..units import SODIUM_D_NM

MOST_PLANES = 1024
"""Every WebGL 2 has room for 1024 planes in a block of uniforms (16,384 bytes)."""
MOST_PATCHES = 64
"""Zones, and lamps, of a dome; one more lamp has room beside them."""
WAVELENGTHS = 64
"""Of a uniform set, one after the other over 64 frames. A multiple of four: neighbouring pixels share the spectrum."""
INCLUSION_ROWS = 5
"""Of an inclusion: the sphere around it; its kind, transmittance, first face and number of faces; and in three rows what takes
an ellipsoid's axes to the unit axes, or in one a disc's normal. The faces of polyhedra come after all inclusions."""
ELLIPSOID, DISC, POLYHEDRON = range(3)
MOST_ROWS = 8192
"""Of inclusions and faces, a third of a megabyte."""
CARRIED = ("polished", "absorbing", "lambertian", "rough")
"""Kinds of finishes that the shader knows."""
IMAGE_ROWS = 128
"""Of a baked image of the sky, with twice as many columns: 1.4 degrees a pixel."""


def live_set(low_nm: float = LOW_NM) -> WavelengthSet:
    """The wavelengths of a live picture."""
    return wavelength_set(WAVELENGTHS, low_nm=low_nm)


def baked_stone(stone: Stone, waves: WavelengthSet) -> dict[str, Any]:
    """A stone for the shader; `facets` says which facet of the stone each of its planes is. `finishes` has the code and the
    number of each plane's finish where one of them scatters light on, and is empty where none does.

    Raises UnsupportedScene for what the shader can't carry, InputError for a wavelength outside the data of the material.
    """
    _refuse(stone)
    rows = stone_table(stone, SODIUM_D_NM)
    height = float(np.abs(stone.vertices_mm[:, 2]).max())
    core2 = float(rows.rim.core2.min())
    absorbing = np.zeros(MOST_PLANES, np.uint8)
    absorbing[: len(stone)] = rows.finish == ABSORBS
    finishes = np.column_stack([rows.finish, rows.amount]) if stone.scatters else np.empty((0, 2))
    return {
        "name": stone.name,
        "planes": _short(rows.planes),
        "facets": rows.facet.tolist(),
        "sloping": rows.sloping,
        "core": [core2 if np.isfinite(core2) else 1e30, height],
        "inclusions": _short(_inclusion_rows(stone)),
        "inclusionCount": len(stone.inclusions),
        "absorbing": np.packbits(absorbing, bitorder="little").view("<u4").tolist(),
        "finishes": _short(finishes),
        "indices": _short([stone.material.n(float(w)) for w in waves.nodes_nm]),
        "absorptions": _short([stone.material.absorption_per_mm(float(w)) for w in waves.nodes_nm]),
    }


def _refuse(stone: Stone) -> None:
    if len(stone) > MOST_PLANES:
        raise _unsupported(stone, f"{len(stone)} planes are more than a live picture takes", f"at most {MOST_PLANES} planes")
    if (rows := len(_inclusion_rows(stone))) > MOST_ROWS:
        problem = f"{len(stone.inclusions)} inclusions and their faces take {rows} rows of a live picture's table"
        raise _unsupported(stone, problem, f"at most {MOST_ROWS}, {INCLUSION_ROWS} an inclusion and one a face")
    for facet, finish in enumerate(stone.finishes):
        if finish.kind not in CARRIED:
            name = f"{finish.kind} on {stone.facet_name(facet)}"
            raise _unsupported(stone, f"a live picture does not carry this finish: {name}", f"one of {', '.join(CARRIED)}")


def _inclusion_rows(stone: Stone) -> np.ndarray:
    """(R, 4) the stone's inclusions, see `INCLUSION_ROWS`."""
    table, count = inclusion_table(stone.inclusions), len(stone.inclusions)
    heads, faces = np.zeros((count, INCLUSION_ROWS, 4)), np.diff(table.starts)
    flat = table.flats.any(axis=1)
    heads[:, 0] = table.spheres
    heads[~flat, 0, 3] *= 1.0 + 1e-5  # a sphere around a body errs to the large side, by more than 32 bits round
    heads[:, 1, 0] = np.where(flat, DISC, np.where(faces > 0, POLYHEDRON, ELLIPSOID))
    heads[:, 1, 1] = table.transmittance
    heads[:, 1, 2] = INCLUSION_ROWS * count + table.starts[:-1]
    heads[:, 1, 3] = faces
    heads[:, 2:, :3] = table.quadrics
    heads[flat, 2, :3] = table.flats[flat]
    return np.concatenate([heads.reshape(-1, 4), table.faces])


def _unsupported(stone: Stone, problem: str, expected: str) -> UnsupportedScene:
    return UnsupportedScene(problem, key="stone", value=stone.name, expected=expected)


def baked_dome(dome: Dome) -> dict[str, Any]:
    """A dome for the shader, in units of its brightest radiance; `scaled` says the sizes of an image that was made smaller.

    Raises UnsupportedScene for more zones or lamps than the shader takes.
    """
    for key, patches in (("zones", dome.zones), ("lamps", dome.lamps)):
        if len(patches) >= MOST_PATCHES:
            problem, expected = f"a live picture does not take {len(patches)} {key}", f"fewer than {MOST_PATCHES}"
            raise UnsupportedScene(problem, key="dome", value=dome.name, expected=expected)
    table, unit = dome.table, 1.0 / dome.peak_radiance
    zones, lamps = table.zones.copy(), table.lamps.copy()
    zones[:, 4] *= unit
    lamps[:, 4] *= unit
    zones[zones[:, 3] >= 2.0 * np.pi, 3] = 7.0  # all around: no edge in azimuth
    zones[zones[:, 0] <= -1.0, 0] = -2.0  # the nadir and the zenith are no edges
    zones[zones[:, 1] >= 1.0, 1] = 2.0
    image, scaled = None, ""
    if dome.image is not None:
        smaller = smaller_image(table.image, IMAGE_ROWS) * unit
        image = {
            "width": smaller.shape[1],
            "height": smaller.shape[0],
            "halves": base64.b64encode(smaller.astype("<f2").tobytes()).decode("ascii"),
        }
        if smaller.shape != table.image.shape:
            old, new = (f"{shape[1]} x {shape[0]}" for shape in (table.image.shape, smaller.shape))
            scaled = f"Its image of {old} pixels is shown as one of {new}."
    return {
        "name": dome.name,
        "about": dome.description,
        "scaled": scaled,
        "sky": table.sky,
        "level": float(table.level) * unit,
        "zones": [_short(row) for row in zones],
        "lamps": [_short(row) for row in lamps],
        "head": float(table.head_cos),
        "tray": float(table.tray) * unit,
        "image": image,
    }


def baked_light(light: str, waves: WavelengthSet) -> dict[str, Any]:
    """The illuminant's weights of X, Y and Z, its white, and the way to the screen; see `optics.color`."""
    white = white_xyz(waves, light)
    to_screen = XYZ_TO_SRGB @ white_balance(np.eye(3), white).T
    return {
        "name": light,
        "nodes": _short(waves.nodes_nm),
        "weights": _short(color_weights(waves, light)),
        "white": _short(white),
        "toScreen": _short(to_screen),
        "luminance": _short(SRGB_TO_XYZ[1] / SRGB_WHITE[1]),
    }


def baked_map(name: str) -> dict[str, Any]:
    """A false-colour map: its title, and 256 colours of the library's own."""
    from matplotlib import colormaps

    from ..pictures.plots import LOOKS
    from ..results.maps import DEFINITIONS

    colors = np.rint(colormaps[LOOKS[name].colors](np.linspace(0.0, 1.0, 256))[:, :3] * 255.0).astype(np.uint8)
    title, _, definition = DEFINITIONS[name]
    packed = base64.b64encode(colors.tobytes()).decode("ascii")
    return {"name": name, "title": title, "definition": definition, "colors": packed}


def _short(numbers: Any) -> list[float]:
    """Numbers in one row as the shortest decimals of their 32-bit floats, none of them minus zero."""
    return [float(str(number)) for number in (np.asarray(numbers, dtype=np.float32) + np.float32(0.0)).ravel()]
