//! The reasons an input can be refused for, and a trial kept out of pools for. Clients may branch on them;
//! none is ever renamed.

macro_rules! reasons {
    ($(#[$doc:meta])* $all:ident { $($(#[$rdoc:meta])* $name:ident;)+ }) => {
        $($(#[$rdoc])* pub const $name: &str = stringify!($name);)+

        $(#[$doc])*
        pub const $all: &[&str] = &[$($name),+];
    };
}

reasons!(
    /// Every reason of a [`crate::violation::Violation`], beside the codes of
    /// [`crate::quantity::Unreadable::CODES`] for numbers that cannot be read.
    VIOLATIONS {
        /// A field that has to be given is not.
        REQUIRED;
        /// A field has to be left out here.
        NOT_TAKEN;
        /// A text is longer than its field takes.
        TEXT_TOO_LONG;
        /// A text with a control or direction character.
        CONTROL_CHARACTER;
        /// Not a resource name, or one of another collection.
        NOT_A_NAME;
        /// No such method version.
        UNKNOWN_METHOD;
        /// No such pack model.
        UNKNOWN_PACK_MODEL;
        /// No such pack specimen.
        UNKNOWN_PACK_SPECIMEN;
        /// No such tool model.
        UNKNOWN_TOOL_MODEL;
        /// The method has no field of that id.
        UNKNOWN_FIELD;
        /// The field stands elsewhere in a trial.
        WRONG_LEVEL;
        /// The field is worked out by the service.
        COMPUTED_FIELD;
        /// One thing is given twice.
        DUPLICATE;
        /// The value is of another kind than the field.
        WRONG_KIND;
        /// The choice is not in the list.
        UNKNOWN_CHOICE;
        /// The number lies outside what is possible.
        OUT_OF_LIMITS;
        /// A reading of zero or below has no logarithm, so it cannot be compared as a ratio.
        NON_POSITIVE_READING;
        /// The number has to be whole.
        NOT_WHOLE;
        /// A reading of zero says nothing here.
        ZERO_WORK;
        /// Trials rest on the resource, so that this field of it stays as it is.
        FIXED_BY_USE;
        /// A list has more entries than are taken.
        TOO_MANY;
        /// A list has fewer entries than are needed.
        TOO_FEW;
        /// A time too far ahead of the server's clock.
        TIME_AHEAD;
        /// A time before any that can be meant.
        TIME_TOO_EARLY;
        /// Arms were tested under different conditions.
        CONDITIONS_DIFFER;
        /// Two statements of one trial cannot both be true.
        CONTRADICTION;
        /// Positions are given for some runs only.
        POSITIONS_PARTLY;
        /// A warm-up run stands after a scored run of its charge.
        WARM_UP_LATE;
        /// An arm has no run but warm-ups.
        NO_SCORED_RUN;
        /// Not an amount of money.
        NOT_AN_AMOUNT;
        /// Not an ISO 4217 code.
        NOT_A_CURRENCY;
        /// Not an ISO 3166-1 code.
        NOT_A_REGION;
        /// Not an ISO 8601 date.
        NOT_A_DATE;
        /// A claim whose words can mean two different numbers.
        AMBIGUOUS_FORM;
        /// A form of claim that says nothing about the response named.
        FORM_DOES_NOT_FIT;
        /// A normalisation that the method does not permit.
        NOT_NORMALISABLE;
        /// One pack on both sides.
        SAME_PACK;
        /// A method that knows no demand class.
        NO_DEMAND_CLASS;
        /// Broken rules beyond the greatest number that one answer lists.
        MORE_NOT_LISTED;
    }
);

reasons!(
    /// Every reason of a [`crate::trial::summary::LeftOut`].
    LEFT_OUT {
        /// A charge began in a state that the method does not pool.
        STARTING_STATE;
        /// A charge was typed as rested, but its pack was not at the temperature of the air.
        STATE_DOUBTFUL;
        /// A condition differs more between arms than the method pools.
        ARMS_APART;
        /// Timed runs stand further apart on the charge than the method pools.
        USED_CHARGE_APART;
        /// A value lies outside the band that the method pools.
        OUT_OF_BAND;
        /// The method takes this type of tool as indicative only.
        INDICATIVE_ONLY;
        /// A key that trials are pooled by is not known.
        NO_POOL_KEY;
    }
);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Unreadable;

    #[test]
    fn every_reason_is_upper_snake_and_listed_once() {
        let mut all: Vec<&str> =
            VIOLATIONS.iter().chain(LEFT_OUT).chain(Unreadable::CODES).copied().collect();
        let shaped = |r: &str| r.bytes().all(|b| b.is_ascii_uppercase() || b == b'_') && r.len() <= 63;
        assert!(all.iter().all(|r| shaped(r)));
        let count = all.len();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), count);
    }
}
