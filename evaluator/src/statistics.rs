//! Intervals for figures taken from errors that are not independent.
//!
//! Overlapping windows see the same particles, so their errors are correlated and the number of
//! vectors overstates what is known. Every interval here rests on one of three things: the variance
//! of a mean over a grid of correlated values, measured on several independent pairs
//! ([`variance_of_mean`]); independent values, one per pair ([`mean_of_independent`],
//! [`jackknife`], [`bootstrap`]); or intervals that are known already and are combined
//! ([`weighted_sum`], [`ratio`], [`combine`]).

mod bootstrap;
mod combination;
mod components;
mod dependence;
mod derived;
mod estimate;
mod grid_values;
mod hotelling;
mod intervals;
mod jackknife;
mod moments;
mod neighbours;
mod paired;
mod quantiles;
mod rank_correlation;
mod sorted;
mod tiles;

pub use bootstrap::bootstrap;
pub use combination::{Combined, combine};
pub use components::{Components, local_and_random, local_and_random_of_tiles};
pub use dependence::variance_of_mean;
pub use derived::{ln_magnitude, lowest, ratio, slope, weighted_sum};
pub use estimate::{Confidence, Estimate};
pub use grid_values::GridValues;
pub use intervals::{
    chi_interval, fraction, mean, mean_of_independent, root_mean_square, root_mean_square_ratio, share,
    student,
};
pub use jackknife::jackknife;
pub use paired::{difference_in_standard_errors, not_above};
pub use quantiles::{median, quantile, quantiles};
pub use rank_correlation::rank_correlation;
pub use tiles::Tiles;

pub(crate) use dependence::covariance_of_means;
pub(crate) use hotelling::p_value;
pub(crate) use intervals::limited_freedom;
pub(crate) use moments::mean_and_deviation;
pub(crate) use quantiles::{median_high, quantile_low};
