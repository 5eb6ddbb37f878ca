//! Finds where the values of a JSON text begin and end, without holding the text.
//!
//! What is inside a value is left to the JSON library; this only walks over strings and
//! brackets, so that a collection of any size passes one feature at a time, and nesting of any
//! depth passes without recursion.

use std::io::BufRead;

use crate::issue::{Code, Issue, Spot};

/// Deepest nesting of a value that is looked at.
pub(super) const MOST_LEVELS: usize = 128;
/// Largest text of one feature [bytes]: 200,000 vertices of full precision take about half.
pub(super) const MOST_FEATURE_BYTES: usize = 32 * 1024 * 1024;

/// Whether a value could be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Size {
    /// All of it is in the buffer.
    Whole,
    /// It is longer than [`MOST_FEATURE_BYTES`].
    TooLong,
    /// It is nested deeper than [`MOST_LEVELS`].
    TooDeep,
}

/// Where a value stands in its text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Extent {
    /// Its first byte.
    pub offset: u64,
    /// Line of its first byte, 1-based.
    pub line: u64,
    /// Column of its first byte, 1-based, in bytes.
    pub column: u64,
    pub size: Size,
}

/// Walks over a JSON text.
#[derive(Debug)]
pub(super) struct Scanner<R> {
    input: R,
    name: String,
    offset: u64,
    line: u64,
    column: u64,
}

impl<R: BufRead> Scanner<R> {
    /// Starts at the front of the input, after a byte order mark; `name` is for messages.
    pub(super) fn new(input: R, name: &str) -> Result<Scanner<R>, Issue> {
        let mut scanner = Scanner {
            input,
            name: name.to_owned(),
            offset: 0,
            line: 1,
            column: 1,
        };
        if scanner.peek()? == Some(0xef) {
            for byte in [0xef, 0xbb, 0xbf] {
                scanner.expect(byte)?;
            }
            scanner.column = 1;
        }
        Ok(scanner)
    }

    /// The input itself, for whoever moves in it.
    pub(super) fn input(&mut self) -> &mut R {
        &mut self.input
    }

    /// Bytes passed so far.
    pub(super) fn offset(&self) -> u64 {
        self.offset
    }

    /// The line that is being read, 1-based.
    pub(super) fn line(&self) -> u64 {
        self.line
    }

    /// Says that the input was moved to a byte.
    pub(super) fn moved_to(&mut self, offset: u64) {
        self.offset = offset;
    }

    /// The issue of a text that breaks off or is malformed here.
    pub(super) fn fault(&self, what: &str) -> Issue {
        self.fault_at(what, self.line, self.column)
    }

    /// The same elsewhere.
    pub(super) fn fault_at(&self, what: &str, line: u64, column: u64) -> Issue {
        Issue::new(
            Code::IN03,
            format!("{what} at line {line}, column {column}"),
        )
        .in_file(&self.name)
        .at_spot(Spot::Columns {
            line,
            column,
            bytes: 1,
        })
    }

    /// The next byte, if any.
    pub(super) fn peek(&mut self) -> Result<Option<u8>, Issue> {
        match self.input.fill_buf() {
            Ok(bytes) => Ok(bytes.first().copied()),
            Err(fault) => Err(Issue::new(Code::IN01, fault.to_string()).in_file(&self.name)),
        }
    }

    /// Passes the byte that was peeked at.
    pub(super) fn pass(&mut self, byte: u8) {
        self.input.consume(1);
        self.count(byte);
    }

    fn count(&mut self, byte: u8) {
        self.offset += 1;
        if byte == b'\n' {
            self.line += 1;
            self.column = 1;
        } else {
            self.column += 1;
        }
    }

    /// The next byte that is not white space, without passing it.
    pub(super) fn next_token(&mut self) -> Result<Option<u8>, Issue> {
        while let Some(byte) = self.peek()? {
            if !matches!(byte, b' ' | b'\t' | b'\r' | b'\n') {
                return Ok(Some(byte));
            }
            self.pass(byte);
        }
        Ok(None)
    }

    /// Passes white space and then this byte.
    pub(super) fn expect(&mut self, wanted: u8) -> Result<(), Issue> {
        match self.next_token()? {
            Some(byte) if byte == wanted => {
                self.pass(byte);
                Ok(())
            }
            Some(byte) => Err(self.fault(&format!(
                "`{}` where `{}` belongs",
                byte.escape_ascii(),
                wanted.escape_ascii()
            ))),
            None => Err(self.fault("the text ends")),
        }
    }

