"""``raylab visibility``: at each place of a stone, how much a small speck would show; and where it would show least."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

from cyclopts import Parameter

from .console import faults_by_option, say, say_json, say_materials, say_written, table
from .options import AS_IN_THE_FILE, AS_THE_SCENE_SAYS, Flag, Force, Json, OutFolder, SceneFile, Sight, Subject, Whole

if TYPE_CHECKING:
    from ..results.visibility_field import LeastSeen, VisibilityField
    from ..scene.scene import Scene

_FIELD = Literal["lost", "taken", "images", "area"]
_SHOWN = 10
"""So many regions and inclusions are printed."""
_FILES = ("visibility.nc", "visibility.vti", "visibility.json", "visibility.png")
_DRAWN = "visibility-3d.png"


def visibility(
    scene: SceneFile,
    /,
    *,
    out: OutFolder,
    voxels: Whole = 64,
    rays: Whole = 400_000,
    share: float = 0.1,
    by: _FIELD = "lost",
    drawn: Annotated[Flag, Parameter(name="--3d")] = False,
    subject: Subject = AS_IN_THE_FILE,
    sight: Sight = AS_THE_SCENE_SAYS,
    force: Force = False,
    json: Json = False,
) -> None:
    """Show how much a small dark speck would be seen at each place of a stone.

    For every voxel the command gives the number of images that the face shows of a point there, their area, and the light that
    a small speck would take, per mm^2 of its cross-section. Inclusions of the scene are left out of the field and looked up in
    it. The command writes `visibility.nc` (labelled arrays), `visibility.vti` (the same for programs that show volumes),
    `visibility.json` and `visibility.png` (slices).

    For example:

        raylab visibility well-proportioned --out out-visibility --3d

    Parameters
    ----------
    voxels
        Voxels along each side of the box around the stone.
    rays
        View rays; more take longer and leave less noise.
    share
        Share of the volume that counts as least seen.
    by
        What least seen goes by: luminance `lost`, light `taken`, number of `images` or their `area`.
    drawn
        Also draw the stone in 3D with the part that is least seen, `visibility-3d.png`.
    """
    from ..fields import visibility as field_of
    from ..files import save_png, to_json
    from ..pictures.visibility_in_3d import save_least_seen
    from ..pictures.visibility_plots import slices_figure
    from ..voxel_files import save_visibility
    from ..whole_files import whole_set

    wanted = subject.scene(scene, sight)
    names = [*_FILES, *([_DRAWN] if drawn else [])]
    with faults_by_option("voxels", "rays", "share"), whole_set(out, names, force=force) as stage:
        field = field_of(wanted, voxels=voxels, rays=rays, progress=True)
        least = field.least_seen(share, by)
        facts = _facts(wanted, field, least)
        for name in _FILES[:2]:
            save_visibility(field, stage / name)
        save_png(slices_figure(field, by), stage / "visibility.png")
        if drawn:
            save_least_seen(field, least, stage / _DRAWN)
        (stage / "visibility.json").write_text(to_json(facts), encoding="utf-8")
    if json:
        say_json(facts)
    else:
        _print(wanted, facts, least)
        say_written(names, out)


def _facts(scene: Scene, field: VisibilityField, least: LeastSeen) -> dict[str, Any]:
    from ..stone.inclusions.inclusion import label

    maps = field.maps
    inside = maps.inside.values * (maps.images.notnull().values)
    means = {
        name: float((maps[name].fillna(0.0).values * inside).sum() / inside.sum())
        for name in ("images", "area", "taken", "lost")
    }
    plotted = [
        {"inclusion": label(one, number), **field.at(one.center_mm)}
        for number, one in enumerate(scene.stone.inclusions, start=1)
    ]
    return {
        "stone": scene.stone.name,
        "dome": scene.dome.name,
        "voxels": list(maps.inside.shape),
        "rays": maps.attrs["rays"],
        "relative_error": field.relative_error,
        "means": means,
        "inclusions": plotted,
        "least_seen": least.to_dict(),
    }


def _print(scene: Scene, facts: dict[str, Any], least: LeastSeen) -> None:
    say(scene.title or scene.name)
    say_materials(scene.stone)
    say()
    rows = [("mean of the stone", facts["means"]), *((one["inclusion"], one) for one in facts["inclusions"][:_SHOWN])]
    heads = ["small opaque speck", "images", "their area", "taken, %", "lost, %"]
    table(
        heads,
        [
            [name, f"{one['images']:.1f}", f"{one['area']:.1f}", f"{100 * one['taken']:.2f}", f"{100 * one['lost']:.2f}"]
            for name, one in rows
        ],
    )
    say("  area of the images (mm^2), light taken and luminance lost are per mm^2 of the speck's cross-section")
    say()
    say(f"  standard error of a voxel {100.0 * facts['relative_error']:.1f} % (median, of lost)")
    say(f"  {100.0 * least.share:.1f} % of the volume where {least.by} is at most {least.below:.3g}:")
    for one in least.regions[:_SHOWN]:
        say(f"    {one}")
    more = len(least.regions[_SHOWN:]) + least.small
    if more:
        say(f"    and {more} smaller parts")
    say()
