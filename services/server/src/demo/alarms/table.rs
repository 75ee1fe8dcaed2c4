//! What `--false-alarms` prints.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use benchring_stats::completion::{Share, one_share};

use super::{Count, Noticed, Outcome, Said};

impl Outcome {
    /// The tables.
    pub fn tables(&self) -> String {
        let mut out = format!(
            "{} honest trials of invented testers, checked in process, in {:.1} s\n",
            self.trials,
            self.took.as_secs_f64()
        );
        self.by_check(&mut out);
        self.by_method(&mut out);
        self.of_slips(&mut out);
        out
    }

    fn by_check(&self, out: &mut String) {
        let mut sums: BTreeMap<&str, Count> = BTreeMap::new();
        for ((name, _), count) in &self.counts {
            let sum = sums.entry(name).or_default();
            sum.said.iter_mut().zip(count.said).for_each(|(sum, n)| *sum += n);
            sum.stray += count.stray;
        }
        let _ = writeln!(out, "\n{HEADER}");
        for (name, sum) in sums {
            let line = line(name, &sum, self.trials);
            let _ = writeln!(out, "{line}");
            for ((of, method), count) in self.counts.iter().filter(|((of, _), _)| of == name) {
                debug_assert_eq!(of, name);
                let trials = self.by_method.get(method).copied().unwrap_or_default();
                if count.said[Said::Asked as usize] + count.said[Said::Refused as usize] > 0 {
                    let line = self::line(&format!("  {method}"), count, trials);
                    let _ = writeln!(out, "{line}");
                }
            }
        }
        let _ = writeln!(
            out,
            "\nPer cent of trials, by the worst that a check said of a trial, with Wilson's 95 % interval. Methods are \
             named where\nanything was asked or refused. stray: of the asked and refused, those with a run that had \
             gone wrong by chance, as 1 in\n100 runs by hand does."
        );
    }

    fn by_method(&self, out: &mut String) {
        let _ = writeln!(out, "\n{:<28}{:>8}  asked or refused anything, %", "method", "trials");
        for (method, trials) in &self.by_method {
            let any = self.any.get(method).copied().unwrap_or_default();
            let _ = writeln!(out, "{method:<28}{trials:>8}  {}", percent(any, *trials));
        }
        let any = self.any.values().sum();
        let _ = writeln!(out, "{:<28}{:>8}  {}", "all", self.trials, percent(any, self.trials));
    }

    fn of_slips(&self, out: &mut String) {
        if self.slips.is_empty() {
            return;
        }
        let _ = writeln!(
            out,
            "\n{:<32}{:>8}  {:<20} {:<20} true value offered, %",
            "slip", "planted", "asked, %", "refused, %"
        );
        let mut before = "";
        for (slip, _) in self.slips.keys() {
            if *slip == before {
                continue;
            }
            before = slip;
            let mut sum = Noticed::default();
            let of_slip = || self.slips.iter().filter(|((of, _), _)| of == slip);
            for (_, noticed) in of_slip() {
                sum.planted += noticed.planted;
                sum.asked += noticed.asked;
                sum.refused += noticed.refused;
                sum.named += noticed.named;
            }
            let rows = std::iter::once(((*slip).to_owned(), &sum));
            let methods = of_slip().map(|((_, method), noticed)| (format!("  {method}"), noticed));
            for (name, noticed) in rows.chain(methods) {
                let _ = writeln!(
                    out,
                    "{name:<32}{:>8}  {:<20} {:<20} {}",
                    noticed.planted,
                    percent(noticed.asked, noticed.planted),
                    percent(noticed.refused, noticed.planted),
                    percent(noticed.named, noticed.planted)
                );
            }
        }
    }
}

const HEADER: &str =
    "check                         trials    told %  asked %                refused %  stray";

fn line(name: &str, count: &Count, trials: usize) -> String {
    let [told, asked, refused] = count.said;
    let share = |n: usize| format!("{:.2}", 100.0 * n as f64 / trials.max(1) as f64);
    format!(
        "{name:<36}{trials:>8}  {:>8}  {:<22} {:>9}  {:>5}",
        share(told),
        percent(asked, trials),
        share(refused),
        count.stray
    )
}

/// Per cent with Wilson's 95 % interval.
fn percent(n: usize, of: usize) -> String {
    let whole = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let interval = Share::new(whole(n), whole(of)).and_then(|share| one_share(share, 0.95));
    match interval {
        Ok(interval) => format!(
            "{:.2} ({:.2} to {:.2})",
            100.0 * n as f64 / of.max(1) as f64,
            100.0 * interval.lower,
            100.0 * interval.upper
        ),
        Err(_) => "-".to_owned(),
    }
}
