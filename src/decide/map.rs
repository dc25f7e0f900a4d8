//! Settings set free: the curve or map of their error.

use motefield_report as report;
use motefield_rig::keys;
use motefield_rig::keys::choices::PulseFreedom;
use motefield_rig::plan::plan;
use motefield_rig::setup::Setup;
use motefield_study::StudyError;
use motefield_study::decide::enough::Unmet;
use motefield_study::decide::map::{self, FreeSetting, MOST_SETTINGS};
use motefield_study::decide::question::Question;
use motefield_study::decide::worth::Answered;
use serde_json::json;

use super::{DecideCommand, EXPLAINED, enough_json, exit, journal, of_trials, told_tiles, velocity};
use crate::arguments::go_on;
use crate::exit::{Exit, Failure};
use crate::progress::Bar;
use crate::samples;
use crate::set_options::set_options;
use crate::signals;

impl DecideCommand {
    /// The settings named under `--free` with those that join them, and what is asked then.
    pub(super) fn freed(&self, setup: &Setup, free: &str) -> Result<(Question, Vec<FreeSetting>), Failure> {
        let keys: Vec<&str> = free.split(',').map(str::trim).collect();
        if keys.len() > MOST_SETTINGS || keys.contains(&"") {
            return Err(Failure::input(format!(
                "--free {free}: must name two or three settings, such as --free light.pulse_length,timing.separation"
            )));
        }
        let named = self.axes(setup, free, &keys)?;
        let fixed = setup.light.pulse == Some(PulseFreedom::Fixed)
            || (setup.light.pulse.is_none() && setup.light.pulse_energy_j.is_some());
        if keys.len() > 1 && !fixed {
            return Ok((Question::Settings, named));
        }
        let question = match Question::of(setup) {
            Ok(question) => question,
            // Of settings that are all named, the rig need not say which it asks about.
            Err(_) if keys.len() > 1 => return Ok((Question::Settings, named)),
            Err(refused) => return Err(refused.into()),
        };
        if keys.len() > 1 && question != Question::Separation {
            return Ok((Question::Settings, named));
        }
        if question == Question::PulseLength && keys == [keys::light::PULSE_LENGTH.path] {
            return Err(Failure::input(format!(
                "--free {free}: is what is asked without --free; name two settings, such as --free light.pulse_length,timing.separation"
            )));
        }
        let axes = map::axes_beside(setup, question, named).map_err(|e| Failure::about("--free", e))?;
        Ok((question, axes))
    }

    /// Settings named under `--free`, with their ranges.
    fn axes(&self, setup: &Setup, free: &str, keys: &[&str]) -> Result<Vec<FreeSetting>, Failure> {
        let twice = (1..keys.len()).any(|k| keys[..k].contains(&keys[k]));
        if twice {
            return Err(Failure::input(format!(
                "--free {free}: names the same setting twice"
            )));
        }
        let mut ranges = Vec::new();
        for range in &self.range {
            if let Some((key, _)) = range.split_once('=') {
                map::known_key(key.trim()).map_err(|e| Failure::about("--range", e))?;
            }
            match range.split_once('=') {
                Some((key, values)) if keys.contains(&key.trim()) => ranges.push((key.trim(), values.trim())),
                _ => {
                    return Err(Failure::input(format!(
                        "--range {range}: must be KEY=FROM..TO with a key named under --free ({free})"
                    )));
                }
            }
        }
        let range = |key: &str| {
            ranges
                .iter()
                .rfind(|(of, _)| *of == key)
                .map(|(_, values)| *values)
        };
        let axis = |key: &str| {
            let option = if range(key).is_some() { "--range" } else { "--free" };
            FreeSetting::new(setup, key, range(key)).map_err(|e| Failure::about(option, e))
        };
        keys.iter().map(|key| axis(key)).collect()
    }

