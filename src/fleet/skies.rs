//! Weather years, read once for all sites that share them.

use std::collections::HashMap;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock};

use sha2::{Digest, Sha256};

use super::stamp::{self, Stamp};
use crate::maths;
use crate::sky;
use crate::sun::SunTrack;
use crate::units::Note;
use crate::weather::{Place, ReadHints, WeatherYear};

/// Weather years kept for later sites, beyond those that the open parts still need. A year of hours takes about
/// 0.7 MB, the sun over it 0.4 MB.
pub const YEARS_KEPT: usize = 64;

/// A year with what follows from it alone, worked out by the first site that needs it.
#[derive(Debug)]
pub struct SkyYear {
    /// As read.
    pub year: WeatherYear,
    sun: OnceLock<(Arc<SunTrack>, Option<Note>)>,
}

impl SkyYear {
    /// A year as read.
    pub fn new(year: WeatherYear) -> SkyYear {
        SkyYear { year, sun: OnceLock::new() }
    }

    fn follow(&self) -> &(Arc<SunTrack>, Option<Note>) {
        self.sun.get_or_init(|| {
            let sun = SunTrack::over(&self.year);
            let note = sky::shift::label_note(&self.year, &sun);
            (Arc::new(sun), note)
        })
    }

    /// All light times a factor; what follows from the year as read stays. No column is copied unless others hold the
    /// year too; then into the columns of `spare`, where there is one.
    pub fn times(self: Arc<SkyYear>, factor: f64, spare: &mut Option<WeatherYear>) -> SkyYear {
        let follows = self.follow().clone();
        let mut year = match (Arc::try_unwrap(self), spare.take()) {
            (Ok(own), _) => own.year,
            (Err(shared), Some(mut room)) => {
                copy(&shared.year, &mut room);
                room
            }
            (Err(shared), None) => shared.year.clone(),
        };
        for column in [&mut year.ghi, &mut year.dni, &mut year.dhi] {
            maths::scale(factor, column);
        }
        SkyYear { year, sun: OnceLock::from(follows) }
    }

    /// Where the sun stands, at the place of the file.
    pub fn sun(&self) -> &Arc<SunTrack> {
        &self.follow().0
    }

    /// A loud note when the light does not follow the sun.
    pub fn label_note(&self) -> Option<&Note> {
        self.follow().1.as_ref()
    }
}

/// A year into the room of another.
fn copy(from: &WeatherYear, to: &mut WeatherYear) {
    let WeatherYear {
        place,
        days,
        steps_per_day,
        ghi,
        dni,
        dhi,
        t_amb,
        wind,
        wind_height_m,
        albedo,
        pressure,
        humidity_pct,
        precipitable_water_cm,
        rain_mm,
        snow_depth_cm,
        provenance,
    } = from;
    to.place.clone_from(place);
    to.days.clone_from(days);
    to.steps_per_day = *steps_per_day;
    to.ghi.clone_from(ghi);
    to.dni.clone_from(dni);
    to.dhi.clone_from(dhi);
    to.t_amb.clone_from(t_amb);
    to.wind.clone_from(wind);
    to.wind_height_m = *wind_height_m;
    to.albedo.clone_from(albedo);
    to.pressure.clone_from(pressure);
    to.humidity_pct.clone_from(humidity_pct);
    to.precipitable_water_cm.clone_from(precipitable_water_cm);
    to.rain_mm.clone_from(rain_mm);
    to.snow_depth_cm.clone_from(snow_depth_cm);
    to.provenance.clone_from(provenance);
}

/// What one reading gave.
type Read = Result<Arc<SkyYear>, String>;

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

/// How open parts ask for a file.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    /// By how many of their sites that are not through.
    pub times: usize,
    /// By no other site of the whole table: the year need not be kept.
    pub once: bool,
}

