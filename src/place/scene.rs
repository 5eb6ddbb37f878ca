//! What water does around a lawn, as the search weighs it.

use super::{Around, Site};
use crate::catalogue::Family;
use crate::rain::Scene;

/// What water costs more than on plain ground beside the turf, in units of the water that the turf
/// needs. Found by trial on the lawns of two public data sets with buildings and pavement: with
/// more, evenness falls; with less, water runs into the street.
const ON_PAVEMENT: f32 = 0.3;
/// Where overhead water is kept off: more than what a dry cell costs the search, so that the band
/// along pavement stays dry and is left to drip.
const ON_SETBACK: f32 = 8.0;
const ON_BUILDING: f32 = 1.5;
const ON_NEIGHBOUR: f32 = 0.06;
const ON_WATER: f32 = 0.06;
/// Cells of the scene \[m\]: seams of overspray are narrow.
const CELL_M: (f64, f64) = (0.2, 0.4);

/// The scene of a site; `None` where nothing is known of what lies around.
pub(super) fn scene(site: &Site, family: &Family, cell_m: f64) -> Option<Scene> {
    let Around {
        blocks,
        walls,
        pavements,
        waters,
        parcel,
        ..
    } = site.around;
    if blocks.is_empty() && pavements.is_empty() && waters.is_empty() && parcel.is_empty() {
        return None;
    }
    let cell_m = cell_m.clamp(CELL_M.0, CELL_M.1);
    let mut scene = Scene::plain(site.outline, cell_m, family.longest_m());
    if !parcel.is_empty() {
        scene.harm_beyond(parcel, ON_NEIGHBOUR);
    }
    for water in waters {
        scene.harm_within(water, ON_WATER);
    }
    for pavement in pavements {
        if site.rules.pavement_setback_m > 0.0 {
            scene.harm_within(pavement, ON_SETBACK);
            scene.harm_along(pavement, site.rules.pavement_setback_m, ON_SETBACK);
        } else {
            scene.harm_within(pavement, ON_PAVEMENT);
        }
    }
    for wall in walls {
        scene.harm_within(wall, ON_BUILDING);
    }
    scene.block(blocks, f64::from(ON_BUILDING));
    Some(scene.close())
}
