//! Files that would take the machine down: each is refused with a message, in little memory.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};

/// The program on some arguments; on Unix with at most 1.5 GB of address space.
fn run(folder: &Path, args: &[&str]) -> Output {
    let program = env!("CARGO_BIN_EXE_yearlight");
    let mut command = if cfg!(unix) {
        let mut shell = Command::new("sh");
        shell.args(["-c", "ulimit -v 1500000; exec \"$@\"", "sh", program]);
        shell
    } else {
        Command::new(program)
    };
    // Every thread takes address space.
    command.args(args).current_dir(folder).env("RAYON_NUM_THREADS", "2").env("POLARS_MAX_THREADS", "2");
    command.output().expect("the program")
}

/// Refused by exit code 1, with words that say why.
fn refused(folder: &Path, args: &[&str], words: &[&str]) {
    let done = run(folder, args);
    let text = String::from_utf8_lossy(&done.stderr);
    assert_eq!(done.status.code(), Some(1), "{args:?}: {text}");
    for word in words.iter().chain(&["expected"]) {
        assert!(text.contains(word), "{args:?} does not say {word:?}: {text}");
    }
    assert!(!text.contains("panicked"), "{text}");
}

/// A file of ten gigabytes that takes no room.
fn huge(folder: &Path, name: &str, begin: &str) {
    let mut file = File::create(folder.join(name)).expect("a file");
    file.write_all(begin.as_bytes()).expect("a file");
    file.set_len(10 << 30).expect("a sparse file");
}

#[test]
fn files_of_ten_gigabytes() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path();
    huge(folder, "year.csv", "# yearlight weather 1\n");
    huge(folder, "year.csv.gz", "\u{1f}");
    huge(folder, "job.toml", "title = \"x\"\n");
    huge(folder, "readings.csv", "time,kwh\n");
    huge(folder, "sky.toml", "name = \"x\"\n");
    refused(folder, &["inspect", "year.csv"], &["year.csv", "512 MB"]);
    refused(folder, &["inspect", "year.csv.gz"], &["year.csv.gz", "512 MB"]);
    refused(folder, &["weigh", "job.toml"], &["job.toml", "4 MB"]);
    refused(folder, &["vet", "job.toml"], &["job.toml", "4 MB"]);
    refused(folder, &["sky", "sky.toml"], &["sky.toml", "too large"]);
    let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs/merrowby-school.toml");
    refused(folder, &["meter", &job.display().to_string(), "readings.csv"], &["readings.csv", "64 MB"]);
}

#[cfg(feature = "tables")]
#[test]
fn tables_of_ten_gigabytes() {
    let dir = tempfile::tempdir().expect("a folder");
    huge(dir.path(), "year.parquet", "PAR1");
    refused(dir.path(), &["inspect", "year.parquet"], &["year.parquet"]);
    huge(dir.path(), "sites.csv", "site\n");
    let fleet = "title = \"t\"\ntemplate = \"template.toml\"\nsites = \"sites.csv\"\n";
    std::fs::write(dir.path().join("fleet.toml"), fleet).expect("a file");
    let configs = Path::new(env!("CARGO_MANIFEST_DIR")).join("configs");
    let template = std::fs::read_to_string(configs.join("merrowby-fleet/template.toml")).expect("the template");
    let here = |name: &str| configs.join(name).display().to_string();
    let template = template
        .replace("../merrowby-parts.toml", &here("merrowby-parts.toml"))
        .replace("../../weather/", &format!("{}/../weather/", configs.display()));
    std::fs::write(dir.path().join("template.toml"), template).expect("a file");
    refused(dir.path(), &["fleet", "fleet.toml"], &["sites.csv", "too large"]);
}

fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    gz.write_all(bytes).expect("memory");
    gz.finish().expect("memory")
}

#[test]
fn a_gzip_that_unpacks_to_gigabytes() {
    let dir = tempfile::tempdir().expect("a folder");
    // A member of 16 MB of zeros, 256 times over: 4 GB from 4 MB.
    let member = packed(&vec![0_u8; 16 << 20]);
    std::fs::write(dir.path().join("bomb.gz"), member.repeat(256)).expect("a file");
    refused(dir.path(), &["inspect", "bomb.gz"], &["bomb.gz", "unpacks", "100 times"]);
    // A small one, whose size alone is harmless.
    std::fs::write(dir.path().join("small.gz"), member.repeat(2)).expect("a file");
    refused(dir.path(), &["inspect", "small.gz"], &["small.gz", "more than 16 MB"]);
}

#[test]
fn lines_and_rows_without_end() {
    let dir = tempfile::tempdir().expect("a folder");
    std::fs::write(dir.path().join("commas.csv"), vec![b','; 60 << 20]).expect("a file");
    refused(dir.path(), &["inspect", "commas.csv"], &["commas.csv:1", "64 kB"]);
    // Rows at one time of days far apart would stand for very many minutes.
    let mut rows = String::from(
        "# yearlight weather 1\n# latitude_deg: 50\n# longitude_deg: 0\n# elevation_m: 0\n# utc_offset_min: 0\ntime,ghi\n",
    );
    for year in 1900..2100 {
        for (month, day) in [(1, 1), (7, 1)] {
            for minute in 0..30 {
                rows += &format!("{year}-{month:02}-{day:02}T00:{minute:02},0\n");
            }
        }
    }
    std::fs::write(dir.path().join("apart.csv"), rows).expect("a file");
    refused(dir.path(), &["inspect", "apart.csv"], &["apart.csv:", "steps"]);
    // More than six million rows.
    let mut file = std::io::BufWriter::new(File::create(dir.path().join("rows.csv")).expect("a file"));
    file.write_all(b"# yearlight weather 1\n# latitude_deg: 50\n# longitude_deg: 0\n").expect("a file");
    file.write_all(b"# elevation_m: 0\n# utc_offset_min: 0\ntime,ghi\n").expect("a file");
    let block = b"2021-01-01T00:00,0\n".repeat(10_000);
    for _ in 0..601 {
        file.write_all(&block).expect("a file");
    }
    file.flush().expect("a file");
    refused(dir.path(), &["inspect", "rows.csv"], &["rows.csv", "6000000 rows"]);
}

#[test]
fn brackets_a_hundred_thousand_deep() {
    let dir = tempfile::tempdir().expect("a folder");
    let deep = format!("title = {}1\n", "[".repeat(100_000));
    for name in ["job.toml", "parts.toml", "fleet.toml", "sky.toml"] {
        std::fs::write(dir.path().join(name), &deep).expect("a file");
    }
    std::fs::write(dir.path().join("run.json"), "{\"job\": ".to_string() + &"[".repeat(100_000)).expect("a file");
    refused(dir.path(), &["weigh", "job.toml"], &["job.toml:1"]);
    refused(dir.path(), &["vet", "parts.toml"], &["parts.toml:1"]);
    refused(dir.path(), &["weigh", "run.json"], &["run.json"]);
    let sky = run(dir.path(), &["sky", "sky.toml"]);
    assert_eq!(sky.status.code(), Some(1));
    if cfg!(feature = "tables") {
        refused(dir.path(), &["fleet", "fleet.toml"], &["fleet.toml:1"]);
    }
}
