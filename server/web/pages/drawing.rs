//! Drawings of parts that fit, made as text on the server: the lumen with what lies in it, the telescope in its two positions,
//! the chain of joints. They are to scale where they say so. Looks come from classes alone, every state has a word and a
//! shape beside its hue, and each drawing tells in its description what it shows.

pub mod chain;
pub mod lumen;
pub mod reach;

use super::plot::ink::{Anchor, Ink, Point, escaped};

/// The width of every drawing, in its own units: a phone shows it at about its size.
const WIDTH: f64 = 360.0;
const FONT: f64 = 16.0;
/// The smallest lettering: 13 px on a phone of 360 px, and 7 pt where three drawings stand beside each other on A4.
const SMALL: f64 = 15.0;

/// A length as people read it: hundredths at most.
pub fn mm(length: f64) -> String {
    let text = format!("{length:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.replace('-', "−") }
}

/// The drawing as SVG with its title and its description.
fn framed(id: &str, class: &str, height: f64, title: &str, told: &str, ink: &Ink) -> String {
    let (title, told) = (escaped(title), escaped(told));
    format!(
        r#"<svg class="drawing {class}" role="img" aria-labelledby="{id}-title {id}-told" viewBox="0 0 {WIDTH} {height:.0}" xmlns="http://www.w3.org/2000/svg"><title id="{id}-title">{title}</title><desc id="{id}-told">{told}</desc>{}</svg>"#,
        ink.text
    )
}

/// The length of a scale bar that takes about a share of a drawing: 1, 2 or 5 times a power of ten.
fn scale_bar_mm(whole_mm: f64) -> f64 {
    let most = (whole_mm / 2.5).max(1e-3);
    let ten = 10.0_f64.powf(most.log10().floor());
    [5.0, 2.0, 1.0].into_iter().map(|by| by * ten).find(|bar| *bar <= most).unwrap_or(ten)
}

/// A line with its two ends marked, and its length in words above it.
fn scale_bar(ink: &mut Ink, (x, y): Point, bar_mm: f64, per_mm: f64) {
    let end = x + bar_mm * per_mm;
    ink.line("bar", (x, y), (end, y));
    ink.line("bar", (x, y - 4.0), (x, y + 4.0));
    ink.line("bar", (end, y - 4.0), (end, y + 4.0));
    ink.say("note", (end + 6.0, y), Anchor::Start, SMALL, &format!("{} mm", mm(bar_mm)));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_read_as_people_say_them() {
        assert_eq!(mm(4.666_666), "4.67");
        assert_eq!((mm(5.0), mm(-0.001), mm(-2.5)), ("5".into(), "0".into(), "−2.5".into()));
    }

    /// A rule for a class of the page alone reaches into a drawing too, and a width there makes it false: so no class of a
    /// drawing or a plot is one to which the style sheet gives a size of its own.
    #[test]
    fn no_class_of_a_drawing_is_sized_by_the_page() {
        let sheet = include_str!("../../../static/style.css");
        let inside = |selector: &str| {
            let parts: Vec<&str> = selector.split_whitespace().collect();
            match parts.as_slice() {
                [".drawing" | ".plot" | ".reach", last] => last.strip_prefix('.').map(str::to_string),
                _ => None,
            }
        };
        let rules: Vec<(&str, &str)> = sheet.split('}').filter_map(|rule| rule.rsplit_once('{')).collect();
        let selectors = |before: &str| {
            let own = before.rsplit(['{', '/', ';']).next().unwrap_or_default();
            own.split(',').map(|it| it.trim().to_string()).collect::<Vec<_>>()
        };
        let classes: std::collections::BTreeSet<String> =
            rules.iter().flat_map(|(before, _)| selectors(before)).filter_map(|it| inside(&it)).collect();
        assert!(classes.contains("headstack") && classes.contains("disc"), "{classes:?}");
        // Nor does a page take looks from what a drawing in it has.
        for class in &classes {
            assert!(!sheet.contains(&format!(":has(.{class})")), "{class}");
        }
        for (before, set) in &rules {
            let sized = set.split(';').any(|it| {
                matches!(it.split(':').next().unwrap_or_default().trim(), "width" | "height" | "transform")
            });
            for selector in selectors(before).iter().filter(|_| sized) {
                let class = selector.strip_prefix('.').unwrap_or_default();
                assert!(!classes.contains(class), "{selector} {{{set}}}");
            }
        }
    }

    /// Three drawings beside each other on A4 with margins of 10 mm and gaps of 4 mm, and one on a phone with margins of
    /// 16 px: lettering of 7 pt and of 12 px can be read (common practice for labels of drawings).
    #[test]
    fn lettering_can_be_read_on_paper_and_on_a_phone() {
        let (third_mm, phone_px) = ((210.0 - 20.0 - 8.0) / 3.0, 360.0 - 32.0);
        let points = SMALL * third_mm / WIDTH / 25.4 * 72.0;
        assert!(points >= 7.0, "{points} pt");
        assert!(SMALL * phone_px / WIDTH >= 12.0);
    }

    #[test]
    fn a_scale_bar_is_a_round_length() {
        assert_eq!([5.0, 7.5, 12.0, 30.0, 500.0].map(scale_bar_mm), [2.0, 2.0, 2.0, 10.0, 200.0]);
        assert_eq!(scale_bar_mm(12.6), 5.0);
    }
}
