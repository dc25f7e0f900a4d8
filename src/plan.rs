//! From the rig to the scene: what this light, lens, camera and flow will show. The only step between the two levels.

mod flow;

use motefield_evaluator::Processing;
use motefield_generator::medium::Medium;
use motefield_generator::optics::{self, Lens, photon_energy_j};
use motefield_generator::scattering::{Cone, Polarisation, Scatterer, Spread, collected_cross_section_m2_sr};
use motefield_generator::{Exposure, Scene, Sensor, Sheet};
use num_complex::Complex64;

use crate::quantity::{self, Dimension};
use crate::setup::{Extent, Setup, SetupError};
use flow::{Scale, flow};

/// A planned experiment.
#[derive(Debug, Clone)]
pub struct Plan {
    /// What the pictures will show.
    pub scene: Scene,
    /// How they will be correlated.
    pub processing: Processing,
    /// Pulse separation Δt, s, where the setup has a rig.
    pub separation_s: Option<f64>,
    /// Pulse length, s, where the setup has a rig.
    pub pulse_s: Option<f64>,
    /// Longest pulse that the separation and the exposures allow, s.
    pub longest_pulse_s: Option<f64>,
    /// Pixels a metre in the plane of the sheet, where the setup has a lens.
    pub px_per_m: Option<f64>,
    /// Everything worth telling, in the order of the way of the light.
    pub facts: Vec<Fact>,
}

/// One figure of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Fact {
    /// Heading under which it stands.
    pub part: &'static str,
    /// Name for machines, with its SI unit at the end.
    pub name: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Value in SI, or px and electrons.
    pub value: f64,
    /// Value for people.
    pub text: String,
}

#[derive(Default)]
struct Facts(Vec<Fact>);

impl Facts {
    fn quantity(
        &mut self,
        part: &'static str,
        name: &'static str,
        label: &'static str,
        value: f64,
        dimension: Dimension,
    ) {
        self.0.push(Fact {
            part,
            name,
            label,
            value,
            text: quantity::format(value, dimension),
        });
    }

    fn figure(
        &mut self,
        part: &'static str,
        name: &'static str,
        label: &'static str,
        value: f64,
        unit: &str,
    ) {
        let text = format!("{} {unit}", short(value)).trim_end().to_owned();
        self.0.push(Fact {
            part,
            name,
            label,
            value,
            text,
        });
    }
}

/// Three significant digits, or all before the point.
pub fn short(value: f64) -> String {
    let magnitude = value.abs();
    match magnitude {
        m if m == 0.0 || !m.is_finite() => format!("{value}"),
        m if m >= 1e6 || m < 1e-4 => format!("{value:.2e}"),
        m => format!("{value:.*}", (2 - m.log10().floor() as i32).max(0) as usize),
    }
}

const LIGHT: &str = "Light";
const IMAGE: &str = "Image";
const TIMING: &str = "Timing";
const TRACER: &str = "Tracer";

/// Thickness, px, of the sheet of a scene that names none: nothing but the scale of depth, for flows that do not change with it.
const USUAL_THICKNESS_PX: f64 = 10.0;

