//! `demo --false-alarms N`: honest trials, checked in process, and how often each check says something about them; then
//! slips planted in some of them, and how often the checks notice.

mod slips;
mod table;

use std::collections::BTreeMap;
use std::thread;
use std::time::{Duration, Instant};

use anyhow::anyhow;
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::TesterId;
use benchring_domain::method::Catalogue;
use benchring_domain::trial::Checked;
use benchring_domain::violation::Violations;

use self::slips::{SLIPS, Slip};
use super::community::{PlayedTrial, honest_dozen, registered, specimens, trials_of};
use super::invented::WORKS;
use super::shelf::Shelf;

/// In every so many trials a slip is planted, each kind of it for itself.
const SLIP_IN: usize = 5;

/// What a check did about a trial; the worst of several.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Said {
    /// A note that asks nothing.
    Told,
    /// A question to the tester.
    Asked,
    /// A refusal.
    Refused,
}

/// Trials that a check said something about.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Count {
    /// Told, asked, refused.
    pub said: [usize; 3],
    /// Of the asked and refused: with a run that had gone wrong by chance.
    pub stray: usize,
}

/// How a slip fared.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Noticed {
    /// Trials it was planted in.
    pub planted: usize,
    /// Asked about, though nothing was asked of the same trial without it.
    pub asked: usize,
    /// Refused.
    pub refused: usize,
    /// The true value was among the corrections offered.
    pub named: usize,
}

/// What honest trials and planted slips came to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outcome {
    /// Honest trials.
    pub trials: usize,
    /// Honest trials by method.
    pub by_method: BTreeMap<&'static str, usize>,
    /// By name of the check and method.
    pub counts: BTreeMap<(String, &'static str), Count>,
    /// Trials asked anything or refused, by method.
    pub any: BTreeMap<&'static str, usize>,
    /// Slips by kind and method.
    pub slips: BTreeMap<(&'static str, &'static str), Noticed>,
    /// How long it took.
    pub took: Duration,
}

/// Draws `count` honest trials of a seed, on every core.
///
/// # Errors
/// The community cannot be registered.
pub fn play(seed: u64, count: usize) -> anyhow::Result<Outcome> {
    let started = Instant::now();
    let catalogue = Catalogue::embedded()?;
    let shelf = Shelf::fill(&catalogue, registered(seed, 0))?;
    let shares = dozens(count);
    let cores = thread::available_parallelism().map_or(1, usize::from).min(shares.len().max(1));
    let parts = thread::scope(|scope| {
        let (catalogue, shelf, shares) = (&catalogue, &shelf, &shares);
        let some = move |core: usize| {
            let mut outcome = Outcome::default();
            for (dozen, trials) in shares.iter().enumerate().skip(core).step_by(cores) {
                outcome.dozen(seed, dozen, *trials, catalogue, shelf.clone())?;
            }
            Ok::<_, anyhow::Error>(outcome)
        };
        let threads: Vec<_> = (0..cores).map(|core| scope.spawn(move || some(core))).collect();
        threads.into_iter().map(thread::ScopedJoinHandle::join).collect::<Vec<_>>()
    });
    let mut all = Outcome::default();
    for part in parts {
        all.add(part.map_err(|_| anyhow!("a thread of the demo broke"))??);
    }
    all.took = started.elapsed();
    Ok(all)
}

/// How many trials each dozen of testers draws, in turn, until there are `count`.
fn dozens(count: usize) -> Vec<usize> {
    let of_a_dozen = super::community::sessions_of_the_roster();
    let whole = count / of_a_dozen;
    let rest = count % of_a_dozen;
    let mut shares = vec![of_a_dozen; whole];
    shares.extend((rest > 0).then_some(rest));
    shares
}

impl Outcome {
    fn dozen(
        &mut self,
        seed: u64,
        dozen: usize,
        trials: usize,
        catalogue: &Catalogue,
        mut shelf: Shelf,
    ) -> anyhow::Result<()> {
        let testers = honest_dozen(dozen);
        shelf.own(specimens(seed, testers.clone()))?;
        for (place, played) in testers.flat_map(|place| trials_of(seed, place)).take(trials).enumerate() {
            let tester = TesterId::parse(&played.tester)?;
            let checked = shelf.check(catalogue, &tester, played.sent.clone());
            self.honest(&played, &checked);
            if (place + dozen).is_multiple_of(SLIP_IN) {
                for slip in &SLIPS {
                    self.slip(slip, &played, &checked, |sent| shelf.check(catalogue, &tester, sent));
                }
            }
        }
        Ok(())
    }

