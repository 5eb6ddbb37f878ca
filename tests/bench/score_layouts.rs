//! Scores layouts of whole data sets, as Markdown tables; for those who work on `place`.
//!
//! `scripts/score-layouts` runs it. `EVENFALL_DATA` names a folder of data sets, each a folder with a
//! `turf.geojson` in longitude and latitude, perhaps `buildings.geojson`, `hard_areas.geojson`,
//! `roads.geojson`, `driveways_assumed.geojson` and `parcels.geojson`. A table of what the plain
//! rule needs (`feature, family, heads, du_lq, …`) may be named by `EVENFALL_RULE`; otherwise our own
//! rule stands in. Seconds are of this thread's CPU, where the system tells them.

#![allow(clippy::unwrap_used, reason = "a bench may panic")]

use evenfall::catalogue::{Catalogue, Family, Profile};
use evenfall::crs::Frame;
use evenfall::place::{self, Effort, Favour, Head, Pattern, Site};
use evenfall::shape::Outline;
use evenfall::uniformity::{Surroundings, Uniformity, measure};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;
use std::time::Instant;

/// What is asked for on the command line.
struct Ask {
    efforts: Vec<Effort>,
    favours: Vec<Favour>,
    families: Vec<String>,
    profile: Option<Profile>,
    pools: Vec<Pool>,
    every: usize,
    rows: Option<String>,
    dump: Option<String>,
}

/// Which turf areas are scored together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pool {
    /// 50–1,500 m² and 5 m wide or more.
    Middle,
    /// Over 1,500 m².
    Large,
    /// Less than 5 m wide.
    Narrow,
}

impl Pool {
    fn holds(self, outline: &Outline) -> bool {
        let (area_m2, width_m) = (outline.area_m2(), outline.width_m());
        match self {
            Pool::Middle => (50.0..=1_500.0).contains(&area_m2) && width_m >= 5.0,
            Pool::Large => area_m2 > 1_500.0,
            Pool::Narrow => width_m < 5.0,
        }
    }
}

/// One turf area of a data set, with what lies around it.
struct Area {
    set: String,
    feature: String,
    outline: Outline,
    buildings: Option<Vec<Outline>>,
    pavements: Option<Vec<Outline>>,
    parcel: Option<Vec<Outline>>,
}

/// One layout, scored.
struct Score {
    set: String,
    planned: Option<(Uniformity, Uniformity)>,
    heads: usize,
    rule_heads: f64,
    trials: usize,
    is_stretched: bool,
    seconds: f64,
}

fn main() {
    let ask = asked();
    let Ok(data) = std::env::var("EVENFALL_DATA") else {
        eprintln!("score-layouts: EVENFALL_DATA must name a folder of data sets");
        std::process::exit(2);
    };
    let areas = areas_of(Path::new(&data));
    let rule =
        std::env::var("EVENFALL_RULE").map_or_else(|_| BTreeMap::new(), |path| rule_of(&path));
    let mut catalogue = Catalogue::generic();
    if let Some(profile) = &ask.profile {
        for family in &mut catalogue.families {
            family.profile = profile.clone();
        }
    }
    let mut rows = String::from(ROW_TITLE);
    for &pool in &ask.pools {
        for &favour in &ask.favours {
            for &effort in &ask.efforts {
                println!("\n{pool:?} lawns, effort {effort:?}, favour {favour:?}\n");
                println!("{TABLE_TITLE}");
                for name in &ask.families {
                    let family = catalogue.family(name).unwrap();
                    let mut scores = Vec::new();
                    for area in areas
                        .iter()
                        .filter(|area| pool.holds(&area.outline))
                        .step_by(ask.every)
                    {
                        let score = scored(area, family, effort, favour, &rule, &ask, &mut rows);
                        scores.push(score);
                    }
                    print_scores(name, "all", &scores.iter().collect::<Vec<_>>());
                    let mut sets: Vec<&str> =
                        scores.iter().map(|score| score.set.as_str()).collect();
                    sets.dedup();
                    for set in sets {
                        let own: Vec<&Score> =
                            scores.iter().filter(|score| score.set == set).collect();
                        print_scores(name, set, &own);
                    }
                }
            }
        }
    }
    if let Some(path) = ask.rows {
        std::fs::write(path, rows).unwrap();
    }
}

