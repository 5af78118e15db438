"""Fire: the spread of a prism against its closed form and its derivative, Tolkowsky's path, chroma of stated colours."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from polyhedra import body, box, look_down, mains_only, ref, tiers_met
from small_scenes import scene_of

import raylab as rl
from raylab.color.fire import chroma, exit_directions, fire_map, path_spread_deg
from raylab.color.picture import color_picture
from raylab.optics.materials import FRAUNHOFER_NM, Material
from raylab.tracers.ledger import SKY

PROPORTIONS = {"table_pct": 57.0, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75}
EVEN = rl.Dome()
FROM_BELOW = rl.View(tilt_deg=180.0)
WEDGE_DEG = 15.0


def wedge(material="diamond"):
    """A prism seen through its level base, whose upper side leans by 15 degrees: light leaves at asin(n sin 15)."""
    lean = math.radians(WEDGE_DEG)
    sides = [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]]
    return body([[math.sin(lean), 0, math.cos(lean)], [0, 0, -1], *sides], [0.5, 0.5, 1, 1, 1, 1], material)


def peter(wavelength_nm):
    """n and dn/dlambda (1/nm) of diamond: Peter, Z. Phys. 15 (1923) 358-368, coefficients as the index database gives them."""
    um2 = (wavelength_nm / 1e3) ** 2
    terms = [(0.3306, 0.1750**2), (4.3356, 0.1060**2)]
    n = math.sqrt(1.0 + sum(b * um2 / (um2 - c) for b, c in terms))
    slope = sum(-b * c / (um2 - c) ** 2 for b, c in terms)  # of n^2 with respect to lambda^2
    return n, slope * (wavelength_nm / 1e3) / n / 1e3


def test_a_prism_spreads_as_snell_says():
    found = fire_map(rl.Scene(wedge(), EVEN, FROM_BELOW, resolution=32))
    sine = math.sin(math.radians(WEDGE_DEG))
    f, c = (math.degrees(math.asin(peter(FRAUNHOFER_NM[line])[0] * sine)) for line in "FC")
    through = found.paths.entry == SKY
    through &= found.paths.facets[:, 1] == 0
    assert found.paths.areas_mm2[through].sum() > 3.0  # nearly all of 2 x 2 mm
    assert np.allclose(found.path_spread_deg[through], f - c, rtol=1e-9)
    assert found.spread_deg[16, 16] == pytest.approx(f - c, rel=1e-9)
    assert found.sky_mean_deg == pytest.approx(f - c, rel=1e-9)


def test_the_spread_of_near_lines_is_the_sellmeier_derivative():
    """d(theta)/d(lambda) = n' sin A / cos(theta), to second order in the step: 0.01 nm, so 1e-8 of it."""
    n, slope = peter(550.0)
    assert wedge().material.n(550.0) == pytest.approx(n, rel=1e-12)
    sine = math.sin(math.radians(WEDGE_DEG))
    expected = abs(math.degrees(slope * sine / math.sqrt(1.0 - (n * sine) ** 2)))
    found = path_spread_deg(np.array([[1, 0]]), wedge(), FROM_BELOW, 549.995, 550.005)
    assert found[0] / 0.01 == pytest.approx(expected, rel=1e-7)


def test_tolkowskys_path_spreads_from_b_to_g():
    """`tolk.chain.fire`: a two-dimensional closed form with Peter's index, five decimals."""
    crown = 50.0 * (1.0 - ref("tolk.table") / 100.0) * math.tan(math.radians(ref("tolk.crown")))
    stone = mains_only(ref("tolk.table"), crown, 50.0 * math.tan(math.radians(ref("tolk.pav"))), "diamond")
    for tier, key in (("table", "tolk.chain.fire.table"), ("crown main", "tolk.chain.fire.bezel")):
        paths = (look_down(stone, x, wavelength_nm=589.3) for x in np.arange(0.02, ref("tolk.table") / 100.0, 0.01))
        path = next(p for p in paths if tiers_met(stone, p)[1:4] == ["pavilion main", "pavilion main", tier])
        found = path_spread_deg(np.array([path.facets[:4]]), stone, rl.View(), FRAUNHOFER_NM["G"], FRAUNHOFER_NM["B"])
        assert found[0] == pytest.approx(ref(key), abs=1.1e-5)


