//! Where the symbol and the lines of a label stand.

use super::{Label, Line, Size};

/// Something on a label; millimetres from its upper left.
#[derive(Clone, PartialEq, Debug)]
pub enum Placed {
    /// The symbol without its light zone; bars are drawn this high.
    Symbol { x_mm: f64, y_mm: f64, module_mm: f64, high_mm: f64 },
    /// `y_mm` is the line on which the letters stand.
    Text { x_mm: f64, y_mm: f64, size_mm: f64, strong: bool, text: String },
}

/// The label is too small for its symbol or for its caption; what is needed at least.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct TooSmall {
    pub needed: Size,
}

const EDGE_MM: f64 = 1.0;
/// One dot of the usual label printer, of 203 dots an inch.
const DOT_MM: f64 = 25.4 / 203.0;
/// Modules of fewer dots are not read reliably once a printer's head has worn.
const LEAST_DOTS: f64 = 2.0;
/// A low rectangle has little to be found by: its modules are larger.
const LEAST_DOTS_OF_RECTANGLES: u32 = 3;
const MOST_DOTS: f64 = 6.0;
/// Letters: the smallest that is read at arm's length, and the largest that is of use.
const LEAST_LETTER_MM: f64 = 1.7;
const LETTER_MM: f64 = 3.0;
/// How wide a letter is on the average, of its size; the caption, which is never cut, is reckoned more widely.
const OF_SIZE: f64 = 0.52;
const OF_SIZE_AT_MOST: f64 = 0.62;

/// Lays a label out: a matrix to the left of its lines, bars below them.
///
/// # Errors
/// Where it does not fit with modules and letters that can be read.
pub fn laid_out(label: &Label, size: Size) -> Result<Vec<Placed>, TooSmall> {
    if label.symbol.is_bars() { bars(label, size) } else { matrix(label, size) }
}

fn matrix(label: &Label, size: Size) -> Result<Vec<Placed>, TooSmall> {
    let symbol = &label.symbol;
    let modules = |many: usize, quiet: usize| (many + 2 * quiet) as f64;
    let (columns, rows) = (modules(symbol.width, symbol.quiet.0), modules(symbol.height, symbol.quiet.1));
    let caption_mm = |letter: f64| letter_count(&label.caption) * letter * OF_SIZE_AT_MOST;
    let inner = Size { width_mm: size.width_mm - 2.0 * EDGE_MM, height_mm: size.height_mm - 2.0 * EDGE_MM };
    // The largest whole number of dots whose symbol leaves at least half of the label to the lines.
    let room = |dots: &f64| {
        let module = dots * DOT_MM;
        let beside = inner.width_mm - columns * module - EDGE_MM;
        rows * module <= inner.height_mm && beside >= caption_mm(LEAST_LETTER_MM).max(inner.width_mm * 0.4)
    };
    let fewest = if symbol.width == symbol.height { LEAST_DOTS as u32 } else { LEAST_DOTS_OF_RECTANGLES };
    let wide = columns * f64::from(fewest) * DOT_MM;
    let high = rows * f64::from(fewest) * DOT_MM;
    // Beside it the caption has room, and the lines have two fifths of the label between its edges.
    let for_caption = 3.0 * EDGE_MM + wide + caption_mm(LEAST_LETTER_MM);
    let for_lines = (3.0 * EDGE_MM + wide - 0.8 * EDGE_MM) / 0.6;
    let needed = Size {
        width_mm: up(for_caption.max(for_lines)),
        height_mm: up(2.0 * EDGE_MM + high.max(LEAST_LETTER_MM * 1.25)),
    };
    let dots = (fewest..=MOST_DOTS as u32).map(f64::from).rfind(room).ok_or(TooSmall { needed })?;
    let module_mm = dots * DOT_MM;
    let quiet = |quiet: usize| quiet as f64 * module_mm;
    let mut placed = vec![Placed::Symbol {
        x_mm: EDGE_MM + quiet(symbol.quiet.0),
        y_mm: EDGE_MM + quiet(symbol.quiet.1) + (inner.height_mm - rows * module_mm) / 2.0,
        module_mm,
        high_mm: symbol.height as f64 * module_mm,
    }];
    let left = 2.0 * EDGE_MM + columns * module_mm;
    let beside = Size { width_mm: size.width_mm - EDGE_MM - left, height_mm: inner.height_mm };
    placed.extend(lines(label, left, beside));
    Ok(placed)
}

