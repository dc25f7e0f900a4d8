//! `[lens]` with the camera behind it: scale, particle image, imaging.

use crate::keys;
use crate::medium::Medium;
use crate::optics::{self, Lens};
use motefield_generator::{Imaging, Scene};

use super::facts::{FactId, Facts, short};
use super::flow::Scale;
use super::fluid::medium;
use super::missing;
use crate::quantity::Dimension;
use crate::setup::{Setup, SetupError, ThinLens};

/// The lens with the camera behind it.
#[derive(Debug, Clone)]
pub(super) struct RigLens {
    pub(super) magnification: f64,
    pub(super) px_per_m: f64,
    pub(super) pixel_m: f64,
}

/// The lens and camera of a setup; `None` where it says too little.
pub(super) fn rig_lens(setup: &Setup, size: [usize; 2]) -> Option<RigLens> {
    let pixel_m = setup.camera.pixel_m?;
    let of_field = |field| optics::magnification(field, size[0] as f64, pixel_m);
    let magnification = setup
        .lens
        .magnification
        .or(setup.lens.field_width_m.map(of_field))
        .or(setup.lens.thin.map(ThinLens::magnification))?;
    Some(RigLens {
        magnification,
        px_per_m: magnification / pixel_m,
        pixel_m,
    })
}

pub(super) fn optics_of(setup: &Setup, lens: &RigLens, medium: &Medium) -> Result<Option<Lens>, SetupError> {
    let Some(f_number) = f_number(setup, lens.magnification) else {
        return Ok(None);
    };
    let key = match setup.lens.aperture {
        Some(_) => keys::lens::APERTURE,
        None => keys::lens::NUMERICAL_APERTURE,
    };
    Lens::new(f_number, lens.magnification, medium.refractive_index)
        .map(Some)
        .map_err(|e| setup.error(key, e))
}

/// The f-number for far objects, as stated or by the numerical aperture: Abbe's sine condition
/// makes that M/(2 f# (M + 1)).
fn f_number(setup: &Setup, magnification: f64) -> Option<f64> {
    let of_numerical = |aperture: f64| magnification / (2.0 * aperture * (magnification + 1.0));
    setup
        .lens
        .aperture
        .or(setup.lens.numerical_aperture.map(of_numerical))
}

/// What the rig's lens makes of a particle: the parts of its image's e⁻² diameter, m on the sensor.
#[derive(Debug, Clone)]
pub(super) struct ParticleImage {
    pub(super) optics: Lens,
    pub(super) wavelength_m: f64,
    pub(super) geometric_m: f64,
    pub(super) diffraction_m: f64,
    pub(super) blur_m: f64,
    pub(super) pixel_m: f64,
}

impl ParticleImage {
    /// `None` where the rig says too little.
    pub(super) fn of(setup: &Setup, lens: Option<&RigLens>) -> Result<Option<ParticleImage>, SetupError> {
        let (Some(lens), Some(wavelength_m), Some(diameter), Some(medium)) = (
            lens,
            setup.seen_wavelength_m(),
            setup.tracer.diameter_m,
            medium(setup)?,
        ) else {
            return Ok(None);
        };
        let image = |optics: Lens| ParticleImage {
            optics,
            wavelength_m,
            geometric_m: optics.geometric_diameter_m(diameter),
            diffraction_m: optics.diffraction_diameter_m(wavelength_m),
            blur_m: setup.lens.blur_m.unwrap_or(0.0),
            pixel_m: lens.pixel_m,
        };
        Ok(optics_of(setup, lens, &medium)?.map(image))
    }

    /// Particle image diameter, px: geometric image, diffraction (both as the Gaussian of the same
    /// variance or light) and blur in quadrature.
    pub(super) fn diameter_px(&self) -> f64 {
        optics::in_quadrature(&[self.diffraction_m, self.geometric_m, self.blur_m]) / self.pixel_m
    }

    pub(super) fn depth_of_field_m(&self) -> f64 {
        self.optics.depth_of_field_m(self.wavelength_m)
    }
}

/// What the rig lacks for its particle image.
pub(super) fn lacking(setup: &Setup) -> SetupError {
    missing(
        setup,
        keys::image::PARTICLE_DIAMETER,
        &[
            &[keys::camera::PIXEL],
            &[
                keys::lens::MAGNIFICATION,
                keys::lens::FIELD_WIDTH,
                keys::lens::FOCAL_LENGTH,
            ],
            &[keys::lens::APERTURE, keys::lens::NUMERICAL_APERTURE],
            &[keys::light::WAVELENGTH, keys::light::SPECTRUM],
            &[keys::tracer::DIAMETER],
            &[keys::fluid::KIND],
        ],
    )
}

