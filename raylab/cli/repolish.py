"""``raylab repolish``: the effect of repolishing one facet or one tier of a finished stone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .brillianteer import CAUTION, bracket
from .console import faults_by_option, reading, say, say_json, say_materials, say_shortfalls, say_written, table
from .options import Force, Json, OutFolder

if TYPE_CHECKING:
    from ..cutting.repolishing import Repolished


def repolish(
    stone: Path,
    /,
    *,
    facet: str,
    out: OutFolder,
    slope_deg: float = 0.0,
    azimuth_deg: float = 0.0,
    depth_mm: float = 0.0,
    dome: str = "head-shadow",
    unit: str | None = None,
    precision: float = 2e-4,
    force: Force = False,
    json: Json = False,
) -> None:
    """Compare a finished stone before and after repolishing a facet or a tier.

    The command traces both stones exactly and face-up. It writes `repolish.png` (contrast before and after on one scale, and
    the difference in luminance), `repolish.json` and `stone.csv` (the facets of the new stone).

    Material that is removed can't be put back. The command gives no cutting order.

    For example:

        raylab repolish scenes/well-proportioned.toml --facet "pavilion main" --slope-deg 0.3 --out out/steeper

    Parameters
    ----------
    stone
        A stone file or scene file (TOML), a facet table (.csv), or a scan (.stl, .obj, .ply, .glb, .3mf); or the name of a demo
        one (see `raylab scenes`).
    facet
        Facet to repolish, such as "pavilion main 3", or tier, such as "pavilion main".
    slope_deg
        Change of slope, degrees; positive is steeper.
    azimuth_deg
        Change of azimuth, degrees counter-clockwise seen from above.
    depth_mm
        Depth to remove in addition to the minimum that the new angle needs, mm.
    dome
        Name of a built-in dome (see `raylab domes`), or a dome file (TOML).
    unit
        Unit of length of a scan: mm, um, cm, m or in.
    precision
        Width of the bracket on brightness: a smaller one is more exact and takes longer.
    """
    from ..cutting.repolishing import repolish as repolished
    from ..cutting.repolishing import what_if
    from ..files import save_png, save_stone, to_json
    from ..lighting.dome_file import load_dome
    from ..pictures.brillianteering_plots import repolish_figure
    from ..scene.settings import TraceSettings
    from ..stone.stone_file import load_stone
    from ..whole_files import whole_set

    with reading(stone):
        before = load_stone(stone, unit=unit)
    light = load_dome(dome)
    with faults_by_option("facet", "slope_deg", "azimuth_deg", "depth_mm", "precision"):
        after = repolished(before, facet, slope_deg=slope_deg, azimuth_deg=azimuth_deg, depth_mm=depth_mm)
        settings = TraceSettings(precision=precision)
    moves = {"slope": (slope_deg, "°"), "azimuth": (azimuth_deg, "°"), "depth": (depth_mm, " mm")}
    what = f"{facet}: " + ", ".join(f"{name} {size:+g}{sign}" for name, (size, sign) in moves.items() if size)
    files = ["repolish.png", "repolish.json", "stone.csv"]
    with whole_set(out, files, force=force) as stage:
        found = what_if(before, after, light, what=what, settings=settings)
        facts = {**found.to_dict(), "caution": CAUTION}
        (stage / "repolish.json").write_text(to_json(facts), encoding="utf-8")
        save_stone(after, stage / "stone.csv")
        save_png(repolish_figure(found), stage / "repolish.png")
    if json:
        say_json(facts)
        return
    _print(found)
    say_written(files, out)
    say(f"caution: {CAUTION}")


def _print(found: Repolished) -> None:
    """Weight and statistics before and after, and the certain changes."""
    old = found.before.scene.stone
    say(f"{old.name}, {found.what}")
    lost = found.change.lost_points
    say(f"{old.weight_ct:.4f} ct before, {found.change.weight_ct:.4f} ct after; {lost:.2f} points of 0.01 ct removed")
    say_materials(old)
    say()
    rows = []
    before, after = (one.summary.statistics for one in (found.before, found.after))
    for name, difference in found.change.light.items():
        rows.append((name, f"{before[name].value:.4f}", f"{after[name].value:.4f}", bracket(difference, "+")))
    table(("", "before", "after", "change [bracket] or +- error"), rows)
    for when, one in (("before", found.before), ("after", found.after)):
        say_shortfalls(one.summary, when)
    say()
