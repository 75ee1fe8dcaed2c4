//! The planted faults and the claims, as the report tells them.

use super::Page;
use crate::demo::claims::word;
use crate::demo::community::faults::FAULTS;
use crate::demo::community::tester_id;
use crate::demo::story::Story;

impl Page {
    /// Each planted fault, and what noticed it in the words of the server.
    pub(super) fn faults(&mut self, story: &Story) {
        self.heading("Planted faults, and what noticed them");
        for about in &FAULTS {
            self.line(&format!("  {}  {}  {}", about.id, tester_id(about.tester), about.what));
            for caught in story.caught.get(&about.fault).into_iter().flatten() {
                self.paragraph(12, &format!("{}: {}", caught.by, caught.said));
            }
            if !story.caught.contains_key(&about.fault) {
                self.line("            NOT NOTICED");
            }
        }
    }

    /// The claims with the server's word and its sentence, beside what the truth asks for.
    pub(super) fn claims(&mut self, story: &Story) {
        self.heading("Claims of the invented makers, judged");
        for judged in &story.claims {
            let claim = judged.claim;
            self.line(&format!("  {}  {}: \"{}\", {}", claim.id, claim.maker, claim.wording, claim.about));
            let beside =
                if judged.verdict == judged.expected { "as the truth asks" } else { "THE TRUTH ASKS" };
            let wanted = if judged.verdict == judged.expected { "" } else { word(judged.expected) };
            self.line(format!("            {}, {beside} {wanted}", word(judged.verdict)).trim_end());
            if let Some(up_to) = judged.up_to {
                self.line(&format!("            as 'up to' in one demand class: {}", word(up_to)));
            }
            for sentence in &judged.sentences {
                self.paragraph(12, sentence);
            }
        }
    }
}
