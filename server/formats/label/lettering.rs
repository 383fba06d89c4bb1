//! The lines of a label, as large as there is room for. What has to stand whole is broken into more lines and never cut; any
//! other line that is too long ends with a sign that says so.

use super::layout::Placed;
use super::{Label, Line, Size};

/// Letters: the smallest that is read at arm's length, what is read well, and the largest that is of use.
pub const LEAST_LETTER_MM: f64 = 1.7;
const WELL_READ_MM: f64 = 2.0;
const LETTER_MM: f64 = 3.0;
const STEP_MM: f64 = 0.1;
/// From one line to the next, of the size of the letters.
pub const PITCH: f64 = 1.25;

/// Lines in their sizes.
#[derive(Clone, PartialEq, Debug)]
pub struct Lettering {
    lines: Vec<Line>,
    letter_mm: f64,
    room: Size,
    /// Every line stands as it was given.
    pub is_uncut: bool,
    /// How many of the lines that may be left away stand there.
    kept: usize,
}

/// How wide a text is, of the size of its letters, as strong letters without serifs have them.
pub fn wide(text: &str) -> f64 {
    text.chars().map(wide_of).sum()
}

fn wide_of(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '!' | '\'' | '|' | ' ' => 0.3,
        'f' | 'r' | 't' | '(' | ')' | '[' | ']' | '/' | '-' => 0.4,
        'm' | 'w' => 0.9,
        'M' | 'W' | '%' | '@' => 1.0,
        'A'..='Z' => 0.74,
        letter if letter.is_ascii() => 0.6,
        '×' | '°' | '·' | '–' => 0.6,
        _ => 1.0,
    }
}

/// How many lines the caption and what has to stand whole make at least, in letters that can still be read.
pub fn rows_at_least(label: &Label, width_mm: f64) -> f64 {
    let of_lines = label.lines.iter().filter(|line| line.whole);
    let many: usize = of_lines.map(|line| broken(&line.text, width_mm / LEAST_LETTER_MM).len()).sum();
    (many + 1) as f64
}

/// The caption and the lines of a label in a room; none where they cannot be read in it.
pub fn lettered(label: &Label, room: Size) -> Option<Lettering> {
    let sizes = |from_mm: f64, to_mm: f64| {
        let steps = ((from_mm - to_mm) / STEP_MM).round() as usize;
        (0..=steps).map(move |step| from_mm - step as f64 * STEP_MM)
    };
    if wide(&label.caption) * LEAST_LETTER_MM > room.width_mm + 1e-9 {
        return None;
    }
    let one_each = |letter_mm: f64| {
        let lines: Vec<Line> = with_caption(label).collect();
        let fits = |line: &Line| wide(&line.text) * letter_mm <= room.width_mm + 1e-9;
        lines.iter().skip(1).all(fits).then_some(Lettering {
            lines,
            letter_mm,
            room,
            is_uncut: true,
            kept: label.lines.len(),
        })
    };
    let fits = |it: &Lettering| it.lines.len() as f64 * it.letter_mm * PITCH <= room.height_mm + 1e-9;
    let mut found = sizes(LETTER_MM, WELL_READ_MM).filter_map(one_each).find(fits);
    found = found.or_else(|| {
        sizes(WELL_READ_MM, LEAST_LETTER_MM)
            .map(|letter_mm| whole(label, letter_mm, room))
            .find(|it| it.is_uncut && fits(it))
    });
    // At the last as many of the other lines as there is room for, in letters as large as they can then be.
    found.or_else(|| {
        let fitting = sizes(WELL_READ_MM, LEAST_LETTER_MM).map(|letter_mm| whole(label, letter_mm, room));
        // Of equal ones the first, which has the larger letters.
        fitting.filter(fits).reduce(|best, next| if next.kept > best.kept { next } else { best })
    })
}

fn with_caption(label: &Label) -> impl Iterator<Item = Line> + '_ {
    std::iter::once(Line::strong(label.caption.clone())).chain(label.lines.iter().cloned())
}

/// What has to stand whole, broken into as many lines as it needs, and as many of the others as there is room for.
fn whole(label: &Label, letter_mm: f64, room: Size) -> Lettering {
    let most = room.width_mm / letter_mm;
    let rows = (room.height_mm / (letter_mm * PITCH) + 1e-9).floor() as usize;
    let needed = label.lines.iter().filter(|line| line.whole);
    let needed: usize = needed.map(|line| broken(&line.text, most).len()).sum();
    let mut left = rows.saturating_sub(needed + 1);
    let (mut is_uncut, mut kept) = (true, 0);
    let mut lines = Vec::new();
    for (at, line) in with_caption(label).enumerate() {
        if at == 0 {
            lines.push(line);
        } else if line.whole {
            lines.extend(broken(&line.text, most).into_iter().map(|text| Line { text, ..line.clone() }));
        } else if left > 0 {
            left -= 1;
            kept += 1;
            let text = cut(&line.text, most);
            is_uncut &= text == line.text;
            lines.push(Line { text, ..line });
        } else {
            is_uncut = false;
        }
    }
    Lettering { lines, letter_mm, room, is_uncut, kept }
}

/// A text in lines of at most this width, broken between its words, and within one that is longer than a line.
fn broken(text: &str, most: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let with = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if wide(&with) <= most {
            line = with;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            if !line.is_empty() && wide(&line) + wide_of(letter) > most {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

fn cut(text: &str, most: f64) -> String {
    if wide(text) <= most {
        return text.to_owned();
    }
    let mut kept = String::new();
    for letter in text.chars() {
        if wide(&kept) + wide_of(letter) + wide_of('…') > most {
            break;
        }
        kept.push(letter);
    }
    format!("{}…", kept.trim_end())
}

impl Lettering {
    /// The lines below one another, in the middle of their room, whose upper left stands there.
    pub fn placed(&self, left_mm: f64, top_mm: f64) -> Vec<Placed> {
        let many = self.lines.len() as f64;
        let pitch_mm = (self.room.height_mm / many).min(LETTER_MM * PITCH).max(self.letter_mm);
        let above_mm = (self.room.height_mm - pitch_mm * many).max(0.0) / 2.0;
        let place = |(at, line): (usize, &Line)| {
            // The caption is made smaller where the others would be cut.
            let size_mm = self.letter_mm.min(self.room.width_mm / wide(&line.text).max(1.0));
            Placed::Text {
                x_mm: left_mm,
                y_mm: top_mm + above_mm + pitch_mm * at as f64 + self.letter_mm,
                size_mm,
                wide_mm: wide(&line.text) * size_mm,
                strong: line.strong,
                text: line.text.clone(),
            }
        };
        self.lines.iter().enumerate().map(place).collect()
    }
}
