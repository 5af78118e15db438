"""`save_show`: stones traced live, in one HTML file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ..errors import InputError
from ..lighting.dome_file import DomeLike
from ..optics.spectrum import LOW_NM
from ..progress import Progress
from ..scene.view import View
from ..stone.stone import Stone
from ..whole_files import refuse_taken, whole_file
from .live_scene import LiveScene, lights_of
from .page import show_html

MOST_BYTES = 1_000_000
"""Of the file."""


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
    stones : one stone, or up to four, polished or with absorbing facets, with inclusions if there are any.
    domes : the lights that the page offers, the first one to begin with; by default all shipped ones, `head-shadow` first.
        An image of the sky is baked with at most 256 x 128 pixels.
    view : the pose at the start, with the distance of the eye; by default face-up and from far away.
    light, exposure : as in `color_picture`; the exposure, 1/64 to 256, can be changed on the page.
    low_nm : shortest wavelength, nm; the longest is 700 nm.
    title : heading of the page; by default the names of the stones.
    stills : draw a still picture of each stone for browsers without WebGL 2; it takes a second or two per stone.
    force : overwrite a file of this name.
    progress : True for a bar, or a function that is called with the finished and the total amount of work.

    Raises
    ------
    UnsupportedScene : another finish, more than 1024 planes, inclusions and their faces of more than 8192 rows, or a dome with
        64 or more zones or lamps.
    InputError : no stone or more than four, an unknown light, an exposure or a wavelength out of range, a file that would be
        larger than 1 MB, or an existing file without `force`.
    """
    path = Path(path)
    refuse_taken(path.parent, [path.name], force)
    several = (stones,) if isinstance(stones, Stone) else tuple(stones)
    scene = LiveScene(several, lights_of(domes), view or View(), light, exposure, low_nm)
    page = show_html(scene, title, stills=stills, progress=progress)
    if (size := len(page.encode())) > MOST_BYTES:
        problem = f"the page would have {size} bytes"
        raise InputError(problem, key="domes", expected=f"at most {MOST_BYTES}: fewer images of skies")
    with whole_file(path, force=force) as target:
        target.write_text(page, encoding="utf-8")
