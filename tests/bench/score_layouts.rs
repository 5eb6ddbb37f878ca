//! Scores layouts of whole data sets by effort and by what is favoured; for those who work on `place`.

#![allow(clippy::unwrap_used, reason = "a bench may panic")]

use evenfall::catalogue::Catalogue;
use evenfall::crs::Frame;
use evenfall::place;
use evenfall::place::{Effort, Favour};
use evenfall::shape::Outline;
use evenfall::uniformity::{Surroundings, measure};

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let data = &args[1];
    let effort = match args[2].as_str() {
        "rule" => Effort::Rule,
        "fast" => Effort::Fast,
        "normal" => Effort::Normal,
        _ => Effort::Thorough,
    };
    let favour = match args[3].as_str() {
        "heads" => Favour::Heads,
        "balance" => Favour::Balance,
        _ => Favour::Evenness,
    };
    let pool = args[4] == "pool";
    let narrow = args[4] == "narrow";
    let catalogue = Catalogue::generic();
    println!(
        "feature,lon,lat,area_m2,w_m,family,radius_m,heads,rate_mm_h,du_lq,du_lq_robust,dry_frac,twice_frac,weak_frac,h2h_frac,over_frac,seconds,placed,drip_m2,strips,groups"
    );
    for set in [
        "campus_rockville_us",
        "neighbourhood_bubenec_cz",
        "neighbourhood_cornillon_fr",
        "parks_bangor_us",
    ] {
        let text = std::fs::read_to_string(format!("{data}/{set}/turf.geojson")).unwrap();
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        for (k, feature) in json["features"].as_array().unwrap().iter().enumerate() {
            let rings: Vec<Vec<(f64, f64)>> = feature["geometry"]["coordinates"]
                .as_array()
                .unwrap()
                .iter()
                .map(|r| {
                    r.as_array()
                        .unwrap()
                        .iter()
                        .map(|p| (p[0].as_f64().unwrap(), p[1].as_f64().unwrap()))
                        .collect()
                })
                .collect();
            let n = rings[0].len() as f64;
            let frame = Frame::about(
                rings[0].iter().map(|p| p.0).sum::<f64>() / n,
                rings[0].iter().map(|p| p.1).sum::<f64>() / n,
            );
            let plane = |r: &Vec<(f64, f64)>| {
                r.iter()
                    .map(|&(x, y)| frame.to_plane(x, y))
                    .collect::<Vec<_>>()
            };
            let Some(outline) =
                Outline::new(plane(&rings[0]), rings[1..].iter().map(plane).collect())
            else {
                continue;
            };
            if pool
                && !(outline.area_m2() >= 50.0
                    && outline.area_m2() <= 1500.0
                    && outline.width_m() >= 5.0)
            {
                continue;
            }
            if narrow && outline.width_m() >= 5.0 {
                continue;
            }
            for family in &catalogue.families {
                if pool && family.name == "spray" {
                    continue;
                }
                let start = cpu_s();
                let site = place::Site::open(&outline);
                let throw_m = place::rule_throw_m(&site, family);
                let layout = place::layout_in_parts(&site, family, effort, favour);
                let heads = &layout.heads;
                let placed = cpu_s() - start;
                let watered = layout.watered.as_ref().unwrap_or(&outline);
                let u = measure(watered, heads, &family.profile, &Surroundings::default());
                if let Ok(dir) = std::env::var("DUMP") {
                    dump(&dir, &format!("{set}:{k}:{}", family.name), &outline, heads);
                }
                let seconds = cpu_s() - start;
                let Some(u) = u else { continue };
                println!(
                    "{set}:{k},0,0,{:.1},{:.2},{},{},{},{:.4},{:.4},{:.4},{:.4},{:.4},{:.4},{:.4},{:.4},{seconds:.6},{placed:.6},{:.2},{},{}",
                    outline.area_m2(),
                    outline.width_m(),
                    family.name,
                    throw_m,
                    heads.len(),
                    u.rate_mm_h,
                    u.du_lq,
                    u.du_lq_robust,
                    u.dry_frac,
                    u.twice_frac,
                    u.weak_frac,
                    u.h2h_frac,
                    u.over_frac,
                    layout.drip_m2,
                    heads
                        .iter()
                        .filter(|h| h.role == place::Role::Strip)
                        .count(),
                    layout.groups.iter().max().unwrap_or(&0)
                );
            }
        }
    }
}

fn dump(dir: &str, name: &str, outline: &Outline, heads: &[place::Head]) {
    let rings: Vec<Vec<(f64, f64)>> = outline
        .rings()
        .iter()
        .map(|r| r.iter().map(|p| (p.x, p.y)).collect())
        .collect();
    let hs: Vec<serde_json::Value> = heads.iter().map(|h| match h.pattern {
        place::Pattern::Sector { radius_m, start_deg, sweep_deg } => serde_json::json!({"x": h.at.x, "y": h.at.y, "role": h.role.text(), "r": radius_m, "a": start_deg, "w": sweep_deg, "q": h.flow.lpm()}),
        place::Pattern::Strip { length_m, width_m, azimuth_deg, kind } => serde_json::json!({"x": h.at.x, "y": h.at.y, "role": h.role.text(), "l": length_m, "sw": width_m, "a": azimuth_deg, "kind": format!("{kind:?}"), "q": h.flow.lpm()}),
    }).collect();
    std::fs::write(
        format!("{dir}/{name}.json"),
        serde_json::json!({"rings": rings, "heads": hs}).to_string(),
    )
    .unwrap();
}

fn cpu_s() -> f64 {
    std::thread::yield_now();
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap();
    text.split(' ').next().unwrap().parse::<f64>().unwrap() / 1e9
}
