//! A measurement as bytes, bit by bit.

use motefield_evaluator::score::Errors;

use super::measurement::Measurement;

/// A measurement with its place, as a record.
pub(super) fn record_bytes(point: usize, number: usize, measurement: &Measurement) -> Vec<u8> {
    let mut record = Writer::default();
    record.count(point);
    record.count(number);
    measurement.write(&mut record);
    record.0
}

/// Place and measurement of a record; `None` where the bytes are none.
pub(super) fn read_record(bytes: &[u8]) -> Option<([u64; 2], Measurement)> {
    let mut reader = ByteReader(bytes);
    let key = [reader.count()? as u64, reader.count()? as u64];
    Some((key, Measurement::read(&mut reader)?))
}

#[derive(Default)]
struct Writer(Vec<u8>);

impl Writer {
    fn count(&mut self, n: usize) {
        self.0.extend((n as u64).to_le_bytes());
    }

    fn vectors(&mut self, vectors: &[[f64; 2]]) {
        self.count(vectors.len());
        self.0
            .extend(vectors.iter().flatten().flat_map(|v| v.to_le_bytes()));
    }
}

struct ByteReader<'a>(&'a [u8]);

impl ByteReader<'_> {
    fn count(&mut self) -> Option<usize> {
        let (first, rest) = self.0.split_first_chunk::<8>()?;
        self.0 = rest;
        u64::from_le_bytes(*first).try_into().ok()
    }

    fn vectors(&mut self) -> Option<Vec<[f64; 2]>> {
        let count = self.count()?;
        let (bytes, rest) = self.0.split_at_checked(count.checked_mul(16)?)?;
        self.0 = rest;
        let number = |bytes: &[u8]| f64::from_le_bytes(bytes.try_into().expect("eight bytes"));
        Some(
            bytes
                .chunks_exact(16)
                .map(|pair| [number(&pair[..8]), number(&pair[8..])])
                .collect(),
        )
    }
}

impl Measurement {
    /// Bytes that it takes in memory, about.
    pub(super) fn size(&self) -> usize {
        let bounds = self.bound_px.iter().chain(&self.uncertainties_px);
        33 * self.errors.detected.len() + bounds.map(|vectors| 16 * vectors.len()).sum::<usize>()
    }

    fn write(&self, to: &mut Writer) {
        to.vectors(&self.errors.point_px);
        to.vectors(&self.errors.window_px);
        to.count(self.errors.detected.len());
        to.0.extend(self.errors.detected.iter().map(|yes| u8::from(*yes)));
        to.count(usize::from(self.bound_px.is_some()));
        to.vectors(self.bound_px.as_deref().unwrap_or_default());
        to.count(self.uncertainties_px.len());
        self.uncertainties_px.iter().for_each(|u| to.vectors(u));
        // Only a program that is not this one fails.
        if let Some(why) = &self.failure {
            to.0.extend(why.bytes());
        }
    }

    fn read(from: &mut ByteReader) -> Option<Measurement> {
        let (point_px, window_px) = (from.vectors()?, from.vectors()?);
        let count = from.count()?;
        let (detected, rest) = from.0.split_at_checked(count)?;
        from.0 = rest;
        let errors = Errors {
            point_px,
            window_px,
            detected: detected.iter().map(|yes| *yes == 1).collect(),
        };
        let has_bound = from.count()? == 1;
        let bound = from.vectors()?;
        let estimators = from.count()?;
        Some(Measurement {
            errors,
            bound_px: has_bound.then_some(bound),
            uncertainties_px: (0..estimators).map(|_| from.vectors()).collect::<Option<_>>()?,
            failure: match from.0 {
                [] => None,
                why => Some(String::from_utf8(why.to_vec()).ok()?),
            },
        })
    }
}
