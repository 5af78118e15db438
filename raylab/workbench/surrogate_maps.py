"""Surrogates for the page: what its heat map beside the sliders is computed from, in the browser, as often as a slider moves.

They come from designs around the page's own, traced when the page asks for it, or from a finished sweep in a file. The server
keeps nothing of them: the page gets the terms of each spline with its error by cross-validation, and the places of designs that
are no stone.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..designs.design import COLUMNS, row_of
from ..designs.keys import GEOMETRY
from ..errors import InputError, nearest
from ..foreign import parsed
from ..lighting.dome import Dome
from ..progress import Progress, part_of
from ..results.statistics import STATISTICS
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.stone import Stone
from ..sweeps.points import Points
from ..sweeps.results import load_sweep, read_result
from ..sweeps.slabs import axes_of, slabs
from ..sweeps.surrogates import Surrogate, surrogates
from ..units import SODIUM_D_NM, number_in, whole_in
from .design_json import stone_of
from .own_domes import dome_of_page
from .questions import AROUND, checked, view_of
from .strips import AZIMUTH, TILT, placed

if TYPE_CHECKING:
    import xarray as xr

SETTINGS = TraceSettings(precision=1e-2)
"""Of designs around the page's own: what is finer drowns in the surrogate's own error."""
MOST_AXES = 8
FEWEST, MOST = 64, 1024
"""Designs that a surrogate is made from; the page takes some 20 ms for a map from the most."""
SEED = 1
NAMES = tuple(name for name in (*STATISTICS, *GEOMETRY) if name != "untraced")
"""Numbers that may have a surrogate; what is untraced tells of tracing, not of designs."""
SUFFIX = ".nc"
"""Of a file that holds the result of a sweep."""

Model = dict[str, Any]


def around(request: dict[str, Any], domes: Mapping[str, Dome], update: Progress) -> Model:
    """The surrogates of all numbers of a design over some of its keys, each between a low and a high value.

    Raises InputError for an invalid request, and where fewer of the designs are stones than a spline needs.
    """
    import xarray as xr

    request = checked(request, AROUND)
    keys, lows, highs = request["keys"], request["lows"], request["highs"]
    if not (1 <= len(keys) <= MOST_AXES and len(set(keys)) == len(keys) == len(lows) == len(highs)):
        raise InputError(
            "wrong number of axes", key="keys", value=len(keys), expected=f"1 to {MOST_AXES} keys, each with its ends"
        )
    ends = [
        (number_in("lows", low, -1e9, 1e9), number_in("highs", high, -1e9, 1e9)) for low, high in zip(lows, highs, strict=True)
    ]
    for key, (low, high) in zip(keys, ends, strict=True):
        if not low < high:
            raise InputError("empty range", key=key, value=[low, high], expected="low before high")
    number = whole_in("designs", request["designs"], FEWEST, MOST)
    low, high = np.array(ends).T
    places = low + Points("sobol", number, len(keys), SEED).rows(0, number) * (high - low)
    rows, tracing = [], part_of(update, 0.0, 0.9)
    for build in _scenes(request, domes, keys, places.tolist()):
        rows.append(row_of(build))
        tracing(len(rows), number)
    columns = {name: ("design", column) for name, column in zip(COLUMNS, np.array(rows).T, strict=True)}
    found = xr.Dataset(columns, {key: ("design", places[:, k]) for k, key in enumerate(keys)})
    return model_of(found)


def _scenes(
    request: Mapping[str, Any], domes: Mapping[str, Dome], keys: list[str], places: list[list[float]]
) -> Iterator[partial[Scene]]:
    """What builds the scene of each place. Raises InputError for a key that neither the design nor the view has."""
    design, dome = request["design"], dome_of_page(request, domes)
    view = {TILT: view_of(request).tilt_deg, AZIMUTH: view_of(request).tilt_azimuth_deg}
    for key in keys:
        if key not in view and not isinstance(design.get(key), int | float):
            raise InputError("no number of the design", key="keys", value=key[:60], expected=nearest(key, (*view, *design)))

    def place(stone: Stone, seen: View) -> Scene:
        return Scene(stone, dome, seen, SETTINGS)

    for values in places:
        changed = dict(zip(keys, values, strict=True))
        turned = {key: changed.pop(key, at) for key, at in view.items()}
        yield partial(placed, place, partial(stone_of, {**design, **changed}), View(**turned))


def of_file(name: str, content: bytes) -> Model:
    """The surrogates of a sweep's result that the page sent.

    Its file is read, and the splines are made, in a process of its own: what a packed file unpacks to is not known beforehand.

    Raises InputError, which calls the file by its `name`, for one that is no sweep's, or whose axes aren't numbers.
    """
    try:
        text = parsed(__name__, "packed", content)["model"]
    except ValueError as error:
        raise InputError(str(error), file=name) from error
    found: Model = json.loads(str(text))
    return {**found, "file": name}


def of_sweep(path: Path) -> Model:
    """The surrogates of a finished sweep of the user's: its folder, or its result. Raises InputError, which names the file."""
    try:
        return {**model_of(load_sweep(path)), "file": path.name}
    except InputError as error:
        raise error.within(file=str(path)) from error


