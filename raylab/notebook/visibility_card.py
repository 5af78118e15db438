"""The card of a field of visibility: three slices, and where a small speck would show least."""

from __future__ import annotations

import numpy as np

from ..results.visibility_field import FIELDS, VisibilityField
from .html import Html, figure, note, page, row, tag
from .map_picture import values_picture

_LISTED = 6


def card(field: VisibilityField) -> Html:
    """The luminance lost in three slices through the middle, and the regions where it is least."""
    maps, least = field.maps, field.least_seen()
    about = f"{maps.attrs['material']}, dome {maps.attrs['dome']}, standard error of a voxel {100 * field.relative_error:.1f} %"
    values = 100.0 * maps.lost
    top = float(np.nanquantile(values.values, 0.99))
    slices = []
    for across, dims in (("z", ("y", "x")), ("y", ("z", "x")), ("x", ("z", "y"))):
        middle = values.sel({across: 0.0}, method="nearest").transpose(*dims)
        words = f"{across} = {float(middle[across]):.2f} mm"
        picture, scale = values_picture(middle.values, "magma", top, f"{FIELDS['lost'][0]}, slice {words}.")
        slices.append(figure(tag("div", picture, scale), f"lost, % per mm²: {words}"))
    lines = [note(f"least seen, {100.0 * least.share:.0f} % of the volume (at most {100.0 * least.below:.2g} % per mm²):")]
    lines += [note(str(one)) for one in least.regions[:_LISTED]]
    return page(maps.attrs["stone"], about, row(*slices), *lines)
