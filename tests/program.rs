//! The program from end to end: what parcels cost and are paid, who is chosen under a budget, who
//! is visited, what findings and receipts say. The quarter of Wrenfield of the sample town is
//! planned once by the plain rule.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use serde_json::Value;
use shared::{Ran, evenfall, folder, lawns, names};

/// Water is so dear that something is worth its cost on most parcels.
const PROGRAM: &str = r#"
[prices]
avoided_cur_m3 = 8

[rebate]
per_nozzle_cur = 4
per_claim_cur_m3 = 2.5
cost_share_frac = 0
most_of_cost_frac = 0.4
least_cur = 20

[[eligibility]]
name = "small"
rule = "turf_m2 >= 60 AND baseline_source = 'modelled'"
reason = "little turf"
"#;

fn town() -> String {
    format!("{}/sample-parcels/town", env!("CARGO_MANIFEST_DIR"))
}

/// Plans the quarter into a folder of `home` that holds `program.toml`.
fn plan(home: &Path, out: &str, more: &[&str]) {
    let layer = |name: &str| format!("{}/{name}", town());
    let layers = ["parcels", "turf", "heads", "supply"]
        .map(|role| (format!("--{role}"), layer(&format!("{role}.geojson"))));
    let climate = layer("climate.csv");
    let mut arguments = vec![
        "plan",
        "-q",
        "--effort",
        "rule",
        "--families",
        "rotary-mid",
        "--climate",
        &climate,
        "--where",
        "district = 'Wrenfield'",
        "-o",
        out,
    ];
    for (flag, file) in &layers {
        arguments.extend([flag.as_str(), file.as_str()]);
    }
    arguments.extend(more);
    let ran = evenfall(home, &arguments);
    // The layers of the town hold a few broken lawns.
    assert_eq!(ran.status, Some(1), "{}", ran.stderr);
}

/// The folder of the one run that the tests share, with `program.toml` beside `out`.
fn home() -> &'static Path {
    static HOME: OnceLock<tempfile::TempDir> = OnceLock::new();
    let home = HOME.get_or_init(|| {
        let home = folder();
        fs::write(home.path().join("program.toml"), PROGRAM).unwrap();
        plan(
            home.path(),
            "out",
            &["program.toml", "--by", "district,best_scenario", "-j", "2"],
        );
        home
    });
    home.path()
}

/// The rows of a table, each a map from title to cell.
fn rows(path: &Path) -> Vec<BTreeMap<String, String>> {
    let text = fs::read_to_string(path).unwrap();
    let split = |line: &str| -> Vec<String> {
        let (mut cells, mut cell, mut quoted) = (Vec::new(), String::new(), false);
        for letter in line.chars() {
            match letter {
                '"' => quoted = !quoted,
                ',' if !quoted => cells.push(std::mem::take(&mut cell)),
                other => cell.push(other),
            }
        }
        cells.push(cell);
        cells
    };
    let mut lines = text.lines();
    let titles = split(lines.next().unwrap());
    lines
        .map(|line| titles.iter().cloned().zip(split(line)).collect())
        .collect()
}

fn number(row: &BTreeMap<String, String>, title: &str) -> f64 {
    row[title].parse().unwrap_or(0.0)
}