def packed(content: bytes) -> dict[str, np.ndarray]:
    """The model of a netCDF file's sweep as one array of text, for `of_file`."""
    return {"model": np.array(json.dumps(model_of(read_result(content, ""))))}


def model_of(found: xr.Dataset) -> Model:
    """A surrogate for each of `NAMES` that differs among the designs of a sweep, as plain values that JSON can hold.

    Raises InputError for axes that aren't numbers and for too few designs.
    """
    names = _varying(found)
    if not names:
        raise InputError("no number differs among the designs", expected="designs that are stones, over an axis of numbers")
    made = surrogates(found, names, most=MOST)
    first = made[names[0]]
    return {
        "axes": [{"key": key, "low": one.low, "high": one.high} for key, one in first.axes.items()],
        "designs": first.designs,
        "points": _text(first.points),
        "none": _text(_no_stones(found, first)),
        "numbers": [_number(name, one) for name, one in made.items()],
        "fixed": _fixed(found),
    }


def _varying(found: xr.Dataset) -> list[str]:
    """The names whose numbers are there and not all the same."""
    known = [name for name in NAMES if name in found.data_vars]
    least, largest = np.full(len(known), np.inf), np.full(len(known), -np.inf)
    for _, columns in slabs(found, known) if known else ():
        table = np.stack([columns[name] for name in known])
        least = np.minimum(least, np.min(table, axis=1, where=np.isfinite(table), initial=np.inf))
        largest = np.maximum(largest, np.max(table, axis=1, where=np.isfinite(table), initial=-np.inf))
    return [name for name, low, high in zip(known, least, largest, strict=True) if high - low > 1e-9 * max(1.0, abs(high))]


def _no_stones(found: xr.Dataset, of: Surrogate) -> np.ndarray:
    """(M, K) where in the unit box of a surrogate some designs are no stone, as many as it has designs at most."""
    axes = axes_of(found, of.statistic)
    low, high = (np.array([getattr(of.axes[key], end) for key in axes]) for end in ("low", "high"))
    kept = np.empty((0, len(axes)))
    for _, columns in slabs(found, [*axes, of.statistic]):
        none = np.isnan(columns[of.statistic])
        kept = np.concatenate([kept, np.stack([columns[key][none] for key in axes], axis=-1)])[:MOST]
    return np.asarray((kept - low) / (high - low))


def _number(name: str, one: Surrogate) -> dict[str, Any]:
    """A surrogate as the page needs it."""
    terms = one.terms()
    smooth = one.values - one.smoothing * terms.weights
    known = STATISTICS.get(name)
    label, unit = (known.label, known.unit) if known is not None else GEOMETRY[name]
    return {
        "key": name,
        "label": label,
        "unit": "" if unit == "1" else unit,
        "definition": known.definition if known is not None else label,
        "weights": _text(terms.weights),
        "constant": terms.constant,
        "slopes": terms.slopes.tolist(),
        "low": float(smooth.min()),
        "high": float(smooth.max()),
        "rmse": one.rmse,
        "spread": one.spread,
    }


def _fixed(found: xr.Dataset) -> dict[str, Any]:
    """What all designs of a sweep share, by key, where the page can tell whether its own design has it too."""
    fixed = {str(key): one.values.item() for key, one in found.coords.items() if one.ndim == 0}
    usual = {"wavelength_nm": SODIUM_D_NM, "turn_deg": 0.0}
    return {key: value for key, value in fixed.items() if value != usual.get(key)}


def _text(table: np.ndarray) -> str:
    """Numbers as base64 of 64-bit floats, little-endian."""
    return base64.b64encode(np.ascontiguousarray(table, dtype="<f8").tobytes()).decode()
