//! `demo --seeds N`: many communities in process, to see how often the intervals hold the truth.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::thread;
use std::time::{Duration, Instant};

use anyhow::{Context as _, anyhow};
use benchring_api::convert::pools::question_from_wire;
use benchring_domain::method::Catalogue;

use super::community::roster::ROSTER;
use super::community::{registered, sessions_of_the_roster, trials};
use super::compared::{Asked, Compared, Levels, Pooled, all};
use super::inside::Inside;
use super::invented::{PACKS, REFERENCE, WORKS};
use super::truth::Truths;

/// Sums over communities of what one group of comparisons came to.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Tally {
    /// Intervals with a truth.
    pub intervals: f64,
    /// Those that hold it.
    pub held: f64,
    /// Those that hold it without the allowance for the order of the packs.
    pub bare_held: f64,
    /// Sums over communities, for the error of the share: intervals squared, held squared, held times intervals.
    squares: [f64; 3],
    /// Sum of ln pool / truth, and of its square.
    pool_error: [f64; 2],
    /// Sum of the square of ln raw / truth.
    raw_error2: f64,
    errors: f64,
}

impl Tally {
    /// Takes in the comparisons of one community.
    fn add<'a>(&mut self, compared: impl Iterator<Item = &'a Compared>) {
        let (mut intervals, mut held) = (0.0, 0.0);
        for one in compared {
            if let Some(holds) = one.holds() {
                intervals += 1.0;
                held += f64::from(u8::from(holds));
                self.bare_held += f64::from(u8::from(one.bare_holds() == Some(true)));
            }
            if let (Some(pool), Some(raw)) = (one.pool_error(), one.raw_error()) {
                self.errors += 1.0;
                self.pool_error[0] += pool;
                self.pool_error[1] += pool * pool;
                self.raw_error2 += raw * raw;
            }
        }
        self.intervals += intervals;
        self.held += held;
        let squares = [intervals * intervals, held * held, held * intervals];
        self.squares.iter_mut().zip(squares).for_each(|(sum, square)| *sum += square);
    }

    /// Share of intervals that hold the truth.
    pub fn share(&self) -> f64 {
        self.held / self.intervals
    }

    /// Its Monte Carlo standard error. Communities are independent, the comparisons within one are not: they share
    /// arms. So this is the error of a ratio of sums over communities; with one interval a community it is the binomial
    /// sqrt(p (1 - p) / n).
    ///
    /// # Reference
    /// Cochran, Sampling Techniques, 3rd ed. (1977), equation 6.13; from memory.
    pub fn share_error(&self) -> f64 {
        let p = self.share();
        let [intervals2, held2, product] = self.squares;
        (held2 - 2.0 * p * product + p * p * intervals2).max(0.0).sqrt() / self.intervals
    }

    /// Mean of ln pool / truth.
    pub fn pool_bias(&self) -> f64 {
        self.pool_error[0] / self.errors
    }

    /// Root mean square of ln pool / truth.
    pub fn pool_rmse(&self) -> f64 {
        (self.pool_error[1] / self.errors).sqrt()
    }

    /// Root mean square of ln raw / truth.
    pub fn raw_rmse(&self) -> f64 {
        (self.raw_error2 / self.errors).sqrt()
    }
}

/// What many communities came to.
#[derive(Debug, Clone, Default)]
pub struct Outcome {
    /// Communities.
    pub communities: usize,
    /// By question.
    pub by_question: BTreeMap<Asked, Tally>,
    /// By work.
    pub by_work: BTreeMap<usize, Tally>,
    /// All.
    pub overall: Tally,
    half_widths: BTreeMap<Option<Asked>, Vec<f64>>,
    /// Comparisons of one unit only, and comparisons without an answer.
    pub not_counted: (usize, usize),
    /// Trials without a planted fault whose testers were asked something.
    pub asked: usize,
    /// How long it took.
    pub took: Duration,
}

/// The comparisons of one community.
///
/// # Errors
/// The checks refuse what the generator takes for sound, or a question cannot be read.
pub fn community(
    seed: u64,
    catalogue: &Catalogue,
    truths: &Truths,
) -> anyhow::Result<(Vec<Compared>, usize)> {
    let sent: Vec<_> = trials(seed, sessions_of_the_roster()).collect();
    let mut levels = Levels::default();
    for trial in &sent {
        levels.add(trial);
    }
    let inside = Inside::play(catalogue, registered(seed, ROSTER.len()), sent.into_iter())?;
    let compared = all().map(|asked| {
        let question = question_from_wire(asked.request())
            .judge("", |draft| draft.check(catalogue))
            .map_err(|broken| anyhow!("a question of the demo is refused: {broken}"))?;
        let answer = inside.ask(&question).ok();
        let pooled = answer.as_ref().and_then(|answer| answer.strata.first()).map(Pooled::of_stratum);
        Ok(Compared::new(asked, pooled, catalogue, truths, &levels))
    });
    Ok((compared.collect::<anyhow::Result<_>>()?, inside.asked))
}

