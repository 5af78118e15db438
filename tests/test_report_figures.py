"""The report's figures and cells hold the comparison's numbers, each in its place."""

from __future__ import annotations

import base64
import io
import math
import pickle
import queue
import threading
import warnings
from dataclasses import replace

import numpy as np
import pytest
from blank_pictures import blank_pictures
from matplotlib.colors import to_rgba
from matplotlib.patches import Polygon, Rectangle
from PIL import Image

import raylab as rl
from raylab.code_id import code_id
from raylab.comparison.comparing import compare
from raylab.comparison.comparison import Comparison
from raylab.comparison.uncertainty import Estimate, _of_draws
from raylab.comparison.verdicts import Verdict, words
from raylab.report import pictures, report_html, tables
from raylab.results.statistics import shares
from raylab.results.statistics.definition import Statistic
from raylab.stone.measuring.plane_uncertainty import Uncertainty
from raylab.sweeps import workers
from raylab.sweeps.axes import plan_of
from raylab.tracers.ledger import ABSORBED, DOUBT, ENTRIES, FIELDS, GLARE, HEAD, LEAK, SCATTERED, SKY, UNTRACED
from raylab.tracers.totals import MOMENTS, Totals

DOME = rl.load_dome("head-shadow")
BASE = {"table_pct": 57.0, "crown_angle_deg": 34.5, "girdle_facets": 16}
COARSE = rl.TraceSettings(precision=2e-2)


@pytest.fixture(scope="module")
def two() -> Comparison:
    stones = [rl.round_brilliant(**BASE, pavilion_angle_deg=angle, name=f"<b>angle {angle}") for angle in (40.75, 42.5)]
    return compare(*stones, dome=DOME, known_to_pct=45.0, resolution=48, settings=COARSE, tilts=(0.0, 15.0))


@pytest.fixture(scope="module")
def measured(two) -> Comparison:
    """The same as if measured, well face-up and badly tilted; the second stone's leakage leaves the untraced light out."""
    states = [[(5e-4, 2e-4, 1e-4), (1e-3, -4e-4, 2e-4)], [(0.015, 0.003, 0.001), (0.01, -0.002, 0.002)]]

    def stated(one: Estimate, whole: bool, uncertainty: float, shift: float, shift_error: float) -> Estimate:
        return Estimate(replace(one.statistic, whole=whole), uncertainty, 0.0, shift, shift_error)

    light = tuple(
        tuple({name: stated(one, k == 0 or name != "leak", *states[v][k]) for name, one in row[k].items()} for k in (0, 1))
        for v, row in enumerate(two.light)
    )
    return replace(two, light=light, uncertainties=(Uncertainty(0.1, 0.02, 4.0), Uncertainty((0.1, 0.3), 0.0, 4.0)))


def ends_by_hand(one: Estimate) -> tuple[float, float, float]:
    """The ends between which a number lies but for its standard errors, and its standard uncertainty."""
    s = one.statistic
    low, high = (s.value, s.value) if s.whole else (s.low, s.high)
    return low, high, math.sqrt(one.uncertainty**2 + one.shift_error**2 + s.error**2)


def test_bars_of_the_ledger(measured):
    two = measured
    figure = pictures.ledger_figure(two)
    used = [e for e in ENTRIES if any(light[k][e].statistic.value > 5e-5 for light in two.light for k in (0, 1))]
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["face-up", "tilt 15°"]
    for view, axes in enumerate(figure.axes):
        assert [label.get_text() for label in figure.axes[0].get_yticklabels()] == used
        assert axes.get_yticks().tolist() == list(range(len(used)))
        assert (axes.get_xlim(), axes.get_ylim()) == ((0.0, 118.0), (len(used) - 0.45, -0.55))
        assert [axes.spines[side].get_visible() for side in ("top", "right", "left", "bottom")] == [False, False, True, True]
        assert axes.get_legend_handles_labels()[1] == list(two.labels)
        bars = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
        wanted, lines, texts = [], [], []
        for k, label in enumerate(two.labels):
            for row, entry in enumerate(used):
                one = two.light[view][k][entry]
                value, y = 100.0 * one.statistic.value, row + (-0.2, 0.2)[k]
                wanted.append((value, y, 0.36, to_rgba(pictures.SHADES[k]), pictures.HATCHES[k]))
                low, high, u = ends_by_hand(one)
                low = 100.0 * max(0.0, low - max(one.shift, 0.0) - 2.0 * u)
                high = 100.0 * (high - min(one.shift, 0.0) + 2.0 * u)
                if entry != "untraced":
                    lines.append((low, high, y))
                texts.append((max(high, value) + 2.0, y, f"{label} {value:.1f} %"))
        found = [
            (
                bar.get_width(),
                bar.get_y() + bar.get_height() / 2.0,
                bar.get_height(),
                bar.get_facecolor(),
                bar.get_hatch() or "",
            )
            for bar in bars
        ]
        for one, other in zip(found, wanted, strict=True):
            assert one[:3] == pytest.approx(other[:3])
            assert one[3:] == other[3:]
        drawn = [(*line.get_xdata(), line.get_ydata()[0]) for line in axes.lines]
        assert np.allclose(drawn, lines)
        assert {line.get_marker() for line in axes.lines} == {"|"}
        for text, other in zip(axes.texts, texts, strict=True):
            assert (*text.get_position(), text.get_text()) == (pytest.approx(other[0]), pytest.approx(other[1]), other[2])
            assert text.get_verticalalignment() == "center"


