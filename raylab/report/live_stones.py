"""The stones of a report traced live: the page that `live.save_show` writes, in a frame of the report."""

from __future__ import annotations

from ..comparison.comparison import Comparison
from ..lighting.dome_file import dome_names, load_dome
from ..live.live_scene import MOST_STONES, LiveScene, lights_of
from ..live.page import show_html
from .looks import WAVELENGTHS, spectrum_for


def live_page(comparison: Comparison) -> str:
    """The page of the first four stones, as they were compared, under the light of the comparison and the shipped ones.

    Raises UnsupportedScene for a stone or a dome that a live picture can't carry.
    """
    dome = comparison.dome
    several = zip(comparison.labels, comparison.shown, strict=True)
    stones = [stone.relabeled(name=f"{label}: {stone.name}") for label, stone in several][:MOST_STONES]
    domes = [dome, *(load_dome(name) for name in dome_names() if name != dome.name)]
    low_nm = spectrum_for(stones, WAVELENGTHS).low_nm
    return show_html(LiveScene(tuple(stones), lights_of(domes), low_nm=low_nm), "The stones live", stills=False)
