//! Replays the committed corpus of every door: see `fuzz/` and `doors/check.rs`. `YEARLIGHT_DOOR_CORPUS` names a folder
//! of folders that is replayed as well, such as what a fuzzer has gathered.

#[path = "doors/check.rs"]
mod check;

use std::path::{Path, PathBuf};

fn replay(doors: &[check::Door]) {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/doors/corpus");
    let more = std::env::var("YEARLIGHT_DOOR_CORPUS").map(PathBuf::from);
    for (door, check) in doors {
        let folder = corpus.join(door);
        let listed = |folder: &Path| -> Vec<PathBuf> {
            let entries = std::fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
            entries.map(|entry| entry.expect("an entry of the corpus").path()).collect()
        };
        let mut files = listed(&folder);
        files.sort();
        assert!(!files.is_empty(), "no corpus for {door}");
        if let Ok(more) = &more
            && more.join(door).is_dir()
        {
            files.extend(listed(&more.join(door)));
        }
        for file in files {
            println!("{}", file.display());
            check(&std::fs::read(&file).expect("a file of the corpus"));
        }
    }
}

#[test]
fn text_doors_keep_their_promises() {
    replay(check::TEXT_DOORS);
}

#[cfg(feature = "tables")]
#[test]
fn parquet_doors_keep_their_promises() {
    replay(check::TABLE_DOORS);
}

/// Numbers without a pattern, the same in every run. Source: Steele, Lea, Flood, OOPSLA 2014 (SplitMix64; from memory).
#[cfg(feature = "tables")]
fn dice(state: &mut u64) -> usize {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (*state ^ (*state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 16) as usize
}

/// Random changes of the Parquet files of the corpus: flipped and changed bytes, cuts, doubled and moved pieces.
///
/// `YEARLIGHT_DOOR_SECONDS` makes it go on for longer and with other changes each time; what breaks is left in
/// `target/doors`.
#[cfg(feature = "tables")]
#[test]
fn parquet_doors_survive_random_changes() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/doors/corpus");
    let seconds = std::env::var("YEARLIGHT_DOOR_SECONDS").ok().and_then(|s| s.parse::<u64>().ok());
    let begin = std::time::Instant::now();
    let mut state = seconds.map_or(7, |_| u64::from(std::process::id()) << 20);
    for (door, check) in check::TABLE_DOORS {
        let seeds: Vec<Vec<u8>> = std::fs::read_dir(corpus.join(door))
            .expect("a corpus")
            .map(|entry| std::fs::read(entry.expect("an entry").path()).expect("a file"))
            .collect();
        let (mut tried, from) = (0_u64, begin.elapsed());
        while seconds.map_or(tried < 150, |s| (begin.elapsed() - from).as_secs() < s / 2) {
            let mut bytes = seeds[dice(&mut state) % seeds.len()].clone();
            for _ in 0..1 + dice(&mut state) % 4 {
                // The footer decides most; half of the changes go there.
                let n = bytes.len().max(1);
                let at = if dice(&mut state).is_multiple_of(2) {
                    n - 1 - dice(&mut state) % n.min(1200)
                } else {
                    dice(&mut state) % n
                };
                match dice(&mut state) % 6 {
                    0 => bytes[at] ^= 1 << (dice(&mut state) % 8),
                    1 => bytes[at] = dice(&mut state) as u8,
                    2 => bytes[at] = [0, 0xff, 0x7f, 0x80][dice(&mut state) % 4],
                    3 => bytes.truncate(at + 1),
                    4 => {
                        let piece = bytes[at..(at + 1 + dice(&mut state) % 16).min(n)].to_vec();
                        bytes.splice(at..at, piece);
                    }
                    _ => {
                        bytes.remove(at);
                    }
                }
                if bytes.is_empty() {
                    bytes.push(0);
                }
            }
            tried += 1;
            let broken = std::panic::catch_unwind(|| check(&bytes)).is_err();
            if broken {
                let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/doors");
                std::fs::create_dir_all(&folder).expect("a folder");
                let file = folder.join(format!("{door}-{:016x}", state));
                std::fs::write(&file, &bytes).expect("a file");
                assert!(seconds.is_some(), "{} breaks a promise", file.display());
                println!("{} breaks a promise", file.display());
            }
        }
        println!("{door}: {tried} changed files");
    }
}
