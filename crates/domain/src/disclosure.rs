//! What a tester has to say about themselves and their packs, and under which licence data comes.

use serde::{Deserialize, Serialize};

macro_rules! words {
    ($(#[$doc:meta])* $type:ident { $($(#[$vdoc:meta])* $variant:ident = $id:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum $type { $($(#[$vdoc])* #[serde(rename = $id)] $variant),+ }

        impl $type {
            /// Every value.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word kept and shown.
            pub fn id(self) -> &'static str {
                match self { $(Self::$variant => $id),+ }
            }

            /// Reads the word of [`Self::id`].
            pub fn from_id(id: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|v| v.id() == id)
            }
        }

        impl std::fmt::Display for $type {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.id())
            }
        }
    };
}
pub(crate) use words;

words!(
    /// How the tester came by a pack specimen.
    Acquired {
        /// Bought over the counter like anyone.
        BoughtRetail = "bought_retail",
        /// Bought second hand.
        SecondHand = "second_hand",
        /// Lent by its maker.
        LentByMaker = "lent_by_maker",
        /// Given by its maker.
        GivenByMaker = "given_by_maker",
        /// Lent by somebody else.
        LentByOther = "lent_by_other",
    }
);

impl Acquired {
    /// Whether the maker chose the specimen.
    pub fn by_maker(self) -> bool {
        matches!(self, Self::LentByMaker | Self::GivenByMaker)
    }
}

words!(
    /// The tester's interest in the outcome.
    Interest {
        /// None.
        None = "none",
        /// Employed by a maker or seller.
        Employed = "employed",
        /// Paid or supplied by a maker or seller.
        Sponsored = "sponsored",
        /// Earns by sales through links or shops.
        SellerAffiliate = "seller_affiliate",
        /// Another interest, said in the trial's note.
        Other = "other",
    }
);

words!(
    /// The licence a tester gives, by its SPDX identifier.
    Licence {
        /// Creative Commons Zero 1.0.
        Cc0 = "CC0-1.0",
        /// Creative Commons Attribution 4.0.
        CcBy = "CC-BY-4.0",
        /// Open Data Commons Open Database Licence 1.0.
        Odbl = "ODbL-1.0",
    }
);
