//! Measured vectors: `vectors.csv`, JSON, and a sentence.

use motefield_evaluator::uncertainty::Caution;
use motefield_evaluator::{VectorField, VectorStatus};
use motefield_files::table::Table;
use motefield_rig::quantity::digits;
use motefield_study::caveat::Caveat;
use motefield_study::vectors::{CAVEATS, COLUMNS, UNCERTAINTY};
use serde_json::{Value, json};

use crate::format::percent;
use crate::json;

/// The vectors as CSV, row by row over the grid: `x_px, y_px, dx_px, dy_px, peak_ratio, status`,
/// and with standard uncertainties (px, in the order of the vectors) `u_x_px, u_y_px`.
/// Displacements with 1e-7 px. Where something must be said of them all, the last column
/// `caveats` holds its identifiers, with spaces between.
///
/// # Panics
/// With fewer uncertainties than vectors.
pub fn csv(field: &VectorField, uncertainties_px: Option<&[[f64; 2]]>, caveats: &[Caveat]) -> String {
    let more = uncertainties_px.map_or(&[][..], |_| &UNCERTAINTY);
    let caveats: Vec<&str> = caveats.iter().map(|caveat| caveat.id()).collect();
    let last = (!caveats.is_empty()).then_some(CAVEATS);
    let mut table = Table::new(COLUMNS.iter().chain(more).copied().chain(last));
    for (k, v) in field.vectors.iter().enumerate() {
        let mut row = vec![
            v.x_px.to_string(),
            v.y_px.to_string(),
            format!("{:.7}", v.dx_px),
            format!("{:.7}", v.dy_px),
            digits(v.peak_ratio),
            v.status.to_string(),
        ];
        row.extend(uncertainties_px.into_iter().flat_map(|all| all[k].map(digits)));
        row.extend(last.map(|_| caveats.join(" ")));
        table.rows.push(row);
    }
    table.csv()
}

/// The vectors for programs; with uncertainties, also what to beware of in them.
///
/// # Panics
/// With fewer uncertainties than vectors.
pub fn json(
    field: &VectorField,
    uncertainties_px: Option<&[[f64; 2]]>,
    caveats: &[Caveat],
    cautions: &[Caution],
) -> Value {
    let vectors = field.vectors.iter().enumerate().map(|(k, v)| {
        let mut one = json!({
            "x_px": v.x_px,
            "y_px": v.y_px,
            "dx_px": v.dx_px,
            "dy_px": v.dy_px,
            "peak_ratio": v.peak_ratio,
            "status": v.status.as_str(),
        });
        if let Some(all) = uncertainties_px {
            let [u_x, u_y] = all[k];
            one["u_x_px"] = json!(u_x);
            one["u_y_px"] = json!(u_y);
        }
        one
    });
    let caution = |c: &Caution| json!({ "regime": c.regime, "share_of_vectors": c.share, "text": c.text });
    let mut fields = json!({
        "columns": field.columns,
        "rows": field.rows,
        "window_px": field.window,
        "spacing_px": field.spacing,
        "caveats": json::caveats(caveats),
        "vectors": vectors.collect::<Value>(),
    });
    if uncertainties_px.is_some() {
        fields["cautions"] = cautions.iter().map(caution).collect();
    }
    json::file("motefield-vectors/1", fields)
}

/// How many vectors there are: "961 vectors, 958 of them valid".
pub fn words(field: &VectorField) -> String {
    let valid = field
        .vectors
        .iter()
        .filter(|v| v.status == VectorStatus::Valid)
        .count();
    format!("{} vectors, {valid} of them valid", field.vectors.len())
}

/// What to beware of in uncertainties, a line each.
pub fn cautions_words(cautions: &[Caution]) -> String {
    let line = |c: &Caution| {
        let share = c.share.map_or(String::new(), |share| {
            format!(" (so at {} of the vectors)", percent(share))
        });
        format!("Caution: {}{share}.\n", c.text)
    };
    cautions.iter().map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_evaluator::Vector;

    fn field() -> VectorField {
        let vector = |x_px, dx_px, status| Vector {
            x_px,
            y_px: 15.5,
            dx_px,
            dy_px: -0.5,
            peak_ratio: 3.0,
            status,
        };
        VectorField {
            columns: 2,
            rows: 1,
            window: [32, 32],
            spacing: [16, 16],
            vectors: vec![
                vector(15.5, 1.0 / 3.0, VectorStatus::Valid),
                vector(31.5, f64::NAN, VectorStatus::NoPeak),
            ],
        }
    }

    /// The text that `score` and other programs read, character by character.
    #[test]
    fn the_table_has_its_columns_and_digits() {
        let plain = csv(&field(), None, &[]);
        let rows: Vec<&str> = plain.lines().collect();
        assert_eq!(rows[0], "x_px,y_px,dx_px,dy_px,peak_ratio,status");
        assert_eq!(rows[1], "15.5,15.5,0.3333333,-0.5000000,3,valid");
        assert!(plain.ends_with('\n') && rows.len() == 3);
        let more = csv(&field(), Some(&[[0.0123456789, f64::NAN], [0.1, 0.2]]), &[]);
        assert!(more.starts_with("x_px,y_px,dx_px,dy_px,peak_ratio,status,u_x_px,u_y_px\n"));
        assert!(more.contains(",valid,0.0123457,nan\n"), "{more}");
        let caution = csv(&field(), None, &[Caveat::SameFrames, Caveat::EmptyFrame]);
        assert!(caution.starts_with("x_px,y_px,dx_px,dy_px,peak_ratio,status,caveats\n"));
        assert!(caution.contains(",valid,same-frames empty-frame\n"), "{caution}");
    }

    #[test]
    fn programs_find_numbers_or_null() {
        let caution = Caution {
            regime: "gradient",
            share: Some(0.25),
            text: "beware".to_owned(),
        };
        let cautions = std::slice::from_ref(&caution);
        assert!(json(&field(), None, &[], &[])["cautions"].is_null());
        assert_eq!(
            cautions_words(cautions),
            "Caution: beware (so at 25.0 % of the vectors).\n"
        );
        let json = json(&field(), Some(&[[0.1, 0.2]; 2]), &[Caveat::SameFrames], cautions);
        assert_eq!(json["cautions"][0]["regime"], "gradient");
        assert_eq!(json["cautions"][0]["share_of_vectors"], 0.25);
        assert_eq!(json["caveats"][0]["id"], "same-frames");
        assert_eq!(json["schema"], "motefield-vectors/1");
        assert_eq!(json["vectors"][0]["u_y_px"], 0.2);
        assert!(json["vectors"][1]["dx_px"].is_null());
        assert_eq!(words(&field()), "2 vectors, 1 of them valid");
    }
}
