//! `correlate --each`: the pairs of a recording one by one, and what they tell together.

use std::path::Path;

use motefield_evaluator::uncertainty::{cautions, estimate};
use motefield_evaluator::{Processing, correlate};
use motefield_files::{self as files, OutputDirectory};
use motefield_report::{series as report, vectors};
use motefield_study::caveat::Caveat;
use motefield_study::manifest::{FileHash, Manifest};
use motefield_study::series::FieldSeries;
use serde_json::json;

use super::{CorrelateCommand, ReadProcessing};
use crate::exit::{Exit, Failure};
use crate::output::{print, say};
use crate::signals;

/// The table of mean and fluctuation.
const MEAN: &str = "mean.csv";
/// What was measured, from what.
const MANIFEST: &str = "manifest.json";

impl CorrelateCommand {
    /// Measures pair after pair; only one is held in memory, with the vectors of all.
    pub(super) fn each(&self, directory: &Path, read: ReadProcessing) -> Result<Exit, Failure> {
        let series = self.pictures.open(&self.frames)?;
        let count = series.len() / 2;
        let name = |k: usize| format!("vectors-{k:05}.csv");
        let mut directory = OutputDirectory::new(Some(directory), "vectors", self.force);
        let names = (0..count).map(name).chain([MEAN.to_owned(), MANIFEST.to_owned()]);
        directory.prepare(names)?;
        let stop = signals::stop();
        let mut fields = FieldSeries::default();
        let mut written = Vec::new();
        let mut all_cautions = Vec::new();
        for k in 0..count {
            if stop.load(std::sync::atomic::Ordering::Relaxed) {
                say(&format!(
                    "Stopped after {k} of {count} pairs; their vectors are kept."
                ));
                return Ok(signals::exit());
            }
            let pair = series.pair(k)?;
            let (table, found) = self.one(
                &pair.map(|frame| frame.pixels),
                &read.processing,
                &series.name(2 * k),
                &mut fields,
            )?;
            all_cautions = found;
            directory.write(&name(k), table.as_bytes())?;
            written.push(FileHash::of(name(k), table));
        }
        let places = fields.statistics();
        let mean = report::csv(&places);
        directory.write(MEAN, mean.as_bytes())?;
        written.push(FileHash::of(MEAN, mean));
        let hashes = series.files();
        let hashes = hashes.iter().filter_map(|file| {
            Some(FileHash {
                path: file.display().to_string(),
                sha256: files::sha256(file)?,
            })
        });
        let asked = json!({ "each": true, "uncertainty": self.uncertainty.map(|e| e.to_string()) });
        let mut manifest = Manifest::new("correlate", asked)
            .with_files(read.files_read)
            .with_files(hashes);
        manifest.setup = Some(read.setup);
        manifest.files_written = written;
        manifest.finished = true;
        directory.write(MANIFEST, manifest.text().as_bytes())?;
        let mut words = report::words(count, &places);
        if self.uncertainty.is_none() {
            words.push_str(
                "The fluctuation contains the random error of the vectors; --uncertainty takes it off.\n",
            );
        }
        print(&format!(
            "{words}{}Tables: {}\n",
            vectors::cautions_words(&all_cautions),
            directory.directory().display()
        ))?;
        Ok(Exit::Done)
    }

    /// The table of one pair, and what to beware of in its uncertainties.
    fn one(
        &self,
        [a, b]: &[ndarray::Array2<f32>; 2],
        processing: &Processing,
        name: &str,
        fields: &mut FieldSeries,
    ) -> Result<(String, Vec<motefield_evaluator::uncertainty::Caution>), Failure> {
        let about = |e: motefield_evaluator::ProcessingError| {
            Failure::input(format!("processing from {name} on: {e}"))
        };
        let field = correlate(a.view(), b.view(), processing).map_err(about)?;
        let estimated = match self.uncertainty {
            None => None,
            Some(estimator) => {
                Some(estimate(a.view(), b.view(), &field, processing, estimator).map_err(about)?)
            }
        };
        let uncertainties = estimated.as_deref();
        fields.add(&field, uncertainties)?;
        let mut caveats = Caveat::of_frames(&[[a.view(), b.view()]]);
        caveats.extend(Caveat::of_field(&field));
        let found = self
            .uncertainty
            .map(|estimator| cautions(estimator, &field))
            .unwrap_or_default();
        Ok((vectors::csv(&field, uncertainties, &caveats), found))
    }
}
