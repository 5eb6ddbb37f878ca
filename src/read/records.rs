//! The texts of a GeoJSON file or stream, one feature at a time: a collection's `features`, the
//! records of a sequence, or one text by itself.

use serde_json::Value;

use super::feature::Feature;
use super::geojson::{self, Malformed};
use super::json::{Extent, MOST_FEATURE_BYTES, MOST_LEVELS, Scanner, Size, nesting};
use super::source::{Again, Framing, Kind, RECORD_SEPARATOR, Source, Stream};
use crate::crs::Crs;
use crate::issue::{Code, Issue};

/// A gap this small is read over rather than jumped over [bytes].
const READ_OVER_BYTES: u64 = 256 * 1024;

/// A GeoJSON layer.
pub(super) struct Records {
    source: Source,
    crs: Crs,
    scanner: Scanner<Stream>,
    again: Option<Scanner<Box<dyn Again>>>,
    state: State,
    kind: Kind,
    number: u64,
    text: Vec<u8>,
    /// Whether the whole text is one feature or geometry.
    single: bool,
    /// Whether a `type` member with the right value was seen in a collection.
    typed: bool,
}

#[derive(Debug, Clone, PartialEq)]
enum State {
    /// Inside `features`; the flag says whether one was read.
    Features(bool),
    /// One feature or geometry is the whole text; it stands in the buffer.
    Single(Extent),
    Sequence(Framing),
    Ended,
}

impl Records {
    /// Opens a GeoJSON text and reads up to the first feature.
    ///
    /// # Errors
    /// `IN01`, `IN02`, `IN03`, and `CR01`, `CR02`, `CR04` for a `crs` member.
    pub(super) fn open(source: &Source, kind: Kind, stream: Stream) -> Result<Records, Issue> {
        // A document is read twice; a sequence may be, and is spooled before if it will be.
        let (source, stream) = match kind {
            Kind::Document if source.passes_once() => source.spooled_from(stream)?,
            _ => (source.clone(), stream),
        };
        let state = match kind {
            Kind::Sequence(framing) => State::Sequence(framing),
            Kind::Document | Kind::Other => State::Ended,
        };
        let mut records = Records {
            crs: Crs::LonLat,
            scanner: Scanner::new(stream, source.name())?,
            source,
            again: None,
            state,
            kind,
            number: 0,
            text: Vec::new(),
            single: false,
            typed: false,
        };
        if kind == Kind::Document {
            records.state = records.open_document()?;
        }
        Ok(records)
    }

    /// Whether this is a text sequence.
    pub(super) fn is_sequence(&self) -> bool {
        matches!(self.kind, Kind::Sequence(_))
    }

    /// The next feature; what is wrong with one feature is in the feature.
    pub(super) fn next(&mut self) -> Result<Option<Feature>, Issue> {
        match self.state.clone() {
            State::Ended => Ok(None),
            State::Single(extent) => {
                self.state = State::Ended;
                self.element(extent, 1).map(Some)
            }
            State::Features(any) => self.next_of_collection(any),
            State::Sequence(framing) => {
                let end = end_of_record(framing);
                let Some(extent) = self.scanner.record(end, &mut self.text)? else {
                    self.state = State::Ended;
                    return Ok(None);
                };
                self.number += 1;
                Ok(Some(self.record(extent, self.number)))
            }
        }
    }

    /// Reads the feature at a place where one was read before.
    pub(super) fn fetch(&mut self, locator: u64, number: u64) -> Result<Feature, Issue> {
        let mut scanner = match self.again.take() {
            Some(scanner) => scanner,
            None => Scanner::new(self.source.open_again()?, self.source.name())?,
        };
        let moved = move_to(&mut scanner, locator).map_err(|fault| self.source.unreadable(&fault));
        let read = moved.and_then(|()| match self.kind {
            Kind::Sequence(framing) => scanner.record(end_of_record(framing), &mut self.text),
            Kind::Document | Kind::Other => scanner.value(&mut self.text).map(Some),
        });
        self.again = Some(scanner);
        let Some(extent) = read? else {
            let found = "the file changed while it was read";
            return Err(Issue::new(Code::IN03, found).in_file(self.source.name()));
        };
        let extent = Extent {
            offset: locator,
            ..extent
        };
        if self.is_sequence() {
            Ok(self.record(extent, number))
        } else {
            self.element(extent, number)
        }
    }

