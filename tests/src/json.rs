//! A plain HTTP/1.1 client of the JSON door.

use std::net::SocketAddr;

use anyhow::{Context as _, bail};
use bytes::Bytes;
use http::{HeaderMap, Method, Request, StatusCode};
use http_body_util::{BodyExt as _, Full};
use hyper_util::client::legacy::Client as Inner;
use hyper_util::client::legacy::connect::HttpConnector;
use hyper_util::rt::TokioExecutor;
use serde_json::Value;

/// A client.
#[derive(Debug, Clone)]
pub struct Client {
    address: SocketAddr,
    inner: Inner<HttpConnector, Full<Bytes>>,
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    /// Status.
    pub status: StatusCode,
    /// Headers.
    pub headers: HeaderMap,
    /// Body.
    pub body: Bytes,
}

impl Client {
    /// A client of the server at `address`.
    pub fn new(address: SocketAddr) -> Self {
        Self { address, inner: Inner::builder(TokioExecutor::new()).build_http() }
    }

    /// Makes a call with these headers.
    ///
    /// # Errors
    /// When there is no answer.
    pub async fn call(
        &self,
        method: Method,
        path: &str,
        headers: &[(&str, &str)],
        body: impl Into<Bytes>,
    ) -> anyhow::Result<Answer> {
        let mut request = Request::builder().method(method).uri(format!("http://{}{path}", self.address));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let response = self.inner.request(request.body(Full::new(body.into()))?).await?;
        let (parts, body) = response.into_parts();
        let body = body.collect().await?.to_bytes();
        Ok(Answer { status: parts.status, headers: parts.headers, body })
    }

    /// GET, with the token of `who`.
    ///
    /// # Errors
    /// When there is no answer.
    pub async fn get(&self, path: &str, who: Option<&str>) -> anyhow::Result<Answer> {
        let token = who.map(|who| format!("Bearer development-{who}"));
        let headers: Vec<_> = token.iter().map(|token| ("authorization", token.as_str())).collect();
        self.call(Method::GET, path, &headers, Bytes::new()).await
    }

    /// POST of JSON, with the token of `who`.
    ///
    /// # Errors
    /// When there is no answer.
    pub async fn post(&self, path: &str, who: Option<&str>, body: &str) -> anyhow::Result<Answer> {
        let token = who.map(|who| format!("Bearer development-{who}"));
        let mut headers = vec![("content-type", "application/json")];
        headers.extend(token.iter().map(|token| ("authorization", token.as_str())));
        self.call(Method::POST, path, &headers, body.to_owned()).await
    }
}

impl Answer {
    /// The body as JSON.
    ///
    /// # Errors
    /// When it is none.
    pub fn json(&self) -> anyhow::Result<Value> {
        serde_json::from_slice(&self.body).with_context(|| format!("{:?}", self.body))
    }

    /// The body as JSON, where the status says success.
    ///
    /// # Errors
    /// When it does not, with the body.
    pub fn ok(&self) -> anyhow::Result<Value> {
        if !self.status.is_success() {
            bail!("{}: {}", self.status, String::from_utf8_lossy(&self.body));
        }
        self.json()
    }

    /// A header as text.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }
}
