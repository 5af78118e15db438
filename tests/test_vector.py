"""Vector pictures: the polygons that were traced, where they lie, in the colour of what they hold, each with its path."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from matplotlib import colormaps

import raylab as rl
from raylab import files
from raylab.pictures import vector
from raylab.results.maps import DEFINITIONS
from raylab.results.paths import strongest_paths
from raylab.tracers.ledger import FIELDS, LEAK

BRILLIANT = rl.round_brilliant(
    table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75, girdle_facets=32, name='a <b>"stone"</b> & \x07 (invented)'
)
DOME = rl.Dome(name="window & door", sky_radiance=0.1, zones=(rl.Zone((20, 60), (-40, 40)),), tray_radiance=0.03)
TILTED = rl.View(tilt_deg=17, tilt_azimuth_deg=70)
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def result() -> rl.Result:
    return rl.trace(BRILLIANT, DOME, TILTED, resolution=8, precision=0.1, wavelengths_nm=(486.1, 589.3, 656.3))


def drawn(text: str) -> list[tuple[np.ndarray, str, str]]:
    """Corners in mm, colour and title of each polygon, in the file's order."""
    found = []
    for path in ElementTree.fromstring(text).iter(f"{SVG}path"):
        body = re.fullmatch(r"M([-0-9. L]+)zl0 0", path.get("d"))[1]
        found.append(
            (np.array([part.split() for part in body.split("L")], float), path.get("color"), path.find(f"{SVG}title").text)
        )
    return found


def area(corners: np.ndarray) -> float:
    x, y = (corners - corners[0]).T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


def left_with_area(corners: np.ndarray) -> bool:
    """Whether a polygon has area when its corners are on whole units of 0.1 um: exact, in whole numbers."""
    x, y = np.rint(corners * 1e4).astype(int).T
    return int(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0


@pytest.mark.parametrize("name", vector.DRAWN)
def test_each_polygon_is_drawn_in_its_place_and_color(result, name):
    """Coordinates are rounded to 0.1 um; polygons without area in whole units are left out."""
    text = vector.svg(result, name)
    whole = result.beams[1].unfolded()
    paths = strongest_paths(whole)
    root = ElementTree.fromstring(text)
    unit = 1e-4
    assert unit < float(root.get("viewBox").split()[2]) / 30_000.0
    most = float(root.findall(f".//{SVG}text")[-3].text.removeprefix("≥ "))  # the number at the colour bar's upper end
    found = iter(drawn(text))
    colors = colormaps["cividis" if name in ("luminance", "glare") else "magma"]
    missing = 0
    for k in range(len(whole)):
        corners = whole.vertices_mm[whole.starts[k] : whole.starts[k + 1]]
        if not left_with_area(corners):
            missing += 1
            continue
        placed, color, title = next(found)
        assert np.abs(placed - corners).max() <= 0.5001 * unit
        red, green, blue, _ = colors(min(whole.rows[k, FIELDS.index(name)] / most, 1.0), bytes=True)
        shade = tuple(int(color[i : i + 2], 16) for i in (1, 3, 5))
        assert np.abs(np.subtract(shade, (int(red), int(green), int(blue)))).max() <= 3  # the end is told to three digits
        assert title.split("\n")[0] == paths.name(int(paths.which[k]), BRILLIANT, vector.MOST_FACETS)
    assert next(found, None) is None
    assert f"{missing} more are too small" in root.find(f"{SVG}desc").text
    assert missing < 0.02 * len(whole)


def test_the_polygons_tile_the_outline(result):
    """Rounding by up to half a unit moves a side by half a unit's diagonal, and an area by its perimeter times that."""
    polygons = [corners for corners, _, _ in drawn(vector.svg(result))]
    perimeter = sum(float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum()) for corners in polygons)
    total = sum(area(corners) for corners in polygons)
    assert total == pytest.approx(result.summary.area_mm2, abs=perimeter * 0.5e-4 * np.sqrt(2.0))


def test_y_points_up_and_the_picture_is_in_the_frame(result):
    root = ElementTree.fromstring(vector.svg(result))
    group = next(group for group in root.iter(f"{SVG}g") if group.get("transform"))
    assert group.get("transform") == "scale(1 -1)"
    left, top, width, height = map(float, root.get("viewBox").split())
    every = np.concatenate([corners for corners, _, _ in drawn(vector.svg(result))])
    assert left < every[:, 0].min() < every[:, 0].max() < left + width
    assert top < (-every[:, 1]).min() < (-every[:, 1]).max() < top + height
    ground = root.find(f"{SVG}rect")
    assert float(ground.get("y")) < (-every[:, 1]).min()  # ground and stone lie over each other


