//! What requests have in common: names, ids, request ids, pages.

use benchring_domain::id::NotAName;
use benchring_domain::violation::Violations;
use uuid::Uuid;

use super::Sent;

/// Greatest page.
pub const LARGEST_PAGE: u32 = 200;
/// Page where none is asked for.
pub const USUAL_PAGE: u32 = 50;

/// Characters in a search.
const LONGEST_SEARCH: usize = 200;
/// Words in a search.
const MOST_WORDS: usize = 10;

/// A request that keeps a new resource.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Create<I, D> {
    /// The id wanted; `None` where the service makes one.
    pub id: Option<I>,
    /// The resource.
    pub draft: D,
    /// Made once by the client, in its usual hyphenated form.
    pub request_id: Option<Uuid>,
    /// Check only, keep nothing.
    pub validate_only: bool,
}

/// What a request says beside the resource.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted<I> {
    /// As [`Create::id`].
    pub id: Option<I>,
    /// As [`Create::request_id`].
    pub request_id: Option<Uuid>,
    /// As [`Create::validate_only`].
    pub validate_only: bool,
}

impl<I, D> Sent<Create<I, D>> {
    /// Parts the resource, which is still to be judged, from the rest. What could not be read of
    /// either stays with the resource.
    pub fn parts(self) -> (Wanted<I>, Sent<D>) {
        let Self { draft, broken } = self;
        let Create { id, draft, request_id, validate_only } = draft;
        (Wanted { id, request_id, validate_only }, Sent { draft, broken })
    }
}

/// Which page of a list is asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Page {
    /// Items on it, 1 to [`LARGEST_PAGE`].
    pub size: u32,
    /// The token as sent; empty for the first page.
    pub token: String,
}

/// Reads page size and token: 0 is [`USUAL_PAGE`], too big is [`LARGEST_PAGE`] (AIP-158).
///
/// A negative size goes to `broken`.
pub fn page_from_wire(page_size: i32, page_token: String, broken: &mut Violations) -> Page {
    let size = match u32::try_from(page_size) {
        Ok(0) => USUAL_PAGE,
        Ok(size) => size.min(LARGEST_PAGE),
        Err(_) => {
            broken.add(
                "page_size",
                "NEGATIVE_PAGE_SIZE",
                format!(
                    "{page_size} is no page size: give 1 to {LARGEST_PAGE}, or leave it out for {USUAL_PAGE}"
                ),
            );
            USUAL_PAGE
        }
    };
    Page { size, token: page_token }
}

/// Reads the words of a search: whatever white space parts.
///
/// A search that is too long goes to `broken`.
pub(super) fn words_from_wire(query: &str, broken: &mut Violations) -> Vec<String> {
    let (characters, words) = (query.chars().count(), query.split_whitespace().count());
    if characters > LONGEST_SEARCH || words > MOST_WORDS {
        broken.add(
            "query",
            "TEXT_TOO_LONG",
            format!(
                "has {characters} characters and {words} words: search with at most {LONGEST_SEARCH} and {MOST_WORDS}"
            ),
        );
        return Vec::new();
    }
    query.split_whitespace().map(str::to_owned).collect()
}

/// Reads a resource name with `read`, such as `TrialId::from_name`; empty is `None` and is reported
/// as required.
pub fn name_from_wire<I>(
    name: &str,
    field: &str,
    read: impl Fn(&str) -> Result<I, NotAName>,
    broken: &mut Violations,
) -> Option<I> {
    if name.is_empty() {
        broken.add(field, "REQUIRED", "say which, by its resource name");
        return None;
    }
    optional_name_from_wire(name, field, read, broken)
}

/// Reads a resource name with `read`; empty is `None`.
pub fn optional_name_from_wire<I>(
    name: &str,
    field: &str,
    read: impl Fn(&str) -> Result<I, NotAName>,
    broken: &mut Violations,
) -> Option<I> {
    if name.is_empty() {
        return None;
    }
    read(name).map_err(|why| broken.add(field, "NOT_A_NAME", why.to_string())).ok()
}

/// The id out of a request that bears nothing but a required `name`.
///
/// # Errors
/// The name is missing or of another shape.
pub fn get_from_wire<I>(name: &str, read: impl Fn(&str) -> Result<I, NotAName>) -> Result<I, Violations> {
    let mut broken = Violations::default();
    name_from_wire(name, "name", read, &mut broken).ok_or(broken)
}

