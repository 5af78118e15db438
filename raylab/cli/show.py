"""``raylab show``: one HTML file in which stones are traced live."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from cyclopts import Parameter

from .console import faults_by_option, say, say_materials
from .options import AS_IN_THE_FILE, AS_THE_SCENE_SAYS, Flag, Subject, refuse_other_kind


def show(
    *scenes: Path,
    out: Path,
    subject: Subject = AS_IN_THE_FILE,
    tilt_deg: float | None = None,
    tilt_azimuth_deg: float | None = None,
    distance_mm: float | None = None,
    light: Literal["D65", "A", "E", "LED-B3"] = "D65",
    exposure: float = 1.0,
    low_nm: float = 400.0,
    title: str = "",
    stills: Annotated[bool, Parameter(negative="--no-stills")] = True,
    force: Flag = False,
) -> None:
    """Write one HTML file in which one to four stones are traced live in the browser.

    The file needs a browser with WebGL 2 and nothing else: no network and no installation. The stones are turned together by
    mouse, finger or keys, in colour or as false-colour maps, under the dome of the first scene or a shipped one. The physics is
    that of the other commands; the page says what it leaves out.

    For example:

        raylab show scenes/well-proportioned.toml scenes/shallow-fish-eye.toml --out stones.html

    Parameters
    ----------
    scenes
        One to four scene files (TOML), facet tables (.csv) or scans (.stl, .obj, .ply, .glb, .3mf), or names of demo ones.
    out
        Output file, HTML.
    tilt_deg
        Tilt at the start, degrees; by default that of the first scene.
    tilt_azimuth_deg
        Azimuth towards which the table leans, degrees counter-clockwise from +x.
    distance_mm
        Distance of the eye, mm; by default that of the first scene, or far away.
    light
        Illuminant: daylight (D65), tungsten (A), equal energy (E) or a white LED (LED-B3).
    exposure
        Factor on luminance at the start; at 1 the brightest direction of the dome is white.
    low_nm
        Shortest wavelength, nm. Moissanite needs 436 because its index is unknown below; blue light is then missing.
    title
        Heading of the page; by default the names of the stones.
    stills
        Draw a still picture of each stone for browsers without WebGL 2.
    force
        Overwrite an existing file.
    """
    from dataclasses import replace

    from ..live.live_scene import and_shipped
    from ..live.saving import save_show
    from ..whole_files import refuse_taken

    refuse_other_kind("--out", out, "the page is an HTML file", ".html")
    refuse_taken(out.parent, [out.name], force)
    sight = replace(AS_THE_SCENE_SAYS, tilt_deg=tilt_deg, tilt_azimuth_deg=tilt_azimuth_deg)
    wanted = subject.scenes(scenes, sight)
    with faults_by_option("exposure", "low_nm", "distance_mm", wavelength_nm="low_nm"):
        view = wanted[0].view if distance_mm is None else replace(wanted[0].view, distance_mm=distance_mm)
        save_show(
            [one.stone for one in wanted],
            out,
            domes=and_shipped(wanted[0].dome),
            view=view,
            light=light,
            exposure=exposure,
            low_nm=low_nm,
            title=title,
            stills=stills,
            force=force,
            progress=True,
        )
    say_materials(*(one.stone for one in wanted))
    say(f"{len(wanted)} {'stone' if len(wanted) == 1 else 'stones'} in {out} ({out.stat().st_size / 1000:.0f} kB)")
