//! What the demo prints: for somebody who tests tools and has never seen this program.

mod faults;
mod tables;

use std::fmt::Write as _;

use super::compared::{Asked, Compared, Pooled};
use super::invented::{PACKS, REFERENCE, Sort, WORKS, work};
use super::story::Story;

/// Widest line.
pub const WIDTH: usize = 100;

/// The comparisons told at length: work and pack.
const MAIN: [(usize, &str); 4] =
    [(work::SCREW_6, "L5P"), (work::SCREW_10, "L5P"), (work::CHAIN_SAW, "L5P"), (work::CHAIN_SAW, "K8")];

/// Whether to write bold headings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Letters only.
    Plain,
    /// Bold by ANSI codes, for a terminal.
    Terminal,
}

impl Style {
    /// Bold text.
    pub fn bold(self, text: &str) -> String {
        match self {
            Self::Plain => text.to_owned(),
            Self::Terminal => format!("\x1b[1m{text}\x1b[0m"),
        }
    }
}

/// The report.
pub fn report(story: &Story, style: Style) -> String {
    let mut out = Page { text: String::new(), style };
    out.opening(story);
    out.main(story);
    out.by_pack(story);
    out.strip(story);
    out.completion(story);
    out.noticed(story);
    out.faults(story);
    out.claims(story);
    out.meaning(story);
    out.text
}

/// Text under construction.
struct Page {
    text: String,
    style: Style,
}

impl Page {
    fn line(&mut self, text: &str) {
        let _ = writeln!(self.text, "{}", text.trim_end());
    }

    fn heading(&mut self, text: &str) {
        let text = self.style.bold(text);
        let _ = writeln!(self.text, "\n{text}");
    }

    /// A paragraph, broken at the width of the page.
    fn paragraph(&mut self, indent: usize, text: &str) {
        let mut line = " ".repeat(indent);
        let mut used = indent;
        for word in text.split_whitespace() {
            let long = word.chars().count();
            if used > indent && used + 1 + long > WIDTH {
                self.line(&line);
                line = " ".repeat(indent);
                used = indent;
            }
            if used > indent {
                line.push(' ');
                used += 1;
            }
            line.push_str(word);
            used += long;
        }
        self.line(&line);
    }

    fn opening(&mut self, story: &Story) {
        let title = self.style.bold("benchring demo: everything below is invented");
        self.line(&title);
        self.paragraph(
            0,
            &format!(
                "No maker, pack, tool or person here is real. A simulated community (seed {}) of {} testers sent {} \
                 trials of cordless tool packs through the public door: gRPC, each with their own token. Some made the \
                 mistakes that people make. Moderators accepted {}. It took {:.1} s.",
                story.seed,
                story.testers,
                story.trials,
                story.accepted,
                story.took.as_secs_f64()
            ),
        );
        self.paragraph(
            0,
            "Because the community is simulated, the true ratio of two packs is known, and every answer can be held \
             against it.",
        );
    }

    fn main(&mut self, story: &Story) {
        self.heading(&format!("Main comparisons, against pack {}", PACKS[REFERENCE].code));
        for (work, code) in MAIN {
            let Some(pack_b) = PACKS.iter().position(|pack| pack.code == code) else { continue };
            let asked = Asked { work, pack_b };
            let Some(compared) = story.of(asked) else { continue };
            let class = WORKS[work].demand_class.unwrap_or("-");
            self.line(&format!(
                "\n  {}, demand class {class}: {code} against {}",
                WORKS[work].title, PACKS[REFERENCE].code
            ));
            match (&compared.pooled, story.sentences.get(&asked)) {
                (Some(pooled), Some(sentence)) => {
                    self.paragraph(4, &format!("{}.", capital(sentence)));
                    self.paragraph(4, &against_the_truth(compared, pooled));
                }
                _ => self.line("    no answer: nobody ran both"),
            }
        }
    }

    fn noticed(&mut self, story: &Story) {
        self.heading("What was refused, sent back and asked");
        for (what, list) in [("refused", &story.refused), ("sent back", &story.returned)] {
            for noticed in list {
                self.paragraph(2, &format!("{what}: {} {}", noticed.trial, noticed.message));
            }
        }
        let kinds: Vec<String> =
            story.findings.iter().map(|(kind, n)| format!("{n} {}", kind.replace('_', " "))).collect();
        self.paragraph(
            2,
            &format!(
                "kept with findings: {}. {} of them asked the tester something, and {} were answered with a yes. A \
                 finding never changes a number.",
                kinds.join(", "),
                story.questions,
                story.confirmed
            ),
        );
    }

    fn meaning(&mut self, story: &Story) {
        self.heading("What the numbers mean");
        self.paragraph(
            2,
            "A ratio of 0.90 of two times is 10 % less time and an 11 % higher rate: the same thing, told in two ways \
             that must not be mixed. A ratio of 1.60 of two amounts is 60 % more.",
        );
        self.paragraph(
            2,
            "Packs are compared only within a trial of one tester, where wood, hand and stopwatch cancel, and through \
             other packs that such trials connect; every tester has one vote. The interval is where the typical ratio over testers and packs lies, with 95 % \
             confidence; raw averages mix whose wood was harder with whose pack was better.",
        );
        if story.trials > 0 {
            self.heading("Cautions");
            self.paragraph(
                2,
                "Buy nothing by these numbers: they are invented. Real tests need eye and ear protection, clamped \
                 work, a pack no hotter than 60 °C, and no pack opened or its protection bypassed. Every method \
                 carries its own cautions; local codes and licensed practice come first.",
            );
        }
    }
}

