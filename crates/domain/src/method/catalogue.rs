//! The catalogue: everything the files say, cross-checked, ready to be asked.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use sha2::{Digest, Sha256};

use super::check;
use super::derived::Size;
use super::dictionary::{Caution, Choice, Entered, Field};
use super::embedded::FILES;
use super::file::Method;
use super::load::{DICTIONARY, Loaded, WORK, load};
use super::problem::{CatalogueError, Problems};
use super::terms::{Level, ResponseKind};
use super::work::{AssumedPower, DemandClass, Work};
use crate::id::{MethodId, MethodRef};
use crate::quantity::Dimension;
use crate::text::nearest;
use crate::trial::Conditions;

/// Where every method version stands.
pub(crate) const METHODS_LISTED: &str =
    "ListMethods (GET /v1/methods) has all of them, such as methods/screw-drive-time/versions/1";

/// Every method version with the dictionary they share. Only checked files make one.
#[derive(Debug, Clone, PartialEq)]
pub struct Catalogue {
    version: String,
    hash: String,
    fields: BTreeMap<String, Field>,
    choices: BTreeMap<String, Vec<Choice>>,
    cautions: BTreeMap<String, Caution>,
    sources: BTreeMap<String, String>,
    methods: BTreeMap<MethodRef, Stored>,
    demand_classes: Vec<DemandClass>,
    works: Vec<Work>,
}

/// A method with the hash of its file.
#[derive(Debug, Clone, PartialEq)]
struct Stored {
    method: Method,
    hash: String,
}

impl Catalogue {
    /// The catalogue of [`FILES`].
    ///
    /// # Errors
    /// [`CatalogueError`] with everything that is wrong.
    pub fn embedded() -> Result<Self, CatalogueError> {
        Self::from_files(FILES)
    }

    /// The catalogue of the given files, name and text each: `dictionary.json`, `work.json` and one
    /// `{id}.v{version}.json` a method version. Their order does not matter.
    ///
    /// # Errors
    /// [`CatalogueError`] with everything that is wrong: first the shape of all files, then, once every file has its
    /// shape, every reference and every number of all files.
    pub fn from_files(files: &[(&str, &str)]) -> Result<Self, CatalogueError> {
        let loaded = load(files)?;
        check::all(&loaded)?;
        let Loaded { dictionary, work, methods } = loaded;
        let hash_of = |name: &str| {
            files.iter().find(|(file, _)| *file == name).map(|(_, text)| hex(&Sha256::digest(text)))
        };
        let fields: BTreeMap<String, Field> =
            dictionary.fields.into_iter().map(|field| (field.id.clone(), field)).collect();
        let methods = methods.into_iter().map(|(name, mut method)| {
            let hash = hash_of(&name).unwrap_or_default();
            settle(&mut method, &fields);
            (method.reference(), Stored { method, hash })
        });
        let hash = hash_of_all(files);
        let ending = dictionary.caution_ending;
        let cautions = dictionary.cautions.into_iter().map(|caution| {
            let text = format!("{} {ending}", caution.text);
            (caution.id.clone(), Caution { text, ..caution })
        });
        let methods = methods.collect();
        Ok(Self {
            version: format!("{}+sha256.{}", dictionary.catalogue_version, &hash[..16]),
            hash,
            fields,
            choices: dictionary.choices,
            cautions: cautions.collect(),
            sources: dictionary.sources.into_iter().map(|source| (source.id, source.text)).collect(),
            methods,
            demand_classes: work.demand_classes,
            works: work.works,
        })
    }

