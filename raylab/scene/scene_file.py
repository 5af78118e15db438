"""Scenes from TOML files.

A scene file joins one stone, one dome, one view and the output settings:

    schema = 1
    title = "..."

    [stone]                       # see `stone.stone_file`
    kind = "round brilliant"
    table_pct = 57
    crown_angle_deg = 34.5
    pavilion_angle_deg = 40.75

    [dome]                        # name = a shipped dome, or file = "x.toml", or the keys of a dome file
    name = "head-shadow"

    [view]
    tilt_deg = 10

    [output]
    resolution = 512

The keys of a section are the parameters of what it makes: the cut, `Dome`, `View`; those of [output] are `TraceSettings` and
the resolution. Paths in a file are relative to it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..errors import InputError, nearest
from ..lighting.dome import Dome
from ..lighting.dome_file import dome_from, dome_names, load_dome
from ..stone.stone_file import SCENE_FILE, stone_from
from ..toml_tables import build, checked, path_beside, read_toml, schema, schema_of
from .scene import Scene
from .settings import TraceSettings
from .view import View

_VIEW = schema_of(View)
_OUTPUT = schema_of(TraceSettings, resolution=(int, None))


def load_scene(path: str | Path) -> Scene:
    """The scene in a TOML file. Raises InputError, one line, for anything that can't be used as it stands."""
    path, file = Path(path), str(path)
    top = checked(read_toml(path, file), SCENE_FILE, file=file)
    stone = stone_from(top["stone"], path)
    dome = _dome_section(top["dome"], path)
    view = build(View, checked(top.get("view", {}), _VIEW, file=file, section="view"), file=file, section="view")
    output = checked(top.get("output", {}), _OUTPUT, file=file, section="output")
    size = {"resolution": output.pop("resolution")} if "resolution" in output else {}
    settings = build(TraceSettings, output, file=file, section="output")
    try:
        return Scene(stone, dome, view, settings, name=path.stem, title=top.get("title", ""), **size)
    except InputError as error:
        own = error.key in _OUTPUT.model_fields
        raise error.within(file=file, section="output" if own else None) from error


def _dome_section(table: dict[str, Any], scene: Path) -> Dome:
    file = str(scene)
    if "name" in table:
        name = checked(table, schema(name=(str, ...)), file=file, section="dome")["name"]
        if name not in dome_names():
            raise InputError(
                "no dome of this name is shipped", file=file, key="dome.name", value=name, expected=nearest(name, dome_names())
            )
        return load_dome(name)
    if "file" in table:
        alone = checked(table, schema(file=(str, ...)), file=file, section="dome")
        return load_dome(path_beside(scene, alone["file"], "dome.file"))
    return dome_from(table, file=file, section="dome", name="the scene's own", folder=scene.parent)
