"""What the map that a browser traces live is given: the stone with each picture, and once the light and the shaders.

The browser's side is `raylab.live`, the same as in the files of `save_show`.
"""

from __future__ import annotations

import math
from typing import Any

from ..errors import InputError
from ..lighting.dome import Dome
from ..live.baking import baked_stone, live_set
from ..live.page import shader_data
from ..stone.stone import Stone


def live_stone(stone: Stone) -> dict[str, Any]:
    """A stone for the shader, or the `fault` for which it can't be traced live: its maps are shown nevertheless."""
    waves, known_from_nm = live_set(), stone.material.index.range_nm()[0]
    if known_from_nm > waves.nodes_nm[0]:
        name, low = stone.material.name, math.ceil(known_from_nm)
        needed = f"colour needs the refractive index of {name} from {waves.low_nm:g} nm, and it is known from {low} nm only"
        return {"fault": f"{needed}; `raylab show --low-nm {low}` draws this stone without the violet light below"}
    try:
        return baked_stone(stone, waves)
    except InputError as error:
        return {"fault": str(error)}


def live_light(dome: Dome) -> dict[str, Any]:
    """All but the stone. Raises UnsupportedScene for a dome that the shader can't carry."""
    return shader_data((dome,), live_set())