const ROW_TITLE: &str = "feature,family,effort,favour,area_m2,width_m,heads,rule_heads,du_lq,du_lq_robust,weak_frac,patch_m,twice_frac,h2h_frac,over_frac,trials,stretched,seconds\n";
const TABLE_TITLE: &str = "| family | set | areas | planned | DU_lq P10 / median / P90 | robust | weak % | twice | h2h | over % | on pavement % | on buildings % | on neighbours % | heads | heads / rule | ≤ rule % | stretched % | trials | ms | a second |
|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|";

fn scored(
    area: &Area,
    family: &Family,
    effort: Effort,
    favour: Favour,
    rule: &BTreeMap<(String, String), f64>,
    ask: &Ask,
    rows: &mut String,
) -> Score {
    // The inscribed circle is the same for every family and not counted.
    let site = Site::open(&area.outline);
    let start = cpu_s();
    let layout = place::layout_in_parts(&site, family, effort, favour);
    let watered = layout.watered.as_ref().unwrap_or(&area.outline);
    let bare = measure(
        watered,
        &layout.heads,
        &family.profile,
        &Surroundings::default(),
    );
    let seconds = cpu_s() - start;
    // Where the water beside the turf lands, with nothing in its way.
    let around = Surroundings {
        pavements: area.pavements.as_deref(),
        blocks: None,
        parcel: area.parcel.as_deref(),
    };
    let by_ground = measure(watered, &layout.heads, &family.profile, &around);
    let on_buildings = Surroundings {
        pavements: area.buildings.as_deref(),
        ..Surroundings::default()
    };
    let built = measure(watered, &layout.heads, &family.profile, &on_buildings);
    let planned = bare.zip(by_ground).map(|(bare, mut ground)| {
        ground.build_over_frac = built.and_then(|built| built.paved_over_frac);
        (bare, ground)
    });
    let key = (area.feature.clone(), family.name.clone());
    let rule_heads = rule.get(&key).copied().unwrap_or_else(|| {
        place::rule_layout(&site, family, place::rule_throw_m(&site, family)).len() as f64
    });
    let score = Score {
        set: area.set.clone(),
        heads: layout.heads.len(),
        rule_heads,
        trials: layout.trials,
        is_stretched: place::is_stretched(&area.outline, &layout.heads),
        planned,
        seconds,
    };
    if let Some((u, _)) = &score.planned {
        let _ = writeln!(
            rows,
            "{},{},{effort:?},{favour:?},{:.1},{:.2},{},{rule_heads},{:.4},{:.4},{:.4},{:.3},{:.4},{:.4},{:.4},{},{},{seconds:.6}",
            area.feature,
            family.name,
            area.outline.area_m2(),
            area.outline.width_m(),
            score.heads,
            u.du_lq,
            u.du_lq_robust,
            u.weak_frac,
            u.patch_m,
            u.twice_frac,
            u.h2h_frac,
            u.over_frac,
            score.trials,
            u8::from(score.is_stretched),
        );
    }
    if let Some(folder) = &ask.dump {
        dump(
            folder,
            &format!("{}:{}", area.feature, family.name),
            &area.outline,
            &layout.heads,
        );
    }
    score
}

