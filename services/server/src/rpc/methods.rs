//! The catalogue of methods.

use benchring_api::convert::methods::{
    Asked, View, basic, get_method_from_wire, list_methods_from_wire, method_to_wire,
};
use benchring_api::v1;
use benchring_api::v1::method_service_server::MethodService;
use benchring_auth::Action;
use benchring_domain::id::MethodId;
use benchring_domain::method::Method;
use tonic::{Request, Response, Status};

use super::paging::List as _;
use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};

#[tonic::async_trait]
impl MethodService for App {
    async fn list_methods(
        &self,
        request: Request<v1::ListMethodsRequest>,
    ) -> Result<Response<v1::ListMethodsResponse>, Status> {
        answer(async {
            permit(&request, Action::ReadMethods)?;
            let sent = request.into_inner();
            let question = sent.question();
            let asked = list_methods_from_wire(sent).finish()?;
            let turn = self.turn(question, &asked.page)?;
            let after = turn.after(MethodId::parse)?;
            let behind = |method: &&Method| after.as_ref().is_none_or(|after| method.id > *after);
            let mut methods: Vec<_> =
                self.catalogue.current_methods().filter(behind).take(turn.limit()).collect();
            let next_page_token = turn.cut(&mut methods, |last| last.id.to_string());
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