/// Tells the scale of the picture, and the aperture at it.
pub(super) fn scale_facts(setup: &Setup, lens: &RigLens, size: [usize; 2], facts: &mut Facts) {
    let length = |facts: &mut Facts, id, value| {
        facts.quantity(id, value, Dimension::Length);
    };
    let how = setup.lens.thin.map_or(String::new(), |thin| {
        let [focal, distance] =
            [thin.focal_length_m, thin.distance_m].map(|m| super::facts::show(m, Dimension::Length));
        format!("focal length {focal} / (distance {distance} - {focal})")
    });
    facts
        .figure(FactId::Magnification, lens.magnification, "")
        .how(how);
    length(facts, FactId::PixelInSheet, 1.0 / lens.px_per_m);
    facts.figure(FactId::PixelsPerMm, 1e-3 * lens.px_per_m, "px");
    let [width, height] = size.map(|n| n as f64 / lens.px_per_m);
    length(facts, FactId::FieldWidth, width);
    length(facts, FactId::FieldHeight, height);
    if let Some(f_number) = f_number(setup, lens.magnification) {
        let working = f_number * (lens.magnification + 1.0);
        facts
            .quantity(FactId::WorkingFNumber, working, Dimension::Aperture)
            .how(format!(
                "f/{} as engraved x (M + 1): what the sensor sees",
                short(f_number)
            ));
    }
}

/// Tells the scale at the picture's edges of a plane that leans and is seen in perspective: at the
/// distance q from the middle along a tilt of slope s, a camera at the distance D shows lengths
/// along the edge larger by 1 + s q/D, and lengths up the plane by its square over √(1 + s²) (by
/// hand from the central projection).
pub(super) fn oblique_facts(scene: &Scene, px_per_m: f64, facts: &mut Facts) {
    let Some(distance_px) = scene.imaging.distance_px else {
        return;
    };
    let ids = [
        [FactId::LeftScale, FactId::RightScale],
        [FactId::UpperScale, FactId::LowerScale],
    ];
    for (axis, ids) in ids.into_iter().enumerate() {
        let slope = scene.sheet.slope[axis];
        if slope == 0.0 {
            continue;
        }
        for (side, id) in [-0.5, 0.5].into_iter().zip(ids) {
            let nearer = 1.0 + slope * side * scene.size[axis] as f64 / distance_px;
            let up = nearer * nearer / (1.0 + slope * slope).sqrt();
            facts.figure(id, 1e-3 * px_per_m * nearer, "px").how(format!(
                "along the edge; {} px up the plane",
                short(1e-3 * px_per_m * up)
            ));
        }
    }
}

/// Tells of what the particle image consists: each part's e⁻² diameter; the squares add.
pub(super) fn image_facts(
    image: Option<&ParticleImage>,
    scene: &Scene,
    thickness_m: Option<f64>,
    facts: &mut Facts,
) {
    if let Some(image) = image {
        let mut part = |id, value: f64, how: &str| {
            let px = format!("{} px on the sensor: {how}", short(value / image.pixel_m));
            facts.quantity(id, value, Dimension::Length).how(px);
        };
        part(
            FactId::GeometricDiameter,
            image.geometric_m,
            "magnification x particle diameter",
        );
        part(
            FactId::DiffractionDiameter,
            image.diffraction_m,
            "1.80 f# (M + 1) x wavelength, the Gaussian of the same peak and light",
        );
        part(FactId::BlurDiameter, image.blur_m, "as stated (lens.blur)");
    }
    facts
        .figure(FactId::ParticleImageDiameter, scene.particle_diameter_px, "px")
        .how(if image.is_some() {
            "root of the sum of their squares"
        } else {
            "as stated"
        });
    let fill = scene.camera.fill_factor;
    facts
        .figure(FactId::PixelDiameter, (16.0 * fill / 12.0).sqrt(), "px")
        .how("4 standard deviations of the pixel's sensitive square");
    facts
        .figure(FactId::RecordedDiameter, recorded_diameter_px(scene), "px")
        .how("root of the sum of the squares of these two, in the plane in focus, across the streak");
    if let Some(image) = image {
        depth_facts(image, scene, thickness_m, facts);
    }
    correlation_facts(scene, thickness_m, facts);
}

/// Weight of a particle image at the ends of the depth of correlation, over one in focus (Olsen and
/// Adrian 2000; memory).
const LEAST_WEIGHT: f64 = 0.01;

