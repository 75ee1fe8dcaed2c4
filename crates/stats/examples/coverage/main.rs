//! How often the intervals hold the truth, by simulation with the engine itself.
//!
//! ```text
//! cargo run --release -p benchring-stats --example coverage -- --out pieces.jsonl --repeats 1000
//! ```
//!
//! Every scenario draws trials from a known truth, takes them the whole way from readings to the interval, and counts
//! how often the interval holds it. Seeds are fixed by the name of the scenario and the number of the repeat: the same
//! command gives the same table on any machine. `--out` keeps what was done, a line a scenario; started again with the
//! same file the program goes on where it stopped, so that a long run can be cut into pieces with `--minutes`.
//!
//! The bar: rows of ordinary pools reach 95 % on average, and no scenario lies significantly below 94 % (exact binomial,
//! p < 0.001 after Holm over all judged scenarios). Where one unit has most of the trials the floor is 93 %, for the
//! interval of a single trial 91.5 %. `--smoke` runs a thinned grid and fails far below the bar only.

mod arguments;
mod draw;
mod judge;
mod record;
mod scenario;
mod sections;
mod table;

use std::process::ExitCode;
use std::time::Instant;

use arguments::{Arguments, USAGE};
use record::Records;
use scenario::Scenario;

fn main() -> ExitCode {
    let arguments = match Arguments::parse(std::env::args().skip(1)) {
        Ok(Some(arguments)) => arguments,
        Ok(None) => {
            println!("{USAGE}");
            return ExitCode::SUCCESS;
        }
        Err(wrong) => {
            eprintln!("{wrong}\n\n{USAGE}");
            return ExitCode::from(2);
        }
    };
    match run(&arguments) {
        Ok(good) if good => ExitCode::SUCCESS,
        Ok(_) => ExitCode::FAILURE,
        Err(wrong) => {
            eprintln!("{wrong}");
            ExitCode::from(2)
        }
    }
}

/// Runs what is asked and prints the table; whether the bar was met.
fn run(arguments: &Arguments) -> Result<bool, String> {
    let started = Instant::now();
    let chosen: Vec<Scenario> = sections::all(arguments.smoke)
        .into_iter()
        .filter(|scenario| arguments.only.as_deref().is_none_or(|only| scenario.section == only))
        .collect();
    if chosen.is_empty() {
        return Err(format!("there is no section of that name, give one of: {}", sections::NAMES.join(", ")));
    }
    let mut records = Records::open(arguments.out.as_deref())?;
    let mut left = 0;
    for scenario in &chosen {
        let repeats = arguments.repeats();
        if arguments.table || records.holds(scenario, repeats) {
            continue;
        }
        if arguments.minutes.is_some_and(|minutes| started.elapsed().as_secs_f64() > 60.0 * minutes) {
            left += 1;
            continue;
        }
        records.keep(scenario.run(repeats))?;
    }
    let names: Vec<&str> = chosen.iter().map(|scenario| scenario.section).collect();
    let rows = judge::rows(records.of(&names));
    if rows.is_empty() {
        return Err("nothing was simulated yet".to_owned());
    }
    println!("{}", table::markdown(&rows));
    eprintln!("{} scenarios, {:.0} s", chosen.len() - left, started.elapsed().as_secs_f64());
    if left > 0 {
        eprintln!("{left} scenarios are left: start again with the same --out");
    }
    let met = rows.iter().all(|row| if arguments.smoke { !row.far_below } else { row.met() });
    Ok(met || !(arguments.smoke || arguments.strict))
}
