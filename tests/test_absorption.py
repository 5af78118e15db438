"""Absorption spectra from files: the numbers come through in the right unit, every fault is one line with its place."""

from __future__ import annotations

import doctest
import math

import numpy as np
import pytest

from raylab.errors import InputError
from raylab.optics import absorption
from raylab.optics.absorption import read_absorption, tint, tints
from raylab.optics.color import ciede2000, spectrum_to_xyz, white_xyz, xyz_to_lab
from raylab.optics.materials import get_material
from raylab.optics.spectrum import wavelength_set

GOOD = "# source: an invented table for this test\nwavelength_nm,absorption_per_cm\n400,2.0\n\n# a remark\n 600 , 1\n"
HEAD = "# invented\nwavelength_nm,absorption_per_cm\n"


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(absorption).failed == 0


def test_one_per_centimeter_is_a_tenth_per_millimeter(tmp_path):
    """Beer-Lambert: 10 mm of a = 1.5 /cm let exp(-1.5) through."""
    path = tmp_path / "tint.csv"
    path.write_text("\ufeff" + GOOD.replace("\n", "\r\n"), encoding="utf-8")  # as spreadsheets save it
    found = read_absorption(path)
    assert found.pairs == ((400.0, 0.2), (600.0, 0.1))
    assert found.origin == "source: an invented table for this test"
    diamond = get_material("diamond").tinted(found.pairs)
    assert math.exp(-10.0 * diamond.absorption_per_mm(500.0)) == pytest.approx(math.exp(-1.5), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("wavelength_nm,absorption_per_cm\n400,1\n500,1\n", "no source stated"),
        ("", "no source stated"),
        ("# invented\n", "line 2 = '': wrong heading; expected wavelength_nm,absorption_per_cm"),
        ("# invented\n400,1\n500,1\n", "line 2 = '400,1': wrong heading"),
        (
            "# invented\nwavelength_nm,absorption_per_mm\n400,1\n500,1\n",
            "line 2 = 'wavelength_nm,absorption_per_mm': wrong heading",
        ),
        (HEAD + "400,1\n", "too few lines; expected at least two lines"),
        (HEAD + "400,1\n450;1\n", "line 4 = '450;1': 1 columns; expected two numbers"),
        (HEAD + "400,1\n450,0,5\n", "line 4 = '450,0,5': 3 columns"),
        (HEAD + "400,1\n450,much\n", "line 4, absorption_per_cm = 'much': not a number"),
        (HEAD + "400,1\n450,\n", "line 4, absorption_per_cm = '': not a number"),
        (HEAD + "400,1\nnan,1\n", "line 4, wavelength_nm = 'nan': not finite"),
        (HEAD + "400,1\n450,inf\n", "line 4, absorption_per_cm = 'inf': not finite"),
        (HEAD + "400,1\n450,-0.1\n", "line 4, absorption_per_cm = -0.1: out of range; expected 0 to 10000 1/cm"),
        (HEAD + "0.4,1\n0.5,1\n", "line 3, wavelength_nm = 0.4: out of range; expected 100 to 20000 nm"),
        (HEAD + "500,1\n# down\n400,1\n", "line 5, wavelength_nm = 400.0: wavelengths do not increase; expected more than 500"),
        (HEAD + "500,1\n500,1\n", "line 4, wavelength_nm = 500.0: wavelengths do not increase"),
    ],
)
def test_every_fault_is_reported_with_its_place(tmp_path, text, message):
    path = tmp_path / "tint.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_absorption(path)
    assert str(caught.value).startswith(f"{path}: {message}")
    assert "\n" not in str(caught.value)


def test_files_that_are_none_are_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_absorption(tmp_path / "absent.csv")
    with pytest.raises(InputError, match="not a file"):
        read_absorption(tmp_path)
    (tmp_path / "binary.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="line 1: not UTF-8"):
        read_absorption(tmp_path / "binary.csv")


def test_a_mistyped_tint_suggests_the_nearest():
    with pytest.raises(InputError, match="did you mean 'faint-yellowish'"):
        tint("faint-yelowish")


@pytest.mark.parametrize(
    ("name", "formula"),
    [
        ("faint-yellowish", lambda w: 0.35 * np.exp(-(w - 400) / 60)),
        ("faint-brownish", lambda w: 0.16 * (500 / w) ** 3),
    ],
)
def test_demo_tints_are_marked_invented_and_follow_their_formula(name, formula):
    found = tint(name)
    wavelength, per_mm = np.array(found.pairs).T
    assert found.origin.startswith("invented")
    assert (wavelength[0], wavelength[-1]) == (380.0, 780.0)
    np.testing.assert_allclose(10.0 * per_mm, formula(wavelength), atol=5.1e-5)  # four digits in the file


def test_demo_tints_look_like_their_names():
    """Through 10 mm under D65: both faint and yellow to the eye, the brownish one darker and less yellow for its darkness."""
    waves = wavelength_set(16, "gauss")
    white, lab = white_xyz(waves), {}
    for name in tints():
        material = get_material("diamond").tinted(tint(name).pairs)
        through = np.exp([-10.0 * material.absorption_per_mm(float(at)) for at in waves.nodes_nm])
        lab[name] = xyz_to_lab(spectrum_to_xyz(through, waves), white)
        assert 4.0 < ciede2000(lab[name], [100.0, 0.0, 0.0]) < 8.0
        assert lab[name][2] > 5.0
    assert lab["faint-brownish"][0] < lab["faint-yellowish"][0] - 2.0
