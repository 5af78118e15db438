"""What the map that a browser traces live is given: the stone with each picture, and once the light and the shaders.

The browser's side is `raylab.live`, the same as in the files of `save_show`.
"""

from __future__ import annotations

from typing import Any

from ..errors import InputError
from ..lighting.dome import Dome
from ..live.baking import baked_stone, live_set
from ..live.page import shader_data
from ..stone.stone import Stone


def live_stone(stone: Stone) -> dict[str, Any]:
    """A stone for the shader, or the `fault` for which it can't be traced live: its maps are shown nevertheless."""
    try:
        return baked_stone(stone, live_set())
    except InputError as error:
        return {"fault": str(error)}


def live_light(dome: Dome) -> dict[str, Any]:
    """All but the stone. Raises UnsupportedScene for a dome that the shader can't carry."""
    return shader_data((dome,), live_set())
