"""Each check fails on broken physics: a check that no mutation can upset would be no check."""

from __future__ import annotations

import checks_averages as averages
import checks_awkward as awkward
import checks_bodies as bodies
import checks_energy as energy
import checks_faults as faults
import checks_geometry as geometry
import checks_inclusions as inclusions
import checks_interface as interface
import checks_materials as materials
import checks_scattering as scattering
import checks_sky as sky
import checks_symmetry as symmetry
import checks_tolkowsky as tolkowsky
import checks_visibility as visibility
import mutations as m
import pytest
from checks import every_check, fails

CAUGHT_BY = {
    m.swapped_indices: [
        interface.reflectances_against_tmm,
        interface.printed_tables_of_diamond,
        interface.amplitudes_of_the_textbook,
        interface.critical_angle,
        bodies.slab_energy,
    ],
    m.indices_off_by_a_thousandth: [interface.normal_incidence, interface.brewster, bodies.slab_printed],
    m.swapped_s_and_p: [interface.brewster, interface.at_45_degrees_p_is_s_squared],
    m.flipped_sign_of_p: [
        interface.phases_of_total_reflection,
        interface.largest_phase,
        interface.quarter_wave_in_one_reflection,
        symmetry.reference_and_rays_agree,
    ],
    m.dropped_phase: [interface.fresnel_rhomb, interface.quarter_wave_in_one_reflection, symmetry.reference_and_rays_agree],
    m.wrong_critical_angle: [interface.critical_angle, tolkowsky.tolkowsky_limits, symmetry.reference_and_rays_agree],
    m.lost_cosine: [
        energy.furnace,
        energy.ledger_closes,
        symmetry.reciprocity,
        awkward.awkward_rays_in_the_reference,
    ],
    m.dropped_polarization: [bodies.slab_printed, bodies.slab_absorbing_oblique, symmetry.reference_and_rays_agree],
    m.stuck_polarization: [bodies.slab_shortcut, bodies.slab_energy],
    m.bent_mirror: [
        bodies.roof_orders,
        bodies.cube_corner_returns,
        tolkowsky.tolkowsky_chain,
        faults.fish_eye_threshold,
        faults.table_reflection_in_two_dimensions,
        symmetry.reciprocity,
    ],
    m.flipped_normal: [bodies.slab_offset, bodies.prism_minimum_deviation, symmetry.reference_and_rays_agree],
    m.swapped_indices_in_kernel: [
        interface.reflectances_against_tmm,
        interface.textbook_refraction,
        averages.diffuse_reflectance,
        averages.diffuse_reflectance_in_print,
    ],
    m.lost_cosine_in_kernel: [interface.transmittance_against_tmm],
    m.index_off_by_a_hundredth: [
        bodies.roof_orders,
        bodies.prism_minimum_deviation,
        bodies.prism_in_print,
        bodies.prism_largest_apex,
        tolkowsky.tolkowsky_chain,
        tolkowsky.tolkowsky_limits,
        materials.other_materials_in_handbooks,
    ],
    m.no_dispersion: [
        materials.diamond_at_fraunhofer_lines,
        materials.diamond_sellmeier,
        materials.diamond_in_handbooks,
        materials.diamond_critical_angles,
        materials.dispersion_in_handbooks,
        materials.other_materials_from_the_database,
        tolkowsky.tolkowsky_dispersion,
    ],
    m.wrong_pages: [
        materials.diamond_on_its_page,
        materials.diamond_at_fraunhofer_lines,
        materials.other_materials_in_handbooks,
    ],
    m.wrong_densities: [
        materials.densities,
        geometry.weights_in_print,
        geometry.weight_rule_of_the_handbook,
        geometry.weights_in_a_lesson,
    ],
    m.weak_absorption: [bodies.slab_absorbing, bodies.slab_absorbing_oblique],
    m.even_for_overcast: [sky.overcast_luminances, sky.overcast_illuminances],
    m.mains_too_steep: [
        geometry.heights_in_print,
        geometry.depths_in_closed_form,
        tolkowsky.tolkowsky_heights,
        faults.fish_eye_of_the_handbook,
        faults.table_reflection_of_the_handbook,
    ],
    m.mains_too_flat: [faults.nail_head_of_the_handbook, geometry.heights_in_print],
    m.painted_halves: [
        geometry.volumes_in_print,
        geometry.volumes_of_a_round_girdle,
        geometry.slopes_in_print,
        geometry.scallops_in_print,
    ],
    m.diameter_over_all_directions: [geometry.measured_as_built, geometry.depths_in_closed_form],
    m.wrong_volume: [geometry.volumes_by_libraries, geometry.volumes_in_print],
    m.shift_forgotten: [symmetry.rigid_motion],
    m.scale_slightly_off: [symmetry.scale],
    m.length_over_half_width: [averages.hexagonal_prisms],
    m.swapped_indices_in_table: [
        averages.light_that_enters,
        averages.hexagonal_prisms,
        bodies.cube_corner_aperture,
        bodies.slab_diffuse,
        symmetry.reference_and_rays_agree,
    ],
    m.shifted_planes_in_table: [averages.mean_projected_area, averages.mean_chord, symmetry.reference_and_rays_agree],
    m.a_tenth_left_in_voxels: [
        visibility.path_in_bodies_without_trapped_light,
        visibility.path_in_cuboids,
        visibility.slab_looked_at_straight_down,
        visibility.beams_spread_as_neighbouring_rays_do,
        visibility.slab_looked_at_from_near,
        visibility.cube_corner_has_eight_images,
        visibility.field_tells_what_a_speck_takes,
        visibility.tinted_slab,
    ],
    m.missing_facet_in_table: [awkward.awkward_rays_are_kept, symmetry.reference_and_rays_agree],
    m.untraced_dropped: [energy.furnace_of_a_few, energy.ledger_closes, energy.bracket_contains],
    m.untraced_redistributed: [energy.upper_and_lower_halves, energy.bracket_contains],
    m.race_between_threads: [symmetry.thread_count],
    m.smaller_inclusions_in_table: [
        inclusions.tracers_agree,
        inclusions.disc_in_a_slab,
        inclusions.images_in_a_cube_corner,
        inclusions.shadow_in_parallel_light,
        inclusions.light_lost_to_a_faint_sphere,
    ],
    m.taken_light_not_absorbed: [inclusions.tracers_agree, inclusions.energy_closes],
    m.crossed_downward_only: [inclusions.tracers_agree, inclusions.reciprocity],
    m.less_albedo_in_table: [
        scattering.tracers_agree,
        scattering.slab_on_a_diffuse_floor,
        scattering.integrating_sphere,
        scattering.wall_from_outside,
    ],
    m.another_cosine_on_leaving: [scattering.reciprocity],
    m.rougher_in_table: [scattering.microfacets_by_quadrature, scattering.roughness_none_is_polished],
    m.mirrors_too_upright: [scattering.roughness_one_is_a_ball],
}

# Some pairs are missing by nature. Normal incidence can't tell the two indices apart; a slab's two faces make up for each
# other's lost cosine; and swapping s with p throughout leaves unpolarized light as it was (the duality of E and H).
PAIRS = [
    pytest.param(mutation, check, id=f"{mutation.__name__}-{check.__name__}")
    for mutation, all_ in CAUGHT_BY.items()
    for check in all_
]


@pytest.mark.filterwarnings("ignore:invalid value encountered:RuntimeWarning")  # from the broken physics
@pytest.mark.parametrize(("mutation", "check"), PAIRS)
def test_mutant_is_caught(mutation, check, monkeypatch):
    mutation(monkeypatch)
    assert fails(check)


def test_every_check_has_a_mutant():
    caught = {check for several in CAUGHT_BY.values() for check in several}
    assert every_check() - caught == set()
