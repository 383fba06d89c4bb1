//! Where the symbol and the lines of a label stand.

use super::lettering::{LEAST_LETTER_MM, Lettering, PITCH, lettered, rows_at_least, wide};
use super::{Label, Size};

/// Something on a label; millimetres from its upper left.
#[derive(Clone, PartialEq, Debug)]
pub enum Placed {
    /// The symbol without its light zone; bars are drawn this high.
    Symbol { x_mm: f64, y_mm: f64, module_mm: f64, high_mm: f64 },
    /// `y_mm` is the line on which the letters stand.
    /// It is `wide_mm` wide at the most, whatever the font.
    Text { x_mm: f64, y_mm: f64, size_mm: f64, wide_mm: f64, strong: bool, text: String },
}

/// The label is too small for its symbol, or for what has to stand beside it whole; what is needed at least.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct TooSmall {
    pub needed: Size,
}

const EDGE_MM: f64 = 1.0;
/// One dot of the usual label printer, of 203 dots an inch.
pub const DOT_MM: f64 = 25.4 / 203.0;
/// Modules of fewer dots are not read reliably once a printer's head has worn.
const LEAST_DOTS: u32 = 2;
/// The width of a module to aim at on a label (GS1 General Specifications, for healthcare items) is three dots.
const AIM_DOTS: u32 = 3;
/// A low rectangle has little to be found by: its modules are larger.
const LEAST_DOTS_OF_RECTANGLES: u32 = 3;
const MOST_DOTS: u32 = 6;
/// Bars lower than this are missed by a reader that is held at a slant.
const LEAST_BARS_MM: f64 = 6.0;
/// What the lines take of a label with bars below them, where that is enough.
const ABOVE: f64 = 0.55;
/// The least part of a label's width, between its edges, that stands free for lines beside a matrix.
const BESIDE: f64 = 0.4;
/// Labels are no larger.
const LARGEST_MM: f64 = 300.0;

/// Lays a label out: a matrix to the left of its lines, bars below them.
///
/// # Errors
/// Where it does not fit with modules and letters that can be read, and with every line that has to stand whole.
pub fn laid_out(label: &Label, size: Size) -> Result<Vec<Placed>, TooSmall> {
    let inner = Size { width_mm: size.width_mm - 2.0 * EDGE_MM, height_mm: size.height_mm - 2.0 * EDGE_MM };
    if label.symbol.is_bars() { bars(label, inner) } else { matrix(label, inner) }
}

/// The sides of a matrix with its light zone, in modules.
fn modules(label: &Label) -> (f64, f64) {
    let symbol = &label.symbol;
    let all = |many: usize, quiet: usize| (many + 2 * quiet) as f64;
    (all(symbol.width, symbol.quiet.0), all(symbol.height, symbol.quiet.1))
}

fn matrix(label: &Label, inner: Size) -> Result<Vec<Placed>, TooSmall> {
    let symbol = &label.symbol;
    let (columns, rows) = modules(label);
    let is_square = symbol.width == symbol.height;
    let fewest = if is_square { LEAST_DOTS } else { LEAST_DOTS_OF_RECTANGLES };
    // The largest whole number of dots, but for one that cuts lines which a width of module to aim at does not cut.
    let beside = |dots: u32| {
        let module = f64::from(dots) * DOT_MM;
        let width_mm = inner.width_mm - columns * module - EDGE_MM;
        let room = Size { width_mm, height_mm: inner.height_mm };
        let fits = rows * module <= inner.height_mm + 1e-9 && width_mm + 1e-9 >= inner.width_mm * BESIDE;
        fits.then(|| lettered(label, room)).flatten().map(|lettering| (dots, lettering))
    };
    let fitting: Vec<(u32, Lettering)> = (fewest..=MOST_DOTS).rev().filter_map(beside).collect();
    let uncut = fitting.iter().find(|(dots, lettering)| *dots >= AIM_DOTS && lettering.is_uncut);
    let Some((dots, lettering)) = uncut.or(fitting.first()) else {
        return Err(TooSmall { needed: needed_beside(label, f64::from(fewest) * DOT_MM) });
    };
    let module_mm = f64::from(*dots) * DOT_MM;
    let quiet = |quiet: usize| quiet as f64 * module_mm;
    let mut placed = vec![Placed::Symbol {
        x_mm: EDGE_MM + quiet(symbol.quiet.0),
        y_mm: EDGE_MM + quiet(symbol.quiet.1) + (inner.height_mm - rows * module_mm) / 2.0,
        module_mm,
        high_mm: symbol.height as f64 * module_mm,
    }];
    placed.extend(lettering.placed(2.0 * EDGE_MM + columns * module_mm, EDGE_MM));
    Ok(placed)
}