/// Plans the experiment of a setup.
///
/// # Errors
/// When the setup lacks what a figure needs, or a figure is out of range: names the keys and the remedy.
pub fn plan(setup: &Setup) -> Result<Plan, SetupError> {
    let mut facts = Facts::default();
    let size = setup.image.size.or(setup.camera.size).ok_or_else(|| {
        setup.error(
            "camera.size",
            "is missing: write for example size = [1024, 1024] under [camera] or [image]",
        )
    })?;
    let lens = rig_lens(setup, size)?;
    let px_per_m = lens.as_ref().map(|l| l.px_per_m);
    let scale = Scale {
        setup,
        px_per_m,
        separation_s: setup.separation_s,
    };
    if let Some(px_per_m) = px_per_m {
        facts.quantity(
            IMAGE,
            "field_width_m",
            "field of view, width",
            size[0] as f64 / px_per_m,
            Dimension::Length,
        );
        facts.quantity(
            IMAGE,
            "pixel_in_sheet_m",
            "one pixel in the sheet",
            1.0 / px_per_m,
            Dimension::Length,
        );
    }
    if let Some(l) = &lens {
        facts.figure(IMAGE, "magnification", "magnification", l.magnification, "");
    }

    let thickness_px = match setup.sheet.thickness {
        Some(thickness) => scale.extent(thickness, "sheet.thickness")?,
        None => USUAL_THICKNESS_PX,
    };
    let sheet = Sheet {
        profile: setup.sheet.profile,
        thickness_px,
        ..Sheet::default()
    };

    let diameter_px = match setup.image.particle_diameter_px {
        Some(diameter) => diameter,
        None => particle_image(setup, lens.as_ref(), &mut facts)?,
    };
    facts.figure(
        IMAGE,
        "particle_image_diameter_px",
        "particle image diameter (e^-2)",
        diameter_px,
        "px",
    );

    let seeding_ppp = match (setup.image.seeding_ppp, setup.tracer.concentration_m3) {
        (Some(ppp), _) => ppp,
        (None, Some(concentration)) => {
            let needs = "needs the sheet's thickness and the lens: give sheet.thickness, lens.magnification and camera.pixel, or image.seeding_density";
            let px_per_m = px_per_m.ok_or_else(|| setup.error("tracer.concentration", needs))?;
            concentration * (thickness_px / px_per_m) / (px_per_m * px_per_m)
        }
        (None, None) => {
            return Err(setup.error("image.seeding_density", "is missing: write for example seeding_density = \"0.02 ppp\" under [image], or concentration = \"10 /mm3\" under [tracer]"));
        }
    };
    facts.figure(
        IMAGE,
        "seeding_density_ppp",
        "seeding density",
        seeding_ppp,
        "ppp",
    );

    let fraction = pulse_fraction(setup)?;
    let flow = flow(setup, &scale, size, thickness_px)?;
    let exposure = match (setup.image.streak_px, fraction) {
        (Some(streak), _) => Exposure::Streak(streak),
        (None, fraction) => Exposure::Fraction(fraction.unwrap_or(0.0)),
    };
    let speeds = Speeds::of(size, flow.as_ref());
    let longest_streak_px = match exposure {
        Exposure::Fraction(f) => [f * speeds.fastest_px, 0.0],
        Exposure::Streak(streak) => streak,
    };
    let peak_share = middle_pixel_share(diameter_px, longest_streak_px);
    let electrons = match (setup.image.electrons, setup.image.peak_electrons) {
        (Some(electrons), _) => electrons,
        (None, Some(peak)) => peak / peak_share,
        (None, None) => light_chain(setup, lens.as_ref(), &mut facts)?,
    };
    facts.quantity(
        LIGHT,
        "electrons_e",
        "photo-electrons of a particle at sheet centre",
        electrons,
        Dimension::Electrons,
    );
    let sensor = sensor(setup);
    if let Some(sensor) = &sensor {
        let peak = electrons * peak_share;
        let background = setup.image.background_e.unwrap_or(0.0);
        let noise =
            (peak + background + sensor.dark_noise_e.powi(2) + 1.0 / (12.0 * sensor.gain_dn_per_e.powi(2)))
                .sqrt();
        facts.quantity(
            LIGHT,
            "peak_electrons_e",
            "pixel in the middle of its longest streak",
            peak,
            Dimension::Electrons,
        );
        facts.figure(
            LIGHT,
            "peak_snr",
            "its signal-to-noise ratio (EMVA 1288)",
            peak / noise,
            "",
        );
        facts.figure(
            LIGHT,
            "peak_share_of_full_well",
            "its share of the full well",
            (peak + background) / sensor.full_well_e,
            "",
        );
    }

    let scene = Scene {
        size,
        diameter_px,
        seeding_ppp,
        electrons,
        background_e: setup.image.background_e.unwrap_or(0.0),
        sheet,
        exposure,
        flow,
        sensor,
        ..Scene::default()
    };
    scene.validate().map_err(|e| {
        setup.error(
            scene_key(e.what),
            format!("gives a scene that cannot be rendered: {e}"),
        )
    })?;
    setup
        .processing
        .validate(size[0], size[1])
        .map_err(|e| setup.error("processing.passes", format!("cannot be used: {e}")))?;
    timing_facts(setup, &speeds, longest_streak_px, px_per_m, &mut facts);
    tracer_facts(setup, &mut facts)?;
    Ok(Plan {
        scene,
        processing: setup.processing.clone(),
        separation_s: setup.separation_s,
        pulse_s: setup.light.pulse_s,
        longest_pulse_s: longest_pulse_s(setup),
        px_per_m,
        facts: facts.0,
    })
}

