//! What was computed before, by the bits of all that it depends on: a study plans a rig hundreds of
//! times, mostly with the same particles, light and lens.

use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

/// Most values that are kept.
const MOST: usize = 4096;

/// Values of a function of N numbers.
pub(super) struct Known<const N: usize>(Mutex<BTreeMap<[u64; N], f64>>);

impl<const N: usize> Known<N> {
    pub(super) const fn new() -> Known<N> {
        Known(Mutex::new(BTreeMap::new()))
    }

    /// The value for `numbers`, computed where it is not known.
    pub(super) fn or_compute<E>(
        &self,
        numbers: [f64; N],
        compute: impl FnOnce() -> Result<f64, E>,
    ) -> Result<f64, E> {
        let key = numbers.map(f64::to_bits);
        // Entries are whole or not there, so a thread that panicked leaves nothing wrong behind.
        let known = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(&value) = known().get(&key) {
            return Ok(value);
        }
        let value = compute()?;
        let mut known = known();
        if known.len() == MOST {
            known.clear();
        }
        known.insert(key, value);
        Ok(value)
    }
}
