"""``raylab inclusion``: where a stone's inclusions are seen, how strong, and how that changes with the tilt."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .console import faults_by_option, say, say_json, say_materials, say_written, table
from .options import AS_IN_THE_FILE, AS_THE_SCENE_SAYS, Force, Json, OutFolder, SceneFile, Sight, Subject

if TYPE_CHECKING:
    from ..results.inclusion_images import InclusionImages
    from ..scene.scene import Scene

_SHOWN = 12
"""So many images are printed."""
_FILES = ("inclusions.nc", "inclusions.json", "inclusions.csv", "inclusions.png")
_SERIES = ("inclusions-tilt.nc", "inclusions-tilt.png")


def inclusion(
    scene: SceneFile,
    /,
    *,
    out: OutFolder,
    plotted: Path | None = None,
    distance_mm: float | None = None,
    resolves_arcmin: float = 1.0,
    contrast: float = 0.05,
    to_deg: float | None = None,
    step_deg: float = 5.0,
    subject: Subject = AS_IN_THE_FILE,
    sight: Sight = AS_THE_SCENE_SAYS,
    force: Force = False,
    json: Json = False,
) -> None:
    """Show where a stone's inclusions are seen on its face, directly and by reflection.

    The command writes `inclusions.nc` (maps with and without the inclusions, contrast, number of the image, internal
    reflections), `inclusions.csv` (one row for each image: facets on the way, area, contrast, angle), `inclusions.json` and
    `inclusions.png`. An image is what is seen of one inclusion along the same facets. It counts as large and strong enough
    where its width and its contrast reach both thresholds. This is no grade of clarity.

    For example:

        raylab inclusion plotted-inclusions --out out-inclusions --to-deg 20

    Parameters
    ----------
    plotted
        CSV file of inclusions, in addition to those of the scene.
    distance_mm
        Distance of the eye, mm. [default: that of the view, or 250]
    resolves_arcmin
        Smallest angle that the eye resolves, arc minutes.
    contrast
        Smallest contrast that counts, (L - L0)/L0 against the stone without inclusions.
    to_deg
        Also follow the numbers while the stone tilts from 0 to this angle, degrees.
    step_deg
        Step from one tilt to the next, degrees.
    """
    from .. import netcdf
    from ..files import save_png, to_json
    from ..inclusions import inclusion_images, inclusion_tilt
    from ..motion.tilting import angle_steps, path_of
    from ..pictures.inclusion_plots import inclusion_figure, tilt_figure
    from ..whole_files import whole_set

    wanted = _with_plotted(subject.scene(scene, sight), plotted)
    view = wanted.view
    with faults_by_option("to_deg", "step_deg"):
        tilts = [] if to_deg is None else angle_steps(0.0, to_deg, step_deg)
    views = path_of(tilts, view.tilt_azimuth_deg, view.turn_deg) if tilts else []
    names = [*_FILES, *(_SERIES if views else ())]
    with faults_by_option("distance_mm", "resolves_arcmin", "contrast"), whole_set(out, names, force=force) as stage:
        found = inclusion_images(
            wanted, distance_mm=distance_mm, resolves_arcmin=resolves_arcmin, contrast=contrast, progress=True
        )
        facts: dict[str, Any] = {
            "stone": wanted.stone.name,
            "dome": wanted.dome.name,
            "remarks": wanted.stone.inclusion_remarks(),
        }
        facts |= found.to_dict()
        (stage / "inclusions.nc").write_bytes(netcdf.of_dataset(found.maps))
        (stage / "inclusions.csv").write_text(_csv(found), encoding="utf-8")
        save_png(inclusion_figure(found), stage / "inclusions.png")
        if views:
            series = inclusion_tilt(wanted, views, distance_mm=distance_mm, progress=True)
            facts["tilt"] = {str(name): series[name].values.tolist() for name in ("tilt_deg", *series.data_vars)}
            (stage / "inclusions-tilt.nc").write_bytes(netcdf.of_dataset(series))
            save_png(tilt_figure(series), stage / "inclusions-tilt.png")
        (stage / "inclusions.json").write_text(to_json(facts), encoding="utf-8")
    if json:
        say_json(facts)
    else:
        _print(wanted, found, facts)
        say_written(names, out)


def _with_plotted(scene: Scene, plotted: Path | None) -> Scene:
    """The scene with the inclusions of a CSV file too; a stone that has none then is refused before anything is written."""
    from ..errors import InputError
    from ..stone.inclusions.inclusion_file import load_inclusions

    stone = scene.stone
    if plotted is not None:
        found = load_inclusions(plotted, stone)
        try:
            stone = stone.with_inclusions([*stone.inclusions, *found])
        except InputError as error:
            raise error.within(file=str(plotted)) from error
    if not stone.inclusions:
        expected = "a CSV file, or [[stone.inclusions]] in the scene"
        raise InputError("the stone has no inclusions", key="--plotted", expected=expected)
    return replace(scene, stone=stone)


_COLUMNS = (
    "image",
    "inclusion",
    "reflections",
    "area_mm2",
    "x_mm",
    "y_mm",
    "taken",
    "contrast",
    "diameter_arcmin",
    "large_and_strong",
    "facets",
)


def _rows(found: InclusionImages) -> list[dict[str, Any]]:
    """One row for each image, by the names of the CSV file's columns."""
    return [
        {
            "image": number,
            "inclusion": one.name,
            "reflections": one.reflections,
            "area_mm2": f"{one.area_mm2:.5f}",
            "x_mm": f"{one.center_mm[0]:.3f}",
            "y_mm": f"{one.center_mm[1]:.3f}",
            "taken": f"{one.taken:.4f}",
            "contrast": f"{one.contrast:.4f}",
            "diameter_arcmin": f"{one.diameter_arcmin:.2f}",
            "large_and_strong": "yes" if one.large_and_strong else "no",
            "facets": " > ".join(one.facets),
        }
        for number, one in enumerate(found.images, start=1)
    ]


def _csv(found: InclusionImages) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, _COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(_rows(found))
    return text.getvalue()


def _in_words(column: str) -> str:
    """A column of the CSV file as the head of a printed one.

    >>> _in_words("area_mm2"), _in_words("large_and_strong")
    ('area / mm^2', 'large and strong')
    """
    for suffix, unit in (("_mm2", "mm^2"), ("_mm", "mm"), ("_arcmin", "arcmin")):
        if column.endswith(suffix):
            return f"{column.removesuffix(suffix)} / {unit}"
    return column.replace("_", " ")


def _print(scene: Scene, found: InclusionImages, facts: dict[str, Any]) -> None:
    say(scene.title or scene.name)
    say_materials(scene.stone)
    for remark in facts["remarks"]:
        say(f"  {remark}")
    say()
    rows = _rows(found)[:_SHOWN]
    if rows:
        table([_in_words(column) for column in rows[0]], [[str(cell) for cell in row.values()] for row in rows], left=2)
        say()
    eye, more = found.eye, len(found.images) - len(rows)
    not_printed = f" ({more} not printed)" if more else ""
    say(f"  {len(found.images)} images, by the luminance missing there{not_printed}, and {found.faint} faint ones")
    say(
        f"  {found.large_and_strong} are at least {eye.resolves_arcmin:g} arc min wide from {eye.distance_mm:g} mm and of "
        f"contrast {eye.contrast:g} or more"
    )
    for share, words in ((found.taken, "of the light is taken"), (found.lost, "of the face's luminance is missing")):
        say(f"  {100.0 * share.value:.3f} % {words} (standard error {100.0 * share.error:.3f} %)")
    say()
