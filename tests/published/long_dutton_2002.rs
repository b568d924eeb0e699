//! Long and Dutton, BSRN Global Network recommended QC tests, V2.0 (2002): limits (from memory), worked by hand for
//! Sa = 1361.1 W/m2 and a zenith of 60 deg, where mu0^1.2 = 0.435275 and mu0^0.2 = 0.870551.

use yearlight::sky::checks::bsrn_limits;
use yearlight::weather::Quantity;

#[test]
fn limits_at_sixty_degrees() {
    for (q, rare, low, high) in [
        (Quantity::Ghi, false, -4.0, 988.68),
        (Quantity::Dhi, false, -4.0, 612.83),
        (Quantity::Dni, false, -4.0, 1361.1),
        (Quantity::Ghi, true, -2.0, 760.94),
        (Quantity::Dhi, true, -2.0, 474.34),
        (Quantity::Dni, true, -2.0, 1135.66),
    ] {
        let (a, b) = bsrn_limits(q, 1361.1, 0.5, rare);
        assert_eq!(a, low);
        assert!((b - high).abs() < 0.01, "{} {b}", q.name());
    }
}
