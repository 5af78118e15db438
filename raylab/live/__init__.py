"""Stones traced live: one HTML file in which a browser's own graphics processor traces each pixel.

The file holds stones, lights, colours and the tracer as text. It asks for nothing from elsewhere, and its content policy
forbids it to. The physics is the library's, see `trace.glsl`; what differs stands in `LEFT_OUT`, and the page says it.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..lighting.dome import Dome
from ..lighting.dome_file import DomeLike, dome_names, dome_of, load_dome
from ..optics.spectrum import LOW_NM
from ..package_files import shipped
from ..pictures.scripts import literal, script
from ..progress import Progress, reporter
from ..scene.scene import Scene
from ..scene.view import View
from ..stone.stone import Stone
from ..units import number_in
from ..version import __version__
from ..whole_files import refuse_taken, whole_file
from .baking import MOST_PATCHES, MOST_PLANES, baked_dome, baked_light, baked_map, baked_stone, live_set
from .still_pictures import still_picture

MOST_STONES = 4
MOST_BYTES = 1_000_000
"""Of the file."""
MAPS = ("luminance", "contrast", "leak", "untraced")
SHADERS = ("square", "trace", "develop", "sums")
LEFT_OUT = (
    "While the stones move, a pixel has one wavelength and shares its colour with three neighbours, and a path ends after 24"
    " reflections or below 0.5 % of its light; on a slow machine after 12 or below 1 %. At rest frames add up: one of 64"
    " wavelengths each, up to 200 reflections.",
    "Rays are single ones, in 32-bit numbers; an edge of a facet is smoothed by many frames, not drawn exactly.",
    "Inclusions are not shown, and neither is double refraction: such a material has its ordinary index.",
    "Light that a rough facet scatters is dark.",
    "Bars and numbers are sums over the pixels that are drawn, and so approximate. Numbers to rely on come from the library.",
)
"""What the live picture leaves out, in the words of the page."""


def save_show(
    stones: Stone | Sequence[Stone],
    path: str | Path,
    *,
    domes: DomeLike | Sequence[DomeLike] | None = None,
    view: View | None = None,
    light: str = "D65",
    exposure: float = 1.0,
    low_nm: float = LOW_NM,
    title: str = "",
    stills: bool = True,
    force: bool = False,
    progress: bool | Progress = False,
) -> None:
    """Write one HTML file in which one to four stones are traced live, in colour, as they are turned.

    The file is smaller than 1 MB and needs a browser with WebGL 2, and nothing else. All stones have one scale, one light and
    one pose.

    Parameters
    ----------
    stones : one stone, or up to four, polished or with absorbing facets and without inclusions.
    domes : the lights that the page offers, the first one to begin with; by default all shipped ones, `head-shadow` first.
        An image of the sky is baked with at most 256 x 128 pixels.
    view : the pose at the start, with the distance of the eye; by default face-up and from far away.
    light, exposure : as in `color_picture`; the exposure can be changed on the page.
    low_nm : shortest wavelength, nm; the longest is 700 nm.
    title : heading of the page; by default the names of the stones.
    stills : draw a still picture of each stone for browsers without WebGL 2; it takes a second or two per stone.
    force : overwrite a file of this name.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises
    ------
    UnsupportedScene : inclusions, more than 1024 planes, or a dome with 64 or more zones or lamps.
    InputError : no stone or more than four, an unknown light, an exposure or a wavelength out of range, a file that would be
        larger than 1 MB, or an existing file without `force`.
    """
    path = Path(path)
    shown = [stones] if isinstance(stones, Stone) else list(stones)
    refuse_taken(path.parent, [path.name], force)
    page = show_html(
        shown,
        domes=domes,
        view=view,
        light=light,
        exposure=exposure,
        low_nm=low_nm,
        title=title,
        stills=stills,
        progress=progress,
    )
    if (size := len(page.encode())) > MOST_BYTES:
        problem = f"the page would have {size} bytes"
        raise InputError(problem, key="domes", expected=f"at most {MOST_BYTES}: fewer images of skies")
    with whole_file(path, force=force) as target:
        target.write_text(page, encoding="utf-8")


def show_html(
    stones: Sequence[Stone],
    *,
    domes: DomeLike | Sequence[DomeLike] | None = None,
    view: View | None = None,
    light: str = "D65",
    exposure: float = 1.0,
    low_nm: float = LOW_NM,
    title: str = "",
    stills: bool = True,
    progress: bool | Progress = False,
) -> str:
    """The text of such a file; see `save_show`."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    for stone in stones:
        if not isinstance(stone, Stone):
            raise InputError("wrong type", key="stones", value=stone, expected="a Stone, or up to four")
    if not 1 <= len(stones) <= MOST_STONES:
        raise InputError("not a number of stones", key="stones", value=len(stones), expected=f"1 to {MOST_STONES}")
    number_in("exposure", exposure, 1.0 / 64.0, 256.0)
    lights, view = _lights(domes), view or View()
    data = show_data(stones, lights, view, light, exposure, low_nm)
    pictures = [""] * len(stones)
    if stills:
        with reporter(progress, "still pictures") as update:
            for k, stone in enumerate(stones):
                scene = Scene(stone, lights[0], view)
                pictures[k] = still_picture(scene, data["half"], light, exposure, low_nm)
                update(k + 1, len(stones))
    shelf = Environment(loader=FileSystemLoader(shipped("live")), autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    shelf.lstrip_blocks = True
    given = 'document.querySelector("main"), JSON.parse(document.querySelector("#data").textContent)'
    code = script(shipped("live"), "live.js", f"start({given})")
    style = (shipped("live") / "live.css").read_text(encoding="utf-8")
    return shelf.get_template("page.html.j2").render(
        title=title or ", ".join(stone.name for stone in stones),
        version=__version__,
        stones=[_entry(*one) for one in zip(data["stones"], stones, pictures, strict=True)],
        data=Markup(literal(data)),
        domes=lights,
        maps=data["maps"],
        view=view,
        left_out=LEFT_OUT,
        code=Markup(code),
        style=Markup(style),
        code_hash=_hash(code),
        style_hash=_hash(style),
    )


def show_data(
    stones: Sequence[Stone], domes: Sequence[Dome], view: View, light: str, exposure: float, low_nm: float
) -> dict[str, Any]:
    """All that the page's script is given, ready for JSON."""
    if view.aside_mm or view.pupil_mm:
        key = "aside_mm" if view.aside_mm else "pupil_mm"
        raise InputError(
            "a live picture has one eye, a point on the axis", key=key, value=getattr(view, key), expected="0"
        )
    waves = live_set(low_nm)
    radii = [float(np.linalg.norm(stone.vertices_mm, axis=1).max()) for stone in stones]
    for stone in stones:
        Scene(stone, domes[0], view)  # refuses an eye inside the stone
    if view.distance_mm is not None:
        number_in("distance_mm", view.distance_mm, 1.5 * max(radii), 1e9, "mm")
    stretch = 1.0 if view.distance_mm is None else view.distance_mm / (view.distance_mm - max(radii))
    return {
        "version": __version__,
        "stones": [{**baked_stone(stone, waves), "radius": radius} for stone, radius in zip(stones, radii, strict=True)],
        "domes": [baked_dome(dome) for dome in domes],
        "light": baked_light(light, waves),
        "exposure": exposure,
        "view": {"tilt": view.tilt_deg, "azimuth": view.tilt_azimuth_deg, "turn": view.turn_deg, "distance": view.distance_mm},
        "half": 1.02 * max(radii) * stretch,
        "maps": [baked_map(name) for name in MAPS],
        "limits": {"planes": MOST_PLANES, "patches": MOST_PATCHES},
        "shaders": {name: (shipped("live") / f"{name}.glsl").read_text(encoding="utf-8") for name in SHADERS},
    }


def _lights(domes: DomeLike | Sequence[DomeLike] | None) -> list[Dome]:
    if domes is None:
        names = dome_names()
        return [load_dome(name) for name in sorted(names, key=lambda name: (name != "head-shadow", name))]
    several = [domes] if isinstance(domes, Dome | str | Path) else list(domes)
    if not several:
        raise InputError("missing", key="domes", expected="at least one")
    found = [dome_of(one) for one in several]
    given = [dome.name for dome in found]
    for name in given:
        if given.count(name) > 1:
            raise InputError("two domes of one name", key="domes", value=name, expected="different names")
    return found


def _entry(baked: dict[str, Any], stone: Stone, picture: str) -> dict[str, str]:
    """What the page says of a stone; `picture` is the address of its still picture, or empty."""
    return {"name": baked["name"], "about": _about(stone), "remark": stone.material.remark, "picture": picture}


def _about(stone: Stone) -> str:
    along, across, _ = stone.size_mm
    size = f"{along:.2f} mm" if abs(along - across) < 0.005 * along else f"{along:.2f} x {across:.2f} mm"
    return f"{stone.material.name}, {stone.weight_ct:.2f} ct, {size}, {len(stone)} facets"


def _hash(text: str) -> str:
    """What a content policy calls an inline text by."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
