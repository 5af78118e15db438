"""Wavelength sets: exact where they must be, and converging at the rate that the module promises."""

from __future__ import annotations

import doctest

import colour
import numpy as np
import pytest

from raylab.errors import InputError
from raylab.optics import spectrum
from raylab.optics.color import ciede2000, white_xyz, xyz_to_lab
from raylab.optics.materials import get_material, materials
from raylab.optics.spectrum import KINDS, color_weights, illuminant, illuminants, observer, wavelength_set

FINE_NM = np.linspace(400.0, 700.0, 3001)


def yellow(wavelength_nm: np.ndarray) -> np.ndarray:
    """A smooth body colour: the edge of an absorption in the violet."""
    return np.exp(-1.2 * np.exp(-(wavelength_nm - 400.0) / 60.0))


def brown(wavelength_nm: np.ndarray) -> np.ndarray:
    return np.exp(-0.8 * (500.0 / wavelength_nm) ** 3)


def jumps(wavelength_nm: np.ndarray) -> np.ndarray:
    """Spectra (58, M) of a lamp seen above one wavelength only, as at the edge of a lamp's coloured image."""
    return (wavelength_nm > np.arange(405.03, 695.0, 5.0)[:, None]).astype(float)


def fine_xyz(curve, light: str) -> tuple[np.ndarray, np.ndarray]:
    """XYZ of a spectrum and of white by brute force: 0.1 nm, the spectrum itself instead of an interpolation."""
    width = np.full(FINE_NM.size, 0.1)
    width[[0, -1]] /= 2
    seen = (width * illuminant(light, FINE_NM))[:, None] * observer(FINE_NM)
    scale = seen[:, 1].sum()
    return curve(FINE_NM) @ seen / scale, seen.sum(axis=0) / scale


def error(curve, number: int, kind: str, light: str) -> float:
    """CIEDE2000 between the colour from a set and the brute-force one, each relative to its white.

    A curve may give several spectra, (..., wavelengths); the answer is the root mean square over them.
    """
    waves = wavelength_set(number, kind)
    found = xyz_to_lab(curve(waves.nodes_nm) @ color_weights(waves, light), white_xyz(waves, light))
    return float(np.sqrt(np.mean(ciede2000(found, xyz_to_lab(*fine_xyz(curve, light))) ** 2)))


def test_docstrings_say_what_is_computed():
    assert doctest.testmod(spectrum).failed == 0


def test_every_number_of_the_tables_is_the_one_of_color_science():
    """colour-science 0.4.7, which copied CIE 015:2018; the observer's table there is at 1 nm, ours its every fifth row."""
    at = np.arange(380.0, 785.0, 5.0)
    names, ours_nm, power = spectrum._table(spectrum._ILLUMINANTS)
    assert names == ("D65", "A", "E", "LED-B3") == illuminants()
    assert np.array_equal(ours_nm, at)
    for column, name in enumerate(names):
        theirs = colour.SDS_ILLUMINANTS[name]
        assert np.array_equal(power[:, column], theirs.values[np.isin(theirs.wavelengths, at)])
    _, ours_nm, curves = spectrum._table(spectrum._OBSERVER)
    theirs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    assert np.array_equal(ours_nm, at)
    assert np.array_equal(curves, theirs.values[np.isin(theirs.wavelengths, at)])


def test_the_observer_between_the_steps_is_as_near_as_its_docstring_says():
    theirs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    inside = (theirs.wavelengths >= 380) & (theirs.wavelengths <= 780)
    off = np.abs(observer(theirs.wavelengths[inside]) - theirs.values[inside]).max(axis=0)
    assert np.all(off < [2.3e-4, 1.6e-4, 1.1e-3])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("number", [1, 2, 7, 16, 100])