    /// The catalogue of [`FILES`] and of method files added to them, name and text each.
    ///
    /// What is built in stays as it is: trials rest on it. An added file is a method version of its own.
    ///
    /// # Errors
    /// [`CatalogueError`] with everything that is wrong.
    pub fn with_methods(added: &[(&str, &str)]) -> Result<Self, CatalogueError> {
        let mut problems = Problems::default();
        let mut files = FILES.to_vec();
        for (name, text) in added {
            if [DICTIONARY, WORK].contains(name) {
                problems
                    .at(name)
                    .add("", "only methods can be added; the file of this name is built in: take it away");
            } else if FILES.iter().any(|(built_in, _)| built_in == name) {
                problems.at(name).add(
                    "",
                    "this method version is built in and trials rest on it: give yours the next version, or an id of its own",
                );
            } else {
                files.push((*name, *text));
            }
        }
        match Self::from_files(&files) {
            Ok(catalogue) if problems.is_empty() => Ok(catalogue),
            Ok(_) => Err(problems.into_error()),
            Err(found) => Err(problems.into_error().and(found)),
        }
    }

    /// Version of the catalogue with the beginning of its hash: `1.0.0+sha256.0123456789abcdef`.
    pub fn version(&self) -> &str {
        &self.version
    }

    /// SHA-256 over names and texts of all files, hexadecimal.
    pub fn hash(&self) -> &str {
        &self.hash
    }

    /// Every method version, by id, then version.
    pub fn methods(&self) -> impl Iterator<Item = &Method> {
        self.methods.values().map(|stored| &stored.method)
    }

    /// The current version of every method, by id.
    pub fn current_methods(&self) -> impl Iterator<Item = &Method> {
        self.methods().filter(|method| self.current(&method.id) == Some(method))
    }

    /// Current methods that measure what a pack holds: a charge or an energy, one discharge a run.
    pub fn discharges(&self) -> impl Iterator<Item = &Method> {
        self.current_methods().filter(|method| {
            let holds = matches!(method.response.measure.dimension, Dimension::Charge | Dimension::Energy);
            holds && method.run_is_charge && method.response.kind == ResponseKind::PerCharge
        })
    }

    /// A method version.
    pub fn method(&self, method: &MethodRef) -> Option<&Method> {
        self.methods.get(method).map(|stored| &stored.method)
    }

    /// The current, that is the highest, version of a method.
    pub fn current(&self, id: &MethodId) -> Option<&Method> {
        let first = MethodRef { id: id.clone(), version: 0 };
        let last = MethodRef { id: id.clone(), version: u32::MAX };
        self.methods.range(first..=last).next_back().map(|(_, stored)| &stored.method)
    }

    /// What to name in place of a method version that is not there, as a clause. Not every name is told: the
    /// message would be cut where headers carry it.
    pub(crate) fn instead_of(&self, missing: &MethodRef) -> String {
        let ids = self.current_methods().map(|method| method.id.as_str());
        match (self.current(&missing.id), nearest(missing.id.as_str(), ids)) {
            (Some(current), _) => format!("the current version is {}", current.reference().name()),
            (None, Some(id)) => format!("did you mean methods/{id}? {METHODS_LISTED}"),
            (None, None) => METHODS_LISTED.to_owned(),
        }
    }

    /// SHA-256 of the file of a method version, hexadecimal. A released version keeps it for ever.
    pub fn method_hash(&self, method: &MethodRef) -> Option<&str> {
        self.methods.get(method).map(|stored| stored.hash.as_str())
    }

    /// A field of the dictionary.
    pub fn field(&self, id: &str) -> Option<&Field> {
        self.fields.get(id)
    }

    /// The fields of a method that a tester enters as conditions at a level, in the order of the method, each with
    /// whether a trial without it is refused. What has a place of its own in a trial, or is computed, is not among
    /// them.
    pub fn conditions_at(&self, method: &Method, level: Level) -> Vec<(&Field, bool)> {
        let uses = method.fields.iter().filter_map(|used| Some((self.field(&used.field)?, used.required)));
        uses.filter(|(field, _)| field.level == level && field.entered == Entered::Condition).collect()
    }

    /// Those of [`Self::conditions_at`] without which a trial is refused.
    pub fn required_at(&self, method: &Method, level: Level) -> Vec<&Field> {
        let conditions = self.conditions_at(method, level);
        conditions.into_iter().filter(|(_, required)| *required).map(|(field, _)| field).collect()
    }

    /// Every field, by id.
    pub fn fields(&self) -> impl Iterator<Item = &Field> {
        self.fields.values()
    }

