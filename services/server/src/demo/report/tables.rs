//! The tables of the report: every pack in every work, one comparison divided by everything, runs that did not finish.

use std::collections::BTreeMap;

use super::{Page, off};
use crate::demo::compared::{Compared, Lead, Pooled};
use crate::demo::invented::{PACKS, REFERENCE, Sort, WORKS, Work, work};
use crate::demo::story::Story;
use crate::demo::strip;

impl Page {
    /// Every pack against the reference: pack by pack, and within a pack from light work to heavy.
    pub(super) fn by_pack(&mut self, story: &Story) {
        let reference = PACKS[REFERENCE].code;
        self.heading(&format!("Every pack against {reference}, from light work (d1) to heavy (d4)"));
        self.paragraph(
            2,
            "Ratio of amounts (above 1 is better), of times (below 1 is better), or a difference in kelvin; 'off' is how \
             far from the truth. 'ahead' is the server's word: a pack where the interval lies on its side, 'open' where \
             it does not, 'too few' below three votes and three specimens of each pack, or where blocked orders weigh \
             most. Read a block downwards: a pack that loses on light work can win on heavy work.",
        );
        for pack_b in (0..PACKS.len()).filter(|pack| *pack != REFERENCE) {
            let of_pack: Vec<&Compared> =
                story.compared.iter().filter(|compared| compared.asked.pack_b == pack_b).collect();
            if of_pack.iter().any(|compared| compared.pooled.is_some()) {
                self.pack(PACKS[pack_b].code, &of_pack);
            }
        }
        self.line(
            "\n  * at most one vote ran both packs: it speaks alone, or with others through other packs",
        );
        self.tally(story);
    }

    fn pack(&mut self, code: &str, of_pack: &[&Compared]) {
        let title = format!("{code} against {}", PACKS[REFERENCE].code);
        self.line(&format!(
            "\n  {title:<15}{:<6}{:>7}  {:<15}{:>6} {:>6} {:>6} {:>7} {:>7} {:>6}  {}",
            "class",
            "ratio",
            "95 % interval",
            "truth",
            "raw",
            "off %",
            "raw off",
            "testers",
            "trials",
            "ahead"
        ));
        for (words, belongs) in GROUPS {
            let rows = of_pack.iter().filter(|compared| belongs(compared.asked.work().sort));
            let answered: Vec<_> = rows.filter_map(|row| Some((*row, row.pooled.as_ref()?))).collect();
            if !answered.is_empty() {
                self.line(&format!("   {words}"));
            }
            for (compared, pooled) in answered {
                self.row(compared, pooled);
            }
        }
    }

    fn row(&mut self, compared: &Compared, pooled: &Pooled) {
        let work = compared.asked.work();
        let percent = |value: Option<f64>| {
            if compared.by_difference() { "-".to_owned() } else { off(value, compared.truth) }
        };
        self.line(&format!(
            "    {:<13}{:<6}{:>7}  {:<15}{:>6} {:>6} {:>6} {:>7} {:>7} {:>6}  {}{}",
            work.id,
            work.demand_class.unwrap_or("-"),
            told(pooled.ratio, work),
            bounds(pooled, work),
            told(compared.truth, work),
            told(compared.raw, work),
            percent(pooled.ratio),
            percent(compared.raw),
            pooled.testers,
            pooled.trials,
            ahead(pooled, PACKS[compared.asked.pack_b].code),
            if compared.many_units() { "" } else { "*" },
        ));
    }

    fn tally(&mut self, story: &Story) {
        let with_tool = || story.compared.iter().filter(|compared| compared.asked.work().tool.is_some());
        let pool = typically_off(with_tool().filter_map(Compared::pool_error));
        let raw = typically_off(with_tool().filter_map(Compared::raw_error));
        if let (Some(pool), Some(raw)) = (pool, raw) {
            self.paragraph(
                2,
                &format!(
                    "With tools and several testers the pool was typically off by {pool:.0} % (root mean square), raw \
                     averages of all readings by {raw:.0} %."
                ),
            );
        }
        let (intervals, held) = story.held();
        self.paragraph(
            2,
            &format!(
                "{held} of {intervals} intervals of several testers hold the truth. How often they do in the long run \
                 is a matter of many communities: benchringd demo --seeds 200."
            ),
        );
    }