def x_by_hand(a: Estimate, b: Estimate) -> float:
    """The difference in units of the smallest that is certain, at most 10."""
    (low, high, u), (other_low, other_high, other_u) = ends_by_hand(a), ends_by_hand(b)
    difference, bias = a.statistic.value - b.statistic.value, a.shift - b.shift
    half = 2.0 * math.sqrt(u**2 + other_u**2)
    least, most = low - other_high - max(bias, 0.0) - half, high - other_low - min(bias, 0.0) + half
    x = difference / (difference - least if difference > 0.0 else most - difference)
    return max(-10.0, min(x, 10.0))


def test_marks_of_the_verdicts(measured):
    two = measured
    figure = pictures.verdict_figure(two)
    (axes,) = figure.axes
    wanted = []
    for view in range(2):
        for name in ("brightness", "contrast_rms", "leak", "symmetry"):
            if name in two.light[view][0]:
                x = x_by_hand(*(two.light[view][k][name] for k in (0, 1)))
                wanted.append((f"{words(name).name}, {('face-up', 'tilt 15°')[view]}", x))
    assert [label.get_text() for label in axes.get_yticklabels()] == [text for text, _ in wanted]
    assert axes.get_yticks().tolist() == list(range(len(wanted)))
    sizes = [abs(x) for _, x in wanted]
    assert min(sizes) == 0.0
    assert max(sizes) == 10.0
    assert any(0.0 < x < 1.0 for x in sizes)
    assert any(1.0 < x < 10.0 for x in sizes)
    zero, *marks = axes.lines
    assert zero.get_xdata()[0] == 0.0
    for row, (mark, (_, x)) in enumerate(zip(marks, wanted, strict=True)):
        assert mark.get_xdata()[0] == pytest.approx(x)
        assert mark.get_ydata()[0] == row
        sure = abs(x) > 1.0
        assert mark.get_marker() == ("D" if sure else "o")
        assert to_rgba(mark.get_markerfacecolor()) == to_rgba(pictures.INK if sure else "white")
    assert axes.get_xlim() == (-11.5, 11.5)
    assert axes.get_ylim() == (len(wanted) - 0.5, -0.5)
    (band,) = axes.patches
    assert (band.get_x(), band.get_x() + band.get_width(), band.get_hatch()) == (-1.0, 1.0, "////")
    least = "difference / smallest significant difference"
    assert axes.get_xlabel() == f"B larger  ←  {least} (cut at 10)  →  A larger"
    assert [axes.spines[side].get_visible() for side in ("top", "right", "left", "bottom")] == [False, False, False, True]
    assert axes.yaxis.majorTicks[0].tick1line.get_markersize() == 0.0
    assert axes.xaxis.majorTicks[0].tick1line.get_markersize() > 0.0


