//! A label as SVG, in millimetres.

use std::fmt::Write;

use super::{Label, Placed, Size, Symbol};

/// A whole label. `placed` is what `laid_out` says of it.
pub fn svg(label: &Label, placed: &[Placed], size: Size) -> String {
    let Size { width_mm, height_mm } = size;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width_mm}mm\" height=\"{height_mm}mm\" \
         viewBox=\"0 0 {width_mm} {height_mm}\" role=\"img\"><title>{}</title>\
         <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>",
        escaped(&label.caption)
    );
    for item in placed {
        match item {
            Placed::Symbol { x_mm, y_mm, module_mm, high_mm } => {
                let path = path(&label.symbol, (*x_mm, *y_mm), *module_mm, *high_mm);
                let _ = write!(out, "<path fill=\"#000\" shape-rendering=\"crispEdges\" d=\"{path}\"/>");
            }
            Placed::Text { x_mm, y_mm, size_mm, wide_mm, strong, text } => {
                let weight = if *strong { " font-weight=\"700\"" } else { "" };
                let _ = write!(
                    out,
                    "<text x=\"{x_mm:.3}\" y=\"{y_mm:.3}\" font-size=\"{size_mm:.3}\"{weight} \
                     textLength=\"{wide_mm:.3}\" lengthAdjust=\"spacingAndGlyphs\" font-family=\"sans-serif\" fill=\"#000\">{}</text>",
                    escaped(text)
                );
            }
        }
    }
    out.push_str("</svg>");
    out
}

/// A symbol alone with its light zone, its modules this wide.
pub fn symbol_svg(symbol: &Symbol, module_mm: f64, title: &str) -> String {
    let (side, above) = symbol.quiet;
    let high = if symbol.is_bars() { 40 } else { symbol.height };
    let (columns, rows) = ((symbol.width + 2 * side) as f64, (high + 2 * above) as f64);
    let (width, height) = (columns * module_mm, rows * module_mm);
    let path = path(symbol, (side as f64, above as f64), 1.0, high as f64);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.3}mm\" height=\"{height:.3}mm\" \
         viewBox=\"0 0 {columns} {rows}\" role=\"img\"><title>{}</title><rect width=\"100%\" height=\"100%\" \
         fill=\"#fff\"/><path fill=\"#000\" shape-rendering=\"crispEdges\" d=\"{path}\"/></svg>",
        escaped(title)
    )
}

/// One rectangle for each run of dark modules.
fn path(symbol: &Symbol, (x, y): (f64, f64), module: f64, high: f64) -> String {
    let mut path = String::new();
    let row_high = if symbol.is_bars() { high } else { module };
    for row in 0..symbol.height {
        for (start, long) in symbol.runs(row) {
            let (left, top) = (x + start as f64 * module, y + row as f64 * module);
            let wide = long as f64 * module;
            let _ = write!(path, "M{left:.4} {top:.4}h{wide:.4}v{row_high:.4}h-{wide:.4}z");
        }
    }
    path
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            letter if letter.is_control() => {}
            letter => out.push(letter),
        }
    }
    out
}