/// The key to look at when the scene finds a quantity out of range.
fn scene_key(what: &str) -> &'static str {
    match what {
        "image size" => "camera.size",
        "particle image diameter" => "image.particle_diameter",
        "seeding density" => "image.seeding_density",
        "photo-electrons per particle" => "image.electrons",
        "background" => "image.background",
        "sheet thickness" => "sheet.thickness",
        "pulse length over pulse separation" => "light.pulse_length",
        "streak length" => "image.streak",
        "full-well capacity" => "camera.full_well",
        "dark noise" => "camera.dark_noise",
        "black level" => "camera.black_level",
        "camera gain" => "camera.gain",
        _ => "camera.bits",
    }
}

/// The lens with the camera behind it.
struct RigLens {
    magnification: f64,
    px_per_m: f64,
    pixel_m: f64,
}

fn rig_lens(setup: &Setup, size: [usize; 2]) -> Result<Option<RigLens>, SetupError> {
    let Some(pixel_m) = setup.camera.pixel_m else {
        return Ok(None);
    };
    let magnification = match (setup.lens.magnification, setup.lens.field_width_m) {
        (Some(m), _) => m,
        (None, Some(field)) => optics::magnification(field, size[0] as f64, pixel_m),
        (None, None) => return Ok(None),
    };
    Ok(Some(RigLens {
        magnification,
        px_per_m: magnification / pixel_m,
        pixel_m,
    }))
}

fn medium(setup: &Setup) -> Result<Option<Medium>, SetupError> {
    let Some((fluid, temperature_k)) = setup.fluid else {
        return Ok(None);
    };
    let wavelength_m = setup.light.wavelength_m.unwrap_or(532e-9);
    fluid.at(temperature_k, wavelength_m).map(Some).map_err(|e| {
        setup.error(
            if e.what == "wavelength" {
                "light.wavelength"
            } else {
                "fluid.temperature"
            },
            e,
        )
    })
}

/// What of a list of keys is missing, as an error about `key`.
fn missing(setup: &Setup, key: &str, needed: &[(&str, bool)]) -> SetupError {
    let lacking: Vec<&str> = needed
        .iter()
        .filter(|(_, there)| !there)
        .map(|(name, _)| *name)
        .collect();
    setup.error(
        key,
        format!(
            "is not given, and to compute it the rig lacks {}: give either",
            lacking.join(", ")
        ),
    )
}

fn optics_of(setup: &Setup, lens: &RigLens, medium: &Medium) -> Result<Option<Lens>, SetupError> {
    let Some(f_number) = setup.lens.f_number else {
        return Ok(None);
    };
    Lens::new(f_number, lens.magnification, medium.refractive_index)
        .map(Some)
        .map_err(|e| setup.error("lens.aperture", e))
}

/// Particle image diameter, px: geometric image, diffraction (both as the Gaussian of the same variance or light) and blur in
/// quadrature.
fn particle_image(setup: &Setup, lens: Option<&RigLens>, facts: &mut Facts) -> Result<f64, SetupError> {
    let medium = medium(setup)?;
    let (Some(lens), Some(f_number), Some(wavelength), Some(diameter), Some(medium)) = (
        lens,
        setup.lens.f_number,
        setup.light.wavelength_m,
        setup.tracer.diameter_m,
        medium,
    ) else {
        return Err(missing(
            setup,
            "image.particle_diameter",
            &[
                ("camera.pixel", setup.camera.pixel_m.is_some()),
                (
                    "lens.magnification",
                    setup.lens.magnification.or(setup.lens.field_width_m).is_some(),
                ),
                ("lens.aperture", setup.lens.f_number.is_some()),
                ("light.wavelength", setup.light.wavelength_m.is_some()),
                ("tracer.diameter", setup.tracer.diameter_m.is_some()),
                ("fluid.kind", setup.fluid.is_some()),
            ],
        ));
    };
    let optics = Lens::new(f_number, lens.magnification, medium.refractive_index)
        .map_err(|e| setup.error("lens.aperture", e))?;
    let (diffraction, geometric) = (
        optics.diffraction_diameter_m(wavelength),
        optics.geometric_diameter_m(diameter),
    );
    let blur = setup.lens.blur_m.unwrap_or(0.0);
    facts.quantity(
        IMAGE,
        "diffraction_diameter_m",
        "diffraction, e^-2 diameter on the sensor",
        diffraction,
        Dimension::Length,
    );
    facts.quantity(
        IMAGE,
        "geometric_diameter_m",
        "geometric image",
        geometric,
        Dimension::Length,
    );
    facts.quantity(
        IMAGE,
        "depth_of_field_m",
        "depth of field",
        optics.depth_of_field_m(wavelength),
        Dimension::Length,
    );
    Ok(optics::in_quadrature(&[diffraction, geometric, blur]) / lens.pixel_m)
}