@pytest.mark.parametrize(
    ("values", "ends", "x", "most", "cut"),
    [
        ((0.5, 0.2), (0.3, 0.3), 10.0, 11.5, True),  # without any doubt
        ((0.2, 0.5), (-0.3, -0.3), -10.0, 11.5, True),
        ((0.5, 0.2), (0.275, 0.4), 10.0, 11.5, True),  # 12 times the smallest
        ((0.5, 0.2), (0.3 - 0.3 / 9.0, 0.4), 9.0, 10.35, False),
        ((0.2, 0.5), (-0.9, -0.1), -1.5, 1.725, False),
        ((0.5, 0.2), (-0.3, 0.4), 0.5, 1.6, False),
        ((0.2 + 1e-9, 0.2), (1e-9, 1e-9), 0.0, 1.6, False),  # equal to the last digit shown: inside the band
        ((0.5, 0.2), (math.nan, math.nan), None, 1.6, False),
    ],
)
def test_where_a_mark_stands(two, monkeypatch, values, ends, x, most, cut):
    only = Verdict("leak", *two.labels, values, *ends)
    level, other = Verdict("brightness", "A", "B", (0.2, 0.2), -0.1, 0.1), Verdict("leak", "A", "C", (0.5, 0.2), 0.3, 0.3)
    views = ({"brightness": (level,)}, {"leak": (only, other)})
    monkeypatch.setattr(Comparison, "light_verdicts", lambda self, view: views[view])
    (axes,) = pictures.verdict_figure(two).axes
    assert [line.get_xdata()[0] for line in axes.lines[1:]] == [0.0] + ([] if x is None else [pytest.approx(x)])
    assert axes.get_xlim() == pytest.approx((-most, most))
    assert ("(cut at 10)" in axes.get_xlabel()) == cut


@pytest.mark.parametrize("name", ["luminance", "contrast", "leak"])
def test_maps_in_their_places(two, name):
    figure = pictures.maps_figure(two, name)
    pixel, x, y = two.maps.attrs["pixel_mm"], two.maps.x.values, two.maps.y.values
    ends = (x[0] - pixel / 2, x[-1] + pixel / 2, y[0] - pixel / 2, y[-1] + pixel / 2)
    maps, bars = figure.axes[:4], figure.axes[4:]
    most = {"luminance": DOME.peak_radiance, "leak": 1.0}.get(name)
    for number, axes in enumerate(maps):
        stone, view = divmod(number, 2)
        (image,) = axes.images
        values = np.asarray(two.maps[name])[stone, view]
        assert np.array_equal(np.ma.filled(image.get_array(), np.nan), values, equal_nan=True)
        assert image.get_extent() == pytest.approx(ends)
        assert image.origin == "lower"
        assert axes.get_title(loc="left") == f"{two.labels[stone]}, {tables.tilt_name(two, view)}"
        statistic = {"luminance": "brightness", "contrast": "contrast_rms", "leak": "leak"}[name]
        shown = words(statistic).show(two.light[view][stone][statistic].statistic.value)
        assert axes.get_xlabel() == f"{words(statistic).name} {shown}"
        assert image.norm.vmin == (-1.0 if name == "contrast" else 0.0)
        if most is not None:
            assert image.norm.vmax == most
        assert len([patch for patch in axes.patches if isinstance(patch, Polygon)]) == 1
    assert len(bars) == 2
    said = {"luminance": "luminance (1: brightest radiance)", "contrast": "contrast (L - mean)/mean", "leak": "leakage"}
    assert {bar.get_ylabel() for bar in bars} == {said[name]}
    assert np.isfinite(np.asarray(two.maps[name])).any(axis=(0, 1, 2)).mean() > 0.85, "the grid just holds the stones"


def test_differences_in_their_places(two):
    figure = pictures.difference_figure(two)
    values = np.asarray(two.difference("luminance", *two.labels))
    high = float(np.nanquantile(np.abs(values), 0.998))
    step = 10.0 ** (math.floor(math.log10(high)) - 1)
    most = math.ceil(high / step - 1e-9) * step
    layers = [values, np.maximum(values, 0.0), np.maximum(-values, 0.0)]
    for number, axes in enumerate(figure.axes[:6]):
        row, view = divmod(number, 2)
        (image,) = axes.images
        assert np.array_equal(np.ma.filled(image.get_array(), np.nan), layers[row][view], equal_nan=True)
        assert (image.norm.vmin, image.norm.vmax) == pytest.approx((0.0 if row else -most, most))
        assert axes.get_xlabel() == ""
        assert len(axes.patches) == (1 if row else 2)
    titles = [axes.get_title(loc="left").split(",")[0] for axes in figure.axes[:6:2]]
    assert titles == ["A minus B", "A brighter", "B brighter"]


