"""``raylab tilt``: contrast, ledger and flashes against the angle of tilt or turn."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from .console import faults_by_option, say, say_json, say_materials, say_wide, say_written, table
from .options import AS_IN_THE_FILE, About, Flag, Force, Json, OutFolder, SceneFile, Subject, azimuth_of

if TYPE_CHECKING:
    import xarray as xr

    from ..motion.scintillation import Scintillation


def tilt(
    scene: SceneFile,
    /,
    *,
    out: OutFolder,
    to_deg: float = 30.0,
    from_deg: float = 0.0,
    step_deg: float = 1.0,
    azimuth_deg: float | None = None,
    about: About | None = None,
    turn: Flag = False,
    turn_by_deg: float = 0.0,
    subject: Subject = AS_IN_THE_FILE,
    flashes: Flag = False,
    dark: Flag = False,
    force: Force = False,
    json: Json = False,
) -> None:
    """Trace a stone over a series of tilts, turns or both.

    The command writes `tilt.nc` (every statistic with its bracket and standard error), `tilt.json` and `tilt.png` (contrast and
    ledger against the angle). It uses the dome, wavelength and settings of the scene and an exact engine. A scene that states
    neither a precision nor a standard error is traced to a standard error of 0.0002 of brightness and contrast.

    For example:

        raylab tilt scenes/well-proportioned.toml --out out-tilt --to-deg 20 --flashes
        raylab tilt pear --out out-pear --about length

    Parameters
    ----------
    to_deg
        Last angle, degrees.
    from_deg
        First angle, degrees; negative angles lean in the opposite direction.
    step_deg
        Step from one view to the next, degrees.
    azimuth_deg
        Azimuth towards which the table leans, degrees counter-clockwise from +x. [default: 0]
    about
        Instead of an azimuth: tilt the stone about its `length` or about its `width`.
    turn
        Turn the stone about its own axis instead of tilting it, at the tilt of the scene.
    turn_by_deg
        Turn the stone about its own axis by this total angle while it tilts, degrees.
    flashes
        Also compute the share of the face that flashes between bright and dark per degree, with number and sizes of the spots.
    dark
        Also compute the largest connected dark area, and the dark band across the width of a long stone with its depth.
    """
    from .. import netcdf
    from ..errors import InputError, UnsupportedScene
    from ..files import save_png, to_json
    from ..motion.scintillation import LOOSE, scintillation
    from ..motion.tilting import angle_steps, by_error
    from ..motion.tilting import tilt as tilted
    from ..pictures.tilt_plots import tilt_figure
    from ..tracers.engines import exactly
    from ..whole_files import whole_set

    wanted = subject.scene(scene)
    try:
        wanted = exactly(wanted.with_settings(wavelengths_nm=wanted.settings.middle_nm))
    except UnsupportedScene as error:
        raise error.within(file=str(scene)) from error
    with faults_by_option("to_deg", "step_deg"):
        angles = angle_steps(from_deg, to_deg, step_deg)
    view, azimuth = wanted.view, azimuth_deg or 0.0
    if about is not None:
        azimuth = azimuth_of(wanted.stone, about, azimuth_deg, view.turn_deg)
    if turn and turn_by_deg:
        raise InputError("needs a tilting stone", key="--turn-by-deg", value=turn_by_deg, expected="no option --turn")
    turns = [view.turn_deg + turn_by_deg * k / max(1, len(angles) - 1) for k in range(len(angles))]
    path: tuple[Any, Any, Any] = (angles, azimuth, turns if turn_by_deg else view.turn_deg)
    if turn:
        path = (view.tilt_deg, view.tilt_azimuth_deg, angles)
    stone, dome, settings = wanted.stone, wanted.dome, wanted.settings
    files, moved = ["tilt.nc", "tilt.json", "tilt.png"], dict[str, Any]()
    moved["turn_deg" if turn else "tilt_deg"] = "to_deg"
    with faults_by_option("to_deg", "azimuth_deg", **moved), whole_set(out, files, force=force) as stage:
        found = tilted(stone, dome, *path, settings=by_error(settings), dark=dark, progress=True)
        loose = replace(settings, precision=LOOSE.precision)
        seen = scintillation(stone, dome, *path, settings=loose, progress=True) if flashes else None
        facts = _facts(found, seen)
        (stage / "tilt.nc").write_bytes(netcdf.of_dataset(found))
        (stage / "tilt.json").write_text(to_json(facts), encoding="utf-8")
        save_png(tilt_figure(found, seen), stage / "tilt.png")
    if json:
        say_json(facts)
    else:
        _print(wanted.title or wanted.name, found, seen)
        say_materials(stone)
        say_written(files, out)


def _facts(found: xr.Dataset, scintillation: Scintillation | None) -> dict[str, object]:
    """Plain numbers: the series by name, and the flashes."""
    facts: dict[str, object] = {**found.attrs, "wavelength_nm": float(found.wavelength_nm)}
    for name in ("tilt_deg", "azimuth_deg", "turn_deg", *found.data_vars):
        facts[str(name)] = found[name].values.tolist()
    if scintillation is not None:
        facts["flashes"] = {
            "mean_share_per_deg": scintillation.mean_share_per_deg,
            "share_per_deg": scintillation.share_per_deg.tolist(),
            "share_error": scintillation.share_error.tolist(),
            "count": scintillation.count.tolist(),
            "sizes_mm2": [sizes.tolist() for sizes in scintillation.sizes_mm2],
            "threshold": scintillation.threshold,
        }
    return facts


def _print(title: str, found: xr.Dataset, scintillation: Scintillation | None) -> None:
    """At most a dozen angles as a table."""
    from ..results.dark_areas import NUMBERS

    dim = str(found.area_mm2.dims[0])
    angles = found[dim].values if dim in found.coords else found.tilt_deg.values
    names = ("contrast_rms", "brightness", "sky", "head", "leak", "untraced", *(name for name in NUMBERS if name in found))
    rows = []
    for k in range(0, len(angles), -(-len(angles) // 12)):
        rows.append((f"{angles[k]:g}", *(f"{float(found[name][k]):.4f}" for name in names)))
    say(title)
    say()
    table((dim if dim in found.coords else "tilt_deg", *names), rows)
    say()
    if len(rows) < len(angles):
        say(f"  {len(rows)} of {len(angles)} views; tilt.json holds all")
    if "standard_error" in found.attrs:
        most = max(float(found[f"{name}_error"].max()) for name in ("brightness", "contrast_rms"))
        say(f"  standard error of contrast_rms and brightness at most {most:.1e}")
    say_wide(found, "angles")
    if scintillation is not None:
        say(f"  {100 * scintillation.mean_share_per_deg:.2f} % of the face flashes per degree, mean over the series")
        say()
