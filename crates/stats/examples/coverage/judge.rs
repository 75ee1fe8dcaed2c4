//! Rows of the table, and whether each meets its bar.

use serde::{Deserialize, Serialize};

use crate::record::Record;

/// Significance of a scenario below its floor, after Holm's correction over all judged scenarios.
const SIGNIFICANCE: f64 = 0.001;
/// Points below the floor, in the mean of a row, that fail a smoke run.
const FAR: f64 = 0.02;

/// What a measure has to reach.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) enum Bar {
    /// 95 % on average, no scenario below 94 %.
    Ordinary,
    /// One unit has most of the trials: no scenario below 93 %.
    Heavy,
    /// The interval of one trial: no scenario below 91.5 %.
    Single,
    /// Shown beside what is judged, without a bar.
    Beside,
}

impl Bar {
    /// The share below which no scenario may lie significantly.
    fn floor(self) -> Option<f64> {
        match self {
            Self::Ordinary => Some(0.94),
            Self::Heavy => Some(0.93),
            Self::Single => Some(0.915),
            Self::Beside => None,
        }
    }

    /// What a row has to reach on average: where only a floor is set, the floor.
    fn mean(self) -> Option<f64> {
        match self {
            Self::Ordinary => Some(0.95),
            other => other.floor(),
        }
    }
}

/// A row of the table: the scenarios of one row and measure.
pub(crate) struct Row {
    pub(crate) section: String,
    pub(crate) name: String,
    pub(crate) measure: String,
    pub(crate) bar: Bar,
    pub(crate) scenarios: usize,
    pub(crate) repeats: u32,
    /// Mean over the scenarios.
    pub(crate) mean: f64,
    /// Monte Carlo standard error of the mean.
    pub(crate) mean_error: f64,
    pub(crate) lowest: f64,
    pub(crate) lowest_name: String,
    /// Mean of estimate less truth.
    pub(crate) bias: f64,
    pub(crate) half_width: f64,
    /// Scenarios significantly below the floor.
    pub(crate) below: Vec<String>,
    /// The mean lies far below the bar.
    pub(crate) far_below: bool,
}

impl Row {
    /// Whether the bar is met; true where there is none.
    pub(crate) fn met(&self) -> bool {
        self.below.is_empty() && self.bar.mean().is_none_or(|mean| self.mean >= mean)
    }

    /// The verdict in words.
    pub(crate) fn verdict(&self) -> String {
        let Some(mean) = self.bar.mean() else {
            return "for comparison".to_owned();
        };
        if self.met() {
            return "met".to_owned();
        }
        let mut faults = Vec::new();
        if self.mean < mean {
            faults.push(format!("mean below {:.1}", 100.0 * mean));
        }
        if !self.below.is_empty() {
            let floor = 100.0 * self.bar.floor().unwrap_or(mean);
            faults.push(format!("{} of {} below {floor:.1}", self.below.len(), self.scenarios));
        }
        format!("**missed**: {}", faults.join(", "))
    }
}

/// The rows, in the order in which they were counted.
pub(crate) fn rows(records: Vec<&Record>) -> Vec<Row> {
    let below = significantly_below(&records);
    let mut groups: Vec<Vec<(usize, &Record)>> = Vec::new();
    for (place, record) in records.into_iter().enumerate() {
        let same = |group: &&mut Vec<(usize, &Record)>| {
            let first = group[0].1;
            (&first.section, &first.row, &first.measure) == (&record.section, &record.row, &record.measure)
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push((place, record)),
            None => groups.push(vec![(place, record)]),
        }
    }
    groups.iter().map(|group| row(group, &below)).collect()
}

fn row(group: &[(usize, &Record)], below: &[usize]) -> Row {
    let first = group[0].1;
    let count = group.len() as f64;
    let mean_of =
        |of: &dyn Fn(&Record) -> f64| group.iter().map(|(_, record)| of(record)).sum::<f64>() / count;
    let answers = |record: &Record| f64::from(record.answers.max(1));
    let mean = mean_of(&Record::coverage);
    let variance = mean_of(&|record| record.coverage() * (1.0 - record.coverage()) / answers(record));
    let lowest = group.iter().map(|(_, record)| *record).min_by(|a, b| a.coverage().total_cmp(&b.coverage()));
    let lowest = lowest.unwrap_or(first);
    Row {
        section: first.section.clone(),
        name: first.row.clone(),
        measure: first.measure.clone(),
        bar: first.bar,
        scenarios: group.len(),
        repeats: group.iter().map(|(_, record)| record.repeats).min().unwrap_or(0),
        mean,
        mean_error: (variance / count).sqrt(),
        lowest: lowest.coverage(),
        lowest_name: lowest.name.clone(),
        bias: mean_of(&|record| record.error / answers(record)),
        half_width: mean_of(&|record| record.half_width / answers(record)),
        below: group
            .iter()
            .filter(|(place, _)| below.contains(place))
            .map(|(_, record)| record.name.clone())
            .collect(),
        far_below: first.bar.floor().is_some_and(|floor| mean < floor - FAR),
    }
}

/// Places of the records that lie below their floor by Holm's step-down over all judged ones.
fn significantly_below(records: &[&Record]) -> Vec<usize> {
    let mut judged: Vec<(f64, usize)> = records
        .iter()
        .enumerate()
        .filter_map(|(place, record)| {
            let floor = record.bar.floor()?;
            Some((lower_tail(record.covered, record.answers, floor), place))
        })
        .collect();
    judged.sort_by(|a, b| a.0.total_cmp(&b.0));
    let tests = judged.len();
    judged
        .iter()
        .enumerate()
        .take_while(|(step, (p, _))| *p <= SIGNIFICANCE / (tests - step) as f64)
        .map(|(_, (_, place))| *place)
        .collect()
}

/// P(X ≤ x) of the binomial distribution, summed term by term.
fn lower_tail(covered: u32, answers: u32, share: f64) -> f64 {
    let n = f64::from(answers);
    let ln_term = |x: f64| {
        libm::lgamma(n + 1.0) - libm::lgamma(x + 1.0) - libm::lgamma(n - x + 1.0)
            + x * share.ln()
            + (n - x) * (-share).ln_1p()
    };
    (0..=covered).map(|x| ln_term(f64::from(x)).exp()).sum::<f64>().min(1.0)
}