/// The years at hand.
#[derive(Default)]
pub struct Skies {
    held: Mutex<HashMap<(PathBuf, String), Held>>,
    /// The sites of open parts that are not through, by their files.
    ahead: Mutex<HashMap<PathBuf, Asked>>,
    /// Every file as it was when this run first saw it.
    seen: Mutex<HashMap<PathBuf, Option<Stamp>>>,
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
            && slot.hint.as_ref().is_none_or(|hint| !same_spot(hint, &year.year.place))
        {
            // Neither the name nor the position that was handed in: the file has its own.
            slot.own.store(true, Ordering::Relaxed);
        }
        let result = if mine || slot.hint == hints.place || slot.own.load(Ordering::Relaxed) {
            first.clone()
        } else {
            self.read(path, hints)
        };
        self.let_go(path);
        result
    }

    /// Says how many sites of one more part will ask for each file.
    pub fn expect(&self, files: HashMap<PathBuf, Asked>) {
        let mut ahead = lock(&self.ahead);
        for (path, asked) in files {
            ahead.entry(path).or_insert(Asked { times: 0, ..asked }).times += asked.times;
        }
    }

    /// One of the expected sites is through, whether it came to read its file or not.
    pub fn through(&self, path: &Path) {
        let mut ahead = lock(&self.ahead);
        if let Some(asked) = ahead.get_mut(path) {
            asked.times -= 1;
            if asked.times == 0 {
                ahead.remove(path);
            }
        }
    }

    /// The file as this run first saw it: one content serves all sites, or none.
    pub fn stamp(&self, path: &Path) -> Option<Stamp> {
        *lock(&self.seen).entry(path.to_path_buf()).or_insert_with(|| Stamp::of(path))
    }

    fn read(&self, path: &Path, hints: &ReadHints) -> Read {
        self.reads.fetch_add(1, Ordering::Relaxed);
        let hints = ReadHints { no_checksum: true, ..hints.clone() };
        self.unchanged(path, || sky::read(path, &hints).map(|y| Arc::new(SkyYear::new(y))).map_err(|e| e.to_string()))
    }

    /// What is read of a file that is the same before and after as when this run first saw it.
    pub fn unchanged<T>(&self, path: &Path, read: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
        let first = self.stamp(path);
        if Stamp::of(path) != first {
            return Err(stamp::changed(path, "since this run first read it"));
        }
        let result = read();
        // Half a file may well be no good file: that it changed is the cause.
        if Stamp::of(path) != first {
            return Err(stamp::changed(path, "while it was read"));
        }
        result
    }

    /// SHA-256 of a file, piece by piece.
    ///
    /// # Errors
    /// When it cannot be read, or is no longer what was read before.
    pub fn checksum(&self, path: &Path) -> Result<String, String> {
        self.unchanged(path, || {
            let mut hash = Sha256::new();
            let fail = |e: std::io::Error| format!("{}: {e}", path.display());
            let mut file = std::fs::File::open(path).map_err(fail)?;
            let mut piece = vec![0; 1 << 16];
            loop {
                match file.read(&mut piece).map_err(fail)? {
                    0 => break,
                    n => hash.update(&piece[..n]),
                }
            }
            Ok(crate::weather::hex(&hash.finalize()))
        })
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

    /// A site has its year. Lets go of a year that no other site asks for, and of those that waited longest and that
    /// nobody waits for.
    fn let_go(&self, path: &Path) {
        let ahead = lock(&self.ahead);
        let mut held = lock(&self.held);
        if ahead.get(path).is_some_and(|asked| asked.once) {
            held.retain(|(file, _), _| file != path);
        }
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
            assert_eq!(skies.year(path, &at(lat)).unwrap().year.place.latitude_deg, 52.3);
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
            assert_eq!(skies.year(&path, &hints).unwrap().year.place.latitude_deg, lat);
        }
        assert_eq!(skies.reads(), 2);
    }

    #[test]
    fn a_file_that_changes_is_refused_and_not_mixed() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("sky.csv");
        let text = std::fs::read_to_string("weather/merrowby.csv").unwrap();
        std::fs::write(&path, &text).unwrap();
        let skies = Skies::default();
        // While it is read: whatever was read by then does not count.
        let read = || {
            std::fs::write(&path, &text[..text.len() / 2]).unwrap();
            Ok(())
        };
        let told = skies.unchanged(&path, read).unwrap_err();
        assert!(told.contains("changed while it was read") && told.contains("--resume"), "{told}");
        // Between two sites: the second one has it from another place than the first.
        let skies = Skies::default();
        std::fs::write(&path, &text).unwrap();
        assert!(skies.year(&path, &at(52.3)).is_ok());
        std::fs::write(&path, text.clone() + "\n").unwrap();
        assert!(skies.year(&path, &at(52.3)).is_ok(), "from memory");
        let mut other = at(52.3);
        other.label = Some(crate::weather::Label::Ending);
        let told = skies.year(&path, &other).unwrap_err();
        assert!(told.contains("changed since this run first read it"), "{told}");
        assert!(skies.checksum(&path).is_err());
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
