//! Ten thousand random filters, sound and broken, against an evaluator that knows nothing of the parser: it makes each
//! filter as a tree over plain texts, says what the tree means, and writes it down.

use std::fmt::Write as _;

use benchring_domain::clock::Timestamp;
use benchring_domain::disclosure::{Interest, Licence};
use benchring_domain::filter::Filter;
use benchring_domain::standing::Decision;
use benchring_store::{Store, TrialQuery, TrialRow, Visibility};
use rand::seq::IndexedRandom as _;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, furnish, new_trial, pack_model, specimen, time, tool_model};

on_both!(random_filters_agree_with_a_naive_evaluator);

/// Filters on SQLite; a fifth of them on PostgreSQL.
const FILTERS: u32 = 10_000;

/// Trials that they are asked about.
const TRIALS: usize = 16;

/// A trial as texts and microseconds: what the naive evaluator sees.
#[derive(Debug)]
struct Plain {
    id: String,
    /// Field and value; several for fields of arms, none for what a trial does not have.
    words: Vec<(&'static str, String)>,
    submit_time: i128,
    performed_time: i128,
}

const WORDS: [(&str, &[&str]); 9] = [
    ("standing", &["pending", "accepted", "returned", "rejected", "disputed", "withdrawn", "taken_down"]),
    ("tester", &["testers/t01", "testers/t02", "testers/t03", "testers/nobody"]),
    (
        "method",
        &[
            "methods/screw-drive-time/versions/1",
            "methods/screw-drive-time/versions/2",
            "methods/x/versions/1",
        ],
    ),
    ("pack_model", &["packModels/k5", "packModels/k8", "packModels/k9", "packModels/none"]),
    (
        "pack_specimen",
        &["packSpecimens/k5-1", "packSpecimens/k8-1", "packSpecimens/k9-1", "packSpecimens/none"],
    ),
    ("tool_model", &["toolModels/driver-1", "toolModels/driver-2", "toolModels/none"]),
    ("demand_class", &["d1", "d2", "d3", "d4", "unknown"]),
    ("interest", &["none", "employed", "sponsored", "seller_affiliate", "other"]),
    ("licence", &["CC0-1.0", "CC-BY-4.0", "ODbL-1.0"]),
];

/// The grammar, as a tree: AND of ORs of terms.
#[derive(Debug)]
struct All(Vec<Any>);
#[derive(Debug)]
struct Any(Vec<Term>);
#[derive(Debug)]
struct Term {
    /// How often NOT or `-` stands before it.
    nots: Vec<&'static str>,
    of: Simple,
}
#[derive(Debug)]
enum Simple {
    Group(All),
    Word { field: &'static str, equal: bool, value: &'static str },
    Time { submitted: bool, operator: &'static str, nanoseconds: i128 },
}

impl All {
    fn holds(&self, trial: &Plain) -> bool {
        self.0.iter().all(|any| any.0.iter().any(|term| term.holds(trial)))
    }
}

impl Term {
    fn holds(&self, trial: &Plain) -> bool {
        let plain = match &self.of {
            Simple::Group(all) => all.holds(trial),
            Simple::Word { field, equal, value } => {
                trial.words.iter().any(|(own, word)| own == field && word == value) == *equal
            }
            Simple::Time { submitted, operator, nanoseconds } => {
                let own = if *submitted { trial.submit_time } else { trial.performed_time } * 1000;
                match *operator {
                    "=" => own == *nanoseconds,
                    "!=" => own != *nanoseconds,
                    "<" => own < *nanoseconds,
                    "<=" => own <= *nanoseconds,
                    ">" => own > *nanoseconds,
                    _ => own >= *nanoseconds,
                }
            }
        };
        plain == self.nots.len().is_multiple_of(2)
    }
}

/// Draws trees and writes them down.
struct Pen {
    random: ChaCha8Rng,
    /// Times that stand in the trials, nanoseconds.
    times: Vec<i128>,
    text: String,
    /// Comparisons still to be written before the mistake; none left where there is no mistake.
    until_mistake: Option<usize>,
    /// Where the mistake is, in characters from 1.
    mistake: Option<usize>,
}

impl Pen {
    fn all(&mut self, depth: usize) -> All {
        let count = *[1, 1, 2, 3].choose(&mut self.random).unwrap_or(&1);
        All((0..count)
            .map(|_| Any((0..self.random.random_range(1..=3)).map(|_| self.term(depth)).collect()))
            .collect())
    }

