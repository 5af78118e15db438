"""Films of a stone in motion: colour stills, kept as files, put together as MP4, GIF or WebP.

Each still is kept, see `stills`: a film that was broken off goes on where it stopped when it is called again. Each thread works
at a still of its own; few are in memory at a time.

The scale is one for the whole film and for all stones in it, side by side in the order given. MP4 (H.264) needs the extra
``video`` (PyAV) and even sizes: an odd side gets one more line of background.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..color.wavelength_choice import ColorError, WavelengthChoice
from ..errors import InputError
from ..lighting.dome_file import DomeLike, dome_of
from ..motion.view_paths import circling
from ..optics.spectrum import WavelengthSet, color_weights
from ..progress import Progress, reporter
from ..room import Need
from ..scene.pixel_grid import PixelGrid
from ..scene.scene import Scene
from ..scene.settings import TraceSettings
from ..scene.view import View
from ..stone.stone import Stone
from ..threads import in_order
from ..tracers.engines import engine_for
from ..units import number_in
from ..whole_files import disk_faults, refuse_taken, whole_file
from .film_wavelengths import STILLS, film_wavelengths
from .stills import still

KINDS = (".mp4", ".gif", ".webp")
BYTES_PER_PIXEL = {".mp4": (0.0, 0.1), ".gif": (2.0, 0.3), ".webp": (5.0, 0.3)}
"""Of memory and in the film; 1.3 to 1.6 and 0.23 were measured with a GIF, 4.8 and 0.06 with a WebP."""
STILL_BYTES = 1.0
"""Of a still's own file, for each pixel."""
STILL_S = 0.04
"""Seconds of one core for a still of a brilliant at one wavelength, as measured; a long stone takes more."""
LOOSE = TraceSettings(precision=2e-2)
"""Settings where none are given: at most this share of the light stays untraced. Under three domes that darkened a measured
brilliant by 0.3 to 1.2 of a screen's 255 steps in the mean, and 95 % of the pixels by at most 5."""


@dataclass(frozen=True, eq=False)
class Film:
    """What a film was made of.

    Attributes
    ----------
    folder : the folder of the stills. waves : the wavelengths of all of them.
    error : estimate of the error of the colours by the number of wavelengths, on a few stills; see `film_wavelengths`.
    """

    folder: Path
    waves: WavelengthSet
    error: ColorError | None


