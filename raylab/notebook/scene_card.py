"""The card of a scene: the stone as it is seen, the dome, and the settings."""

from __future__ import annotations

from ..scene.scene import Scene
from ..scene.view import View
from .dome_card import sky
from .html import Html, figure, page, row, table
from .line_drawing import drawing
from .stone_card import material_notes, stone_line


def card(scene: Scene) -> Html:
    """The stone in its view, the sky, and the settings of the trace."""
    settings = scene.settings
    rows = [
        ("view", view_line(scene.view)),
        ("dome", scene.dome.name),
        ("resolution", f"{scene.resolution} pixels a side"),
        ("wavelength", ", ".join(f"{one:g}" for one in settings.all_nm) + " nm"),
        ("engine", settings.engine or "the first that supports the scene"),
        ("polarisation", "tracked" if settings.polarized else "averaged at each surface"),
    ]
    stone = figure(drawing(scene.stone, scene.view.rotation(), f"{scene.stone.name} as it is seen"), "the stone as it is seen")
    parts = row(stone, sky(scene.dome), table(rows)), *material_notes(scene.stone)
    return page(scene.title or scene.stone.name, stone_line(scene.stone), *parts)


def view_line(view: View) -> str:
    """A view in words."""
    tilt = f"tilted {view.tilt_deg:g}° towards {view.tilt_azimuth_deg:g}°" if view.tilt_deg else "face-up"
    turn = f", turned {view.turn_deg:g}°" if view.turn_deg else ""
    return tilt + turn + (", parallel" if view.parallel else f", eye at {view.distance_mm:g} mm")