/// Plays `count` communities with the seeds from `first` on, on every core.
///
/// # Errors
/// As [`community`].
pub fn play(first: u64, count: usize) -> anyhow::Result<Outcome> {
    let started = Instant::now();
    let catalogue = Catalogue::embedded()?;
    let truths = Truths::compute();
    let cores = thread::available_parallelism().map_or(1, usize::from).min(count.max(1));
    let parts = thread::scope(|scope| {
        let (catalogue, truths) = (&catalogue, &truths);
        let some = move |core: usize| {
            let seeds = (core..count).step_by(cores);
            seeds
                .map(|place| community(first + place as u64, catalogue, truths))
                .collect::<Result<Vec<_>, _>>()
        };
        let threads: Vec<_> = (0..cores).map(|core| scope.spawn(move || some(core))).collect();
        threads.into_iter().map(thread::ScopedJoinHandle::join).collect::<Vec<_>>()
    });
    let mut outcome = Outcome { communities: count, ..Outcome::default() };
    for part in parts {
        let part = part.ok().context("a thread of the demo broke")??;
        for (compared, asked) in part {
            outcome.add(&compared);
            outcome.asked += asked;
        }
    }
    outcome.took = started.elapsed();
    Ok(outcome)
}

impl Outcome {
    fn add(&mut self, compared: &[Compared]) {
        self.overall.add(compared.iter());
        for work in 0..WORKS.len() {
            let of_work = compared.iter().filter(|one| one.asked.work == work);
            self.by_work.entry(work).or_default().add(of_work);
        }
        for one in compared {
            self.by_question.entry(one.asked).or_default().add(std::iter::once(one));
            match (&one.pooled, one.many_units()) {
                (None, _) => self.not_counted.1 += 1,
                (Some(_), false) => self.not_counted.0 += 1,
                (Some(_), true) => {}
            }
            if let Some(half) = one.half_width().filter(|_| one.truth.is_some()) {
                self.half_widths.entry(Some(one.asked)).or_default().push(half);
                self.half_widths.entry(None).or_default().push(half);
            }
        }
    }

    /// Median of the half widths of intervals, log scale; of one question or of all.
    pub fn median_half_width(&self, asked: Option<Asked>) -> Option<f64> {
        let mut halves = self.half_widths.get(&asked)?.clone();
        let middle = halves.len() / 2;
        let (_, median, _) = halves.select_nth_unstable_by(middle, f64::total_cmp);
        Some(*median)
    }

