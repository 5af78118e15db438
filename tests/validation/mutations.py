"""Ways to break the physics, the stone or the book-keeping, each a function that patches the package for one test."""

from __future__ import annotations

import cmath
import dataclasses
import math
from typing import Any

import checks_averages
import numba
import numpy as np
import pytest

from raylab.lighting import dome
from raylab.optics import fresnel, materials
from raylab.optics.materials import Material
from raylab.stone.cuts import brilliant
from raylab.stone.cuts.cut import Cut
from raylab.stone.measuring import callipers
from raylab.stone.polyhedron import Polyhedron
from raylab.stone.stone import Stone
from raylab.tracers import ledger, microfacets, reference
from raylab.tracers import stone_table as tables
from raylab.tracers.sampled import rays, visibility_rays, visibility_sums

Patch = pytest.MonkeyPatch


# Fresnel's equations of the reference tracer.


def _amplitudes(patch: Patch, change: Any) -> None:
    """Replace r_s, r_p, t_s, t_p, cos_t by change(true function, cos_i, n_from, n_to)."""
    true = reference.amplitudes
    patch.setattr(reference, "amplitudes", lambda *given: change(true, *given))


def swapped_indices(patch: Patch) -> None:
    _amplitudes(patch, lambda true, cos_i, n_from, n_to: true(cos_i, n_to, n_from))


def indices_off_by_a_thousandth(patch: Patch) -> None:
    _amplitudes(patch, lambda true, cos_i, n_from, n_to: true(cos_i, n_from, 1.001 * n_to))


def swapped_s_and_p(patch: Patch) -> None:
    def change(true: Any, *given: float) -> Any:
        r_s, r_p, t_s, t_p, cos_t = true(*given)
        return r_p, r_s, t_p, t_s, cos_t

    _amplitudes(patch, change)


def flipped_sign_of_p(patch: Patch) -> None:
    def change(true: Any, *given: float) -> Any:
        r_s, r_p, t_s, t_p, cos_t = true(*given)
        return r_s, -r_p, t_s, t_p, cos_t

    _amplitudes(patch, change)


def dropped_phase(patch: Patch) -> None:
    """Total reflection without its phase."""

    def change(true: Any, *given: float) -> Any:
        r_s, r_p, t_s, t_p, cos_t = true(*given)
        return (abs(r_s), abs(r_p), t_s, t_p, cos_t) if cos_t.imag else (r_s, r_p, t_s, t_p, cos_t)

    _amplitudes(patch, change)


def wrong_critical_angle(patch: Patch) -> None:
    """Total reflection declared a little too early."""

    def change(true: Any, cos_i: float, n_from: float, n_to: float) -> Any:
        early = n_from / n_to * math.sqrt(max(0.0, 1.0 - cos_i * cos_i)) > 0.99
        return (1.0, 1.0, 0.0, 0.0, 1e-9j) if early else true(cos_i, n_from, n_to)

    _amplitudes(patch, change)


def lost_cosine(patch: Patch) -> None:
    """Transmitted power without the ratio of cosines."""

    def change(true: Any, cos_i: float, *indices: float) -> Any:
        r_s, r_p, t_s, t_p, cos_t = true(cos_i, *indices)
        lost = cmath.sqrt(cos_i / cos_t) if cos_t else 0.0
        return r_s, r_p, t_s * lost, t_p * lost, cos_t

    _amplitudes(patch, change)


def dropped_polarization(patch: Patch) -> None:
    true = reference.trace_path
    patch.setattr(reference, "trace_path", lambda *given, **options: true(*given, **{**options, "polarized": False}))


def stuck_polarization(patch: Patch) -> None:
    """`polarized=False` ignored."""
    true = reference.trace_path
    patch.setattr(reference, "trace_path", lambda *given, **options: true(*given, **{**options, "polarized": True}))


def bent_mirror(patch: Patch) -> None:
    """Reflected light leaves a hair off the mirror direction."""
    true = reference._split

    def split(coherency: Any, ray: Any, normal: Any, *rest: Any) -> Any:
        reflected, mirrored, passed, refracted = true(coherency, ray, normal, *rest)
        bent = mirrored + 0.002 * normal
        return reflected, bent / np.linalg.norm(bent), passed, refracted

    patch.setattr(reference, "_split", split)


def flipped_normal(patch: Patch) -> None:
    """The entry facet's normal taken with the wrong sign in refraction."""
    true = reference._split

    def split(coherency: Any, ray: Any, normal: Any, *rest: Any) -> Any:
        reflected, mirrored, passed, refracted = true(coherency, ray, normal, *rest)
        return reflected, mirrored, passed, None if refracted is None else refracted - 2.0 * (refracted @ normal) * normal

    patch.setattr(reference, "_split", split)


