//! Rigs whose particles do not scatter a sheet's light: microscopes and floats, against closed
//! forms.

use motefield_generator::pair::particle_image;
use motefield_generator::truth;
use motefield_rig::medium::diffusion_m2_s;
use motefield_rig::optics::depth_of_correlation;
use motefield_rig::plan::{FactId, Plan, plan};
use motefield_rig::setup::Setup;

const CHANNEL: &str = include_str!("../../../cases/microchannel.toml");
const FLOATS: &str = include_str!("../../../cases/river-floats.toml");

fn planned(text: &str, changes: &[(&str, &str)]) -> Plan {
    let setup = Setup::from_text("rig.toml", text, changes).unwrap_or_else(|e| panic!("{e}"));
    plan(&setup).unwrap_or_else(|e| panic!("{e}"))
}

fn figure(plan: &Plan, id: FactId) -> f64 {
    plan.figure(id).unwrap_or_else(|| panic!("no {}", id.as_str()))
}

fn close(got: f64, expected: f64, share: f64) {
    assert!((got / expected - 1.0).abs() < share, "{got} {expected}");
}

/// A sphere of 1 um in water of 20 degC, 1.0016 mPa s (IAPWS): kT/(3 pi mu d) = 4.29e-13 m2/s, by
/// hand.
#[test]
fn spheres_diffuse_as_einstein_says() {
    close(diffusion_m2_s(1e-6, 1.0016e-3, 293.15), 4.288e-13, 1e-3);
    // 0.5 um, 22 degC, 0.9544 mPa s: 9.06e-13 m2/s; root(2 D 2 ms) = 60.2 nm, 325 nm per pixel.
    let plan = planned(CHANNEL, &[]);
    close(
        figure(&plan, FactId::BrownianDisplacement),
        60.2e-9 / 325e-9,
        3e-3,
    );
    assert_eq!(
        plan.scene.population.brownian_px,
        figure(&plan, FactId::BrownianDisplacement)
    );
    // Averaged over those of the final window that count: 27.0 in 32 x 32 px, a fifth of them.
    let count = figure(&plan, FactId::ParticlesFinalWindow) * figure(&plan, FactId::ShareInCorrelation);
    close(
        figure(&plan, FactId::BrownianError),
        figure(&plan, FactId::BrownianDisplacement) / count.sqrt(),
        1e-9,
    );
    // Four times as long, twice as far.
    let longer = planned(
        CHANNEL,
        &[("timing.separation", "8 ms"), ("flow.velocity[0]", "0.2 mm/s")],
    );
    close(
        figure(&longer, FactId::BrownianDisplacement),
        2.0 * figure(&plan, FactId::BrownianDisplacement),
        1e-9,
    );
    let still = planned(CHANNEL, &[("tracer.brownian", "false")]);
    assert_eq!(still.scene.population.brownian_px, 0.0);
    assert_eq!(still.figure(FactId::BrownianDisplacement), None);
}

/// The closed form as it is usually printed: 2 [(1 - root e)/root e (f#^2 d_p^2 + 5.95 (M + 1)^2
/// lambda^2 f#^4/M^2)]^(1/2) (Olsen and Adrian, Exp. Fluids 29 (2000) S166; memory).
#[test]
fn depth_of_correlation_is_the_published_one() {
    for (m, f, d_p, wavelength, e) in [
        (20.0, 0.8, 0.5e-6, 607e-9, 0.01),
        (10.0, 1.9, 1e-6, 560e-9, 0.01),
        (40.0, 0.6, 0.2e-6, 612e-9, 0.05),
    ] {
        let d: f64 = m * m * d_p * d_p + 5.95 * (m + 1.0_f64).powi(2) * f64::powi(wavelength * f, 2);
        let got = depth_of_correlation(d.sqrt(), m * m / f / m, e);
        let root: f64 = f64::sqrt(e);
        let spread = f * f * d_p * d_p
            + 5.95 * (m + 1.0_f64).powi(2) * wavelength * wavelength * f64::powi(f, 4) / (m * m);
        close(got, 2.0 * ((1.0 - root) / root * spread).sqrt(), 1e-12);
    }
}

