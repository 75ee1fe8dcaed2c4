//! Which rpc each HTTP method and path is, out of the `google.api.http` options.

use http::Method;
use prost_reflect::{DescriptorPool, DynamicMessage, FieldDescriptor, Kind, MethodDescriptor, Value};

use super::template::{BadTemplate, Path, Template};

/// What the body of the request is.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum BodyIs {
    /// There is none.
    None,
    /// The request message.
    Whole,
    /// One field of it.
    Field(FieldDescriptor),
}

/// One HTTP method and path of an rpc.
#[derive(Debug, Clone)]
pub(super) struct Binding {
    /// `None` binds every method.
    pub(super) method: Option<Method>,
    pub(super) template: Template,
    pub(super) body: BodyIs,
    pub(super) response_body: Option<FieldDescriptor>,
    pub(super) rpc: MethodDescriptor,
    pub(super) rpc_path: String,
}

/// Why the options of the rpcs make no JSON door.
#[derive(Debug, thiserror::Error)]
pub enum BadBinding {
    /// The pool has no `google.api.http`.
    #[error("the descriptors do not contain google.api.http")]
    NoOption,
    /// A path that is no template.
    #[error("{rpc}: {bad}")]
    Template {
        /// The rpc.
        rpc: String,
        /// What is wrong.
        bad: BadTemplate,
    },
    /// A rule that cannot be served.
    #[error("{rpc}: {why}")]
    Rule {
        /// The rpc.
        rpc: String,
        /// What is wrong.
        why: String,
    },
    /// Two templates that some path matches both of.
    #[error("a path can match both {0} and {1}")]
    Ambiguous(String, String),
}

/// All bindings.
#[derive(Debug, Clone)]
pub(super) struct Bindings(Vec<Binding>);

/// What a path leads to.
pub(super) enum Found<'a> {
    /// An rpc, with the values from the path.
    Rpc(&'a Binding, Vec<(&'a str, String)>),
    /// The path is known with these methods only.
    OtherMethods(Vec<Method>),
    /// No such path.
    Nothing,
}

impl Bindings {
    /// Reads the options of every rpc in `pool`.
    pub(super) fn read(pool: &DescriptorPool) -> Result<Self, BadBinding> {
        let option = pool.get_extension_by_name("google.api.http").ok_or(BadBinding::NoOption)?;
        let mut all = Vec::new();
        for rpc in pool.services().flat_map(|service| service.methods().collect::<Vec<_>>()) {
            let options = rpc.options();
            if !options.has_extension(&option) {
                continue;
            }
            if let Some(rule) = options.get_extension(&option).as_message() {
                all.push(binding(rule, &rpc)?);
                for more in list(rule, "additional_bindings") {
                    all.push(binding(&more, &rpc)?);
                }
            }
        }
        for (i, a) in all.iter().enumerate() {
            for b in &all[i + 1..] {
                let same_method = a.method.is_none() || b.method.is_none() || a.method == b.method;
                if same_method && a.template.overlaps(&b.template) {
                    return Err(BadBinding::Ambiguous(described(a), described(b)));
                }
            }
        }
        Ok(Self(all))
    }

    /// Finds what `method` and `path` are.
    pub(super) fn find(&self, method: &Method, path: &Path) -> Found<'_> {
        // HEAD is GET without the body of the answer.
        let asked = if *method == Method::HEAD { &Method::GET } else { method };
        let mut others = Vec::new();
        for binding in &self.0 {
            let Some(values) = binding.template.matches(path) else { continue };
            match &binding.method {
                Some(bound) if bound != asked => others.push(bound.clone()),
                _ => return Found::Rpc(binding, values),
            }
        }
        if others.is_empty() {
            return Found::Nothing;
        }
        if others.contains(&Method::GET) {
            others.push(Method::HEAD);
        }
        others.push(Method::OPTIONS);
        others.dedup();
        Found::OtherMethods(others)
    }
}

