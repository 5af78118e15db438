"""The card of a result: three maps, the ledger and the statistics."""

from __future__ import annotations

from ..results.maps import DEFINITIONS, STATISTIC_OF
from ..tracing import Result
from .html import Html, figure, note, page, row, tag
from .map_picture import map_picture
from .scene_card import view_line
from .stone_card import material_notes
from .summary_card import numbers


def card(result: Result) -> Html:
    """Maps at the middle wavelength, and the numbers."""
    scene, waves = result.scene, result.scene.settings.all_nm
    shown_nm = waves[len(waves) // 2]
    about = f"{scene.stone.material.name}, {scene.stone.weight_ct:.2f} ct, dome {scene.dome.name}, {view_line(scene.view)}"
    more = material_notes(scene.stone)
    more += [note(f"maps at {shown_nm:g} nm; numbers are means over {len(waves)} wavelengths")] if len(waves) > 1 else []
    maps = row(*(_map(result, name, statistic) for name, statistic in STATISTIC_OF.items()))
    return page(
        scene.title or scene.stone.name, about, maps, *more, tag("div", numbers(result.summary), style="margin-top:8px")
    )


def _map(result: Result, name: str, statistic: str) -> Html:
    """One map with its number."""
    one = result.summary.statistics[statistic]
    label = DEFINITIONS[name][0]
    words = f"{'RMS contrast' if name == 'contrast' else statistic if name == 'luminance' else 'mean'} {one.value:z.4f}"
    picture, scale = map_picture(name, result.map_values(name), result.map_values("coverage"), f"Map of {label}, {words}.")
    return figure(tag("div", picture, scale), f"{label}: {words}")
