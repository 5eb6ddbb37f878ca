//! Which paper a sheet takes: the smallest on which everything stands on one page in letters that
//! can be read, as drawing sheets are chosen.
//!
//! A page is laid out by a browser, so what a block will be high is reckoned here from its lines, on
//! the high side; whoever prints the page counts its pages and asks for the next paper where that
//! was too little.

/// A paper, upright \[mm\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paper {
    /// Its name in the trade.
    pub name: &'static str,
    /// Its width \[mm\].
    pub width_mm: f64,
    /// Its height \[mm\].
    pub height_mm: f64,
    /// How many columns of tables and text stand side by side below the drawing.
    pub columns: usize,
}

/// White at each edge \[mm\]; office printers leave up to 5 blank.
pub const EDGE_MM: f64 = 8.0;
/// White between columns \[mm\].
pub const GAP_MM: f64 = 6.0;
/// A line of a table or of text, its border included \[mm\]: 7.5 pt on 3.5 mm.
pub const LINE_MM: f64 = 3.75;
/// A heading with the white above it \[mm\].
pub const HEADING_MM: f64 = 7.5;
/// Width of a letter in the mean \[mm\]: 7.5 pt, 0.57 em in a wide face.
pub const LETTER_MM: f64 = 1.51;

const fn paper(name: &'static str, width_mm: f64, height_mm: f64, columns: usize) -> Paper {
    Paper {
        name,
        width_mm,
        height_mm,
        columns,
    }
}

/// Papers of one kind from small to large.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Papers {
    /// ISO 216, A4 to A1.
    #[default]
    Iso,
    /// ANSI/ASME Y14.1, A (letter) to D.
    Ansi,
}

impl Papers {
    /// The papers, small to large.
    #[must_use]
    pub fn all(self) -> [Paper; 4] {
        match self {
            Papers::Iso => [
                paper("A4", 210.0, 297.0, 1),
                paper("A3", 297.0, 420.0, 1),
                paper("A2", 420.0, 594.0, 2),
                paper("A1", 594.0, 841.0, 3),
            ],
            Papers::Ansi => [
                paper("letter", 215.9, 279.4, 1),
                paper("tabloid", 279.4, 431.8, 1),
                paper("ANSI C", 431.8, 558.8, 2),
                paper("ANSI D", 558.8, 863.6, 3),
            ],
        }
    }
}

impl Paper {
    /// What can be printed on, across \[mm\].
    #[must_use]
    pub fn inner_width_mm(&self) -> f64 {
        self.width_mm - 2.0 * EDGE_MM
    }

    /// What can be printed on, down \[mm\].
    #[must_use]
    pub fn inner_height_mm(&self) -> f64 {
        self.height_mm - 2.0 * EDGE_MM
    }

    /// Width of one column \[mm\].
    #[must_use]
    pub fn column_mm(&self) -> f64 {
        let columns = self.columns as f64;
        (self.inner_width_mm() - GAP_MM * (columns - 1.0)) / columns
    }

    /// The rules of its page.
    #[must_use]
    pub(super) fn style(&self) -> String {
        format!(
            "@page{{size:{}mm {}mm;margin:{EDGE_MM}mm}}body{{width:{:.1}mm}}\
            .flow{{columns:{};column-gap:{GAP_MM}mm}}",
            self.width_mm,
            self.height_mm,
            self.inner_width_mm(),
            self.columns,
        )
    }
}

/// How many lines a text takes in a width, on the high side.
#[must_use]
pub fn lines(text: &str, width_mm: f64) -> f64 {
    // Words do not break: a twentieth of a line is white at its end.
    let letters = text.chars().count() as f64;
    (letters * LETTER_MM / (0.95 * width_mm)).ceil().max(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn papers_grow_and_hold_a_column() {
        for papers in [Papers::Iso, Papers::Ansi] {
            let all = papers.all();
            for pair in all.windows(2) {
                assert!(pair[0].height_mm < pair[1].height_mm);
                assert!(pair[0].width_mm < pair[1].width_mm);
            }
            // The widest table has eleven columns: it was looked at in 170 mm.
            assert!(all.iter().all(|paper| paper.column_mm() > 170.0), "{all:?}");
        }
    }

    #[test]
    fn lines_are_counted_up() {
        assert_eq!(lines("", 100.0), 1.0);
        assert_eq!(lines(&"x".repeat(62), 100.0), 1.0);
        assert_eq!(lines(&"x".repeat(63), 100.0), 2.0);
    }
}
