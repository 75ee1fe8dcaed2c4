//! The catalogue of methods.

use benchring_api::convert::methods::{
    Asked, View, basic, get_method_from_wire, list_methods_from_wire, method_to_wire,
};
use benchring_api::v1;
use benchring_api::v1::method_service_server::MethodService;
use benchring_auth::Action;
use tonic::{Request, Response, Status};

use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};

const LIST: &str = "benchring.v1.MethodService/ListMethods";

#[tonic::async_trait]
impl MethodService for App {
    async fn list_methods(
        &self,
        request: Request<v1::ListMethodsRequest>,
    ) -> Result<Response<v1::ListMethodsResponse>, Status> {
        answer(async {
            permit(&request, Action::ReadMethods)?;
            let sent = request.into_inner();
            let question = v1::ListMethodsRequest { page_size: 0, page_token: String::new(), ..sent.clone() };
            let asked = list_methods_from_wire(sent).finish()?;
            let after = self.page_key.open(LIST, &question, &asked.page.token)?.unwrap_or_default();
            let size = asked.page.size as usize;
            let mut methods: Vec<_> = self
                .catalogue
                .current_methods()
                .filter(|method| method.id.as_str() > after.as_str())
                .take(size + 1)
                .collect();
            let more = methods.len() > size;
            methods.truncate(size);
            let next_page_token = match methods.last() {
                Some(last) if more => self.page_key.seal(LIST, &question, last.id.as_str()),
                _ => String::new(),
            };
            let shown = |method| {
                let full = method_to_wire(&self.catalogue, method);
                if asked.view == View::Full { full } else { basic(&full) }
            };
            Ok(v1::ListMethodsResponse { methods: methods.into_iter().map(shown).collect(), next_page_token })
        })
        .await
    }

    async fn get_method(
        &self,
        request: Request<v1::GetMethodRequest>,
    ) -> Result<Response<v1::Method>, Status> {
        answer(async {
            permit(&request, Action::ReadMethods)?;
            let request = request.into_inner();
            let found = match get_method_from_wire(&request)? {
                Asked::Version(version) => self.catalogue.method(&version),
                Asked::Current(id) => self.catalogue.current(&id),
            };
            let method = found.ok_or_else(|| Refusal::not_found(request.name))?;
            Ok(method_to_wire(&self.catalogue, method))
        })
        .await
    }
}
