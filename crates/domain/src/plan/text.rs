//! The run sheet as text, to be printed and taken to the bench.

use std::fmt::Write as _;

use super::Form;
use super::figures::{Figure, RestsOn};
use super::make::Plan;
use super::order::PlannedRun;
use super::record::ToRecord;
use super::request::Goal;
use crate::method::Level;
use crate::text::number;

/// Columns of a page.
const WIDTH: usize = 96;
/// Longest label in the table of runs; the list of packs has it whole.
const LABEL: usize = 28;

impl Plan {
    /// The run sheet as text: what the plan finds, cautions, steps, what to write down, and a table of runs to fill in.
    pub fn run_sheet_text(&self) -> String {
        let mut page = Page::default();
        page.line(&format!("RUN SHEET: {}", self.title));
        let (name, version) = (self.asked.method.name(), &self.catalogue_version);
        page.item("", &format!("{name}, catalogue {version}, seed {}", self.asked.seed));
        page.heading("Packs");
        for (place, pack) in self.asked.packs.iter().enumerate() {
            let model = pack.model.as_ref().map(|model| format!(" ({})", model.name())).unwrap_or_default();
            page.item(&format!("{}. ", place + 1), &format!("{}{model}", pack.label));
        }
        page.heading("What this plan finds");
        self.findings().iter().for_each(|sentence| page.item("- ", sentence));
        page.heading("Notes");
        self.notes.iter().for_each(|note| page.item("- ", &note.text));
        page.heading("Cautions");
        self.cautions.iter().for_each(|caution| page.item("! ", caution));
        page.heading("Steps");
        for (place, step) in self.steps.iter().enumerate() {
            page.item(&format!("{}. ", place + 1), step);
        }
        page.item("Order: ", &self.order_rule);
        self.to_write_down(&mut page);
        page.heading("How a run can end");
        self.ends.iter().for_each(|end| page.item(&format!("{}: ", end.criterion), &end.meaning));
        self.table(&mut page);
        page.text
    }

    /// The numbers of the plan as sentences.
    pub fn findings(&self) -> Vec<String> {
        let level = number(100.0 * self.asked.level);
        let mut said = vec![self.goal_said(), self.figures_said()];
        said.push(format!(
            "This plan: {} rounds with {} scored runs of each pack, {} runs of each pack, {} runs in all{}.",
            self.asked.rounds,
            self.asked.runs_per_round,
            self.runs_per_arm,
            self.runs.len(),
            if self.asked.warm_ups > 0 { " with warm-ups" } else { "" }
        ));
        if let Some(half) = self.alone.half_width {
            said.push(format!(
                "One tester alone knows own repeats to within {} ({level} % interval).",
                self.either_way(half)
            ));
        }
        if let Some(power) = self.alone.power {
            said.push(format!(
                "One tester alone finds the effect by this plan with a chance of {}.",
                percent(power)
            ));
        }
        if let (Some(rounds), Some(runs), Some(power)) =
            (self.alone.rounds, self.alone.runs_per_arm, self.alone.power_then)
        {
            said.push(format!(
                "Alone it takes {runs} runs of each pack in {rounds} rounds for a chance of {}.",
                percent(power)
            ));
        }
        if let Some(testers) = self.together.testers {
            let chance = self.together.power.map(|power| format!(", with a chance of {}", percent(power)));
            let half = self.together.half_width.map(|half| format!(" (within {})", self.either_way(half)));
            said.push(format!(
                "For packs in general it takes {testers} testers with this plan each{}{}.",
                chance.unwrap_or_default(),
                half.unwrap_or_default()
            ));
        }
        let outlook: Vec<String> = self
            .outlook
            .iter()
            .map(|row| format!("{} testers {}", row.testers, self.either_way(row.half_width)))
            .collect();
        said.push(format!("Half-widths to expect ({level} %): {}.", outlook.join(", ")));
        said
    }

    fn goal_said(&self) -> String {
        let (level, power) = (number(100.0 * self.asked.level), number(100.0 * self.asked.power));
        match self.asked.goal {
            Goal::Effect { form, size, pooled } => format!(
                "Goal: to find a difference of {} at {level} % with a chance of {power} %.",
                self.effect_said(form, size, pooled)
            ),
            Goal::HalfWidth { pooled, assurance, .. } => {
                let sure = assurance.map(|share| format!(", with a chance of {} %", number(100.0 * share)));
                format!(
                    "Goal: to know the difference to within {} at {level} %{}.",
                    self.either_way(pooled),
                    sure.unwrap_or_default()
                )
            }
            Goal::AsMethod => "Goal: as many runs as the method asks for.".to_owned(),
        }
    }

