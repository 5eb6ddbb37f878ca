//! The few words of a text input around an offending place, read again to be shown.
//!
//! Nothing of a file is held while it is planned, so the place is looked up once something is wrong:
//! a window of it is read, however long its lines are, and what could steer a terminal is made
//! visible. Where a place cannot be found again (a pipe, a format of bytes, a file too long) there is
//! no excerpt, and the issue says its place in words.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::Path;

use super::records::Records;
use super::source::{Kind, Source};
use crate::issue::{Code, Issue, Place, Spot};

/// What is shown before the mark, of the mark, and behind it \[characters\]: with the line's number
/// they fit on a screen of 100.
const MOST_BEFORE: usize = 30;
const MOST_MARKED: usize = 30;
const MOST_AFTER: usize = 28;
/// What is read around a place \[bytes\].
const WINDOW_BYTES: u64 = 64 * 1024;
/// A file is searched for a line up to here \[bytes\].
const MOST_SEARCHED_BYTES: u64 = 1 << 30;
/// A file is read for a feature by its number if it is no longer than this \[bytes\]: about 0.2 s.
const MOST_WALKED_BYTES: u64 = 16 << 20;

/// A stretch of one line with the offending part marked, safe to print.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Excerpt {
    /// What is excerpted: the input's name, or what was typed.
    pub name: String,
    /// Line of the mark, 1-based.
    pub line: u64,
    /// Column of the mark, 1-based \[bytes\].
    pub column: u64,
    /// What stands before the mark, cut.
    pub before: String,
    /// What is wrong; never empty.
    pub marked: String,
    /// What stands behind it, cut.
    pub after: String,
}

impl Excerpt {
    /// Looks an issue's place up in its input; `None` where it cannot be shown.
    #[must_use]
    pub fn of(issue: &Issue) -> Option<Excerpt> {
        let place = &issue.place;
        if let Some(Spot::Typed { text, from, to }) = &place.spot {
            return Some(Excerpt::cut(
                "command line",
                1,
                0,
                text.as_bytes(),
                *from..*to,
            ));
        }
        let name = place.file.as_deref()?;
        let path = Path::new(name);
        // Opening a pipe would wait for somebody who writes.
        if !path.metadata().ok()?.is_file() {
            return None;
        }
        match &place.spot {
            Some(spot) => in_line(name, File::open(path).ok()?, spot),
            None => in_feature(name, File::open(path).ok()?, issue.code, place),
        }
    }

    /// Cuts a line around a part of it; `skipped` is what stands before the text on its line
    /// \[bytes\].
    fn cut(name: &str, line: u64, skipped: u64, text: &[u8], part: Range<usize>) -> Excerpt {
        let start = part.start.min(text.len());
        let end = part.end.clamp(start, text.len());
        let before = visible(&text[..start]);
        let marked = visible(&text[start..end]);
        let after = visible(&text[end..]);
        let marked = match marked.is_empty() {
            true => " ".to_owned(), // the end of the line, or of an empty cell
            false => first(&marked, MOST_MARKED),
        };
        let hidden = before.chars().count().saturating_sub(MOST_BEFORE);
        let before: String = match (hidden, skipped) {
            (0, 0) => before,
            _ => format!("…{}", before.chars().skip(hidden).collect::<String>()),
        };
        Excerpt {
            name: visible(name.as_bytes()),
            line,
            column: 1 + skipped + start as u64,
            before,
            marked,
            after: first(&after, MOST_AFTER),
        }
    }
}