fn json(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

fn sum(rows: &[BTreeMap<String, String>], title: &str) -> f64 {
    rows.iter().map(|row| number(row, title)).sum()
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!(
        (found - wanted).abs() <= within,
        "{found} is not {wanted} ± {within}"
    );
}

#[test]
fn every_parcel_is_settled_by_the_rules_of_the_program() {
    let parcels = rows(&home().join("out/parcels.csv"));
    let (mut paid, mut closed) = (0, 0);
    for row in &parcels {
        let (claim, cost, rebate) = (
            number(row, "claimed_m3_yr"),
            number(row, "cost_cur"),
            number(row, "rebate_cur"),
        );
        if row["status"] != "planned" || row["best_scenario"].is_empty() {
            assert_eq!(row["eligible"], "", "{row:?}");
            continue;
        }
        let little = number(row, "turf_m2") < 60.0;
        let reason = &row["ineligible_reason"];
        assert_eq!(row["eligible"] == "true", claim > 0.0 && !little, "{row:?}");
        assert_eq!(reason.contains("little turf"), little, "{row:?}");
        assert_eq!(
            reason.contains("nothing may be claimed"),
            claim <= 0.0,
            "{row:?}"
        );
        if row["eligible"] != "true" {
            assert_eq!(rebate, 0.0);
            closed += 1;
            continue;
        }
        // Recomputed by the rule; claims are printed to a litre, costs and rebates to a cent.
        // Present water of what is claimed: ten years at 4 %, 5 % decay; nozzles of 7 years bring
        // the saving back; the claim is the mean over their life.
        let kept: f64 = (1..=7).map(|t| 0.95_f64.powi(t - 1)).sum::<f64>() / 7.0;
        let water: f64 = (1..=10)
            .map(|t| claim / kept * 0.95_f64.powi((t - 1) % 7) / 1.04_f64.powi(t))
            .sum();
        // Recomputed by the rule; claims are printed to a litre, costs and rebates to a cent.
        let parts = 4.0 * number(row, "nozzles") + 2.5 * claim;
        let rule = parts.min(0.4 * cost);
        near(
            number(row, "rebate_rule_cur"),
            if rule < 20.0 { 0.0 } else { rule },
            0.02,
        );
        // Supplier: 8 a cubic metre spared, 40 for papers; no rebate passes that, or the cost.
        let worth = 8.0 * water - 40.0;
        near(number(row, "rebate_worth_cur"), worth, 0.2);
        near(
            number(row, "rebate_worth_nozzle_cur"),
            worth / number(row, "nozzles"),
            0.05,
        );
        let held = rule.min(worth).min(cost);
        near(rebate, if held < 20.0 { 0.0 } else { held }, 0.2);
        if rebate > 0.0 {
            near(
                number(row, "npv_supplier_cur"),
                8.0 * water - rebate - 40.0,
                0.2,
            );
            paid += 1;
        }
        // Present cost lies between all of it lasting like pipes and like nozzles, the visit of 60
        // apart.
        let ends = [1.0 / 3.0, 4.0 / 7.0].map(|left| left);
        let nozzles = 1.0 + 1.04_f64.powi(-7) - ends[1] * 1.04_f64.powi(-10);
        let pipes = 1.0 - (1.0 - ends[0]) * 1.04_f64.powi(-10);
        let present = number(row, "cost_cur_m3") * water;
        assert!(present <= 60.0 + nozzles * (cost - 60.0) + 0.1, "{row:?}");
        assert!(present >= 60.0 + pipes * (cost - 60.0) - 0.1, "{row:?}");
        // Society: what is recommended is worth its cost.
        assert!(number(row, "npv_society_cur") > 0.0, "{row:?}");
        assert!(number(row, "step_cost_cur_m3") < 8.0, "{row:?}");
        assert!(number(row, "breakeven_cur_m3") < 8.0, "{row:?}");
        // Heads are recorded where they were given.
        assert!(["as recorded", "on survey"].contains(&row["rebate_basis"].as_str()));
    }
    assert!(paid >= 5 && closed >= 1, "{paid} {closed}");
}

#[test]
fn the_ranked_list_the_curve_and_the_totals_add_up() {
    let out = home().join("out");
    let parcels = rows(&out.join("parcels.csv"));
    let ranked = rows(&out.join("ranked.csv"));
    let claiming = parcels
        .iter()
        .filter(|row| number(row, "claimed_m3_yr") > 0.0);
    assert_eq!(ranked.len(), claiming.count());
    assert!(ranked.len() >= 10);
    for (at, row) in ranked.iter().enumerate() {
        assert_eq!(number(row, "rank") as usize, at + 1);
        assert_eq!(row["district"], "Wrenfield");
        assert!(number(row, "claimed_p10_m3_yr") <= number(row, "claimed_p90_m3_yr"));
        // No meter table was given.
        assert!(["high", "middle", "low"].contains(&row["tier"].as_str()));
    }
    assert!(ranked.iter().any(|row| row["eligible"] == "false"));
    for pair in ranked.windows(2) {
        for title in ["cost_cur_m3", "sum_claimed_m3_yr", "sum_cost_cur"] {
            assert!(
                number(&pair[0], title) <= number(&pair[1], title),
                "{title}"
            );
        }
    }
    let last = ranked.last().unwrap();
    // Each claim is printed to a litre.
    near(
        number(last, "sum_claimed_m3_yr"),
        sum(&ranked, "claimed_m3_yr"),
        0.02,
    );
    let curve = rows(&out.join("supply_curve.csv"));
    assert!(
        curve.len() > ranked.len(),
        "steps that are not taken stand there too"
    );
    for pair in curve.windows(2) {
        assert!(number(&pair[0], "step_cost_cur_m3") <= number(&pair[1], "step_cost_cur_m3"));
        // Sums are printed to a litre.
        assert!(number(&pair[0], "sum_saved_m3_yr") <= number(&pair[1], "sum_saved_m3_yr") + 0.001);
    }
    let bought: Vec<_> = curve
        .iter()
        .filter(|row| row["within_avoided"] == "true")
        .collect();
    assert!(!bought.is_empty() && bought.len() < curve.len());
    for row in &curve {
        // Society's value is the avoided cost here: what is bought is what is recommended.
        assert_eq!(row["within_avoided"], row["recommended"], "{row:?}");
        assert_eq!(
            row["within_avoided"] == "true",
            number(row, "step_cost_cur_m3") <= 8.0
        );
    }
    let saved: f64 = bought
        .iter()
        .map(|row| number(row, "step_saved_m3_yr"))
        .sum();
    let buy = &json(&out.join("summary.json"))["program"]["purchasable"];
    near(buy["saved_m3_yr"].as_f64().unwrap(), saved, 0.05);
    near(
        buy["least_avoided_cur_m3"].as_f64().unwrap(),
        number(&curve[0], "step_cost_cur_m3"),
        1e-9,
    );
    near(
        buy["rebate_cur"].as_f64().unwrap(),
        sum(&parcels, "rebate_cur"),
        0.05,
    );

    let program = &json(&out.join("summary.json"))["program"];
    for column in ["district", "best_scenario"] {
        let groups = rows(&out.join(format!("by-{column}.csv")));
        let stored = program["by"][column].as_array().unwrap();
        assert_eq!(groups.len(), stored.len());
        for title in ["claimed_m3_yr", "cost_cur", "rebate_cur"] {
            near(
                sum(&groups, title),
                program["totals"][title].as_f64().unwrap(),
                0.05,
            );
            near(sum(&groups, title), sum(&parcels, title), 0.05);
        }
        let count: f64 = sum(&groups, "parcels");
        assert_eq!(count as usize, parcels.len());
    }
    assert_eq!(rows(&out.join("by-district.csv")).len(), 1);
    assert!(rows(&out.join("by-best_scenario.csv")).len() >= 4);
    let refused = program["ineligible"]["little turf"].as_u64().unwrap();
    assert!(refused > 0 && refused < ranked.len() as u64);
}

#[test]
fn threads_chunks_and_the_record_change_no_byte() {
    let home = folder();
    fs::write(home.path().join("program.toml"), PROGRAM).unwrap();
    let by = ["--by", "district,best_scenario"];
    let routes: [(&str, Vec<&str>); 2] = [
        (
            "single",
            [&["program.toml", "-j", "1", "--chunk", "3"], &by[..]].concat(),
        ),
        ("record", vec!["--from", "single/run.json", "-j", "2"]),
    ];
    for (out, how) in routes {
        plan(home.path(), out, &how);
        for name in names(&self::home().join("out")) {
            let read = |path: PathBuf| fs::read(path.join(&name)).unwrap();
            let same = read(self::home().join("out")) == read(home.path().join(out));
            assert!(same, "{name} differs in {out}");
        }
    }
}

/// The most that can be claimed with one option of each parcel, for every budget up to the largest, by
/// dynamic programming over cents.
fn most_claimed(parcels: &[Vec<(u64, f64)>], largest_cents: u64) -> Vec<f64> {
    let mut best = vec![0.0_f64; largest_cents as usize + 1];
    for options in parcels {
        let before = best.clone();
        for &(cents, claim) in options {
            for at in cents as usize..best.len() {
                best[at] = best[at].max(before[at - cents as usize] + claim);
            }
        }
    }
    best
}

#[test]
fn an_allotment_is_the_best_set_within_its_budget() {
    let mut by_parcel: BTreeMap<String, Vec<(u64, f64)>> = BTreeMap::new();
    for row in rows(&home().join("out/supply_curve.csv")) {
        let cents = (number(&row, "rebate_cur") * 100.0).round() as u64;
        if cents > 0 && number(&row, "claimed_m3_yr") > 0.0 && row["within_avoided"] == "true" {
            let own = by_parcel.entry(row["parcel_id"].clone()).or_default();
            own.push((cents, number(&row, "claimed_m3_yr")));
        }
    }
    let parcels: Vec<Vec<(u64, f64)>> = by_parcel.into_values().collect();
    assert!(parcels.len() >= 5, "{}", parcels.len());
    assert!(parcels.iter().any(|options| options.len() > 1));
    let dearest = |options: &Vec<(u64, f64)>| options.iter().map(|one| one.0).max();
    let all_cents: u64 = parcels.iter().filter_map(dearest).sum();
    let most = most_claimed(&parcels, all_cents + 100);
    let mut last = 0.0;
    for share in [0.2, 0.35, 0.5, 0.8, 1.0] {
        let budget = (all_cents as f64 * share) as u64 / 100 + 1;
        let out = format!("allotment-{budget}");
        let ran = evenfall(
            home(),
            &[
                "allot",
                "out",
                "--budget",
                &budget.to_string(),
                "-o",
                &out,
                "--overwrite",
            ],
        );
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        let found = json(&home().join(&out).join("allotment.json"));
        let one = &found["allotment"];
        let claimed = one["claimed_m3_yr"].as_f64().unwrap();
        near(claimed, most[(budget * 100) as usize], 0.002);
        assert_eq!(one["proved"], true);
        assert!(claimed <= one["bound_m3_yr"].as_f64().unwrap() + 1e-3);
        assert!(claimed >= last - 1e-9, "more money claims less");
        last = claimed;
        let chosen = rows(&home().join(&out).join("allotment.csv"));
        assert!(sum(&chosen, "rebate_cur") <= budget as f64);
        near(sum(&chosen, "claimed_m3_yr"), claimed, 1e-3);
        assert_eq!(chosen.len() as u64, one["parcels"].as_u64().unwrap());
        let ids: std::collections::BTreeSet<&String> =
            chosen.iter().map(|row| &row["parcel_id"]).collect();
        assert_eq!(ids.len(), chosen.len(), "one option a parcel");
        let curve = found["curve"].as_array().unwrap();
        for pair in curve.windows(2) {
            let claimed = |row: &Value| row["claimed_m3_yr"].as_f64().unwrap();
            assert!(claimed(&pair[0]) <= claimed(&pair[1]) + 1e-9);
        }
        assert!(
            ran.stdout.contains("proved to be the best"),
            "{}",
            ran.stdout
        );
    }
}

#[test]
fn floors_and_participation_change_who_is_chosen() {
    let allot = |more: &[&str]| {
        let ran = evenfall(
            home(),
            &[&["allot", "out", "-o", "floors", "--overwrite"], more].concat(),
        );
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        json(&home().join("floors/allotment.json"))
    };
    let free = allot(&["--budget", "600"]);
    let free_m3 = free["allotment"]["claimed_m3_yr"].as_f64().unwrap();
    // `best_scenario` is a column of parcels.csv, `district` one of ranked.csv.
    let held = allot(&[
        "--budget",
        "600",
        "--floor",
        "best_scenario=swap:rotary-mid:100",
        "--floor",
        "district=Wrenfield:10",
    ]);
    let floor = &held["floors"][0];
    assert!(floor["given_cur"].as_f64().unwrap() >= 100.0, "{held:#}");
    assert!(held["allotment"]["claimed_m3_yr"].as_f64().unwrap() <= free_m3 + 1e-9);
    let chosen = rows(&home().join("floors/allotment.csv"));
    assert!(
        chosen
            .iter()
            .any(|row| row["scenario"] == "swap:rotary-mid")
    );
    // With half of the invited taking part twice as much may be promised.
    let half = allot(&["--budget", "300", "--participation", "0.5"]);
    near(
        half["allotment"]["claimed_m3_yr"].as_f64().unwrap(),
        free_m3 / 2.0,
        1e-3,
    );
    assert!(half["allotment"]["spent_cur"].as_f64().unwrap() <= 300.0);
}

#[test]
fn a_bad_allotment_has_its_code() {
    let before = names(home());
    for (more, status, code, said) in [
        (&["--budget", "-5"][..], 2, "PR02", "-5"),
        (&["--budget", "nan"], 2, "PR02", "NaN"),
        (&["--budget", "much"], 2, "RU01", "much"),
        (&["--budget", "3"], 9, "PR03", "the cheapest"),
        (&["--budget", "0"], 9, "PR03", "the cheapest"),
        (
            &["--budget", "500", "--participation", "1.2"],
            2,
            "RU01",
            "participation",
        ),
        (
            &["--budget", "500", "--floor", "distrct=Wrenfield:5"],
            8,
            "PR01",
            "`district`",
        ),
        (
            &["--budget", "500", "--floor", "district=Wrenfeld:5"],
            2,
            "PR05",
            "`Wrenfield`",
        ),
        (
            &["--budget", "500", "--floor", "district=Wrenfield:501"],
            2,
            "PR05",
            "501",
        ),
        (
            &["--budget", "500", "--floor", "district=Wrenfield:-1"],
            2,
            "PR05",
            "-1",
        ),
        (
            &["--budget", "500", "--floor", "district"],
            2,
            "PR05",
            "district",
        ),
        (&["--budget", "500", "-o", "out"], 6, "OU01", "out"),
        (
            &["--budget", "500", "-o", "out", "--overwrite"],
            6,
            "OU02",
            "outputs of `plan`",
        ),
    ] {
        let ran = evenfall(home(), &[&["allot", "out"], more].concat());
        assert_eq!(ran.status, Some(status), "{more:?}: {}", ran.stderr);
        assert!(
            ran.stderr.contains(code) && ran.stderr.contains(said),
            "{}",
            ran.stderr
        );
    }
    let ran = evenfall(home(), &["allot", "nowhere", "--budget", "5"]);
    assert_eq!(ran.status, Some(3), "{}", ran.stderr);
    assert!(ran.stderr.contains("OU04"));
    let made: Vec<String> = names(home())
        .into_iter()
        .filter(|name| !before.contains(name))
        .collect();
    assert!(
        made.iter().all(|name| !name.contains("nowhere")),
        "{made:?}"
    );
}

#[test]
fn nobody_to_pay_is_an_answer() {
    let home = folder();
    lawns(home.path(), 2);
    // At the default value of water nothing on such lawns is worth its cost.
    let ran = evenfall(home.path(), &shared::PLAN_BY_RULE);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert_eq!(rows(&home.path().join("out/ranked.csv")).len(), 0);
    for command in [
        &["allot", "out", "--budget", "100"][..],
        &["inspect", "out"],
    ] {
        let ran = evenfall(home.path(), command);
        assert_eq!(ran.status, Some(9), "{}", ran.stderr);
        assert!(ran.stderr.contains("PR04"), "{}", ran.stderr);
    }
}

/// What the defaults recommend is worth its cost, and where a cubic metre is worth 6 something is
/// recommended on both sample sets.
#[test]
fn the_samples_change_what_is_worth_it_and_no_more() {
    let campus = format!("{}/sample-parcels/campus", env!("CARGO_MANIFEST_DIR"));
    let home = folder();
    let (mut left, mut changed) = (0, 0);
    for value in ["0.9", "6"] {
        let price = format!("prices.avoided_cur_m3={value}");
        plan(
            home.path(),
            &format!("town-{value}"),
            &["--set", &price, "--layers", "turf"],
        );
        let out = format!("campus-{value}");
        let mut arguments = vec![
            "plan", "-q", "--effort", "rule", "--layers", "turf", "-o", &out,
        ];
        let layers = ["turf", "heads", "supply"]
            .map(|role| (format!("--{role}"), format!("{campus}/{role}.geojson")));
        for (flag, file) in &layers {
            arguments.extend([flag.as_str(), file.as_str()]);
        }
        let climate = format!("{}/climate.csv", town());
        arguments.extend(["--climate", &climate, "--set", &price]);
        let ran = evenfall(home.path(), &arguments);
        assert_eq!(ran.status, Some(0), "{}", ran.stderr);
        for set in ["town", "campus"] {
            let decision =
                &json(&home.path().join(format!("{set}-{value}/summary.json")))["decision"];
            let number = |name: &str| decision[name].as_f64().unwrap();
            assert_eq!(decision["perspective"], "society");
            assert!(
                number("npv_cur") >= 0.0 && number("regret_cur") >= 0.0,
                "{decision:#}"
            );
            match number("parcels_changed") > 0.0 {
                true => {
                    changed += 1;
                    assert!(number("npv_cur") > 0.0 && number("cost_cur") > 0.0);
                }
                false => left += 1,
            }
            if value == "6" {
                assert!(number("parcels_changed") > 0.0, "{set}: {decision:#}");
                assert!(number("next_cur_m3") >= 6.0);
            }
            for row in rows(&home.path().join(format!("{set}-{value}/parcels.csv"))) {
                if row["npv_society_cur"].is_empty() {
                    continue;
                }
                assert!(self::number(&row, "npv_society_cur") > 0.0, "{row:?}");
                assert!(self::number(&row, "step_cost_cur_m3") <= value.parse().unwrap());
            }
        }
    }
    assert!(changed >= 2 && left + changed == 4, "{left} {changed}");
}

/// The form of the shared run.
fn form(more: &[&str]) -> String {
    let ran = evenfall(home(), &[&["inspect", "out"], more].concat());
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    ran.stdout
}

/// A form filled in: every visited parcel as planned but for what `change` makes of it.
fn filled(form: &str, change: impl Fn(usize, &mut BTreeMap<&str, String>)) -> String {
    let mut lines = form.lines();
    let titles: Vec<&str> = lines.next().unwrap().split(',').collect();
    let mut out = format!("{}\n", titles.join(","));
    for (at, line) in lines.enumerate() {
        let mut row: BTreeMap<&str, String> = titles
            .iter()
            .copied()
            .zip(line.split(',').map(str::to_owned))
            .collect();
        for (filled, from) in [("nozzles_found", "nozzles"), ("bodies_found", "bodies")] {
            let planned = row[from].clone();
            row.insert(filled, planned);
        }
        row.insert("stations_whole", "yes".to_owned());
        row.insert("clock_reset", "yes".to_owned());
        change(at, &mut row);
        let cells: Vec<String> = titles.iter().map(|title| row[title].clone()).collect();
        out.push_str(&format!("{}\n", cells.join(",")));
    }
    out
}

fn findings(name: &str, text: &str) -> Ran {
    fs::write(home().join(name), text).unwrap();
    evenfall(home(), &["inspect", "out", "--findings", name])
}

#[test]
fn the_sample_is_seeded_and_reaches_every_stratum() {
    let text = form(&[]);
    assert_eq!(text, form(&[]));
    fs::write(home().join("drawn.csv"), &text).unwrap();
    let drawn = rows(&home().join("drawn.csv"));
    let open: Vec<BTreeMap<String, String>> = rows(&home().join("out/parcels.csv"))
        .into_iter()
        .filter(|row| row["eligible"] == "true")
        .collect();
    let mut strata: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    for row in &open {
        let visits = drawn
            .iter()
            .filter(|visit| visit["parcel_id"] == row["parcel_id"]);
        let own = strata.entry(&row["best_scenario"]).or_default();
        own[0] += 1;
        let visited = visits.count();
        own[1] += visited;
        if row["flags"]
            .split(';')
            .any(|flag| flag == "saving-above-evidence")
        {
            assert_eq!(visited, 1, "{row:?}");
        }
    }
    assert!(strata.len() >= 2);
    for (stratum, [parcels, visits]) in strata {
        assert!(
            visits >= 1 && visits * 10 >= parcels,
            "{stratum}: {visits} of {parcels}"
        );
    }
    let tests = drawn
        .iter()
        .filter(|row| row["catch_test"] == "yes")
        .count();
    assert_eq!(tests, drawn.len().div_ceil(4));
    // Everybody with a claim of 1 m³ is visited if that counts as large.
    fs::write(home().join("large.csv"), form(&["--large", "1"])).unwrap();
    let large = rows(&home().join("large.csv"));
    let wanted = open
        .iter()
        .filter(|row| number(row, "claimed_m3_yr") >= 1.0)
        .count();
    assert_eq!(
        large
            .iter()
            .filter(|row| row["why"] == "large-claim")
            .count(),
        wanted
    );
}

#[test]
fn findings_give_the_realisation_to_plan_with() {
    let form = form(&[]);
    let visits = form.lines().count() - 1;
    assert!(visits >= 3);
    let ran = findings("whole.csv", &filled(&form, |_, _| {}));
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    assert!(
        ran.stdout
            .contains("claimed: 1.000 (90 % interval 1.000 to 1.000)"),
        "{}",
        ran.stdout
    );
    assert!(
        ran.stdout.contains("savings.realisation_frac=0.8000"),
        "{}",
        ran.stdout
    );
    // What was measured goes before what was counted; a fifth of every claim.
    let fifth = filled(&form, |_, row| {
        let claim: f64 = row["claimed_m3_yr"].parse().unwrap();
        row.insert("verified_m3_yr", format!("{}", claim / 5.0));
        row.insert("catch_du_lq", "0.5".to_owned());
    });
    let ran = findings("fifth.csv", &fifth);
    assert!(ran.stdout.contains("claimed: 0.200"), "{}", ran.stdout);
    assert!(
        ran.stdout.contains("realisation_frac=0.1600"),
        "{}",
        ran.stdout
    );
    assert!(ran.stdout.contains("mean DU 0.50"), "{}", ran.stdout);
    // A clock that was not reset verifies nothing, a mixed station neither.
    let none = filled(&form, |at, row| {
        let title = if at % 2 == 0 {
            "clock_reset"
        } else {
            "stations_whole"
        };
        row.insert(title, "no".to_owned());
    });
    let ran = findings("none.csv", &none);
    assert!(ran.stdout.contains("claimed: 0.000"), "{}", ran.stdout);
    // The ratio is taken up by the next plan.
    plan(
        home(),
        "again",
        &["program.toml", "--set", "savings.realisation_frac=0.1"],
    );
    let claims =
        |out: &str| json(&home().join(out).join("summary.json"))["water"]["claimed_m3_yr"].as_f64();
    assert!(claims("again").unwrap() < 0.5 * claims("out").unwrap());
}

#[test]
fn a_share_below_its_bound_is_refused() {
    let ran = evenfall(home(), &["inspect", "out", "--share", "0.01"]);
    assert_eq!(ran.status, Some(8), "{}", ran.stderr);
}

#[test]
fn receipts_are_paid_by_counts_up_to_the_ceiling_and_looked_at() {
    let parcels = rows(&home().join("out/parcels.csv"));
    let open: Vec<&BTreeMap<String, String>> = parcels
        .iter()
        .filter(|row| number(row, "rebate_cur") > 40.0)
        .take(3)
        .collect();
    let shut = parcels
        .iter()
        .find(|row| row["ineligible_reason"].contains("little turf"))
        .unwrap();
    let [a, b, c] = open[..] else {
        panic!("{} parcels", open.len())
    };
    let line = |row: &BTreeMap<String, String>, no: &str, nozzles: f64, address: &str| {
        format!(
            "{},{no},2026-05-01,{nozzles},0,900,{address}\n",
            row["parcel_id"]
        )
    };
    let plan = |row| number(row, "nozzles");
    let text = format!(
        "parcel_id,receipt_no,date,nozzles,bodies,paid_cur,address\n{}{}{}{}99999,R9,2026-05-01,1,0,9,\n",
        line(a, "R1", (plan(a) / 2.0).floor(), "1 Elm Street"),
        line(b, "R2", (plan(b) * 1.2).floor() + 1.0, "2 Elm Street"),
        line(c, "R2", plan(c), "2 ELM street"),
        line(shut, "R4", 1.0, ""),
    );
    fs::write(home().join("receipts-in.csv"), text).unwrap();
    let ran = evenfall(
        home(),
        &[
            "inspect",
            "out",
            "--receipts",
            "receipts-in.csv",
            "-o",
            "visits",
            "--overwrite",
        ],
    );
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let checked = rows(&home().join("visits/receipts.csv"));
    let look: Vec<&str> = checked.iter().map(|row| row["look"].as_str()).collect();
    assert_eq!(
        look,
        [
            "",
            "over-plan;duplicate-address;duplicate-receipt",
            "duplicate-address;duplicate-receipt",
            "not-eligible",
            "unknown-parcel"
        ]
    );
    // Half the nozzles: 4 each and 2.50 for each claimed m³, at most 0.4 of what was paid.
    let counted = 4.0 * (plan(a) / 2.0).floor() + 2.5 * number(a, "claimed_m3_yr");
    let held = counted.min(360.0).min(number(a, "rebate_cur"));
    near(number(&checked[0], "payable_cur"), held, 0.02);
    for row in &checked {
        assert!(number(row, "payable_cur") <= number(row, "ceiling_cur") + 1e-9);
    }
    // Who asks for a look is visited.
    let visits = rows(&home().join("visits/form.csv"));
    for row in [b, c] {
        let visit = visits
            .iter()
            .find(|visit| visit["parcel_id"] == row["parcel_id"]);
        assert_eq!(visit.unwrap()["why"], "flagged");
    }
}

#[test]
fn a_bad_program_file_has_its_code_line_and_hint() {
    let home = folder();
    lawns(home.path(), 1);
    for (text, code, said) in [
        (
            "[rebate]\nper_nozle_cur = 3\n",
            "AS01",
            "line 2: `rebate.per_nozle_cur`; did you mean `rebate.per_nozzle_cur`?",
        ),
        ("[rebat]\nleast_cur = 3\n", "AS01", "`rebate.least_cur`"),
        (
            "[prices]\nwater_cur_m3 = -1\n",
            "AS02",
            "line 2: prices.water_cur_m3 = -1; allowed are 0 to 100",
        ),
        (
            "[rebate]\ncost_share_frac = 1.5\n",
            "AS02",
            "allowed are 0 to 1",
        ),
        (
            "[rebate]\nmost_of_cost_frac = 50\n",
            "AS02",
            "allowed are 0 to 1",
        ),
        (
            "[discount]\nrate_frac_yr = -0.1\n",
            "AS02",
            "allowed are 0 to 0.3",
        ),
        (
            "[[eligibility]]\nname = 'a'\nrule = 'turf_m > 3'\n",
            "PR01",
            "did you mean `turf_m2`?",
        ),
        (
            "[[eligibility]]\nname = 'a'\nrule = 'turf_m2 >'\n",
            "AS03",
            "`a`",
        ),
        (
            "[[eligibility]]\nname = 'a'\nrul = 'turf_m2 > 3'\n",
            "AS03",
            "line 1: [[eligibility]] has no key `rul`; did you mean `rule`?",
        ),
        ("[[eligibility]]\nname = 'a'\n", "AS03", "has no key `rule`"),
        (
            "[[eligibility]]\nname = 'new-bild'\napply = false\n",
            "PR01",
            "`new-build`",
        ),
        ("[eligibility]\nname = 'a'\n", "AS03", "eligibility"),
    ] {
        fs::write(home.path().join("p.toml"), text).unwrap();
        for command in [
            &["check", "p.toml", "--turf", "turf.geojson"][..],
            &[
                "plan",
                "p.toml",
                "--turf",
                "turf.geojson",
                "-o",
                "out",
                "-q",
                "--effort",
                "rule",
            ],
        ] {
            let ran = evenfall(home.path(), command);
            assert_eq!(ran.status, Some(8), "{text}: {}", ran.stderr);
            assert!(
                ran.stderr.contains(code) && ran.stderr.contains(said),
                "{text}: {}",
                ran.stderr
            );
        }
    }
    let ran = evenfall(
        home.path(),
        &[
            "plan",
            "--turf",
            "turf.geojson",
            "--by",
            "distrct,parcel_i",
            "-o",
            "out",
            "-q",
        ],
    );
    assert_eq!(ran.status, Some(8), "{}", ran.stderr);
    assert!(
        ran.stderr.contains("PR01") && ran.stderr.contains("distrct"),
        "{}",
        ran.stderr
    );
    assert_eq!(names(home.path()), ["p.toml", "turf.geojson"]);
}
