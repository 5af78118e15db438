"""Scenes from TOML files.

A scene file joins one stone, one dome, one view and the output settings:

    schema = 1
    title = "..."

    [stone]                       # see `stone.stone_file`
    cut = "round brilliant"
    table_pct = 57
    crown_angle_deg = 34.5
    pavilion_angle_deg = 40.75

    [dome]                        # name = a built-in dome, or file = "x.toml", or the keys of a dome file
    name = "head-shadow"

    [view]
    tilt_deg = 10

    [output]
    resolution = 512

The keys of a section are the parameters of what it makes: the cut, `Dome`, `View` (and `about`, what the stone is tilted about,
instead of an azimuth); those of [output] are `TraceSettings` and
the resolution. Paths in a file are relative to it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from ..demo import own_or_demo
from ..errors import InputError, nearest
from ..lighting.dome import Dome
from ..lighting.dome_file import dome_from, dome_names, load_dome
from ..reading import reader
from ..stone.extent import About, azimuth_about
from ..stone.stone import Stone
from ..stone.stone_file import SCENE_FILE, stone_and_scan
from ..toml_tables import Table, read_toml, schema, schema_of
from .scene import Scene
from .settings import TraceSettings
from .view import View

if TYPE_CHECKING:
    from ..stone.scanning.scan import Scan

_VIEW = schema_of(View, about=(About, None))
_OUTPUT = schema_of(TraceSettings, resolution=(int, None))
_SHIPPED_DOME, _DOME_FILE = schema(name=(str, ...)), schema(file=(str, ...))


@reader
def load_scene(path: str | Path) -> Scene:
    """The scene in a TOML file, or the demo scene of a name. Raises InputError for invalid content."""
    return scene_and_scan(path)[0]


def scene_and_scan(path: str | Path, noise_um: float | None = None) -> tuple[Scene, Scan | None]:
    """The same, and its stone's scan, see `stone_and_scan`."""
    path = own_or_demo(path)
    top = read_toml(path, str(path)).checked(SCENE_FILE)
    stone, scan = stone_and_scan(top.part("stone"), noise_um)
    dome = _dome(top.part("dome"))
    view = top.part("view").checked(_VIEW)
    output = top.part("output").checked(_OUTPUT)
    seen_from = _view(view, stone)
    settings = output.build(TraceSettings, **{key: value for key, value in output.values.items() if key != "resolution"})
    size = {key: value for key, value in output.values.items() if key == "resolution"}
    try:
        scene = Scene(stone, dome, seen_from, settings, name=path.stem, title=top.values.get("title", ""), **size)
    except InputError as error:
        own = error.key in _OUTPUT.model_fields
        raise error.within(file=top.file, section="output" if own else None) from error
    return scene, scan


def _view(table: Table, stone: Stone) -> View:
    """The view of a table, which may state what the stone is tilted about instead of the azimuth towards which it leans."""
    values = dict(table.values)
    about = values.pop("about", None)
    if about is not None:
        if "tilt_azimuth_deg" in values:
            raise table.fault("about and tilt_azimuth_deg are alternatives; give only one", "about", about)
        values["tilt_azimuth_deg"] = azimuth_about(stone, about, values.get("turn_deg", 0.0))
    return table.build(View, **values)


def _dome(table: Table) -> Dome:
    """The shipped dome, the dome in a file, or the dome by its keys that a scene states."""
    _refuse_other_key(table)
    if "name" in table.values:
        name = table.checked(_SHIPPED_DOME).values["name"]
        if name not in dome_names():
            raise table.fault("unknown dome", "name", name, nearest(name, dome_names()))
        return load_dome(name)
    if "file" in table.values:
        return load_dome(table.checked(_DOME_FILE).path("file"))
    return dome_from(table, name="defined in the scene", folder=Path(table.file).parent)


def _refuse_other_key(table: Table) -> None:
    """A shipped dome under any key but ``name`` is refused with the line that says it."""
    for key, value in table.values.items():
        mistyped = nearest(key, ("name",)).startswith("did you mean")  # said by the reader of the table
        if key not in ("name", "description") and not mistyped and isinstance(value, str) and value in dome_names():
            raise table.fault("a shipped dome under another key", key, value, f"name = {json.dumps(value)}")