def test_interpolating_functions_are_one_at_their_node_and_sum_to_one(kind, number):
    waves = wavelength_set(number, kind)
    assert len(waves) == number
    assert np.all(np.diff(waves.nodes_nm) > 0)
    np.testing.assert_allclose(waves.basis(waves.nodes_nm), np.eye(number), atol=1e-11)
    np.testing.assert_allclose(waves.basis(FINE_NM).sum(axis=1), 1.0, atol=1e-11)
    assert waves.weights_nm.sum() == pytest.approx(300.0, abs=1e-10)


def test_gauss_integrates_polynomials_up_to_twice_its_number_exactly():
    """Degree 2 N - 1 for N nodes (Gauss 1814; any textbook); degree 2 N no longer."""
    waves = wavelength_set(5, "gauss", 500.0, 600.0)
    t = (waves.nodes_nm - 550.0) / 50.0
    for degree in range(10):
        assert waves.weights_nm @ t**degree == pytest.approx(0.0 if degree % 2 else 100.0 / (degree + 1), abs=1e-11)
    assert abs(waves.weights_nm @ t**10 - 100.0 / 11) > 1e-3


def test_gauss_interpolates_polynomials_and_uniform_straight_lines():
    gauss, uniform = wavelength_set(6, "gauss"), wavelength_set(6)
    inside = np.linspace(uniform.nodes_nm[0], uniform.nodes_nm[-1], 50)
    fifth = np.polynomial.Polynomial([1.0, -2.0, 0.5, 3.0, -1.0, 2.0], domain=[400, 700])
    np.testing.assert_allclose(gauss.basis(FINE_NM) @ fifth(gauss.nodes_nm), fifth(FINE_NM), atol=1e-12)
    np.testing.assert_allclose(uniform.basis(inside) @ uniform.nodes_nm, inside, atol=1e-10)
    assert uniform.basis([400.0, 700.0])[[0, 1], [0, -1]].tolist() == [1.0, 1.0]


@pytest.mark.parametrize("light", illuminants())
@pytest.mark.parametrize("kind", KINDS)
def test_white_does_not_depend_on_the_number_of_wavelengths(kind, light):
    _, white = fine_xyz(yellow, light)
    for number in (1, 3, 16, 100):
        found = white_xyz(wavelength_set(number, kind), light)
        assert found[1] == pytest.approx(1.0, abs=1e-14)
        np.testing.assert_allclose(found, white, atol=1e-5)  # 0.25 nm against 0.1 nm
        np.testing.assert_allclose(found, white_xyz(wavelength_set(1), light), atol=1e-12)


@pytest.mark.parametrize("light", illuminants())
def test_uniform_weights_are_never_negative(light):
    for number in (1, 2, 5, 16, 31, 100):
        assert color_weights(wavelength_set(number), light).min() >= 0.0


@pytest.mark.parametrize("light", illuminants())
@pytest.mark.parametrize("curve", [yellow, brown])
def test_smooth_colors_converge(curve, light):
    """Measured: Gauss 4, 8, 12 at most 0.15, 0.0014, 3e-5 CIEDE2000; uniform 8, 16, 32 at most 0.16, 0.04, 0.01, falling
    with the square of the number."""
    gauss = [error(curve, number, "gauss", light) for number in (4, 8, 12)]
    assert np.all(np.array(gauss) < [0.2, 0.002, 4e-5])
    assert gauss[1] < gauss[0] / 50
    uniform = [error(curve, number, "uniform", light) for number in (8, 16, 32, 64)]
    assert np.all(np.array(uniform) < [0.18, 0.045, 0.012, 0.004])
    order = np.log2(uniform[0] / uniform[3]) / 3
    assert 1.7 < order < 2.3


