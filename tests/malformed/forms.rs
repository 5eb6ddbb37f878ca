//! Tables that people fill in, with one defect each: catch cans, what a crew built, what an inspector
//! found, receipts.

use std::fs;
use std::path::Path;
use std::sync::OnceLock;

use super::shared::{evenfall, folder};

/// A plan of a few parcels of the sample town, of which two may be paid.
fn planned() -> &'static Path {
    static HOME: OnceLock<tempfile::TempDir> = OnceLock::new();
    let home = HOME.get_or_init(|| {
        let home = folder();
        let town = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-parcels/town");
        let layers = ["parcels", "turf", "heads", "supply"].map(|role| {
            let file = town.join(format!("{role}.geojson"));
            (format!("--{role}"), file.display().to_string())
        });
        let some = "parcel_id > '00014' AND parcel_id < '00031'";
        let mut command = vec!["plan", "-o", "out", "-q", "--effort", "rule"];
        command.extend(["--families", "rotary-mid", "--where", some]);
        // So that water is worth new nozzles, and a rebate.
        command.extend(["--set", "prices.avoided_cur_m3=90"]);
        for (flag, file) in &layers {
            command.extend([flag.as_str(), file.as_str()]);
        }
        let ran = evenfall(home.path(), &command);
        assert!(home.path().join("out/run.json").exists(), "{}", ran.stderr);
        home
    });
    home.path()
}

/// A filled-in table, the exit status, and the code.
type Row = (&'static str, String, i32, &'static str);

/// Runs a command over each table, and prints how many end with their code. `sound` ends well.
fn check(kind: &str, command: &[&str], sound: &str, rows: &[Row]) {
    let home = planned();
    let name = command[command.len() - 1];
    let run = |text: &str| {
        fs::write(home.join(name), text).unwrap();
        evenfall(home, command)
    };
    let ran = run(sound);
    assert_eq!(ran.status, Some(0), "{kind}: {}{}", ran.stdout, ran.stderr);
    let mut passed = 0;
    for (what, text, status, code) in rows {
        assert!(text != sound, "{kind}, {what}");
        let ran = run(text);
        assert_eq!(ran.status, Some(*status), "{kind}, {what}: {}", ran.stderr);
        let told = ran.stderr.contains(&format!("{code} "));
        assert!(told, "{kind}, {what}: {code} wanted, {}", ran.stderr);
        passed += 1;
    }
    println!("score: malformed {kind}: {passed} of {}", rows.len());
}

/// The text with one piece changed, once.
fn changed(text: &str, from: &str, to: &str) -> String {
    let with = text.replacen(from, to, 1);
    assert!(with != text, "{from} is not there: {text}");
    with
}

#[test]
fn defects_of_catch_cans() {
    let sound = "x_m,y_m,depth_mm,run_min\n0,0,8,15\n1,0,9,15\n0,1,7,15\n1,1,8,15\n";
    let with = |from: &str, to: &str| changed(sound, from, to);
    let volumes = sound.replace("depth_mm", "volume_ml");
    let rows = [
        ("an empty table", String::new(), 4, "IN08"),
        ("titles alone", "depth_mm\n".to_owned(), 4, "AU02"),
        ("no readings", with("depth_mm", "colour"), 4, "AU04"),
        ("volumes of unknown cans", volumes, 4, "AU04"),
        (
            "a reading that is a word",
            with("1,0,9", "1,0,nine"),
            4,
            "IN07",
        ),
        ("an endless reading", with("1,0,9", "1,0,1e999"), 4, "IN07"),
        (
            "a comma for a point",
            with("1,0,9", "1,0,\"9,5\""),
            4,
            "IN22",
        ),
        ("a negative reading", with("1,0,9", "1,0,-9"), 4, "AU01"),
        ("three cans", with("1,1,8,15\n", ""), 4, "AU02"),
        (
            "a can that was knocked over",
            with("1,0,9", "1,0,"),
            4,
            "AU02",
        ),
        ("dry cans", "depth_mm\n0\n0\n0\n0\n".to_owned(), 4, "AU03"),
        (
            "a place that is a word",
            with("1,0,9", "east,0,9"),
            4,
            "IN07",
        ),
        ("no run time", with("1,0,9,15", "1,0,9,0"), 4, "IN07"),
        (
            "a negative run time",
            with("1,0,9,15", "1,0,9,-15"),
            4,
            "IN07",
        ),
        ("run times for some", with("1,0,9,15", "1,0,9,"), 4, "IN07"),
    ];
    check("catch cans", &["audit", "cans.csv"], sound, &rows);
}