@pytest.mark.parametrize(("value", "up"), [(0.0, 0.0), (0.123, 0.13), (0.12, 0.12), (4.0, 4.0), (47.2, 48.0), (0.0301, 0.031)])
def test_rounding_up_to_two_digits(value, up):
    assert pictures._round_up(value) == pytest.approx(up, rel=1e-12)


@pytest.mark.parametrize(
    ("layers", "word"), [([-1.0, 1.0], "neither"), ([-1.0, 1.1], "max"), ([-1.5, 1.0], "min"), ([-1.5, 1.1], "both")]
)
def test_a_bar_shows_what_lies_beyond_it(layers, word):
    from matplotlib.colors import Normalize

    assert pictures._extend(np.array(layers), Normalize(-1.0, 1.0)) == word


def test_pictures_as_addresses():
    assert pictures.data_uri("a.webp", b"x") == "data:image/webp;base64," + base64.b64encode(b"x").decode()
    assert pictures.data_uri("a.svg", b"y") == "data:image/svg+xml;base64," + base64.b64encode(b"y").decode()


@pytest.mark.parametrize(("palette", "most_off"), [(True, 0), (False, 12)])
def test_a_page_holds_its_pictures_smaller_and_the_same_to_an_eye(palette, most_off):
    """Patches of 16 pixels in 27 colours. With a palette nothing is lost; else the patches' middles keep their colours."""
    tones = np.random.default_rng(1).choice([0, 130, 250], (12, 12, 3)).astype(np.uint8)
    given = Image.fromarray(tones.repeat(16, axis=0).repeat(16, axis=1))
    held = io.BytesIO()
    (given.quantize(64, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE) if palette else given).save(held, "PNG")
    uri = pictures.data_uri("a.b.png", held.getvalue())
    assert uri.startswith("data:image/webp;base64,UklGR")
    shown = Image.open(io.BytesIO(base64.b64decode(uri.partition(",")[2])))
    wanted = Image.open(held).convert("RGB")
    middles = np.s_[:, :] if palette else np.s_[8::16, 8::16]
    off = np.abs(np.asarray(shown, dtype=int)[middles] - np.asarray(wanted, dtype=int)[middles])
    assert off.max() <= most_off


# --- cells -----------------------------------------------------------------------------------------------------------


def estimate(value: float, uncertainty: float, *, width: float = 0.0, error: float = 0.0, shift: float = 0.0) -> Estimate:
    return Estimate(Statistic(value, value - width, value + width, error), uncertainty, 0.0, shift, 0.0)


@pytest.mark.parametrize(
    ("one", "cell"),
    [
        (estimate(34.5, 0.25), {"value": "34.50°", "uncertainty": "± 0.25", "notes": []}),
        (estimate(34.5, 1e-4), {"value": "34.50°", "uncertainty": "± below 0.01", "notes": []}),
        (estimate(34.5, 0.0), {"value": "34.50°", "uncertainty": "", "notes": []}),
        (estimate(34.5, 0.25, width=0.1), {"value": "34.50°", "uncertainty": "± 0.25", "notes": ["bracket 34.40 to 34.60"]}),
        (estimate(34.5, 0.25, error=0.004), {"value": "34.50°", "uncertainty": "± 0.25", "notes": []}),
        (estimate(34.5, 0.25, error=0.05), {"value": "34.50°", "uncertainty": "± 0.25", "notes": ["sampling ± 0.05"]}),
        (estimate(34.5, 0.25, shift=0.1), {"value": "34.50°", "uncertainty": "± 0.25", "notes": []}),
    ],
)
def test_a_cell_of_a_table(one, cell):
    assert tables._cell("crown_angle_deg", one) == cell


