//! Data Matrix (ISO/IEC 16022) and Code 128 (ISO/IEC 15417) as modules that are dark or light.

use barcoders::sym::code128::Code128;
use datamatrix::{DataMatrix, DataMatrixBuilder, SymbolList};

/// What a symbol says.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Said<'a> {
    /// A GS1 element string, with U+001D where a separator stands.
    Gs1(&'a str),
    /// The site's own code.
    Plain(&'a str),
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Shape {
    Square,
    /// For the long side of a thin shaft.
    Rectangle,
}

/// The modules of a symbol, without the light zone around it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Symbol {
    pub width: usize,
    pub height: usize,
    /// Light modules that must stay free around it, at the sides and above and below.
    pub quiet: (usize, usize),
    dark: Vec<bool>,
}

/// It does not fit into any symbol, or holds what the symbol cannot say.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct TooMuch;

impl Symbol {
    pub fn is_dark(&self, x: usize, y: usize) -> bool {
        x < self.width && self.dark.get(y * self.width + x).copied().unwrap_or(false)
    }

    /// Whether it is one row of bars, drawn as high as there is room for.
    pub fn is_bars(&self) -> bool {
        self.height == 1
    }

    /// Dark runs of a row: where each begins and how long it is.
    pub fn runs(&self, y: usize) -> Vec<(usize, usize)> {
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for x in (0..self.width).filter(|x| self.is_dark(*x, y)) {
            match runs.last_mut() {
                Some((start, long)) if *start + *long == x => *long += 1,
                _ => runs.push((x, 1)),
            }
        }
        runs
    }
}

/// A Data Matrix of the smallest size that holds the text.
///
/// # Errors
/// Where no size holds it.
pub fn data_matrix(said: Said<'_>, shape: Shape) -> Result<Symbol, TooMuch> {
    let sizes = match shape {
        Shape::Square => SymbolList::default().enforce_square(),
        Shape::Rectangle => SymbolList::default().enforce_rectangular(),
    };
    let code = match said {
        Said::Gs1(text) => DataMatrix::encode_gs1(text.as_bytes(), sizes),
        Said::Plain(text) => {
            DataMatrixBuilder::new().with_symbol_list(sizes).with_macros(false).encode_str(text)
        }
    };
    let bitmap = code.map_err(|_| TooMuch)?.bitmap();
    let (width, height) = (bitmap.width(), bitmap.height());
    let mut dark = vec![false; width * height];
    for (x, y) in bitmap.pixels() {
        if let Some(module) = dark.get_mut(y * width + x) {
            *module = true;
        }
    }
    Ok(Symbol { width, height, quiet: (1, 1), dark })
}

/// Code 128, of digits in pairs as long as they stand at the beginning, then of single characters.
///
/// # Errors
/// Where a character is none of the symbol's, or it is longer than readers read.
pub fn code_128(said: Said<'_>) -> Result<Symbol, TooMuch> {
    /// A row of more characters is wider than readers look.
    const LONGEST: usize = 48;
    const SET_B: char = 'Ɓ';
    const SET_C: char = 'Ć';
    const FNC1: char = 'Ź';
    let (text, first) = match said {
        Said::Gs1(text) => (text, Some(FNC1)),
        Said::Plain(text) => (text, None),
    };
    let shown =
        |letter: char| letter == ' ' || letter.is_ascii_graphic() || (first.is_some() && letter == '\u{1d}');
    if text.is_empty() || text.chars().count() > LONGEST || !text.chars().all(shown) {
        return Err(TooMuch);
    }
    let digits = text.bytes().take_while(u8::is_ascii_digit).count() & !1;
    let (pairs, rest) = text.split_at_checked(if digits >= 4 { digits } else { 0 }).ok_or(TooMuch)?;
    let mut data = String::from(if pairs.is_empty() { SET_B } else { SET_C });
    data.extend(first);
    data.push_str(pairs);
    if !pairs.is_empty() && !rest.is_empty() {
        data.push(SET_B);
    }
    data.extend(rest.chars().map(|letter| if letter == '\u{1d}' { FNC1 } else { letter }));
    let bars = Code128::new(data).map_err(|_| TooMuch)?.encode();
    let dark: Vec<bool> = bars.into_iter().map(|module| module == 1).collect();
    Ok(Symbol { width: dark.len(), height: 1, quiet: (10, 0), dark })
}
