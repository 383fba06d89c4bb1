//! Labels on sheets of paper, as PDF.

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

use super::layout::DOT_MM;
use super::{Label, Placed, Sheet, TooSmall, laid_out};

/// Why there is no sheet.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum PdfError {
    TooSmall(TooSmall),
    /// The document could not be written.
    Unwritten,
}

/// A point of print is a 72nd of an inch.
const POINTS_A_MM: f64 = 72.0 / 25.4;

/// Labels one after the other, on as many pages as they need; the first `skip` places are left empty, for sheets of
/// which some labels are already gone.
///
/// # Errors
/// Where a label does not fit on its place.
pub fn sheet(labels: &[Label], sheet: &Sheet, skip: usize) -> Result<Vec<u8>, PdfError> {
    let plain =
        Font::new(epaint_default_fonts::UBUNTU_LIGHT.to_vec().into(), 0).ok_or(PdfError::Unwritten)?;
    let mut document = Document::new();
    let size = |mm: f64| (mm * POINTS_A_MM) as f32;
    let settings = PageSettings::from_wh(size(sheet.page.width_mm), size(sheet.page.height_mm))
        .ok_or(PdfError::Unwritten)?;
    let mut left: Vec<Option<&Label>> = vec![None; skip % sheet.a_page().max(1)];
    left.extend(labels.iter().map(Some));
    for page_of in left.chunks(sheet.a_page().max(1)) {
        let mut page = document.start_page_with(settings.clone());
        let mut surface = page.surface();
        let fill = Fill {
            paint: rgb::Color::new(0, 0, 0).into(),
            opacity: NormalizedF32::ONE,
            rule: Default::default(),
        };
        surface.set_fill(Some(fill));
        for (at, label) in page_of.iter().enumerate() {
            let Some(label) = label else { continue };
            let placed = laid_out(label, sheet.label).map_err(PdfError::TooSmall)?;
            draw(&mut surface, label, &placed, sheet.place(at), &plain)?;
        }
        surface.finish();
        page.finish();
    }
    document.finish().map_err(|_| PdfError::Unwritten)
}

fn draw(
    surface: &mut Surface<'_>,
    label: &Label,
    placed: &[Placed],
    (left_mm, top_mm): (f64, f64),
    font: &Font,
) -> Result<(), PdfError> {
    let at = |mm: f64| (mm * POINTS_A_MM) as f32;
    for item in placed {
        match item {
            Placed::Symbol { x_mm, y_mm, module_mm, high_mm } => {
                let symbol = &label.symbol;
                let row_mm = if symbol.is_bars() { *high_mm } else { *module_mm };
                // On whole dots of the page, so that no module lies half on one: see `layout`.
                let snapped = |mm: f64| (mm / DOT_MM).round() * DOT_MM;
                let (x_mm, y_mm) = (snapped(left_mm + x_mm), snapped(top_mm + y_mm));
                let mut path = PathBuilder::new();
                for row in 0..symbol.height {
                    for (start, long) in symbol.runs(row) {
                        let x = x_mm + start as f64 * module_mm;
                        let y = y_mm + row as f64 * module_mm;
                        let rect = Rect::from_xywh(at(x), at(y), at(long as f64 * module_mm), at(row_mm));
                        path.push_rect(rect.ok_or(PdfError::Unwritten)?);
                    }
                }
                surface.draw_path(&path.finish().ok_or(PdfError::Unwritten)?);
            }
            Placed::Text { x_mm, y_mm, size_mm, text, .. } => {
                let place = Point::from_xy(at(left_mm + x_mm), at(top_mm + y_mm));
                surface.draw_text(place, font.clone(), at(*size_mm), text, false, TextDirection::Auto);
            }
        }
    }
    Ok(())
}