/// The crew's list of parcel 00018, its first head filled in.
fn as_built() -> String {
    let walk = fs::read_to_string(planned().join("out/walk.csv")).unwrap();
    let mut lines = walk.lines();
    let titles = lines.next().unwrap();
    let place = |title: &str| titles.split(',').position(|own| own == title).unwrap();
    let mut out = format!("{titles}\n");
    let own = lines.filter(|line| line.starts_with("00018,"));
    let mut is_filled = false;
    for line in own {
        let mut cells: Vec<&str> = line.split(',').collect();
        if !is_filled && !cells[place("head_id")].is_empty() {
            let built = [
                ("nozzle", "spray-30"),
                ("arc_deg", "90"),
                ("throw_m", "2.9"),
                ("minutes", "20"),
                ("kpa", "205"),
                ("note", "seen"),
            ];
            for (column, value) in built {
                cells[place(&format!("as_built_{column}"))] = value;
            }
            is_filled = true;
        }
        out += &(cells.join(",") + "\n");
    }
    assert!(is_filled, "{out}");
    out
}

#[test]
fn defects_of_lists_as_built() {
    let sound = as_built();
    let with = |from: &str, to: &str| changed(&sound, from, to);
    let cell = ",spray-30,90,2.9,20,205,seen";
    let rows = [
        ("an empty table", String::new(), 4, "PA04"),
        (
            "titles alone",
            sound.lines().next().unwrap().to_owned(),
            4,
            "PA04",
        ),
        (
            "no column of what was built",
            sound.replace("as_built_", ""),
            4,
            "PA04",
        ),
        ("another parcel", sound.replace("00018", "00008"), 4, "PA04"),
        (
            "zeros lost by a spreadsheet",
            sound.replace("\n00018,", "\n18,"),
            4,
            "PA04",
        ),
        (
            "a head that is not planned",
            with("00018#1/swap:rotary-mid/1,", "00018#1/swap:rotary-mid/999,"),
            4,
            "PA04",
        ),
        (
            "an arc that is a word",
            with(cell, ",spray-30,right,2.9,20,205,seen"),
            4,
            "IN07",
        ),
        (
            "a throw that is a word",
            with(cell, ",spray-30,90,far,20,205,seen"),
            4,
            "IN07",
        ),
        (
            "minutes that are a word",
            with(cell, ",spray-30,90,2.9,ten,205,seen"),
            4,
            "IN07",
        ),
        (
            "a pressure that is a word",
            with(cell, ",spray-30,90,2.9,20,high,seen"),
            4,
            "IN07",
        ),
        (
            "an endless arc",
            with(cell, ",spray-30,1e999,2.9,20,205,seen"),
            4,
            "IN07",
        ),
        (
            "a negative throw",
            with(cell, ",spray-30,90,-2.9,20,205,seen"),
            4,
            "IN07",
        ),
        (
            "a quote that is not closed",
            with(",seen", ",\"seen"),
            4,
            "PA04",
        ),
    ];
    let command = [
        "sheet",
        "out",
        "00018",
        "-o",
        "built.html",
        "--overwrite",
        "--asbuilt",
        "asbuilt.csv",
    ];
    check("lists as built", &command, &sound, &rows);
    let mut none = command;
    none[7] = "none.csv";
    let ran = evenfall(planned(), &none);
    assert_eq!(ran.status, Some(3), "{}", ran.stderr);
    assert!(ran.stderr.contains("IN01"), "{}", ran.stderr);
}

/// The form of the two visits, filled in as planned.
fn form() -> String {
    let ran = evenfall(planned(), &["inspect", "out", "-q"]);
    assert_eq!(ran.status, Some(0), "{}", ran.stderr);
    let mut lines = ran.stdout.lines();
    let titles: Vec<&str> = lines.next().unwrap().split(',').collect();
    let place = |title: &str| titles.iter().position(|own| *own == title).unwrap();
    let mut out = titles.join(",") + "\n";
    for line in lines {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        for (filled, from) in [("nozzles_found", "nozzles"), ("bodies_found", "bodies")] {
            cells[place(filled)] = cells[place(from)].clone();
        }
        cells[place("stations_whole")] = "yes".to_owned();
        cells[place("clock_reset")] = "yes".to_owned();
        out += &(cells.join(",") + "\n");
    }
    assert!(out.lines().count() >= 3, "{out}");
    out
}