@pytest.mark.parametrize("light", illuminants())
def test_jumps_converge_slowly_and_better_with_uniform(light):
    """Root mean square over jumps from 405 to 695 nm. Measured under D65: uniform 16, 32, 64: 3.7, 1.9, 0.9 CIEDE2000; Gauss
    16: 4.8. First order: the jump falls somewhere between two wavelengths."""
    uniform = [error(jumps, number, "uniform", light) for number in (16, 32, 64)]
    assert np.all(np.array(uniform) < [4.2, 2.2, 1.2])
    assert 0.8 < np.log2(uniform[0] / uniform[2]) / 2 < 1.3
    assert error(jumps, 16, "gauss", light) > uniform[0]


def test_the_default_range_suits_every_material_but_one():
    waves = wavelength_set(100)
    for name in materials():
        if name == "moissanite":
            with pytest.raises(InputError, match=r"435\.8 to 2325 nm"):
                get_material(name).n(waves.nodes_nm)
            get_material(name).n(wavelength_set(100, low_nm=440.0).nodes_nm)
        else:
            low, high = get_material(name).index.range_nm()
            assert low <= waves.low_nm
            assert high >= waves.high_nm


def test_the_default_range_leaves_out_what_its_docstring_says():
    """Against colour-science's tables from 360 to 830 nm at 1 nm, lights held level beyond theirs."""
    table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    at = table.wavelengths
    left_out = {}
    for name in illuminants():
        light = colour.SDS_ILLUMINANTS[name]
        seen = np.interp(at, light.wavelengths, light.values)[:, None] * table.values
        left_out[name] = 1 - seen[(at >= 400) & (at <= 700)].sum(axis=0) / seen.sum(axis=0)
    np.testing.assert_allclose(left_out["D65"], [0.002, 0.0004, 0.003], rtol=0.1)
    assert max(part.max() for part in left_out.values()) < 0.005
    narrow = white_xyz(wavelength_set(low_nm=440.0))
    assert narrow[2] / white_xyz(wavelength_set(low_nm=380.0, high_nm=780.0))[2] == pytest.approx(0.75, abs=0.01)


def test_what_a_narrow_range_costs_in_color():
    """CIEDE2000 of two smooth body colours against 380 to 780 nm: measured 0.07 at most for the default, 5.0 from 440 nm up."""

    def cost(curve, low_nm: float) -> float:
        labs = []
        for waves in (wavelength_set(24, "gauss", low_nm), wavelength_set(24, "gauss", 380.0, 780.0)):
            labs.append(xyz_to_lab(curve(waves.nodes_nm) @ color_weights(waves), white_xyz(waves)))
        return float(ciede2000(*labs))

    assert max(cost(curve, 400.0) for curve in (yellow, brown)) < 0.08
    assert 4.0 < min(cost(curve, 440.0) for curve in (yellow, brown)) < 6.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"number": 0}, "number = 0: out of range; expected 1 to 100"),
        ({"number": 16.0}, "number = 16.0: not a whole number; expected 1 to 100"),
        ({"number": True}, "number = True: not a whole number; expected 1 to 100"),
        ({"kind": "gaus"}, "kind = 'gaus': unknown kind of wavelength set; did you mean 'gauss'?"),
        ({"low_nm": 350.0}, "low_nm = 350.0: out of range; expected 380 to 770 nm"),
        ({"high_nm": 800.0}, "high_nm = 800.0: out of range; expected 410 to 780 nm"),
        ({"low_nm": 600.0, "high_nm": 605.0}, "high_nm = 605.0: out of range; expected 610 to 780 nm"),
    ],
)
def test_sets_that_make_no_sense_are_refused(arguments, message):
    with pytest.raises(InputError) as caught:
        wavelength_set(**arguments)
    assert str(caught.value) == message


def test_unknown_lights_and_wavelengths_beyond_the_tables_are_refused():
    with pytest.raises(InputError, match="did you mean 'D65'"):
        color_weights(wavelength_set(), "D56")
    with pytest.raises(InputError, match="380 to 780 nm"):
        observer([379.9])
    with pytest.raises(InputError, match="380 to 780 nm"):
        illuminant("A", [500.0, np.nan])