/// The text with a capital first letter.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// How far answer and raw averages lie from the truth.
fn against_the_truth(compared: &Compared, pooled: &Pooled) -> String {
    let Some(truth) = compared.truth else {
        return "In most trials one of the packs cannot do this work at all, so there is no true ratio."
            .to_owned();
    };
    let place = match compared.holds() {
        Some(true) => "inside the interval",
        Some(false) => "OUTSIDE the interval",
        None => "not judged: one tester only",
    };
    let told = match pooled.ratio {
        Some(ratio) => format!("pooled ratio {ratio:.3}, off by {} %", off(Some(ratio), Some(truth))),
        None => "no pooled ratio: stopped runs leave only bounds".to_owned(),
    };
    let raw = match compared.raw {
        Some(raw) => format!("raw averages {raw:.3}, off by {} %", off(Some(raw), Some(truth))),
        None => "no raw averages".to_owned(),
    };
    format!("Truth {truth:.3}, {place}: {told}; {raw}.")
}

/// Percent by which `ratio` is off the truth, signed.
fn off(ratio: Option<f64>, truth: Option<f64>) -> String {
    match (ratio, truth) {
        (Some(ratio), Some(truth)) => format!("{:+.1}", 100.0 * (ratio / truth - 1.0)),
        _ => "-".to_owned(),
    }
}

/// Where to look next, once the server stays up. The curl line is one line, so that it can be copied.
pub fn where_to_look(address: &str, style: Style) -> String {
    let timed = WORKS.iter().find(|work| work.sort == Sort::Timed).map_or("", |work| work.method);
    let query = format!(
        "method=methods/{timed}/versions/1&packA=packModels/{}&packB=packModels/l5p",
        PACKS[REFERENCE].id
    );
    format!(
        "\n{}\n  page and JSON at http://{address}/, gRPC and gRPC-Web on the same port; a question with curl:\n  \
         curl 'http://{address}/v1/pools:compare?{query}'\n  \
         Development tokens are accepted: anyone who reaches the port can write as anyone. Ctrl-C ends it.\n",
        style.bold("Serving")
    )
}

#[cfg(test)]
mod tests {
    use benchring_domain::method::Catalogue;

    use super::*;
    use benchring_api::v1::ClaimVerdict;

    use crate::demo::caught::Caught;
    use crate::demo::claims::{CLAIMS, Judged};
    use crate::demo::community::SEED;
    use crate::demo::community::faults::{FAULTS, Fault};
    use crate::demo::compared::all;
    use crate::demo::seeds::community;
    use crate::demo::story::Noticed;
    use crate::demo::truth::Truths;

    fn story() -> Story {
        let (compared, _) = community(SEED, &Catalogue::embedded().unwrap(), &Truths::compute()).unwrap();
        let noticed = Noticed {
            trial: "t10-screw-6x100-1".to_owned(),
            field: "trial.arms[0].charges[0].conditions[2].quantity".to_owned(),
            message: "`pack_start_temperature` of 68 °C lies outside -20 to 60 °C: correct it".to_owned(),
        };
        Story {
            seed: SEED,
            testers: 12,
            trials: 50,
            accepted: 50,
            refused: vec![noticed],
            findings: [("soft_limit".to_owned(), 7), ("blocked_order".to_owned(), 20)].into(),
            questions: 7,
            caught: FAULTS
                .iter()
                .filter(|about| about.fault != Fault::F03)
                .map(|about| {
                    let said = "is it 68 °C, or 20 °C? ".repeat(6);
                    (about.fault, vec![Caught { by: "violation OUT_OF_LIMITS".to_owned(), said }])
                })
                .collect(),
            compared,
            claims: CLAIMS
                .iter()
                .map(|claim| Judged {
                    claim,
                    verdict: ClaimVerdict::NotEnoughEvidence,
                    up_to: Some(ClaimVerdict::NotReached),
                    expected: ClaimVerdict::Supported,
                    sentences: vec!["the sentence of the server, ".repeat(8)],
                })
                .collect(),
            sentences: all().map(|asked| (asked, "the sentence of the server, ".repeat(8))).collect(),
            ..Story::default()
        }
    }

    #[test]
    fn the_report_keeps_to_its_width_and_says_what_it_must() {
        let text = report(&story(), Style::Plain);
        for line in text.lines() {
            assert!(line.chars().count() <= WIDTH, "{line}");
            assert!(!line.contains('\x1b'), "{line}");
        }
        for said in [
            "invented",
            "Truth",
            "F08  t10  68 °F typed as 68 °C",
            "NOT NOTICED",
            "60 °C",
            "C6",
            "THE TRUTH ASKS",
        ] {
            assert!(text.contains(said), "{said}\n{text}");
        }
        assert!(report(&story(), Style::Terminal).starts_with("\x1b[1m"));
    }
}
