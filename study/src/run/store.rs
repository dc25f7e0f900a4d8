//! Where the measurements of a study are until its figures are made: the first of every point in
//! memory, so that small studies need no disk, the others in a file, so that memory does not grow
//! with the number of pairs.

use std::borrow::Cow;
use std::fmt;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

use motefield_evaluator::score::{Errors, PairErrors};
use motefield_files::record::{RecordFile, RecordPlace};

use super::measurement::Measurement;
use super::record::{read_record, record_bytes};

/// Bytes of measurements that each point has in memory.
const MOST_HELD: usize = 1 << 20;

/// A measurement that is in a file.
#[derive(Debug, Clone)]
pub(super) struct Written {
    file: Arc<RecordFile>,
    place: RecordPlace,
}

impl Written {
    /// Adds a measurement to a file; `None` where it does not take it.
    pub(super) fn add(file: &Arc<RecordFile>, bytes: &[u8]) -> Option<Written> {
        let place = file.add(bytes)?;
        let file = Arc::clone(file);
        Some(Written { file, place })
    }

    /// That of a record which stands in the file.
    pub(super) fn found(file: &Arc<RecordFile>, place: RecordPlace) -> Written {
        let file = Arc::clone(file);
        Written { file, place }
    }

    /// The measurement; `None` where the system does not give it back.
    pub(super) fn read(&self) -> Option<Measurement> {
        let bytes = self.file.read(self.place).ok()?;
        Some(read_record(&bytes)?.1)
    }
}

/// Makes a measurement of a point once more, by its number: the same to the bit.
#[derive(Clone)]
pub(super) struct Again(Arc<dyn Fn(usize) -> Measurement + Send + Sync>);

impl Again {
    pub(super) fn by(measure: impl Fn(usize) -> Measurement + Send + Sync + 'static) -> Again {
        Again(Arc::new(measure))
    }

    pub(super) fn measure(&self, number: usize) -> Measurement {
        (self.0)(number)
    }
}

impl fmt::Debug for Again {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Again")
    }
}

/// A measurement in memory, or in a file and made again where that does not give it back.
#[derive(Debug)]
pub(super) enum KeptMeasurement {
    InMemory(Box<Measurement>),
    InFile(Written, Again),
}

/// Keeps the measurements of several points.
pub(super) struct Keeper {
    /// Of each point, how its measurements are made again: those of a point that has none stay in
    /// memory.
    again: Vec<Option<Again>>,
    /// Bytes in memory of each point.
    held: Vec<AtomicUsize>,
    /// A file of its own, made when it is needed; `None` where there can be none.
    file: OnceLock<Option<Arc<RecordFile>>>,
}

impl Keeper {
    pub(super) fn new(again: Vec<Option<Again>>) -> Keeper {
        Keeper {
            held: again.iter().map(|_| AtomicUsize::new(0)).collect(),
            again,
            file: OnceLock::new(),
        }
    }

    /// Keeps a measurement, of which a journal may have `written` a copy. What no disk takes stays
    /// in memory.
    pub(super) fn keep(
        &self,
        point: usize,
        measurement: Measurement,
        written: Option<Written>,
    ) -> KeptMeasurement {
        let size = measurement.size();
        let few = self.held[point].fetch_add(size, Ordering::Relaxed) + size <= MOST_HELD;
        let Some(again) = self.again[point].as_ref().filter(|_| !few) else {
            return KeptMeasurement::InMemory(Box::new(measurement));
        };
        let own = || {
            let file = self
                .file
                .get_or_init(|| RecordFile::temporary().ok().map(Arc::new));
            Written::add(file.as_ref()?, &record_bytes(0, 0, &measurement))
        };
        match written.or_else(own) {
            Some(written) => KeptMeasurement::InFile(written, again.clone()),
            None => KeptMeasurement::InMemory(Box::new(measurement)),
        }
    }
}

/// The measurements of a point, in their order.
#[derive(Debug, Default)]
pub(super) struct Measurements(pub(super) Vec<KeptMeasurement>);

impl Measurements {
    /// The measurement of a number.
    pub(super) fn get(&self, number: usize) -> Cow<'_, Measurement> {
        match &self.0[number] {
            KeptMeasurement::InMemory(measurement) => Cow::Borrowed(measurement),
            KeptMeasurement::InFile(written, again) => {
                Cow::Owned(written.read().unwrap_or_else(|| again.measure(number)))
            }
        }
    }
}