    /// Every list of choices, by id.
    pub fn choice_lists(&self) -> impl Iterator<Item = (&str, &[Choice])> {
        self.choices.iter().map(|(list, choices)| (list.as_str(), choices.as_slice()))
    }

    /// Every caution, by id.
    pub fn all_cautions(&self) -> impl Iterator<Item = &Caution> {
        self.cautions.values()
    }

    /// Every source, id and text.
    pub fn sources(&self) -> impl Iterator<Item = (&str, &str)> {
        self.sources.iter().map(|(id, text)| (id.as_str(), text.as_str()))
    }

    /// The demand classes, ascending, each with the power it begins at, watt.
    pub fn demand_classes(&self) -> impl Iterator<Item = (&str, f64)> {
        self.demand_classes.iter().map(|class| (class.id.as_str(), class.from_w))
    }

    /// The choices of a list, in the order to show them; none for an unknown list.
    pub fn choices(&self, list: &str) -> &[Choice] {
        self.choices.get(list).map_or(&[], Vec::as_slice)
    }

    /// A choice of a list.
    pub fn choice(&self, list: &str, id: &str) -> Option<&Choice> {
        self.choices(list).iter().find(|choice| choice.id == id)
    }

    /// The family of a choice; `None` where the choice is unknown or has none, and so cannot be pooled by family.
    pub fn family(&self, list: &str, id: &str) -> Option<&str> {
        self.choice(list, id).map(|choice| choice.family.as_str()).filter(|family| !family.is_empty())
    }

    /// The families of a list, each once, in the order of the list.
    pub fn families(&self, list: &str) -> Vec<&str> {
        let mut families = Vec::new();
        for choice in self.choices(list) {
            if !choice.family.is_empty() && !families.contains(&choice.family.as_str()) {
                families.push(choice.family.as_str());
            }
        }
        families
    }

    /// A caution, its text ending with the precedence of local codes and licensed practice.
    pub fn caution(&self, id: &str) -> Option<&Caution> {
        self.cautions.get(id)
    }

    /// The cautions of a method, in its order.
    pub fn cautions(&self, method: &Method) -> Vec<&Caution> {
        method.cautions.iter().filter_map(|id| self.caution(id)).collect()
    }

    /// Text of a source.
    pub fn source(&self, id: &str) -> Option<&str> {
        self.sources.get(id).map(String::as_str)
    }

    /// The demand class of a mean power at the pack terminals, watt; a power on the edge belongs above. `None` for what
    /// is no power.
    pub fn demand_class(&self, watt: f64) -> Option<&str> {
        self.demand_classes.iter().rev().find(|class| class.from_w <= watt).map(|class| class.id.as_str())
    }

    /// The power that the table of works knows for a trial of this method, with this type of tool and these conditions
    /// of the whole trial. `None` for a work that the table does not hold.
    pub fn assumed_power(
        &self,
        method: &MethodId,
        tool_type: Option<&str>,
        conditions: &Conditions,
    ) -> Option<AssumedPower<'_>> {
        let work = self.works.iter().find(|work| work.fits(method, tool_type, conditions))?;
        Some(AssumedPower { watt: work.watt, work: &work.label, source: self.source(&work.source)? })
    }

    /// The table of works.
    pub fn works(&self) -> &[Work] {
        &self.works
    }
}

/// Gives the formulas of a checked method the units of what they read.
fn settle(method: &mut Method, fields: &BTreeMap<String, Field>) {
    if let Some(response) = Size::of(method.response.measure.dimension) {
        for derived in &mut method.derived {
            derived.settle(response, |id| fields.get(id));
        }
    }
}

fn hash_of_all(files: &[(&str, &str)]) -> String {
    let mut sorted = files.to_vec();
    sorted.sort_unstable();
    let mut hasher = Sha256::new();
    for (name, text) in sorted {
        // Lengths in front, so that no two sets of files run together to the same bytes.
        hasher.update(format!("{} {}\n{name}\n{text}", name.len(), text.len()));
    }
    hex(&hasher.finalize())
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
