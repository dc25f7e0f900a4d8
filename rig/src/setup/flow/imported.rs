//! `[flow] kind = "imported"`: which file, and what its numbers mean.

use super::{Extent, Imported, Motion, Stands, centre, perhaps_above_zero};
use crate::import::{Format, Layout};
use crate::quantity::{Dimension, Quantity, parse_as_any};
use crate::setup::reader::{Reader, SetupError};

pub(super) fn read(r: &Reader) -> Result<Imported, SetupError> {
    let key = "flow.file";
    let path = r.path(key)?.ok_or_else(|| {
        r.error(key, "is missing: name the file that holds the field, beside the setup file, for example file = \"field.csv\"")
    })?;
    let format = Format::of(&path).ok_or_else(|| {
        r.error(
            key,
            "must end in .npy, .csv (.txt, .dat, .tsv), .vtk or .vti: the ending says how it is read",
        )
    })?;
    let layouts = [("grid", Layout::Grid), ("scattered", Layout::Scattered)];
    let layout = r.word("flow.layout", &layouts)?;
    if layout.is_some() && format != Format::Csv {
        return Err(r.error("flow.layout", "is for tables only: the other formats hold grids"));
    }
    let array = r.text("flow.array")?.map(str::to_owned);
    if array.is_some() && !matches!(format, Format::VtkLegacy | Format::VtkXml) {
        return Err(r.error(
            "flow.array",
            "is for VTK files only: the other formats hold one field",
        ));
    }
    let pixels = [("pixels", true), ("middle", false)];
    let stands = if r.word("flow.align", &pixels)?.unwrap_or(false) {
        Stands::Pixels
    } else {
        Stands::Middle(centre(r)?)
    };
    Ok(Imported {
        length: length(r, format)?,
        velocity: velocity(r)?,
        y_up: r
            .word("flow.y_axis", &[("up", true), ("down", false)])?
            .unwrap_or(false),
        path,
        format,
        layout,
        array,
        stands,
    })
}

/// One of the unit that the text under `key` names, or nothing where there is no such key.
fn unit(r: &Reader, key: &str, dimensions: &[Dimension]) -> Result<Option<Quantity>, SetupError> {
    let Some(text) = r.text(key)? else {
        return Ok(None);
    };
    parse_as_any(&format!("1 {text}"), dimensions)
        .map(Some)
        .map_err(|_| {
            let units: Vec<_> = dimensions.iter().flat_map(|d| d.units()).collect();
            r.error(
                key,
                format!(
                    "is \"{text}\", but must be a unit alone: one of {}",
                    units.join(", ")
                ),
            )
        })
}

fn factor(r: &Reader, key: &str) -> Result<f64, SetupError> {
    let good = |n: f64| n > 0.0;
    Ok(r.number(key, good, "above 0")?.unwrap_or(1.0))
}

fn length(r: &Reader, format: Format) -> Result<Extent, SetupError> {
    if format == Format::Npy {
        let spacing = perhaps_above_zero(r, "flow.spacing")?;
        return spacing.ok_or_else(|| {
            r.error("flow.spacing", "is missing: an .npy file has no coordinates; write the distance between its nodes, for example spacing = \"0.5 mm\" or \"16 px\"")
        });
    }
    let key = "flow.length_unit";
    let unit = unit(r, key, &[Dimension::Length, Dimension::Pixels])?.ok_or_else(|| {
        r.error(key, "is missing: name the unit of the coordinates in the file, for example length_unit = \"mm\" or \"px\"")
    })?;
    let scale = factor(r, "flow.length_scale")?;
    Ok(match unit.dimension {
        Dimension::Pixels => Extent::Px(unit.value * scale),
        _ => Extent::M(unit.value * scale),
    })
}

fn velocity(r: &Reader) -> Result<Motion, SetupError> {
    let key = "flow.velocity_unit";
    let unit = unit(r, key, &[Dimension::Speed, Dimension::Pixels])?.ok_or_else(|| {
        r.error(key, "is missing: name the unit of the velocities in the file, for example velocity_unit = \"m/s\", or \"px\" for displacements between the pulses")
    })?;
    let scale = r
        .number("flow.velocity_scale", |_| true, "a number")?
        .unwrap_or(1.0);
    Ok(match unit.dimension {
        Dimension::Pixels => Motion::Px(unit.value * scale),
        _ => Motion::MS(unit.value * scale),
    })
}