/// Share of a particle image's light in the pixel on which the middle of its straight streak (x, y), px, stands: the mean along the
/// streak of the Gaussian's integral over that pixel, σ = d_τ/4 (Simpson's rule, 1e-6 for streaks to 100 px).
fn middle_pixel_share(diameter_px: f64, streak_px: [f64; 2]) -> f64 {
    const STEPS: usize = 2000;
    let width = 0.25 * diameter_px * std::f64::consts::SQRT_2;
    let line = |at: f64| 0.5 * (libm::erf((at + 0.5) / width) - libm::erf((at - 0.5) / width));
    let share = |k: usize| {
        let t = k as f64 / STEPS as f64 - 0.5;
        line(t * streak_px[0]) * line(t * streak_px[1])
    };
    let inner: f64 = (1..STEPS)
        .map(|k| share(k) * if k % 2 == 1 { 4.0 } else { 2.0 })
        .sum();
    (share(0) + inner + share(STEPS)) / (3.0 * STEPS as f64)
}

/// Photo-electrons of one particle at the centre of the sheet: pulse energy → fluence in the sheet → scattered into the lens's
/// cone → through the lens → photons → electrons.
fn light_chain(setup: &Setup, lens: Option<&RigLens>, facts: &mut Facts) -> Result<f64, SetupError> {
    let medium = medium(setup)?;
    let energy = match (
        setup.light.pulse_energy_j,
        setup.light.power_w,
        setup.light.pulse_s,
    ) {
        (Some(energy), _, _) => Some(energy),
        (None, Some(power), Some(pulse)) => Some(power * pulse),
        _ => None,
    };
    let thickness_m = match (setup.sheet.thickness, lens) {
        (Some(Extent::M(thickness)), _) => Some(thickness),
        (Some(Extent::Px(thickness)), Some(lens)) => Some(thickness / lens.px_per_m),
        _ => None,
    };
    let needed = (
        energy,
        thickness_m,
        setup.sheet.height_m,
        setup.light.wavelength_m,
        lens,
        setup.lens.f_number,
        setup.camera.quantum_efficiency,
        setup.tracer.diameter_m,
        setup.tracer.refractive_index,
        medium,
    );
    let (
        Some(energy),
        Some(thickness_m),
        Some(height_m),
        Some(wavelength),
        Some(lens),
        Some(_),
        Some(efficiency),
        Some(diameter),
        Some(index),
        Some(medium),
    ) = needed
    else {
        return Err(missing(
            setup,
            "image.electrons",
            &[
                (
                    "light.power (or light.pulse_energy)",
                    setup.light.power_w.or(setup.light.pulse_energy_j).is_some(),
                ),
                (
                    "light.pulse_length",
                    setup.light.pulse_s.or(setup.light.pulse_energy_j).is_some(),
                ),
                ("light.wavelength", setup.light.wavelength_m.is_some()),
                ("sheet.thickness", setup.sheet.thickness.is_some()),
                ("sheet.height", setup.sheet.height_m.is_some()),
                ("camera.pixel", setup.camera.pixel_m.is_some()),
                (
                    "camera.quantum_efficiency",
                    setup.camera.quantum_efficiency.is_some(),
                ),
                (
                    "lens.magnification",
                    setup.lens.magnification.or(setup.lens.field_width_m).is_some(),
                ),
                ("lens.aperture", setup.lens.f_number.is_some()),
                ("tracer.diameter", setup.tracer.diameter_m.is_some()),
                ("tracer.refractive_index", setup.tracer.refractive_index.is_some()),
                ("fluid.kind", setup.fluid.is_some()),
            ],
        ));
    };
    let optics = optics_of(setup, lens, &medium)?.expect("the aperture is there");
    let delivered = energy * setup.light.delivery.unwrap_or(1.0);
    let fluence = delivered / (height_m * thickness_m * setup.sheet.profile.effective_fraction());
    let spread = setup.tracer.diameter_spread.unwrap_or(0.1);
    let particle = Scatterer {
        diameter_m: diameter,
        spread: Spread::Flat(spread),
        index: Complex64::new(index, 0.0),
    };
    let cone = Cone {
        scattering_angle_rad: std::f64::consts::FRAC_PI_2,
        half_angle_rad: optics.half_angle_rad(),
        polarisation: Polarisation::Unpolarised,
    };
    let section = collected_cross_section_m2_sr(&particle, medium.refractive_index, wavelength, &cone)
        .map_err(|e| {
            setup.error(
                "tracer.diameter",
                format!("cannot be used for the light budget: {e}"),
            )
        })?;
    let collected = fluence * section * optics.solid_angle_sr() * setup.lens.transmission.unwrap_or(1.0);
    let photons = collected / photon_energy_j(wavelength);
    facts.quantity(
        LIGHT,
        "pulse_energy_j",
        "energy of a pulse",
        energy,
        Dimension::Energy,
    );
    facts.figure(
        LIGHT,
        "fluence_j_m2",
        "fluence at the sheet's centre",
        fluence,
        "J/m2",
    );
    facts.figure(
        LIGHT,
        "cross_section_m2_sr",
        "scattering into the lens, one particle (Mie)",
        section,
        "m2/sr",
    );
    facts.figure(
        LIGHT,
        "solid_angle_sr",
        "solid angle of the lens",
        optics.solid_angle_sr(),
        "sr",
    );
    facts.figure(
        LIGHT,
        "photons",
        "photons on the sensor from one particle",
        photons,
        "",
    );
    Ok(photons * efficiency)
}