def test_titles_tell_luminance_and_ledger(result):
    whole = result.beams[1].unfolded()
    titles = [title for _, _, title in drawn(vector.svg(result, "leak"))]
    kept = [k for k in range(len(whole)) if left_with_area(whole.vertices_mm[whole.starts[k] : whole.starts[k + 1]])]
    assert len(kept) > 100
    for k, title in zip(kept, titles, strict=True):
        facts = re.search(r"leak ([0-9.]+) %", title)
        assert (
            float(facts[1]) == pytest.approx(100.0 * whole.rows[k, LEAK], abs=0.0501) if facts else whole.rows[k, LEAK] < 1e-3
        )
        assert f"luminance {whole.rows[k, 0]:.4g};" in title


@pytest.mark.parametrize(("wanted", "place"), [(None, 1), (490.0, 0), (1000.0, 2)])
def test_one_of_several_wavelengths_is_drawn(result, wanted, place):
    text = vector.svg(result, "luminance", wanted)
    assert f"{result.scene.settings.all_nm[place]:g} nm" in text
    first = result.beams[place].unfolded().vertices_mm[0]
    assert np.abs(drawn(text)[0][0][0] - first).max() <= 0.5001e-4


def test_the_file_holds_no_script_and_points_nowhere(result):
    text = vector.svg(result)
    root = ElementTree.fromstring(text)
    allowed = {"svg", "title", "desc", "rect", "g", "path", "text", "linearGradient", "stop"}
    assert {element.tag.removeprefix(SVG) for element in root.iter()} == allowed
    for element in root.iter():
        for key, value in element.attrib.items():
            assert not key.lower().startswith("on")
            assert "href" not in key.lower()
            assert "url(" not in value or value == "url(#scale)"
    assert text.count("http") == 1  # the name space


def test_names_are_text_whatever_they_hold(result):
    root = ElementTree.fromstring(vector.svg(result))
    facts = root.find(f"{SVG}title").text
    assert 'a <b>"stone"</b> &   (invented)' in facts
    assert "dome: window & door" in facts
    assert "tilted 17° towards 70°" in facts


@pytest.mark.parametrize("name", vector.DRAWN)
def test_the_color_bar_is_a_gradient_with_numbers(result, name):
    root = ElementTree.fromstring(vector.svg(result, name))
    stops = [stop.get("stop-color") for stop in root.iter(f"{SVG}stop")]
    assert len(set(stops)) == 33
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert DEFINITIONS[name][0] in words
    numbers = [float(word.removeprefix("≥ ")) for word in words[-7:-2]]
    assert numbers == sorted(numbers)
    assert numbers[0] == 0.0
    if name in ("sky", "head", "leak"):
        assert numbers[-1] == 1.0


def test_size_is_bounded(result):
    count = sum(len(beams.unfolded()) for beams in result.beams[1:2])
    assert len(vector.svg(result).encode()) < 260 * count + 10_000


def test_what_can_not_be_drawn_is_refused(result, monkeypatch):
    with pytest.raises(rl.InputError, match="expected one of luminance, sky"):
        vector.svg(result, "contrast")
    sampled = rl.trace(BRILLIANT, DOME, resolution=8, samples=1, engine="rays")
    with pytest.raises(rl.InputError, match=r"the engine `rays` can.t trace this scene: the result has no virtual facets"):
        vector.svg(sampled)
    monkeypatch.setattr(vector, "MOST_POLYGONS", 100)
    with pytest.raises(rl.InputError, match=r"precision = 0.1: too many virtual facets .*; expected a larger one"):
        vector.svg(result)


def test_it_is_written_whole(result, tmp_path):
    text = vector.svg(result)
    files.save_svg(text, tmp_path / "l.svg")
    assert (tmp_path / "l.svg").read_text(encoding="utf-8") == text
    with pytest.raises(rl.InputError, match="exists already"):
        files.save_svg("", tmp_path / "l.svg")


def test_a_stone_that_shows_no_light_is_drawn_all_the_same():
    dark = rl.trace(BRILLIANT, rl.Dome(sky_radiance=0.0, lamps=(rl.Lamp(1, 200, 0.1),)), resolution=8, precision=0.1)
    assert drawn(vector.svg(dark))
