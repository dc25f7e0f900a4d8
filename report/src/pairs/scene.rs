//! Every parameter of a scene, as JSON: names end in their unit; what has none is a ratio.

use motefield_generator::population::{Brightness, Diameters};
use motefield_generator::{Exposure, ImagePattern, Population, Profile, PulseShape, Scene, Sheet};
use serde_json::{Value, json};

/// Every parameter of a scene.
pub(super) fn scene(scene: &Scene) -> Value {
    json!({
        "size_px": scene.size,
        "particle_diameter_px": scene.particle_diameter_px,
        "seeding_density_ppp": scene.seeding_density_ppp,
        "electrons_e": scene.electrons,
        "background_e": scene.background_e,
        "exposure": match scene.exposure {
            Exposure::Fraction(f) => json!({ "pulse_fraction": f }),
            Exposure::Streak(streak) => json!({ "streak_px": streak }),
        },
        "sheet": sheet(&scene.sheet),
        "light": light(scene),
        "population": population(&scene.population),
        "imaging": {
            "pattern": match scene.imaging.pattern {
                ImagePattern::Gaussian => "gaussian",
                ImagePattern::Airy => "airy",
            },
            "defocus_px_per_px": scene.imaging.defocus,
            "focus_px": scene.imaging.focus_px,
            "diameter_growth": scene.imaging.diameter_growth,
            "distance_px": scene.imaging.distance_px,
            "distortion": scene.imaging.distortion,
        },
        "camera": {
            "fill_factor": scene.camera.fill_factor,
            "parasitic_sensitivity": scene.camera.parasitic_sensitivity,
            "sensor": scene.camera.sensor,
        },
    })
}

fn profile(profile: Profile) -> Value {
    match profile {
        Profile::Gaussian => json!("gaussian"),
        Profile::TopHat => json!("top-hat"),
        Profile::SuperGaussian(order) => json!({ "super_gaussian_order": order }),
    }
}

fn sheet(sheet: &Sheet) -> Value {
    json!({
        "profile": profile(sheet.profile),
        "thickness_px": sheet.thickness_px,
        "slope": sheet.slope,
        "height": sheet.height.map(|(fall, height)| json!({ "profile": profile(fall), "height_px": height })),
    })
}

fn light(scene: &Scene) -> Value {
    let light = &scene.light;
    let pulses = [0, 1].map(|frame| {
        let pulse = &light.pulses[frame];
        json!({
            "energy_ratio": pulse.energy_ratio,
            "length_ratio": pulse.length_ratio,
            "offset_px": pulse.offset_px,
            "thickness_ratio": pulse.thickness_ratio,
            "shape": shape(&light.pulse_shapes[frame]),
        })
    });
    let reflections = &light.reflections;
    json!({
        "pulses": pulses,
        "jitter_separations": light.jitter,
        "ambient_e": light.ambient_e,
        "reflection_picture": reflections.picture.is_some(),
        "glare": reflections.glare.map(|glare| json!({
            "peak_e": glare.peak_e,
            "at_px": glare.at_px,
            "angle_rad": glare.angle_rad,
            "width_px": glare.width_px,
        })),
        "hot_spots": reflections.hot_spots.map(|spots| json!({
            "count": spots.count,
            "peak_e": spots.peak_e,
            "diameter_px": spots.diameter_px,
        })),
    })
}

fn shape(shape: &PulseShape) -> Value {
    match shape {
        PulseShape::Rectangular => json!("rectangular"),
        PulseShape::Gaussian => json!("gaussian"),
        PulseShape::Linear(pulse) => json!({ "time_lengths_and_power": pulse.points() }),
    }
}

fn population(population: &Population) -> Value {
    json!({
        "diameters": match population.diameters {
            Diameters::Same => json!("same"),
            Diameters::Normal(sd) => json!({ "normal_sd": sd }),
            Diameters::LogNormal(sd) => json!({ "log_normal_sd": sd }),
            Diameters::Flat(half) => json!({ "flat_half_width": half }),
        },
        "diameter_limits": population.diameter_limits,
        "brightness": match &population.brightness {
            Brightness::Power(power) => json!({ "power": power }),
            Brightness::Table(table) => json!({ "table": table.as_ref() }),
        },
        "geometric_diameter_px": population.geometric_diameter_px,
        "cluster_size": population.cluster_size,
        "cluster_radius_px": population.cluster_radius_px,
        "brownian_px": population.brownian_px,
        "gradient": population.gradient,
        "unseeded": population.unseeded.iter().map(|region| json!({
            "centre_px": region.centre_px,
            "radius_px": region.radius_px,
            "share": region.share,
        })).collect::<Vec<_>>(),
    })
}