    fn term(&mut self, depth: usize) -> Term {
        let nots = (0..self.random.random_range(0..5_usize).saturating_sub(2))
            .map(|_| if self.random.random_bool(0.5) { "NOT " } else { "-" })
            .collect();
        let of = if depth < 3 && self.random.random_bool(0.25) {
            Simple::Group(self.all(depth + 1))
        } else if self.random.random_bool(0.25) {
            Simple::Time {
                submitted: self.random.random_bool(0.5),
                operator: ["=", "!=", "<", "<=", ">", ">="].choose(&mut self.random).copied().unwrap_or("="),
                nanoseconds: self.times.choose(&mut self.random).copied().unwrap_or(0)
                    + [0, 0, 1, -1, 999, 1000, 5_000_000_000].choose(&mut self.random).copied().unwrap_or(0),
            }
        } else {
            let (field, values) = WORDS.choose(&mut self.random).copied().unwrap_or(WORDS[0]);
            let value = values.choose(&mut self.random).copied().unwrap_or("");
            Simple::Word { field, equal: self.random.random_bool(0.6), value }
        };
        Term { nots, of }
    }

    fn write(&mut self, all: &All) {
        for (i, any) in all.0.iter().enumerate() {
            self.text.push_str(if i > 0 { " AND " } else { "" });
            for (i, term) in any.0.iter().enumerate() {
                self.text.push_str(if i > 0 { " OR " } else { "" });
                term.nots.iter().for_each(|not| self.text.push_str(not));
                if let Simple::Group(group) = &term.of {
                    self.text.push('(');
                    self.write(group);
                    self.text.push(')');
                } else {
                    self.comparison(&term.of);
                }
            }
        }
    }

    /// Marks the next character as the place of the mistake.
    fn here(&mut self) {
        self.mistake = Some(self.text.chars().count() + 1);
    }

    fn comparison(&mut self, of: &Simple) {
        let wrong = self.until_mistake == Some(0);
        self.until_mistake = self.until_mistake.and_then(|left| left.checked_sub(1));
        // A mistake in the field, in the operator, or in the value.
        let kind = if wrong { self.random.random_range(0..3) } else { 9 };
        let (field, operator, value) = match of {
            Simple::Time { submitted, operator, nanoseconds } => {
                let time = Timestamp::from_nanosecond(*nanoseconds).map(|time| time.to_string());
                let field = if *submitted { "submit_time" } else { "performed_time" };
                (field, *operator, format!("\"{}\"", time.unwrap_or_default()))
            }
            Simple::Word { field, equal, value } => {
                let mark = ["", "'", "\""].choose(&mut self.random).copied().unwrap_or("");
                (*field, if *equal { "=" } else { "!=" }, format!("{mark}{value}{mark}"))
            }
            Simple::Group(_) => return,
        };
        if kind == 0 {
            self.here();
            self.text.push_str("colour");
        } else {
            self.text.push_str(field);
        }
        let space = if self.random.random_bool(0.7) { " " } else { "" };
        self.text.push_str(space);
        match kind {
            1 => {
                self.here();
                self.text.push('(');
            }
            _ => self.text.push_str(operator),
        }
        self.text.push_str(space);
        if kind == 2 {
            self.here();
            self.text.push_str("\"no such value\"");
        } else {
            self.text.push_str(&value);
        }
    }

