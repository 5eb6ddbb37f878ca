//! Runoff of daily rain by curve number. For the rain of a day, not for a rate of irrigation.

use crate::units::Depth;

/// Runoff of a day's rain: `S = 25400/CN − 254` mm, `Q = (P − 0.2 S)²/(P + 0.8 S)` when P exceeds
/// 0.2 S, otherwise nothing. `curve_number` above 0 to 100 (taken into 1 to 100); turf in good
/// condition has 39, 61, 74 and 80 on hydrologic groups A to D.
///
/// # References
/// - USDA Natural Resources Conservation Service, *National Engineering Handbook* part 630,
///   chapter 10 (from memory).
#[must_use]
pub fn curve_number_runoff(rain: Depth, curve_number: f64) -> Depth {
    let storage_mm = 25_400.0 / curve_number.clamp(1.0, 100.0) - 254.0;
    let rain_mm = rain.mm();
    let excess_mm = rain_mm - 0.2 * storage_mm;
    if excess_mm <= 0.0 {
        return Depth::ZERO;
    }
    Depth::of_depth_m(excess_mm * excess_mm / (rain_mm + 0.8 * storage_mm) / 1_000.0)
}