fn print_scores(family: &str, set: &str, scores: &[&Score]) {
    let of = |value: fn(&Uniformity) -> f64| -> Vec<f64> {
        scores
            .iter()
            .filter_map(|s| s.planned.as_ref())
            .map(|(u, _)| value(u))
            .collect()
    };
    let beside = |value: fn(&Uniformity) -> Option<f64>| -> String {
        let known: Vec<f64> = scores
            .iter()
            .filter_map(|s| s.planned.as_ref())
            .filter_map(|(_, u)| value(u))
            .collect();
        if known.is_empty() {
            "–".to_owned()
        } else {
            format!("{:.1}", 100.0 * share(&known, 0.5))
        }
    };
    // An area that is not planned counts with DU 0.
    let du: Vec<f64> = scores
        .iter()
        .map(|s| s.planned.as_ref().map_or(0.0, |(u, _)| u.du_lq))
        .collect();
    let each =
        |value: &dyn Fn(&Score) -> f64| -> Vec<f64> { scores.iter().map(|s| value(s)).collect() };
    let ms = share(&each(&|s| 1e3 * s.seconds), 0.5);
    let percent = |count: usize| 100.0 * count as f64 / scores.len().max(1) as f64;
    println!(
        "| {family} | {set} | {} | {} | {:.3} / {:.3} / {:.3} | {:.3} | {:.1} | {:.3} | {:.2} | {:.1} | {} | {} | {} | {:.0} | {:.2} | {:.0} | {:.0} | {:.0} | {ms:.2} | {:.0} |",
        scores.len(),
        scores.iter().filter(|s| s.planned.is_some()).count(),
        share(&du, 0.1),
        share(&du, 0.5),
        share(&du, 0.9),
        share(&of(|u| u.du_lq_robust), 0.5),
        100.0 * share(&of(|u| u.weak_frac), 0.5),
        share(&of(|u| u.twice_frac), 0.5),
        share(&of(|u| u.h2h_frac), 0.5),
        100.0 * share(&of(|u| u.over_frac), 0.5),
        beside(|u| u.paved_over_frac),
        beside(|u| u.build_over_frac),
        beside(|u| u.neighb_over_frac),
        share(&each(&|s| s.heads as f64), 0.5),
        share(&each(&|s| s.heads as f64 / s.rule_heads), 0.5),
        percent(
            scores
                .iter()
                .filter(|s| s.heads as f64 <= s.rule_heads)
                .count()
        ),
        percent(scores.iter().filter(|s| s.is_stretched).count()),
        share(&each(&|s| s.trials as f64), 0.5),
        1e3 / ms,
    );
}

/// The value below which a share of a list lies, between neighbours in part; 0 for none.
fn share(values: &[f64], share: f64) -> f64 {
    let mut values = values.to_vec();
    values.sort_by(f64::total_cmp);
    let Some(last) = values.len().checked_sub(1) else {
        return 0.0;
    };
    let place = share * last as f64;
    let (low, high) = (
        values[place.floor() as usize],
        values[place.ceil() as usize],
    );
    low + (high - low) * place.fract()
}

/// Seconds of this thread, or of the clock where the system does not tell.
fn cpu_s() -> f64 {
    static CLOCK: std::sync::LazyLock<Instant> = std::sync::LazyLock::new(Instant::now);
    // The system brings its account up to date when a thread gives way.
    std::thread::yield_now();
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split(' ').next()?.parse::<f64>().ok())
        .map_or_else(|| CLOCK.elapsed().as_secs_f64(), |ns| ns / 1e9)
}

fn asked() -> Ask {
    let mut ask = Ask {
        efforts: vec![Effort::Normal],
        favours: vec![Favour::Evenness],
        families: vec!["rotary-mid".to_owned(), "rotary-slow".to_owned()],
        profile: None,
        pools: vec![Pool::Middle],
        every: 1,
        rows: None,
        dump: None,
    };
    let mut args = std::env::args().skip(1);
    while let Some(flag) = args.next() {
        let value = args.next().unwrap_or_default();
        let list = || value.split(',').map(str::to_owned);
        match flag.as_str() {
            "--effort" => ask.efforts = list().map(|name| effort(&name)).collect(),
            "--favour" => ask.favours = list().map(|name| favour(&name)).collect(),
            "--families" => ask.families = list().collect(),
            "--profile" => ask.profile = Some(Profile::parse(&value).unwrap()),
            "--pool" => ask.pools = list().map(|name| pool(&name)).collect(),
            "--every" => ask.every = value.parse().unwrap(),
            "--rows" => ask.rows = Some(value),
            "--dump" => ask.dump = Some(value),
            other => usage(other),
        }
    }
    ask
}

