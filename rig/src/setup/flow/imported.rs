//! `[flow] kind = "imported"`: which file, and what its numbers mean.

use std::path::PathBuf;

use super::{Extent, PlaceFromMiddle, Velocity, extent, place};
use crate::import::{Format, Layout};
use crate::keys::choices::{Align, Body, YAxis};
use crate::keys::flow as keys;
use crate::quantity::Dimension;
use crate::setup::reader::Reader;

/// A field from a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// The file.
    pub path: PathBuf,
    /// Its format.
    pub format: Format,
    /// How a table's points stand; found out where not given.
    pub layout: Option<Layout>,
    /// Name of the array in a VTK file.
    pub array: Option<String>,
    /// What a length of 1 in the file is, scaled.
    pub length: Extent,
    /// What a velocity of 1 in the file is, scaled.
    pub velocity: Velocity,
    /// Whether y points up in the file.
    pub y_up: bool,
    /// Where the field stands.
    pub stands: Stands,
    /// What counts as a body in it.
    pub body: Body,
}

/// Where an imported field stands in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stands {
    /// The middle of its points at this place.
    Middle(PlaceFromMiddle),
    /// Its coordinates are those of the picture, from the centre of the upper-left pixel.
    Pixels,
}

pub(super) fn field(r: &Reader) -> Imported {
    let path = r.file(keys::FILE);
    let why = "name the file that holds the field, beside the setup file, for example file = \"field.csv\"";
    let path: PathBuf = r.needed(keys::FILE, path, why, PathBuf::from("field.csv"));
    let format = Format::of(&path).unwrap_or_else(|| {
        r.fault(
            keys::FILE,
            "must end in .npy, .csv (.txt, .dat, .tsv), .vtk, .vti, .vtr or .vtu: the ending says how it is read",
        );
        Format::Csv
    });
    let layout = r.choice(keys::LAYOUT);
    if layout.is_some() && format != Format::Csv {
        r.fault(keys::LAYOUT, "is for tables only: the other formats hold grids");
    }
    let array = r.text(keys::ARRAY);
    if array.is_some() && !matches!(format, Format::VtkLegacy | Format::VtkXml) {
        r.fault(
            keys::ARRAY,
            "is for VTK files only: the other formats hold one field",
        );
    }
    let stands = match r.choice(keys::ALIGN) {
        Some(Align::Pixels) => Stands::Pixels,
        Some(Align::Middle) | None => Stands::Middle(place(r, keys::CENTRE)),
    };
    Imported {
        length: length(r, format),
        velocity: velocity(r),
        y_up: r.choice(keys::Y_AXIS) == Some(YAxis::Up),
        path,
        format,
        layout,
        array,
        stands,
        body: r.choice(keys::BODY).unwrap_or(Body::Found),
    }
}

/// What a length of 1 in the file is.
fn length(r: &Reader, format: Format) -> Extent {
    if format == Format::Npy {
        let why = "an .npy file has no coordinates; write the distance between its nodes, for example spacing = \"0.5 mm\" or \"16 px\"";
        return r.needed(keys::SPACING, extent(r, keys::SPACING), why, Extent::Px(1.0));
    }
    let scale = r.number(keys::LENGTH_SCALE).unwrap_or(1.0);
    let unit = r.unit(keys::LENGTH_UNIT).map(|unit| match unit.dimension {
        Dimension::Pixels => Extent::Px(unit.value * scale),
        _ => Extent::M(unit.value * scale),
    });
    let why = "name the unit of the coordinates in the file, for example length_unit = \"mm\" or \"px\"";
    r.needed(keys::LENGTH_UNIT, unit, why, Extent::Px(1.0))
}

/// What a velocity of 1 in the file is.
fn velocity(r: &Reader) -> Velocity {
    let scale = r.number(keys::VELOCITY_SCALE).unwrap_or(1.0);
    let unit = r.unit(keys::VELOCITY_UNIT).map(|unit| match unit.dimension {
        Dimension::Pixels => Velocity::Px(unit.value * scale),
        _ => Velocity::MS(unit.value * scale),
    });
    let why = "name the unit of the velocities in the file, for example velocity_unit = \"m/s\", or \"px\" for displacements between the pulses";
    r.needed(keys::VELOCITY_UNIT, unit, why, Velocity::Px(1.0))
}
