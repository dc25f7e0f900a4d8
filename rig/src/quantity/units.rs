//! The closed list of dimensions and units.

/// What a quantity measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Dimension {
    /// Duration, s.
    Time,
    /// Distance in the lab, m.
    Length,
    /// Distance on the sensor, px.
    Pixels,
    /// Velocity, m/s.
    Speed,
    /// Rate, Hz.
    Frequency,
    /// Angle, rad.
    Angle,
    /// Radiant or electrical power, W.
    Power,
    /// Luminous flux, lm.
    LuminousFlux,
    /// Energy, J.
    Energy,
    /// Temperature, K.
    Temperature,
    /// kg/m³; also a mass of particles per volume.
    Density,
    /// Dynamic viscosity, Pa s.
    Viscosity,
    /// Particles per volume, 1/m³.
    NumberDensity,
    /// Particles per pixel.
    SeedingDensity,
    /// Photo-electrons.
    Electrons,
    /// Photo-electrons per second, 1/s.
    ElectronRate,
    /// Grey levels, DN.
    GreyLevels,
    /// Overall system gain, DN per electron.
    Gain,
    /// f-number.
    Aperture,
    /// A share of one.
    Fraction,
}

use Dimension::*;

impl Dimension {
    /// Every dimension.
    pub const ALL: [Dimension; 20] = [
        Time,
        Length,
        Pixels,
        Speed,
        Frequency,
        Angle,
        Power,
        LuminousFlux,
        Energy,
        Temperature,
        Density,
        Viscosity,
        NumberDensity,
        SeedingDensity,
        Electrons,
        ElectronRate,
        GreyLevels,
        Gain,
        Aperture,
        Fraction,
    ];

    /// With its article, for messages: "a time".
    pub fn name(self) -> &'static str {
        match self {
            Time => "a time",
            Length => "a length",
            Pixels => "a distance in pixels",
            Speed => "a speed",
            Frequency => "a frequency",
            Angle => "an angle",
            Power => "a power",
            LuminousFlux => "a luminous flux",
            Energy => "an energy",
            Temperature => "a temperature",
            Density => "a density",
            Viscosity => "a dynamic viscosity",
            NumberDensity => "a number of particles per volume",
            SeedingDensity => "a seeding density",
            Electrons => "a number of electrons",
            ElectronRate => "a number of electrons per second",
            GreyLevels => "a number of grey levels",
            Gain => "a camera gain",
            Aperture => "an aperture",
            Fraction => "a share",
        }
    }

    /// A quantity of this dimension as a setup file writes it.
    pub fn example(self) -> &'static str {
        match self {
            Time => "120 us",
            Length => "1.5 mm",
            Pixels => "2.2 px",
            Speed => "0.3 m/s",
            Frequency => "100 Hz",
            Angle => "15 deg",
            Power => "4 W",
            LuminousFlux => "900 lm",
            Energy => "1.2 mJ",
            Temperature => "20 degC",
            Density => "1050 kg/m3",
            Viscosity => "1.8 mPa s",
            NumberDensity => "8.7 /mm3",
            SeedingDensity => "0.02 ppp",
            Electrons => "20000 e",
            ElectronRate => "5 e/s",
            GreyLevels => "64 DN",
            Gain => "0.5 DN/e",
            Aperture => "f/4",
            Fraction => "25 %",
        }
    }

    /// The unit in which values are computed and stored, as messages write it.
    pub fn unit(self) -> &'static str {
        match self {
            Time => "s",
            Length => "m",
            Pixels => "px",
            Speed => "m/s",
            Frequency => "Hz",
            Angle => "rad",
            Power => "W",
            LuminousFlux => "lm",
            Energy => "J",
            Temperature => "K",
            Density => "kg/m3",
            Viscosity => "Pa s",
            NumberDensity => "/m3",
            SeedingDensity => "ppp",
            Electrons => "e",
            ElectronRate => "e/s",
            GreyLevels => "DN",
            Gain => "DN/e",
            Aperture => "f/",
            Fraction => "",
        }
    }

    /// The units in which a quantity of this dimension may be written, the usual ones first.
    pub fn units(self) -> impl Iterator<Item = &'static str> {
        UNITS.iter().filter(move |u| u.dimension == self).map(|u| u.name)
    }
}

/// A unit: SI value = number × 10^`exponent` × `factor` + `zero`.
pub(super) struct Unit {
    pub(super) dimension: Dimension,
    pub(super) name: &'static str,
    pub(super) exponent: i32,
    pub(super) factor: f64,
    pub(super) zero: f64,
    /// Smallest magnitude, in this unit, that results show in it; 0 for the smallest unit shown,
    /// infinite for one never shown.
    pub(super) shown_from: f64,
}

