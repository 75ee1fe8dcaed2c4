//! What every list promises (AIP-158).

use benchring_api::v1::method_service_server::MethodService as _;

use super::*;

/// One page: the names on it and the token of the next.
type Page = Result<(Vec<String>, String), Status>;

/// Names the lists, each with how it is asked for a page and for a page of another question.
async fn ask(ring: &Ring, list: &str, page_size: i32, page_token: &str, other: bool) -> Page {
    let (who, token) = (moderator("m01"), page_token.to_owned());
    let word = if other { "invented" } else { "" }.to_owned();
    match list {
        "trials" => {
            let filter = if other { "standing = pending".to_owned() } else { String::new() };
            let request = v1::ListTrialsRequest { page_size, page_token: token, filter, view: 0 };
            let page = ring.app.list_trials(by(&who, request)).await?.into_inner();
            Ok((page.trials.into_iter().map(|item| item.name).collect(), page.next_page_token))
        }
        "packModels" => {
            let request = v1::ListPackModelsRequest { page_size, page_token: token, query: word };
            let page = ring.app.list_pack_models(by(&who, request)).await?.into_inner();
            Ok((page.pack_models.into_iter().map(|item| item.name).collect(), page.next_page_token))
        }
        "packSpecimens" => {
            let tester = if other { "testers/t01".to_owned() } else { String::new() };
            let request =
                v1::ListPackSpecimensRequest { page_size, page_token: token, tester, ..Default::default() };
            let page = ring.app.list_pack_specimens(by(&who, request)).await?.into_inner();
            Ok((page.pack_specimens.into_iter().map(|item| item.name).collect(), page.next_page_token))
        }
        "toolModels" => {
            let request =
                v1::ListToolModelsRequest { page_size, page_token: token, query: word, ..Default::default() };
            let page = ring.app.list_tool_models(by(&who, request)).await?.into_inner();
            Ok((page.tool_models.into_iter().map(|item| item.name).collect(), page.next_page_token))
        }
        "methods" => {
            let view = if other { v1::MethodView::Full.into() } else { 0 };
            let request = v1::ListMethodsRequest { page_size, page_token: token, view };
            let page = ring.app.list_methods(by(&who, request)).await?.into_inner();
            Ok((page.methods.into_iter().map(|item| item.name).collect(), page.next_page_token))
        }
        _ => panic!("no list of {list}"),
    }
}

const LISTS: [&str; 5] = ["trials", "packModels", "packSpecimens", "toolModels", "methods"];

/// At least three of everything.
async fn filled() -> Ring {
    let ring = Ring::start().await;
    for i in 0..3 {
        ring.submitted(&tester("t01"), &format!("trial-{i}")).await;
        let request =
            v1::CreatePackSpecimenRequest { pack_specimen: Some(specimen("k4")), ..Default::default() };
        ring.app.create_pack_specimen(by(&tester("t02"), request)).await.unwrap();
        let request = v1::CreatePackModelRequest { pack_model: Some(pack_model("k5")), ..Default::default() };
        ring.app.create_pack_model(by(&tester("t02"), request)).await.unwrap();
        let request = v1::CreateToolModelRequest { tool_model: Some(tool_model()), ..Default::default() };
        ring.app.create_tool_model(by(&tester("t02"), request)).await.unwrap();
    }
    ring
}

#[tokio::test]
async fn a_walk_meets_everything_once_and_ends_with_an_empty_token() {
    let ring = filled().await;
    for list in LISTS {
        let (whole, end) = ask(&ring, list, 0, "", false).await.unwrap();
        assert!(whole.len() >= 3 && end.is_empty(), "{list}: {whole:?}");
        let (mut walked, mut token) = (Vec::new(), String::new());
        // The size may change from page to page.
        for size in (1..=2).cycle().take(50) {
            let (names, next) = ask(&ring, list, size, &token, false).await.unwrap();
            assert!(names.len() <= usize::try_from(size).unwrap(), "{list}");
            walked.extend(names);
            token = next;
            if token.is_empty() {
                break;
            }
        }
        assert_eq!(walked, whole, "{list}");
    }
}

#[tokio::test]
async fn page_sizes_out_of_range_are_coerced_or_refused() {
    let ring = filled().await;
    for list in LISTS {
        assert!(ask(&ring, list, 10_000, "", false).await.is_ok(), "{list}");
        let status = ask(&ring, list, -1, "", false).await.unwrap_err();
        assert_eq!(reason(&status), (Code::InvalidArgument, "INVALID_FIELDS".into()), "{list}");
        assert_eq!(fields(&status), ["page_size"], "{list}");
    }
}

#[tokio::test]
async fn a_token_serves_the_question_it_was_made_for_and_no_other() {
    let ring = filled().await;
    let mut tokens = Vec::new();
    for list in LISTS {
        let (_, token) = ask(&ring, list, 1, "", false).await.unwrap();
        assert!(!token.is_empty(), "{list}");
        let status = ask(&ring, list, 1, &token, true).await.unwrap_err();
        assert_eq!((status.code(), fields(&status)), (Code::InvalidArgument, vec!["page_token".into()]));
        tokens.push((list, token));
    }
    for (list, token) in &tokens {
        for other in LISTS.iter().filter(|other| *other != list) {
            let status = ask(&ring, other, 1, token, false).await.unwrap_err();
            assert_eq!(fields(&status), ["page_token"], "token of {list} given to {other}");
        }
        let mut flipped = token.clone().into_bytes();
        flipped[3] = if flipped[3] == b'A' { b'B' } else { b'A' };
        let flipped = String::from_utf8(flipped).unwrap();
        let status = ask(&ring, list, 1, &flipped, false).await.unwrap_err();
        assert_eq!(fields(&status), ["page_token"], "{list}");
    }
}

#[tokio::test]
async fn a_list_shows_what_its_caller_may_read() {
    let ring = Ring::start().await;
    ring.submitted(&tester("t01"), "of-t01").await;
    ring.submitted(&tester("t02"), "of-t02").await;
    for (who, names) in [
        (Caller::anonymous(), vec![]),
        (tester("t02"), vec!["trials/of-t02"]),
        (tester("t03"), vec![]),
        (moderator("m01"), vec!["trials/of-t02", "trials/of-t01"]),
    ] {
        let page = ring.app.list_trials(by(&who, v1::ListTrialsRequest::default())).await.unwrap();
        let mut found: Vec<_> = page.into_inner().trials.into_iter().map(|trial| trial.name).collect();
        let mut names = names;
        found.sort();
        names.sort_unstable();
        assert_eq!(found, names, "{who:?}");
    }
}

#[tokio::test]
async fn a_filter_that_cannot_be_read_is_refused() {
    let ring = Ring::start().await;
    for filter in ["colour = red", "standing = nowhere", "standing =", "(", &"a".repeat(3000)] {
        let request = v1::ListTrialsRequest { filter: filter.into(), ..Default::default() };
        let status = ring.app.list_trials(by(&tester("t01"), request)).await.unwrap_err();
        assert_eq!((status.code(), fields(&status)), (Code::InvalidArgument, vec!["filter".into()]));
    }
}
