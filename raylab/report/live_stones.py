"""The stones of a report traced live: the page that `live.save_show` writes, in a frame of the report."""

from __future__ import annotations

from ..comparison.comparison import Comparison
from ..live.live_scene import MOST_STONES, LiveScene, and_shipped, lights_of
from ..live.page import show_html
from .looks import WAVELENGTHS, spectrum_for


def live_page(comparison: Comparison) -> str:
    """The page of the first four stones, as they were compared, under the light of the comparison and the shipped ones.

    Raises UnsupportedScene for a stone or a dome that a live picture can't carry.
    """
    several = zip(comparison.labels, comparison.shown, strict=True)
    stones = [stone.relabeled(name=f"{label}: {stone.name}") for label, stone in several][:MOST_STONES]
    low_nm = spectrum_for(stones, WAVELENGTHS).low_nm
    lights = lights_of(and_shipped(comparison.dome))
    return show_html(LiveScene(tuple(stones), lights, low_nm=low_nm), "The stones live", stills=False)
