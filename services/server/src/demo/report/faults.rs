//! The planted faults and the claims, as the report tells them.

use super::Page;
use crate::demo::community::faults::FAULTS;
use crate::demo::community::tester_id;
use crate::demo::object::CLAIMS;
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
            match (about.planted, story.caught.contains_key(&about.fault), about.still) {
                (true, false, _) => self.line("            NOT NOTICED"),
                (_, _, still) if !still.is_empty() => self.paragraph(12, &format!("not yet: {still}")),
                _ => {}
            }
        }
    }

    /// The claims, which are judged later.
    pub(super) fn claims(&mut self) {
        self.heading("Claims of the invented makers: not yet judged");
        for claim in &CLAIMS {
            self.line(&format!("  {}  {}: {}", claim.id, claim.maker, claim.words));
            self.line(&format!("            not yet; the right verdict: {}", claim.expected));
        }
    }
}
