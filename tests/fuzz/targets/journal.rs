//! Journals. With an odd first byte the rest is a whole file; with an even one it is cut into contents
//! that get their length and checksum, so that what stands behind the checksum is read too.

#![no_main]

use std::fs;
use std::path::PathBuf;
use std::sync::OnceLock;

use evenfall::batch::journal::Records;
use libfuzzer_sys::fuzz_target;

fn path() -> &'static PathBuf {
    static PATH: OnceLock<PathBuf> = OnceLock::new();
    PATH.get_or_init(|| {
        let home = tempfile::tempdir().expect("a temporary folder").keep();
        home.join("records.journal")
    })
}

/// Contents, each behind its length in four bytes, as frames.
fn framed(mut rest: &[u8]) -> Vec<u8> {
    let mut file = Vec::new();
    while let Some((length, behind)) = rest.split_first_chunk() {
        let length = u32::from_le_bytes(*length) as usize;
        let length = length.min(behind.len());
        let (content, next) = behind.split_at(length);
        rest = next;
        let length = (content.len() as u32).to_le_bytes();
        let mut sum = crc32fast::Hasher::new();
        sum.update(&length);
        sum.update(content);
        file.extend(length);
        file.extend(sum.finalize().to_le_bytes());
        file.extend(content);
    }
    file
}

fuzz_target!(|data: &[u8]| {
    let Some((kind, rest)) = data.split_first() else {
        return;
    };
    let bytes = if kind % 2 == 1 {
        rest.to_vec()
    } else {
        framed(rest)
    };
    fs::write(path(), bytes).expect("a small file");
    if let Ok(mut records) = Records::open(path()) {
        drop(records.header.run("records.journal"));
        records.by_ref().for_each(drop);
        let _ = (records.ended().is_some(), records.is_whole());
    }
});
