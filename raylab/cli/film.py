"""``raylab film``: a stone in motion, or several stones side by side, in colour."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from .console import faults_by_option, goes_on, say, say_materials
from .options import AS_IN_THE_FILE, DAYLIGHT, Flag, Shining, Subject, Whole


def film(
    *scenes: Path,
    out: Path,
    move: Literal["circle", "turn", "rock"] = "circle",
    angle_deg: float | None = None,
    stills: Whole = 200,
    size: Whole = 400,
    fps: float = 20.0,
    subject: Subject = AS_IN_THE_FILE,
    shining: Shining = DAYLIGHT,
    keep: Path | None = None,
    force: Flag = False,
) -> None:
    """Film a stone in motion, in colour, or several stones side by side.

    All stones appear on one scale and under the dome of the first scene. The command writes one file: `.mp4`, or `.gif` or
    `.webp` if no codec is installed. Each finished still is kept in a folder. The same command resumes an interrupted film,
    and films with common stills share them. All stills have the same wavelengths, 16 if no option says otherwise.

    For example:

        raylab film scenes/well-proportioned.toml --out film.mp4 --dome small-lamps --exposure 5

    Parameters
    ----------
    scenes
        Scene files (TOML), facet tables (.csv) or scans (.stl, .obj, .ply, .glb, .3mf), or names of demo ones.
    out
        Output file; its name ends in .mp4, .gif or .webp.
    move
        `circle`: the normal of the table moves around a cone. `turn`: the stone turns about its own axis at the tilt of the
        first scene. `rock`: the stone tilts to one side, to the other and back.
    angle_deg
        Extent of the motion, degrees: half-angle of the cone (default 12), total turn (360), or largest tilt (15).
    stills
        Number of stills.
    size
        Pixels along each side of the picture of one stone.
    fps
        Stills per second.
    keep
        Folder of the stills. By default it lies beside the film and is named after it.
    force
        Overwrite an existing film.
    """
    from ..motion.view_paths import moved
    from ..pictures.film_wavelengths import USUAL
    from ..pictures.video import save_video

    wanted = subject.scenes(scenes)
    own = ("angle_deg", "stills", "size", "fps", "exposure", "spectrum", "low_nm")
    with goes_on("film"), faults_by_option(*own, number="spectrum", frames="stills", wavelengths_nm="low_nm"):
        made = save_video(
            [one.stone for one in wanted],
            wanted[0].dome,
            out,
            moved(wanted[0].view, move, stills, angle_deg),
            size=size,
            light=shining.light,
            exposure=shining.exposure,
            spectrum=shining.waves(USUAL),
            fps=fps,
            stills=keep,
            force=force,
            progress=True,
        )
    say_materials(*(one.stone for one in wanted))
    say(f"{stills} stills at {fps:g} per second in {out}; the stills are kept in {made.folder}")
    if made.error is None:
        say(f"{len(made.waves)} wavelengths")
    else:
        say(f"{len(made.waves)} wavelengths; estimated error of colours on a few stills, CIEDE2000: {made.error}")
