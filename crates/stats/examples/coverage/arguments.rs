//! The command line.

pub(crate) const USAGE: &str =
    "usage: coverage [--repeats N] [--only SECTION] [--out FILE] [--minutes M] [--smoke] [--strict] [--table]

  --repeats N     repeats of each scenario (2000)
  --only SECTION  one section of the grid
  --out FILE      keep the counts there, a line a scenario, and go on where it ends
  --minutes M     start no further scenario after M minutes
  --smoke         a thinned grid with 200 repeats; fails far below the bar
  --strict        fail wherever the bar is missed
  --table         run nothing, print the table of what FILE holds";

/// What was asked.
#[derive(Debug, Default)]
pub(crate) struct Arguments {
    repeats: Option<u32>,
    pub(crate) only: Option<String>,
    pub(crate) out: Option<String>,
    pub(crate) minutes: Option<f64>,
    pub(crate) smoke: bool,
    pub(crate) strict: bool,
    pub(crate) table: bool,
}

impl Arguments {
    /// None where help is asked.
    pub(crate) fn parse(words: impl Iterator<Item = String>) -> Result<Option<Self>, String> {
        let mut found = Self::default();
        let mut words = words.peekable();
        while let Some(word) = words.next() {
            let mut value = || words.next().ok_or_else(|| format!("{word} needs a value"));
            match word.as_str() {
                "--repeats" => {
                    let count = number::<u32>(&word, &value()?)?;
                    found.repeats = Some(count.max(1));
                }
                "--only" => found.only = Some(value()?),
                "--out" => found.out = Some(value()?),
                "--minutes" => found.minutes = Some(number(&word, &value()?)?),
                "--smoke" => found.smoke = true,
                "--strict" => found.strict = true,
                "--table" => found.table = true,
                "--help" | "-h" => return Ok(None),
                other => return Err(format!("{other} is not an option")),
            }
        }
        Ok(Some(found))
    }

    /// Repeats of one scenario.
    pub(crate) fn repeats(&self) -> u32 {
        self.repeats.unwrap_or(if self.smoke { 200 } else { 2_000 })
    }
}

fn number<T: std::str::FromStr>(option: &str, text: &str) -> Result<T, String> {
    text.parse().map_err(|_| format!("{option} takes a number, not {text}"))
}
