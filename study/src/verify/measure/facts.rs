//! What `plan` computes for a rig.

use super::{Figures, Measure, Request};
use motefield_evaluator::statistics::Estimate;

/// The figures of a plan by their names.
pub const PLAN: Measure = Measure {
    name: "plan",
    about: "figures of the plan of a rig, under the names that they have in its JSON",
    arguments: &[],
    figures: &[
        "pulse_energy_j",
        "fluence_j_m2",
        "cross_section_m2_sr",
        "solid_angle_sr",
        "photons",
        "electrons_e",
        "mean_electrons_e",
        "peak_electrons_e",
        "peak_grey_dn",
        "peak_snr",
        "peak_share_of_full_well",
        "diffraction_diameter_m",
        "geometric_diameter_m",
        "depth_of_field_m",
        "particle_image_diameter_px",
        "recorded_diameter_px",
        "seeding_density_ppp",
        "fastest_displacement_px",
        "longest_streak_px",
        "response_time_s",
        "settling_velocity_m_s",
    ],
    pictures: true,
    statistical: false,
    run,
};

fn run(request: &Request) -> Result<Figures, String> {
    let facts = &request.plan().facts;
    Ok(facts
        .iter()
        .map(|fact| (fact.id.as_str().to_owned(), Estimate::exact(fact.value)))
        .collect())
}