const fn unit(dimension: Dimension, name: &'static str, exponent: i32, shown_from: f64) -> Unit {
    Unit {
        dimension,
        name,
        exponent,
        factor: 1.0,
        zero: 0.0,
        shown_from,
    }
}

const fn read_only(dimension: Dimension, name: &'static str, exponent: i32, factor: f64) -> Unit {
    Unit {
        factor,
        ..unit(dimension, name, exponent, f64::INFINITY)
    }
}

/// The units shown stand from large to small within a dimension.
pub(super) const UNITS: &[Unit] = &[
    unit(Time, "s", 0, 1.0),
    unit(Time, "ms", -3, 1.0),
    unit(Time, "us", -6, 1.0),
    unit(Time, "ns", -9, 1.0),
    unit(Time, "ps", -12, 0.0),
    read_only(Time, "min", 0, 60.0),
    read_only(Time, "h", 0, 3600.0),
    unit(Length, "m", 0, 1.0),
    unit(Length, "mm", -3, 1.0),
    unit(Length, "um", -6, 1.0),
    unit(Length, "nm", -9, 0.0),
    read_only(Length, "cm", -2, 1.0),
    read_only(Length, "km", 3, 1.0),
    unit(Pixels, "px", 0, 0.0),
    unit(Speed, "m/s", 0, 0.1),
    unit(Speed, "mm/s", -3, 0.1),
    unit(Speed, "um/s", -6, 0.0),
    read_only(Speed, "cm/s", -2, 1.0),
    read_only(Speed, "km/h", 3, 1.0 / 3600.0),
    unit(Frequency, "MHz", 6, 1.0),
    unit(Frequency, "kHz", 3, 1.0),
    unit(Frequency, "Hz", 0, 0.0),
    read_only(Frequency, "/s", 0, 1.0),
    Unit {
        factor: std::f64::consts::PI / 180.0,
        ..unit(Angle, "deg", 0, 0.0)
    },
    read_only(Angle, "rad", 0, 1.0),
    read_only(Angle, "mrad", -3, 1.0),
    unit(Power, "MW", 6, 1.0),
    unit(Power, "kW", 3, 1.0),
    unit(Power, "W", 0, 0.1),
    unit(Power, "mW", -3, 1.0),
    unit(Power, "uW", -6, 0.0),
    unit(LuminousFlux, "lm", 0, 0.0),
    read_only(LuminousFlux, "klm", 3, 1.0),
    unit(Energy, "J", 0, 1.0),
    unit(Energy, "mJ", -3, 1.0),
    unit(Energy, "uJ", -6, 1.0),
    unit(Energy, "nJ", -9, 1.0),
    unit(Energy, "pJ", -12, 0.0),
    Unit {
        zero: 273.15,
        ..unit(Temperature, "degC", 0, 0.0)
    },
    Unit {
        zero: 273.15,
        ..read_only(Temperature, "C", 0, 1.0)
    },
    read_only(Temperature, "K", 0, 1.0),
    unit(Density, "kg/m3", 0, 0.1),
    unit(Density, "g/m3", -3, 0.1),
    unit(Density, "mg/m3", -6, 0.0),
    read_only(Density, "g/cm3", 3, 1.0),
    read_only(Density, "g/ml", 3, 1.0),
    read_only(Density, "g/l", 0, 1.0),
    read_only(Density, "mg/l", -3, 1.0),
    unit(Viscosity, "Pa s", 0, 1.0),
    unit(Viscosity, "mPa s", -3, 0.1),
    unit(Viscosity, "uPa s", -6, 0.0),
    read_only(Viscosity, "cP", -3, 1.0),
    unit(NumberDensity, "/mm3", 9, 0.1),
    unit(NumberDensity, "/cm3", 6, 0.1),
    unit(NumberDensity, "/m3", 0, 0.0),
    read_only(NumberDensity, "/ml", 6, 1.0),
    read_only(NumberDensity, "/l", 3, 1.0),
    unit(SeedingDensity, "ppp", 0, 0.0),
    unit(Electrons, "e", 0, 0.0),
    read_only(Electrons, "ke", 3, 1.0),
    unit(ElectronRate, "e/s", 0, 0.0),
    unit(GreyLevels, "DN", 0, 0.0),
    unit(Gain, "DN/e", 0, 0.0),
    unit(Aperture, "f/", 0, 0.0),
    unit(Fraction, "%", -2, 0.0),
];
