//! Pages about the catalogue, written once at the start: the reference as Markdown and as HTML.

use std::sync::Arc;

use benchring_domain::method::Catalogue;
use pulldown_cmark::{CowStr, Event, Options, Parser, Tag, TagEnd, html};

/// The frame of the page, with its style.
const FRAME: &str = include_str!("../../web/reference.html");
/// Where the text goes in the frame.
const PLACE: &str = "<!-- text -->";

/// The pages. None by default.
#[derive(Debug, Clone, Default)]
pub struct Documents(Option<Arc<Pages>>);

#[derive(Debug)]
struct Pages {
    markdown: String,
    html: String,
}

impl Documents {
    /// The pages of a catalogue.
    pub fn of(catalogue: &Catalogue) -> Self {
        let markdown = catalogue.reference();
        let html = FRAME.replacen(PLACE, &html_of(&markdown), 1);
        Self(Some(Arc::new(Pages { markdown, html })))
    }

    /// The reference as Markdown.
    pub(super) fn markdown(&self) -> Option<&str> {
        self.0.as_deref().map(|pages| pages.markdown.as_str())
    }

    /// The reference as HTML.
    pub(super) fn html(&self) -> Option<&str> {
        self.0.as_deref().map(|pages| pages.html.as_str())
    }
}

/// Markdown as HTML: tables scroll sideways on their own, every heading can be linked to, and tags within the text stand
/// there as text.
fn html_of(markdown: &str) -> String {
    let events: Vec<Event<'_>> = Parser::new_ext(markdown, Options::ENABLE_TABLES).collect();
    let ids: Vec<Option<String>> = (0..events.len()).map(|at| heading_id(&events[at..])).collect();
    let shaped = events.into_iter().zip(ids).flat_map(|(event, id)| shape(event, id));
    let mut text = String::with_capacity(2 * markdown.len());
    html::push_html(&mut text, shaped);
    text
}

/// The id of the heading that begins here: its words in lower case, joined by hyphens.
fn heading_id(events: &[Event<'_>]) -> Option<String> {
    let Some(Event::Start(Tag::Heading { .. })) = events.first() else { return None };
    let inside = events.iter().take_while(|event| !matches!(event, Event::End(TagEnd::Heading(_))));
    let text: String = inside
        .filter_map(|event| match event {
            Event::Text(text) | Event::Code(text) => Some(text.as_ref()),
            _ => None,
        })
        .collect();
    Some(text.to_lowercase().replace(' ', "-"))
}

fn shape(event: Event<'_>, id: Option<String>) -> Vec<Event<'_>> {
    match event {
        Event::Start(Tag::Heading { level, classes, attrs, .. }) => {
            vec![Event::Start(Tag::Heading { level, id: id.map(CowStr::from), classes, attrs })]
        }
        Event::Start(Tag::Table(columns)) => {
            vec![Event::Html("<div class=\"wide\" tabindex=\"0\">".into()), Event::Start(Tag::Table(columns))]
        }
        Event::End(TagEnd::Table) => vec![Event::End(TagEnd::Table), Event::Html("</div>\n".into())],
        Event::Html(raw) | Event::InlineHtml(raw) => vec![Event::Text(raw)],
        other => vec![other],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_within_the_text_stand_there_as_text() {
        let html = html_of("# A <b>\n\n<script>alert(1)</script>\n\ntext <img src=x> | `<i>`\n");
        assert!(!html.contains("<script>") && !html.contains("<img") && !html.contains("<b>"), "{html}");
        assert!(html.contains("&lt;script&gt;") && html.contains("&lt;img src=x&gt;"), "{html}");
    }

    #[test]
    fn headings_can_be_linked_to_and_tables_scroll() {
        let html = html_of("## Demand classes\n\n| a | b |\n| --- | --- |\n| 1 | 2 |\n\nbehind\n");
        assert!(html.contains("<h2 id=\"demand-classes\">Demand classes</h2>"), "{html}");
        assert!(html.contains("<div class=\"wide\" tabindex=\"0\"><table>"), "{html}");
        assert!(html.contains("</table>\n</div>\n<p>behind</p>"), "{html}");
    }

    #[test]
    fn the_page_holds_the_whole_reference() {
        let documents = Documents::of(&Catalogue::embedded().unwrap());
        let html = documents.html().unwrap();
        assert!(!html.contains(PLACE) && html.ends_with("</html>\n"));
        for id in ["bore-time", "hole_diameter", "list-workpiece_class", "hot_pack", "sources"] {
            assert!(html.contains(&format!(" id=\"{id}\"")), "{id}");
            assert!(html.contains(&format!("href=\"#{id}\"")), "{id}");
        }
        assert!(Documents::default().html().is_none());
    }
}
