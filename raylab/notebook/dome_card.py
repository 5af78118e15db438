"""The card of a dome: its sky, and its parts in words."""

from __future__ import annotations

from ..lighting.dome import Dome
from .html import Html, figure, note, page, row, table, tag
from .map_picture import sky_picture


def card(dome: Dome) -> Html:
    """The sky from above, and the parts of the dome."""
    rows = [
        ("sky", f"{dome.sky}, radiance {dome.sky_radiance:g}"),
        ("head", f"half-angle {dome.head_half_angle_deg:g}°" if dome.head_half_angle_deg else "none"),
        ("tray", f"radiance {dome.tray_radiance:g}"),
        ("zones", str(len(dome.zones)) if dome.zones else "none"),
        ("lamps", str(len(dome.lamps)) if dome.lamps else "none"),
        ("unit", "as stated" if dome.absolute else "the brightest radiance is 1"),
    ]
    return page(dome.name, dome.description, row(sky(dome), table(rows)))


def sky(dome: Dome) -> Html:
    """The picture of a dome's upper half with its colour bar."""
    picture, scale = sky_picture(dome, f"Radiance of the dome {dome.name}, zenith in the middle, horizon at the rim.")
    more = note("zenith in the middle, horizon at the rim; +x to the right")
    return figure(picture, tag("div", scale, "radiance", more))