def test_biases_that_show_in_the_last_digit(two):
    """Every other number keeps its shift of 0 and has no row."""
    changed = {(0, 0, "leak"): (0.0012, 0.0003), (1, 1, "contrast_rms"): (-0.0021, 0.0009), (1, 0, "leak"): (4.9e-5, 0.1)}
    light = [[dict(found) for found in row] for row in two.light]
    for (view, k, name), (shift, error) in changed.items():
        light[view][k][name] = replace(light[view][k][name], shift=shift, shift_error=error)
    sizes = [dict(found) for found in two.proportions]
    sizes[1]["crown_angle_deg"] = replace(sizes[1]["crown_angle_deg"], shift=0.006, shift_error=0.02)
    sizes[0]["table_pct"] = replace(sizes[0]["table_pct"], shift=-0.004)
    assert tables.biases(two) == []
    assert tables.biases(replace(two, light=tuple(map(tuple, light)), proportions=tuple(sizes))) == [
        {"name": "Leakage below the girdle, face-up, %", "cells": ["0.12 ± 0.03", "0.00 ± 0.00"]},
        {"name": "Contrast (RMS), tilt 15°", "cells": ["0.000 ± 0.000", "-0.002 ± 0.001"]},
        {"name": "Crown angle, as offered, °", "cells": ["0.00 ± 0.00", "0.01 ± 0.02"]},
    ]


@pytest.mark.parametrize(
    ("values", "ends", "phrase", "sure"),
    [
        ((35.0, 34.0), (0.5, 1.5), "A larger than B by 1.00° (0.50 to 1.50)", True),
        ((34.0, 35.0), (-1.5, -0.5), "B larger than A by 1.00° (0.50 to 1.50)", True),
        ((34.1, 34.0), (-0.5, 0.7), "A and B: not significant", False),
        ((34.1, 34.0), (-0.5, 0.7, False), "A and B: not resolved", False),
        ((34.002, 34.0), (0.001, 0.003), "A and B: equal", False),
        ((math.nan, 34.0), (math.nan, math.nan), "A and B: unknown", False),
    ],
)
def test_a_verdict_in_a_cell(values, ends, phrase, sure):
    only = Verdict("crown_angle_deg", "A", "B", values, *ends)
    assert tables._verdicts([only]) == [{"phrase": phrase, "sure": sure}]


def test_of_three_stones_every_pair_has_its_own_verdict_in_a_cell():
    pairs = [
        Verdict("leak", "A", "B", (0.3, 0.2), 0.05, 0.15),
        Verdict("leak", "A", "C", (0.3, 0.3), -0.1, 0.1),
        Verdict("leak", "B", "C", (0.2, 0.3), -0.15, -0.05),
    ]
    assert tables._verdicts(pairs) == [
        {"phrase": "A larger than B by 10.00 percentage points (5.00 to 15.00)", "sure": True},
        {"phrase": "A and C: not significant", "sure": False},
        {"phrase": "C larger than B by 10.00 percentage points (5.00 to 15.00)", "sure": True},
    ]
    assert tables._verdicts([]) == [{"phrase": "-", "sure": False}]


def test_cells_and_texts_of_the_verdicts(two):
    """Only the pair that is asked for; a number that a view lacks has a dash."""
    sure, level = ((0.3, 0.2), 0.05, 0.15), ((0.3, 0.3), -0.1, 0.1)
    views = (
        {"leak": (Verdict("leak", "A", "B", *sure), Verdict("leak", "A", "C", *level)), "sky": ()},
        {"brightness": (Verdict("brightness", "A", "B", *level),)},
    )

    class Given(Comparison):
        def light_verdicts(self, view: int) -> dict[str, tuple[Verdict, ...]]:
            return views[view]

    given = Given(**vars(two))
    larger = "A larger than B by 10.00 percentage points (5.00 to 15.00)"
    rows = tables.key_numbers(given)
    assert [(row["name"], [one["phrase"] for one in row["verdicts"]]) for row in rows[:-1]] == [
        ("Brightness, tilt 15°", ["A and B: not significant"]),
        ("Leakage below the girdle, face-up", [larger, "A and C: not significant"]),
    ]
    assert [cell["notes"] for row in rows for cell in row["cells"]] == [[]] * 6
    assert rows[-1]["name"] == "Weight"
    assert rows[-1]["cells"][1]["value"] == words("weight_ct").show(two.stones[1].weight_ct)
    assert tables.verdict_text(given, "A", "B") == (
        f"A against B; leakage below the girdle face-up: {larger}; brightness tilt 15°: A and B: not significant."
    )
    assert tables.verdict_text(given, "A", "C") == "A against C; leakage below the girdle face-up: A and C: not significant."