/// Rendered images off the plane in focus: the curvature of the peak of an image's own correlation,
/// R(0) ln(R(0)/R(1)) of the Gaussian through two of its values, falls to 1 % of that in focus at
/// the end of the depth of correlation that the plan tells. Within 3 %: pixels make the images'
/// shape a little other than Gaussian, whose widths enter to the fourth power.
#[test]
fn images_off_focus_weigh_what_the_depth_of_correlation_says() {
    let plan = planned(CHANNEL, &[("tracer.brownian", "false")]);
    let half = 0.5 * figure(&plan, FactId::DepthOfCorrelation);
    let rules = plan.rules();
    assert!(
        rules
            .iter()
            .all(|rule| rule.id != motefield_rig::plan::RuleId::DepthOfField)
    );
    assert!(half < 0.4 * plan.scene.sheet.thickness_px, "{half}");
    let weight = |z: f64| {
        let mut scene = plan.scene.clone();
        scene.exposure = motefield_generator::Exposure::Fraction(0.0);
        let image = particle_image(&scene, [127.5, 127.5, z]).unwrap();
        let product = |shift: usize| -> f64 {
            let (height, width) = image.dim();
            (0..height)
                .flat_map(|y| (0..width - shift).map(move |x| (y, x)))
                .map(|(y, x)| f64::from(image[[y, x]]) * f64::from(image[[y, x + shift]]))
                .sum()
        };
        product(0) * (product(0) / product(1)).ln()
    };
    let focus = weight(0.0);
    close(weight(half) / focus, 0.01, 0.03);
    // Half as far the weight is (1 + 9/4)^-2, by hand.
    close(weight(0.5 * half) / focus, 3.25_f64.powi(-2), 0.03);
    // The share of the lit depth inside it.
    let share = figure(&plan, FactId::ShareInCorrelation);
    close(share, 2.0 * half / plan.scene.sheet.thickness_px, 1e-9);
}

/// By hand: photons in the spot, of which a fifth of those on a sphere's cross-section is sent out
/// again over 4 pi sr, and the objective collects its cone.
#[test]
fn fluorescence_is_even_in_all_directions() {
    let plan = planned(CHANNEL, &[("tracer.diameter_spread", "0")]);
    let (h, c) = (6.626_070_15e-34, 299_792_458.0);
    let fluence = 0.2e-3 * 0.05 / (std::f64::consts::PI / 4.0 * 1e-3 * 1e-3);
    let received = fluence / (h * c / 532e-9) * std::f64::consts::PI / 4.0 * 0.5e-6 * 0.5e-6;
    // sin a = 0.5/n in water, 1.3326 against vacuum at 607 nm and 22 degC; Abbe's sine condition.
    let solid_angle = figure(&plan, FactId::SolidAngle);
    close(
        solid_angle,
        2.0 * std::f64::consts::PI * (1.0 - (1.0 - (0.5f64 / 1.3326).powi(2)).sqrt()),
        2e-4,
    );
    let collected = 0.2 * received * solid_angle / (4.0 * std::f64::consts::PI) * 0.6;
    close(figure(&plan, FactId::Photons), collected, 1e-9);
    close(plan.scene.electrons, 0.65 * collected, 1e-9);
    // Diffraction is that at the emission.
    let redder = planned(CHANNEL, &[("tracer.emission", "700 nm")]);
    let of = |plan: &Plan| figure(plan, FactId::DiffractionDiameter);
    close(of(&redder) / of(&plan), 700.0 / 607.0, 1e-9);
}

