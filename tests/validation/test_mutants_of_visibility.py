"""The kernel of the field of visibility with one line changed, in plain Python: the checks notice."""

from __future__ import annotations

import functools

import checks_visibility as visibility
import pytest
from broken_kernels import broken

RAYS = "sampled.visibility_rays"
CHAIN = ("ledger", "surface", "facet_search", "wedges", "voxels", RAYS)

spread = visibility.beams_spread_as_neighbouring_rays_do
down = functools.partial(visibility.straight_down, 64)
tinted = functools.partial(visibility.tinted, 64)

MUTANTS = {
    "cross-section outside": (RAYS, "tangential = cos_t / cos_i", "tangential = 1.0", spread),
    "spread as in air": (RAYS, "= 1.0 / (index * t), (cos", "= 1.0 / t, (cos", spread),
    "both widths alike": (RAYS, "(cos_i / cos_t) ** 2 / (index * t)", "1.0 / (index * t)", spread),
    "spread begins anew at each mirror": (RAYS, "count, along = count + 1, along + t", "count += 1", spread),
    "light of one exit only": (RAYS, "later += path[k, _LIGHT]", "later = path[k, _LIGHT]", down),
    "glare blocked too": (RAYS, "area * (light + later)", "area * later", down),
    "faint images counted": (RAYS, "if carried >= FAINT:", "if carried >= 0.1 * FAINT:", down),
    "paths that all end": (RAYS, "                stands = FAINT / i\n", "                break\n", tinted),
    "light that keeps its strength": (RAYS, "left * i, left * q", "i, left * q", tinted),
    "strength before the voxel": (RAYS, "math.exp(-absorption * middle)", "math.exp(-absorption * t)", tinted),
    "borders of voxels too far": ("voxels", "abs(1.0 / v)", "abs(1.5 / v)", spread),
    "way back in the wrong voxels": (RAYS, "k, tz = k + (1 if vz > 0.0 else -1)", "k, tz = k - 1", tinted),
    "nearest facet left out": ("wedges", "while place < end:", "while place < end - 1:", down),
}  # fmt: skip


@pytest.mark.parametrize("mutant", MUTANTS)
def test_mutant_is_caught(mutant, monkeypatch):
    module, line, instead, check = MUTANTS[mutant]
    with broken(CHAIN, module, line, instead) as kernel:
        monkeypatch.setattr(visibility.visibility_rays, "leave_in_voxels", kernel.leave_in_voxels)
        monkeypatch.setattr(visibility.visibility_sums, "leave_in_voxels", kernel.leave_in_voxels)
        assert check() > 1.0


def test_the_kernel_as_it_is_passes_in_plain_python(monkeypatch):
    """So that a mutant is noticed for its change, and not for how it is run."""
    with broken(CHAIN, "voxels", "COLUMNS = 8", "COLUMNS = 4") as kernel:  # of which no light knows
        monkeypatch.setattr(visibility.visibility_rays, "leave_in_voxels", kernel.leave_in_voxels)
        monkeypatch.setattr(visibility.visibility_sums, "leave_in_voxels", kernel.leave_in_voxels)
        assert max(spread(), down(), tinted()) <= 1.0