def test_exits_are_the_oracles():
    """Every exit of a brilliant's paths, against the plain tracer."""
    from raylab.tracers.reference import trace_path
    from raylab.tracers.sampled.view_rays import view_rays

    stone = rl.round_brilliant(**PROPORTIONS)
    view = rl.View(tilt_deg=12.0, tilt_azimuth_deg=40.0)
    origins, directions = view_rays(np.random.default_rng(3).uniform(-2.5, 2.5, (20, 2)), stone, view)
    compared = 0
    for origin, direction in zip(origins, directions, strict=True):
        path = trace_path(origin, np.asarray(direction), stone)
        for number, (_, outside, bounces) in enumerate(path.exits):
            met = path.facets[: 1 if number == 0 else bounces + 2]
            found = exit_directions(np.array([met]), stone, view, stone.material.n(589.3))
            assert np.allclose(found[0], outside, atol=1e-9)
            compared += 1
    assert compared > 60


def test_a_brilliant_spreads_light_and_glass_without_dispersion_does_not():
    scene = scene_of(rl.round_brilliant(**PROPORTIONS), rl.load_dome("head-shadow"), resolution=48, precision=0.02)
    found = fire_map(scene)
    assert 0.3 < found.mean_deg < 10.0
    assert 0.0 < found.without_share < 0.2
    shown = np.isfinite(found.spread_deg)
    flat = fire_map(replace(scene, stone=replace(scene.stone, material=Material.constant(2.417))))
    assert flat.mean_deg == 0.0
    # one area mean by paths, one by pixels: coverage of the pixels is exact
    assert np.mean(found.spread_deg[shown]) == pytest.approx(found.mean_deg, rel=0.1)
    with pytest.raises(rl.InputError, match="parallel view"):
        fire_map(replace(scene, view=rl.View(distance_mm=250.0)))


def test_total_reflection_at_the_exit_has_no_spread():
    """Base to side through a cube's corner: incidence 90 - asin(sin i / n) is beyond the critical angle of any n > sqrt(2)."""
    assert np.isnan(path_spread_deg(np.array([[2, 0]]), box(1.0, 1.0, "diamond"), rl.View(), 486.0, 656.0)[0])


def test_chroma_of_stated_colors():
    """Half the area white, half with X doubled: chroma by hand. White D65 has u' 0.1978, v' 0.4683 (CIE 015, from memory)."""
    seen = color_picture(scene_of(box(1.0, 1.0, Material.constant(1.5)), EVEN, resolution=2, precision=0.1), spectrum=8)
    white = seen.white
    plain = replace(seen, xyz=np.broadcast_to(0.5 * white, (2, 2, 3)), coverage=np.ones((2, 2)))
    assert chroma(plain).chroma_lab == pytest.approx(0.0, abs=1e-12)
    assert chroma(plain).chroma_uv == pytest.approx(0.0, abs=1e-12)
    xyz = np.array(plain.xyz)
    xyz[0, :, 0] *= 2.0
    found = chroma(replace(plain, xyz=xyz))
    a = 500.0 * (1.0 - 0.5 ** (1 / 3))  # a* of X = 1, Y = 0.5 of white; b* is unchanged: 0
    assert found.chroma_lab == pytest.approx(a / 2.0, rel=1e-12)
    X, Y, Z = white
    before, after = X + 15 * Y + 3 * Z, 2 * X + 15 * Y + 3 * Z
    uv = math.hypot(8 * X / after - 4 * X / before, 9 * Y / after - 9 * Y / before)
    assert found.chroma_uv == pytest.approx(uv / 2.0, rel=1e-12)  # both halves are equally luminous
    assert [4 * X / before, 9 * Y / before] == pytest.approx([0.1978, 0.4683], abs=2e-3)  # 400-700 nm leave out 0.3 % of Z
    assert chroma(replace(plain, xyz=xyz, exposure=2.0)).chroma_uv == found.chroma_uv


def test_lamps_show_fire_and_an_even_sky_hides_it():
    stone = rl.round_brilliant(**PROPORTIONS)
    lamps, sky = (
        chroma(color_picture(scene_of(stone, rl.load_dome(name), resolution=64, precision=0.02), spectrum=8)).chroma_uv
        for name in ("small-lamps", "even-sky")
    )
    assert lamps > 3.0 * sky > 0.0
