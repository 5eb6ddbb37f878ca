//! Names an input: `FILE`, `FILE:LAYER`, or `-` for a GeoJSON text sequence on stdin.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Cursor, Read, Seek};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::feature::Feature;
use crate::cells::decode;
use crate::issue::{Code, Issue};

/// How much of an input is looked at to tell what it is [bytes].
const HEAD_BYTES: usize = 64 * 1024;
/// Most that is taken from a pipe when it has to be read twice [bytes].
const MOST_SPOOLED_BYTES: u64 = 4 * 1024 * 1024 * 1024;
/// Largest table, program file or record of a run [bytes]: a meter table of a million parcels over two
/// years is near it.
const MAX_TEXT_BYTES: u64 = 1 << 30;
/// What starts a record of a text sequence (RFC 8142, section 2).
pub(super) const RECORD_SEPARATOR: u8 = 0x1e;
const UTF8_MARK: &[u8] = b"\xef\xbb\xbf";

/// Names that the vector library would resolve to something else than a plain file.
const VIRTUAL_PREFIXES: [&str; 22] = [
    "pg:",
    "mysql:",
    "mssql:",
    "odbc:",
    "pgeo:",
    "oci:",
    "wfs:",
    "wfs3:",
    "oapif:",
    "wms:",
    "es:",
    "mongodb:",
    "mongodbv3:",
    "geojson:",
    "esrijson:",
    "topojson:",
    "gpkg:",
    "sqlite:",
    "carto:",
    "couchdb:",
    "amigocloud:",
    "csw:",
];

/// An input of the run, as the user named it.
#[derive(Debug, Clone)]
pub struct Source {
    name: String,
    place: Place,
    layer: Option<String>,
}

#[derive(Debug, Clone)]
enum Place {
    Stdin,
    File(PathBuf),
    Pipe(PathBuf),
    Memory(Arc<[u8]>),
    #[cfg_attr(
        not(feature = "arrow"),
        allow(dead_code, reason = "only record batches need it")
    )]
    Features(Arc<[Feature]>),
}

/// How the records of a text sequence are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Framing {
    /// A record separator before each (RFC 8142).
    Separators,
    /// One on each line.
    Lines,
}

/// What an input holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// One GeoJSON text: a collection, a feature or a geometry.
    Document,
    /// A sequence of features.
    Sequence(Framing),
    /// Something for the vector library.
    Other,
}

/// Bytes read once, from the front.
pub(super) type Stream = Box<dyn BufRead + Send>;

/// Bytes that can be read again.
pub(super) trait Again: BufRead + Seek + Send {}
impl<T: BufRead + Seek + Send> Again for T {}

impl Source {
    /// Reads what the user wrote.
    ///
    /// # Errors
    /// `IN01` if there is no such file, `IN02` for folders and for names of networks, databases
    /// and virtual file systems.
    ///
    /// # Example
    /// ```
    /// use evenfall::read::Source;
    /// assert!(Source::parse("-").unwrap().is_stdin());
    /// let refused = Source::parse("/vsicurl/lawns.gpkg").unwrap_err();
    /// assert_eq!(refused.code.text(), "IN02");
    /// ```
    pub fn parse(text: &str) -> Result<Source, Issue> {
        if text == "-" {
            return Ok(Source {
                name: text.to_owned(),
                place: Place::Stdin,
                layer: None,
            });
        }
        if let Some(why) = virtual_name(text) {
            return Err(Issue::new(Code::IN02, why).in_file(text));
        }
        if let Some(found) = plain_file(text)? {
            return Ok(Source {
                name: text.to_owned(),
                place: found,
                layer: None,
            });
        }
        for (at, _) in text.char_indices().rev().filter(|&(_, c)| c == ':') {
            let (file, layer) = (&text[..at], &text[at + 1..]);
            if file.is_empty() || layer.is_empty() {
                continue;
            }
            if let Some(place) = plain_file(file)? {
                let layer = Some(layer.to_owned());
                return Ok(Source {
                    name: text.to_owned(),
                    place,
                    layer,
                });
            }
        }
        Err(Issue::new(Code::IN01, "there is no such file").in_file(text))
    }

    /// Makes a source of bytes already in memory, under a name for messages.
    #[must_use]
    pub fn from_bytes(name: impl Into<String>, bytes: impl Into<Arc<[u8]>>) -> Source {
        Source {
            name: name.into(),
            place: Place::Memory(bytes.into()),
            layer: None,
        }
    }

