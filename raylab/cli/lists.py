"""``raylab scenes``, ``materials``, ``domes``, ``engines``, ``statistics``, ``cuts``: lists of the available parts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from .console import say, say_json, table
from .options import Flag


def scenes(folder: Path = Path("scenes"), /, *, json: Flag = False) -> None:
    """List the scene files in a folder with their titles.

    For example:

        raylab scenes

    Parameters
    ----------
    folder
        Folder with scene files (*.toml).
    json
        Print the list as JSON.
    """
    from ..errors import InputError
    from ..scene.scene_file import load_scene
    from ..tracers.engines import engine_for

    if not folder.is_dir():
        raise InputError("no such folder", file=str(folder), expected="a folder with scene files (*.toml)")
    found: list[dict[str, Any]] = []
    for path in sorted(folder.glob("*.toml")):
        try:
            scene = load_scene(path)
            engine_for(scene)
            found.append({"file": str(path), "title": scene.title or scene.stone.name, "dome": scene.dome.name, "fault": None})
        except InputError as error:  # one faulty file doesn't hide the others
            found.append({"file": str(path), "title": "", "dome": "", "fault": str(error)})
    if json:
        say_json(found)
    elif not found:
        say(f"no scene files (*.toml) in {folder}")
    else:
        table(
            ("scene", "dome", "title"),
            [(f["file"], f["dome"], f["title"] or f"not usable: {f['fault']}") for f in found],
            left=3,
        )


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
    from ..optics.materials import get_material
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
        if f["note"]:
            say(f"  {f['name']}: {f['note']}")
    say(f"  tints (invented) for the option --tint or the key tint of a scene: {', '.join(tints())}")


def _material(material: Any) -> dict[str, Any]:
    from ..optics.materials import FRAUNHOFER_NM
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
    }


def _or_dash(value: float | None) -> str:
    return "-" if value is None else f"{value:.4f}"


def cuts(*, json: Flag = False) -> None:
    """List the cuts with their parameters.

    For example:

        raylab cuts

    Parameters
    ----------
    json
        Print the list as JSON, with tiers and measured quantities.
    """
    from ..stone.known_cuts import cuts as known

    if json:
        say_json([_cut(cut) for cut in known()])
        return
    for cut in known():
        say(f"{cut.name}: {cut.description}")
        say()
        rows = [(one.key, one.label, one.span, _default(one), one.description) for one in cut.parameters]
        width = max(len(row[4]) for row in rows)
        heads = ("parameter", "label", "allowed", "default", "definition")
        table(heads, [(*row[:4], row[4].ljust(width)) for row in rows], left=5)
        say()


def _default(one: Any) -> str:
    """The default of a parameter, in words."""
    if one.instead_of is not None:
        return f"instead of {one.instead_of}"
    return "required" if one.default is None else str(one.default)


def _cut(cut: Any) -> dict[str, Any]:
    """The record of a cut as plain numbers, strings and lists."""
    keys = ("key", "label", "unit", "low", "high", "open_ends", "multiple", "choices", "default", "instead_of", "description")
    return {
        "name": cut.name,
        "description": cut.description,
        "symmetry": {"order": cut.symmetry.order, "mirror_deg": cut.symmetry.mirror_deg},
        "parameters": [{**{key: getattr(one, key) for key in keys}, "allowed": one.span} for one in cut.parameters],
        "tiers": [{"name": tier.name, "side": tier.side, "mates": tier.mates} for tier in cut.tiers],
        "measured": [{key: getattr(one, key) for key in ("key", "label", "unit", "definition")} for one in cut.measured],
    }


def domes(*, json: Flag = False) -> None:
    """List the built-in domes (light environments).

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
    """List the engines in order of preference.

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