fn usage(what: &str) -> ! {
    eprintln!(
        "score-layouts: `{what}`? [--effort rule,fast,normal,thorough] [--favour evenness,balance,heads] \
         [--families a,b] [--profile NAME] [--pool middle,large,narrow] [--every N] [--rows CSV] [--dump DIR]"
    );
    std::process::exit(2);
}

fn effort(name: &str) -> Effort {
    match name {
        "rule" => Effort::Rule,
        "fast" => Effort::Fast,
        "normal" => Effort::Normal,
        "thorough" => Effort::Thorough,
        other => usage(other),
    }
}

fn favour(name: &str) -> Favour {
    match name {
        "evenness" => Favour::Evenness,
        "balance" => Favour::Balance,
        "heads" => Favour::Heads,
        other => usage(other),
    }
}

fn pool(name: &str) -> Pool {
    match name {
        "middle" => Pool::Middle,
        "large" => Pool::Large,
        "narrow" => Pool::Narrow,
        other => usage(other),
    }
}

/// Heads of the plain rule by feature and family.
fn rule_of(path: &str) -> BTreeMap<(String, String), f64> {
    let text = std::fs::read_to_string(path).unwrap();
    let mut lines = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let titles = lines.next().unwrap();
    let column = |name: &str| titles.iter().position(|&title| title == name).unwrap();
    let (feature, family, heads) = (column("feature"), column("family"), column("heads"));
    lines
        .map(|row| {
            (
                (row[feature].to_owned(), row[family].to_owned()),
                row[heads].parse().unwrap(),
            )
        })
        .collect()
}

/// A ring in longitude and latitude.
type Ring = Vec<(f64, f64)>;

/// The polygons of a layer, each with its feature's number and properties; `None` without the file.
fn polygons(path: &Path) -> Option<Vec<(usize, serde_json::Value, Vec<Ring>)>> {
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(path).ok()?).unwrap();
    let ring = |ring: &serde_json::Value| -> Ring {
        let points = ring.as_array().unwrap().iter();
        points
            .map(|p| (p[0].as_f64().unwrap(), p[1].as_f64().unwrap()))
            .collect()
    };
    let rings = |polygon: &serde_json::Value| -> Vec<Ring> {
        polygon.as_array().unwrap().iter().map(ring).collect()
    };
    let mut found = Vec::new();
    for (k, feature) in json["features"].as_array().unwrap().iter().enumerate() {
        let (kind, coordinates) = (
            &feature["geometry"]["type"],
            &feature["geometry"]["coordinates"],
        );
        let parts: Vec<Vec<Ring>> = match kind.as_str() {
            Some("Polygon") => vec![rings(coordinates)],
            Some("MultiPolygon") => coordinates.as_array().unwrap().iter().map(rings).collect(),
            _ => Vec::new(),
        };
        found.extend(
            parts
                .into_iter()
                .map(|part| (k, feature["properties"].clone(), part)),
        );
    }
    Some(found)
}

/// How far around a turf area its surroundings are looked at \[degrees\]: 20 m and more.
const AROUND_DEG: f64 = 3e-4;

