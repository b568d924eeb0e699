//! `yearlight gather DIR`: the shares of a fleet, joined.

use std::path::PathBuf;

use argh::FromArgs;

use super::CliResult;

/// Join the shares of a fleet run; checks that no part is missing or there twice.
#[derive(FromArgs, Debug)]
#[argh(
    subcommand,
    name = "gather",
    example = "yearlight fleet fleet.toml --out run --part 1/2\nyearlight fleet fleet.toml --out run --part 2/2\n{command_name} run",
    note = "The files are the same, byte for byte, as those of one run."
)]
pub struct GatherArgs {
    /// the folder with the shares
    #[argh(positional)]
    dir: PathBuf,

    /// print the summary as JSON
    #[argh(switch)]
    json: bool,

    /// print nothing but the answer
    #[argh(switch)]
    quiet: bool,
}

/// Joins, prints the summary.
#[cfg(feature = "tables")]
pub fn run(args: GatherArgs) -> CliResult {
    super::fleet::show(&crate::fleet::gather(&args.dir)?, args.json, args.quiet)
}

/// Without Parquet there is nothing to join.
#[cfg(not(feature = "tables"))]
pub fn run(args: GatherArgs) -> CliResult {
    let GatherArgs { dir, json: _, quiet: _ } = args;
    Err(format!("{}: this build has no Parquet.\n  Build with the feature \"tables\".", dir.display()).into())
}