fn described(binding: &Binding) -> String {
    let method = binding.method.as_ref().map_or("any", Method::as_str);
    format!("{method} of {}", binding.rpc.full_name())
}

fn list(rule: &DynamicMessage, field: &str) -> Vec<DynamicMessage> {
    let value = rule.get_field_by_name(field);
    let items = value.as_deref().and_then(Value::as_list).unwrap_or_default();
    items.iter().filter_map(|item| item.as_message().cloned()).collect()
}

fn text(rule: &DynamicMessage, field: &str) -> String {
    rule.get_field_by_name(field).and_then(|value| value.as_str().map(str::to_owned)).unwrap_or_default()
}

fn binding(rule: &DynamicMessage, rpc: &MethodDescriptor) -> Result<Binding, BadBinding> {
    let bad = |why: String| BadBinding::Rule { rpc: rpc.full_name().to_owned(), why };
    let (method, path) = method_and_path(rule).map_err(bad)?;
    let template = Template::parse(&path)
        .map_err(|bad| BadBinding::Template { rpc: rpc.full_name().to_owned(), bad })?;
    for field in template.fields() {
        let found =
            field_at(rpc, field).ok_or_else(|| bad(format!("`{field}` is no field of the request")))?;
        if found.kind() != Kind::String || found.is_list() {
            return Err(bad(format!("`{field}` must be a string to stand in a path")));
        }
    }
    let body = match text(rule, "body").as_str() {
        "" => BodyIs::None,
        "*" => BodyIs::Whole,
        name => {
            let field = rpc.input().get_field_by_name(name);
            let message =
                field.filter(|f| matches!(f.kind(), Kind::Message(_)) && !f.is_list() && !f.is_map());
            BodyIs::Field(message.ok_or_else(|| bad(format!("body `{name}` is no message field")))?)
        }
    };
    let response_body = match text(rule, "response_body").as_str() {
        "" => None,
        name => {
            let field = rpc.output().get_field_by_name(name);
            Some(field.ok_or_else(|| bad(format!("response_body `{name}` is no field of the answer")))?)
        }
    };
    let rpc_path = format!("/{}/{}", rpc.parent_service().full_name(), rpc.name());
    Ok(Binding { method, template, body, response_body, rpc: rpc.clone(), rpc_path })
}

fn method_and_path(rule: &DynamicMessage) -> Result<(Option<Method>, String), String> {
    for (field, method) in [
        ("get", Method::GET),
        ("put", Method::PUT),
        ("post", Method::POST),
        ("delete", Method::DELETE),
        ("patch", Method::PATCH),
    ] {
        let path = text(rule, field);
        if !path.is_empty() {
            return Ok((Some(method), path));
        }
    }
    let custom = rule.get_field_by_name("custom");
    let custom = custom.as_deref().and_then(Value::as_message).ok_or("a rule without a path")?;
    let kind = text(custom, "kind");
    let method = match kind.as_str() {
        "*" => None,
        kind => Some(Method::from_bytes(kind.as_bytes()).map_err(|_| format!("`{kind}` is no HTTP method"))?),
    };
    Ok((method, text(custom, "path")))
}