fn pulse_fraction(setup: &Setup) -> Result<Option<f64>, SetupError> {
    if setup.image.pulse_fraction.is_some() || setup.image.streak_px.is_some() {
        return Ok(setup.image.pulse_fraction);
    }
    let Some(pulse) = setup.light.pulse_s else {
        return Ok(None);
    };
    let separation = setup.separation_s.ok_or_else(|| {
        setup.error("timing.separation", "is missing: the streak follows from light.pulse_length over it; write for example separation = \"2 ms\"")
    })?;
    let longest = longest_pulse_s(setup).unwrap_or(separation);
    if pulse > longest {
        let limit = quantity::format(longest, Dimension::Time);
        return Err(setup.error(
            "light.pulse_length",
            format!("is {}, longer than the {limit} that timing.separation, camera.dead_time and camera.exposure leave: shorten it or lengthen the separation", quantity::format(pulse, Dimension::Time)),
        ));
    }
    Ok(Some(pulse / separation))
}

/// Both pulses must end before the other exposure begins, and fit an exposure: T ≤ Δt − dead time, T ≤ exposure.
fn longest_pulse_s(setup: &Setup) -> Option<f64> {
    let separation = setup.separation_s?;
    let between = separation - setup.camera.dead_time_s.unwrap_or(0.0);
    Some(
        setup
            .camera
            .exposure_s
            .map_or(between, |exposure| between.min(exposure))
            .max(0.0),
    )
}

/// Camera figures of a setup that gives none: a common industrial 12-bit camera.
const USUAL: (u32, f64, f64) = (12, 12_000.0, 5.0);

