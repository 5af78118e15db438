"""Stones traced live: the shader against the library in one page, and what the page does and refuses."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from live_page import LivePage, path_of, sampled
from playwright.sync_api import Browser

import raylab as rl
from raylab.cli import main
from raylab.lighting.sky_image import running_integral, smaller_image
from raylab.live.baking import IMAGE_ROWS, baked_dome, baked_stone, live_set
from raylab.live.live_scene import LiveScene, lights_of
from raylab.live.page import show_html
from raylab.live.saving import MOST_BYTES
from raylab.optics.color import ciede2000, into_gamut, srgb_encode, white_balance, white_xyz, xyz_to_lab, xyz_to_linear_srgb
from raylab.stone.finish import Finish
from raylab.stone.inclusions.shapes import Disc, Ellipsoid, Polyhedron
from raylab.tracers.reference import trace_path
from raylab.tracers.sampled.view_rays import sample_points, view_rays
from raylab.workbench.live_parts import live_stone

HOSTILE = "</script><script>window.harmed = 1</script><img src=x onerror=harmed=2>\"'&amp;"
SIDE, WAVE = 24, 20
"""Pixels along each side, and the number of the wavelength."""
LEDGER = slice(0, 6)
TILTED = rl.View(tilt_deg=23, tilt_azimuth_deg=50, turn_deg=10)


def brilliant(**changed) -> rl.Stone:
    return rl.round_brilliant(**{"table_pct": 57, "crown_angle_deg": 34.5, "pavilion_angle_deg": 40.75, **changed})


def plotted() -> rl.Stone:
    """A brilliant with a sphere, an ellipsoid, a disc and a polyhedron, some of them cut off at the table."""
    crystal = [(-0.9, -0.5, 0.2), (-0.3, -0.5, 0.2), (-0.6, 0.2, 0.1), (-0.6, -0.3, -0.9)]
    return brilliant(girdle_facets=32).with_inclusions(
        (
            rl.Inclusion.sphere((0.5, 0.4, 0.1), 0.3),
            rl.Inclusion(Ellipsoid((0.3, -0.6, 0.8), (0.8, 0.3, 0.2), axis=(0.3, 0.3, 1.0)), 0.25),
            rl.Inclusion(Disc((0.0, 0.9, 0.9), 0.8, normal=(0.9, 0.5, 0.3)), 0.5),
            rl.Inclusion(Polyhedron(crystal), 0.1),
        )
    )


@pytest.fixture(scope="module")
def live(browser: Browser, tmp_path_factory):
    """A tinted diamond with an absorbing girdle, an emerald cut of sapphire, a stone with inclusions and one that scatters,
    under zones, lamps, a tray and an image."""
    black = brilliant(girdle_finish="absorbing").relabeled(name=HOSTILE)
    black = replace(black, material=black.material.tinted(rl.load_tint("faint-brownish").pairs))
    scattering = brilliant(girdle_facets=16, girdle_pct=8).with_finishes({"girdle": "lambertian 0.8", "table": "rough 0.3"})
    steps = rl.emerald_cut(table_pct=62, material="sapphire")
    rows = np.random.default_rng(7).uniform(0.0, 1.0, (6, 12))
    image = rl.Dome("an image", sky="image", image=rows, tray_radiance=0.3, description=HOSTILE)
    found = LivePage(
        browser,
        tmp_path_factory.mktemp("live"),
        [black, steps, plotted(), scattering],
        ["head-shadow", "evening-sky", "small-lamps", image],
    )
    yield found
    found.close()


CASES = [
    (0, 0, rl.View(), True),
    (0, 3, rl.View(tilt_deg=180), False),
    (0, 2, TILTED, True),
    (1, 1, TILTED, True),
    (1, 3, rl.View(tilt_deg=12, tilt_azimuth_deg=-20, distance_mm=150), True),
    (2, 0, TILTED, True),
]


def near_edges(live, case, ledger: np.ndarray) -> np.ndarray:
    """Pixels whose ray the library itself sends elsewhere, or ends elsewhere, where the view is off by 2e-6, a rounding."""
    stone, dome, view, polarized = case
    moved = (replace(view, tilt_deg=abs(view.tilt_deg - 1e-4)), replace(view, turn_deg=view.turn_deg - 1e-4))
    found = [sampled(live, stone, dome, one, SIDE, polarized, wave=WAVE)["ledger"] for one in moved]
    return np.max([np.abs(one - ledger).max(axis=-1) for one in found], axis=0) > 5e-5


@pytest.mark.parametrize(
    "case", CASES, ids=["face-up", "unpolarized from below", "lamps", "zones", "an eye at a distance", "inclusions"]
)
def test_each_pixel_is_the_librarys(live, case):
    """The same rays in 32 and in 64 bits: all pixels but single ones whose ray meets an edge agree to rounding."""
    stone, dome, view, polarized = case
    if not view.parallel:  # the library averages an image over the solid angle of a pixel; the shader reads it in one direction
        dome = 1
    case = (stone, dome, view, polarized)
    seen = live.plate(stone, dome, view, SIDE, 1, polarized=polarized, wave=WAVE)
    known = sampled(live, stone, dome, view, SIDE, polarized, wave=WAVE)
    edges = near_edges(live, case, known["ledger"])
    assert np.count_nonzero(edges) <= 6
    off = np.where(edges, 0.0, np.abs(seen["ledger"] - known["ledger"]).max(axis=-1))
    assert np.count_nonzero(off > 1e-4) <= 1, [(*at, off[*at]) for at in np.argwhere(off > 1e-4).tolist()]
    halves = 2.0**-11 if dome == 3 else 0.0  # an image is baked in 16-bit floats
    far = (np.abs(seen["xyz"] - known["xyz"]) > 1e-4 + halves * known["xyz"]).any(axis=-1)
    assert np.count_nonzero(far & ~edges) <= 1
    assert np.count_nonzero(seen["coverage"] != known["coverage"]) <= 1
    assert np.median(off[known["coverage"] > 0.0]) < 1e-6
    assert seen["ledger"][..., LEDGER].sum(axis=-1) == pytest.approx(seen["coverage"], abs=1e-5)
    covered = seen["coverage"].sum()
    assert seen["means"]["luminance"] == pytest.approx(seen["xyz"][..., 1].sum() / covered, rel=1e-4)
    assert seen["means"]["leak"] == pytest.approx(seen["ledger"][..., 2].sum() / covered, abs=1e-5)


def test_light_in_the_girdle_plane_is_booked_as_the_library_books_it(live):
    """Steps of 45 degrees send the light of a vertical view out level, on the edge between sky and tray."""
    straight = rl.View(tilt_deg=180)
    seen, known = live.plate(1, 1, straight, SIDE, 1, wave=WAVE), sampled(live, 1, 1, straight, SIDE, wave=WAVE)
    assert np.count_nonzero(np.abs(seen["ledger"] - known["ledger"]).max(axis=-1) > 1e-4) <= 1
    assert seen["means"]["luminance"] == pytest.approx(known["xyz"][..., 1].sum() / known["coverage"].sum(), abs=1e-4)


def test_polarization_counts(live):
    with_it, without = (live.plate(0, 0, TILTED, SIDE, 1, polarized=one, wave=WAVE)["xyz"] for one in (True, False))
    assert np.abs(with_it - without).max() > 0.01


def test_colors_are_the_librarys(live):
    """All 64 wavelengths over 64 frames, and the eight bits on the screen."""
    seen, known = live.plate(0, 2, TILTED, 10, 64), sampled(live, 0, 2, TILTED, 10)
    white = white_xyz(live_set())
    off = ciede2000(xyz_to_lab(seen["xyz"], white), xyz_to_lab(known["xyz"], white))
    assert np.count_nonzero(off > 0.2) <= 1
    assert off.mean() < 0.02
    linear = xyz_to_linear_srgb(white_balance(seen["xyz"], white)) + 0.1 * (1.0 - seen["coverage"])[..., None]
    shown = 255.0 * np.clip(srgb_encode(into_gamut(linear)), 0.0, 1.0)
    assert np.abs(shown - seen["shown"]).max() <= 1.0


@pytest.mark.parametrize("number", [1, 2], ids=["steps", "inclusions"])
def test_single_rays_are_the_oracles(live, number):
    stone, dome = live.stones[number], live.domes[0]
    points = np.random.default_rng(3).uniform(-live.half_mm, live.half_mm, (80, 2))
    origins, directions = view_rays(points, stone, TILTED)
    found = live.rays(origins, directions, number, 0, TILTED, WAVE)
    order = baked_stone(stone, live_set())["facets"]
    others = taken = 0
    for ray, origin, direction in zip(found, origins, directions, strict=True):
        path = trace_path(origin, direction, stone, wavelength_nm=float(live_set().nodes_nm[WAVE]))
        assert bool(path.facets) == (ray[3] == 1.0)
        if path_of(path.facets, order) != ray[1]:
            others += 1
            continue
        row = path.row(dome, TILTED.rotation())
        taken += path.included > 0.01
        assert ray[[0, 2, 4, 5, 6, 7, 8, 9]] == pytest.approx(row[[7, 0, 1, 2, 3, 4, 5, 6]], abs=1e-4)
    assert others <= 1  # a ray through an edge
    assert np.count_nonzero(found[:, 3]) > 30
    assert (taken > 15) == (number == 2)


SEEN = {"girdle": (0.2, 2.5), "table": (0.2, -1.1), "crown main": (0.2, 1.3), "star": (0.2, -2.2)}
"""Facets that rays meet first, and where, mm on the map plane: from outside the girdle is a wall and the table rough."""


def test_scattered_light_is_the_librarys_in_the_mean(live):
    """4096 times two paths from each of four rays, in the shader and in the library, whose random numbers are others."""
    view, repeats = rl.View(tilt_deg=40, tilt_azimuth_deg=-90), 4096
    stone, wavelength_nm = live.stones[3], float(live_set().nodes_nm[WAVE])
    scene, varied = rl.Scene(stone, live.domes[0], view), 0
    for place in SEEN.values():
        points = np.tile(place, (repeats, 1))
        seen = live.rays(*view_rays(points, stone, view), 3, 0, view, WAVE)
        known = sample_points(points, scene, wavelength_nm)[0][:, [7, 0, 1, 2, 3, 4, 5, 6]]
        assert seen[:, 4:10].sum(axis=1) == pytest.approx(1.0, abs=1e-5)
        seen = seen[:, [0, 2, 4, 5, 6, 7, 8, 9]]
        error = np.sqrt((seen.var(axis=0) + known.var(axis=0)) / repeats)
        off = np.abs(seen.mean(axis=0) - known.mean(axis=0))
        assert (off <= 1e-6 + 4.5 * error).all(), (place, off / (error + 1e-12))
        varied += np.count_nonzero(error > 1e-4)
    assert varied >= 16, "light that isn't scattered would test nothing"


def test_a_stone_that_does_not_scatter_is_traced_without_a_line_for_it(live):
    live.plate(3, 0, TILTED, SIDE, 1)
    live.plate(0, 0, TILTED, SIDE, 1)
    asked = """() => {
      const { tracer: { gl, programs } } = document.querySelector("main").shownLive;
      const holds = ({ id }) => ["finishes", "step"].map((name) => gl.getUniformLocation(id, name) !== null);
      return [holds(programs.trace), holds(programs["trace SCATTERS"])];
    }"""
    assert live.page.evaluate(asked) == [[False, False], [True, True]]


def test_the_page_stands_alone_and_names_are_text(live):
    page = live.page
    assert page.evaluate("window.harmed") is None
    assert page.locator("figcaption strong").first.inner_text() == HOSTILE
    assert page.locator("h1").inner_text().startswith(HOSTILE)
    assert page.locator("main img").count() == 0
    with pytest.raises(Exception, match=r"Content Security Policy|Failed to fetch"):
        page.evaluate("fetch('https://example.invalid/')")
    page.evaluate("document.body.insertAdjacentHTML('beforeend', '<img src=x onerror=harmed=3><p style=\"color:red\">')")
    assert page.evaluate("window.harmed") is None
    assert [url for url in live.asked if not url.startswith(("file:", "data:"))] == []


def test_keys_links_and_rest(live):
    page, state = live.page, "document.querySelector('main').shownLive"
    assert page.evaluate(f"{state}.rock") is None, "reduced motion"
    assert page.evaluate(f"{state}.sleeps"), "hidden"
    canvas = page.locator("canvas").nth(1)
    canvas.focus()
    for key in ("ArrowRight", "ArrowRight", "+"):
        canvas.press(key)
    angles = page.evaluate(f"{state}.angles")
    assert (angles["tilt"], angles["azimuth"]) == pytest.approx((4.0, 0.0), abs=1e-9)
    assert page.locator("[data-pose]").inner_text() == "tilted 4 degrees towards the right"
    assert page.evaluate(f"{state}.link") == "#tilt=4&azimuth=0&turn=0&light=head-shadow&exposure=1&zoom=1.15"
    page.evaluate("location.hash = '#tilt=30&azimuth=1e9&turn=x&light=small-lamps'")
    page.locator("[data-pose]", has_text="tilted 30 degrees towards the right").wait_for()  # the policy forbids eval in a loop
    assert page.locator("[data-light]").input_value() == "small-lamps"
    page.get_by_role("button", name="From below").click()
    assert page.locator("[data-pose]").inner_text().startswith("from below")
    canvas.press("Home")
    assert page.locator("[data-pose]").inner_text() == "face-up"
    assert page.evaluate("document.documentElement.scrollWidth <= 400"), "no sideways scrolling on a telephone"
    faults = [line for line in live.faults if "Content Security Policy" not in line and "ERR_" not in line]
    assert faults == []


_COVERED = """() => {
  const live = document.querySelector("main").shownLive;
  const { tracer, full } = live;
  const plate = tracer.plate(full);
  tracer.add(plate, 0, live.dome, live.view(full), { most: 1, least: 1, polarized: false });
  const covered = tracer.read(plate.film, full, full)[0].filter((_, k) => k % 4 === 3);
  plate.free();
  const columns = Array.from(covered.keys()).filter((k) => covered[k]).map((k) => k % full);
  const wide = columns.reduce((a, b) => Math.max(a, b)) - columns.reduce((a, b) => Math.min(a, b)) + 1;
  return (wide * live.pictures[0].canvas.clientWidth) / full;
}"""
"""How wide the first stone is drawn, in lengths of the style sheet."""


def test_true_size_is_true_by_the_pixels_that_are_stated(live):
    """CSS has 96 of its pixels to the inch, and this browser one of the screen's to each of them."""
    page, width = live.page, float(live.stones[0].size_mm[0])
    scale = page.locator("[data-scale]").first

    def bar() -> float:
        return scale.locator("i").bounding_box()["width"] / float(scale.inner_text().removesuffix(" mm"))

    page.get_by_role("button", name="As at the start").click()
    page.get_by_label("Size").select_option("10 × true size")
    assert "which is only what browsers assume" in page.locator("[data-screen-said]").inner_text()
    assert bar() == pytest.approx(10 * 96 / 25.4, rel=1e-3)
    assert page.evaluate(_COVERED) == pytest.approx(width * 10 * 96 / 25.4, abs=1.5)
    stated = page.locator("[data-per-inch]")
    stated.fill("5")
    stated.press("Enter")
    assert stated.get_attribute("aria-invalid") == "true"
    assert bar() == pytest.approx(10 * 96 / 25.4, rel=1e-3)
    stated.fill("130")
    stated.press("Enter")
    assert page.locator("[data-screen-said]").inner_text() == "True size by 130 pixels to the inch, as typed."
    page.get_by_label("Size").select_option("3 × true size")
    assert bar() == pytest.approx(3 * 130 / 25.4, rel=1e-3)
    assert page.evaluate(_COVERED) == pytest.approx(width * 3 * 130 / 25.4, abs=1.5)
    assert "&size=3" in page.evaluate("document.querySelector('main').shownLive.link")
    page.locator("[data-card-width]").fill("7")
    assert page.locator("[data-screen-said]").inner_text() == "True size by 128 pixels to the inch, as a card says."
    assert page.locator("[data-card]").bounding_box()["width"] == pytest.approx(53.98 * 128 / 25.4, abs=0.1)
    page.reload()
    page.get_by_label("Size").select_option("true size")
    assert "128 pixels to the inch, as it was stated before" in page.locator("[data-screen-said]").inner_text()
    assert bar() == pytest.approx(128 / 25.4, rel=1e-3)
    page.get_by_label("Size").select_option("to fit")
    assert not page.locator("[data-screen-said]").is_visible()
    page.evaluate("() => { document.querySelector('main').shownLive.hidden = true; }")