    /// The table that `--seeds` prints.
    pub fn table(&self) -> String {
        let mut out = String::new();
        let header = format!(
            "{:<26} {:>6} {:>7} {:>5} {:>7}  {:>7} {:>7} {:>7}  {:>7}",
            "", "n", "held %", "±", "bare %", "bias %", "rmse %", "raw %", "half %"
        );
        let line = |name: &str, tally: &Tally, half: Option<f64>| {
            let percent = |x: f64| 100.0 * x;
            // Differences have none.
            let of_ratios = |x: f64| if x.is_nan() { "-".to_owned() } else { format!("{:.2}", percent(x)) };
            format!(
                "{name:<26} {:>6} {:>7.1} {:>5.1} {:>7.1}  {:>7} {:>7} {:>7}  {:>7}",
                tally.intervals,
                percent(tally.share()),
                percent(tally.share_error()),
                percent(tally.bare_held / tally.intervals),
                of_ratios(tally.pool_bias()),
                of_ratios(tally.pool_rmse()),
                of_ratios(tally.raw_rmse()),
                half.map_or_else(String::new, |half| format!("{:.1}", percent(half))),
            )
        };
        let mut put = |text: String| _ = writeln!(out, "{text}");
        put(format!(
            "{} invented communities of {} testers, {} trials each, in {:.1} s",
            self.communities,
            ROSTER.len(),
            sessions_of_the_roster(),
            self.took.as_secs_f64()
        ));
        put(format!("Every pack against {}; planted faults included.\n", PACKS[REFERENCE].code));
        put(header);
        for (work, of_work) in &self.by_work {
            if of_work.intervals > 0.0 {
                let class = WORKS[*work].demand_class.unwrap_or("-");
                put(line(&format!("{} ({class})", WORKS[*work].id), of_work, None));
            }
            for (asked, tally) in self.by_question.iter().filter(|(asked, _)| asked.work == *work) {
                if tally.intervals > 0.0 {
                    let name = format!("  {}", PACKS[asked.pack_b].code);
                    put(line(&name, tally, self.median_half_width(Some(*asked))));
                }
            }
        }
        put(line("all", &self.overall, self.median_half_width(None)));
        put(format!(
            "\nheld: share of 95 % intervals that hold the truth, ± its Monte Carlo standard error over communities;\n\
             bare: the same without the allowance for blocked orders, which makes intervals wider than scatter asks.\n\
             bias, rmse: of the pooled ratio about the truth; raw: rmse of plain averages. half: median half width.\n\
             Left out: {} comparisons that at most one voting unit made itself; {} without an answer.\n\
             Trials without a planted fault whose testers were asked something: {}.",
            self.not_counted.0, self.not_counted.1, self.asked
        ));
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::community::roster::pack::K8;
    use crate::demo::compared::Lead;
    use crate::demo::invented::work::SCREW_6;

    /// The least share that so few communities may show: 95 % less three times its error, about.
    const LEAST: f64 = 0.92;

    fn halved(mut compared: Compared) -> Compared {
        if let Some(pooled) = &mut compared.pooled {
            let half = |bound: Option<f64>| Some((bound? * pooled.ratio?).sqrt());
            (pooled.lower, pooled.upper) = (half(pooled.lower), half(pooled.upper));
        }
        compared
    }

    #[test]
    fn most_intervals_hold_the_truth_and_not_by_being_wide() {
        let (catalogue, truths) = (Catalogue::embedded().unwrap(), Truths::compute());
        let (mut outcome, mut too_narrow) = (Outcome::default(), Outcome::default());
        for seed in 1..=20 {
            let (compared, _) = community(seed, &catalogue, &truths).unwrap();
            outcome.add(&compared);
            too_narrow.add(&compared.into_iter().map(halved).collect::<Vec<_>>());
        }
        let (share, error) = (outcome.overall.share(), outcome.overall.share_error());
        assert!(share >= LEAST && error < 0.02, "{}", outcome.table());
        // An engine whose intervals are half as wide as they should be does not pass.
        assert!(too_narrow.overall.share() < LEAST - 0.02, "{}", too_narrow.table());
        let k8 = Asked { work: SCREW_6, pack_b: K8 };
        assert!(outcome.median_half_width(Some(k8)).unwrap() < 0.25, "{}", outcome.table());
        let screws = &outcome.by_work[&SCREW_6];
        assert!(screws.pool_rmse() < 0.6 * screws.raw_rmse(), "{}", outcome.table());
        assert!(screws.pool_bias().abs() < 0.015, "{}", outcome.table());
    }

    #[test]
    fn cores_share_the_work_and_change_nothing() {
        let outcome = play(7, 3).unwrap();
        let (catalogue, truths) = (Catalogue::embedded().unwrap(), Truths::compute());
        let mut alone = Outcome::default();
        for seed in 7..10 {
            alone.add(&community(seed, &catalogue, &truths).unwrap().0);
        }
        assert!((outcome.overall.held - alone.overall.held).abs() < 0.5);
        assert!((outcome.overall.pool_rmse() - alone.overall.pool_rmse()).abs() < 1e-9);
    }

    #[test]
    fn with_one_interval_a_community_the_error_is_binomial() {
        let mut tally = Tally::default();
        let one = |ratio: f64| Compared {
            asked: Asked { work: 0, pack_b: 1 },
            pooled: Some(Pooled {
                ratio: Some(ratio),
                lower: Some(0.9 * ratio),
                upper: Some(1.1 * ratio),
                bare: (Some(0.9 * ratio), Some(1.1 * ratio)),
                units: 3,
                testers: 3,
                trials: 3,
                air: String::new(),
                lead: Lead::Open,
            }),
            truth: Some(1.0),
            raw: Some(1.0),
        };
        for ratio in [1.0, 1.0, 1.0, 2.0] {
            tally.add(std::iter::once(&one(ratio)));
        }
        assert!((tally.share() - 0.75).abs() < 1e-12);
        assert!((tally.share_error() - (0.75_f64 * 0.25 / 4.0).sqrt()).abs() < 1e-12);
    }
}
