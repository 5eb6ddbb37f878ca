//! Program files, single settings, conditions, and the record of a run that another may start from.

#![no_main]

use evenfall::assumptions::Assumptions;
use evenfall::clause::Clause;
use evenfall::write::run_record::RunRecord;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Some((kind, text)) = data.split_first() else {
        return;
    };
    let Ok(text) = std::str::from_utf8(text) else {
        return;
    };
    let defaults = Assumptions::defaults();
    match kind % 4 {
        0 => {
            if let Ok(assumptions) = defaults.with_program(text, "program.toml") {
                // What is stored is what is read back.
                let stored = assumptions.to_json();
                let again = Assumptions::from_json(&stored).map(|again| again.to_json());
                assert!(again.is_ok_and(|again| again == stored));
            }
        }
        1 => drop(defaults.with_setting(text)),
        2 => {
            if let Ok(clause) = Clause::parse(text) {
                let _ = (clause.holds(|_| None), clause.columns().count());
            }
        }
        _ => {
            if let Ok(record) = RunRecord::parse(text, "run.json") {
                drop(Assumptions::from_json(&record.assumptions));
                assert!(RunRecord::parse(&record.to_text(), "run.json").is_ok());
            }
        }
    }
});
