use super::*;

#[test]
fn every_row_has_default_bounds_unit_and_source() {
    assert!(TABLE.len() > 60);
    for (index, entry) in TABLE.iter().enumerate() {
        assert_eq!(entry.key as usize, index, "{}", entry.text);
        assert_eq!(entry.text.matches('.').count(), 1, "{}", entry.text);
        assert!(
            entry.source.len() > 10 && entry.meaning.len() > 10,
            "{}",
            entry.text
        );
        match entry.kind {
            Kind::Number { default, low, high } => {
                assert!(
                    low < high && (low..=high).contains(&default),
                    "{}",
                    entry.text
                );
                assert!(!entry.unit.is_empty(), "{}", entry.text);
            }
            Kind::Choice(words) | Kind::Set(words) => {
                assert!(words.len() >= 2, "{}", entry.text);
                assert!(entry.unit.is_empty(), "{}", entry.text);
            }
        }
        let first = TABLE
            .iter()
            .position(|other| other.key.column() == entry.key.column());
        assert_eq!(
            first,
            Some(index),
            "{}: two keys share one column",
            entry.text
        );
    }
}

#[test]
fn the_more_specific_layer_wins_whatever_the_order_of_adding() {
    let program = "title = 'Larkmoor'\n[clock]\nminutes_min = 12\nstarts_per_day = 2\n";
    let flag = "clock.minutes_min=14";
    let one = Assumptions::defaults()
        .with_program(program, "p")
        .unwrap()
        .with_setting(flag)
        .unwrap();
    let other = Assumptions::defaults()
        .with_setting(flag)
        .unwrap()
        .with_program(program, "p")
        .unwrap();
    assert_eq!(one, other);
    assert_eq!(one.title(), "Larkmoor");
    assert_eq!(one.number(Key::ClockMinutes), 14.0);
    assert_eq!(one.origin(Key::ClockMinutes), Origin::Flag);
    assert_eq!(one.number(Key::ClockStarts), 2.0);
    assert_eq!(one.origin(Key::ClockStarts), Origin::Program);
    assert_eq!(one.origin(Key::ClockDays), Origin::Default);

    let attributes = Attributes(vec![
        (
            "CLOCK_MINUTES_MIN".to_owned(),
            Attribute::Text("7.5".to_owned()),
        ),
        (
            "soil_texture".to_owned(),
            Attribute::Text("Clay Loam".to_owned()),
        ),
        ("owner".to_owned(), Attribute::Text("x".to_owned())),
        (
            "clock_starts_per_day".to_owned(),
            Attribute::Text(" ".to_owned()),
        ),
    ]);
    let parcel = one.for_parcel(&attributes, "00017").unwrap();
    assert_eq!(parcel.number(Key::ClockMinutes), 7.5);
    assert_eq!(parcel.origin(Key::ClockMinutes), Origin::Parcel);
    assert_eq!(parcel.choice(Key::SoilTexture), "clay loam");
    assert_eq!(parcel.number(Key::ClockStarts), 2.0);
}

#[test]
fn sets_are_lists_in_the_order_of_the_table() {
    let text = "[restrictions]\nallowed_weekdays = ['sat', 'Tue', 'sat']\n";
    let run = Assumptions::defaults().with_program(text, "p").unwrap();
    assert_eq!(run.set(Key::RestrictionDays), ["tue", "sat"]);
    let run = Assumptions::defaults()
        .with_setting("restrictions.allowed_weekdays=sun, mon")
        .unwrap();
    assert_eq!(run.set(Key::RestrictionDays), ["mon", "sun"]);
    assert_eq!(Assumptions::defaults().set(Key::RestrictionDays).len(), 7);
}

