//! The progress bar, on standard error; silent when that is not a terminal.

use indicatif::{ProgressBar, ProgressStyle};
use motefield::study::Progress;

/// A bar that counts pairs.
pub struct Bar(ProgressBar);

impl Bar {
    /// A bar under way.
    pub fn new() -> Bar {
        let style = ProgressStyle::with_template("{elapsed:>4} {wide_bar} {pos}/{len} pairs, {eta} left")
            .expect("a template that was tried");
        let bar = ProgressBar::new(0).with_style(style);
        bar.enable_steady_tick(std::time::Duration::from_millis(500));
        Bar(bar)
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        self.0.finish_and_clear();
    }
}

impl Progress for Bar {
    fn expect(&self, pairs: usize) {
        self.0.set_length(pairs as u64);
    }
    fn done(&self) {
        self.0.inc(1);
    }
}