/// The least label that holds a matrix of such modules and what has to stand whole beside it.
fn needed_beside(label: &Label, module_mm: f64) -> Size {
    let (columns, rows) = modules(label);
    let (matrix, high) = (columns * module_mm, rows * module_mm);
    let for_caption = 3.0 * EDGE_MM + matrix + wide(&label.caption) * LEAST_LETTER_MM;
    let for_lines = 2.0 * EDGE_MM + (matrix + EDGE_MM) / (1.0 - BESIDE);
    least(for_caption.max(for_lines), |width_mm| {
        let lines = rows_at_least(label, width_mm - 3.0 * EDGE_MM - matrix);
        2.0 * EDGE_MM + high.max(lines * LEAST_LETTER_MM * PITCH)
    })
}

fn bars(label: &Label, inner: Size) -> Result<Vec<Placed>, TooSmall> {
    let symbol = &label.symbol;
    let (columns, _) = modules(label);
    let dots = (inner.width_mm / (columns * DOT_MM) + 1e-9).floor().min(f64::from(MOST_DOTS));
    let above = |above_mm: f64| {
        let room = Size { width_mm: inner.width_mm, height_mm: above_mm };
        let fits = dots >= f64::from(LEAST_DOTS) && inner.height_mm - above_mm + 1e-9 >= LEAST_BARS_MM;
        fits.then(|| lettered(label, room)).flatten().map(|lettering| (above_mm, lettering))
    };
    // The bars are as high as they can be beside lines that are not cut.
    let usual = above(inner.height_mm * ABOVE);
    let (usual, cut) =
        usual.map_or((None, None), |it| if it.1.is_uncut { (Some(it), None) } else { (None, Some(it)) });
    let Some((above_mm, lettering)) = usual.or_else(|| above(inner.height_mm - LEAST_BARS_MM)).or(cut) else {
        let wide_mm = columns * f64::from(LEAST_DOTS) * DOT_MM;
        let width_mm = 2.0 * EDGE_MM + wide_mm.max(wide(&label.caption) * LEAST_LETTER_MM);
        let needed = least(width_mm, |width_mm| {
            let lines = rows_at_least(label, width_mm - 2.0 * EDGE_MM);
            2.0 * EDGE_MM + LEAST_BARS_MM + lines * LEAST_LETTER_MM * PITCH
        });
        return Err(TooSmall { needed });
    };
    let module_mm = dots * DOT_MM;
    let mut placed = vec![Placed::Symbol {
        x_mm: EDGE_MM + (inner.width_mm - symbol.width as f64 * module_mm) / 2.0,
        y_mm: EDGE_MM + above_mm,
        module_mm,
        high_mm: inner.height_mm - above_mm,
    }];
    placed.extend(lettering.placed(EDGE_MM, EDGE_MM));
    Ok(placed)
}

/// The least size of the usual form, from a least width and the height that each width needs.
fn least(width_mm: f64, high: impl Fn(f64) -> f64) -> Size {
    /// Labels are not much higher than this part of their width.
    const FORM: f64 = 0.6;
    let mut width_mm = up(width_mm);
    // A wider label has fewer lines; at the last it has one for each.
    let lowest = high(LARGEST_MM);
    while high(width_mm) > (width_mm * FORM).max(lowest + 1e-9) && width_mm < LARGEST_MM {
        width_mm += 1.0;
    }
    Size { width_mm, height_mm: up(high(width_mm)) }
}

/// To the next tenth of a millimetre.
fn up(mm: f64) -> f64 {
    ((mm + 1e-6) * 10.0).ceil() / 10.0
}