    /// One comparison, divided by everything.
    pub(super) fn strip(&mut self, story: &Story) {
        let (place, code) = strip::OF;
        let reference = PACKS[REFERENCE].code;
        self.heading(&format!("Better per what? {code} against {reference}, {}", WORKS[place].title));
        self.line(&format!(
            "  {:<24}{:>7}  {:<15}{:>6} {:>7} {:>7}  {:<8} {}",
            "", "ratio", "95 % interval", "truth", "testers", "trials", "ahead", "divided by"
        ));
        for row in &story.strip {
            let Some(pooled) = &row.pooled else {
                self.line(&format!("  {:<24}      -", row.by));
                self.paragraph(33, &row.missing);
                continue;
            };
            self.line(&format!(
                "  {:<24}{:>7}  {:<15}{:>6} {:>7} {:>7}  {:<8} {}",
                row.by,
                told(pooled.ratio, &WORKS[place]),
                bounds(pooled, &WORKS[place]),
                told(row.truth, &WORKS[place]),
                pooled.testers,
                pooled.trials,
                ahead(pooled, code),
                row.badge,
            ));
        }
    }

    /// Runs of the chain saw that finished and that did not.
    pub(super) fn completion(&mut self, story: &Story) {
        if story.completion.is_empty() {
            return;
        }
        self.heading(&format!("Who gets through: {}", WORKS[work::CHAIN_SAW].title));
        self.line(&format!(
            "  {:<6}{:>9}{:>9}{:>9}{:>9}{:>10}{:>9}  {}",
            "", "planned", "finished", "stopped", "failed", "excluded", "not run", "share that failed"
        ));
        for pack in &PACKS {
            let Some(table) = story.completion.get(&format!("packModels/{}", pack.id)) else { continue };
            let sum = |runs: &BTreeMap<String, i32>| runs.values().sum::<i32>();
            let share = table.failed_ratio.as_ref().map_or_else(String::new, |share| {
                let percent = |share: Option<f64>| 100.0 * share.unwrap_or(f64::NAN);
                format!(
                    "{:.0} % ({:.0} to {:.0} %)",
                    percent(share.estimate),
                    percent(share.lower),
                    percent(share.upper)
                )
            });
            self.line(&format!(
                "  {:<6}{:>9}{:>9}{:>9}{:>9}{:>10}{:>9}  {share}",
                pack.code,
                table.planned_runs_count,
                table.exact_runs_count,
                sum(&table.censored),
                sum(&table.failed_at_load),
                sum(&table.excluded),
                table.not_run_count,
            ));
        }
    }
}

type Belongs = fn(Sort) -> bool;

/// Works that are read together.
const GROUPS: [(&str, Belongs); 4] = [
    ("work on one charge", |sort| sort == Sort::PerCharge),
    ("time", |sort| sort == Sort::Timed),
    ("warming over the same work", |sort| sort == Sort::Rise),
    ("on the bench", Sort::on_bench),
];

/// The pack that the answer names.
fn ahead(pooled: &Pooled, code: &'static str) -> &'static str {
    match pooled.lead {
        Lead::B => code,
        Lead::A => PACKS[REFERENCE].code,
        Lead::Open => "open",
        Lead::TooFew => "too few",
    }
}

fn told(value: Option<f64>, work: &Work) -> String {
    match value {
        None => "-".to_owned(),
        Some(kelvin) if work.sort.by_difference() => format!("{kelvin:+.1}"),
        Some(ratio) => format!("{ratio:.3}"),
    }
}

fn bounds(pooled: &Pooled, work: &Work) -> String {
    let bound = |bound: Option<f64>, open: &str| match bound {
        None => open.to_owned(),
        bound => told(bound, work),
    };
    format!("{} to {}", bound(pooled.lower, "0"), bound(pooled.upper, "any"))
}

/// Root mean square of what is off, in percent; `None` of nothing.
fn typically_off(errors: impl Iterator<Item = f64>) -> Option<f64> {
    let (n, sum) = errors.fold((0.0, 0.0), |(n, sum), error| (n + 1.0, sum + error * error));
    (n > 0.0).then(|| 100.0 * f64::sqrt(sum / n))
}