    /// Passes white space and one value, and keeps its text.
    pub(super) fn value(&mut self, kept: &mut Vec<u8>) -> Result<Extent, Issue> {
        kept.clear();
        if self.next_token()?.is_none() {
            return Err(self.fault("the text ends"));
        }
        let mut walk = Walk::default();
        let mut extent = Extent {
            offset: self.offset,
            line: self.line,
            column: self.column,
            size: Size::Whole,
        };
        loop {
            let chunk = match self.input.fill_buf() {
                Ok(chunk) => chunk,
                Err(fault) => {
                    return Err(Issue::new(Code::IN01, fault.to_string()).in_file(&self.name));
                }
            };
            if chunk.is_empty() {
                // A number at the very end has nothing behind it.
                return if walk.is_scalar() {
                    Ok(extent)
                } else {
                    Err(self.fault("the text ends"))
                };
            }
            let (mut taken, mut ended) = (0, false);
            let (mut line, mut column) = (self.line, self.column);
            for &byte in chunk {
                let step = walk.step(byte);
                if step == Step::Before {
                    ended = true;
                    break;
                }
                taken += 1;
                if byte == b'\n' {
                    line += 1;
                    column = 1;
                } else {
                    column += 1;
                }
                if step == Step::Last {
                    ended = true;
                    break;
                }
            }
            if extent.size == Size::Whole {
                if kept.len() + taken > MOST_FEATURE_BYTES {
                    extent.size = Size::TooLong;
                } else {
                    kept.extend_from_slice(&chunk[..taken]);
                }
            }
            self.input.consume(taken);
            self.offset += taken as u64;
            (self.line, self.column) = (line, column);
            if let Some(found) = walk.mismatch {
                return Err(self.fault(&format!("`{}` closes nothing", found.escape_ascii())));
            }
            if walk.deepest > MOST_LEVELS && extent.size == Size::Whole {
                extent.size = Size::TooDeep;
            }
            if ended {
                if taken == 0 && kept.is_empty() {
                    return Err(self.fault("a value is missing"));
                }
                return Ok(extent);
            }
        }
    }

    /// Passes and keeps the bytes up to the end of the record: a line, or what stands before the
    /// next separator. `None` at the end of the input.
    pub(super) fn record(&mut self, end: u8, kept: &mut Vec<u8>) -> Result<Option<Extent>, Issue> {
        loop {
            kept.clear();
            let mut extent = Extent {
                offset: self.offset,
                line: self.line,
                column: self.column,
                size: Size::Whole,
            };
            let mut passed = false;
            loop {
                let chunk = match self.input.fill_buf() {
                    Ok(chunk) => chunk,
                    Err(fault) => {
                        return Err(Issue::new(Code::IN01, fault.to_string()).in_file(&self.name));
                    }
                };
                let (taken, ended) = match chunk.iter().position(|&byte| byte == end) {
                    Some(at) => (at + 1, true),
                    None => (chunk.len(), chunk.is_empty()),
                };
                if extent.size == Size::Whole {
                    if kept.len() + taken > MOST_FEATURE_BYTES {
                        extent.size = Size::TooLong;
                        kept.clear();
                    } else {
                        kept.extend_from_slice(&chunk[..taken]);
                    }
                }
                let lines = chunk[..taken].iter().filter(|&&byte| byte == b'\n').count();
                self.input.consume(taken);
                self.offset += taken as u64;
                self.line += lines as u64;
                passed |= taken > 0;
                if ended {
                    break;
                }
            }
            if kept.last() == Some(&end) {
                kept.pop();
            }
            if extent.size == Size::TooLong || !kept.trim_ascii().is_empty() {
                return Ok(Some(extent));
            }
            if !passed {
                return Ok(None);
            }
        }
    }
}

/// How deep a text is nested, strings left out.
pub(super) fn nesting(text: &[u8]) -> usize {
    let mut walk = Walk::default();
    for &byte in text {
        walk.step(byte);
    }
    walk.deepest
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Inside,
    /// This byte is the last of the value.
    Last,
    /// This byte stands behind the value.
    Before,
}

/// Where in a value the walk is.
#[derive(Debug)]
struct Walk {
    open: [u8; MOST_LEVELS],
    depth: usize,
    deepest: usize,
    in_string: bool,
    escaped: bool,
    scalar: bool,
    mismatch: Option<u8>,
}

impl Default for Walk {
    fn default() -> Walk {
        Walk {
            open: [0; MOST_LEVELS],
            depth: 0,
            deepest: 0,
            in_string: false,
            escaped: false,
            scalar: false,
            mismatch: None,
        }
    }
}

impl Walk {
    fn is_scalar(&self) -> bool {
        self.scalar && self.depth == 0 && !self.in_string
    }