def test_texts_beside_the_pictures(two, measured):
    parts = []
    for label, found in zip(two.labels, two.light[0], strict=True):
        shares_ = [f"{name} {100 * found[name].statistic.value:.1f} %" for name in ("sky", "head", "leak")]
        parts.append(f"{label} {', '.join(shares_)}")
    assert tables.ledger_text(two) == f"Bars of the ledger at each tilt. face-up: {parts[0]}; {parts[1]}."
    values = np.asarray(two.difference("luminance", *two.labels))
    stone = np.isfinite(values).sum(axis=(1, 2))
    more, less = 100.0 * (values > 0.1).sum(axis=(1, 2)) / stone, 100.0 * (values < -0.1).sum(axis=(1, 2)) / stone
    said = "; ".join(f"{name} {more[k]:.0f} % and {less[k]:.0f} %" for k, name in enumerate(("face-up", "tilt 15°")))
    text = tables.difference_text(two, "A", "B")
    assert text.startswith("Maps of luminance, A minus B. Share of the face where A, and where B, is brighter")
    assert text.endswith(f"over 0.1: {said}.")
    other = "; ".join(f"{name} {less[k]:.0f} % and {more[k]:.0f} %" for k, name in enumerate(("face-up", "tilt 15°")))
    assert tables.difference_text(two, "B", "A").endswith(f"over 0.1: {other}.")
    assert tables._each((0.1, 0.1), "°") == "0.1°"
    assert tables._capital("face-up") == "Face-up"
    assert (tables.sureness(two), tables.designs(two)) == ([], ["A", "B"])
    assert tables.sureness(measured) == [
        {"label": "A", "angle": "0.1°", "common": "0.02°", "distance": "4 µm"},
        {"label": "B", "angle": "0.1 to 0.3°, by facet", "common": "0°", "distance": "4 µm"},
    ]
    assert tables.designs(measured) == []


def test_the_page_names_stones_and_version(two):
    page = report_html(two, blank_pictures(2))
    assert "<h1>&lt;b&gt;angle 40.75 and &lt;b&gt;angle 42.5</h1>" in page
    assert "<b>angle" not in page
    assert rl.__version__ in page
    assert not any(line.rstrip() != line for line in page.splitlines() if "<" in line and "base64" not in line)


# --- numbers below the report ----------------------------------------------------------------------------------------


def test_a_number_without_words_of_its_own():
    assert words("no_such_number").name == "no such number"
    assert words("leak").show(math.nan) == "-"


def test_the_scatter_of_draws_by_hand():
    nominal, stated, larger = Statistic(1.0, 1.0, 1.0, 0.0), np.array([1.0, 3.0, 4.0, np.nan]), np.array([1.5, 2.0, 6.0, 9.0])
    found = _of_draws(nominal, stated, larger)
    some = stated[:3]
    fourth = ((some - some.mean()) ** 4).mean()
    scatter = some.std(ddof=1)
    assert found.statistic is nominal
    assert found.uncertainty == pytest.approx(scatter)
    assert found.uncertainty_error == pytest.approx(math.sqrt(max(0.0, fourth / scatter**4 - 1.0) / 12.0) * scatter)
    wide = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 10.0])
    kurtosis = ((wide - wide.mean()) ** 4).mean() / wide.std(ddof=1) ** 4
    assert kurtosis > 1.0
    assert _of_draws(nominal, wide, wide).uncertainty_error == pytest.approx(
        math.sqrt((kurtosis - 1.0) / 24.0) * wide.std(ddof=1)
    )
    alone = _of_draws(nominal, np.array([1.0, np.nan, 2.0]), np.array([1.0, 1.0, np.nan]))
    assert all(math.isnan(x) for x in (alone.uncertainty, alone.uncertainty_error, alone.shift, alone.shift_error))