fn bars(label: &Label, size: Size) -> Result<Vec<Placed>, TooSmall> {
    let symbol = &label.symbol;
    let columns = (symbol.width + 2 * symbol.quiet.0) as f64;
    let inner = Size { width_mm: size.width_mm - 2.0 * EDGE_MM, height_mm: size.height_mm - 2.0 * EDGE_MM };
    let dots = (inner.width_mm / (columns * DOT_MM)).floor().min(MOST_DOTS);
    // Bars lower than this are missed by a reader that is held at a slant.
    const LEAST_BARS_MM: f64 = 6.0;
    let caption = inner.width_mm >= letter_count(&label.caption) * LEAST_LETTER_MM * OF_SIZE_AT_MOST;
    let above_mm = inner.height_mm * 0.55;
    if dots < LEAST_DOTS || !caption || inner.height_mm - above_mm < LEAST_BARS_MM {
        let wide = columns * LEAST_DOTS * DOT_MM;
        let text = letter_count(&label.caption) * LEAST_LETTER_MM * OF_SIZE_AT_MOST;
        let needed = Size {
            width_mm: up(wide.max(text) + 2.0 * EDGE_MM),
            height_mm: up(LEAST_BARS_MM / 0.45 + 2.0 * EDGE_MM),
        };
        return Err(TooSmall { needed });
    }
    let module_mm = dots * DOT_MM;
    let mut placed = vec![Placed::Symbol {
        x_mm: (size.width_mm - symbol.width as f64 * module_mm) / 2.0,
        y_mm: EDGE_MM + above_mm,
        module_mm,
        high_mm: inner.height_mm - above_mm,
    }];
    placed.extend(lines(label, EDGE_MM, Size { width_mm: inner.width_mm, height_mm: above_mm }));
    Ok(placed)
}

/// To the next tenth of a millimetre.
fn up(mm: f64) -> f64 {
    ((mm + 1e-6) * 10.0).ceil() / 10.0
}

fn letter_count(text: &str) -> f64 {
    text.chars().count() as f64
}

/// The caption and as many lines as have room, each as large as it can be. A line that is too long ends with a sign
/// that says so; the caption is made smaller instead.
fn lines(label: &Label, left_mm: f64, room: Size) -> Vec<Placed> {
    let caption = Line::strong(label.caption.clone());
    let all: Vec<&Line> = std::iter::once(&caption).chain(&label.lines).collect();
    let many = ((room.height_mm / (LEAST_LETTER_MM * 1.25)).floor() as usize).clamp(1, all.len());
    let pitch_mm = (room.height_mm / many as f64).min(LETTER_MM * 1.25);
    // A long line makes all of them smaller, as far as they can still be read well.
    let longest = label.lines.iter().map(|line| letter_count(&line.text)).fold(1.0, f64::max);
    let well_read = (LEAST_LETTER_MM * 1.2).min(pitch_mm / 1.25);
    let own = (room.width_mm / (longest * OF_SIZE)).clamp(well_read, pitch_mm / 1.25);
    let above_mm = (room.height_mm - pitch_mm * many as f64) / 2.0;
    let mut placed = Vec::new();
    for (at, line) in all.into_iter().take(many).enumerate() {
        let is_caption = at == 0;
        let size_mm = match is_caption {
            true => own.min(room.width_mm / (letter_count(&line.text).max(1.0) * OF_SIZE_AT_MOST)),
            false => own,
        };
        let most = (room.width_mm / (size_mm * OF_SIZE)).floor() as usize;
        let text = if is_caption { line.text.clone() } else { cut(&line.text, most) };
        let y_mm = EDGE_MM + above_mm + pitch_mm * at as f64 + own;
        placed.push(Placed::Text { x_mm: left_mm, y_mm, size_mm, strong: line.strong, text });
    }
    placed
}

fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}
