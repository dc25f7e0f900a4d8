//! The pulse length.

use motefield_report::decide::pulse::{curve, rows, shown};
use motefield_report::{self as report, table};
use motefield_rig::keys;
use motefield_rig::plan::Plan;
use motefield_rig::quantity::Dimension;
use motefield_rig::setup::Setup;
use motefield_study::decide::enough::Unmet;
use motefield_study::decide::limit::ErrorLimit;
use motefield_study::decide::thumb;
use motefield_study::decide::worth::Answered;
use motefield_study::decide::{PulseSearch, USUAL_LIMIT_PX, Wish, decide};
use serde_json::json;

use super::{DecideCommand, EXPLAINED, enough_json, exit, journal, told_tiles, velocity};
use crate::arguments::go_on;
use crate::exit::{Exit, Failure};
use crate::progress::Bar;
use crate::samples::{self, SamplePair};
use crate::set_options::set_options;
use crate::signals;

impl DecideCommand {
    pub(super) fn pulse(&self, setup: &Setup, plan: Plan) -> Result<Exit, Failure> {
        // The setup is checked whole before a directory is made.
        let search = PulseSearch::of_plan(setup, plan)?;
        let wish = Wish {
            limit_px: (self.limit.unwrap_or(ErrorLimit::Pixels(USUAL_LIMIT_PX)))
                .px(&search)
                .map_err(|e| Failure::about("--limit", e))?,
            ..self.wish()
        };
        let samples = samples::names();
        let mut names = vec!["table.csv", "decision.json", "curve.svg"];
        names.extend(samples.iter().map(String::as_str));
        let folder = self.open(setup, Some(&search.plan), &names)?;
        let go_on = go_on(&folder);
        let stop = signals::stop();
        let bar = Bar::new();
        let journal = journal(&folder);
        let decision = decide(&search, &wish, Some(&journal), &bar, stop).inspect_err(|_| bar.finish())?;
        let answered = Answered::of_pulse(&search, &decision);
        let worths = self.worths(setup, answered.as_ref(), &journal, &bar);
        let limit = self.limit.unwrap_or(ErrorLimit::Pixels(USUAL_LIMIT_PX));
        let unmet = Unmet::of_pulse(&search, &decision, limit);
        let enough = self.enough(unmet.as_ref(), &wish, &journal, &bar);
        bar.finish();
        let (worths, enough) = (worths?, enough?);
        // The worth of what is assumed belongs to the answer: without it there is none yet.
        let decision = match signals::stopped() {
            true => decision.without_answer(),
            false => decision,
        };
        let picture = report::curve::draw(&curve(&decision, &go_on));
        let mut files = vec![
            ("table.csv".to_owned(), table::csv(&rows(&decision)).into_bytes()),
            ("curve.svg".to_owned(), picture.into_bytes()),
        ];
        let alone = self.program().is_none();
        let shown = shown(&decision).into_iter();
        let shown: Vec<SamplePair> = shown
            .map(|pulse| SamplePair::at_pulse(setup, pulse))
            .collect::<Result<_, _>>()?;
        files.extend(samples::files(
            &shown,
            Some(&search.plan),
            self.effort.seed,
            alone,
        )?);
        let mut json = report::decide::pulse::json(&decision, setup, &go_on);
        json["assumed"] = report::decide::worth::json(&worths);
        json["pairs_for_assumed"] = json!(worths.pairs);
        json["tolerances"] = report::decide::worth::spread_json(&worths);
        json["enough"] = enough_json(enough.as_ref().filter(|_| !decision.stopped));
        let mut words = report::decide::pulse::words(&decision, &go_on);
        words += &told_tiles(decision.points.iter().map(|measured| &measured.point), &mut json);
        words += &self.failed(decision.points.iter().map(|measured| &measured.point))?;
        let mut at_best = setup.clone();
        if !decision.stopped {
            words += &enough.as_ref().map_or(String::new(), |enough| {
                report::decide::enough::words(enough, set_options)
            });
            if let Some((best, _)) = decision.best() {
                let pulse = Setup::quantity(best.pulse_s, Dimension::Time);
                at_best = setup.with(keys::light::PULSE_LENGTH.path, pulse)?;
                let left = thumb::left(&at_best, &decision)?;
                json["rule_of_thumb_left"] = report::decide::thumb::json(left.as_ref());
                words += &left.map_or(String::new(), |left| report::decide::thumb::words(&left));
                let limit = decision.velocity_m_s(wish.limit_px);
                let planned = search.plan.changed(&at_best)?;
                words += &velocity(&at_best, &planned, &best.point, limit, &mut json)?;
            }
            words += &report::decide::worth::words(&worths, answered.as_ref(), EXPLAINED);
        }
        let what = match decision.stopped {
            true => "Table and curve",
            false => "Table, curve and sample pairs",
        };
        self.end(folder, &at_best, files, &json, &words, what, decision.stopped)?;
        Ok(exit(decision.stopped, decision.met()))
    }
}