@pytest.mark.parametrize("tail", [0.0, 0.001])
@pytest.mark.parametrize("channel", [SKY, HEAD, LEAK, ABSORBED, SCATTERED, GLARE, UNTRACED])
def test_a_share_and_its_bracket_by_hand(channel, tail):
    """The value counts what is estimated to be left inside, the bracket doesn't; closed where a scene can't have more."""
    mean, tails = np.linspace(0.01, 0.2, MOMENTS), tail * np.arange(1.0, MOMENTS + 1.0)
    totals = Totals(1.0, mean, np.diag(mean**2 / 49.0), tails)
    made = shares._share(channel, "label", "does so")
    doubt = mean[DOUBT] if channel in (SKY, HEAD, LEAK) else 0.0
    untraced = 0.0 if channel in (UNTRACED, GLARE, ABSORBED) else mean[UNTRACED]
    low = 0.0 if channel == UNTRACED else max(0.0, mean[channel] - doubt)
    found = made.of(totals, {SKY: 1.0, HEAD: 1.0, LEAK: 1.0, SCATTERED: 1.0})
    value = mean[channel] + tail * (channel + 1.0)
    assert (found.value, found.low, found.high) == pytest.approx((value, low, mean[channel] + untraced + doubt))
    assert found.error == pytest.approx(mean[channel] / 7.0)
    assert found.whole == (tail > 0.0)
    assert (made.key, made.label, made.percent, made.span) == (FIELDS[channel], "label", True, (0.0, 1.0))
    assert made.definition == "area mean of the share of light that does so"
    assert made.gradient(mean, 1.0).tolist() == shares.unit_vector(channel).tolist()


def test_a_number_shows_its_sampling_error_where_it_has_one():
    assert "±" not in str(Statistic(0.5, 0.5, 0.5, 0.0))
    assert "± 1.0e-02" in str(Statistic(0.5, 0.5, 0.5, 0.01))


class Unreadable:
    """Raises where it is read."""

    def __reduce__(self):
        return __import__, ("no_such_module_anywhere",)


def test_a_worker_answers_in_order_until_the_requests_end(monkeypatch):
    """A request that can't be read ends the worker here with its fault; the end of the requests, the whole process."""
    left: queue.SimpleQueue = queue.SimpleQueue()

    def leave(status: int) -> None:
        left.put((threading.current_thread(), status))
        raise SystemExit  # of the listening thread alone

    monkeypatch.setattr(workers.os, "_exit", leave)
    monkeypatch.setattr(threading, "excepthook", threading.__excepthook__)  # which lets a thread exit
    plan = plan_of({"pavilion_angle_deg": [41.0]}, {**BASE, "dome": DOME})
    work, chunk, code = workers.Work(plan, COARSE, None), workers.Chunk(0, 0, 1), code_id(workers.MAKER)
    found = []
    for stated in ("no such code", code):
        asked = [(work, stated), (chunk,), Unreadable()]
        requests, answers = io.BytesIO(b"".join(pickle.dumps(one) for one in asked)), io.BytesIO()
        with pytest.raises(ModuleNotFoundError, match="no_such_module_anywhere"):
            workers.serve(requests, answers)
        listener, status = left.get(timeout=10.0)
        listener.join(10.0)
        assert (status, left.empty()) == (0, True)
        answers.seek(0)
        found.append(pickle.load(answers))  # noqa: TID251 - written above
        assert answers.read() == b""
    run, kept = work.run(chunk)
    with pytest.raises(rl.RaylabError) as caught:
        workers.trace_sent(run, kept, COARSE, "no such code")
    refused, rows = found
    assert (type(refused), str(refused)) == (rl.RaylabError, str(caught.value))
    assert np.array_equal(rows, workers.trace_sent(run, kept, COARSE, code), equal_nan=True)
    assert np.isfinite(rows).any()


def test_maps_of_color_and_fire_warn_of_nothing():
    scene = rl.Scene(rl.round_brilliant(**BASE, pavilion_angle_deg=40.75), DOME, settings=COARSE, resolution=24)
    with warnings.catch_warnings():
        warnings.simplefilter("error", RuntimeWarning)
        found = rl.color_picture(scene, spectrum=3, light="A")
        spread = rl.fire_map(rl.trace_scene(scene))
    assert found.light == "A"
    assert spread is not None
    assert replace(found, light="D65").light == "D65"


def test_a_difference_of_two_of_three_stones_has_the_outlines_of_these_two():
    stones = [rl.round_brilliant(**BASE, pavilion_angle_deg=40.75), rl.rose_cut(), rl.baguette(table_pct=57.0)]
    three = compare(*stones, dome=DOME, resolution=24, settings=COARSE, tilts=(0.0,))
    first = pictures.difference_figure(three, 0, 2).axes[0]
    seen = [np.ptp(patch.get_xy(), axis=0) for patch in first.patches]
    assert seen == [pytest.approx(stone.size_mm[:2], rel=0.01) for stone in (three.shown[0], three.shown[2])]