def save_video(
    stones: Stone | Sequence[Stone],
    dome: DomeLike,
    path: str | Path,
    views: Sequence[View] | None = None,
    *,
    size: int = 400,
    light: str = "D65",
    exposure: float = 1.0,
    spectrum: int | WavelengthSet | WavelengthChoice | None = None,
    background: float = 0.03,
    fps: float = 20.0,
    settings: TraceSettings | None = None,
    stills: str | Path | None = None,
    force: bool = False,
    progress: bool | Progress = False,
) -> Film:
    """A film of one stone, or of several side by side, in motion.

    Parameters
    ----------
    path : output file, ``.mp4``, ``.gif`` or ``.webp``.
    views : one for each still; by default `motion.view_paths.circling`, 200 of them.
    size : pixels along each side of the picture of one stone.
    light, exposure, spectrum : as in `color_picture`; a choice is made on a few stills. By default 16 wavelengths, see
        `film_wavelengths`.
    background : grey around the stone, linear, 0 to 1.
    fps : stills per second, 1 to 100.
    settings : settings of the traces, at the wavelengths of the colours; by default `LOOSE`, a precision of 2e-2.
    stills : folder of the part files; by default beside the film, named after it. It is kept.
    force : overwrite a film of this name.
    progress : True for a bar, or a function that is called with how many stills are done and of how many.

    Returns
    -------
    The folder of the stills, the wavelengths and the error of the colours.

    Raises InputError for an unknown kind of file, a missing PyAV, a perspective view, or an existing file.
    """
    path, settings = Path(path), settings or LOOSE
    several = [stones] if isinstance(stones, Stone) else list(stones)
    looks = circling() if views is None else list(views)
    if not several or not looks:
        raise InputError("missing", key="stones" if looks else "views", expected="at least one")
    number_in("size", size, 8, 4096)
    number_in("fps", fps, 1.0, 100.0)
    encode = _encoder(path)
    need = _need(path, len(looks), len(several) * int(size) ** 2)
    need.check("frames", "fewer or smaller stills")
    refuse_taken(path.parent, [path.name], force)
    folder = Path(stills) if stills is not None else path.with_name(path.stem + "-stills")
    number_in("exposure", exposure, 0.0, 1e9, open_ends=True)
    radius = max(float(np.linalg.norm(stone.vertices_mm, axis=1).max()) for stone in several) * 1.02
    grid = PixelGrid(-radius, -radius, 2.0 * radius / size, int(size))
    sky = dome_of(dome)
    some = sorted({k * len(looks) // STILLS for k in range(STILLS)})
    tried = [Scene(stone, sky, looks[k], settings) for k in some for stone in several]
    waves, error = film_wavelengths(tried, grid, light, exposure, spectrum, progress=progress is True)
    for stone in several:  # an unknown index at these wavelengths is an error before anything is written
        engine_for(Scene(stone, sky, looks[0], settings).with_settings(wavelengths_nm=tuple(waves.nodes_nm.tolist())))
    color_weights(waves, light)
    if progress is True:
        seconds = STILL_S * len(looks) * len(several) * len(waves) / (os.cpu_count() or 1)
        replace(need, seconds=seconds).say()
    with disk_faults(folder):
        folder.mkdir(parents=True, exist_ok=True)

    def one(view: View) -> np.ndarray:
        scenes = (Scene(stone, sky, view, settings) for stone in several)
        return np.concatenate([still(seen, grid, waves, light, exposure, background, folder) for seen in scenes], axis=1)

    def each() -> Iterator[np.ndarray]:
        with reporter(progress, "stills") as update:
            for done, pixels in enumerate(in_order(one, looks), start=1):
                yield _even(pixels, background)
                update(done, len(looks))

    with whole_file(path, force=force) as target:
        encode(each(), target, fps)
    return Film(folder, waves, error)


def _need(path: Path, stills: int, pixels: int) -> Need:
    """What a film takes, by measured bytes per pixel of a still: some kinds are put together in memory."""
    memory, film = BYTES_PER_PIXEL[path.suffix.lower()]
    return Need(f"{stills} stills", stills * pixels * memory, stills * pixels * (film + STILL_BYTES), path)


def _even(pixels: np.ndarray, background: float) -> np.ndarray:
    """Padded on the right and below to even sides, which H.264 needs."""
    from ..optics.color import srgb_encode

    height, width = pixels.shape[:2]
    gray = np.uint8(round(255.0 * float(srgb_encode(background))))
    return np.pad(pixels, ((0, height % 2), (0, width % 2), (0, 0)), constant_values=gray)


def _encoder(path: Path) -> Any:
    if path.suffix.lower() not in KINDS:
        raise InputError("unknown kind of film file", file=str(path), expected="a name in " + ", ".join(KINDS))
    if path.suffix.lower() != ".mp4":
        return _animate
    try:
        import av  # noqa: F401
    except ImportError as error:
        raise InputError(
            "writing MP4 needs PyAV (pip install 'raylab[video]')",
            file=str(path),
            expected="PyAV, or a name that ends in .gif or .webp",
        ) from error
    return _mp4


def _mp4(frames: Iterator[np.ndarray], target: Path, fps: float) -> None:
    import imageio.v3 as iio

    with iio.imopen(target, "w", plugin="pyav") as film:
        film.init_video_stream("libx264", fps=fps, pixel_format="yuv420p")  # type: ignore[attr-defined]
        for pixels in frames:
            film.write_frame(pixels)  # type: ignore[attr-defined]


def _animate(frames: Iterator[np.ndarray], target: Path, fps: float) -> None:
    from PIL import Image

    pictures = (Image.fromarray(pixels) for pixels in frames)
    first = next(pictures)
    lossless: dict[str, Any] = {"lossless": True} if target.suffix.lower() == ".webp" else {}
    first.save(target, save_all=True, append_images=pictures, duration=round(1000.0 / fps), loop=0, **lossless)
