"""What is written to disk: maps, numbers, pictures, stones. A file is there whole or not at all, see `whole_files`.

A file that is already there is never overwritten unless ``force=True``.
"""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from . import netcdf
from .errors import InputError
from .stone.facet_table import facet_table
from .stone.stone import Stone
from .version import __version__
from .whole_files import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from .results.accounting import FacetTable
    from .results.dark_areas import DarkAreas
    from .results.maps import MapArrays
    from .tracing import Result

_MESHES = (".stl", ".obj", ".ply", ".glb")
_STONES = (*_MESHES, ".csv", ".toml")


def save_maps(maps: MapArrays, path: str | Path, about: dict[str, str] | None = None, *, force: bool = False) -> None:
    """Maps as netCDF (HDF5), compressed, with units and definitions; `about` is added to the attributes.

    64-bit floats, so that the ledger closes in the file too.
    """
    dims = {dim for one in maps.variables.values() for dim in one.dims}
    beside = " ".join(name for name in maps.coordinates if name not in dims)  # CF: coordinates that are no dimensions
    attrs = {**maps.attrs, **(about or {}), **({"coordinates": beside} if beside else {})}
    packed = netcdf.of_variables(maps.variables, attrs, compression="gzip", compression_opts=1, shuffle=True)
    with whole_file(path, force=force) as target:
        target.write_bytes(packed)


def save_luminance(maps: MapArrays, path: str | Path, *, force: bool = False) -> None:
    """Linear luminance as a 32-bit float TIFF, first row at the top (y falling), 0 outside the stone; one page per
    wavelength."""
    import tifffile

    pixels = np.nan_to_num(maps.values("luminance")[..., ::-1, :]).astype(np.float32)
    size = 10.0 / maps.attrs["pixel_mm"]  # pixels per centimetre
    with whole_file(path, force=force) as target:
        tifffile.imwrite(
            target,
            pixels,
            photometric="minisblack",
            compression="zlib",
            resolution=(size, size),
            resolutionunit="CENTIMETER",
            software=f"raylab {__version__}",
            metadata=None,
        )


def save_summary(result: Result, path: str | Path, dark: DarkAreas | None = None, *, force: bool = False) -> None:
    """The numbers of a trace as JSON; see `report`."""
    with whole_file(path, force=force) as target:
        target.write_text(to_json(report(result, dark)), encoding="utf-8")


def save_png(figure: Figure, path: str | Path, *, force: bool = False, dpi: int = 110) -> None:
    """A picture made by `plots`, as PNG."""
    with whole_file(path, force=force) as target:
        figure.savefig(
            target, format="png", dpi=dpi, metadata={"Software": f"raylab {__version__}"}, pil_kwargs={"compress_level": 2}
        )


