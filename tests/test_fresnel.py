"""`fresnel` and the kernel behind it: shapes, limits, energy, and the Stokes numbers against complex amplitudes."""

import numpy as np
import pytest

from raylab.errors import InputError
from raylab.optics.fresnel import critical_angle_deg, fresnel, interface
from raylab.tracers.reference import amplitudes

ANGLES = np.linspace(0.0, 90.0, 181)


@pytest.mark.parametrize("shape", [(), (1,), (3, 4), (0,)])
def test_every_field_has_the_shape_of_the_angles(shape):
    assert {np.shape(column) for column in fresnel(np.full(shape, 30.0), 1.0, 1.5)} == {shape}


@pytest.mark.parametrize(("n_from", "n_to"), [(1.0, 1.31), (1.0, 2.417), (2.417, 1.0), (1.5, 1.3), (2.65, 1.0)])
def test_reflected_and_transmitted_power_add_up(n_from, n_to):
    """The transmittance is computed from the transmission amplitudes, not as a rest, so this can fail."""
    found = fresnel(ANGLES, n_from, n_to)
    assert np.max(np.abs(found.reflectance + found.transmittance - 1.0)) < 1e-13
    assert np.max(np.abs((found.reflectance_s + found.reflectance_p) / 2 - found.reflectance)) < 1e-15


def test_grazing_reflects_everything():
    for pair in ((1.0, 2.417), (2.417, 1.0)):
        found = fresnel(90.0, *pair)
        assert float(found.reflectance) == pytest.approx(1.0, abs=1e-12)
        assert float(found.transmittance) == pytest.approx(0.0, abs=1e-12)


def test_matched_index_lets_everything_through_undeviated():
    found = fresnel(ANGLES[:-1], 1.7, 1.7)
    assert found.reflectance.max() < 1e-24
    assert found.refraction_deg == pytest.approx(ANGLES[:-1], abs=1e-6)


def test_snell_and_its_reverse():
    inside = fresnel(ANGLES[:-1], 1.0, 2.417)
    assert np.sin(np.radians(inside.refraction_deg)) * 2.417 == pytest.approx(np.sin(np.radians(ANGLES[:-1])), abs=1e-12)
    back = fresnel(inside.refraction_deg[:-1], 2.417, 1.0)
    assert back.reflectance == pytest.approx(inside.reflectance[:-1], abs=1e-9)


def test_total_reflection_is_total_and_says_so():
    limit = critical_angle_deg(2.417)
    found = fresnel(np.array([limit - 0.01, limit + 0.01, 60.0]), 2.417, 1.0)
    assert np.isnan(found.refraction_deg).tolist() == [False, True, True]
    assert found.transmittance[1:].tolist() == [0.0, 0.0]
    assert found.reflectance_s[1:].tolist() == found.reflectance_p[1:].tolist() == [1.0, 1.0]
    assert found.phase_deg[0] == 0.0
    assert 0.0 < found.phase_deg[1] < found.phase_deg[2]


@pytest.mark.parametrize("n_rel", [1.0 / 2.417, 0.8, 1.3, 2.417])
def test_stokes_numbers_from_complex_amplitudes(n_rel):
    """a, b, c + i d = r_s conj(r_p) and the transmitted pair, against the reference tracer's amplitudes."""
    for cos_i in np.linspace(0.02, 1.0, 50):
        r_s, r_p, t_s, t_p, cos_t = amplitudes(float(cos_i), n_rel, 1.0)
        flow = max(0.0, cos_t.real) / (n_rel * cos_i) if cos_t.imag == 0.0 else 0.0
        passed = flow * abs(t_s) ** 2, flow * abs(t_p) ** 2
        R_s, R_p, turned = abs(r_s) ** 2, abs(r_p) ** 2, r_s * np.conj(r_p)
        expected = [(R_s + R_p) / 2, (R_s - R_p) / 2, turned.real, turned.imag, sum(passed) / 2, (passed[0] - passed[1]) / 2]
        assert np.array(interface(float(cos_i), n_rel))[:6] == pytest.approx(expected, abs=1e-12)


def test_a_reflection_keeps_light_physical():
    """a^2 = b^2 + c^2 + d^2: fully polarized light stays fully polarized."""
    for n_rel in (1.0 / 2.417, 2.417):
        for cos_i in np.linspace(0.01, 1.0, 100):
            a, b, c, d, *_ = interface(float(cos_i), n_rel)
            assert a * a == pytest.approx(b * b + c * c + d * d, abs=1e-14)


@pytest.mark.parametrize(
    ("angle", "n_from", "n_to"), [(-1, 1, 1.5), (90.1, 1, 1.5), (30, 0.9, 1.5), (30, 1, 11), (np.nan, 1, 1.5)]
)
def test_out_of_range_is_refused(angle, n_from, n_to):
    with pytest.raises(InputError, match="out of range"):
        fresnel(angle, n_from, n_to)


def test_critical_angle_of_no_interface_is_grazing():
    assert critical_angle_deg(1.0) == 90.0
    with pytest.raises(InputError):
        critical_angle_deg(0.5)