/// Tells the depth of correlation, where images grow out of focus.
fn correlation_facts(scene: &Scene, thickness_m: Option<f64>, facts: &mut Facts) {
    let growth = scene.imaging.defocus;
    if growth == 0.0 {
        return;
    }
    let depth_px = optics::depth_of_correlation(recorded_diameter_px(scene), growth, LEAST_WEIGHT);
    let thickness_px = scene.sheet.thickness_px;
    let lab = thickness_m.map_or(String::new(), |m| {
        let depth_m = depth_px * m / thickness_px;
        format!("{} in the lab: ", super::facts::show(depth_m, Dimension::Length))
    });
    facts
        .figure(FactId::DepthOfCorrelation, depth_px, "px")
        .how(format!("{lab}2 x recorded diameter / growth x root((1 - root e) / root e), e = 0.01: beyond it an image weighs less than e of one in focus"));
    let focus = scene.imaging.focus_px;
    let end = |side: f64| (side * 0.5 * depth_px + focus).clamp(-0.5 * thickness_px, 0.5 * thickness_px);
    facts
        .figure(
            FactId::ShareInCorrelation,
            (end(1.0) - end(-1.0)) / thickness_px,
            "",
        )
        .how("the rest are images out of focus, a background to the others");
}

/// Tells the depth of field, and the blur at the sheet's edge.
fn depth_facts(image: &ParticleImage, scene: &Scene, thickness_m: Option<f64>, facts: &mut Facts) {
    let depth = image.depth_of_field_m();
    let thickness = thickness_m.map_or(String::new(), |m| {
        format!(
            "; the sheet is {} thick",
            super::facts::show(m, Dimension::Length)
        )
    });
    facts
        .quantity(FactId::DepthOfField, depth, Dimension::Length)
        .how(format!("2 n f# x first dark ring x (M + 1) / M^2{thickness}"));
    if let Some(thickness_m) = thickness_m {
        let px_per_m = image.optics.magnification() / image.pixel_m;
        let edge_m = 0.5 * thickness_m + (scene.imaging.focus_px / px_per_m).abs();
        let disc = image.optics.defocus_diameter_m(edge_m) / image.pixel_m;
        let rendered = if scene.imaging.defocus > 0.0 {
            ""
        } else {
            " (not in the pictures: lens.defocus is off)"
        };
        facts
            .figure(FactId::DefocusAtEdge, disc, "px")
            .how(format!("disc that adds to the diameter there{rendered}"));
    }
}

/// e⁻² diameter of a particle image from the moments of its pixels: the pixel's square adds its own
/// variance, 1/12 of its sensitive area.
pub(super) fn recorded_diameter_px(scene: &Scene) -> f64 {
    (scene.particle_diameter_px.powi(2) + 16.0 * scene.camera.fill_factor / 12.0).sqrt()
}

/// How the particles are pictured, and the part of their diameter that is their geometric image,
/// px.
pub(super) fn imaging(
    setup: &Setup,
    scale: &Scale,
    lens: Option<&RigLens>,
) -> Result<(Imaging, f64), SetupError> {
    let defocus = match (setup.image.defocus, setup.lens.defocus) {
        (Some(defocus), _) => defocus,
        (None, false) => 0.0,
        (None, true) => {
            let optics = match (lens, medium(setup)?) {
                (Some(lens), Some(medium)) => optics_of(setup, lens, &medium)?.zip(Some(lens)),
                _ => None,
            };
            let (optics, lens) = optics.ok_or_else(|| {
                missing(
                    setup,
                    keys::image::DEFOCUS,
                    &[
                        &[keys::camera::PIXEL],
                        &[
                            keys::lens::MAGNIFICATION,
                            keys::lens::FIELD_WIDTH,
                            keys::lens::FOCAL_LENGTH,
                        ],
                        &[keys::lens::APERTURE, keys::lens::NUMERICAL_APERTURE],
                        &[keys::fluid::KIND],
                    ],
                )
            })?;
            // Diameter on the sensor over depth in the lab, both in px.
            optics.defocus_diameter_m(1.0) / lens.magnification
        }
    };
    let imaging = Imaging {
        pattern: setup.lens.pattern.unwrap_or(Imaging::default().pattern),
        defocus,
        focus_px: match setup.lens.focus {
            Some(focus) => scale.extent(focus, keys::lens::FOCUS)?,
            None => 0.0,
        },
        diameter_growth: setup.lens.diameter_growth.unwrap_or(0.0),
        distance_px: match setup.lens.distance {
            Some(distance) => Some(scale.extent(distance, keys::lens::DISTANCE)?),
            None => None,
        },
        distortion: setup.lens.distortion.unwrap_or(0.0),
    };
    let differ = setup.tracer.diameters != motefield_generator::population::Diameters::Same;
    let geometric_diameter_px = match (
        setup.image.geometric_diameter_px,
        setup.image.particle_diameter_px,
    ) {
        (Some(px), _) => px,
        // Where the particle image follows from the rig, so does its geometric part; it matters
        // where diameters differ.
        (None, None) if differ => match (lens, setup.tracer.diameter_m) {
            (Some(lens), Some(diameter)) => diameter * lens.px_per_m,
            _ => 0.0,
        },
        _ => 0.0,
    };
    Ok((imaging, geometric_diameter_px))
}
