//! How an issue is told: what, the line of the input where it is with the place underlined, and what
//! to do next.
//!
//! A terminal gets it in colours and in boxes, everybody else the one line of the issue and a plain
//! drawing below it, without a line break that depends on a width.

use std::env;
use std::fmt;
use std::io::{self, IsTerminal};

use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteError,
    MietteSpanContents, Severity as Weight, SourceCode, SourceSpan, SpanContents, ThemeCharacters,
    ThemeStyles,
};

use crate::issue::{Issue, Severity};
use crate::read::excerpt::{Excerpt, visible};

/// Longest message \[characters\]: ids may be as long as somebody likes.
const MOST_MESSAGE: usize = 2_000;
/// Failures told with their excerpts, or one by one; all of them are in `failures.csv`.
pub(super) const MOST_FAILURES_TOLD: u64 = 10;
/// Width where the terminal does not say it, and the largest that is filled \[columns\].
const WIDTH: usize = 100;

/// The look of what is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Look {
    /// One line, and a drawing in ASCII.
    Plain,
    /// In a terminal of so many columns.
    Terminal {
        /// Columns.
        width: usize,
        /// Whether colours are wanted.
        coloured: bool,
    },
}

impl Look {
    /// The look for stderr.
    pub(super) fn of_stderr() -> Look {
        let is_dumb = env::var_os("TERM").is_none_or(|name| name == "dumb");
        if !io::stderr().is_terminal() || is_dumb {
            return Look::Plain;
        }
        let size = terminal_size::terminal_size_of(io::stderr());
        Look::Terminal {
            width: size.map_or(WIDTH, |(width, _)| usize::from(width.0).min(WIDTH)),
            coloured: env::var_os("NO_COLOR").is_none_or(|value| value.is_empty()),
        }
    }
}

/// An issue as text without a line end, with an excerpt of its input where one can be had.
pub(super) fn told(issue: &Issue, look: Look) -> String {
    let excerpt = Excerpt::of(issue);
    let told = Told::new(issue, excerpt, look);
    let mut text = String::new();
    // A string takes everything, and the excerpt is its own source.
    if told.handler().render_report(&mut text, &told).is_err() {
        return told.message;
    }
    text.trim().to_owned()
}

/// One issue as a diagnostic.
#[derive(Debug)]
struct Told {
    look: Look,
    code: &'static str,
    weight: Weight,
    message: String,
    remedy: &'static str,
    excerpt: Option<Shown>,
}

impl Told {
    fn new(issue: &Issue, excerpt: Option<Excerpt>, look: Look) -> Told {
        let place = issue.place.to_string();
        let message = match look {
            Look::Plain => issue.to_string(),
            Look::Terminal { .. } if place.is_empty() => issue.statement(),
            Look::Terminal { .. } => format!("{} [{place}]", issue.statement()),
        };
        let weight = match issue.severity() {
            Severity::Note => Weight::Advice,
            Severity::Warning | Severity::Partial => Weight::Warning,
            Severity::Failed | Severity::Fatal => Weight::Error,
        };
        Told {
            look,
            code: issue.code.text(),
            weight,
            message: safe(&message),
            remedy: issue.code.remedy(),
            excerpt: excerpt.map(Shown::new),
        }
    }

    fn handler(&self) -> GraphicalReportHandler {
        let theme = |characters, coloured| GraphicalTheme {
            characters,
            styles: if coloured {
                ThemeStyles::ansi()
            } else {
                ThemeStyles::none()
            },
        };
        let handler = GraphicalReportHandler::new().with_links(false);
        match self.look {
            Look::Plain => {
                let characters = ThemeCharacters {
                    error: String::new(),
                    warning: String::new(),
                    advice: String::new(),
                    ..ThemeCharacters::ascii()
                };
                handler
                    .with_theme(theme(characters, false))
                    .with_wrap_lines(false)
            }
            Look::Terminal { width, coloured } => handler
                .with_theme(theme(ThemeCharacters::unicode(), coloured))
                .with_width(width),
        }
    }
}

