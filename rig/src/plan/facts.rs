//! The facts of a plan: what a person or a program reads of it.

pub use crate::quantity::short;
use crate::quantity::{self, Dimension};

/// Heading under which facts stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heading {
    /// Scale, particle image and seeding.
    Scale,
    /// From the pulse's energy to the pixel's grey level.
    Light,
    /// Pulses, exposures and the displacement between them.
    Timing,
    /// What the motion and the tracer's inertia cost.
    Flow,
}

impl Heading {
    /// In the order of the way of the light.
    pub const ALL: [Heading; 4] = [Heading::Scale, Heading::Light, Heading::Timing, Heading::Flow];

    /// The heading in words.
    pub fn as_str(self) -> &'static str {
        match self {
            Heading::Scale => "Scale and sampling",
            Heading::Light => "Light budget",
            Heading::Timing => "Timing",
            Heading::Flow => "Flow and tracer",
        }
    }
}

impl std::fmt::Display for Heading {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.as_str())
    }
}

/// The figures that a plan may hold: name in JSON files with its SI unit at the end, heading,
/// name for people.
macro_rules! figures {
    ($($id:ident = $name:literal, $heading:ident, $label:literal;)*) => {
        /// Which figure of a plan.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum FactId {
            $(#[doc = concat!("`", $name, "`: ", $label, ".")] $id,)*
        }

        impl FactId {
            /// Name in JSON files, with its SI unit at the end.
            pub fn as_str(self) -> &'static str {
                match self { $(FactId::$id => $name,)* }
            }

            /// Heading under which it stands.
            pub fn heading(self) -> Heading {
                match self { $(FactId::$id => Heading::$heading,)* }
            }

            /// Name for people.
            pub fn label(self) -> &'static str {
                match self { $(FactId::$id => $label,)* }
            }
        }
    };
}

