"""What is looked at: a scene's file or a stone alone, with what the command line states otherwise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from .console import told_by_option

if TYPE_CHECKING:
    from ..lighting.scene import Scene

Light = Literal["D65", "A", "E", "LED-B3"]
"""The lights of `optics.spectrum.illuminants`, spelled out so that ``--help`` needs no table."""


def scene_or_stone(path: Path, unit: str | None = None, material: str | None = None, tint: str | None = None) -> Scene:
    """The scene in a file, or a stone alone under the usual dome; `tint` gives the stone another body colour."""
    from ..lighting.scene import Scene
    from ..lighting.scenefile import STONE_READERS, load_dome, load_scene, load_stone
    from ..optics.absorption import load_tint

    alone = path.suffix.lower() in STONE_READERS and path.suffix.lower() != ".toml"
    if alone or unit is not None or material is not None:
        stone = load_stone(path, unit=unit, material=material)
        scene = Scene(stone=stone, dome=load_dome("head-shadow"), name=path.stem, title=stone.name)
    else:
        scene = load_scene(path)
    if tint is None:
        return scene
    with told_by_option("tint"):
        tinted = scene.stone.material.tinted(load_tint(tint).pairs)
        return replace(scene, stone=replace(scene.stone, material=tinted))


def with_options(scene: Scene, dome: str | None, view: dict[str, Any], settings: dict[str, Any]) -> Scene:
    """The scene with what the command line states otherwise; faults are told by the option's name."""
    from ..lighting.scenefile import load_dome

    with told_by_option("dome", *view, *settings):
        if dome is not None:
            scene = replace(scene, dome=load_dome(dome))
        looking = replace(scene.view, **{key: value for key, value in view.items() if value is not None})
        return replace(scene, view=looking, **{key: value for key, value in settings.items() if value is not None})