# The same in the kernel behind `fresnel`.


def _kernel(patch: Patch, change: Any) -> None:
    true = fresnel._interface_over
    patch.setattr(fresnel, "_interface_over", lambda cos_i, n_rel, out: change(true, cos_i, n_rel, out))


def swapped_indices_in_kernel(patch: Patch) -> None:
    _kernel(patch, lambda true, cos_i, n_rel, out: true(cos_i, 1.0 / n_rel, out))


def lost_cosine_in_kernel(patch: Patch) -> None:
    def change(true: Any, cos_i: np.ndarray, n_rel: float, out: np.ndarray) -> None:
        true(cos_i, n_rel, out)
        out[:, 4] *= cos_i / np.where(out[:, 6] > 0.0, out[:, 6], 1.0)

    _kernel(patch, change)


# Materials.


def _index(patch: Patch, change: Any) -> None:
    true = Material.n
    patch.setattr(Material, "n", lambda self, wavelength_nm: change(true, self, wavelength_nm))


def index_off_by_a_hundredth(patch: Patch) -> None:
    _index(patch, lambda true, self, nm: true(self, nm) * 1.01)


def no_dispersion(patch: Patch) -> None:
    _index(patch, lambda true, self, nm: true(self, np.full_like(nm, 589.3, dtype=float)))


def wrong_pages(patch: Patch) -> None:
    """Every database material looks up another one's page."""
    rows = list(materials._DATABASE.values())
    others = [row._replace(page=other.page) for row, other in zip(rows, rows[1:] + rows[:1], strict=True)]
    patch.setattr(materials, "_DATABASE", dict(zip(materials._DATABASE, others, strict=True)))


def wrong_densities(patch: Patch) -> None:
    heavier = {name: row._replace(density_g_cm3=1.05 * row.density_g_cm3) for name, row in materials._DATABASE.items()}
    patch.setattr(materials, "_DATABASE", heavier)


def weak_absorption(patch: Patch) -> None:
    true = Material.absorption_per_mm
    patch.setattr(Material, "absorption_per_mm", lambda self, nm: 0.9 * true(self, nm))


def even_for_overcast(patch: Patch) -> None:
    patch.setitem(dome._SKIES, "overcast", dome.EVEN)


# Inclusions.


def smaller_inclusions_in_table(patch: Patch) -> None:
    true = tables.inclusion_table

    def change(inclusions: Any) -> Any:
        return true([one.moved(np.eye(3), 0.05 * np.array(one.center_mm), 0.95) for one in inclusions])

    patch.setattr(tables, "inclusion_table", change)


def taken_light_not_absorbed(patch: Patch) -> None:
    def change(out: np.ndarray) -> None:
        out[:, ledger.ABSORBED] -= out[:, ledger.INCLUDED]

    _rows(patch, change)


def crossed_downward_only(patch: Patch) -> None:
    true = reference.crosses
    patch.setattr(reference, "crosses", lambda start, end, shape: end[2] < start[2] and true(start, end, shape))


# Scattering.


def less_albedo_in_table(patch: Patch) -> None:
    _table(patch, lambda table: table._replace(amount=0.9 * table.amount))


def another_cosine_on_leaving(patch: Patch) -> None:
    def change(out: np.ndarray) -> None:
        out[:, ledger.LUMINANCE] *= np.maximum(out[:, ledger.SOURCE_Z], 0.0)

    _rows(patch, change)


def rougher_in_table(patch: Patch) -> None:
    _table(patch, lambda table: table._replace(amount=np.minimum(table.amount + 0.1, 1.0)))


def mirrors_too_upright(patch: Patch) -> None:
    true = microfacets.visible_normal
    patch.setattr(microfacets, "visible_normal", lambda *given: np.array(true(*given[:6], 0.9 * given[6], *given[7:])))


# Stone and measurement.


def _proportions(patch: Patch, **changes: float) -> None:
    """Build brilliants with some proportions changed by so much."""
    true = Cut.settled

    def settled(self: Cut, given: Any) -> Any:
        values = true(self, given)
        return {**values, **{key: values[key] + by for key, by in changes.items()}}

    patch.setattr(Cut, "settled", settled)


def mains_too_steep(patch: Patch) -> None:
    _proportions(patch, crown_angle_deg=1.0, pavilion_angle_deg=2.0)


def mains_too_flat(patch: Patch) -> None:
    _proportions(patch, crown_angle_deg=-1.0, pavilion_angle_deg=-2.0)


