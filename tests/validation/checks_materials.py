"""Refractive indices, dispersion and densities against the database's papers and against handbooks."""

from __future__ import annotations

import numpy as np
from checks import REFERENCE_NM, check, off
from polyhedra import ref

from raylab.optics import fresnel as optics
from raylab.optics import materials

PAGES = {
    "corundum": "opt.sapphire_o",
    "cubic zirconia": "opt.cubic_zirconia_WoodNassau",
    "moissanite": "opt.6H-SiC_o_Wang",
    "spinel": "opt.spinel_Tropf",
    "yag": "opt.YAG_Zelmon",
    "quartz": "opt.quartz_o_Ghosh",
    "n-bk7": "opt.N-BK7",
}


def _n(name: str, line: str) -> float:
    return float(materials.get_material(name).n(REFERENCE_NM[line]))


@check
def diamond_at_fraunhofer_lines() -> float:
    """Peter 1923 (Z. Phys. 15, 358) at B, C, D, F, G, h, `opt.diamond.n` (database computed); six decimals.

    And the dispersions B-G and C-F to five.
    """
    n = {line: _n("diamond", line) for line in "BCDFGh"}
    dispersion = off([n["G"] - n["B"], n["F"] - n["C"]], [ref("opt.diamond.BG"), ref("opt.diamond.CF")], 6e-6)
    return max(dispersion, off(list(n.values()), [ref(f"opt.diamond.n.{line}") for line in n], 6e-7))


@check
def diamond_sellmeier() -> float:
    """n^2 - 1 = 4.3356 L^2/(L^2 - 0.1060^2) + 0.3306 L^2/(L^2 - 0.1750^2), L in um (Peter 1923), 226 to 760 nm; rounding.

    And printed values in the ultraviolet and red, six decimals.
    """
    L = np.linspace(0.2263, 0.7599, 50)
    expected = np.sqrt(1.0 + 4.3356 * L**2 / (L**2 - 0.1060**2) + 0.3306 * L**2 / (L**2 - 0.1750**2))
    diamond = materials.get_material("diamond")
    printed = [ref(f"opt.diamond.n.{nm}nm") for nm in (226, 313, 644)]
    return max(off(diamond.n(L * 1e3), expected, 1e-12), off(diamond.n(np.array([226.0, 313.0, 644.0])), printed, 6e-7))


@check
def diamond_in_handbooks() -> float:
    """Older handbooks at six lines (from memory; 0.001), dispersion B-G 0.044 and C-F 0.025 (0.001), n(313) 2.5254 (2e-4)."""
    found = [_n("diamond", line) for line in "BCDFGh"]
    found += [found[4] - found[0], found[3] - found[1], float(materials.get_material("diamond").n(313.0))]
    expected = [ref(f"opt.diamond.mem.{line}") for line in "BCDFGh"]
    expected += [ref("opt.diamond.BG.handbook"), ref("opt.diamond.CF.handbook"), ref("opt.diamond.n.313nm.pub")]
    return off(found, expected, [0.001] * 8 + [2e-4])


@check
def diamond_on_its_page() -> float:
    """n = 2.41748 at 587.6 nm (2e-5) and Abbe number 55.30 (0.01) on the database's page."""
    diamond = materials.get_material("diamond")
    n_d = float(diamond.n(587.6))
    abbe = (float(diamond.n(587.562)) - 1.0) / (_n("diamond", "F") - _n("diamond", "C"))
    return off([n_d, abbe], [ref("opt.diamond.nD.page"), ref("opt.diamond.Vd")], [2e-5, 0.01])


@check
def diamond_critical_angles() -> float:
    """arcsin(1/n) at six lines, `opt.diamond.crit`; five decimals."""
    found = [optics.critical_angle_deg(_n("diamond", line)) for line in "BCDFGh"]
    return off(found, [ref(f"opt.diamond.crit.{line}") for line in "BCDFGh"], 1.6e-5)


@check
def other_materials_from_the_database() -> float:
    """n_D, C-F and B-G of seven materials against the papers named in the table (database computed); five decimals.

    Moissanite's G line lies outside the measured range.
    """
    worst = 0.0
    for name, key in PAGES.items():
        found = [_n(name, "D"), _n(name, "F") - _n(name, "C")]
        worst = max(worst, off(found, [ref(f"{key}.nD"), ref(f"{key}.CF")], 6e-6))
        if name != "moissanite":
            worst = max(worst, off(_n(name, "G") - _n(name, "B"), ref(f"{key}.BG"), 6e-6))
    return worst


@check
def other_materials_in_handbooks() -> float:
    """n_D in gem handbooks (from memory): 0.003, cubic zirconia 0.02 (varies with its stabiliser)."""
    worst = 0.0
    for name, key in PAGES.items():
        worst = max(worst, off(_n(name, "D"), ref(f"{key}.nD.hand"), 0.02 if name == "cubic zirconia" else 0.003))
    return worst


@check
def dispersion_in_handbooks() -> float:
    """B-G in a handbook table: 5 %; moissanite, whose G line lies outside the measured range, is left out.

    Zircon, topaz and beryl are built from that table, so here only the two-term law through it is checked.
    """
    worst = 0.0
    for name in ("corundum", "cubic zirconia", "spinel", "yag", "quartz"):
        expected = ref(f"{PAGES[name]}.BG.hand")
        worst = max(worst, off(_n(name, "G") - _n(name, "B"), expected, 0.05 * expected))
    for name in ("zircon", "topaz", "beryl"):
        worst = max(worst, off(_n(name, "G") - _n(name, "B"), ref(f"hand.{name}.BG"), 1e-12))
    return worst


@check
def densities() -> float:
    """Diamond: X-ray 3.5153 (8 atoms of 12.011 u, cell 3.56712 angstrom), 0.001; handbook 3.52, 0.01. Others from memory."""
    xray = 8.0 * 12.011 / 6.02214076e23 / (3.56712e-8) ** 3
    diamond = materials.get_material("diamond").density_g_cm3
    worst = max(off(xray, ref("opt.diamond.density.xray"), 1e-4), off(diamond, xray, 0.001))
    worst = max(worst, off(diamond, ref("opt.diamond.density.hand"), 0.01))
    for name, key in (("moissanite", "moissanite"), ("yag", "YAG"), ("quartz", "quartz"), ("n-bk7", "N-BK7")):
        worst = max(worst, off(materials.get_material(name).density_g_cm3, ref(f"hand.{key}.rho"), 0.005))
    return worst