/// A message in which nothing steers a terminal, cut where it is very long.
pub(super) fn safe(message: &str) -> String {
    let lines: Vec<String> = message
        .lines()
        .map(|line| visible(line.as_bytes()))
        .collect();
    let text = lines.join(" ");
    match text.char_indices().nth(MOST_MESSAGE) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Told {}

impl Diagnostic for Told {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        match self.look {
            Look::Plain => None, // it begins the line
            Look::Terminal { .. } => Some(Box::new(self.code)),
        }
    }

    fn severity(&self) -> Option<Weight> {
        Some(self.weight)
    }

    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        match self.look {
            Look::Plain => None, // it ends the line
            Look::Terminal { .. } => Some(Box::new(self.remedy)),
        }
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.excerpt.as_ref().map(|shown| shown as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let shown = self.excerpt.as_ref()?;
        let label = LabeledSpan::new_primary_with_span(None, shown.mark);
        Some(Box::new(std::iter::once(label)))
    }
}

/// The excerpt as a source of one line, numbered as in its file.
#[derive(Debug)]
struct Shown {
    excerpt: Excerpt,
    text: String,
    mark: SourceSpan,
}

impl Shown {
    fn new(excerpt: Excerpt) -> Shown {
        let text = format!("{}{}{}", excerpt.before, excerpt.marked, excerpt.after);
        let mark = (excerpt.before.len(), excerpt.marked.len()).into();
        Shown {
            excerpt,
            text,
            mark,
        }
    }
}

impl SourceCode for Shown {
    fn read_span<'a>(
        &'a self,
        _: &SourceSpan,
        _: usize,
        _: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let whole = (0, self.text.len()).into();
        let line = self.excerpt.line.saturating_sub(1) as usize;
        let column = self.excerpt.column.saturating_sub(1) as usize;
        let (name, text) = (self.excerpt.name.clone(), self.text.as_bytes());
        let contents = MietteSpanContents::new_named(name, text, whole, line, column, 1);
        Ok(Box::new(contents))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::issue::{Code, Spot};

    fn typed() -> Issue {
        Issue::new(Code::AS02, "999").at_spot(Spot::Typed {
            text: "clock.minutes_min=999".to_owned(),
            from: 18,
            to: 21,
        })
    }

    #[test]
    fn a_pipe_gets_one_line_and_a_plain_drawing() {
        assert_eq!(
            told(&typed(), Look::Plain),
            "AS02 The value lies outside its bounds: 999. To mend it: give a value within the bounds \
             listed by `evenfall assumptions`.\n   ,-[command line:1:19]\n 1 | clock.minutes_min=999\n   \
             :                   ^^^\n   `----"
        );
        let nowhere = Issue::new(Code::IN05, "the layer is empty");
        assert_eq!(told(&nowhere, Look::Plain), nowhere.to_string());
    }

    #[test]
    fn a_terminal_gets_code_place_and_remedy_within_its_width() {
        let look = |coloured| Look::Terminal {
            width: 60,
            coloured,
        };
        let text = told(&typed(), look(false));
        assert!(text.starts_with("AS02"), "{text}");
        assert!(text.contains("help: give a value"), "{text}");
        assert!(
            text.lines().all(|line| line.chars().count() <= 60),
            "{text}"
        );
        assert!(!text.contains('\u{1b}'));
        assert!(told(&typed(), look(true)).contains('\u{1b}'));
    }

    #[test]
    fn a_message_cannot_steer_the_terminal() {
        let hostile = format!("\u{1b}[2J\u{202e}{}", "x".repeat(10_000));
        for look in [
            Look::Plain,
            Look::Terminal {
                width: 80,
                coloured: false,
            },
        ] {
            let text = told(&Issue::new(Code::JO01, &hostile).of_parcel(&hostile), look);
            assert!(!text.contains(['\u{1b}', '\u{202e}']), "{text}");
            assert!(text.chars().count() < 4 * MOST_MESSAGE);
        }
    }
}