def painted_halves(patch: Patch) -> None:
    """Halves steeper than their azimuth asks for."""
    true = brilliant.Joint.halves

    def halves(self: brilliant.Joint, *given: Any) -> Any:
        return tuple(half._replace(tangent=1.05 * half.tangent) for half in true(self, *given))

    patch.setattr(brilliant.Joint, "halves", halves)


def diameter_over_all_directions(patch: Patch) -> None:
    """Percentages of the outline's perimeter over pi instead of the girdle circle."""
    true = callipers.Callipers._diameter

    def diameter(self: Any) -> Any:
        sides = np.linalg.norm(np.roll(self.outline, -1, axis=0) - self.outline, axis=1)
        return dataclasses.replace(true(self), mean=float(sides.sum() / math.pi))

    patch.setattr(callipers.Callipers, "_diameter", diameter)


def wrong_volume(patch: Patch) -> None:
    true = Polyhedron.volume
    patch.setattr(Polyhedron, "volume", lambda self, distances: true(self, distances) * 1.0001)


def shift_forgotten(patch: Patch) -> None:
    patch.setattr(Stone, "moved", lambda self, turn, shift: dataclasses.replace(self, normals=self.normals @ turn.T))


def scale_slightly_off(patch: Patch) -> None:
    patch.setattr(Stone, "scaled", lambda self, by: dataclasses.replace(self, distances_mm=self.distances_mm * by * 1.0001))


def length_over_half_width(patch: Patch) -> None:
    """Hexagonal prisms whose aspect ratio is read as length over the side instead of over the width."""
    true = checks_averages.hexagonal_prism
    patch.setattr(checks_averages, "hexagonal_prism", lambda aspect, n: true(aspect / 2.0, n))


# What the packet tracer is given and what it hands back.


def _table(patch: Patch, change: Any) -> None:
    """Change the lowered stone; averages over isotropic light are traced afresh."""
    true = tables.stone_table
    patch.setattr(tables, "stone_table", lambda *given: change(true(*given)))
    patch.setattr(checks_averages, "_isotropic", checks_averages._isotropic.__wrapped__)


def swapped_indices_in_table(patch: Patch) -> None:
    _table(patch, lambda table: table._replace(medium=table.medium._replace(n=1.0 / table.medium.n)))


def shifted_planes_in_table(patch: Patch) -> None:
    _table(patch, lambda table: table._replace(planes=table.planes * [1.0, 1.0, 1.0, 1.05]))


def missing_facet_in_table(patch: Patch) -> None:
    """A hole where the last of the main facets was."""

    def change(table: Any) -> Any:
        rest = [row for row in range(len(table.planes)) if row != table.sloping - 1]
        return table._replace(
            planes=np.ascontiguousarray(table.planes[rest]),
            sloping=table.sloping - 1,
            facet=table.facet[rest],
            finish=table.finish[rest],
            amount=table.amount[rest],
        )

    _table(patch, change)


def a_tenth_left_in_voxels(patch: Patch) -> None:
    """Of what rays leave in the field of visibility; finer faults of its kernel are in `test_mutants_of_visibility`."""
    true = visibility_rays.leave_in_voxels

    def leave_in_voxels(*given: Any) -> None:
        *others, sums, totals = given
        left = np.zeros_like(sums)
        true(*others, left, totals)
        sums += 0.1 * left

    for module in (visibility_rays, visibility_sums):
        patch.setattr(module, "leave_in_voxels", leave_in_voxels)


def _rows(patch: Patch, change: Any) -> None:
    """Change the rows (R, CHANNELS) in place after they were traced."""
    true = rays.trace_rays

    def trace_rays(*given: Any, **options: Any) -> Any:
        out, hit, segments = true(*given, **options)
        change(out)
        return out, hit, segments

    patch.setattr(rays, "trace_rays", trace_rays)


def untraced_dropped(patch: Patch) -> None:
    def change(out: np.ndarray) -> None:
        out[:, ledger.UNTRACED] = 0.0

    _rows(patch, change)


def untraced_redistributed(patch: Patch) -> None:
    """What is left is shared out in proportion, as if it were known."""

    def change(out: np.ndarray) -> None:
        out[:, : ledger.UNTRACED] /= 1.0 - np.minimum(out[:, [ledger.UNTRACED]], 0.9)

    _rows(patch, change)


def race_between_threads(patch: Patch) -> None:
    def change(out: np.ndarray) -> None:
        out[:, ledger.LUMINANCE] += 1e-15 * numba.get_num_threads()

    _rows(patch, change)