    pub(super) fn map(
        &self,
        setup: &Setup,
        question: Question,
        axes: Vec<FreeSetting>,
    ) -> Result<Exit, Failure> {
        let about = |e: StudyError| match self.free {
            Some(_) => Failure::about("--free", e),
            None => e.into(),
        };
        map::check(setup, &axes).map_err(about)?;
        let picture = match axes.len() {
            1 => Some("curve.svg"),
            2 => Some("map.svg"),
            _ => None,
        };
        let samples = samples::names();
        let mut names = vec!["map.csv", "decision.json"];
        names.extend(samples.iter().map(String::as_str));
        names.extend(picture);
        let folder = self.open(setup, plan(setup).ok().as_ref(), &names)?;
        let go_on = go_on(&folder);
        let stop = signals::stop();
        let bar = Bar::new();
        let journal = journal(&folder);
        let map = map::map(setup, question, axes, &self.wish(), Some(&journal), &bar, stop);
        let map = map.inspect_err(|_| bar.finish()).map_err(about)?;
        let answered = Answered::of_map(setup, &map);
        let worths = self.worths(setup, answered.as_ref(), &journal, &bar);
        let unmet = Unmet::of_map(setup, &map, self.limit);
        let enough = self.enough(unmet.as_ref(), &self.wish(), &journal, &bar);
        bar.finish();
        let (worths, enough) = (worths?, enough?);
        // The worth of what is assumed belongs to the answer: without it there is none yet.
        let map = match signals::stopped() {
            true => map.without_answer(),
            false => map,
        };
        let mut json = report::decide::map::json(&map, setup, &go_on);
        json["assumed"] = report::decide::worth::json(&worths);
        json["pairs_for_assumed"] = json!(worths.pairs);
        json["tolerances"] = report::decide::worth::spread_json(&worths);
        json["enough"] = enough_json(enough.as_ref().filter(|_| !map.stopped));
        let mut files = vec![("map.csv".to_owned(), report::decide::map::csv(&map).into_bytes())];
        files.extend(picture.map(|name| {
            let drawn = match map.axes.len() {
                1 => report::decide::line_picture::draw(&map, &go_on),
                _ => report::decide::map_picture::draw(&map, &go_on),
            };
            (name.to_owned(), drawn.into_bytes())
        }));
        let keys: Vec<&str> = map.axes.iter().map(|axis| axis.key.as_str()).collect();
        files.extend(self.samples(setup, &keys, map.standing.as_ref(), map.best().map(|(t, _)| t))?);
        let mut words = report::decide::map::words(&map, &go_on);
        words += &told_tiles(of_trials(&map.trials), &mut json);
        words += &self.failed(of_trials(&map.trials))?;
        let best = map.best().map(|(_, best)| best);
        let met = self.met(best);
        report::decide::add_limit(&mut json, self.limit, met);
        let mut at_best = setup.clone();
        if !map.stopped {
            words += &report::decide::limit_words(self.limit, met);
            words += &enough.as_ref().map_or(String::new(), |enough| {
                report::decide::enough::words(enough, set_options)
            });
            if let Some((trial, best)) = map.best() {
                let changes: Vec<_> = (map.axes.iter().zip(&trial.values))
                    .map(|(axis, value)| (axis.key.as_str(), value.value()))
                    .collect();
                at_best = setup.with_all(&changes)?;
                let limit = self.limit.and_then(|limit| limit.m_s(best));
                let planned = motefield_rig::plan::plan(&at_best)?;
                words += &velocity(&at_best, &planned, &best.point, limit, &mut json)?;
            }
            words += &report::decide::worth::words(&worths, answered.as_ref(), EXPLAINED);
        }
        let what = match map.axes.len() {
            1 => "Curve, table and sample pairs",
            2 => "Map, table and sample pairs",
            _ => "Table and sample pairs",
        };
        self.end(folder, &at_best, files, &json, &words, what, map.stopped)?;
        Ok(exit(map.stopped, map.best().is_some() && met != Some(false)))
    }
}
