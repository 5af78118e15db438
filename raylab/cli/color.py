"""``raylab color``: a scene in colour, the colour of the stone's face, and its fire."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from .console import faults_by_option, say, say_json, say_materials, say_written, table
from .options import AS_IN_THE_FILE, AS_THE_SCENE_SAYS, DAYLIGHT, Force, Json, OutFolder, SceneFile, Shining, Sight, Subject

if TYPE_CHECKING:
    from ..color.fire import Fire
    from ..color.picture import BodyColor, Picture
    from ..scene.scene import Scene

GROUND = 0.03
"""Linear grey around the stone, as in films: its outline is seen whether the face is bright or exposed to a middle grey."""

TOO_DARK = 4.0
"""A picture that needs so many times its exposure is called dark."""


def color(
    scene: SceneFile,
    /,
    *,
    out: OutFolder,
    subject: Subject = AS_IN_THE_FILE,
    sight: Sight = AS_THE_SCENE_SAYS,
    precision: float | None = None,
    shining: Shining = DAYLIGHT,
    force: Force = False,
    json: Json = False,
) -> None:
    """Render a scene in colour, with the colour of its face and its fire.

    The command writes `color.png` (16 bits, sRGB, on dark grey), `color.tiff` (linear, 32-bit floats, unclipped), `color.json`
    and `fire.png`. The JSON file holds the chroma, the colour of the face (CIELAB, with the CIEDE2000 difference from the same
    stone without body colour), and the fire (angle between the Fraunhofer lines F and C). `fire.png` is the map of that angle.
    Face colour and fire are exact and need a parallel view. The estimated error of the pixels' colours that comes from
    the number of wavelengths is printed, and stands in `color.json` and in both files of the picture.

    For example:

        raylab color scenes/well-proportioned.toml --out out-color --dome small-lamps --exposure 5

    Parameters
    ----------
    precision
        Width of the bracket on brightness: a smaller one is more exact and takes longer (exact engine).
    """
    from ..color.fire import chroma, fire_map
    from ..color.picture import BODY, color_picture, exposure_for, face_up_color
    from ..color.wavelength_choice import BY_ERROR
    from ..files import save_png, to_json
    from ..optics.spectrum import wavelength_set
    from ..pictures.color_files import save_color_png, save_linear_tiff
    from ..pictures.fire_plots import fire_figure
    from ..tracers.engines import engine_for
    from ..whole_files import whole_set

    wanted = subject.scene(scene, sight, precision=precision)
    with faults_by_option("exposure", "spectrum", "low_nm", number="spectrum", wavelengths_nm="low_nm"):
        waves = shining.waves(BY_ERROR)
        exact = engine_for(wanted.with_settings(engine=None)).exact
        files = ["color.png", "color.tiff", "color.json", *["fire.png"] * exact]
        with whole_set(out, files, force=force) as stage:
            seen = color_picture(wanted, shining.light, shining.exposure, waves, progress=True)
            face = fire = None
            if exact:
                few = wavelength_set(BODY, "gauss", shining.low_nm)
                face = face_up_color(wanted, shining.light, shining.exposure, few)
                fire = fire_map(wanted)
                save_png(fire_figure([fire], [f"{wanted.stone.name}, fire: mean {fire.mean_deg:.2f}°"]), stage / "fire.png")
            facts = _facts(wanted, seen, chroma(seen), face, fire)
            save_color_png(seen.srgb(background=GROUND), stage / "color.png", about=seen.about)
            save_linear_tiff(seen.linear(), stage / "color.tiff", about=seen.about)
            (stage / "color.json").write_text(to_json(facts), encoding="utf-8")
    if json:
        say_json(facts)
    else:
        _print(wanted, facts)
        fitting = exposure_for([seen])
        if fitting > TOO_DARK * seen.exposure:
            say(f"  half of the face is darker than a screen shows well; --exposure {fitting:g} raises it to a middle grey")
            say()
        say_written(files, out)


def _facts(scene: Scene, seen: Picture, colorful: Any, face: BodyColor | None, fire: Fire | None) -> dict[str, Any]:
    """Plain numbers, by the names that `color.fire` and `color.picture` define."""
    facts: dict[str, Any] = {
        "stone": scene.stone.name,
        "material": scene.stone.material.name,
        "material_remark": scene.stone.material.remark,
        "dome": scene.dome.name,
        "light": seen.light,
        "exposure": seen.exposure,
        "wavelengths_nm": seen.waves.nodes_nm.tolist(),
        "color_error": None if seen.error is None else asdict(seen.error),
        "notes": list(seen.notes),
        "chroma": {"lab": colorful.chroma_lab, "uv": colorful.chroma_uv, "pixel_mm": colorful.pixel_mm},
    }
    if face is not None:
        facts["face"] = {
            "lab": face.lab.tolist(),
            "twin_lab": face.twin_lab.tolist(),
            "ciede2000_to_twin": face.difference,
            "untraced": face.untraced,
        }
    if fire is not None:
        facts["fire"] = {
            "mean_deg": fire.mean_deg,
            "sky_mean_deg": fire.sky_mean_deg,
            "without_share": fire.without_share,
            "lines_nm": list(fire.lines_nm),
        }
    return facts


def _print(scene: Scene, facts: dict[str, Any]) -> None:
    say(scene.title or scene.name)
    say(f"{facts['stone']}: {facts['material']}; dome {facts['dome']}; light {facts['light']}, exposure {facts['exposure']:g}")
    say_materials(scene.stone)
    say()
    chroma = facts["chroma"]
    off, count = facts["color_error"], len(facts["wavelengths_nm"])
    rows = [
        ("wavelengths", f"{count}"),
        *[
            (f"error of colours by their number, CIEDE2000, {key.replace('percentile_95', '95 %')}", f"{value:.2f}")
            for key, value in (off or {}).items()
        ],
        ("chroma C*ab, area mean", f"{chroma['lab']:.2f}"),
        ("chroma u'v', mean by luminance", f"{chroma['uv']:.4f}"),
    ]
    if "face" in facts:
        lab = ", ".join(f"{number:.2f}" for number in facts["face"]["lab"])
        rows.append(("colour of the face, L* a* b*", lab))
        rows.append(("CIEDE2000 from the stone without body colour", f"{facts['face']['ciede2000_to_twin']:.2f}"))
    if "fire" in facts:
        fire = facts["fire"]
        rows.append(("angle between F and C, area mean, degrees", f"{fire['mean_deg']:.3f}"))
        rows.append(("angle between F and C, mean over the sky share", f"{fire['sky_mean_deg']:.3f}"))
        rows.append(("share of the face without an angle", f"{fire['without_share']:.4f}"))
    table(("", "value"), rows)
    if "face" not in facts:
        say("  face colour and fire need an exact engine: a parallel view, and a stone without inclusions")
    for note in facts["notes"]:
        say(f"  {note}")
    say()
