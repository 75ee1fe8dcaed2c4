//! Every rpc that the server answers, out of the descriptors, with its action.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use benchring_auth::Action;
use prost_reflect::DescriptorPool;
use prost_types::method_options::IdempotencyLevel;

use crate::access;

/// One rpc.
#[derive(Debug)]
pub struct Rpc {
    /// `package.Service/Method`.
    pub name: String,
    /// What it is to do, for the access table.
    pub action: Action,
    /// Whether either side streams.
    pub streams: bool,
    /// Whether it changes anything: all but those that the descriptors declare free of side effects.
    pub writes: bool,
    /// Its place in [`Rpcs::all`].
    pub index: usize,
}

impl Rpc {
    /// Whether it belongs to the health service, which must answer when nothing else can.
    pub fn is_health(&self) -> bool {
        self.name.starts_with("grpc.health.")
    }
}

/// All rpcs, by path.
#[derive(Debug)]
pub struct Rpcs {
    by_path: HashMap<String, Arc<Rpc>>,
    services: HashSet<String>,
    all: Vec<Arc<Rpc>>,
    pool: DescriptorPool,
}

/// Why the table of rpcs cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum BadRpcs {
    /// A descriptor set that is none.
    #[error("a descriptor set cannot be read")]
    Descriptors(#[from] prost_reflect::DescriptorError),
    /// An rpc that nobody decided about.
    #[error("`{0}` has no row in the access table")]
    NoAccessRow(String),
    /// A row for an rpc that is not there.
    #[error("the access table has a row for `{0}`, which is no rpc")]
    NoRpc(&'static str),
}

impl Rpcs {
    /// Reads the descriptors of benchring, health and reflection.
    ///
    /// # Errors
    /// When a descriptor cannot be read, or rpcs and access table do not match one to one.
    pub fn read() -> Result<Self, BadRpcs> {
        let mut pool = DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET)?;
        for set in [
            tonic_health::pb::FILE_DESCRIPTOR_SET,
            tonic_reflection::pb::v1::FILE_DESCRIPTOR_SET,
            tonic_reflection::pb::v1alpha::FILE_DESCRIPTOR_SET,
        ] {
            pool.decode_file_descriptor_set(set)?;
        }
        let mut rpcs = Self { by_path: HashMap::new(), services: HashSet::new(), all: Vec::new(), pool };
        for service in rpcs.pool.services().collect::<Vec<_>>() {
            rpcs.services.insert(service.full_name().to_owned());
            for method in service.methods() {
                let name = format!("{}/{}", service.full_name(), method.name());
                let action = access::action_of(&name).ok_or_else(|| BadRpcs::NoAccessRow(name.clone()))?;
                let streams = method.is_client_streaming() || method.is_server_streaming();
                let own = service.package_name().starts_with("benchring.");
                let options = method.method_descriptor_proto().options.clone().unwrap_or_default();
                let writes = own && options.idempotency_level != Some(IdempotencyLevel::NoSideEffects.into());
                let rpc = Arc::new(Rpc { name, action, streams, writes, index: rpcs.all.len() });
                rpcs.by_path.insert(format!("/{}", rpc.name), Arc::clone(&rpc));
                rpcs.all.push(rpc);
            }
        }
        match access::ACCESS.iter().find(|(row, _)| !rpcs.all.iter().any(|rpc| rpc.name == *row)) {
            Some((row, _)) => Err(BadRpcs::NoRpc(row)),
            None => Ok(rpcs),
        }
    }

    /// The rpc at `/package.Service/Method`.
    pub fn at(&self, path: &str) -> Option<&Arc<Rpc>> {
        self.by_path.get(path)
    }

    /// Whether `path` lies under a service: a gRPC path, known method or not.
    pub fn under_a_service(&self, path: &str) -> bool {
        path.strip_prefix('/')
            .and_then(|rest| rest.split_once('/'))
            .is_some_and(|(service, _)| self.services.contains(service))
    }

    /// Every rpc, by index.
    pub fn all(&self) -> &[Arc<Rpc>] {
        &self.all
    }

    /// Names of the services, without those of reflection and health.
    pub fn own_services(&self) -> impl Iterator<Item = &str> {
        self.services.iter().map(String::as_str).filter(|name| name.starts_with("benchring."))
    }

    /// The descriptors.
    pub fn pool(&self) -> &DescriptorPool {
        &self.pool
    }
}