    /// Walks over the members of the outermost object up to `features`, or to the end.
    fn open_document(&mut self) -> Result<State, Issue> {
        match self.scanner.next_token()? {
            Some(b'{') => {}
            Some(b'[' | b'"') => return Err(self.not_geojson("the text is not an object")),
            Some(byte) => {
                let found = format!("`{}` where a text begins", byte.escape_ascii());
                return Err(self.scanner.fault(&found));
            }
            None => return Err(self.scanner.fault("the text ends")),
        }
        let start = Extent {
            offset: self.scanner.offset(),
            line: self.scanner.line(),
            column: 1,
            size: Size::Whole,
        };
        self.scanner.pass(b'{');
        let mut text = b"{".to_vec();
        let mut extent = start;
        let mut kind: Option<String> = None;
        let mut first = true;
        while let Some(name) = self.member_name(&mut first)? {
            let is_collection = kind
                .as_deref()
                .is_none_or(|kind| kind == "FeatureCollection");
            if name == "features" && is_collection {
                if self.scanner.next_token()? != Some(b'[') {
                    return Err(self.not_geojson("`features` is not an array"));
                }
                self.scanner.pass(b'[');
                self.typed = kind.is_some();
                return Ok(State::Features(false));
            }
            let (size, value) = self.member_value()?;
            match name.as_str() {
                "type" => kind = value.as_ref().and_then(Value::as_str).map(str::to_owned),
                "crs" => self.crs = self.read_crs(value.as_ref())?,
                _ => {}
            }
            if extent.size == Size::Whole {
                let fits = text.len() + self.text.len() <= MOST_FEATURE_BYTES;
                extent.size = if fits { size } else { Size::TooLong };
            }
            if extent.size == Size::Whole {
                if text.len() > 1 {
                    text.push(b',');
                }
                text.extend_from_slice(Value::String(name).to_string().as_bytes());
                text.push(b':');
                text.extend_from_slice(&self.text);
            }
        }
        text.push(b'}');
        self.end_of_text()?;
        match kind.as_deref() {
            Some("FeatureCollection") => Err(self.not_geojson("the collection has no `features`")),
            Some(kind) if geojson::is_feature_or_geometry(&serde_json::json!({ "type": kind })) => {
                self.text = text;
                self.single = true;
                Ok(State::Single(extent))
            }
            Some(kind) => Err(self.not_geojson(&format!("`{kind}` is not a type of GeoJSON"))),
            None => Err(self.not_geojson("the text has no `type`")),
        }
    }

    fn next_of_collection(&mut self, any: bool) -> Result<Option<Feature>, Issue> {
        match self.scanner.next_token()? {
            Some(b']') => {
                self.scanner.pass(b']');
                self.state = State::Ended;
                self.close_collection()?;
                return Ok(None);
            }
            Some(b',') if any => self.scanner.pass(b','),
            Some(_) if any => return Err(self.scanner.fault("`,` or `]` is missing")),
            _ => {}
        }
        self.state = State::Features(true);
        let extent = self.scanner.value(&mut self.text)?;
        self.number += 1;
        self.element(extent, self.number).map(Some)
    }

    /// Reads what stands behind the features.
    fn close_collection(&mut self) -> Result<(), Issue> {
        let mut first = false;
        while let Some(name) = self.member_name(&mut first)? {
            let (_, value) = self.member_value()?;
            match name.as_str() {
                "features" => return Err(self.not_geojson("`features` stands there twice")),
                "type" => {
                    let kind = value.as_ref().and_then(Value::as_str);
                    if kind != Some("FeatureCollection") {
                        return Err(self.not_geojson("the text is not a collection of features"));
                    }
                    self.typed = true;
                }
                "crs" if self.read_crs(value.as_ref())? != self.crs => {
                    let found =
                        "`crs` stands behind the features it is about; move it to the front";
                    return Err(Issue::new(Code::CR02, found).in_file(self.source.name()));
                }
                _ => {}
            }
        }
        if !self.typed {
            return Err(self.not_geojson("the text has no `type`"));
        }
        self.end_of_text()
    }

    /// The next member's name, with its colon; `None` at the end of the object.
    fn member_name(&mut self, first: &mut bool) -> Result<Option<String>, Issue> {
        match self.scanner.next_token()? {
            Some(b'}') => {
                self.scanner.pass(b'}');
                return Ok(None);
            }
            Some(b',') if !*first => {
                self.scanner.pass(b',');
                self.scanner.next_token()?;
            }
            Some(b'"') if *first => {}
            Some(_) => return Err(self.scanner.fault("a member's name is missing")),
            None => return Err(self.scanner.fault("the text ends")),
        }
        *first = false;
        let extent = self.scanner.value(&mut self.text)?;
        let Ok(name) = serde_json::from_slice(&self.text) else {
            let found = "a member's name is missing";
            return Err(self.scanner.fault_at(found, extent.line, extent.column));
        };
        self.scanner.expect(b':')?;
        Ok(Some(name))
    }

