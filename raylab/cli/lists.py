"""``raylab scenes``, ``materials``, ``domes``, ``engines``, ``statistics``, ``cuts``: lists of the available parts."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .console import say, say_json, table
from .options import Flag

if TYPE_CHECKING:
    from ..stone.cuts.cut import Cut


def scenes(
    folder: Path | None = None,
    /,
    *,
    copy: Path | None = None,
    force: Flag = False,
    json: Flag = False,
) -> None:
    """List the demo scenes, stones and sweeps, or the scene files in a folder. A command takes a demo file by its name.

    For example:

        raylab scenes
        raylab scenes --copy my-scenes

    Parameters
    ----------
    folder
        Folder with scene files (*.toml). By default the demo scenes are listed.
    copy
        Copy all demo files into this folder, to edit them; it is created if it does not exist.
    force
        Overwrite existing files in that folder.
    json
        Print the list as JSON.
    """
    from ..demo import demo_folder
    from ..errors import InputError

    if copy is not None:
        if folder is not None:
            raise InputError("copies the demo scenes", key="--copy", value=str(copy), expected="no other folder beside it")
        _copy_demo(copy, force)
        return
    place = demo_folder() if folder is None else folder
    if not place.is_dir():
        raise InputError("no such folder", file=str(place), expected="a folder with scene files (*.toml)")
    found = [_scene(path, path.stem if folder is None else str(path)) for path in sorted(place.glob("*.toml"))]
    others = [] if folder is not None else _other_demo_files()
    if json:
        say_json([*found, *others])
    elif not found:
        say(f"no scene files (*.toml) in {place}")
    else:
        table(
            ("scene", "dome", "title"),
            [(f["name"], f["dome"], f["title"] or f"not usable: {f['fault']}") for f in found],
            left=3,
        )
    if others and not json:
        say()
        for kind in dict.fromkeys(one["kind"] for one in others):
            say(f"  {kind}s: " + ", ".join(one["name"] for one in others if one["kind"] == kind))
        say("  a name stands for its file in any command, as in `raylab render well-proportioned --out out`")
        say("  scans (.ply) state no unit, and are in millimetres: `raylab measure oval --unit mm`")


def _scene(path: Path, name: str) -> dict[str, Any]:
    """What the list says of a scene file; one faulty file doesn't hide the others."""
    from ..errors import InputError
    from ..scene.scene_file import load_scene
    from ..tracers.engines import engine_for

    facts = {"name": name, "kind": "scene", "file": str(path), "title": "", "dome": "", "fault": None}
    try:
        scene = load_scene(path)
        engine_for(scene)
    except InputError as error:
        return {**facts, "fault": str(error)}
    return {**facts, "title": scene.title or scene.stone.name, "dome": scene.dome.name}


def _other_demo_files() -> list[dict[str, Any]]:
    """The demo stones and sweeps."""
    from ..demo import demo_files, demo_folder, demo_name

    kinds = {"stones": "stone", "sweeps": "sweep"}
    listed = [file for file in demo_files() if file.parts[0] in kinds]
    return [{"name": demo_name(file), "kind": kinds[file.parts[0]], "file": str(demo_folder() / file)} for file in listed]


def _copy_demo(target: Path, force: bool) -> None:
    """Copy the demo files; where one is in the way, nothing is written."""
    import shutil

    from ..demo import demo_files, demo_folder
    from ..whole_files import refuse_taken, whole_set

    folders: dict[Path, list[str]] = {}
    for file in demo_files():
        folders.setdefault(file.parent, []).append(file.name)
    for folder, names in folders.items():
        refuse_taken(target / folder, names, force)
    new = not target.exists()
    with ExitStack() as held:  # a new folder appears with all that it holds; else all is ready before the first is put in place
        stages = {Path(): held.enter_context(whole_set(target, folders.pop(Path()), force=force))}
        for folder, names in folders.items():
            if new:
                stages[folder] = stages[Path()] / folder
                stages[folder].mkdir()
            else:
                stages[folder] = held.enter_context(whole_set(target / folder, names, force=force))
        for file in demo_files():
            shutil.copyfile(demo_folder() / file, stages[file.parent] / file.name)
    say(f"{len(demo_files())} files in {target}; try `raylab render {target / 'well-proportioned.toml'} --out out`")


def materials(*, json: Flag = False) -> None:
    """List the materials with refractive index, dispersion, density and sources.

    For example:

        raylab materials --json

    Parameters
    ----------
    json
        Print the list as JSON, with wavelength range and full sources.
    """
    from ..optics.absorption import tints
    from ..optics.materials import ALIASES, get_material, spelled
    from ..optics.materials import materials as names

    facts = [_material(get_material(name)) for name in names()]
    if json:
        say_json(facts)
        return
    rows = [
        (f["name"], f"{f['n_d']:.4f}", _or_dash(f["dispersion_bg"]), f"{f['density_g_cm3']:.3f}", f["index_source"])
        for f in facts
    ]
    heads = ("material", "n at 589.3 nm", "n(G) - n(B)", "g/cm^3", "source of the index")
    width = max(len(row[4]) for row in rows)
    table(heads, [(*row[:4], row[4].ljust(width)) for row in rows])
    say()
    for f in facts:
        if f["remark"]:
            say(f"  {f['name']}: {f['remark']}")
    say("  other names: " + ", ".join(f"{spelled(other)} ({spelled(name)})" for other, name in ALIASES.items()))
    say(f"  tints (invented) for the option --tint or the key tint of a scene: {', '.join(tints())}")