figures! {
    Magnification = "magnification", Scale, "magnification";
    PixelInSheet = "pixel_in_sheet_m", Scale, "one pixel in the sheet";
    UpperScale = "upper_edge_pixels_per_mm", Scale, "px per mm of the plane, at its upper edge";
    LowerScale = "lower_edge_pixels_per_mm", Scale, "at the lower edge";
    LeftScale = "left_edge_pixels_per_mm", Scale, "px per mm of the plane, at its left edge";
    RightScale = "right_edge_pixels_per_mm", Scale, "at the right edge";
    PixelsPerMm = "pixels_per_mm", Scale, "pixels per millimetre";
    FieldWidth = "field_width_m", Scale, "field of view, width";
    FieldHeight = "field_height_m", Scale, "field of view, height";
    WorkingFNumber = "working_f_number", Scale, "working f-number";
    GeometricDiameter = "geometric_diameter_m", Scale, "geometric image";
    DiffractionDiameter = "diffraction_diameter_m", Scale, "diffraction";
    BlurDiameter = "blur_diameter_m", Scale, "blur of lens and focus";
    ParticleImageDiameter = "particle_image_diameter_px", Scale, "particle image diameter (e^-2)";
    PixelDiameter = "pixel_diameter_px", Scale, "what the pixel adds";
    RecordedDiameter = "recorded_diameter_px", Scale, "diameter as the pixels record it";
    DepthOfField = "depth_of_field_m", Scale, "depth of field";
    DefocusAtEdge = "defocus_at_edge_px", Scale, "defocus at the sheet's edge";
    DepthOfCorrelation = "depth_of_correlation_px", Scale, "depth of correlation";
    ShareInCorrelation = "share_in_correlation", Scale, "share of the lit depth inside it";
    SeedingDensity = "seeding_density_ppp", Scale, "seeding density";
    ParticlesFirstWindow = "particles_first_window", Scale, "particles in a first window, N_I";
    ParticlesFinalWindow = "particles_final_window", Scale, "particles in a final window, N_I";
    SourceDensity = "source_density", Scale, "source density";
    Concentration = "concentration_m3", Scale, "tracer concentration";
    TracerMass = "tracer_kg_m3", Scale, "mass of tracer";
    PulseEnergy = "pulse_energy_j", Light, "energy of a pulse";
    DeliveredEnergy = "delivered_energy_j", Light, "its part that arrives in the sheet";
    Fluence = "fluence_j_m2", Light, "fluence in the middle of the sheet";
    CrossSection = "cross_section_m2_sr", Light, "scattering cross-section into the lens";
    SolidAngle = "solid_angle_sr", Light, "solid angle of the lens";
    CollectedEnergy = "collected_energy_j", Light, "energy into the lens from one particle";
    SensorEnergy = "sensor_energy_j", Light, "energy on the sensor";
    Photons = "photons", Light, "photons on the sensor";
    ExpectedElectrons = "expected_electrons_e", Light, "photo-electrons by this chain";
    MeasuredFactor = "measured_factor", Light, "light found over light expected";
    MeasuredElectrons = "measured_electrons_e", Light, "light of a particle as measured";
    Electrons = "electrons_e", Light, "photo-electrons of a particle at sheet centre";
    MeanElectrons = "mean_electrons_e", Light, "their mean over the particles' sizes";
    PeakElectrons = "peak_electrons_e", Light, "pixel in the middle of its longest streak";
    PeakGrey = "peak_grey_dn", Light, "its grey level";
    PeakSnr = "peak_snr", Light, "its signal-to-noise ratio (EMVA 1288)";
    PeakShareOfFullWell = "peak_share_of_full_well", Light, "its share of the full well";
    BrightestGrey = "brightest_grey_dn", Light, "grey level of the brightest particles";
    BrightestShareOfRange = "brightest_share_of_range", Light, "their share of the range";
    AbsoluteThreshold = "absolute_threshold_e", Light, "faintest light the camera sees (EMVA 1288)";
    DynamicRange = "dynamic_range", Light, "dynamic range of the camera (EMVA 1288)";
    FastestDisplacement = "fastest_displacement_px", Timing, "fastest displacement in the field";
    MeanDisplacement = "mean_displacement_px", Timing, "mean displacement";
    SlowestDisplacement = "slowest_displacement_px", Timing, "slowest displacement";
    Separation = "separation_s", Timing, "pulse separation (start to start)";
    Pulse = "pulse_s", Timing, "pulse length";
    LongestPulse = "longest_pulse_s", Timing, "longest pulse the exposures allow";
    FastestSpeed = "fastest_speed_m_s", Timing, "fastest speed in the field";
    LongestStreak = "longest_streak_px", Timing, "longest streak in one pulse";
    AllowedDisplacement = "allowed_displacement_px", Timing, "displacement allowed";
    SeparationForAllowed = "separation_for_allowed_s", Timing, "pulse separation for it";
    FastestMeasurable = "fastest_measurable_m_s", Timing, "fastest velocity measurable as planned";
    FrameRate = "frame_rate_hz", Timing, "frame rate";
    PairRate = "pair_rate_hz", Timing, "pair rate";
    StraddlingMargin = "straddling_margin_s", Timing, "margin of the pulses in their exposures";
    ShortestSeparation = "shortest_separation_s", Timing, "shortest pulse separation possible";
    LongestSeparation = "longest_separation_s", Timing, "longest pulse separation possible";
    ResponseTime = "response_time_s", Flow, "response time of the tracer";
    SettlingVelocity = "settling_velocity_m_s", Flow, "settling velocity";
    BrownianDisplacement = "brownian_displacement_px", Flow, "Brownian displacement between the pulses, rms";
    BrownianError = "brownian_error_px", Flow, "what Brownian motion leaves in a vector";
    OutOfPlaneShare = "out_of_plane_share", Flow, "largest displacement in depth over thickness";
    Gradient = "gradient_px_px", Flow, "largest gradient, px per px";
    InPlaneFactor = "in_plane_factor", Flow, "F_I, pairs kept in a first window in plane";
    OutOfPlaneFactor = "out_of_plane_factor", Flow, "F_O, kept out of plane";
    GradientFactor = "gradient_factor", Flow, "F_Delta, peak height kept under the gradient";
    PairsFirstWindow = "pairs_first_window", Flow, "N_I F_I F_O F_Delta in a first window, mean";
    PairsFirstWindowLeast = "pairs_first_window_least", Flow, "smallest value in the picture";
    PairsFinalWindow = "pairs_final_window", Flow, "N_I F_O in a final window, mean";
    PairsFinalWindowLeast = "pairs_final_window_least", Flow, "smallest value in the picture";
    StokesNumber = "stokes_number", Flow, "Stokes number";
    AmplitudeFollowed = "amplitude_followed", Flow, "share of such a motion that the tracer follows";
    DynamicVelocityRange = "dynamic_velocity_range", Flow, "dynamic velocity range, DVR";
    DynamicSpatialRange = "dynamic_spatial_range", Flow, "dynamic spatial range, DSR";
}

/// One figure of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Fact {
    /// Which figure it is.
    pub id: FactId,
    /// Name for people.
    pub label: &'static str,
    /// Value in SI, or px and electrons.
    pub value: f64,
    /// Value for people.
    pub text: String,
    /// How it follows from what stands above it, in words; empty where the label says enough.
    pub how: String,
}

impl Fact {
    /// Says how the figure follows from others.
    pub(super) fn how(&mut self, how: impl Into<String>) {
        self.how = how.into();
    }
}

#[derive(Default)]
pub(super) struct Facts(pub(super) Vec<Fact>);

impl Facts {
    pub(super) fn quantity(&mut self, id: FactId, value: f64, dimension: Dimension) -> &mut Fact {
        self.told(id, value, show(value, dimension))
    }

    pub(super) fn figure(&mut self, id: FactId, value: f64, unit: &str) -> &mut Fact {
        let text = format!("{} {unit}", short(value)).trim_end().to_owned();
        self.told(id, value, text)
    }

    /// A figure told before.
    pub(super) fn value(&self, id: FactId) -> Option<f64> {
        self.0.iter().find(|fact| fact.id == id).map(|fact| fact.value)
    }

    pub(super) fn told(&mut self, id: FactId, value: f64, text: String) -> &mut Fact {
        self.0.push(Fact {
            id,
            label: id.label(),
            value,
            text,
            how: String::new(),
        });
        self.0.last_mut().expect("just pushed")
    }
}

/// A quantity for people, to three or four digits, in the unit that keeps it short.
pub(super) fn show(value: f64, dimension: Dimension) -> String {
    quantity::format(value, dimension)
}