fn areas_of(data: &Path) -> Vec<Area> {
    let mut folders: Vec<_> = std::fs::read_dir(data)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    folders.sort();
    let mut areas = Vec::new();
    for folder in folders {
        let Some(turf) = polygons(&folder.join("turf.geojson")) else {
            continue;
        };
        let layers = |names: &[&str]| -> Option<Vec<_>> {
            let found: Vec<_> = names
                .iter()
                .filter_map(|name| polygons(&folder.join(name)))
                .collect();
            (!found.is_empty()).then(|| found.into_iter().flatten().collect())
        };
        let buildings = layers(&["buildings.geojson"]);
        let pavements = layers(&[
            "hard_areas.geojson",
            "roads.geojson",
            "driveways_assumed.geojson",
        ]);
        let parcels = layers(&["parcels.geojson"]);
        let set = folder.file_name().unwrap().to_string_lossy().into_owned();
        for (k, properties, rings) in turf {
            let n = rings[0].len() as f64;
            let frame = Frame::about(
                rings[0].iter().map(|p| p.0).sum::<f64>() / n,
                rings[0].iter().map(|p| p.1).sum::<f64>() / n,
            );
            let plane = |ring: &Ring| {
                ring.iter()
                    .map(|&(x, y)| frame.to_plane(x, y))
                    .collect::<Vec<_>>()
            };
            let outline_of = |rings: &[Ring]| {
                Outline::new(plane(&rings[0]), rings[1..].iter().map(plane).collect())
            };
            let Some(outline) = outline_of(&rings) else {
                continue;
            };
            let span = |ring: &Ring| {
                ring.iter()
                    .fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, p| {
                        [b[0].min(p.0), b[1].min(p.1), b[2].max(p.0), b[3].max(p.1)]
                    })
            };
            let own = span(&rings[0]);
            let near = |layer: &Option<Vec<(usize, serde_json::Value, Vec<Ring>)>>, id: bool| {
                layer.as_ref().map(|polygons| {
                    let close = polygons.iter().filter(|(_, p, rings)| {
                        let b = span(&rings[0]);
                        b[0] < own[2] + AROUND_DEG
                            && b[2] > own[0] - AROUND_DEG
                            && b[1] < own[3] + AROUND_DEG
                            && b[3] > own[1] - AROUND_DEG
                            && (!id || p["parcel_id"] == properties["parcel_id"])
                    });
                    close
                        .filter_map(|(_, _, rings)| outline_of(rings))
                        .collect::<Vec<_>>()
                })
            };
            areas.push(Area {
                set: set.clone(),
                feature: format!("{set}:{k}"),
                buildings: near(&buildings, false),
                pavements: near(&pavements, false),
                parcel: near(&parcels, true),
                outline,
            });
        }
    }
    areas
}

/// Writes an outline and its heads, for pictures.
fn dump(folder: &str, name: &str, outline: &Outline, heads: &[Head]) {
    let rings: Vec<Vec<(f64, f64)>> = outline
        .rings()
        .iter()
        .map(|ring| ring.iter().map(|p| (p.x, p.y)).collect())
        .collect();
    let heads: Vec<serde_json::Value> = heads
        .iter()
        .map(|head| {
            let mut json = serde_json::json!({
                "x": head.at.x, "y": head.at.y, "role": head.role.text(), "q": head.flow.lpm(),
            });
            match head.pattern {
                Pattern::Sector {
                    radius_m,
                    start_deg,
                    sweep_deg,
                } => {
                    json["r"] = radius_m.into();
                    json["a"] = start_deg.into();
                    json["w"] = sweep_deg.into();
                }
                Pattern::Strip {
                    kind,
                    length_m,
                    width_m,
                    azimuth_deg,
                } => {
                    json["kind"] = format!("{kind:?}").into();
                    json["l"] = length_m.into();
                    json["sw"] = width_m.into();
                    json["a"] = azimuth_deg.into();
                }
            }
            json
        })
        .collect();
    let text = serde_json::json!({"rings": rings, "heads": heads}).to_string();
    std::fs::write(Path::new(folder).join(format!("{name}.json")), text).unwrap();
}