fn field_at(rpc: &MethodDescriptor, path: &str) -> Option<FieldDescriptor> {
    let mut message = rpc.input();
    let mut parts = path.split('.').peekable();
    while let Some(part) = parts.next() {
        let field = message.get_field_by_name(part)?;
        if parts.peek().is_none() {
            return Some(field);
        }
        match field.kind() {
            Kind::Message(inner) if !field.is_list() && !field.is_map() => message = inner,
            _ => return None,
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use std::fmt::Write as _;

    use super::*;

    fn own() -> Bindings {
        let pool = DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET).expect("descriptors");
        Bindings::read(&pool).expect("bindings")
    }

    #[test]
    fn every_rpc_of_ours_has_a_path() {
        let pool = DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET).expect("descriptors");
        let bound = own().0;
        for rpc in pool.services().flat_map(|s| s.methods().collect::<Vec<_>>()) {
            assert!(bound.iter().any(|b| b.rpc.full_name() == rpc.full_name()), "{}", rpc.full_name());
        }
    }

    #[test]
    fn paths_lead_to_their_rpcs() {
        let bindings = own();
        for (method, path, rpc) in [
            (Method::GET, "/v1/server", "benchring.v1.ServerService.GetServerInfo"),
            (Method::HEAD, "/v1/server", "benchring.v1.ServerService.GetServerInfo"),
            (Method::POST, "/v1/trials", "benchring.v1.TrialService.SubmitTrial"),
            (Method::POST, "/v1/trials:plan", "benchring.v1.PlanService.PlanTrial"),
            (Method::POST, "/v1/trials:check", "benchring.v1.TrialService.CheckTrial"),
            (Method::GET, "/v1/trials/t-1", "benchring.v1.TrialService.GetTrial"),
            (Method::POST, "/v1/trials/t-1:decide", "benchring.v1.ModerationService.DecideTrial"),
            (Method::GET, "/v1/methods/m/versions/1", "benchring.v1.MethodService.GetMethod"),
            (Method::GET, "/v1/methods/m", "benchring.v1.MethodService.GetMethod"),
            (Method::POST, "/v1/pools:compare", "benchring.v1.PoolService.ComparePacks"),
            (Method::PATCH, "/v1/packModels/k5", "benchring.v1.PackService.UpdatePackModel"),
            (Method::PATCH, "/v1/packSpecimens/k5-1", "benchring.v1.PackService.UpdatePackSpecimen"),
        ] {
            match bindings.find(&method, &Path::parse(path).expect("a path")) {
                Found::Rpc(binding, _) => assert_eq!(binding.rpc.full_name(), rpc, "{path}"),
                _ => panic!("{method} {path} leads nowhere"),
            }
        }
    }

    #[test]
    fn a_known_path_tells_its_methods() {
        match own().find(&Method::DELETE, &Path::parse("/v1/trials").expect("a path")) {
            Found::OtherMethods(methods) => {
                assert_eq!(methods, [Method::POST, Method::GET, Method::HEAD, Method::OPTIONS]);
            }
            _ => panic!("DELETE /v1/trials must be known with other methods"),
        }
    }

    /// A file of its own with two rpcs at paths that overlap.
    #[test]
    fn two_templates_on_one_path_stop_the_start() {
        let pool = own_pool_with(&[("One", "/v1/{name=things/*}"), ("Two", "/v1/{name=*/*}")]);
        assert!(matches!(Bindings::read(&pool), Err(BadBinding::Ambiguous(..))));
        let pool = own_pool_with(&[("One", "/v1/{name=things/*}"), ("Two", "/v1/{name=other/*}")]);
        assert!(Bindings::read(&pool).is_ok());
        let pool = own_pool_with(&[("One", "/v1/{title=things/*}")]);
        assert!(matches!(Bindings::read(&pool), Err(BadBinding::Rule { .. })));
    }

    fn own_pool_with(rpcs: &[(&str, &str)]) -> DescriptorPool {
        let mut text = "syntax = \"proto3\"; package test; import \"google/api/annotations.proto\";\
                        message Ask { string name = 1; int32 count = 2; } message Answer {} service S {"
            .to_owned();
        for (rpc, path) in rpcs {
            let rule = format!("option (google.api.http) = {{get: \"{path}\"}};");
            write!(text, "rpc {rpc}(Ask) returns (Answer) {{ {rule} }}").expect("a string");
        }
        text.push('}');
        let dir = tempfile::tempdir().expect("a folder");
        std::fs::write(dir.path().join("test.proto"), text).expect("written");
        let protos = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../proto");
        let mut compiler = protox::Compiler::new([dir.path(), &protos]).expect("a compiler");
        compiler.include_imports(true).open_files(["test.proto"]).expect("compiled");
        DescriptorPool::decode(compiler.encode_file_descriptor_set().as_slice()).expect("descriptors")
    }
}