    /// A member's value, if it can be looked at. Its text stays in the buffer.
    fn member_value(&mut self) -> Result<(Size, Option<Value>), Issue> {
        let extent = self.scanner.value(&mut self.text)?;
        if extent.size != Size::Whole {
            return Ok((extent.size, None));
        }
        match geojson::value(&self.text) {
            Ok(value) => Ok((extent.size, Some(value))),
            Err(Malformed::Content(_)) => Ok((extent.size, None)),
            Err(Malformed::Json { what, line, column }) => {
                Err(self.fault_inside(extent, &what, line, column))
            }
        }
    }

    fn read_crs(&self, member: Option<&Value>) -> Result<Crs, Issue> {
        let unusable = Value::Bool(false);
        geojson::crs(member.unwrap_or(&unusable)).map_err(|issue| issue.in_file(self.source.name()))
    }

    fn end_of_text(&mut self) -> Result<(), Issue> {
        match self.scanner.next_token()? {
            None => Ok(()),
            Some(_) => Err(self.scanner.fault(
                "another text follows (name a text sequence .geojsonl, or give it on stdin)",
            )),
        }
    }

    /// The buffer as a feature of a document.
    fn element(&self, extent: Extent, number: u64) -> Result<Feature, Issue> {
        let place = |mut feature: Feature| {
            feature.name_place(self.source.name());
            feature
        };
        if extent.size != Size::Whole {
            return Ok(place(Feature::bad(
                number,
                extent.offset,
                oversize(extent.size),
            )));
        }
        let value = match geojson::value(&self.text) {
            Ok(value) => value,
            Err(Malformed::Content(issue)) => {
                return Ok(place(Feature::bad(number, extent.offset, issue)));
            }
            Err(Malformed::Json { what, line, column }) => {
                return Err(self.fault_inside(extent, &what, line, column));
            }
        };
        let feature = if self.single || geojson::type_of(&value) == Some("Feature") {
            geojson::feature(&value, number, extent.offset, &self.crs)
        } else {
            let issue = Issue::new(Code::GE11, "an element of `features` is not a feature");
            Feature::bad(number, extent.offset, issue)
        };
        Ok(place(feature))
    }

    /// The buffer as a record of a sequence; nothing in a record ends the run.
    fn record(&self, extent: Extent, number: u64) -> Feature {
        let bad = |found: String| {
            let found = format!("{found}, in the record at line {}", extent.line);
            Feature::bad(number, extent.offset, Issue::new(Code::IN06, found))
        };
        let mut feature = if extent.size == Size::TooLong {
            Feature::bad(number, extent.offset, oversize(Size::TooLong))
        } else if nesting(&self.text) > MOST_LEVELS {
            Feature::bad(number, extent.offset, oversize(Size::TooDeep))
        } else {
            match geojson::value(&self.text) {
                Ok(value) if geojson::is_feature_or_geometry(&value) => {
                    geojson::feature(&value, number, extent.offset, &self.crs)
                }
                Ok(value) => match geojson::type_of(&value) {
                    Some(kind) => bad(format!("`{kind}` is not a feature")),
                    None => bad("the text has no `type`".to_owned()),
                },
                Err(Malformed::Content(issue)) => Feature::bad(number, extent.offset, issue),
                Err(Malformed::Json { what, line, column }) => {
                    bad(format!("{what} (its line {line}, column {column})"))
                }
            }
        };
        feature.name_place(self.source.name());
        feature
    }

    fn fault_inside(&self, extent: Extent, what: &str, line: u64, column: u64) -> Issue {
        let column = if line == 1 {
            extent.column + column.saturating_sub(1)
        } else {
            column
        };
        self.scanner
            .fault_at(what, extent.line + line.saturating_sub(1), column)
    }

    fn not_geojson(&self, found: &str) -> Issue {
        Issue::new(Code::IN02, found).in_file(self.source.name())
    }
}

fn end_of_record(framing: Framing) -> u8 {
    match framing {
        Framing::Separators => RECORD_SEPARATOR,
        Framing::Lines => b'\n',
    }
}

fn oversize(size: Size) -> Issue {
    let found = if size == Size::TooDeep {
        "nested deeper than 128"
    } else {
        "longer than 32 MiB"
    };
    Issue::new(Code::GE12, found)
}

fn move_to(scanner: &mut Scanner<Box<dyn Again>>, locator: u64) -> std::io::Result<()> {
    let at = scanner.offset();
    if (at..at + READ_OVER_BYTES).contains(&locator) {
        let mut left = (locator - at) as usize; // below READ_OVER_BYTES
        while left > 0 {
            let here = scanner.input().fill_buf()?.len().min(left);
            if here == 0 {
                break;
            }
            scanner.input().consume(here);
            left -= here;
        }
    } else {
        scanner.input().seek(std::io::SeekFrom::Start(locator))?;
    }
    scanner.moved_to(locator);
    Ok(())
}
