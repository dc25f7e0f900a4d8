//! A choice from lists.

use motefield_report as report;
use motefield_rig::plan::plan;
use motefield_rig::setup::Setup;
use motefield_study::decide::choice::{ChoiceSearch, choose};
use motefield_study::decide::worth::Worths;
use serde_json::json;

use super::{DecideCommand, EXPLAINED, exit, journal, of_trials, told_tiles};
use crate::arguments::go_on;
use crate::exit::{Exit, Failure};
use crate::progress::Bar;
use crate::samples;
use crate::signals;

impl DecideCommand {
    pub(super) fn choice(&self, setup: &Setup) -> Result<Exit, Failure> {
        let search = ChoiceSearch::of(setup, &self.choose).map_err(|e| Failure::about("--for", e))?;
        let samples = samples::names();
        let mut names = vec!["choice.csv", "choice.svg", "decision.json"];
        names.extend(samples.iter().map(String::as_str));
        let folder = self.open(setup, plan(setup).ok().as_ref(), &names)?;
        let go_on = go_on(&folder);
        let stop = signals::stop();
        let bar = Bar::new();
        let choice = choose(search, &self.wish(), Some(&journal(&folder)), &bar, stop)?;
        bar.finish();
        let worths = Worths::listed(setup)?;
        let mut json = report::decide::choice::json(&choice, setup, &go_on);
        json["assumed"] = report::decide::worth::json(&worths);
        json["pairs_for_assumed"] = json!(worths.pairs);
        json["tolerances"] = report::decide::worth::spread_json(&worths);
        let table = report::decide::choice::csv(&choice).into_bytes();
        let picture = report::decide::choice_picture::draw(&choice, &go_on);
        let mut files = vec![
            ("choice.csv".to_owned(), table),
            ("choice.svg".to_owned(), picture.into_bytes()),
        ];
        let keys: Vec<&str> = choice.keys.iter().map(String::as_str).collect();
        let best = choice.best().map(|(trial, _)| trial);
        files.extend(self.samples(setup, &keys, choice.standing.as_ref(), best)?);
        let mut words = report::decide::choice::words(&choice, &go_on);
        words += &told_tiles(of_trials(&choice.trials), &mut json);
        words += &self.failed(of_trials(&choice.trials))?;
        let met = self.met(choice.best().map(|(_, best)| best));
        report::decide::add_limit(&mut json, self.limit, met);
        if !choice.stopped {
            words += &report::decide::limit_words(self.limit, met);
            words += &report::decide::worth::words(&worths, None, EXPLAINED);
        }
        let what = "Table, picture and sample pairs";
        self.end(folder, setup, files, &json, &words, what, choice.stopped)?;
        Ok(exit(
            choice.stopped,
            choice.best().is_some() && met != Some(false),
        ))
    }
}
