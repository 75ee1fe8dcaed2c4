//! The scatter that a plan reckons with, and what each figure rests on.

use std::collections::BTreeMap;

use benchring_stats::power::Noise;
use serde::{Deserialize, Serialize};

use super::request::Asked;
use crate::disclosure::words;
use crate::method::{Catalogue, Method, ResponseScale};

/// Spread between testers taken where no trials show one, on the log scale: 5 %. An assumption.
pub const USUAL_TESTER_SD: f64 = 0.05;

words!(
    /// What a figure of a plan rests on.
    RestsOn {
        /// Stated in the request.
        Stated = "stated",
        /// Shown by trials that count.
        Evidence = "evidence",
        /// The method file.
        MethodFile = "method_file",
        /// Assumed.
        Assumed = "assumed",
        /// Not apart from another figure: where a run is a charge, runs hold it.
        Contained = "contained",
    }
);

/// A standard deviation, on the scale of contrasts (natural logarithm, or the canonical unit).
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Its value.
    pub sd: f64,
    /// What it rests on.
    pub rests_on: RestsOn,
    /// Trials, or pairs of packs, that show it; 0 where it does not rest on evidence.
    pub count: usize,
    /// Whence, in words.
    pub source: String,
}

/// A figure that trials show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShownFigure {
    /// On the scale of contrasts.
    pub sd: f64,
    /// Trials, or pairs of packs, behind it.
    pub count: usize,
}

/// What the trials of the method show; nothing where there are none at hand.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shown {
    /// Between runs.
    pub run: Option<ShownFigure>,
    /// Between charges.
    pub charge: Option<ShownFigure>,
    /// Between testers.
    pub testers: Option<ShownFigure>,
    /// As of which sequence, and the last that changed the evidence; `None` without a server.
    pub versions: Option<(i64, i64)>,
}

/// The three figures of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Between runs on one charge.
    pub run: Figure,
    /// Between charges of one pack.
    pub charge: Figure,
    /// Between testers in the contrast.
    pub testers: Figure,
}

impl Figures {
    pub(super) fn of(asked: &Asked, method: &Method, catalogue: &Catalogue, shown: &Shown) -> Self {
        let [run, charge, testers] = asked.stated;
        Self {
            run: run.map_or_else(|| run_figure(asked, method, catalogue, shown), stated),
            charge: if method.run_is_charge {
                Figure {
                    sd: 0.0,
                    rests_on: RestsOn::Contained,
                    count: 0,
                    source: "a run is a charge: what charges differ by is in the scatter of runs".to_owned(),
                }
            } else {
                charge.map_or_else(|| charge_figure(method, catalogue, shown), stated)
            },
            testers: testers.map_or_else(|| tester_figure(method, shown), stated),
        }
    }

    pub(super) fn noise(&self) -> Noise {
        Noise { run: self.run.sd, charge: self.charge.sd, between: self.testers.sd }
    }
}

fn stated(sd: f64) -> Figure {
    Figure { sd, rests_on: RestsOn::Stated, count: 0, source: "as stated".to_owned() }
}

fn shown_by(figure: ShownFigure, what: &str) -> Figure {
    let ShownFigure { sd, count } = figure;
    Figure { sd, rests_on: RestsOn::Evidence, count, source: format!("{count} {what}") }
}

fn run_figure(asked: &Asked, method: &Method, catalogue: &Catalogue, shown: &Shown) -> Figure {
    if let Some(figure) = shown.run {
        return shown_by(figure, "trials of the method that count");
    }
    let family = asked.workpiece_family.iter().map(|family| ("workpiece_family".to_owned(), family.clone()));
    let keys: BTreeMap<String, String> = family.collect();
    match method.scatter_for(&keys) {
        Some(scatter) => Figure {
            sd: on_scale(method, scatter.range.max),
            rests_on: RestsOn::MethodFile,
            count: 0,
            source: format!(
                "upper end of the method file's range for {}: {}",
                scatter.label,
                catalogue.source(&scatter.source).unwrap_or(&scatter.source)
            ),
        },
        None => Figure {
            sd: on_scale(method, 0.08),
            rests_on: RestsOn::Assumed,
            count: 0,
            source: "assumed: the method file names no scatter".to_owned(),
        },
    }
}

/// A CV as the sd of the logarithm, √ln(1 + CV²); a difference as it is.
fn on_scale(method: &Method, scatter: f64) -> f64 {
    match method.response.scale {
        ResponseScale::Ratio => benchring_stats::power::log_sd(scatter).unwrap_or(scatter),
        ResponseScale::Difference => scatter,
    }
}

fn charge_figure(method: &Method, catalogue: &Catalogue, shown: &Shown) -> Figure {
    if let Some(figure) = shown.charge {
        return shown_by(figure, "trials with several charges");
    }
    let source = catalogue.source(&method.charge_sd_source).unwrap_or(&method.charge_sd_source);
    Figure {
        sd: method.charge_sd,
        rests_on: RestsOn::MethodFile,
        count: 0,
        source: format!("upper end of the method file: {source}"),
    }
}

fn tester_figure(method: &Method, shown: &Shown) -> Figure {
    if let Some(figure) = shown.testers {
        return shown_by(figure, "pairs of packs that three or more testers compared");
    }
    let (sd, source) = match method.response.scale {
        ResponseScale::Ratio => (USUAL_TESTER_SD, "assumed: no pair of packs shows how far testers differ"),
        ResponseScale::Difference => (
            method.charge_sd,
            "assumed as large as between charges: no pair of packs shows how far testers differ",
        ),
    };
    Figure { sd, rests_on: RestsOn::Assumed, count: 0, source: source.to_owned() }
}
