//! Lists, a page at a time.

use benchring_api::convert::requests::Page;
use benchring_api::v1;
use benchring_domain::violation::Violations;
use prost::Message;

use crate::app::App;
use crate::error::Refusal;

/// A request for a list.
pub(super) trait List: Message + Clone {
    /// The name of its rpc.
    const RPC: &'static str;
    /// The question alone: what has to stay the same from page to page.
    fn question(&self) -> Self;
}

macro_rules! lists {
    ($($request:ident: $rpc:literal;)+) => {
        $(
            impl List for v1::$request {
                const RPC: &'static str = concat!("benchring.v1.", $rpc);
                fn question(&self) -> Self {
                    Self { page_size: 0, page_token: String::new(), ..self.clone() }
                }
            }
        )+
    };
}

lists! {
    ListClaimsRequest: "ClaimService/ListClaims";
    ListMethodsRequest: "MethodService/ListMethods";
    ListPackModelsRequest: "PackService/ListPackModels";
    ListPackSpecimensRequest: "PackService/ListPackSpecimens";
    ListToolModelsRequest: "ToolService/ListToolModels";
    ListTrialsRequest: "TrialService/ListTrials";
}

/// A page being made.
pub(super) struct Turn<'a, Q> {
    app: &'a App,
    question: Q,
    size: usize,
    place: Option<String>,
}

impl App {
    /// Opens the token of a page.
    ///
    /// # Errors
    /// A token that was not made for this question.
    pub(super) fn turn<Q: List>(&self, question: Q, page: &Page) -> Result<Turn<'_, Q>, Violations> {
        let place = self.page_key.open(Q::RPC, &question, &page.token)?;
        Ok(Turn { app: self, question, size: page.size as usize, place })
    }
}

impl<Q: List> Turn<'_, Q> {
    /// How many items to look for: one more than the page holds tells whether there is another page.
    pub(super) fn limit(&self) -> usize {
        self.size + 1
    }

    /// The item to go on behind, read with `read`; `None` on the first page.
    ///
    /// # Errors
    /// Only this server seals tokens: one that does not read is a fault of its own.
    pub(super) fn after<I, E>(&self, read: impl FnOnce(&str) -> Result<I, E>) -> Result<Option<I>, Refusal>
    where
        E: Into<Box<dyn std::error::Error + Send + Sync>>,
    {
        self.place.as_deref().map(|place| read(place).map_err(Refusal::internal)).transpose()
    }

    /// Cuts the items to the page, and gives the token of the next: empty where there is none.
    pub(super) fn cut<T>(self, items: &mut Vec<T>, place: impl FnOnce(&T) -> String) -> String {
        let more = items.len() > self.size;
        items.truncate(self.size);
        match items.last() {
            Some(last) if more => self.app.page_key.seal(Q::RPC, &self.question, &place(last)),
            _ => String::new(),
        }
    }
}
