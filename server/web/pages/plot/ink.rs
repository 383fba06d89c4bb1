//! SVG as text. Looks come from classes alone; what people named is escaped.

use std::fmt::Write;

/// A place in the picture.
pub type Point = (f64, f64);

/// Where a text is held.
#[derive(Clone, Copy, Debug)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

impl Anchor {
    fn name(self) -> &'static str {
        match self {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        }
    }
}

/// The width of a text, in shares of its height, rather too wide than too narrow: fonts differ.
const LETTER: f64 = 0.6;

pub fn width_of(text: &str, font: f64) -> f64 {
    text.chars().count() as f64 * LETTER * font
}

/// A name cut to so many letters.
pub fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_string();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}

/// Text as XML may hold it.
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\t' | '\n' | '\r' => safe.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => safe.push('\u{fffd}'),
            c => safe.push(c),
        }
    }
    safe
}

/// The picture as it is drawn, from the back to the front.
#[derive(Default)]
pub struct Ink {
    pub text: String,
}

impl Ink {
    pub fn raw(&mut self, text: &str) {
        self.text.push_str(text);
    }

    pub fn line(&mut self, class: &str, (x1, y1): Point, (x2, y2): Point) {
        let _ = write!(
            self.text,
            r#"<line class="{class}" x1="{x1:.1}" y1="{y1:.1}" x2="{x2:.1}" y2="{y2:.1}"/>"#
        );
    }

    /// From one corner to the opposite one.
    pub fn area(&mut self, class: &str, (x1, y1): Point, (x2, y2): Point) {
        let (x, y, width, height) = (x1.min(x2), y1.min(y2), (x2 - x1).abs(), (y2 - y1).abs());
        let _ = write!(
            self.text,
            r#"<rect class="{class}" x="{x:.1}" y="{y:.1}" width="{width:.1}" height="{height:.1}"/>"#
        );
    }

    pub fn circle(&mut self, class: &str, (x, y): Point, r: f64) {
        let _ = write!(self.text, r#"<circle class="{class}" cx="{x:.2}" cy="{y:.2}" r="{r:.2}"/>"#);
    }

    /// A line through points, broken where there is none.
    pub fn path(&mut self, class: &str, points: impl Iterator<Item = Option<Point>>) {
        let mut steps = String::new();
        let mut is_down = false;
        for point in points {
            match point {
                None => is_down = false,
                Some((x, y)) => {
                    let _ = write!(steps, "{}{x:.1} {y:.1}", if is_down { 'L' } else { 'M' });
                    is_down = true;
                }
            }
        }
        if !steps.is_empty() {
            let _ = write!(self.text, r#"<path class="{class}" d="{steps}"/>"#);
        }
    }

    /// A triangle whose point shows downwards to a place.
    pub fn pointer(&mut self, class: &str, (x, y): Point, size: f64) {
        let (left, right, top) = (x - size / 2.0, x + size / 2.0, y - size);
        let _ = write!(
            self.text,
            r#"<path class="{class}" d="M{x:.1} {y:.1}L{left:.1} {top:.1}L{right:.1} {top:.1}Z"/>"#
        );
    }

    /// Text whose middle line runs through the place.
    pub fn say(&mut self, class: &str, (x, y): Point, anchor: Anchor, font: f64, words: &str) {
        let (anchor, words, y) = (anchor.name(), escaped(words), y + font * 0.35);
        let _ = write!(
            self.text,
            r#"<text class="{class}" x="{x:.1}" y="{y:.1}" font-size="{font}" text-anchor="{anchor}">{words}</text>"#
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_named_is_escaped() {
        assert_eq!(escaped("<b>\"&'\u{0}\n"), "&lt;b&gt;&quot;&amp;&#39;\u{fffd} ");
        assert_eq!(cut("temperature of the drain", 10), "temperatu…");
        assert_eq!(cut("drain", 5), "drain");
    }

    #[test]
    fn a_path_breaks_where_there_is_nothing() {
        let mut ink = Ink::default();
        ink.path("c", [Some((0.0, 1.0)), Some((1.0, 1.0)), None, Some((3.0, 1.0))].into_iter());
        assert!(ink.text.contains("M0.0 1.0L1.0 1.0M3.0 1.0"));
    }
}