def _material(material: Any) -> dict[str, Any]:
    from ..optics.materials import FRAUNHOFER_NM, other_names
    from ..units import SODIUM_D_NM

    low, high = material.index.range_nm()
    lines = [FRAUNHOFER_NM[line] for line in "GB"]
    known = all(low <= line <= high for line in lines)
    return {
        "name": material.name,
        "n_d": material.n(SODIUM_D_NM),
        "dispersion_bg": material.n(lines[0]) - material.n(lines[1]) if known else None,
        "range_nm": [low, high],
        "density_g_cm3": material.density_g_cm3,
        "index_source": material.source,
        "density_source": material.density_source,
        "note": material.note,
        "remark": material.remark,
        "other_names": other_names(material.name),
    }


def _or_dash(value: float | None) -> str:
    return "-" if value is None else f"{value:.4f}"


def cuts(cut: str = "", /, *, json: Flag = False) -> None:
    """List the cuts, or the parameters of one.

    For example:

        raylab cuts
        raylab cuts "round brilliant"

    Parameters
    ----------
    cut
        Name of a cut, whose parameters are listed.
    json
        Print the list as JSON, with parameters, tiers and measured quantities.
    """
    from ..stone.known_cuts import cuts as known
    from ..stone.known_cuts import get_cut

    some = [get_cut(cut)] if cut else list(known())
    if json:
        say_json([_cut(one) for one in some])
    elif cut:
        _print_cut(some[0])
    else:
        table(("cut", "description"), [(one.name, one.description) for one in some], left=2)
        say()
        say(f'  parameters of a cut: `raylab cuts "{some[0].name}"`')


def _print_cut(cut: Cut) -> None:
    """The parameters of a cut, their definitions in lines below: a table as wide as those is hard to read."""
    say(f"{cut.name}: {cut.description}")
    say()
    rows = [(one.key, one.label, "as below" if one.choices else one.span, _default(one)) for one in cut.parameters]
    table(("parameter", "label", "allowed", "default"), rows, left=4)
    say()
    for one in cut.parameters:
        say(f"  {one.key}: {one.description}" + (f"; one of {one.span}" if one.choices else "") + _if_unset(one))


def _default(one: Any) -> str:
    """The default of a parameter, in words."""
    if one.instead_of is not None:
        return f"instead of {one.instead_of}"
    if one.default is not None:
        return str(one.default)
    return "none" if one.optional else "required"


def _if_unset(one: Any) -> str:
    """What happens where a parameter that may be left out is."""
    return f"; none: {one.unset}" if one.optional else ""


def _cut(cut: Any) -> dict[str, Any]:
    """The record of a cut as plain numbers, strings and lists."""
    keys = (
        "key", "label", "unit", "low", "high", "open_ends", "multiple", "choices", "default", "optional", "unset", "instead_of",
        "description",
    )  # fmt: skip
    return {
        "name": cut.name,
        "description": cut.description,
        "symmetry": {"order": cut.symmetry.order, "mirror_deg": cut.symmetry.mirror_deg},
        "parameters": [{**{key: getattr(one, key) for key in keys}, "allowed": one.span} for one in cut.parameters],
        "tiers": [{"name": tier.name, "side": tier.side, "mates": tier.mates} for tier in cut.tiers],
        "measured": [{key: getattr(one, key) for key in ("key", "label", "unit", "definition")} for one in cut.measured],
    }


def domes(*, json: Flag = False) -> None:
    """List the built-in domes: the light around a stone.

    For example:

        raylab domes

    Parameters
    ----------
    json
        Print the list as JSON.
    """
    from ..lighting.dome_file import dome_names, load_dome

    shipped = [load_dome(name) for name in dome_names()]
    if json:
        say_json([{"name": dome.name, "description": dome.description} for dome in shipped])
    else:
        table(("dome", "description"), [(dome.name, dome.description) for dome in shipped], left=2)


def engines(*, json: Flag = False) -> None:
    """List the engines, which trace the light, in order of preference.

    For example:

        raylab engines

    Parameters
    ----------
    json
        Print the list as JSON.
    """
    from ..engine_table import ENGINES
    from ..tracers.engines import engine_named

    known = [engine_named(name) for name in ENGINES]
    if json:
        say_json([{"name": one.name, "exact": one.exact, "description": one.description} for one in known])
    else:
        table(("engine", "description"), [(one.name, one.description) for one in known], left=2)


def statistics(*, json: Flag = False) -> None:
    """List the statistics of a traced view, with their definitions and sources.

    For example:

        raylab statistics

    Parameters
    ----------
    json
        Print the list as JSON, with units and ranges.
    """
    from ..results.statistics import STATISTICS, SYMMETRY

    known = (*STATISTICS.values(), SYMMETRY)
    if json:
        parts = ("key", "label", "unit", "percent", "span", "definition")
        say_json([{part: getattr(one, part) for part in parts} for one in known])
    else:
        table(("statistic", "label", "definition"), [(one.key, one.label, one.definition) for one in known], left=3)
