//! The site of a job against the position of its weather file, and what the job says about that file.

use super::error::{JobError, fault};
use super::{At, Job};
use crate::units::Note;
use crate::weather::{Label, Place, Quantity, ReadHints, Separation, WeatherYear};

/// Farther than this, km, a weather file must be called a stand-in.
pub const FAR_KM: f64 = 200.0;
/// From this difference of height, m, a note is loud: air cools by about 0.65 K per 100 m.
pub const HIGH_M: f64 = 200.0;

/// Where the energy is computed, and under what name.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Name of the site; position, height and clock of the weather file, which drive the sun.
    pub place: Place,
    /// From the site to the weather file's position, km; `None` when the job gives no site.
    pub distance_km: Option<f64>,
    /// True when the job calls the weather file a stand-in.
    pub stands_in: bool,
    /// Distance, difference of height, stand-in.
    pub notes: Vec<Note>,
}

impl Job {
    /// Where a key of the job stands: the nearest enclosing key that was written, or the file.
    ///
    /// Paths as in [`super::LedgerLine::path`]: `option.A.strings`, `module.P410.low_light`.
    pub fn at(&self, path: &str) -> At {
        let mut path = path;
        loop {
            if let Some(at) = self.origin.at(path) {
                return at;
            }
            match path.rsplit_once('.') {
                Some((above, _)) => path = above,
                None => return At { file: self.path.display().to_string(), line: 0 },
            }
        }
    }

    /// What the job says about its weather file, for the reader.
    pub fn read_hints(&self) -> Result<ReadHints, JobError> {
        let weather = &self.spec.weather;
        let wrong = |key: &str| {
            // The words were checked at the door; this is for a word that the reader no longer knows.
            JobError::BadValue(fault(
                self.at(key),
                format!("{key} is not known"),
                "a word of the manual",
                "Leave the key out.",
            ))
        };
        let label = match &weather.label {
            Some(word) => Some(word.parse::<Label>().map_err(|_| wrong("weather.label"))?),
            None => None,
        };
        let separation = match &weather.separation {
            Some(word) => word.parse::<Separation>().map_err(|_| wrong("weather.separation"))?,
            None => Separation::default(),
        };
        let site = self.spec.site.as_ref();
        let utc_offset_min = site.and_then(|s| s.utc_offset_h).map(|h| (h * 60.0).round() as i32);
        let place = site.map(|s| Place {
            name: s.name.clone(),
            latitude_deg: s.latitude_deg,
            longitude_deg: s.longitude_deg,
            elevation_m: s.elevation_m.unwrap_or(0.0),
            utc_offset_min: utc_offset_min.unwrap_or(0),
        });
        Ok(ReadHints {
            label,
            columns: weather.columns.clone(),
            utc_offset_min,
            place,
            wind_height_m: weather.wind_height_m,
            separation,
            leave_out: self.unused(),
            ..ReadHints::default()
        })
    }

    /// Columns of the weather that no model of this job looks at.
    fn unused(&self) -> Vec<Quantity> {
        let mut unused = vec![Quantity::Humidity];
        if !self.spec.spectrum {
            unused.extend([Quantity::PrecipitableWater, Quantity::Pressure]);
        }
        if self.spec.losses.dirt_model.is_none() {
            unused.push(Quantity::Rain);
        }
        unused
    }

    /// Holds the site against the weather file's position. Refused unless `weather.stand_in` is set: a file more than
    /// [`FAR_KM`] away, coordinates that look swapped or have a wrong sign.
    pub fn settle(&self, weather: &WeatherYear) -> Result<Placed, JobError> {
        let file = &weather.place;
        let stands_in = self.spec.weather.stand_in;
        let mut notes = Vec::new();
        let Some(site) = &self.spec.site else {
            if stands_in {
                notes.push(stand_in(&file.name, None));
            }
            return Ok(Placed { place: file.clone(), distance_km: None, stands_in, notes });
        };
        let (lat, lon) = (site.latitude_deg, site.longitude_deg);
        let from_file = |lat: f64, lon: f64| distance_km((lat, lon), (file.latitude_deg, file.longitude_deg));
        let distance = from_file(lat, lon);
        if distance > FAR_KM && !stands_in {
            let slips = [
                (lon, lat, "Latitude and longitude look swapped."),
                (lat, -lon, "The sign of longitude_deg looks wrong: east is positive, west negative."),
                (-lat, lon, "The sign of latitude_deg looks wrong: north is positive, south negative."),
                (-lat, -lon, "Both signs look wrong: north and east are positive."),
                (-lon, lat, "Latitude and longitude look swapped, with a wrong sign."),
                (lon, -lat, "Latitude and longitude look swapped, with a wrong sign."),
            ];
            let slip = slips.iter().find(|(a, b, _)| a.abs() <= 90.0 && from_file(*a, *b) <= FAR_KM);
            let mend = match slip {
                Some((_, _, why)) => format!("{why} Mend [site] or the header of the weather file."),
                None => {
                    "Take a weather file of the place, or set stand_in = true under [weather]; the output then says so."
                        .to_string()
                }
            };
            return Err(JobError::Clash(fault(
                self.at("site.latitude_deg"),
                format!(
                    "site is at {}, {}, which is {distance:.0} km from the weather file at {}, {}",
                    number(lat),
                    number(lon),
                    number(file.latitude_deg),
                    number(file.longitude_deg)
                ),
                format!("at most {FAR_KM} km"),
                mend,
            )));
        }
        if stands_in {
            notes.push(stand_in(&file.name, Some(distance)));
        } else {
            let text = format!("The weather file is of {}, {distance:.0} km from the site.", file.name);
            notes.push(if distance > FAR_KM / 4.0 {
                Note::loud("site.distance", text)
            } else {
                Note::quiet("site.distance", text)
            });
        }
        if let Some(height) = site.elevation_m {
            let difference = height - file.elevation_m;
            let text = format!(
                "The site is {:.0} m {} the weather file's station; air temperature is not corrected for it.",
                difference.abs(),
                if difference >= 0.0 { "above" } else { "below" }
            );
            if difference.abs() >= HIGH_M {
                notes.push(Note::loud("site.height", text));
            } else if difference.abs() >= 1.0 {
                notes.push(Note::quiet("site.height", text));
            }
        }
        let place = Place { name: site.name.clone(), ..file.clone() };
        Ok(Placed { place, distance_km: Some(distance), stands_in, notes })
    }
}

fn stand_in(name: &str, distance: Option<f64>) -> Note {
    let far = distance.map_or(String::new(), |d| format!(", {d:.0} km away"));
    Note::loud("weather.stand-in", format!("The sky is that of {name}{far}: a stand-in for the site's own."))
}

fn number(x: f64) -> String {
    format!("{:.2}", x)
}

/// Great-circle distance, km, between two points of latitude and longitude in degrees, on a sphere of 6371.0 km (mean
/// radius of the Earth, IUGG).
///
/// Haversine form: `hav(d/R) = hav(dlat) + cos(lat1) cos(lat2) hav(dlon)`.
///
/// ```
/// // One degree of a great circle is 111.2 km.
/// let km = yearlight::job::distance_km((0.0, 0.0), (1.0, 0.0));
/// assert!((km - 111.195).abs() < 0.001);
/// ```
pub fn distance_km(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (lat1, lat2) = (a.0.to_radians(), b.0.to_radians());
    let half = |x: f64| (x.to_radians() / 2.0).sin().powi(2);
    let h = half(b.0 - a.0) + lat1.cos() * lat2.cos() * half(b.1 - a.1);
    2.0 * 6371.0 * h.clamp(0.0, 1.0).sqrt().asin()
}
