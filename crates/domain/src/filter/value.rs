//! Values of a comparison, typed by its field.

use std::fmt;

use super::Field;
use crate::clock::Timestamp;
use crate::disclosure::{Interest, Licence};
use crate::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, ToolModelId};
use crate::standing::Standing;
use crate::text::{listed, meant, quoted};

/// Demand classes, and the word for a trial without one.
const CLASSES: [&str; 4] = ["d1", "d2", "d3", "d4"];
const NO_CLASS: &str = "unknown";

/// A field with the value it is compared with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Value {
    /// See [`Field::Standing`].
    Standing(Standing),
    /// See [`Field::Tester`].
    Tester(TesterId),
    /// See [`Field::Method`].
    Method(MethodRef),
    /// See [`Field::PackModel`].
    PackModel(PackModelId),
    /// See [`Field::PackSpecimen`].
    PackSpecimen(PackSpecimenId),
    /// See [`Field::ToolModel`].
    ToolModel(ToolModelId),
    /// See [`Field::DemandClass`]; `None` for trials whose class is not known.
    DemandClass(Option<String>),
    /// See [`Field::Interest`].
    Interest(Interest),
    /// See [`Field::Licence`].
    Licence(Licence),
    /// See [`Field::SubmitTime`].
    SubmitTime(Timestamp),
    /// See [`Field::PerformedTime`].
    PerformedTime(Timestamp),
}

impl Value {
    /// The field.
    pub fn field(&self) -> Field {
        match self {
            Self::Standing(_) => Field::Standing,
            Self::Tester(_) => Field::Tester,
            Self::Method(_) => Field::Method,
            Self::PackModel(_) => Field::PackModel,
            Self::PackSpecimen(_) => Field::PackSpecimen,
            Self::ToolModel(_) => Field::ToolModel,
            Self::DemandClass(_) => Field::DemandClass,
            Self::Interest(_) => Field::Interest,
            Self::Licence(_) => Field::Licence,
            Self::SubmitTime(_) => Field::SubmitTime,
            Self::PerformedTime(_) => Field::PerformedTime,
        }
    }

    /// Reads the value of a field.
    pub(super) fn read(field: Field, text: &str) -> Result<Self, String> {
        let name = |error: crate::id::NotAName| error.to_string();
        Ok(match field {
            Field::Standing => {
                let ids = Standing::ALL.map(Standing::id);
                Self::Standing(word(field, text, "STANDING_", &ids, Standing::from_id)?)
            }
            Field::Tester => Self::Tester(TesterId::from_name(text).map_err(name)?),
            Field::Method => Self::Method(MethodRef::from_name(text).map_err(name)?),
            Field::PackModel => Self::PackModel(PackModelId::from_name(text).map_err(name)?),
            Field::PackSpecimen => Self::PackSpecimen(PackSpecimenId::from_name(text).map_err(name)?),
            Field::ToolModel => Self::ToolModel(ToolModelId::from_name(text).map_err(name)?),
            Field::DemandClass => {
                let known = [CLASSES.as_slice(), &[NO_CLASS]].concat();
                Self::DemandClass(word(field, text, "", &known, |text| {
                    (text == NO_CLASS)
                        .then_some(None)
                        .or_else(|| CLASSES.contains(&text).then(|| Some(text.to_owned())))
                })?)
            }
            Field::Interest => {
                let ids: Vec<&str> = Interest::ALL.iter().map(|interest| interest.id()).collect();
                Self::Interest(word(field, text, "INTEREST_", &ids, Interest::from_id)?)
            }
            Field::Licence => {
                let ids: Vec<&str> = Licence::ALL.iter().map(|licence| licence.id()).collect();
                Self::Licence(word(field, text, "", &ids, Licence::from_id)?)
            }
            Field::SubmitTime => Self::SubmitTime(time(text)?),
            Field::PerformedTime => Self::PerformedTime(time(text)?),
        })
    }
}

/// A word of a closed list; as the name of the enum's value on the wire, too.
fn word<T>(
    field: Field,
    text: &str,
    prefix: &str,
    known: &[&str],
    read: impl Fn(&str) -> Option<T>,
) -> Result<T, String> {
    let on_wire = text.strip_prefix(prefix).filter(|_| !prefix.is_empty());
    read(text).or_else(|| read(&on_wire?.to_ascii_lowercase())).ok_or_else(|| {
        let known = || known.iter().copied();
        format!("{} is no value of {field}: choose {}{}", quoted(text), listed(known()), meant(text, known()))
    })
}

fn time(text: &str) -> Result<Timestamp, String> {
    text.parse().map_err(|_| {
        format!(
            "{} is no time: write date, time and offset (RFC 3339) in quotes, such as \"2026-03-02T09:30:00Z\"",
            quoted(text)
        )
    })
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Standing(standing) => write!(f, "{standing}"),
            Self::Tester(tester) => f.write_str(&tester.name()),
            Self::Method(method) => f.write_str(&method.name()),
            Self::PackModel(model) => f.write_str(&model.name()),
            Self::PackSpecimen(specimen) => f.write_str(&specimen.name()),
            Self::ToolModel(tool) => f.write_str(&tool.name()),
            Self::DemandClass(class) => f.write_str(class.as_deref().unwrap_or(NO_CLASS)),
            Self::Interest(interest) => write!(f, "{interest}"),
            Self::Licence(licence) => write!(f, "{licence}"),
            Self::SubmitTime(time) | Self::PerformedTime(time) => write!(f, "{time}"),
        }
    }
}
