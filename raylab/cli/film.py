"""``raylab film``: a scene's stone in motion, or several stones side by side, in colour."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from .console import faults_by_option, say
from .options import AS_IN_THE_FILE, DAYLIGHT, Flag, Shining, Subject


def film(
    *scenes: Path,
    out: Path,
    move: Literal["circle", "turn", "rock"] = "circle",
    angle_deg: float | None = None,
    stills: int = 200,
    size: int = 400,
    fps: float = 20.0,
    subject: Subject = AS_IN_THE_FILE,
    shining: Shining = DAYLIGHT,
    wavelengths: int = 12,
    keep: Path | None = None,
    force: Flag = False,
) -> None:
    """A film of a stone in motion, in colour; several stones side by side, on one scale and under the first one's dome.

    Written is one file: `.mp4`, or `.gif` or `.webp` where no codec is installed. Each still is kept in a folder of its own
    as soon as it is done: a film that was broken off goes on there when the command is given again, and films that share stills
    share the work.

    For example:

        raylab film scenes/well-proportioned.toml --out film.mp4 --dome small-lamps --exposure 5

    Parameters
    ----------
    scenes
        Scene files (TOML) or stones alone: a table of facets (.csv) or a scan (.stl, .obj, .ply, .glb, .3mf).
    out
        The film: a name that ends in .mp4, .gif or .webp.
    move
        `circle`: the table's normal goes around a cone, as one rolls a stone between the fingers. `turn`: about its own
        axis, at the first scene's tilt. `rock`: to one side, to the other and back.
    angle_deg
        How far, degrees: the cone's half-angle (12 by default), the whole turn (360), or the largest tilt (15).
    stills
        How many.
    size
        Pixels along each side of one stone's picture.
    fps
        Stills per second.
    wavelengths
        How many wavelengths, up to 700 nm.
    keep
        Folder of the stills; by default beside the film and named after it.
    force
        Overwrite a film of this name.
    """
    from ..errors import InputError
    from ..motion.view_paths import moved
    from ..optics.spectrum import wavelength_set
    from ..pictures.video import save_video

    if not scenes:
        raise InputError("nothing to film", key="SCENES", expected="a scene or a stone")
    wanted = [subject.scene(path) for path in scenes]
    own = ("angle_deg", "stills", "size", "fps", "exposure", "wavelengths", "low_nm")
    with faults_by_option(*own, number="wavelengths", frames="stills", wavelengths_nm="low_nm"):
        folder = save_video(
            [one.stone for one in wanted],
            wanted[0].dome,
            out,
            moved(wanted[0].view, move, stills, angle_deg),
            size=size,
            light=shining.light,
            exposure=shining.exposure,
            wavelengths=wavelength_set(wavelengths, low_nm=shining.low_nm),
            fps=fps,
            stills=keep,
            force=force,
            progress=True,
        )
    say(f"{stills} stills at {fps:g} a second in {out}; each is kept in {folder}")
