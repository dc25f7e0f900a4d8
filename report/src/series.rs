//! Mean and fluctuation over a series: a table, and a sentence.

use motefield_evaluator::statistics::median;
use motefield_files::table::Table;
use motefield_rig::quantity::{digits, short};
use motefield_study::series::PlaceStatistics;

/// One row per place: mean, variance of the fluctuation and mean product, each with its standard
/// uncertainty; empty where too few vectors are valid.
pub fn csv(places: &[PlaceStatistics]) -> String {
    let mut table = Table::new([
        "x_px",
        "y_px",
        "vectors",
        "effective_x",
        "effective_y",
        "mean_dx_px",
        "u_mean_dx_px",
        "mean_dy_px",
        "u_mean_dy_px",
        "variance_x_px2",
        "u_variance_x_px2",
        "variance_y_px2",
        "u_variance_y_px2",
        "product_xy_px2",
        "u_product_xy_px2",
    ]);
    let number = |v: f64| if v.is_finite() { digits(v) } else { String::new() };
    for place in places {
        let mut row = vec![
            place.at_px[0].to_string(),
            place.at_px[1].to_string(),
            place.vectors.to_string(),
        ];
        row.extend(place.effective.map(number));
        let [mean_x, mean_y] = place.mean_px;
        let [variance_x, variance_y] = place.variance_px2;
        for known in [mean_x, mean_y, variance_x, variance_y, place.product_px2] {
            row.extend([known.value, known.uncertainty].map(number));
        }
        table.rows.push(row);
    }
    table.csv()
}

/// How well the mean is known, in two sentences.
pub fn words(pairs: usize, places: &[PlaceStatistics]) -> String {
    let middle = |of: &dyn Fn(&PlaceStatistics) -> f64| {
        let values = places.iter().map(of).filter(|v| v.is_finite());
        median(&mut values.collect::<Vec<f64>>())
    };
    let uncertainty = middle(&|p| p.mean_px[0].uncertainty.hypot(p.mean_px[1].uncertainty));
    let fluctuation = middle(&|p| (p.variance_px2[0].value + p.variance_px2[1].value).sqrt());
    format!(
        "{pairs} pairs. In the middle of all places the standard uncertainty of the mean is {} px, and the fluctuation {} px.\n",
        short(uncertainty),
        short(fluctuation)
    )
}