/// By hand: what falls on a float comes back over all directions by Lambert's law, at right angles
/// 1/pi of what comes back toward the light.
#[test]
fn dull_floats_throw_light_back() {
    let at = |angle: &str| {
        planned(
            FLOATS,
            &[("tracer.phase_angle", angle), ("tracer.diameter_spread", "0")],
        )
    };
    let (full, quarter) = (at("0 deg"), at("90 deg"));
    close(
        quarter.scene.electrons / full.scene.electrons,
        1.0 / std::f64::consts::PI,
        1e-9,
    );
    // 2/3 of the albedo times the cross-section over pi, at full phase.
    let section = figure(&full, FactId::CrossSection);
    close(section, 2.0 / 3.0 * 0.7 * 0.25 * 0.015 * 0.015, 1e-9);
    let longer = planned(FLOATS, &[("camera.exposure", "16 ms")]);
    let plain = planned(FLOATS, &[]);
    close(longer.scene.electrons / plain.scene.electrons, 2.0, 1e-9);
}

/// The scale that the plan tells at the edges is that of the true displacement there: a small step
/// along the edge, and one up the plane.
#[test]
fn the_plane_is_scaled_as_it_is_seen() {
    for (velocity, up) in [
        (["10 mm/s", "0 m/s", "0 m/s"], false),
        (["0 m/s", "10 mm/s", "w"], true),
    ] {
        let slope = 40.0_f64.to_radians().tan();
        let w = format!("{} mm/s", 10.0 * slope);
        let parts = velocity.map(|v| if v == "w" { w.as_str() } else { v });
        let list = format!("[\"{}\", \"{}\", \"{}\"]", parts[0], parts[1], parts[2]);
        let text = FLOATS.replace("displacement = \"10 px\"", "separation = \"10 ms\"");
        let plan = planned(&text, &[("flow.velocity", &list)]);
        let step_m = 10e-3 * 10e-3 * if up { (1.0 + slope * slope).sqrt() } else { 1.0 };
        for (id, y) in [(FactId::UpperScale, -0.5), (FactId::LowerScale, 479.5)] {
            let along = 1e3 * figure(&plan, id);
            let middle = 1e3 * figure(&plan, FactId::PixelsPerMm);
            let expected = match up {
                false => along,
                true => along * along / middle / (1.0 + slope * slope).sqrt(),
            };
            let [dx, dy] = truth::at(&plan.scene, 319.5, y).unwrap();
            let moved = if up { dy } else { dx };
            close(moved / step_m, expected, 1e-5);
        }
    }
}

#[test]
fn what_does_not_go_together_is_refused() {
    for (text, changes, words) in [
        (
            CHANNEL,
            &[("tracer.albedo", "0.5")][..],
            "tracer.albedo and tracer.fluorescence",
        ),
        (
            CHANNEL,
            &[("tracer.brightness", "mie")],
            "tracer.fluorescence takes the place of scattering",
        ),
        (
            FLOATS,
            &[("tracer.emission", "600 nm")],
            "tracer.emission says something only with tracer.fluorescence",
        ),
        (FLOATS, &[("sheet.height", "4 m")], "sheet.spot and sheet.height"),
        (
            FLOATS,
            &[("tracer.brownian", "true"), ("timing.displacement", "10 px")],
            "",
        ),
    ] {
        let read = Setup::from_text("rig.toml", text, changes).and_then(|setup| plan(&setup));
        match words {
            "" => assert!(read.is_ok()),
            _ => {
                let message = read.unwrap_err().to_string();
                assert!(message.contains(words), "{message}");
            }
        }
    }
    let bare = CHANNEL.replace("emission = \"607 nm\"", "");
    let message = Setup::from_text::<&str>("rig.toml", &bare, &[])
        .unwrap_err()
        .to_string();
    assert!(message.contains("tracer.emission is missing"), "{message}");
    let bare = CHANNEL
        .replace("fluorescence = 0.2 ", "#")
        .replace("emission = \"607 nm\"", "");
    let message = Setup::from_text::<&str>("rig.toml", &bare, &[])
        .unwrap_err()
        .to_string();
    assert!(
        message.contains("sheet.spot is for particles that fluoresce"),
        "{message}"
    );
}
