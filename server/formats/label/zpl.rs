//! A label for label printers, in the page description that most of them read (ZPL II): the symbol as a picture of
//! whole dots, so that it does not depend on what a printer's own program can encode.

use std::fmt::Write;

use super::{Label, Placed, Size, Symbol};

/// Writes a label for a printer of so many dots an inch. `placed` is what `laid_out` says of it.
pub fn zpl(label: &Label, placed: &[Placed], size: Size, dots_per_inch: u32) -> String {
    let dots = |mm: f64| (mm * f64::from(dots_per_inch) / 25.4).round().max(0.0) as usize;
    let mut out = format!("^XA^CI28^PW{}^LL{}^LH0,0", dots(size.width_mm), dots(size.height_mm));
    for item in placed {
        match item {
            Placed::Symbol { x_mm, y_mm, module_mm, high_mm } => {
                let picture = Picture::of(&label.symbol, dots(*module_mm).max(1), dots(*high_mm));
                let (bytes, row) = (picture.bytes.len(), picture.bytes_a_row);
                let _ = write!(out, "^FO{},{}^GFA,{bytes},{bytes},{row},", dots(*x_mm), dots(*y_mm));
                for byte in picture.bytes {
                    let _ = write!(out, "{byte:02X}");
                }
                out.push_str("^FS");
            }
            Placed::Text { x_mm, y_mm, size_mm, text, .. } => {
                let high = dots(*size_mm);
                // Text is placed by its upper left; the letters stand about four fifths of their size below it.
                let top = dots(*y_mm - size_mm * 0.8);
                let _ = write!(
                    out,
                    "^FO{},{top}^A0N,{high},{}^FH_^FD{}^FS",
                    dots(*x_mm),
                    high * 9 / 10,
                    escaped(text)
                );
            }
        }
    }
    out.push_str("^XZ\n");
    out
}

/// Dots of a symbol, eight to a byte, the first in the highest bit.
struct Picture {
    bytes: Vec<u8>,
    bytes_a_row: usize,
}

impl Picture {
    fn of(symbol: &Symbol, module: usize, high: usize) -> Picture {
        let bytes_a_row = (symbol.width * module).div_ceil(8);
        let times = if symbol.is_bars() { high.max(1) } else { module };
        let mut bytes = Vec::with_capacity(bytes_a_row * symbol.height * times);
        for y in 0..symbol.height {
            let mut row = vec![0u8; bytes_a_row];
            for x in (0..symbol.width * module).filter(|x| symbol.is_dark(x / module, y)) {
                if let Some(byte) = row.get_mut(x / 8) {
                    *byte |= 0x80 >> (x % 8);
                }
            }
            (0..times).for_each(|_| bytes.extend_from_slice(&row));
        }
        Picture { bytes, bytes_a_row }
    }
}

/// Text in which nothing is a command: what could be one is written in hexadecimal.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '^' | '~' | '_' | '\\' => {
                let _ = write!(out, "_{:02X}", letter as u32);
            }
            letter if letter.is_control() => {}
            letter => out.push(letter),
        }
    }
    out
}