/// Reads the id wanted for a new resource; empty is `None`.
pub(super) fn id_from_wire<I>(
    id: &str,
    field: &str,
    parse: impl Fn(&str) -> Result<I, NotAName>,
    broken: &mut Violations,
) -> Option<I> {
    if id.is_empty() {
        return None;
    }
    parse(id).map_err(|why| broken.add(field, "NOT_AN_ID", why.to_string())).ok()
}

/// Reads a request id; empty is `None`.
pub(super) fn request_id_from_wire(request_id: &str, broken: &mut Violations) -> Option<Uuid> {
    if request_id.is_empty() {
        return None;
    }
    // The other spellings of a UUID (braces, no hyphens) are not what JSON and AIP-155 call one.
    let read = if request_id.len() == 36 { Uuid::try_parse(request_id).ok() } else { None };
    if read.is_none() {
        broken.add(
            "request_id",
            "NOT_A_UUID",
            format!(
                "`{}` is no UUID: make one per submission and keep it over retries, such as 7d3f0a52-3a0e-4b5c-9c55-0c1f5a0a9a51",
                benchring_domain::id::shortened(request_id)
            ),
        );
    }
    read
}

/// Takes the resource out of a request.
pub(super) fn resource_from_wire<W, D: Default>(
    resource: Option<W>,
    field: &str,
    read: impl FnOnce(W) -> Sent<D>,
    broken: &mut Violations,
) -> D {
    if let Some(resource) = resource {
        return read(resource).under(|| field.to_owned(), broken);
    }
    broken.add(field, "REQUIRED", "send the resource itself");
    D::default()
}

#[cfg(test)]
mod tests {
    use benchring_domain::id::TrialId;

    use super::*;

    #[test]
    fn page_sizes_are_read_as_the_list_rules_say() {
        for (sent, size) in [(0, 50), (1, 1), (200, 200), (201, 200), (i32::MAX, 200)] {
            let mut broken = Violations::default();
            assert_eq!(page_from_wire(sent, String::new(), &mut broken).size, size);
            assert!(broken.is_empty());
        }
        for sent in [-1, i32::MIN] {
            let mut broken = Violations::default();
            page_from_wire(sent, String::new(), &mut broken);
            assert_eq!(broken.as_slice()[0].field, "page_size");
        }
    }

    #[test]
    fn a_search_is_parted_into_words_up_to_a_limit() {
        let mut broken = Violations::default();
        assert_eq!(words_from_wire("  k4 \t invented ", &mut broken), ["k4", "invented"]);
        assert!(words_from_wire("", &mut broken).is_empty() && broken.is_empty());
        for long in ["w ".repeat(11), "w".repeat(201)] {
            let mut broken = Violations::default();
            assert!(words_from_wire(&long, &mut broken).is_empty());
            assert_eq!(broken.as_slice()[0].field, "query");
        }
    }

    #[test]
    fn a_request_id_is_a_hyphenated_uuid_in_any_case() {
        let mut broken = Violations::default();
        let lower = request_id_from_wire("7d3f0a52-3a0e-4b5c-9c55-0c1f5a0a9a51", &mut broken);
        let upper = request_id_from_wire("7D3F0A52-3A0E-4B5C-9C55-0C1F5A0A9A51", &mut broken);
        assert!(lower.is_some() && lower == upper && broken.is_empty());
        assert_eq!(request_id_from_wire("", &mut broken), None);
        assert!(broken.is_empty());
        for wrong in ["1", "7d3f0a523a0e4b5c9c550c1f5a0a9a51", "{7d3f0a52-3a0e-4b5c-9c55-0c1f5a0a9a51}"] {
            let mut broken = Violations::default();
            assert_eq!(request_id_from_wire(wrong, &mut broken), None);
            assert_eq!(broken.as_slice()[0].reason, "NOT_A_UUID");
        }
    }

    #[test]
    fn a_name_of_another_collection_is_refused() {
        assert!(get_from_wire("trials/a-1", TrialId::from_name).is_ok());
        for (wrong, reason) in [
            ("", "REQUIRED"),
            ("packModels/a-1", "NOT_A_NAME"),
            ("trials/A", "NOT_A_NAME"),
            ("trials/a/b", "NOT_A_NAME"),
            ("trials/", "NOT_A_NAME"),
        ] {
            let broken = get_from_wire(wrong, TrialId::from_name).unwrap_err();
            assert_eq!((broken.as_slice()[0].field.as_str(), broken.as_slice()[0].reason), ("name", reason));
        }
    }
}
