//! What comes back filled in: findings, receipts, lists of parcels and a crew's list, against a small
//! plan that is made once. The first byte says which the rest is.

#![no_main]

use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

use evenfall::cli;
use libfuzzer_sys::fuzz_target;

const TURF: &str = r#"{"type":"FeatureCollection","features":[{"type":"Feature","properties":
{"parcel_id":"a"},"geometry":{"type":"Polygon","coordinates":[[[5,43],[5.0001,43],[5.0001,43.0001],
[5,43.0001],[5,43]]]}},{"type":"Feature","properties":{"parcel_id":"b"},"geometry":{"type":"Polygon",
"coordinates":[[[5.001,43],[5.0012,43],[5.0012,43.0001],[5.001,43.0001],[5.001,43]]]}}]}"#;

/// A folder of this process with a plan in it.
fn home() -> &'static PathBuf {
    static HOME: OnceLock<PathBuf> = OnceLock::new();
    HOME.get_or_init(|| {
        let home = tempfile::tempdir().expect("a temporary folder").keep();
        fs::write(home.join("turf.geojson"), TURF).expect("a small file");
        let (turf, out) = (home.join("turf.geojson"), home.join("out"));
        let plan = ["evenfall", "plan", "-q", "--effort", "rule", "--turf"];
        let words = plan.iter().map(Into::into);
        cli::run(words.chain([turf.into(), "-o".into(), out.clone().into()]));
        assert!(out.join("run.json").is_file());
        home
    })
}

fuzz_target!(|data: &[u8]| {
    let Some((kind, text)) = data.split_first() else {
        return;
    };
    let home = home();
    let (form, out) = (home.join("form.csv"), home.join("out"));
    fs::write(&form, text).expect("a small file");
    let page = home.join("page.html");
    let words: Vec<std::ffi::OsString> = match kind % 4 {
        0 => vec![
            "inspect".into(),
            out.into(),
            "--findings".into(),
            form.into(),
        ],
        1 => vec![
            "inspect".into(),
            out.into(),
            "--receipts".into(),
            form.into(),
        ],
        2 => vec!["inspect".into(), out.into(), "--among".into(), form.into()],
        _ => vec![
            "sheet".into(),
            out.into(),
            "a".into(),
            "--asbuilt".into(),
            form.into(),
            "-q".into(),
            "--overwrite".into(),
            "-o".into(),
            page.into(),
        ],
    };
    cli::run(std::iter::once("evenfall".into()).chain(words));
});
