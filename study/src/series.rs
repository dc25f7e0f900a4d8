//! Mean and fluctuation of a series of fields measured on one grid, with what is known of them.
//!
//! At every place the valid vectors of the series give the mean, whose standard uncertainty is σ/√N
//! with the effective number N of independent ones, and the fluctuation. The random error of the
//! vectors is part of the measured variance: where its standard uncertainties are known, their mean
//! square is subtracted. (Sciacchitano & Wieneke 2016, Meas. Sci. Technol. 27, 084006; from
//! memory.)

use motefield_evaluator::statistics::Confidence;
use motefield_evaluator::uncertainty::{effective_number, of_mean, of_shear_stress, of_variance};
use motefield_evaluator::{VectorField, VectorStatus};

use crate::StudyError;

/// A figure and its standard uncertainty, px or px².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownFigure {
    /// The figure.
    pub value: f64,
    /// Its standard uncertainty; `NaN` where it is not known.
    pub uncertainty: f64,
}

/// What a series tells of one place.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceStatistics {
    /// Column and row of the place, px.
    pub at_px: [f64; 2],
    /// Number of valid vectors.
    pub vectors: usize,
    /// Effective number of independent ones, of x and of y.
    pub effective: [f64; 2],
    /// Mean displacement, px.
    pub mean_px: [KnownFigure; 2],
    /// Mean square of the fluctuation, px²; without the random error where that is known.
    pub variance_px2: [KnownFigure; 2],
    /// Mean product of the fluctuations of x and y, px².
    pub product_px2: KnownFigure,
}

/// Fields of a series, of which little is kept: displacements and squared uncertainties.
#[derive(Debug, Clone, Default)]
pub struct FieldSeries {
    places: Vec<[f64; 2]>,
    /// Of each field and place dx, dy and the squared uncertainties, px and px²; `NaN` if not
    /// valid.
    values: Vec<Vec<[f32; 4]>>,
}

/// Fewest vectors of which a fluctuation is told.
const FEWEST: usize = 3;

impl FieldSeries {
    /// Adds a field, with the standard uncertainties of its vectors where they are known, px.
    ///
    /// # Errors
    /// When it stands on another grid than those before.
    pub fn add(
        &mut self,
        field: &VectorField,
        uncertainties_px: Option<&[[f64; 2]]>,
    ) -> Result<(), StudyError> {
        let places: Vec<[f64; 2]> = field.vectors.iter().map(|v| [v.x_px, v.y_px]).collect();
        if self.values.is_empty() {
            self.places = places;
        } else if self.places != places {
            return Err(StudyError::request(
                "the fields of a series must stand on one grid",
            ));
        }
        let value = |(k, v): (usize, &motefield_evaluator::Vector)| {
            if v.status != VectorStatus::Valid {
                return [f32::NAN; 4];
            }
            let [x, y] = uncertainties_px.map_or([f64::NAN; 2], |all| all[k]);
            [v.dx_px, v.dy_px, x * x, y * y].map(|v| v as f32)
        };
        self.values
            .push(field.vectors.iter().enumerate().map(value).collect());
        Ok(())
    }

    /// What the series tells of each place.
    pub fn statistics(&self) -> Vec<PlaceStatistics> {
        (0..self.places.len()).map(|k| self.at(k)).collect()
    }

    fn at(&self, place: usize) -> PlaceStatistics {
        let valid = self.values.iter().map(|field| field[place].map(f64::from));
        let valid: Vec<[f64; 4]> = valid.filter(|v| v[0].is_finite()).collect();
        let n = valid.len() as f64;
        let mean_of = |k: usize| valid.iter().map(|v| v[k]).sum::<f64>() / n;
        let means = [mean_of(0), mean_of(1)];
        let from_mean = |c: usize| -> Vec<f64> { valid.iter().map(|v| v[c] - means[c]).collect() };
        let [x, y] = [from_mean(0), from_mean(1)];
        let number = |series: &[f64]| {
            let found = effective_number(series, Confidence::USUAL).value;
            // Of a short series the dependence is not known: pairs are then taken for independent.
            if found.is_finite() { found } else { n }
        };
        let product = |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().zip(b).map(|(a, b)| a * b).collect() };
        let mean_product = |values: &[f64]| values.iter().sum::<f64>() / (n - 1.0);
        let squares = [product(&x, &x), product(&y, &y)];
        let measured = [0, 1].map(|c| mean_product(&squares[c]));
        let few = valid.len() < FEWEST;
        let known = |value: f64, uncertainty: f64| match few {
            true => KnownFigure {
                value: f64::NAN,
                uncertainty: f64::NAN,
            },
            false => KnownFigure { value, uncertainty },
        };
        let effective = [number(&x), number(&y)];
        let deviations = measured.map(f64::sqrt);
        let products = product(&x, &y);
        let shear = mean_product(&products);
        let correlation = (shear / (deviations[0] * deviations[1])).clamp(-1.0, 1.0);
        PlaceStatistics {
            at_px: self.places[place],
            vectors: valid.len(),
            effective,
            mean_px: [0, 1].map(|c| KnownFigure {
                value: means[c],
                uncertainty: if few {
                    f64::NAN
                } else {
                    of_mean(deviations[c], effective[c])
                },
            }),
            variance_px2: [0, 1].map(|c| {
                let random = mean_of(2 + c);
                let random = if random.is_finite() { random } else { 0.0 };
                known(
                    (measured[c] - random).max(0.0),
                    of_variance(measured[c], number(&squares[c])),
                )
            }),
            product_px2: known(shear, of_shear_stress(deviations, correlation, number(&products))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use motefield_evaluator::Vector;

    fn field(dx: f64, dy: f64, valid: bool) -> VectorField {
        VectorField {
            columns: 1,
            rows: 1,
            window: [32; 2],
            spacing: [8; 2],
            vectors: vec![Vector {
                x_px: 15.5,
                y_px: 15.5,
                dx_px: dx,
                dy_px: dy,
                peak_ratio: 4.0,
                status: if valid {
                    VectorStatus::Valid
                } else {
                    VectorStatus::Outlier
                },
            }],
        }
    }

    /// By hand: dx = 1, 2, 3, 4 has the mean 2.5 and the variance 5/3; the mean has √(5/3/4), the
    /// variance of error 0.01 goes off; dy = 2 dx has the product 2 × 5/3. An outlier does not
    /// count.
    #[test]
    fn mean_and_fluctuation_are_those_of_the_valid_vectors() {
        let mut series = FieldSeries::default();
        for dx in [1.0, 2.0, 3.0, 4.0] {
            series
                .add(&field(dx, 2.0 * dx, true), Some(&[[0.1, 0.1]]))
                .unwrap();
        }
        series.add(&field(50.0, 0.0, false), Some(&[[0.1, 0.1]])).unwrap();
        let found = &series.statistics()[0];
        let variance = 5.0 / 3.0;
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6, "{a} {b}");
        assert_eq!(found.vectors, 4);
        near(found.mean_px[0].value, 2.5);
        near(found.mean_px[0].uncertainty, (variance / 4.0f64).sqrt());
        near(found.variance_px2[0].value, variance - 0.01);
        near(
            found.variance_px2[0].uncertainty,
            variance * (2.0f64 / 3.0).sqrt(),
        );
        near(found.product_px2.value, 2.0 * variance);
        near(
            found.product_px2.uncertainty,
            2.0 * variance * (2.0f64 / 3.0).sqrt(),
        );
    }
}