fn sensor(setup: &Setup) -> Option<Sensor> {
    let camera = &setup.camera;
    if camera.ideal {
        return None;
    }
    let bits = camera.bits.map_or(USUAL.0, |bits| bits as u32);
    let full_well_e = camera.full_well_e.unwrap_or(USUAL.1);
    let dark_noise_e = camera.dark_noise_e.unwrap_or(USUAL.2);
    let gain_dn_per_e = camera
        .gain_dn_per_e
        .unwrap_or_else(|| Sensor::usual_gain_dn_per_e(bits, full_well_e, dark_noise_e));
    let black_level_dn = camera
        .black_level_dn
        .unwrap_or_else(|| Sensor::usual_black_level_dn(gain_dn_per_e, dark_noise_e));
    Some(Sensor {
        bits,
        gain_dn_per_e,
        full_well_e,
        dark_noise_e,
        black_level_dn,
        ..Sensor::default()
    })
}

fn timing_facts(
    setup: &Setup,
    speeds: &Speeds,
    longest_streak_px: [f64; 2],
    px_per_m: Option<f64>,
    facts: &mut Facts,
) {
    facts.figure(
        TIMING,
        "fastest_displacement_px",
        "fastest displacement in the field",
        speeds.fastest_px,
        "px",
    );
    facts.figure(
        TIMING,
        "mean_displacement_px",
        "mean displacement",
        speeds.mean_px,
        "px",
    );
    if let Some(separation) = setup.separation_s {
        facts.quantity(
            TIMING,
            "separation_s",
            "pulse separation (start to start)",
            separation,
            Dimension::Time,
        );
        if let Some(px_per_m) = px_per_m {
            facts.quantity(
                TIMING,
                "fastest_speed_m_s",
                "fastest speed in the field",
                speeds.fastest_px / px_per_m / separation,
                Dimension::Speed,
            );
        }
        if let Some(pulse) = setup.light.pulse_s {
            facts.quantity(TIMING, "pulse_s", "pulse length", pulse, Dimension::Time);
        }
        if let Some(longest) = longest_pulse_s(setup) {
            facts.quantity(
                TIMING,
                "longest_pulse_s",
                "longest pulse the exposures allow",
                longest,
                Dimension::Time,
            );
        }
    }
    let streak = longest_streak_px[0].hypot(longest_streak_px[1]);
    facts.figure(
        TIMING,
        "longest_streak_px",
        "longest streak in one pulse",
        streak,
        "px",
    );
}

fn tracer_facts(setup: &Setup, facts: &mut Facts) -> Result<(), SetupError> {
    let (Some(medium), Some(diameter_m), Some(density_kg_m3)) = (
        medium(setup)?,
        setup.tracer.diameter_m,
        setup.tracer.density_kg_m3,
    ) else {
        return Ok(());
    };
    let tracer = motefield_generator::medium::Tracer {
        diameter_m,
        density_kg_m3,
    };
    facts.quantity(
        TRACER,
        "response_time_s",
        "response time of the tracer",
        tracer.response_time_s(&medium),
        Dimension::Time,
    );
    facts.quantity(
        TRACER,
        "settling_velocity_m_s",
        "settling velocity",
        tracer.settling_velocity_m_s(&medium).abs(),
        Dimension::Speed,
    );
    Ok(())
}

/// How far the field moves between the pulses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Speeds {
    /// Mean length of the displacement over the picture, px.
    pub mean_px: f64,
    /// Mean over its fastest tenth, px.
    pub fast_px: f64,
    /// The longest, px.
    pub fastest_px: f64,
}

impl Speeds {
    /// Samples the truth on 33 × 33 points of the picture.
    pub fn of(size: [usize; 2], flow: &dyn motefield_generator::Flow) -> Speeds {
        const SIDE: usize = 33;
        let step = size.map(|n| (n as f64 - 1.0) / (SIDE as f64 - 1.0));
        let mut lengths: Vec<f64> = (0..SIDE * SIDE)
            .map(|k| {
                let (x, y) = ((k % SIDE) as f64 * step[0], (k / SIDE) as f64 * step[1]);
                let [dx, dy] = motefield_generator::truth::displacement(flow, x, y);
                dx.hypot(dy)
            })
            .collect();
        lengths.sort_by(|a, b| b.total_cmp(a));
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
        Speeds {
            mean_px: mean(&lengths),
            fast_px: mean(&lengths[..lengths.len().div_ceil(10)]),
            fastest_px: lengths[0],
        }
    }
}
