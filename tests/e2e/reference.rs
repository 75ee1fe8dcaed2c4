//! The reference of methods and fields, as a page and as Markdown.

use benchring_tests::{Ring, json};
use http::Method;

#[tokio::test(flavor = "multi_thread")]
async fn the_reference_is_served_as_a_page_and_as_markdown() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let client = json::Client::new(ring.address());
    let page = client.call(Method::GET, "/docs/reference", &[], "").await?;
    assert_eq!((page.status.as_u16(), page.header("content-type")), (200, "text/html; charset=utf-8"));
    assert!(page.header("content-security-policy").contains("default-src 'none'"), "{page:?}");
    let html = String::from_utf8(page.body.to_vec())?;
    assert!(html.contains("name=\"viewport\"") && html.contains("<h3 id=\"bore-time\">bore-time</h3>"));
    assert!(!html.contains("<script"), "no code in the page");
    let text = client.call(Method::GET, "/docs/reference.md", &[], "").await?;
    assert_eq!((text.status.as_u16(), text.header("content-type")), (200, "text/markdown; charset=utf-8"));
    assert_eq!(text.body, include_str!("../../crates/domain/methods/REFERENCE.md"));
    let front = client.call(Method::GET, "/", &[], "").await?;
    assert!(String::from_utf8(front.body.to_vec())?.contains("href=\"/docs/reference\""));
    let head = client.call(Method::HEAD, "/docs/reference", &[], "").await?;
    assert!(head.status.is_success() && head.body.is_empty());
    let written = client.call(Method::POST, "/docs/reference", &[], "").await?;
    assert_eq!(written.status.as_u16(), 404);
    ring.end().await
}
