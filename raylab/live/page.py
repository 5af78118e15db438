"""The text of a live page: stones, lights, colours and the tracer in one HTML file.

It asks for nothing from elsewhere, and its content policy forbids it to. The physics is the library's, see `trace.glsl`; what
differs stands in `LEFT_OUT`, and the page says it.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from typing import Any

from ..lighting.dome import Dome
from ..optics.spectrum import WavelengthSet
from ..package_files import shipped
from ..pictures.scripts import literal, script
from ..progress import Progress, reporter
from ..scene.scene import Scene
from ..stone.stone import Stone
from ..version import __version__
from .baking import MOST_PATCHES, MOST_PLANES, baked_dome, baked_light, baked_map, baked_stone, live_set
from .live_scene import LiveScene
from .still_pictures import still_picture

MAPS = ("luminance", "contrast", "leak", "untraced")
SHADERS = ("square", "trace", "develop", "sums")
LEFT_OUT = (
    "While the stones move, a pixel has one wavelength and shares its colour with three neighbours, and a path ends after 24"
    " reflections or below 0.5 % of its light; on a slow machine after 12 or below 1 %. At rest frames add up: one of 64"
    " wavelengths each, up to 200 reflections.",
    "Rays are single ones, in 32-bit numbers; an edge of a facet is smoothed by many frames, not drawn exactly.",
    "Inclusions take light, as in the library, and do nothing else. Double refraction is not shown: such a material has its"
    " ordinary index.",
    "An absorbing facet is dark. One that scatters light sends each pixel's on in two random directions a frame, so it is"
    " grainy until frames add up; of a rough facet's mirrors only the first is followed, and the rest counts as untraced.",
    "Bars and numbers are sums over the pixels that are drawn, and so approximate. Numbers to rely on come from the library.",
)
"""What the live picture leaves out, in the words of the page."""


def show_html(scene: LiveScene, title: str = "", *, stills: bool = True, progress: bool | Progress = False) -> str:
    """The text of the file that `save_show` writes."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    data = show_data(scene)
    pictures = _stills(scene, progress) if stills else [""] * len(scene.stones)
    shelf = Environment(loader=FileSystemLoader(shipped("live")), autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    shelf.lstrip_blocks = True
    given = 'document.querySelector("main"), JSON.parse(document.querySelector("#data").textContent)'
    code = script(shipped("live/static"), "live.js", f"start({given})")
    style = (shipped("live") / "live.css").read_text(encoding="utf-8")
    return shelf.get_template("page.html.j2").render(
        title=title or ", ".join(stone.name for stone in scene.stones),
        version=__version__,
        stones=[_entry(*one) for one in zip(scene.stones, pictures, strict=True)],
        data=Markup(literal(data)),
        domes=scene.domes,
        maps=data["maps"],
        view=scene.view,
        left_out=LEFT_OUT,
        code=Markup(code),
        style=Markup(style),
        code_hash=_hash(code),
        style_hash=_hash(style),
    )


def show_data(scene: LiveScene) -> dict[str, Any]:
    """All that the page's script is given, ready for JSON."""
    waves, view = live_set(scene.low_nm), scene.view
    stones = zip(scene.stones, scene.radii_mm, strict=True)
    return {
        **shader_data(scene.domes, waves, scene.light),
        "version": __version__,
        "stones": [{**baked_stone(stone, waves), "radius": radius} for stone, radius in stones],
        "exposure": scene.exposure,
        "view": {"tilt": view.tilt_deg, "azimuth": view.tilt_azimuth_deg, "turn": view.turn_deg, "distance": view.distance_mm},
        "maps": [baked_map(name) for name in MAPS],
    }


def shader_data(domes: Sequence[Dome], waves: WavelengthSet, light: str = "D65") -> dict[str, Any]:
    """What the shader is given beside stones and maps: domes, the weights of the spectrum, limits, and its own text.

    Raises UnsupportedScene for a dome that it can't carry.
    """
    return {
        "domes": [baked_dome(dome) for dome in domes],
        "light": baked_light(light, waves),
        "limits": {"planes": MOST_PLANES, "patches": MOST_PATCHES},
        "shaders": {name: (shipped("live") / f"{name}.glsl").read_text(encoding="utf-8") for name in SHADERS},
    }


def _stills(scene: LiveScene, progress: bool | Progress) -> list[str]:
    """Addresses of the still pictures, under the first dome."""
    found: list[str] = []
    with reporter(progress, "still pictures") as update:
        for stone in scene.stones:
            seen = Scene(stone, scene.domes[0], scene.view)
            found.append(still_picture(seen, scene.half_mm, scene.light, scene.exposure, scene.low_nm))
            update(len(found), len(scene.stones))
    return found


def _entry(stone: Stone, picture: str) -> dict[str, str]:
    """What the page says of a stone; `picture` is the address of its still picture, or empty."""
    return {"name": stone.name, "about": _about(stone), "remark": stone.material.remark, "picture": picture}


def _about(stone: Stone) -> str:
    along, across, _ = stone.size_mm
    size = f"{along:.2f} mm" if abs(along - across) < 0.005 * along else f"{along:.2f} x {across:.2f} mm"
    return f"{stone.material.name}, {stone.weight_ct:.2f} ct, {size}, {len(stone)} facets"


def _hash(text: str) -> str:
    """What a content policy calls an inline text by."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
