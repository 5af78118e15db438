"""``raylab eyes``: a scene as two eyes see it, as a stereo pair and as an anaglyph."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from .console import faults_by_option, say, say_materials, say_written
from .options import AS_IN_THE_FILE, AS_THE_SCENE_SAYS, DAYLIGHT, Flag, Force, OutFolder, SceneFile, Shining, Sight, Subject

FILES = ("parallel.png", "crossed.png", "anaglyph.png", "left.tiff", "right.tiff")


def eyes(
    scene: SceneFile,
    /,
    *,
    out: OutFolder,
    distance_mm: float = 250.0,
    pupils_apart_mm: float = 63.0,
    pupil_mm: float = 0.0,
    head: Flag = False,
    head_width_mm: float = 170.0,
    subject: Subject = AS_IN_THE_FILE,
    sight: Sight = AS_THE_SCENE_SAYS,
    shining: Shining = DAYLIGHT,
    force: Force = False,
) -> None:
    """Render a scene in colour as two eyes see it.

    The command writes `parallel.png` (left picture for the left eye), `crossed.png` (left picture for the right eye),
    `anaglyph.png` (red filter before the left eye, cyan before the right), and the linear pictures `left.tiff` and
    `right.tiff`. The pictures are sampled.

    For example:

        raylab eyes scenes/well-proportioned.toml --out out-eyes --head --tilt-deg 5

    Parameters
    ----------
    distance_mm
        Distance from the middle of the girdle to the midpoint of the eyes.
    pupils_apart_mm
        Distance between the pupils; 63 mm is the mean of adults.
    pupil_mm
        Diameter of each pupil; points outside the girdle plane are blurred. 0 is a pinhole; about 3 mm in a bright room.
    head
        Replace the head cone of the dome by that of a head at this distance.
    head_width_mm
        Width of that head, including hair.
    """
    from ..color.eyes import eye_pair, with_head
    from ..color.wavelength_choice import BY_ERROR
    from ..pictures.color_files import save_color_png, save_linear_tiff
    from ..whole_files import whole_set

    wanted = subject.scene(scene, sight)
    own = ("distance_mm", "head_width_mm", "pupils_apart_mm", "pupil_mm", "exposure", "spectrum", "low_nm")
    other: dict[str, Any] = {"number": "spectrum", "wavelength_nm": "low_nm", "view.distance_mm": "distance_mm"}
    with faults_by_option(*own, **other), whole_set(out, FILES, force=force) as stage:
        if head:
            wanted = replace(wanted, dome=with_head(wanted.dome, distance_mm, head_width_mm))
        pair = eye_pair(
            wanted, distance_mm, pupils_apart_mm, pupil_mm=pupil_mm, light=shining.light, exposure=shining.exposure,
            spectrum=shining.waves(BY_ERROR), progress=True,
        )  # fmt: skip
        both = f"left eye: {pair.left.about}. Right eye: {pair.right.about}."
        save_color_png(pair.side_by_side(), stage / "parallel.png", about=both)
        save_color_png(pair.side_by_side(crossed=True), stage / "crossed.png", about=both)
        save_color_png(pair.anaglyph(), stage / "anaglyph.png", about=both)
        save_linear_tiff(pair.left.linear(), stage / "left.tiff", about=pair.left.about)
        save_linear_tiff(pair.right.linear(), stage / "right.tiff", about=pair.right.about)
    head_deg = wanted.dome.head_half_angle_deg
    say(f"{wanted.title or wanted.name}: eyes {pupils_apart_mm:g} mm apart at {distance_mm:g} mm; head {head_deg:.1f} degrees")
    say_materials(wanted.stone)
    for eye, seen in (("left", pair.left), ("right", pair.right)):
        say(f"{eye} eye: {seen.about}")
        for note in seen.notes:
            say(f"  {note}")
    say_written(FILES, out)
