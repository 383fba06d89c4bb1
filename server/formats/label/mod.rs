//! Labels: a symbol that a reader reads and the lines that people read, laid out once in millimetres and drawn as SVG,
//! as a PDF sheet and for label printers.

mod advice;
mod layout;
mod lettering;
mod pdf;
mod svg;
mod symbol;
mod zpl;

pub use advice::{Advice, Marking, advice};
pub use layout::{Placed, TooSmall, laid_out};
pub use pdf::{PdfError, sheet};
pub use svg::{svg, symbol_svg};
pub use symbol::{Said, Shape, Symbol, TooMuch, code_128, data_matrix};
pub use zpl::zpl;

/// A line of a label.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Line {
    pub text: String,
    pub strong: bool,
    /// A label on which it does not stand as a whole is too small.
    pub whole: bool,
}

impl Line {
    /// A line that may be cut where there is no room for it.
    pub fn plain(text: impl Into<String>) -> Line {
        Line { text: text.into(), strong: false, whole: false }
    }

    pub fn whole(text: impl Into<String>) -> Line {
        Line { text: text.into(), strong: false, whole: true }
    }

    /// In strong letters, and never cut.
    pub fn strong(text: impl Into<String>) -> Line {
        Line { text: text.into(), strong: true, whole: true }
    }
}

#[derive(Clone, PartialEq, Debug)]
pub struct Label {
    pub symbol: Symbol,
    /// What the symbol says, for people: it is never cut off.
    pub caption: String,
    pub lines: Vec<Line>,
}

/// A label's size.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Size {
    pub width_mm: f64,
    pub height_mm: f64,
}

/// A sheet of labels: the page, and where the first label stands and how far the next ones are.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Sheet {
    pub page: Size,
    pub label: Size,
    pub columns: usize,
    pub rows: usize,
}

impl Sheet {
    /// As many labels as a page takes, evenly, with 8 mm at its edges that printers cannot reach. None where not one fits.
    pub fn of(page: Size, label: Size) -> Option<Sheet> {
        const EDGE_MM: f64 = 8.0;
        let many =
            |page: f64, label: f64| ((page - 2.0 * EDGE_MM) / label).floor().clamp(0.0, 100.0) as usize;
        let fits = label.width_mm > 0.0 && label.height_mm > 0.0;
        let (columns, rows) = (many(page.width_mm, label.width_mm), many(page.height_mm, label.height_mm));
        (fits && columns > 0 && rows > 0).then_some(Sheet { page, label, columns, rows })
    }

    /// Where a label stands on its page, from the upper left, in millimetres.
    pub fn place(&self, at: usize) -> (f64, f64) {
        let (column, row) = (at % self.columns, at / self.columns % self.rows);
        let edge = |page: f64, label: f64, many: usize| (page - label * many as f64) / 2.0;
        let left = edge(self.page.width_mm, self.label.width_mm, self.columns);
        let top = edge(self.page.height_mm, self.label.height_mm, self.rows);
        (left + self.label.width_mm * column as f64, top + self.label.height_mm * row as f64)
    }

    pub fn a_page(&self) -> usize {
        self.columns * self.rows
    }
}