    /// Makes a source of features that were read before; the locator of each is its place in the list.
    #[cfg_attr(
        not(feature = "arrow"),
        allow(dead_code, reason = "only record batches need it")
    )]
    pub(super) fn of_features(name: &str, features: Vec<Feature>) -> Source {
        Source {
            name: name.to_owned(),
            place: Place::Features(features.into()),
            layer: None,
        }
    }

    /// The features, if they were read before.
    pub(super) fn features(&self) -> Option<&Arc<[Feature]>> {
        match &self.place {
            Place::Features(features) => Some(features),
            _ => None,
        }
    }

    /// The name as the user gave it.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The layer asked for with `FILE:LAYER`.
    #[must_use]
    pub fn layer(&self) -> Option<&str> {
        self.layer.as_deref()
    }

    /// The file, if it is one.
    #[must_use]
    pub fn path(&self) -> Option<&Path> {
        match &self.place {
            Place::File(path) | Place::Pipe(path) => Some(path),
            Place::Stdin | Place::Memory(_) | Place::Features(_) => None,
        }
    }

    /// Whether this is stdin.
    #[must_use]
    pub fn is_stdin(&self) -> bool {
        matches!(self.place, Place::Stdin)
    }

    /// Whether the bytes pass only once.
    pub(super) fn passes_once(&self) -> bool {
        matches!(self.place, Place::Stdin | Place::Pipe(_))
    }

    /// The whole input as text.
    ///
    /// # Errors
    /// `IN01` if it cannot be read, `IN12` if it is larger than 1 GiB, `IN20` if it is no Unicode text.
    pub fn text(&self) -> Result<String, Issue> {
        let mut bytes = Vec::new();
        self.bytes()?
            .take(MAX_TEXT_BYTES + 1)
            .read_to_end(&mut bytes)
            .map_err(|fault| self.unreadable(&fault))?;
        if bytes.len() as u64 > MAX_TEXT_BYTES {
            return Err(Issue::new(Code::IN12, "a text may have 1 GiB").in_file(&self.name));
        }
        decode(bytes, &self.name)
    }

    /// The same source with its bytes in memory if they would otherwise pass only once.
    pub(super) fn spooled(&self) -> Result<Source, Issue> {
        if self.passes_once() {
            Ok(self.spooled_from(self.bytes()?)?.0)
        } else {
            Ok(self.clone())
        }
    }

    /// The same source with the bytes of a stream in memory, and a stream over them.
    pub(super) fn spooled_from(&self, stream: Stream) -> Result<(Source, Stream), Issue> {
        let mut bytes = Vec::new();
        let read = stream.take(MOST_SPOOLED_BYTES).read_to_end(&mut bytes);
        let length = read.map_err(|fault| self.unreadable(&fault))?;
        if length as u64 >= MOST_SPOOLED_BYTES {
            return Err(Issue::new(Code::IN12, "a pipe may bring 4 GiB").in_file(&self.name));
        }
        let bytes: Arc<[u8]> = bytes.into();
        let source = Source {
            place: Place::Memory(Arc::clone(&bytes)),
            ..self.clone()
        };
        Ok((source, Box::new(Cursor::new(bytes))))
    }

    /// Opens the source and tells what it holds; the stream starts at the first byte after a
    /// byte order mark.
    pub(super) fn open(&self) -> Result<(Kind, Stream), Issue> {
        let mut bytes = self.bytes()?;
        let mut head = Vec::new();
        read_head(&mut bytes, &mut head).map_err(|fault| self.unreadable(&fault))?;
        let extension = self
            .path()
            .and_then(Path::extension)
            .map(|extension| extension.to_string_lossy().to_ascii_lowercase());
        let named_sequence = self.name == "-"
            || matches!(
                extension.as_deref(),
                Some("geojsons" | "geojsonl" | "ndjson" | "jsonl")
            );
        let named_document = matches!(extension.as_deref(), Some("geojson" | "json"));
        let kind = self.sniff(&head, named_sequence, named_document)?;
        Ok((kind, Box::new(Cursor::new(head).chain(bytes))))
    }

    /// Opens the bytes for reading anywhere.
    pub(super) fn open_again(&self) -> Result<Box<dyn Again>, Issue> {
        match &self.place {
            Place::Memory(bytes) => Ok(Box::new(Cursor::new(Arc::clone(bytes)))),
            Place::File(path) => {
                let file = File::open(path).map_err(|fault| self.unreadable(&fault))?;
                Ok(Box::new(BufReader::with_capacity(HEAD_BYTES, file)))
            }
            Place::Stdin | Place::Pipe(_) => {
                Err(Issue::new(Code::IN01, "a pipe cannot be read twice").in_file(&self.name))
            }
            Place::Features(_) => Err(self.no_bytes()),
        }
    }

    /// The issue of a source whose bytes do not come.
    pub(super) fn unreadable(&self, fault: &io::Error) -> Issue {
        Issue::new(Code::IN01, fault.to_string()).in_file(&self.name)
    }

    fn no_bytes(&self) -> Issue {
        Issue::new(Code::RU02, "features that were read have no bytes").in_file(&self.name)
    }

    fn bytes(&self) -> Result<Stream, Issue> {
        match &self.place {
            Place::Features(_) => Err(self.no_bytes()),
            Place::Stdin => Ok(Box::new(BufReader::with_capacity(HEAD_BYTES, io::stdin()))),
            Place::Memory(bytes) => Ok(Box::new(Cursor::new(Arc::clone(bytes)))),
            Place::File(path) | Place::Pipe(path) => {
                let file = File::open(path).map_err(|fault| self.unreadable(&fault))?;
                Ok(Box::new(BufReader::with_capacity(HEAD_BYTES, file)))
            }
        }
    }

    fn sniff(&self, head: &[u8], sequence: bool, document: bool) -> Result<Kind, Issue> {
        let refuse = |what: &str| Err(Issue::new(Code::IN02, what).in_file(&self.name));
        if head.starts_with(b"\xff\xfe") || head.starts_with(b"\xfe\xff") {
            return refuse("the text is UTF-16; GeoJSON is UTF-8");
        }
        if head.starts_with(b"\x1f\x8b") {
            return refuse("the file is compressed; unpack it first");
        }
        let text = head
            .strip_prefix(UTF8_MARK)
            .unwrap_or(head)
            .trim_ascii_start();
        if text.starts_with(b"<OGRVRTDataSource") {
            return refuse("virtual layers that point to other files are not read");
        }
        match text.first() {
            Some(&RECORD_SEPARATOR) => Ok(Kind::Sequence(Framing::Separators)),
            Some(b'{') if sequence && !starts_a_document(text) => {
                Ok(Kind::Sequence(Framing::Lines))
            }
            Some(b'{') if starts_a_sequence(text) => Ok(Kind::Sequence(Framing::Lines)),
            Some(b'{') => Ok(Kind::Document),
            // A zero byte is in no text: this is some other format on stdin.
            _ if sequence && !text.contains(&0) => Ok(Kind::Sequence(Framing::Lines)),
            _ if document => Ok(Kind::Document),
            None => refuse("the file is empty"),
            Some(_) => Ok(Kind::Other),
        }
    }
}