    /// Breaks a sound text as a whole, with where it is broken.
    fn spoil(&mut self) -> usize {
        let length = self.text.chars().count();
        let (text, at) = match self.random.random_range(0..6) {
            0 => (" )", length + 2),
            1 => (" AND", length + 5),
            2 => (" and standing = accepted", length + 2),
            3 => (" & x", length + 2),
            4 => (" AND licence = \"CC0", length + 16),
            _ => {
                self.text.insert(0, '(');
                ("", length + 2)
            }
        };
        self.text.push_str(text);
        at
    }
}

async fn club(store: &Store, random: &mut ChaCha8Rng) -> anyhow::Result<()> {
    furnish(store).await?;
    store.tool_model_add(tool_model("driver-2")?, by("t01", 0)?).await?;
    store.pack_model_add(pack_model("k9")?, by("t01", 0)?).await?;
    store.pack_specimen_add(specimen("k9-1", "k9", "t01")?, by("t01", 0)?).await?;
    for i in 0..TRIALS {
        let mut new = new_trial(&format!("t{i}"), &format!("t0{}", random.random_range(1..=3)))?;
        let (trial, summary) = (&mut new.checked.trial, &mut new.checked.summary);
        trial.method.version = random.random_range(1..=2);
        trial.tool_model = match random.random_range(0..3) {
            0 => None,
            n => Some(tool_model(&format!("driver-{n}"))?.id),
        };
        trial.interest = Interest::ALL.choose(random).copied().unwrap_or(Interest::None);
        trial.licence = Licence::ALL.choose(random).copied().unwrap_or(Licence::CcBy);
        trial.performed_time = time(-random.random_range(0..5_i64))?;
        summary.demand_class = match random.random_range(0..5) {
            0 => None,
            class => Some(format!("d{class}")),
        };
        let packs = [["k5", "k8"], ["k8", "k9"], ["k9", "k5"]];
        let packs = packs.choose(random).copied().unwrap_or(packs[0]);
        for (i, pack) in packs.into_iter().enumerate() {
            trial.arms[i].specimen = specimen(&format!("{pack}-1"), pack, "t01")?.id;
            summary.arms[i].specimen = trial.arms[i].specimen.clone();
            summary.arms[i].pack_model = pack_model(pack)?.id;
        }
        if random.random_bool(0.3) {
            trial.arms.pop();
            summary.arms.pop();
        }
        store.trial_add(new, by("t01", random.random_range(0..8_i64))?).await?;
        let decisions: &[Decision] = match random.random_range(0..5) {
            0 => &[],
            1 => &[Decision::Accept],
            2 => &[Decision::Return],
            3 => &[Decision::Reject],
            _ => &[Decision::Accept, Decision::Dispute],
        };
        for decision in decisions {
            decide(store, &format!("t{i}"), *decision, 100).await?;
        }
    }
    Ok(())
}

fn plain(row: &TrialRow) -> Plain {
    let TrialRow { trial, summary, .. } = row;
    let mut words = vec![
        ("standing", row.standing.id().to_owned()),
        ("tester", row.tester.name()),
        ("method", trial.method.name()),
        ("demand_class", summary.demand_class.clone().unwrap_or_else(|| "unknown".to_owned())),
        ("interest", trial.interest.id().to_owned()),
        ("licence", trial.licence.id().to_owned()),
    ];
    words.extend(trial.tool_model.as_ref().map(|tool| ("tool_model", tool.name())));
    for arm in &summary.arms {
        words.push(("pack_model", arm.pack_model.name()));
        words.push(("pack_specimen", arm.specimen.name()));
    }
    Plain {
        id: row.id.to_string(),
        words,
        submit_time: row.submit_time.as_microsecond().into(),
        performed_time: trial.performed_time.as_microsecond().into(),
    }
}

/// What came of the filters drawn.
#[derive(Debug, Default)]
struct Tally {
    refused: u32,
    some: u32,
    too_long: u32,
}

async fn random_filters_agree_with_a_naive_evaluator(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let mut random = ChaCha8Rng::seed_from_u64(40);
    club(&store, &mut random).await?;
    let trials: Vec<Plain> =
        store.trial_list(&TrialQuery::new(Visibility::All, 100)).await?.iter().map(plain).collect();
    assert_eq!(trials.len(), TRIALS);
    let times =
        trials.iter().flat_map(|trial| [trial.submit_time * 1000, trial.performed_time * 1000]).collect();
    let mut pen = Pen { random, times, text: String::new(), until_mistake: None, mistake: None };
    let mut tally = Tally::default();
    let filters = if ring.is_postgres() { FILTERS / 5 } else { FILTERS };
    for _ in 0..filters {
        one(&store, &trials, &mut pen, &mut tally).await?;
    }
    // Nothing is agreed on by saying always the same.
    assert!(tally.refused * 8 > filters && tally.refused * 2 < filters, "{tally:?}");
    assert!(tally.some * 3 > filters && tally.too_long * 20 < filters, "{tally:?}");
    Ok(store.close().await?)
}

async fn one(store: &Store, trials: &[Plain], pen: &mut Pen, tally: &mut Tally) -> anyhow::Result<()> {
    let all = pen.all(0);
    (pen.text, pen.mistake) = (String::new(), None);
    let broken = pen.random.random_range(0..8);
    pen.until_mistake = (broken == 0).then(|| pen.random.random_range(0..3));
    pen.write(&all);
    if broken == 1 {
        pen.mistake = Some(pen.spoil());
    }
    let text = pen.text.clone();
    if text.chars().count() > 2000 || text.matches(['=', '<', '>']).count() > 64 {
        tally.too_long += 1;
        assert!(
            pen.mistake.is_some() || text.chars().count() <= 2000 || Filter::parse(&text).is_err(),
            "{text}"
        );
        return Ok(());
    }
    let filter = match (Filter::parse(&text), pen.mistake) {
        (Err(refused), Some(mistake)) => {
            let mut told = String::new();
            let _ = write!(told, "at character {mistake}: ");
            assert_eq!(refused.position, mistake, "{text}: {refused}");
            assert!(refused.to_string().starts_with(&told), "{text}: {refused}");
            tally.refused += 1;
            return Ok(());
        }
        (Ok(filter), None) => filter,
        (parsed, mistake) => anyhow::bail!("{text}: {mistake:?} {parsed:?}"),
    };
    let expected: Vec<&str> =
        trials.iter().filter(|trial| all.holds(trial)).map(|trial| trial.id.as_str()).collect();
    let query = TrialQuery { filter, ..TrialQuery::new(Visibility::All, 100) };
    let rows = store.trial_list(&query).await?;
    let found: Vec<&str> = rows.iter().map(|row| row.id.as_str()).collect();
    assert_eq!(found, expected, "{text}");
    tally.some += u32::from(!found.is_empty() && found.len() < trials.len());
    Ok(())
}