#[test]
fn defects_of_findings() {
    let sound = form();
    let titles: Vec<&str> = sound.lines().next().unwrap().split(',').collect();
    // A cell of the first visit.
    let set = |title: &str, value: &str| {
        let place = titles.iter().position(|own| *own == title).unwrap();
        let lines = sound.lines().enumerate().map(|(at, line)| {
            let mut cells: Vec<&str> = line.split(',').collect();
            if at == 1 {
                cells[place] = value;
            }
            cells.join(",") + "\n"
        });
        lines.collect::<String>()
    };
    let lines: Vec<&str> = sound.lines().collect();
    let second = lines[2].split(',').next().unwrap();
    let blank = |line: &str| {
        let cells: Vec<&str> = line.split(',').take(9).collect();
        format!("{}{}", cells.join(","), ",".repeat(titles.len() - 9))
    };
    let rows = [
        ("an empty table", String::new(), 4, "IN08"),
        ("no parcels", changed(&sound, "parcel_id", "lot"), 4, "IN08"),
        (
            "a title that is mistyped",
            changed(&sound, "clock_reset", "clok_reset"),
            4,
            "IN08",
        ),
        (
            "no count of bodies",
            changed(&sound, "bodies_found", "bodies_seen"),
            4,
            "IN08",
        ),
        (
            "a count that is a word",
            set("nozzles_found", "many"),
            4,
            "IN07",
        ),
        ("a negative count", set("nozzles_found", "-1"), 4, "IN07"),
        ("half a nozzle", set("nozzles_found", "2.5"), 4, "IN07"),
        (
            "no count on a visited parcel",
            set("nozzles_found", ""),
            4,
            "IN07",
        ),
        (
            "no count of planned bodies",
            set("bodies_found", ""),
            4,
            "IN07",
        ),
        (
            "whole, perhaps",
            set("stations_whole", "perhaps"),
            4,
            "IN07",
        ),
        (
            "no word of the stations",
            set("stations_whole", ""),
            4,
            "IN07",
        ),
        ("reset, perhaps", set("clock_reset", "perhaps"), 4, "IN07"),
        ("no word of the clock", set("clock_reset", ""), 4, "IN07"),
        (
            "a uniformity in per cent",
            set("catch_du_lq", "55"),
            4,
            "IN07",
        ),
        (
            "a negative uniformity",
            set("catch_du_lq", "-0.5"),
            4,
            "IN07",
        ),
        (
            "a pressure that is a word",
            set("far_kpa", "high"),
            4,
            "IN07",
        ),
        ("a negative pressure", set("far_kpa", "-200"), 4, "IN07"),
        (
            "a volume that is a word",
            set("verified_m3_yr", "much"),
            4,
            "IN07",
        ),
        (
            "a quote that is not closed",
            set("note", "\"seen"),
            4,
            "IN07",
        ),
        (
            "a parcel that is not in the sample",
            set("parcel_id", "99999"),
            4,
            "PR06",
        ),
        ("the same parcel twice", set("parcel_id", second), 4, "IN09"),
        (
            "a visit that is missing",
            format!("{}\n{}\n", lines[0], lines[1]),
            1,
            "PR07",
        ),
        (
            "nothing filled in",
            format!("{}\n{}\n{}\n", lines[0], blank(lines[1]), blank(lines[2])),
            9,
            "PR08",
        ),
    ];
    let command = ["inspect", "out", "--findings", "found.csv"];
    check("findings", &command, &sound, &rows);
}

#[test]
fn defects_of_receipts() {
    let sound = "parcel_id,receipt_no,nozzles,bodies,paid_cur,address\n\
                 00018,R1,10,2,400,1 Elm Street\n00026,R2,5,0,150,2 Elm Street\n";
    let with = |from: &str, to: &str| changed(sound, from, to);
    let rows = [
        ("an empty table", String::new(), 4, "IN08"),
        (
            "titles alone",
            "parcel_id,receipt_no\n".to_owned(),
            9,
            "IN05",
        ),
        ("no parcels", with("parcel_id", "lot"), 4, "IN08"),
        (
            "no numbers of receipts",
            with("receipt_no", "date"),
            4,
            "IN08",
        ),
        ("an empty parcel", with("\n00018,", "\n,"), 4, "IN07"),
        ("an empty number", with(",R1,", ",,"), 4, "IN07"),
        ("a count that is a word", with("R1,10", "R1,ten"), 4, "IN07"),
        ("a negative count", with("R1,10", "R1,-10"), 4, "IN07"),
        ("half a nozzle", with("R1,10", "R1,10.5"), 4, "IN07"),
        ("a count beyond belief", with("R1,10", "R1,1e12"), 4, "IN07"),
        (
            "bodies that are a word",
            with("R1,10,2", "R1,10,two"),
            4,
            "IN07",
        ),
        ("a price that is a word", with("2,400", "2,dear"), 4, "IN07"),
        ("a negative price", with("2,400", "2,-400"), 4, "IN07"),
        ("an endless price", with("2,400", "2,1e999"), 4, "IN07"),
        (
            "a quote that is not closed",
            with("2 Elm", "\"2 Elm"),
            4,
            "IN07",
        ),
    ];
    check(
        "receipts",
        &["inspect", "out", "-q", "--receipts", "receipts.csv"],
        sound,
        &rows,
    );
}
