//! Weather years, read once for all sites that share them.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock};

use crate::sky;
use crate::weather::{Place, ReadHints, WeatherYear};

/// Weather years kept for later sites, beyond those that the present part still needs. A year of hours takes about
/// 0.7 MB.
pub const YEARS_KEPT: usize = 64;

/// What one reading gave.
type Read = Result<Arc<WeatherYear>, String>;

struct Slot {
    year: OnceLock<Read>,
    /// The position that the first reader gave for a file without one.
    hint: Option<Place>,
    /// True once the file is known to hold its own position.
    own: AtomicBool,
}

struct Held {
    slot: Arc<Slot>,
    /// When it was last asked for.
    used: u64,
}

/// The years at hand.
#[derive(Default)]
pub struct Skies {
    held: Mutex<HashMap<(PathBuf, String), Held>>,
    /// How often the present part will still ask for a file.
    ahead: Mutex<HashMap<PathBuf, usize>>,
    clock: AtomicU64,
    reads: AtomicU64,
}

impl Skies {
    /// How many files were read.
    pub fn reads(&self) -> u64 {
        self.reads.load(Ordering::Relaxed)
    }

    /// The year of a file, from memory when another site has read it. The result does not depend on who came first.
    ///
    /// # Errors
    /// What the reader says.
    pub fn year(&self, path: &Path, hints: &ReadHints) -> Read {
        let slot = self.slot(path, hints);
        let mut mine = false;
        let first = slot.year.get_or_init(|| {
            mine = true;
            self.read(path, hints)
        });
        if let Ok(year) = first
            && slot.hint.as_ref().is_none_or(|hint| !same_spot(hint, &year.place))
        {
            // Neither the name nor the position that was handed in: the file has its own.
            slot.own.store(true, Ordering::Relaxed);
        }
        let result = if mine || slot.hint == hints.place || slot.own.load(Ordering::Relaxed) {
            first.clone()
        } else {
            self.read(path, hints)
        };
        self.done(path);
        result
    }

    /// Says how often the sites of the present part will ask for each file.
    pub fn expect(&self, files: HashMap<PathBuf, usize>) {
        *lock(&self.ahead) = files;
    }

    fn read(&self, path: &Path, hints: &ReadHints) -> Read {
        self.reads.fetch_add(1, Ordering::Relaxed);
        let hints = ReadHints { no_checksum: true, ..hints.clone() };
        sky::read(path, &hints).map(Arc::new).map_err(|e| e.to_string())
    }

    fn slot(&self, path: &Path, hints: &ReadHints) -> Arc<Slot> {
        let now = self.clock.fetch_add(1, Ordering::Relaxed);
        let mut held = lock(&self.held);
        let entry = held.entry(key(path, hints)).or_insert_with(|| Held {
            slot: Arc::new(Slot { year: OnceLock::new(), hint: hints.place.clone(), own: AtomicBool::new(false) }),
            used: now,
        });
        entry.used = now;
        entry.slot.clone()
    }

    /// One site is through with a file; lets go of the years that waited longest and that nobody waits for.
    fn done(&self, path: &Path) {
        let mut ahead = lock(&self.ahead);
        if let Some(times) = ahead.get_mut(path) {
            *times -= 1;
            if *times == 0 {
                ahead.remove(path);
            }
        }
        let mut held = lock(&self.held);
        while held.len() > YEARS_KEPT {
            let idle = held.iter().filter(|((path, _), _)| !ahead.contains_key(path));
            let Some(oldest) = idle.min_by_key(|(_, h)| h.used).map(|(k, _)| k.clone()) else { break };
            held.remove(&oldest);
        }
    }
}

fn key(path: &Path, hints: &ReadHints) -> (PathBuf, String) {
    (path.to_path_buf(), format!("{:?}", ReadHints { place: None, ..hints.clone() }))
}

fn same_spot(a: &Place, b: &Place) -> bool {
    a.name == b.name && a.latitude_deg == b.latitude_deg && a.longitude_deg == b.longitude_deg
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(lat: f64) -> ReadHints {
        let place =
            Place { name: "x".into(), latitude_deg: lat, longitude_deg: 1.0, elevation_m: 0.0, utc_offset_min: 0 };
        ReadHints { place: Some(place), ..ReadHints::default() }
    }

    #[test]
    fn a_file_with_its_own_position_is_read_once() {
        let skies = Skies::default();
        let path = Path::new("weather/merrowby.csv");
        for lat in [10.0, 52.3, 60.0, 10.0] {
            assert_eq!(skies.year(path, &at(lat)).unwrap().place.latitude_deg, 52.3);
        }
        assert_eq!(skies.reads(), 1);
    }

    #[test]
    fn a_file_without_a_position_takes_that_of_each_site() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bare.csv");
        let text = std::fs::read_to_string("weather/merrowby.csv").unwrap();
        let rows: String = text.lines().filter(|l| !l.starts_with('#')).map(|l| format!("{l}\n")).collect();
        std::fs::write(&path, rows).unwrap();
        let skies = Skies::default();
        let mut hints = at(52.3);
        hints.label = Some(crate::weather::Label::Beginning);
        for (k, u) in [("time", "time"), ("ghi", "ghi [W/m2]"), ("dni", "dni [W/m2]"), ("dhi", "dhi [W/m2]")] {
            hints.columns.insert(k.into(), u.into());
        }
        hints.columns.insert("t_amb".into(), "t_amb [C]".into());
        for lat in [52.3, 52.2, 52.3] {
            hints.place.as_mut().unwrap().latitude_deg = lat;
            assert_eq!(skies.year(&path, &hints).unwrap().place.latitude_deg, lat);
        }
        assert_eq!(skies.reads(), 2);
    }

    #[test]
    fn years_are_let_go() {
        let skies = Skies::default();
        for i in 0..3 * YEARS_KEPT {
            assert!(skies.year(Path::new(&format!("no such file {i}")), &at(1.0)).is_err());
        }
        assert!(lock(&skies.held).len() <= YEARS_KEPT);
    }
}
