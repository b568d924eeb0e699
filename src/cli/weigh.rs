//! `yearlight weigh JOB.toml`: all options of one site.

use std::path::PathBuf;

use argh::FromArgs;

use super::{CliResult, Outcome, print};
use crate::energy::Plan;
use crate::job;
use crate::sky;

/// Weigh the options of one job against each other.
#[derive(FromArgs, Debug)]
#[argh(subcommand, name = "weigh", example = "{command_name} configs/merrowby-school.toml")]
pub struct WeighArgs {
    /// the job file, or the run.json of an earlier run
    #[argh(positional)]
    job: PathBuf,
}

/// Runs all options.
pub fn run(args: WeighArgs) -> CliResult {
    let job = job::load(&args.job)?;
    let weather = sky::read(&job.weather_path(), &Default::default())?;
    let plan = Plan::of(&job, &weather)?;
    for year in plan.years() {
        print(&format!(
            "{} {} kW {} mods: {:.1} kWh {:.1} kWh/kW PR {:.4} residual {:e}",
            year.tag,
            year.p_stc_kw,
            year.modules,
            year.e_ac_kwh(),
            year.y_f_h(),
            year.pr(),
            year.account.residual_kwh()
        ))?;
        for line in &year.account.lines {
            print(&format!("   {:?} {:.1}", line.effect, line.kwh()))?;
        }
    }
    Ok(Outcome::Done)
}
