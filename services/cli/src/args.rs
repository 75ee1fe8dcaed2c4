//! The command line.

use std::path::PathBuf;

use benchring_domain::method::Better;
use benchring_domain::plan::Form;
use benchring_domain::pool::question::{
    ChargeVarianceModel, Heterogeneity, IntervalMethod, OptionsDraft, OrderBiasModel, PriorModel, Variance,
    VoteCap,
};
use clap::{Args, Parser, Subcommand};

/// The tester's own tool: plans trials, checks and analyses trial files, with no network
#[derive(Debug, Parser)]
#[command(
    name = "benchring",
    version,
    propagate_version = true,
    after_help = "Exit codes: 0 done; 1 the files break a rule, or there is no number to give; 2 the command or a file \
                  cannot be read.\nNO_COLOR, when set, keeps colour away."
)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Compare every pair of packs in trial files, as the service does
    Analyse(Analyse),
    /// Hold trial files against the rules of their method
    Check(Check),
    /// Say how many runs and testers a question takes, and print a run sheet in its random order
    Plan(Plan),
}

/// Which files, and by which method.
#[derive(Debug, Args)]
pub(crate) struct Files {
    /// Tidy CSV (columns tester, trial, pack, position, reading, unit, `end_criterion`; further columns are conditions), or JSON: trials
    /// as submitted or as the service gives them out, and the pack models, specimens and tool models they name; - for
    /// standard input
    #[arg(required = true, value_name = "FILE")]
    pub(crate) paths: Vec<PathBuf>,
    /// Method, such as screw-drive-time; without it CSV is read by the unit of its readings alone
    #[arg(long, value_name = "ID")]
    pub(crate) method: Option<String>,
    /// Which way is better where no method says so
    #[arg(long, value_name = "higher|lower", value_parser = better)]
    pub(crate) direction: Option<Better>,
    /// Print one JSON object
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Check {
    #[command(flatten)]
    pub(crate) files: Files,
}

#[derive(Debug, Args)]
pub(crate) struct Analyse {
    #[command(flatten)]
    pub(crate) files: Files,
    /// Variance of a reading [default: moderated]
    #[arg(long, value_name = "moderated|pooled|own", value_parser = word(Variance::from_id, "moderated, pooled or own"))]
    variance: Option<Variance>,
    /// Spread between testers [default: reml]
    #[arg(long, value_name = "reml|pm|dl|fe", value_parser = word(Heterogeneity::from_id, "reml, pm, dl or fe"))]
    tau2: Option<Heterogeneity>,
    /// Interval [default: `hk_ci`]
    #[arg(long, value_name = "hk_ci|hk|hk_se|z", value_parser = word(IntervalMethod::from_id, "hk_ci, hk, hk_se or z"))]
    interval: Option<IntervalMethod>,
    /// The most that one tester may count [default: median]
    #[arg(long, value_name = "median|none", value_parser = word(VoteCap::from_id, "median or none"))]
    vote_cap: Option<VoteCap>,
    /// Variance between charges [default: components]
    #[arg(long, value_name = "components|none", value_parser = word(ChargeVarianceModel::from_id, "components or none"))]
    charge_variance: Option<ChargeVarianceModel>,
    /// Variance prior: the fit blended with the method's usual scatter, or the fit alone [default: blend]
    #[arg(long, value_name = "blend|fit", value_parser = word(PriorModel::from_id, "blend or fit"))]
    prior: Option<PriorModel>,
    /// Allowance for the bias of blocked orders [default: bound]
    #[arg(long, value_name = "bound|none", value_parser = word(OrderBiasModel::from_id, "bound or none"))]
    order_bias: Option<OrderBiasModel>,
    /// Pack that the others are compared with
    #[arg(long, value_name = "PACK")]
    pub(crate) reference: Option<String>,
    /// Step of the instrument with its unit, such as "0.01 s"; 0 for none [default: the last digit as written]
    #[arg(long, value_name = "STEP", default_value = "", hide_default_value = true)]
    resolution: String,
    /// Level of intervals as a share, 0.80 to 0.999
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    level: f64,
}

#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub(crate) struct Plan {
    /// Method, such as screw-drive-time
    #[arg(long, value_name = "ID")]
    pub(crate) method: String,
    /// Pack to run: a label of your own, or packModels/{id}; give it once for each pack, two at least
    #[arg(long = "pack", value_name = "NAME")]
    pub(crate) packs: Vec<String>,
    /// Effect to find, in percent, or in the method's unit where it compares by difference
    #[arg(long, value_name = "SIZE")]
    pub(crate) effect: Option<f64>,
    /// What the size of the effect means [default: the method's usual form]
    #[arg(
        long,
        value_name = "rate_gain|time_reduction|more|less|difference",
        value_parser = word(Form::from_id, "rate_gain, time_reduction, more, less or difference")
    )]
    pub(crate) form: Option<Form>,
    /// Half-width of the interval to reach, instead of an effect: in percent or the method's unit
    #[arg(long, value_name = "SIZE")]
    pub(crate) half_width: Option<f64>,
    /// Chance that the half-width is reached, 0.5 to 0.999 [default: as expected in the mean]
    #[arg(long, value_name = "SHARE")]
    pub(crate) assurance: Option<f64>,
    /// Chance to find the effect, 0.5 to 0.999
    #[arg(long, value_name = "SHARE", default_value_t = 0.8)]
    pub(crate) power: f64,
    /// Level of intervals and tests, 0.80 to 0.999
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    pub(crate) level: f64,
    /// Your own scatter between runs, in percent or the method's unit [default: the method's]
    #[arg(long, value_name = "SD")]
    pub(crate) run_scatter: Option<f64>,
    /// Scatter between charges, likewise
    #[arg(long, value_name = "SD")]
    pub(crate) charge_scatter: Option<f64>,
    /// Scatter between testers, likewise
    #[arg(long, value_name = "SD")]
    pub(crate) tester_scatter: Option<f64>,
    /// Family of the workpiece, which narrows the scatter
    #[arg(long, value_name = "FAMILY")]
    pub(crate) workpiece_family: Option<String>,
    /// Rounds, each on a charge of its own [default: the method's]
    #[arg(long, value_name = "N")]
    pub(crate) rounds: Option<u32>,
    /// Scored runs of each pack in a round [default: the method's]
    #[arg(long, value_name = "N")]
    pub(crate) runs_per_round: Option<u32>,
    /// What the order is drawn from [default: made of the method and the packs]
    #[arg(long, value_name = "N")]
    pub(crate) seed: Option<i64>,
    /// Print one JSON object, with the keys of the service's answer
    #[arg(long)]
    pub(crate) json: bool,
    /// Print the run sheet alone, as CSV to fill in
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,
}

impl Analyse {
    /// The options as the domain reads them.
    pub(crate) fn options(&self) -> OptionsDraft {
        OptionsDraft {
            variance: self.variance,
            heterogeneity: self.tau2,
            interval: self.interval,
            vote_cap: self.vote_cap,
            level: self.level,
            charge_variance: self.charge_variance,
            prior: self.prior,
            order_bias: self.order_bias,
            resolution: self.resolution.clone(),
        }
    }
}

/// A parser for one of a list of words.
fn word<T: 'static>(
    read: fn(&str) -> Option<T>,
    known: &'static str,
) -> impl Fn(&str) -> Result<T, String> + Clone + Send + Sync + 'static {
    move |text: &str| read(text).ok_or_else(|| format!("write {known}"))
}

fn better(text: &str) -> Result<Better, String> {
    Better::from_id(text).ok_or_else(|| "write higher or lower".to_owned())
}