/// The text of a file.
///
/// # Errors
/// `IN01` if it cannot be read, `IN12` if it is larger than 1 GiB, `IN20` if it is no Unicode text.
pub fn text_of(path: &Path) -> Result<String, Issue> {
    let source = Source {
        name: path.display().to_string(),
        place: Place::File(path.to_owned()),
        layer: None,
    };
    source.text()
}

/// Takes bytes up to the end of the first line that is not blank, or [`HEAD_BYTES`].
fn read_head(bytes: &mut Stream, head: &mut Vec<u8>) -> io::Result<()> {
    loop {
        let chunk = bytes.fill_buf()?;
        if chunk.is_empty() {
            return Ok(());
        }
        let taken = chunk.len();
        head.extend_from_slice(chunk);
        bytes.consume(taken);
        let line = head.trim_ascii_start();
        if head.len() >= HEAD_BYTES || line.contains(&b'\n') {
            return Ok(());
        }
    }
}

/// Whether a text in a place for sequences is one collection, or one text over many lines.
fn starts_a_document(text: &[u8]) -> bool {
    let line = first_line(text);
    let collection = b"\"FeatureCollection\"";
    line.trim_ascii() == b"{"
        || line
            .windows(collection.len())
            .any(|part| part == collection)
}

/// Whether a text in a place for documents has a whole feature on its first line and another
/// text on the next.
fn starts_a_sequence(text: &[u8]) -> bool {
    let line = first_line(text);
    let next = text[line.len()..].trim_ascii_start();
    next.starts_with(b"{")
        && !starts_a_document(text)
        && serde_json::from_slice::<serde::de::IgnoredAny>(line).is_ok()
}