    /// Both percent forms of a duration, one of an amount, or the difference.
    fn effect_said(&self, form: Form, size: f64, pooled: f64) -> String {
        let size = number(size);
        let percent = |share: f64| number((1000.0 * share).round() / 10.0);
        match form {
            Form::RateGain => format!("{size} % faster ({} % less time)", percent(-pooled.exp_m1())),
            Form::TimeReduction => format!("{size} % less time ({} % faster)", percent((-pooled).exp_m1())),
            Form::More => format!("{size} % more"),
            Form::Less => format!("{size} % less"),
            Form::Difference => format!("{size} {}", self.symbol),
        }
    }

    /// A half-width: a ratio has two sides of unequal percent.
    fn either_way(&self, half: f64) -> String {
        if self.ratio {
            let percent = |share: f64| number((1000.0 * share).round() / 10.0);
            format!("-{}/+{} %", percent(-(-half).exp_m1()), percent(half.exp_m1()))
        } else {
            format!("±{} {}", number(half), self.symbol)
        }
    }

    fn figures_said(&self) -> String {
        let said = |what: &str, figure: &Figure| {
            let whence = match figure.rests_on {
                RestsOn::Contained => return format!("{what}: {}", figure.source),
                RestsOn::Stated => "stated",
                RestsOn::Evidence => figure.source.as_str(),
                RestsOn::MethodFile => "method file, upper end",
                RestsOn::Assumed => "assumed",
            };
            format!("{what} {} ({whence})", self.scatter_said(figure))
        };
        format!(
            "Reckoned with scatter of {}; {}; {}.",
            said("runs", &self.figures.run),
            said("charges", &self.figures.charge),
            said("testers", &self.figures.testers)
        )
    }

    fn to_write_down(&self, page: &mut Page) {
        for level in Level::ALL {
            let fields: Vec<&ToRecord> = self.record.iter().filter(|field| field.level == *level).collect();
            if fields.is_empty() {
                continue;
            }
            page.heading(match level {
                Level::Trial => "Write down once",
                Level::Arm => "Write down for each pack",
                Level::Charge => "Write down for each charge",
                Level::Run => "Write down for each run",
            });
            for field in fields {
                page.item(if field.required { "* " } else { "  " }, &asked_for(field));
            }
        }
        page.line("* a trial without it is refused");
    }

    fn table(&self, page: &mut Page) {
        page.heading("Runs");
        let unit = bracketed(&self.symbol);
        page.line(&format!(
            "{:>4}  {:>5}  {:<LABEL$}  {:<7}  {:<18}  end",
            "run",
            "round",
            "pack",
            "",
            format!("reading{unit}")
        ));
        for run in &self.runs {
            let PlannedRun { position, round, pack, warm_up } = *run;
            let label = shortened(&self.asked.packs[pack].label);
            let word = if warm_up { "warm-up" } else { "" };
            page.line(&format!(
                "{position:>4}  {round:>5}  {label:<LABEL$}  {word:<7}  {:<18}  ____________________",
                "__________________"
            ));
        }
    }
}

fn asked_for(field: &ToRecord) -> String {
    let unit = bracketed(&field.symbol);
    let choices =
        if field.choices.is_empty() { String::new() } else { format!(": {}", field.choices.join(", ")) };
    format!("{}{unit} ({}){choices}", field.label, field.field)
}

fn bracketed(symbol: &str) -> String {
    if symbol.is_empty() { String::new() } else { format!(" [{symbol}]") }
}

fn percent(share: f64) -> String {
    // Rounded down, so that no chance is called larger than it is; never 100.
    format!("{} %", number((1000.0 * share).floor().min(999.0) / 10.0))
}

fn shortened(label: &str) -> String {
    if label.chars().count() <= LABEL {
        return label.to_owned();
    }
    let begin: String = label.chars().take(LABEL - 3).collect();
    format!("{begin}...")
}

/// Lines of at most [`WIDTH`] characters.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn line(&mut self, line: &str) {
        let _ = writeln!(self.text, "{}", line.trim_end());
    }

    fn heading(&mut self, heading: &str) {
        let _ = writeln!(self.text, "\n{heading}");
    }

    /// A paragraph, its further lines set in under its first.
    fn item(&mut self, mark: &str, paragraph: &str) {
        let inset = mark.chars().count().min(8);
        let mut line = mark.to_owned();
        let mut empty = true;
        for word in paragraph.split_whitespace() {
            if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
                self.line(&line);
                line = " ".repeat(inset);
                empty = true;
            }
            if !empty {
                line.push(' ');
            }
            line.push_str(word);
            empty = false;
        }
        self.line(&line);
    }
}
