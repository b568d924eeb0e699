//! Plane coordinates, standing coordinates, and the way between them.

/// Where a plane lies, as unit vectors.
///
/// With tilt `b` and azimuth `g` (clockwise from north, the way the plane faces), in (east, north, up):
///
/// - along the eave, to the right when looking up the slope: `(-cos g, sin g, 0)`
/// - horizontal way up the slope: `(-sin g, -cos g, 0)`
/// - up the slope: `(-sin g cos b, -cos g cos b, sin b)`
/// - normal: `(sin g sin b, cos g sin b, cos b)`, the cross product of the first and the third
///
/// Elementary geometry; valid for tilts from 0 to 90 degrees and any azimuth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    along: [f64; 2],
    uphill: [f64; 2],
    cos_tilt: f64,
    sin_tilt: f64,
}

impl Frame {
    /// The frame of a plane; angles in degrees.
    ///
    /// ```
    /// // A plane that faces south has x to the east: a sun in the east stands at +x.
    /// let south = yearlight::roof::Frame::of(12.0, 180.0);
    /// assert!((south.standing_sun(1.0, 0.0, 0.0)[0] - 1.0).abs() < 1e-12);
    /// // One that faces north has x to the west.
    /// let north = yearlight::roof::Frame::of(12.0, 0.0);
    /// assert!((north.standing_sun(1.0, 0.0, 0.0)[0] + 1.0).abs() < 1e-12);
    /// ```
    pub fn of(tilt_deg: f64, azimuth_deg: f64) -> Frame {
        let (sin_g, cos_g) = crate::maths::sin_cos(azimuth_deg.to_radians());
        let (sin_tilt, cos_tilt) = crate::maths::sin_cos(tilt_deg.to_radians());
        Frame { along: [-cos_g, sin_g], uphill: [-sin_g, -cos_g], cos_tilt, sin_tilt }
    }

    /// Plane coordinates to standing coordinates, m.
    pub fn standing(&self, x: f64, y: f64) -> [f64; 3] {
        [x, y * self.cos_tilt, y * self.sin_tilt]
    }

    /// A direction (east, north, up) in standing coordinates.
    pub fn standing_sun(&self, east: f64, north: f64, up: f64) -> [f64; 3] {
        [self.along[0] * east + self.along[1] * north, self.uphill[0] * east + self.uphill[1] * north, up]
    }

    /// Cosine between a direction in standing coordinates and the normal of the plane.
    pub fn cos_to_normal(&self, standing: [f64; 3]) -> f64 {
        standing[2] * self.cos_tilt - standing[1] * self.sin_tilt
    }

    /// Cosine of the tilt.
    pub fn cos_tilt(&self) -> f64 {
        self.cos_tilt
    }

    /// Sine of the tilt.
    pub fn sin_tilt(&self) -> f64 {
        self.sin_tilt
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn x_is_to_the_right_when_looking_up_the_slope_on_both_halves_of_the_earth() {
        // South-facing: looking up the slope is looking north, east is to the right.
        let south = Frame::of(30.0, 180.0);
        let [x, v, _] = south.standing_sun(1.0, 0.0, 0.0);
        assert!((x - 1.0).abs() < 1e-12 && v.abs() < 1e-12);
        let [x, v, _] = south.standing_sun(0.0, 1.0, 0.0);
        assert!(x.abs() < 1e-12 && (v - 1.0).abs() < 1e-12, "north is up the slope");
        // North-facing: looking up the slope is looking south, west is to the right.
        let north = Frame::of(30.0, 0.0);
        let [x, v, _] = north.standing_sun(-1.0, 0.0, 0.0);
        assert!((x - 1.0).abs() < 1e-12 && v.abs() < 1e-12);
        let [x, v, _] = north.standing_sun(0.0, -1.0, 0.0);
        assert!(x.abs() < 1e-12 && (v - 1.0).abs() < 1e-12, "south is up the slope");
        // West-facing: looking up the slope is looking east, south is to the right.
        let west = Frame::of(30.0, 270.0);
        let [x, _, _] = west.standing_sun(0.0, -1.0, 0.0);
        assert!((x - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_normal_is_the_usual_one() {
        let (tilt, azimuth) = (25.0_f64, 200.0_f64);
        let frame = Frame::of(tilt, azimuth);
        let sun = [0.3, -0.7, 0.648_074_069_840_786];
        let cos = frame.cos_to_normal(frame.standing_sun(sun[0], sun[1], sun[2]));
        let (t, a) = (tilt.to_radians(), azimuth.to_radians());
        let usual = t.sin() * a.sin() * sun[0] + t.sin() * a.cos() * sun[1] + t.cos() * sun[2];
        assert!((cos - usual).abs() < 1e-14);
    }
}