fn first_line(text: &[u8]) -> &[u8] {
    text.split(|&byte| byte == b'\n').next().unwrap_or(text)
}

fn virtual_name(text: &str) -> Option<&'static str> {
    let lowercase = text.to_ascii_lowercase();
    if lowercase.starts_with("/vsi") || lowercase.contains("://") {
        return Some("names of networks and virtual file systems are not read; give a plain file");
    }
    if lowercase.starts_with('{') || lowercase.starts_with('<') {
        return Some("a text is not the name of a file");
    }
    if VIRTUAL_PREFIXES
        .iter()
        .any(|prefix| lowercase.starts_with(prefix))
    {
        return Some("databases and connection strings are not read; export to a file");
    }
    if lowercase.ends_with(".vrt") {
        return Some("virtual layers that point to other files are not read");
    }
    None
}

/// The place of a file of this name; `None` if there is none.
fn plain_file(name: &str) -> Result<Option<Place>, Issue> {
    let path = PathBuf::from(name);
    let Ok(found) = std::fs::metadata(&path) else {
        return Ok(None);
    };
    if found.is_dir() {
        return Err(Issue::new(Code::IN02, "this is a folder").in_file(name));
    }
    Ok(Some(if found.is_file() {
        Place::File(path)
    } else {
        Place::Pipe(path)
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind_of(text: &[u8], sequence: bool, document: bool) -> Result<Kind, Code> {
        let source = Source::from_bytes("bytes", text.to_vec());
        source
            .sniff(text, sequence, document)
            .map_err(|issue| issue.code)
    }

    #[test]
    fn the_kind_is_told_from_name_and_first_bytes() {
        let lines = Ok(Kind::Sequence(Framing::Lines));
        let feature = br#"{"type":"Feature","geometry":null}"#;
        let two = [feature.as_slice(), b"\n", feature.as_slice()].concat();
        assert_eq!(kind_of(feature, false, true), Ok(Kind::Document));
        assert_eq!(kind_of(feature, true, false), lines);
        assert_eq!(kind_of(&two, false, true), lines);
        assert_eq!(
            kind_of(b"\x1e{}", false, true),
            Ok(Kind::Sequence(Framing::Separators))
        );
        assert_eq!(
            kind_of(b"{\n \"type\": \"Feature\"}", true, false),
            Ok(Kind::Document)
        );
        let collection = br#"{"type":"FeatureCollection","features":[]}"#;
        assert_eq!(kind_of(collection, true, false), Ok(Kind::Document));
        assert_eq!(
            kind_of(b"\xef\xbb\xbf {\"a\":1}", false, false),
            Ok(Kind::Document)
        );
        assert_eq!(kind_of(b"SQLite format 3\0", false, false), Ok(Kind::Other));
        assert_eq!(kind_of(b"hello", false, true), Ok(Kind::Document));
        assert_eq!(kind_of(b"", true, false), lines);
        assert_eq!(kind_of(b"SQLite format 3\0", true, false), Ok(Kind::Other));
        assert_eq!(kind_of(b"", false, false), Err(Code::IN02));
        assert_eq!(kind_of(b"\xff\xfe{\0", false, true), Err(Code::IN02));
    }

    #[test]
    fn names_that_are_not_plain_files_are_refused() {
        for name in [
            "/vsizip/a.zip/b.shp",
            "https://example.org/a.geojson",
            "PG:dbname=lawns",
            "lawns.vrt",
            "{\"type\":\"Point\"}",
            "<OGRVRTDataSource>",
            "GPKG:a.gpkg:turf",
        ] {
            assert_eq!(Source::parse(name).unwrap_err().code, Code::IN02, "{name}");
        }
        assert_eq!(
            Source::parse("no-such-file.geojson").unwrap_err().code,
            Code::IN01
        );
        assert_eq!(
            Source::parse("no-such-file.gpkg:turf").unwrap_err().code,
            Code::IN01
        );
        assert_eq!(
            Source::parse(env!("CARGO_MANIFEST_DIR")).unwrap_err().code,
            Code::IN02
        );
    }

    #[test]
    fn a_layer_is_named_after_the_last_colon() {
        let manifest = format!("{}/Cargo.toml", env!("CARGO_MANIFEST_DIR"));
        assert_eq!(Source::parse(&manifest).unwrap().layer(), None);
        let source = Source::parse(&format!("{manifest}:east lawns")).unwrap();
        assert_eq!(source.layer(), Some("east lawns"));
    }
}