def save_pixels(pixels: np.ndarray, path: str | Path, *, force: bool = False, dpi: int = 110) -> None:
    """A picture given as (rows, columns, 3) of 8 bits, as PNG."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    about = PngInfo()
    about.add_text("Software", f"raylab {__version__}")
    with whole_file(path, force=force) as target:
        Image.fromarray(pixels).save(target, format="png", compress_level=2, dpi=(dpi, dpi), pnginfo=about)


def save_svg(text: str, path: str | Path, *, force: bool = False) -> None:
    """A vector picture made by `vector.svg`."""
    with whole_file(path, force=force) as target:
        target.write_text(text, encoding="utf-8")


def save_facets(facets: FacetTable, path: str | Path, *, force: bool = False) -> None:
    """The accounting facet by facet as CSV, one facet a line, numbers to full precision; what they mean is in `accounting`."""
    text = io.StringIO()
    text.write(
        "# area, dark: share of the outline; brightness: in units of the brightest radiance; the others: share of the light\n"
    )
    text.write(
        "# area, brightness, dark, absorbed, untraced: by entry facet; the others: by the facet where the light leaves\n"
    )
    table = csv.writer(text, lineterminator="\n")
    table.writerow(("facet", "tier", *facets.columns))
    for k, (name, tier) in enumerate(zip(facets.names, facets.tiers, strict=True)):
        table.writerow([name, tier, *(repr(float(column[k])) for column in facets.columns.values())])
    with whole_file(path, force=force) as target:
        target.write_text(text.getvalue(), encoding="utf-8")


def report(result: Result, dark: DarkAreas | None = None) -> dict[str, Any]:
    """The numbers of a trace with what they hold for: plain numbers, strings, lists and None, ready for JSON.

    ``ledger`` and ``stats`` hold values by name, ``brackets`` and ``errors`` what is known of their surroundings; version,
    scene hash, engine and wavelengths say what was traced, ``notes`` what was left out. ``dark_areas`` holds the numbers of
    `dark`, where they were found.
    """
    scene, record = result.scene, result.summary.to_dict()
    stone, view, dome = scene.stone, scene.view, scene.dome
    notes = dict(record.pop("notes"))  # type: ignore[call-overload]
    if stone.material.remark:
        notes["material"] = f"{stone.material.name}: {stone.material.remark}"
    return {
        "raylab_version": __version__,
        "scene": {"name": scene.name, "title": scene.title, "hash": scene.hash()},
        **record,
        **({} if dark is None else {"dark_areas": dark.to_dict()}),
        "stone": {
            "name": stone.name,
            "material": stone.material.name,
            "facets": len(stone),
            "weight_ct": stone.weight_ct,
            "size_mm": stone.size_mm.tolist(),
        },
        "dome": {"name": dome.name, "description": dome.description, "head_half_angle_deg": dome.head_half_angle_deg},
        "view": asdict(view),
        "settings": {"resolution": scene.resolution, **asdict(scene.settings)},
        "notes": notes,
    }


def to_json(facts: Any) -> str:
    """JSON text that any reader takes: what is not finite becomes null."""
    return json.dumps(finite(facts), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def finite(value: Any) -> Any:
    """The same with None in place of numbers that are not finite, which JSON has no word for."""
    if isinstance(value, dict):
        return {str(key): finite(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [finite(entry) for entry in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def save_stone(stone: Stone, path: str | Path, *, force: bool = False) -> None:
    """A stone as a mesh (.stl, .obj, .ply: numbers in mm; .glb: in metres, as its standard has it), a facet table (.csv) or a
    recipe by tiers (.toml).

    Meshes are watertight triangles. A recipe says how each facet can be laid: by slope and mate, through points, or, where its
    plane is all that is known, by its distance; it needs a girdle of vertical facets. Raises InputError for another suffix, a
    material that a table can't name, a stone that has no recipe, a stone with inclusions, which no such file holds, or an
    existing file without `force`.
    """
    from .stone.recipes.recipe_text import recipe_text  # it brings all that recognises a cut: only when used

    if stone.inclusions:
        expected = "stone.with_inclusions(()) to save the stone alone"
        raise InputError("a stone file holds no inclusions", key="inclusions", value=len(stone.inclusions), expected=expected)
    suffix = Path(path).suffix.lower()
    if suffix not in _STONES:
        kinds = ", ".join(_STONES)
        raise InputError("unknown kind of stone file", file=str(path), expected=f"a file name that ends in {kinds}")
    text = {".csv": facet_table, ".toml": recipe_text}
    data = text[suffix](stone).encode() if suffix in text else _mesh(stone, suffix[1:])
    with whole_file(path, force=force) as target:
        target.write_bytes(data)


def _mesh(stone: Stone, kind: str) -> bytes:
    import trimesh

    vertices, triangles = stone.triangles()
    unit = 1e-3 if kind == "glb" else 1.0  # GLB is in metres
    data = trimesh.Trimesh(unit * vertices, triangles, process=False, validate=False).export(file_type=kind)
    return data.encode() if isinstance(data, str) else bytes(data)