def test_what_a_live_picture_cannot_carry_is_one_line(tmp_path, capsys):
    stone = brilliant()
    corners = np.random.default_rng(1).normal(size=(900, 3))
    body = rl.Inclusion(Polyhedron([tuple(row) for row in 0.2 * corners / np.linalg.norm(corners, axis=1)[:, None]]))
    with pytest.raises(rl.UnsupportedScene, match=r"5 inclusions and their faces take 9\d\d\d rows .* expected at most 8192"):
        rl.save_show(stone.with_inclusions([body] * 5), tmp_path / "x.html")
    object.__setattr__(other := Finish("polished"), "kind", "frosted")
    with pytest.raises(rl.UnsupportedScene, match="does not carry this finish: frosted on "):
        rl.save_show(replace(stone, finishes=(other, *stone.finishes[1:])), tmp_path / "x.html")
    many = rl.Dome("many", lamps=tuple(rl.Lamp(80.0, float(k)) for k in range(64)))
    for given, line in (
        ({"domes": many}, "64 lamps"),
        ({"domes": []}, "domes: missing"),
        ({"domes": ["even-sky", "even-sky"]}, "two domes of one name"),
        ({"view": rl.View(distance_mm=4.0)}, "distance_mm = 4.0: out of range"),
        ({"view": rl.View(distance_mm=300.0, aside_mm=2.0)}, "aside_mm = 2.0"),
        ({"exposure": 0.0}, "exposure = 0.0: out of range"),
        ({"light": "candle"}, "unknown illuminant"),
    ):
        with pytest.raises(rl.InputError, match=re.escape(line)):
            rl.save_show(stone, tmp_path / "x.html", **given)
    for stones in ([], [stone] * 5, ["stone"]):
        with pytest.raises(rl.InputError, match="stones"):
            rl.save_show(stones, tmp_path / "x.html")
    assert main(["show", "well-proportioned", "--dome", "tea", "--out", str(tmp_path / "x.html")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_stone_of_too_many_planes_is_refused():
    azimuth = np.radians(np.arange(1023) * 360.0 / 1023)
    normals = np.column_stack([np.cos(azimuth), np.sin(azimuth), 0.0 * azimuth])
    drum = rl.Stone.from_planes([*normals, [0, 0, 1], [0, 0, -1]], [3.0] * 1023 + [1.0, 1.0])
    with pytest.raises(rl.UnsupportedScene, match=r"1025 planes are more .* expected at most 1024 planes"):
        baked_stone(drum, live_set())


def test_moissanite_needs_a_shorter_spectrum_and_the_page_says_so(tmp_path: Path):
    fault = live_stone(brilliant(material="moissanite"))["fault"]
    assert fault.startswith("colour needs the refractive index of moissanite from 400 nm, and it is known from 436 nm only")
    low_nm = float(re.search(r"--low-nm (\d+)`", fault)[1])
    rl.save_show(brilliant(material="moissanite"), tmp_path / "x.html", domes="even-sky", low_nm=low_nm, stills=False)


def test_the_command_writes_a_small_page(tmp_path: Path, capsys):
    out = tmp_path / "stone.html"
    asked = ["show", "well-proportioned", "--out", str(out), "--no-stills", "--exposure", "2"]
    assert main(asked) == 0
    assert capsys.readouterr().out.startswith("1 stone in ")
    text = out.read_text(encoding="utf-8")
    assert len(text) < MOST_BYTES / 4
    assert "http" not in text.replace("http-equiv", "")
    assert main(asked) == 2
    assert "exists already" in capsys.readouterr().err
    scene = rl.load_scene("well-proportioned")
    domes = [scene.dome, *(name for name in rl.dome_names() if name != scene.dome.name)]
    again = LiveScene((scene.stone,), lights_of(domes), scene.view, exposure=2.0)
    assert text == show_html(again, stills=False), "the same bytes again"


def test_an_image_of_the_sky_is_made_smaller_and_keeps_its_light():
    image = np.random.default_rng(5).uniform(0.0, 1.0, (300, 700)) ** 6
    smaller = smaller_image(image, IMAGE_ROWS)
    assert smaller.shape == (IMAGE_ROWS, 2 * IMAGE_ROWS)
    assert running_integral(smaller)[-1, -1] == pytest.approx(running_integral(image)[-1, -1], rel=1e-12)
    assert smaller_image(np.full((300, 700), 0.25), IMAGE_ROWS) == pytest.approx(
        0.25, rel=1e-9
    )  # small differences of sums up to pi
    quarters = smaller_image(image[:4, :8], 2)
    heights = -np.diff(np.cos(np.pi * np.arange(5) / 4))[:2]
    assert quarters[0, 0] == pytest.approx((heights @ image[:2, :2].mean(axis=1)) / heights.sum(), rel=1e-12)
    dome = rl.Dome("room", sky="image", image=image)
    assert baked_dome(dome)["scaled"] == "Its image of 700 x 300 pixels is shown as one of 256 x 128."
