//! The drawing of a catch-can test.

use maud::{Markup, html};

use crate::audit::{Audit, Can};
use crate::write::page::{INK, QUIET, at, figure, page, ramp};

/// Width of the drawing, and height of the bars of one without places.
const WIDTH: f64 = 640.0;
const BARS: f64 = 260.0;
const MARGIN: f64 = 46.0;
/// The step of the ramp in the middle is the mean; the ends are none and twice the mean.
const FULL_OVER_MEAN: f64 = 2.0;
const STYLE: &str = "body{font:16px/1.45 system-ui,sans-serif;color:#22282b;max-width:680px;\
    margin:24px auto;padding:0 16px}svg{max-width:100%;height:auto}h1{font-size:22px}";

/// What is drawn.
pub struct CanDrawing<'a> {
    /// The cans.
    pub cans: &'a [Can],
    /// Their measures.
    pub audit: &'a Audit,
    /// Unit of the readings.
    pub unit: &'a str,
    /// The convention of the low quarter.
    pub convention: &'a str,
}

impl CanDrawing<'_> {
    /// The drawing alone.
    #[must_use]
    pub fn to_svg(&self) -> String {
        self.svg().into_string()
    }

    /// The drawing on a page with its figures.
    #[must_use]
    pub fn to_html(&self) -> String {
        let audit = self.audit;
        let body = html! {
            h1 { "Catch-can readings" }
            p {
                "DU_lq " strong { (figure(Some(audit.du_lq), 2)) }
                " (lowest quarter by the convention " (self.convention) "), CU "
                (figure(Some(audit.cu_pct), 1)) " %, mean " (figure(Some(audit.mean), 1)) " "
                (self.unit) " of " (audit.cans) " cans."
            }
            (self.svg())
        };
        page("Catch-can readings", STYLE, &body, None)
    }

    fn svg(&self) -> Markup {
        let places: Option<Vec<(f64, f64)>> = self.cans.iter().map(|can| can.place_m).collect();
        match places {
            Some(places) => self.on_the_ground(&places),
            None => self.in_order(),
        }
    }

    /// Readings of the low quarter, boundary included.
    fn lowest(&self) -> f64 {
        let mut sorted: Vec<f64> = self.cans.iter().map(|can| can.caught).collect();
        sorted.sort_by(f64::total_cmp);
        let count = self.audit.low_quarter_cans.ceil() as usize;
        sorted.get(count.saturating_sub(1)).copied().unwrap_or(0.0)
    }

    /// Cans where they stood, north up.
    fn on_the_ground(&self, places: &[(f64, f64)]) -> Markup {
        let fold = |of: fn(&(f64, f64)) -> f64, with: fn(f64, f64) -> f64| {
            places.iter().map(of).reduce(with).unwrap_or(0.0)
        };
        let (west, east) = (fold(|p| p.0, f64::min), fold(|p| p.0, f64::max));
        let (south, north) = (fold(|p| p.1, f64::min), fold(|p| p.1, f64::max));
        let span = (east - west).max(north - south).max(1e-6);
        let scale = (WIDTH - 2.0 * MARGIN) / span;
        let height = (north - south) * scale + 2.0 * MARGIN + 40.0;
        let x = |m: f64| MARGIN + (m - west) * scale;
        let y = |m: f64| MARGIN + (north - m) * scale;
        // Circles do not overlap on the usual grid of cans.
        let radius = (0.4 * (WIDTH - 2.0 * MARGIN) / (places.len() as f64).sqrt()).clamp(9.0, 24.0);
        let lowest = self.lowest();
        html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {}", at(height)))
                role="img" aria-label="Readings of the cans where they stood"
                font-family="system-ui, sans-serif" {
                @if let Some(driest) = &self.audit.driest {
                    rect x=(at(x(driest.corner_m.0))) y=(at(y(driest.corner_m.1 + driest.side_m)))
                        width=(at(driest.side_m * scale)) height=(at(driest.side_m * scale))
                        fill="none" stroke=(INK) stroke-width="1.5" stroke-dasharray="6 4" {}
                }
                @for (can, place) in self.cans.iter().zip(places) {
                    @let share = can.caught / self.audit.mean / FULL_OVER_MEAN;
                    @let low = can.caught <= lowest;
                    circle cx=(at(x(place.0))) cy=(at(y(place.1))) r=(at(radius)) fill=(ramp(share))
                        stroke=(INK) stroke-width=(if low { "3" } else { "0.8" }) {}
                    text x=(at(x(place.0))) y=(at(y(place.1) + 4.0)) font-size="11"
                        text-anchor="middle" fill=(if share > 0.6 { "#ffffff" } else { INK }) {
                        (figure(Some(can.caught), 1))
                    }
                }
                text x=(MARGIN) y=(at(height - 14.0)) font-size="12" fill=(QUIET) {
                    (self.unit) "; heavy rings: the low quarter"
                    @if let Some(driest) = &self.audit.driest {
                        "; dashed: the driest " (figure(Some(driest.side_m), 1)) " m square"
                    }
                }
            }
        }
    }

    /// Readings as bars from the lowest to the highest.
    fn in_order(&self) -> Markup {
        let mut sorted: Vec<f64> = self.cans.iter().map(|can| can.caught).collect();
        sorted.sort_by(f64::total_cmp);
        let most = self.audit.range.1.max(1e-9);
        let step = (WIDTH - 2.0 * MARGIN) / sorted.len() as f64;
        let y = |value: f64| MARGIN + BARS * (1.0 - value / most);
        let lowest = self.lowest();
        html! {
            svg xmlns="http://www.w3.org/2000/svg"
                viewBox=(format!("0 0 {WIDTH} {}", BARS + 2.0 * MARGIN + 10.0))
                role="img" aria-label="Readings from the lowest to the highest"
                font-family="system-ui, sans-serif" {
                @for (place, &value) in sorted.iter().enumerate() {
                    @let share = value / self.audit.mean / FULL_OVER_MEAN;
                    rect x=(at(MARGIN + step * (place as f64 + 0.1))) y=(at(y(value)))
                        width=(at(0.8 * step)) height=(at(BARS * value / most)) fill=(ramp(share))
                        stroke=(INK) stroke-width=(if value <= lowest { "2.5" } else { "0.6" }) {}
                }
                line x1=(MARGIN) x2=(WIDTH - MARGIN) y1=(at(y(self.audit.mean)))
                    y2=(at(y(self.audit.mean))) stroke=(INK) stroke-dasharray="6 4" {}
                text x=(MARGIN) y=(at(y(self.audit.mean) - 5.0)) font-size="12" fill=(INK) {
                    "mean " (figure(Some(self.audit.mean), 1)) " " (self.unit)
                }
                text x=(MARGIN) y=(BARS + MARGIN + 28.0) font-size="12" fill=(QUIET) {
                    "each bar a can, lowest first; heavy outlines: the low quarter"
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audit::Convention;

    fn drawn(place: Option<(f64, f64)>) -> String {
        let cans: Vec<Can> = [8.0, 9.0, 10.0, 13.0]
            .iter()
            .enumerate()
            .map(|(at, &caught)| Can {
                caught,
                place_m: place.map(|(x, y)| (x + at as f64, y)),
            })
            .collect();
        let audit = Audit::of(&cans, Convention::Nearest, None).unwrap();
        CanDrawing {
            cans: &cans,
            audit: &audit,
            unit: "mm",
            convention: "nearest",
        }
        .to_html()
    }

    #[test]
    fn a_can_is_a_circle_or_a_bar() {
        let placed = drawn(Some((100.0, 50.0)));
        assert_eq!(placed.matches("<circle").count(), 4);
        assert_eq!(placed.matches("stroke-width=\"3\"").count(), 1);
        let ordered = drawn(None);
        assert_eq!(ordered.matches("<rect").count(), 4);
        assert_eq!(ordered.matches("stroke-width=\"2.5\"").count(), 1);
        assert!(!placed.contains("NaN") && !ordered.contains("NaN"));
    }
}
