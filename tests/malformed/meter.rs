//! Tables of water meters with one defect each.

use evenfall::issue::Code;

use super::outcome::{ALL, Case, Given, check};

const TITLES: &str = "parcel_id,start,end,m3\n";

/// A year of reads of each parcel.
fn year() -> String {
    let mut table = TITLES.to_owned();
    for parcel in ALL {
        for (start, end) in [
            ("2023-01-01", "2023-04-01"),
            ("2023-04-01", "2023-07-01"),
            ("2023-07-01", "2023-10-01"),
            ("2023-10-01", "2024-01-01"),
        ] {
            table += &format!("{parcel},{start},{end},30\n");
        }
    }
    table
}

fn with(table: String) -> Given {
    Given {
        meter: Some(table),
        ..Given::lawns()
    }
}

#[test]
fn defects_of_meters() {
    let sound = year();
    let changed = |from: &str, to: &str| {
        let table = sound.replacen(from, to, 1);
        assert!(table != sound, "{from} is not there");
        table
    };
    // The second parcel with these quarters alone; the first and the last hold the winter.
    let only = |quarters: std::ops::RangeInclusive<usize>| {
        let mut quarter = 0;
        let kept = sound.lines().filter(|line| {
            let is_own = line.starts_with("2,");
            quarter += usize::from(is_own);
            !is_own || quarters.contains(&quarter)
        });
        kept.collect::<Vec<&str>>().join("\n")
    };
    let second = "2,2023-04-01,2023-07-01,30";
    let fatal = [
        ("an empty table", String::new(), Code::IN08),
        ("no id", changed("parcel_id", "lot"), Code::IN08),
        ("no end", changed(",end", ",until"), Code::IN08),
        ("no volume", changed(",m3", ",volume"), Code::IN08),
        ("an empty id", changed("\n2,", "\n,"), Code::IN07),
        (
            "a day that is none",
            changed(second, "2,2023-04-31,2023-07-01,30"),
            Code::IN07,
        ),
        (
            "a day in an order that nothing settles",
            changed(second, "2,01/04/2023,2023-07-01,30"),
            Code::IN23,
        ),
        (
            "a volume that is a word",
            changed(second, "2,2023-04-01,2023-07-01,much"),
            Code::IN07,
        ),
        (
            "a comma for a point",
            changed(second, "2,2023-04-01,2023-07-01,\"3,5\""),
            Code::IN22,
        ),
    ];
    let notes = [
        (
            "a negative volume",
            changed(second, "2,2023-04-01,2023-07-01,-3"),
            Code::ME03,
        ),
        (
            "a volume beyond belief",
            changed(second, "2,2023-04-01,2023-07-01,3e9"),
            Code::ME03,
        ),
        (
            "a period that ends before it starts",
            changed(second, "2,2023-04-01,2023-03-01,30"),
            Code::ME01,
        ),
        (
            "a period without days",
            changed(second, "2,2023-04-01,2023-04-01,30"),
            Code::ME01,
        ),
        (
            "periods that overlap",
            changed(second, "2,2023-03-25,2023-07-01,30"),
            Code::ME01,
        ),
        ("no read of the winter", only(2..=3), Code::ME02),
        ("no read of the season", only(1..=1), Code::ME02),
        (
            "an id without its parcel",
            format!("{sound}00002,2023-01-01,2023-04-01,30\n"),
            Code::ME04,
        ),
    ];
    let cases: Vec<Case> = fatal
        .into_iter()
        .map(|row| (row, &[][..]))
        .chain(notes.into_iter().map(|row| (row, ALL)))
        .map(|((what, table, code), planned)| Case {
            what,
            given: with(table),
            code,
            planned,
        })
        .collect();
    check("meters", &with(sound.clone()), &cases);
}