#[test]
fn what_is_wrong_has_its_code_line_and_hint() {
    let defaults = Assumptions::defaults();
    let cases = [
        (
            "[clock]\nminutes = 3\n",
            Code::AS01,
            "line 2: `clock.minutes`; did you mean `clock.minutes_min`?",
        ),
        (
            "minutes_min = 3\n",
            Code::AS01,
            "line 1: `minutes_min` stands outside of a [section]",
        ),
        (
            "\n[clock]\nminutes_min = 300\n",
            Code::AS02,
            "line 3: clock.minutes_min = 300; allowed are 0 to 240 min",
        ),
        (
            "[clock]\nminutes_min = nan\n",
            Code::AS02,
            "line 2: clock.minutes_min = NaN; allowed are 0 to 240 min",
        ),
        (
            "[clock]\nminutes_min = 'ten'\n",
            Code::AS02,
            "line 2: clock.minutes_min wants a number; allowed are 0 to 240 min",
        ),
        (
            "[clock]\nminutes_min = 2026-01-01\n",
            Code::AS02,
            "line 2: clock.minutes_min wants a number, text or a list of texts",
        ),
        (
            "[soil]\ntexture = 'laom'\n",
            Code::AS02,
            "line 2: soil.texture = `laom`; did you mean `loam`?",
        ),
        (
            "[restrictions]\nallowed_weekdays = []\n",
            Code::AS02,
            "line 2: restrictions.allowed_weekdays is empty",
        ),
        ("title = 3\n", Code::AS02, "line 1: title wants text"),
        ("[clock\n", Code::AS03, "line 1: "),
        (
            "[clock]\nminutes_min = 1\nminutes_min = 2\n",
            Code::AS03,
            "line 3: ",
        ),
    ];
    for (text, code, found) in cases {
        let issue = defaults.with_program(text, "program.toml").unwrap_err();
        assert_eq!(issue.code, code, "{text}");
        assert!(issue.found.starts_with(found), "{text}: {}", issue.found);
        assert_eq!(issue.place.file.as_deref(), Some("program.toml"));
    }
    for (setting, code) in [
        ("clock.minutes_min", Code::AS03),
        ("clok.minutes_min=1", Code::AS01),
        ("clock.minutes_min=-1", Code::AS02),
        ("clock.minutes_min=inf", Code::AS02),
        ("plant.grass=", Code::AS02),
    ] {
        assert_eq!(
            defaults.with_setting(setting).unwrap_err().code,
            code,
            "{setting}"
        );
    }
    let parcel = |name: &str, value: Attribute| {
        defaults
            .for_parcel(&Attributes(vec![(name.to_owned(), value)]), "9")
            .unwrap_err()
    };
    let issue = parcel("clock_minutes_min", Attribute::Number(f64::NAN));
    assert_eq!(
        (issue.code, issue.place.parcel.as_deref()),
        (Code::AS04, Some("9"))
    );
    assert_eq!(
        parcel("clock_minutes_min", Attribute::Bool(true)).code,
        Code::AS04
    );
    assert_eq!(
        parcel("savings_realisation_frac", Attribute::Number(0.5)).code,
        Code::AS05
    );
}

#[test]
fn the_stored_copy_is_the_same_again() {
    let run = Assumptions::defaults()
        .with_program("title='T'\n[soil]\nroot_depth_mm = 123.4567\n", "p")
        .unwrap()
        .with_setting("restrictions.allowed_weekdays=wed")
        .unwrap();
    let text = run.to_json().to_string();
    let again = Assumptions::from_json(&serde_json::from_str(&text).unwrap()).unwrap();
    assert_eq!(run, again);
    assert_eq!(text, again.to_json().to_string());

    for (stored, code) in [
        (
            r#"{"values":{"clock.minute_min":{"value":1,"origin":"flag"}}}"#,
            Code::AS01,
        ),
        (
            r#"{"values":{"clock.minutes_min":{"value":-1,"origin":"flag"}}}"#,
            Code::AS02,
        ),
        (
            r#"{"values":{"clock.minutes_min":{"value":1,"origin":"nobody"}}}"#,
            Code::AS03,
        ),
        (
            r#"{"values":{"clock.minutes_min":{"value":null,"origin":"flag"}}}"#,
            Code::AS03,
        ),
        (r#"{"values":[]}"#, Code::AS03),
        (r#"{"title":1,"values":{}}"#, Code::AS03),
    ] {
        let stored = serde_json::from_str(stored).unwrap();
        assert_eq!(
            Assumptions::from_json(&stored).unwrap_err().code,
            code,
            "{stored}"
        );
    }
}

#[test]
fn rows_print_every_column() {
    let run = Assumptions::defaults()
        .with_setting("soil.slope_pct=6.5")
        .unwrap();
    let rows: Vec<Row> = run.rows().collect();
    assert_eq!(rows.len(), TABLE.len());
    let slope = rows.iter().find(|row| row.key == "soil.slope_pct").unwrap();
    assert_eq!((slope.value.as_str(), slope.default.as_str()), ("6.5", "2"));
    assert_eq!(
        (slope.allowed.as_str(), slope.origin, slope.by_parcel),
        ("0..100", "flag", "yes")
    );
}
