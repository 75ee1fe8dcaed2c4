//! Keeps the details of a refusal below what gRPC clients read as metadata.
//!
//! Clients refuse headers above 8 KiB by default, and would show a long list of violations as no list at
//! all. What does not fit is counted, and the message says where all of it can be had.

use http::HeaderMap;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt as _};

use super::complete::write;

/// Most bytes of `grpc-status-details-bin`, in base64 as on the wire.
const DETAILS: usize = 6 * 1024;
/// Most bytes of `grpc-message`. It stands in the headers and in the details again.
const MESSAGE: usize = 256;
/// Most bytes of one description, where not even one violation fits.
const DESCRIPTION: usize = 1024;

/// Trims the status in headers or trailers, where there is one that is too long.
pub(super) fn trim(headers: &mut HeaderMap) {
    let long = headers.get("grpc-status-details-bin").is_some_and(|details| details.len() > DETAILS);
    let wordy = headers.get("grpc-message").is_some_and(|message| message.len() > 2 * MESSAGE);
    if !long && !wordy {
        return;
    }
    let Some(status) = Status::from_header_map(headers) else { return };
    let message = cut(status.message(), MESSAGE);
    let details = status.get_error_details();
    let all = details.bad_request().map_or(&[][..], |bad| &bad.field_violations[..]);
    if all.is_empty() {
        let mut kept = ErrorDetails::new();
        if let Some(info) = details.error_info() {
            kept.set_error_info(&info.reason, &info.domain, std::collections::HashMap::new());
        }
        return write(headers, status.code(), &message, kept);
    }
    let (kept, message) = most_that_fits(status.code(), &message, &details, all);
    write(headers, status.code(), &message, kept);
}

/// The longest beginning of `all` that fits, and the message that tells how many there are.
fn most_that_fits(
    code: Code,
    message: &str,
    details: &ErrorDetails,
    all: &[FieldViolation],
) -> (ErrorDetails, String) {
    let with = |count: usize| {
        let kept: Vec<_> = all.iter().take(count).map(shorter).collect();
        let text = if count < all.len() {
            format!("{message}; {count} of {} are named here, CheckTrial returns all", all.len())
        } else {
            message.to_owned()
        };
        let mut fewer = ErrorDetails::with_bad_request(kept);
        if let Some(info) = details.error_info() {
            let mut metadata = info.metadata.clone();
            metadata.insert("violations_total".to_owned(), all.len().to_string());
            metadata.insert("violations_named".to_owned(), count.to_string());
            fewer.set_error_info(&info.reason, &info.domain, metadata);
        }
        (fewer, text)
    };
    let fits = |count: usize| {
        let (details, text) = with(count);
        // Base64 takes four characters for three bytes.
        Status::with_error_details(code, text, details).details().len() * 4 / 3 + 4 <= DETAILS
    };
    let (mut low, mut high) = (0, all.len());
    while low < high {
        let middle = (low + high).div_ceil(2);
        if fits(middle) { low = middle } else { high = middle - 1 }
    }
    with(low)
}

fn shorter(violation: &FieldViolation) -> FieldViolation {
    FieldViolation {
        reason: violation.reason.clone(),
        ..FieldViolation::new(cut(&violation.field, DESCRIPTION), cut(&violation.description, DESCRIPTION))
    }
}

/// The longest beginning of at most `bytes` bytes that ends between characters.
fn cut(text: &str, bytes: usize) -> String {
    if text.len() <= bytes {
        text.to_owned()
    } else {
        format!("{}...", &text[..text.floor_char_boundary(bytes)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use benchring_domain::violation::Violations;

    fn headers_of(count: usize, description: &str) -> HeaderMap {
        let mut broken = Violations::default();
        for i in 0..count {
            broken.add(
                format!("trial.arms[0].charges[0].runs[{i}].reading.unit"),
                "UNKNOWN_UNIT",
                description,
            );
        }
        let mut headers = HeaderMap::new();
        Status::from(crate::error::Refusal::from(broken)).add_header(&mut headers).expect("written");
        headers
    }

    fn size(headers: &HeaderMap) -> usize {
        headers.iter().map(|(name, value)| name.as_str().len() + value.len() + 32).sum()
    }

    #[test]
    fn four_hundred_violations_are_trimmed_and_counted() {
        let mut headers = headers_of(400, "`mmm` is no unit known here; use mm, cm, m or in");
        trim(&mut headers);
        assert!(size(&headers) < 8 * 1024, "{}", size(&headers));
        let status = Status::from_header_map(&headers).expect("a status");
        let named = status.get_details_bad_request().expect("a BadRequest").field_violations.len();
        assert!((20..200).contains(&named), "{named}");
        let info = status.get_details_error_info().expect("an ErrorInfo");
        assert_eq!(info.metadata["violations_total"], "400");
        assert_eq!(info.metadata["violations_named"], named.to_string());
        assert!(status.message().contains("CheckTrial"), "{}", status.message());
    }

    #[test]
    fn one_endless_violation_is_cut() {
        let mut headers = headers_of(1, &"å".repeat(40_000));
        trim(&mut headers);
        assert!(size(&headers) < 8 * 1024, "{}", size(&headers));
        let status = Status::from_header_map(&headers).expect("a status");
        assert_eq!(status.get_details_bad_request().map(|b| b.field_violations.len()), Some(1));
    }

    #[test]
    fn what_fits_is_left_alone() {
        let mut headers = headers_of(5, "short");
        let before = headers.clone();
        trim(&mut headers);
        assert_eq!(headers, before);
    }
}