impl PairErrors for Measurements {
    fn number(&self) -> usize {
        self.0.len()
    }

    fn pair(&self, number: usize) -> Cow<'_, Errors> {
        match self.get(number) {
            Cow::Borrowed(measurement) => Cow::Borrowed(&measurement.errors),
            Cow::Owned(measurement) => Cow::Owned(measurement.errors),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A quarter of what is in memory, told apart by its number.
    fn measurement(number: usize) -> Measurement {
        let count = MOST_HELD / 4 / 49;
        let vectors = |by: f64| (0..count).map(|k| [by + k as f64, f64::NAN]).collect::<Vec<_>>();
        Measurement {
            errors: Errors {
                point_px: vectors(number as f64),
                window_px: vectors(-0.0),
                detected: (0..count).map(|k| k % (number + 2) == 0).collect(),
            },
            bound_px: None,
            uncertainties_px: vec![vectors(0.1)],
            failure: (number % 2 == 1).then(|| format!("why {number}")),
        }
    }

    fn in_memory(kept: &KeptMeasurement) -> bool {
        matches!(kept, KeptMeasurement::InMemory(_))
    }

    /// The first of each point stay in memory, and the others come back bit by bit: from the
    /// journal where that has them, else from a file of their own.
    #[test]
    fn many_measurements_are_in_a_file() {
        let journal = Arc::new(RecordFile::temporary().unwrap());
        for with_journal in [true, false] {
            let never = |_| -> Measurement { panic!("the file gives it back") };
            let keeper = Keeper::new([(); 2].map(|()| Some(Again::by(never))).to_vec());
            let keep = |point, number| {
                let measurement = measurement(number);
                let bytes = record_bytes(point, number, &measurement);
                let written = with_journal.then(|| Written::add(&journal, &bytes).unwrap());
                keeper.keep(point, measurement, written)
            };
            let [one, two] = [0, 1].map(|point| (0..9).map(|k| keep(point, k)).collect());
            let expected: Vec<bool> = (0..9).map(|k| k < 4).collect();
            for measurements in [Measurements(one), Measurements(two)] {
                assert_eq!(measurements.0.iter().map(in_memory).collect::<Vec<_>>(), expected);
                for k in 0..9 {
                    let bytes = |m: &Measurement| record_bytes(0, k, m);
                    assert_eq!(bytes(&measurements.get(k)), bytes(&measurement(k)), "{k}");
                    let errors = measurements.pair(k);
                    assert_eq!(errors.detected, measurement(k).errors.detected);
                }
            }
            assert_eq!(keeper.file.get().is_none(), with_journal);
        }
    }

    /// Where no file can be made nothing is lost.
    #[test]
    fn without_a_disk_all_stay_in_memory() {
        let keeper = Keeper::new(vec![Some(Again::by(measurement))]);
        keeper.file.set(None).unwrap();
        let all = (0..9).map(|k| keeper.keep(0, measurement(k), None)).collect();
        let measurements = Measurements(all);
        assert!(measurements.0.iter().all(in_memory));
        assert_eq!(measurements.get(8).errors.point_px[3][0], 11.0);
    }

    /// A file that was shortened does not give a measurement back: it is made again. What cannot be
    /// made again stays in memory.
    #[test]
    fn what_a_file_lost_is_made_again() {
        let path = std::env::temp_dir().join(format!("motefield-lost-{}", std::process::id()));
        let file = Arc::new(RecordFile::begin(&path, "test", true).unwrap());
        let keeper = Keeper::new(vec![Some(Again::by(measurement)), None]);
        let keep = |point, number| {
            let measurement = measurement(number);
            let written = Written::add(&file, &record_bytes(point, number, &measurement));
            keeper.keep(point, measurement, written)
        };
        let [one, other] = [0, 1].map(|point| Measurements((0..6).map(|k| keep(point, k)).collect()));
        assert!(!in_memory(&one.0[5]) && in_memory(&other.0[5]));
        std::fs::OpenOptions::new()
            .write(true)
            .open(&path)
            .unwrap()
            .set_len(100)
            .unwrap();
        for measurements in [one, other] {
            let bytes = |m: &Measurement| record_bytes(0, 5, m);
            assert_eq!(bytes(&measurements.get(5)), bytes(&measurement(5)));
        }
        std::fs::remove_file(path).unwrap();
    }
}