    fn honest(&mut self, played: &PlayedTrial, checked: &Result<Checked, Violations>) {
        let method = WORKS[played.work].method;
        self.trials += 1;
        *self.by_method.entry(method).or_default() += 1;
        let said = said(checked);
        for (name, said) in &said {
            let count = self.counts.entry((name.clone(), method)).or_default();
            count.said[*said as usize] += 1;
            count.stray += usize::from(*said > Said::Told && played.stray);
        }
        *self.any.entry(method).or_default() += usize::from(said.values().any(|said| *said > Said::Told));
    }

    fn slip(
        &mut self,
        slip: &Slip,
        played: &PlayedTrial,
        honest: &Result<Checked, Violations>,
        check: impl Fn(benchring_api::v1::Trial) -> Result<Checked, Violations>,
    ) {
        let work = &WORKS[played.work];
        let Some((sent, truth)) = slip.plant(work, &played.sent) else { return };
        let noticed = self.slips.entry((slip.name, work.method)).or_default();
        noticed.planted += 1;
        let before = said(honest);
        let checked = check(sent);
        let new = |(name, said): (&String, &Said)| {
            *said > Said::Told && before.get(name).is_none_or(|before| before < said)
        };
        match &checked {
            Err(_) => noticed.refused += 1,
            Ok(_) => noticed.asked += usize::from(said(&checked).iter().any(new)),
        }
        if let Ok(checked) = &checked {
            noticed.named += usize::from(checked.findings.iter().any(|finding| offers(finding, truth)));
        }
    }

    fn add(&mut self, other: Self) {
        self.trials += other.trials;
        for (method, n) in other.by_method {
            *self.by_method.entry(method).or_default() += n;
        }
        for (method, n) in other.any {
            *self.any.entry(method).or_default() += n;
        }
        for (key, count) in other.counts {
            let sum = self.counts.entry(key).or_default();
            sum.said.iter_mut().zip(count.said).for_each(|(sum, n)| *sum += n);
            sum.stray += count.stray;
        }
        for (key, noticed) in other.slips {
            let sum = self.slips.entry(key).or_default();
            sum.planted += noticed.planted;
            sum.asked += noticed.asked;
            sum.refused += noticed.refused;
            sum.named += noticed.named;
        }
    }
}

/// What each check said about a trial, the worst of it.
fn said(checked: &Result<Checked, Violations>) -> BTreeMap<String, Said> {
    let mut all: BTreeMap<String, Said> = BTreeMap::new();
    let mut note = |name: String, said: Said| {
        let worst = all.entry(name).or_insert(said);
        *worst = said.max(*worst);
    };
    match checked {
        Ok(checked) => {
            for finding in &checked.findings {
                note(name_of(finding), if finding.asks() { Said::Asked } else { Said::Told });
            }
            for left_out in &checked.summary.left_out {
                note(format!("not pooled: {}", left_out.reason), Said::Told);
            }
        }
        Err(broken) => {
            broken.as_slice().iter().for_each(|violation| note(violation.reason.to_owned(), Said::Refused));
        }
    }
    all
}

/// Rule and kind of a finding, and the field that a soft limit is of.
fn name_of(finding: &Finding) -> String {
    let kind = finding.kind.id();
    if let Some(rule) = finding.rule {
        return format!("{rule} {kind}");
    }
    if finding.kind != FindingKind::SoftLimit {
        return kind.to_owned();
    }
    // The path of a condition has its place, its message its name.
    let named = finding.message.split('`').nth(1).filter(|_| finding.field.contains("conditions"));
    format!("{kind} {}", named.unwrap_or("reading"))
}

/// Whether a finding offers `truth` as the correction, within the rounding of a reading.
fn offers(finding: &Finding, truth: f64) -> bool {
    let number = finding.suggestion.split(' ').next().and_then(|word| word.parse::<f64>().ok());
    number.is_some_and(|offered| (offered / truth).ln().abs() < 0.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dozens_share_the_trials() {
        let all = crate::demo::community::sessions_of_the_roster();
        assert_eq!(dozens(2 * all + 3), [all, all, 3]);
        assert_eq!(dozens(2), [2]);
    }

    #[test]
    fn honest_trials_are_not_refused_and_hardly_asked_and_slips_of_ten_are_noticed() {
        let outcome = play(1, 400).unwrap();
        assert_eq!(outcome.trials, 400);
        let refused: usize = outcome.counts.values().map(|count| count.said[Said::Refused as usize]).sum();
        assert_eq!(refused, 0, "{}", outcome.tables());
        let tenfold: Vec<&Noticed> = outcome
            .slips
            .iter()
            .filter(|((slip, _), _)| *slip == slips::ONE_TENFOLD)
            .map(|(_, n)| n)
            .collect();
        let sum = |of: fn(&Noticed) -> usize| tenfold.iter().map(|noticed| of(noticed)).sum::<usize>() as f64;
        let (planted, noticed) = (sum(|n| n.planted), sum(|n| n.asked + n.refused));
        assert!(planted > 20.0 && noticed / planted > 0.8, "{}", outcome.tables());
    }
}