    fn step(&mut self, byte: u8) -> Step {
        if self.in_string {
            match byte {
                _ if self.escaped => self.escaped = false,
                b'\\' => self.escaped = true,
                b'"' => {
                    self.in_string = false;
                    return if self.depth == 0 {
                        Step::Last
                    } else {
                        Step::Inside
                    };
                }
                _ => {}
            }
            return Step::Inside;
        }
        match byte {
            b'"' if !self.is_scalar() => self.in_string = true,
            b'{' | b'[' if !self.is_scalar() => {
                if let Some(level) = self.open.get_mut(self.depth) {
                    *level = byte;
                }
                self.depth += 1;
                self.deepest = self.deepest.max(self.depth);
            }
            b'}' | b']' if self.depth > 0 => {
                self.depth -= 1;
                let opened = if byte == b'}' { b'{' } else { b'[' };
                if self
                    .open
                    .get(self.depth)
                    .is_some_and(|&level| level != opened)
                {
                    self.mismatch = Some(byte);
                    return Step::Last;
                }
                if self.depth == 0 {
                    return Step::Last;
                }
            }
            b'}' | b']' | b',' | b':' | b' ' | b'\t' | b'\r' | b'\n' if self.depth == 0 => {
                return Step::Before;
            }
            _ if self.depth == 0 => self.scalar = true,
            _ => {}
        }
        Step::Inside
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{BufReader, Read};

    /// Every value of a text, read through a buffer of the given size.
    fn values(text: &str, buffer: usize) -> Result<Vec<String>, Code> {
        let input = BufReader::with_capacity(buffer, text.as_bytes());
        let mut scanner = Scanner::new(input, "text").map_err(|issue| issue.code)?;
        let (mut found, mut kept) = (Vec::new(), Vec::new());
        while scanner.next_token().map_err(|issue| issue.code)?.is_some() {
            scanner.value(&mut kept).map_err(|issue| issue.code)?;
            found.push(String::from_utf8(kept.clone()).unwrap());
            if scanner.next_token().map_err(|issue| issue.code)? == Some(b',') {
                scanner.pass(b',');
            }
        }
        Ok(found)
    }

    #[test]
    fn values_end_where_they_end_whatever_the_buffer() {
        let text = r#" {"a":[1,{"b":"}]\"\\"}]} , "x,\"y" , -1.5e3,null ,[ ] , 7"#;
        let wanted = vec![
            r#"{"a":[1,{"b":"}]\"\\"}]}"#,
            r#""x,\"y""#,
            "-1.5e3",
            "null",
            "[ ]",
            "7",
        ];
        for buffer in 1..40 {
            assert_eq!(values(text, buffer).unwrap(), wanted, "buffer of {buffer}");
        }
    }

    #[test]
    fn broken_texts_are_told_with_their_place() {
        assert_eq!(values(r#"{"a":[1,2}"#, 8), Err(Code::IN03));
        assert_eq!(values(r#"{"a":"#, 8), Err(Code::IN03));
        assert_eq!(values(r#""abc"#, 8), Err(Code::IN03));
        assert_eq!(values(", ,", 8), Err(Code::IN03));
        let mut scanner = Scanner::new(b"{\n  \"a\": [1".as_slice(), "lawns").unwrap();
        let issue = scanner.value(&mut Vec::new()).unwrap_err();
        assert_eq!(issue.found, "the text ends at line 2, column 10");
        assert_eq!(issue.place.file.as_deref(), Some("lawns"));
    }

    #[test]
    fn depth_is_counted_without_recursion() {
        let deep = format!("{}{}", "[".repeat(1_000_000), "]".repeat(1_000_000));
        let mut scanner = Scanner::new(deep.as_bytes(), "deep").unwrap();
        assert_eq!(scanner.value(&mut Vec::new()).unwrap().size, Size::TooDeep);
        assert_eq!(nesting(b"{\"a\":[\"[[[\"]}"), 2);
    }

    #[test]
    fn a_value_that_is_too_long_passes_without_being_kept() {
        let long = MOST_FEATURE_BYTES as u64 + 10;
        let input = std::io::repeat(b'7').take(long).chain(b",8".as_slice());
        let mut scanner = Scanner::new(BufReader::new(input), "long").unwrap();
        let mut kept = Vec::new();
        assert_eq!(scanner.value(&mut kept).unwrap().size, Size::TooLong);
        scanner.expect(b',').unwrap();
        scanner.value(&mut kept).unwrap();
        assert_eq!(kept, b"8");
    }

    #[test]
    fn records_are_lines_or_stand_between_separators() {
        let mut kept = Vec::new();
        let text = b"\n{}\r\n\n{\"a\":1}";
        let mut scanner = Scanner::new(text.as_slice(), "lines").unwrap();
        assert_eq!(scanner.record(b'\n', &mut kept).unwrap().unwrap().line, 2);
        assert_eq!(kept.trim_ascii(), b"{}");
        let extent = scanner.record(b'\n', &mut kept).unwrap().unwrap();
        assert_eq!((extent.offset, extent.line), (6, 4));
        assert_eq!(kept, b"{\"a\":1}");
        assert_eq!(scanner.record(b'\n', &mut kept).unwrap(), None);
        let mut scanner = Scanner::new(b"\x1e{\n}\n\x1e\x1e[]".as_slice(), "separated").unwrap();
        assert!(scanner.record(0x1e, &mut kept).unwrap().is_some());
        assert_eq!(kept.trim_ascii(), b"{\n}");
        assert!(scanner.record(0x1e, &mut kept).unwrap().is_some());
        assert_eq!(kept, b"[]");
        assert_eq!(scanner.record(0x1e, &mut kept).unwrap(), None);
    }
}
