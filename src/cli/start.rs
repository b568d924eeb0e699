//! `yearlight start DIR`: a commented job, parts and weather to begin from.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use argh::FromArgs;

use super::{CliResult, Outcome, print};

/// Write a commented job, parts and a year of weather to begin from.
#[derive(FromArgs, Debug)]
#[argh(subcommand, name = "start", example = "{command_name} my-roof\nyearlight weigh my-roof/job.toml")]
pub struct StartArgs {
    /// the folder to write into; made when it does not exist
    #[argh(positional)]
    dir: PathBuf,

    /// print nothing
    #[argh(switch)]
    quiet: bool,
}

/// Name, bytes, and what it is.
const FILES: [(&str, &[u8], &str); 5] = [
    ("job.toml", include_bytes!("../../configs/start/job.toml"), "the site, the planes and the options"),
    ("parts.toml", include_bytes!("../../configs/start/parts.toml"), "two modules and an inverter, invented"),
    ("weather.csv", include_bytes!("../../weather/port-angeles-wa.csv"), "a typical year of a cloudy place"),
    ("job.schema.json", include_bytes!("../../configs/job.schema.json"), "lets an editor check job.toml"),
    ("parts.schema.json", include_bytes!("../../configs/parts.schema.json"), "lets an editor check parts.toml"),
];

/// What can go wrong here.
#[derive(Debug, thiserror::Error)]
enum StartError {
    #[error("{0}: the file exists; expected a folder without it.\n  Name another folder, or move the file away.")]
    Exists(String),
    #[error("{path}: it cannot be written; expected a folder that you may write to.\n  Name another folder.")]
    Write { path: String, source: io::Error },
}

/// Writes all files or none.
pub fn run(args: StartArgs) -> CliResult {
    let paths: Vec<PathBuf> = FILES.iter().map(|(name, _, _)| args.dir.join(name)).collect();
    if let Some(path) = paths.iter().find(|p| p.symlink_metadata().is_ok()) {
        return Err(StartError::Exists(shown(path)).into());
    }
    fs::create_dir_all(&args.dir).map_err(|source| StartError::Write { path: shown(&args.dir), source })?;
    for (i, (path, (_, bytes, _))) in paths.iter().zip(&FILES).enumerate() {
        if let Err(source) = write_new(path, bytes) {
            for written in &paths[..=i] {
                if written != path || source.kind() != io::ErrorKind::AlreadyExists {
                    let _ = fs::remove_file(written);
                }
            }
            return Err(StartError::Write { path: shown(path), source }.into());
        }
    }
    if !args.quiet {
        let mut text = String::new();
        for (path, (_, _, what)) in paths.iter().zip(&FILES) {
            text.push_str(&format!("{}  {what}\n", shown(path)));
        }
        text.push_str(&format!("\nNext: yearlight weigh {}", shown(&paths[0])));
        print(&text)?;
    }
    Ok(Outcome::Done)
}

fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = fs::OpenOptions::new().write(true).create_new(true).open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}
