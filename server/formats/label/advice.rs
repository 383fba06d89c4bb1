//! How large a mark on a part will be: modules, the width of a module, and the light zone around it.
//!
//! Widths of a module: GS1 General Specifications, symbol specification table 7 (direct part marking, 5.12.3.7) and the
//! least one for healthcare items with labels. That a mark should be no wider than a sixth of a round shaft's diameter is
//! common practice, from memory.

use super::Symbol;

/// How a mark is made.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Marking {
    /// By laser or etching: for small surgical instruments.
    Laser,
    DotPeen,
    /// Printed on a label.
    Label,
}

/// The widths of a module in millimetres: the least, the one to aim at, the greatest.
impl Marking {
    pub const ALL: [Marking; 3] = [Marking::Laser, Marking::DotPeen, Marking::Label];

    pub fn name(self) -> &'static str {
        match self {
            Marking::Laser => "laser",
            Marking::DotPeen => "dot_peen",
            Marking::Label => "label",
        }
    }

    fn module_mm(self) -> (f64, f64, Option<f64>) {
        match self {
            Marking::Laser => (0.1, 0.2, Some(0.3)),
            Marking::DotPeen => (0.2, 0.3, Some(0.495)),
            Marking::Label => (0.254, 0.38, None),
        }
    }
}

#[derive(Clone, PartialEq, Debug)]
pub struct Advice {
    pub marking: Marking,
    /// Columns and rows of modules.
    pub modules: (usize, usize),
    pub module_mm: f64,
    /// Width and height with the light zone, at the width of module to aim at, and at the least one.
    pub aim_mm: (f64, f64),
    pub least_mm: (f64, f64),
    /// The thinnest round shaft that takes the least size along its axis.
    pub least_shaft_mm: f64,
}

/// The greatest part of a round shaft's diameter that a mark may be wide.
const OF_SHAFT: f64 = 0.16;

/// How large a symbol will be if it is marked in this way.
pub fn advice(symbol: &Symbol, marking: Marking) -> Advice {
    let (least, aim, _) = marking.module_mm();
    let (side, above) = symbol.quiet;
    let (columns, rows) = (symbol.width + 2 * side, symbol.height + 2 * above);
    let size = |module: f64| (columns as f64 * module, rows as f64 * module);
    let (wide, high) = size(least);
    Advice {
        marking,
        modules: (symbol.width, symbol.height),
        module_mm: aim,
        aim_mm: size(aim),
        least_mm: (wide, high),
        least_shaft_mm: wide.min(high) / OF_SHAFT,
    }
}