/// The first characters of a text, and a mark where there are more.
fn first(text: &str, most: usize) -> String {
    match text.char_indices().nth(most) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

/// Text in which nothing steers a terminal, hides or turns what stands beside it: such characters,
/// and bytes that are no UTF-8, become `�`; a tab becomes a space.
#[must_use]
pub fn visible(text: &[u8]) -> String {
    String::from_utf8_lossy(text)
        .chars()
        .map(|c| match c {
            '\t' => ' ',
            c if c.is_control() || is_unseen(c) => '\u{fffd}',
            c => c,
        })
        .collect()
}

/// Whether a character has no shape of its own, or changes the order of others (Unicode, general
/// category Cf and the separators of lines and paragraphs).
fn is_unseen(c: char) -> bool {
    matches!(c,
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// The place in a line of a file.
fn in_line(name: &str, file: File, spot: &Spot) -> Option<Excerpt> {
    let mut file = BufReader::with_capacity(1 << 16, file);
    let line = spot.line();
    file.rewind().ok()?;
    let start = start_of_line(&mut file, line)?;
    match *spot {
        Spot::Columns { column, bytes, .. } => {
            let at = column.saturating_sub(1);
            let skipped = at.saturating_sub(WINDOW_BYTES / 2);
            let text = line_from(&mut file, start + skipped)?;
            let from = (at - skipped) as usize; // at most half a window
            let bytes = usize::try_from(bytes).ok()?;
            Some(Excerpt::cut(
                name,
                line,
                skipped,
                &text,
                from..from.saturating_add(bytes),
            ))
        }
        Spot::Cell {
            cell, separator, ..
        } => {
            let text = line_from(&mut file, start)?;
            let part = cell_of(&text, cell, separator).unwrap_or_else(|| trimmed(&text));
            Some(Excerpt::cut(name, line, 0, &text, part))
        }
        Spot::Line(_) => {
            let text = line_from(&mut file, start)?;
            Some(Excerpt::cut(name, line, 0, &text, trimmed(&text)))
        }
        Spot::Typed { .. } => None,
    }
}

/// Where a 1-based line begins \[bytes\]; `None` where the file is shorter, or longer than is searched.
fn start_of_line(file: &mut impl BufRead, line: u64) -> Option<u64> {
    let (mut at, mut here) = (0_u64, 1_u64);
    while here < line && at < MOST_SEARCHED_BYTES {
        let chunk = file.fill_buf().ok()?;
        let taken = match chunk.iter().position(|&byte| byte == b'\n') {
            Some(end) => {
                here += 1;
                end + 1
            }
            None if chunk.is_empty() => return None,
            None => chunk.len(),
        };
        file.consume(taken);
        at += taken as u64;
    }
    (here == line).then_some(at)
}

/// What stands on a line from a byte of the file on, as much as is looked at.
fn line_from(file: &mut (impl BufRead + Seek), from: u64) -> Option<Vec<u8>> {
    file.seek(SeekFrom::Start(from)).ok()?;
    let mut text = Vec::new();
    file.take(WINDOW_BYTES).read_until(b'\n', &mut text).ok()?;
    while text
        .last()
        .is_some_and(|byte| matches!(byte, b'\n' | b'\r'))
    {
        text.pop();
    }
    Some(text)
}

/// The part of a line that is not space at its ends.
fn trimmed(text: &[u8]) -> Range<usize> {
    let inside = text.trim_ascii_end().len();
    let start = inside - text[..inside].trim_ascii_start().len();
    start..inside
}

/// The 0-based cell of a row of a table.
fn cell_of(text: &[u8], cell: usize, separator: char) -> Option<Range<usize>> {
    let separator = u8::try_from(separator).ok()?;
    let (mut quoted, mut start, mut number) = (false, 0, 0);
    let ends = text.iter().copied().chain([separator]);
    for (at, byte) in ends.enumerate() {
        match byte {
            b'"' => quoted = !quoted,
            // A quote that is not closed on this line ends with it.
            _ if byte == separator && (!quoted || at == text.len()) => {
                if number == cell {
                    let own = trimmed(&text[start..at]);
                    return Some(start + own.start..start + own.end);
                }
                number += 1;
                start = at + 1;
            }
            _ => {}
        }
    }
    None
}

/// The place in a feature of a GeoJSON text, by the feature's number.
fn in_feature(name: &str, file: File, code: Code, place: &Place) -> Option<Excerpt> {
    let number = place.feature?;
    if file.metadata().ok()?.len() > MOST_WALKED_BYTES {
        return None;
    }
    let source = Source::parse(name).ok()?;
    let (kind, stream) = source.open().ok()?;
    if kind == Kind::Other {
        return None;
    }
    let mut records = Records::open(&source, kind, stream).ok()?;
    let offset = loop {
        let feature = records.next().ok()??;
        if feature.number == number {
            break feature.locator;
        }
    };
    let mut file = BufReader::with_capacity(1 << 16, file);
    file.seek(SeekFrom::Start(offset)).ok()?;
    let mut text = Vec::new();
    file.by_ref()
        .take(MOST_WALKED_BYTES)
        .read_to_end(&mut text)
        .ok()?;
    let part = offending(&text, code, place)?;
    let at = offset + part.start as u64;
    file.seek(SeekFrom::Start(0)).ok()?;
    let (line, start) = line_at(&mut file, at)?;
    let spot = Spot::Columns {
        line,
        column: 1 + at - start,
        bytes: part.len() as u64,
    };
    in_line(name, file.into_inner(), &spot)
}

/// The 1-based line of a byte, and where it begins.
fn line_at(file: &mut impl BufRead, offset: u64) -> Option<(u64, u64)> {
    let (mut at, mut line, mut start) = (0_u64, 1_u64, 0_u64);
    while at < offset {
        let chunk = file.fill_buf().ok()?;
        if chunk.is_empty() {
            return None;
        }
        let taken = usize::try_from(offset - at).ok()?.min(chunk.len());
        for (place, &byte) in (1_u64..).zip(&chunk[..taken]) {
            if byte == b'\n' {
                line += 1;
                start = at + place;
            }
        }
        file.consume(taken);
        at += taken as u64;
    }
    Some((line, start))
}

/// What of a feature an issue is about: the vertex or ring it names, the member that joins it, the
/// geometry; the start of the feature where none of these is there.
fn offending(text: &[u8], code: Code, place: &Place) -> Option<Range<usize>> {
    let start = text.iter().position(|&byte| byte == b'{')?;
    let whole = start..start + 1;
    if code == Code::JO01 {
        let properties = member(text, start, "properties");
        let id = properties.and_then(|at| member(text, at.start, "parcel_id"));
        return Some(id.unwrap_or(whole));
    }
    let Some(geometry) = member(text, start, "geometry") else {
        return Some(whole);
    };
    let kind = member(text, geometry.start, "type");
    let is_polygon = kind.is_some_and(|at| &text[at] == b"\"Polygon\"");
    let ring = place.ring.filter(|_| is_polygon).and_then(|ring| {
        let rings = member(text, geometry.start, "coordinates")?;
        element(text, rings.start, ring)
    });
    let vertex = ring
        .clone()
        .zip(place.vertex)
        .and_then(|(ring, vertex)| element(text, ring.start, vertex));
    Some(vertex.or(ring).unwrap_or(geometry))
}

/// The value of a member of the object that begins at a place.
fn member(text: &[u8], object: usize, name: &str) -> Option<Range<usize>> {
    let mut at = object + 1;
    if text.get(object) != Some(&b'{') {
        return None;
    }
    loop {
        let key = value(text, at)?;
        let colon = key.end + text[key.end..].iter().position(|&byte| byte == b':')?;
        let own = value(text, colon + 1)?;
        if text[key].strip_prefix(b"\"")?.strip_suffix(b"\"")? == name.as_bytes() {
            return Some(own);
        }
        at = next(text, own.end)?;
    }
}

/// The 0-based element of the array that begins at a place.
fn element(text: &[u8], array: usize, number: usize) -> Option<Range<usize>> {
    let mut at = array + 1;
    if text.get(array) != Some(&b'[') {
        return None;
    }
    for _ in 0..number {
        at = next(text, value(text, at)?.end)?;
    }
    value(text, at)
}

/// Behind the comma that follows a value.
fn next(text: &[u8], end: usize) -> Option<usize> {
    let gap = text[end..]
        .iter()
        .position(|byte| !byte.is_ascii_whitespace())?;
    (text[end + gap] == b',').then_some(end + gap + 1)
}

/// The value of a JSON text that begins at a place or behind white space.
fn value(text: &[u8], from: usize) -> Option<Range<usize>> {
    let start = from
        + text
            .get(from..)?
            .iter()
            .position(|byte| !byte.is_ascii_whitespace())?;
    let (mut depth, mut quoted, mut escaped) = (0_usize, false, false);
    for (at, &byte) in text.iter().enumerate().skip(start) {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if quoted => escaped = true,
            b'"' => {
                quoted = !quoted;
                if !quoted && depth == 0 {
                    return Some(start..at + 1);
                }
            }
            _ if quoted => {}
            b'{' | b'[' => depth += 1,
            b'}' | b']' if depth > 1 => depth -= 1,
            b'}' | b']' if depth == 1 => return Some(start..at + 1),
            // A number or a word ends before what follows it.
            b',' | b'}' | b']' if depth == 0 => return (at > start).then_some(start..at),
            byte if byte.is_ascii_whitespace() && depth == 0 => return Some(start..at),
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn excerpt(text: &[u8], issue: impl Fn(String) -> Issue) -> Option<Excerpt> {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join("a.geojson");
        fs::write(&file, text).unwrap();
        Excerpt::of(&issue(file.display().to_string()))
    }

    #[test]
    fn a_cell_is_found_between_separators_and_quotes() {
        for (text, cell, found) in [
            ("a, b ,c", 1, "b"),
            ("\"a,b\",c", 1, "c"),
            ("a,,c", 1, ""),
            ("a,\"open", 1, "\"open"),
        ] {
            let part = cell_of(text.as_bytes(), cell, ',').unwrap();
            assert_eq!(&text[part], found, "{text}");
        }
        assert_eq!(cell_of(b"a,b", 2, ','), None);
    }

    #[test]
    fn a_line_of_ten_megabytes_is_cut_around_the_place() {
        let mut text = vec![b'x'; 10 << 20];
        text.splice(9_000_000..9_000_003, *b"\x1b[2");
        let found = excerpt(&text, |file| {
            Issue::new(Code::IN03, "")
                .in_file(file)
                .at_spot(Spot::Columns {
                    line: 1,
                    column: 9_000_001,
                    bytes: 3,
                })
        })
        .unwrap();
        assert_eq!((found.line, found.column), (1, 9_000_001));
        assert_eq!(found.marked, "\u{fffd}[2");
        let around = found.before + &found.after;
        assert!(
            around.chars().count() <= MOST_BEFORE + MOST_AFTER + 2,
            "{around}"
        );
        assert!(around.starts_with('…') && around.ends_with('…'), "{around}");
    }

    #[test]
    fn a_vertex_is_found_in_its_feature() {
        let text = br#"{"type":"FeatureCollection","features":[
 {"type":"Feature","properties":{"note":"]}\"","parcel_id":"7"},"geometry":null},
 {"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[0,0],[1,0],[1, 1],[0,0]]]},"properties":{}}]}"#;
        let vertex = |file: String| Issue::new(Code::GE06, "").in_file(file).at_feature(2);
        let found = excerpt(text, |file| vertex(file).at_vertex(0, 2)).unwrap();
        assert_eq!((found.line, found.marked.as_str()), (3, "[1, 1]"));
        let found = excerpt(text, vertex).unwrap();
        assert!(
            found.marked.starts_with("{\"type\":\"Polygon\""),
            "{}",
            found.marked
        );
        let orphan = |file: String| Issue::new(Code::JO01, "").in_file(file).at_feature(1);
        let found = excerpt(text, orphan).unwrap();
        assert_eq!((found.line, found.marked.as_str()), (2, "\"7\""));
        let nobody = |file: String| Issue::new(Code::JO01, "").in_file(file).at_feature(3);
        assert_eq!(excerpt(text, nobody), None);
    }

    #[test]
    fn a_place_that_is_not_there_gives_nothing() {
        let beyond = |file: String| {
            Issue::new(Code::IN07, "")
                .in_file(file)
                .at_spot(Spot::Line(9))
        };
        assert_eq!(excerpt(b"a\nb\n", beyond), None);
        let nowhere = Issue::new(Code::IN07, "")
            .in_file("no/such/file")
            .at_spot(Spot::Line(1));
        assert_eq!(Excerpt::of(&nowhere), None);
        assert_eq!(Excerpt::of(&Issue::new(Code::IN05, "")), None);
    }

    #[test]
    fn a_truncated_text_is_walked_to_its_end_and_no_further() {
        let whole = br#"{"geometry":{"type":"Polygon","coordinates":[[[0,0],[1,0]]]}}"#;
        let place = Place {
            ring: Some(0),
            vertex: Some(1),
            ..Place::default()
        };
        for end in 0..whole.len() {
            // Whatever is found lies inside.
            if let Some(part) = offending(&whole[..end], Code::GE06, &place) {
                assert!(part.end <= end);
            }
        }
        let part = offending(whole, Code::GE06, &place).unwrap();
        assert_eq!(&whole[part], b"[1,0]");
    }
}
