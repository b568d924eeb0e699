//! `yearlight sky MONTHLY.toml`: an hourly year from twelve monthly means.

use std::path::PathBuf;

use argh::FromArgs;

use super::weather_file::write_year;
use super::{CliResult, Outcome, print, print_json, say};
use crate::sky::SkyRecipe;

/// Make an hourly year from twelve monthly means.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "sky",
    example = "{command_name} weather/merrowby.toml --write merrowby.csv",
    note = "The same recipe gives the same bytes. The result is a made sky, no measured year."
)]
pub struct SkyArgs {
    /// the recipe: monthly means
    #[argh(positional)]
    recipe: PathBuf,

    /// where to write the year, FILE.csv or FILE.parquet
    #[argh(option)]
    write: Option<PathBuf>,

    /// another seed than the recipe's
    #[argh(option)]
    seed: Option<u32>,

    /// print monthly sums as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Makes the year, prints its months and writes it.
pub fn run(args: SkyArgs) -> CliResult {
    let mut recipe = SkyRecipe::read(&args.recipe)?;
    if let Some(seed) = args.seed {
        recipe.seed = seed;
    }
    let year = recipe.make(&args.recipe.display().to_string())?;
    let mut months = [0.0; 12];
    for (i, g) in year.ghi.iter().enumerate() {
        months[year.month_of(i)] += g * year.step_h() / 1000.0;
    }
    let total: f64 = months.iter().sum();
    if args.json {
        let json = serde_json::json!({
            "name": recipe.name, "seed": recipe.seed, "ghi_kwh_m2": months, "ghi_kwh_m2_year": total,
        });
        print_json(&json)?;
    } else {
        print(&format!("{}: a made sky, seed {}, GHI {total:.0} kWh/m2 in the year.", recipe.name, recipe.seed))?;
    }
    if let Some(path) = &args.write {
        write_year(&year, path)?;
        say(args.quiet, &format!("Wrote {}.", path.display()));
    }
    Ok(Outcome::Done)
}
