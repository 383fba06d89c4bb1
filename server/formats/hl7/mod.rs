//! HL7 version 2 messages: segments, fields, repetitions, components, as their own header says they are separated; and
//! the acknowledgement that goes back.
//!
//! Source: HL7 version 2.5, chapter 2 (message framework and acknowledgement) and chapter 10 (scheduling), from memory
//! and from published pages. Values keep their escapes until somebody shows them (`unescaped`).

mod ack;
pub mod appointment;
mod charset;
pub mod frame;
pub mod moment;
pub mod schedule;

use std::borrow::Cow;

pub use ack::{Acknowledged, acknowledge};
pub use charset::{is_guessed, text};

/// A longer message is refused before it is looked at.
pub const LONGEST: usize = 1 << 20;

/// The characters that a message is divided by.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Separators {
    pub field: char,
    pub component: char,
    pub repetition: char,
    pub escape: char,
    pub subcomponent: char,
}

impl Default for Separators {
    fn default() -> Separators {
        Separators { field: '|', component: '^', repetition: '~', escape: '\\', subcomponent: '&' }
    }
}

/// A line of a message: its name and its fields as they stand. `fields[0]` is field 1.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Segment<'a> {
    pub name: &'a str,
    fields: Vec<&'a str>,
}

/// A message that has a header. Nothing more is known of it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Message<'a> {
    pub separators: Separators,
    pub segments: Vec<Segment<'a>>,
}

/// Why a text is no message: nothing in it could be acknowledged.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NoMessage {
    /// The first segment is not MSH, or it is too short to name its separators.
    NoHeader,
    /// Two of the separators are the same character.
    SameSeparators,
    TooLong,
}

impl NoMessage {
    pub fn words(self) -> &'static str {
        match self {
            NoMessage::NoHeader => {
                "The message does not begin with a header (MSH) that names its separators."
            }
            NoMessage::SameSeparators => "The header names one character for two separators.",
            NoMessage::TooLong => "The message is longer than 1 MiB.",
        }
    }
}

/// Divides a message. Segments end with a carriage return; line feeds are taken as well, since many feeds send them.
///
/// # Errors
/// Where there is no header to go by.
pub fn read(text: &str) -> Result<Message<'_>, NoMessage> {
    if text.len() > LONGEST {
        return Err(NoMessage::TooLong);
    }
    let mut lines = text.split(['\r', '\n']).filter(|line| !line.trim().is_empty());
    let header = lines.next().and_then(|line| line.strip_prefix("MSH")).ok_or(NoMessage::NoHeader)?;
    let mut signs = header.chars();
    let mut next = || signs.next().ok_or(NoMessage::NoHeader);
    let field = next()?;
    let mut separators = Separators { field, ..Separators::default() };
    let encoding = header.get(field.len_utf8()..).unwrap_or_default().split(field).next().unwrap_or_default();
    let mut given = encoding.chars();
    separators.component = given.next().ok_or(NoMessage::NoHeader)?;
    separators.repetition = given.next().ok_or(NoMessage::NoHeader)?;
    separators.escape = given.next().unwrap_or(separators.escape);
    separators.subcomponent = given.next().unwrap_or(separators.subcomponent);
    if !different(separators) || field.is_alphanumeric() {
        return Err(NoMessage::SameSeparators);
    }
    // MSH-1 is the separator itself, so that the fields after it count on by one.
    let own = header.get(..field.len_utf8()).unwrap_or_default();
    let rest = header.get(field.len_utf8()..).unwrap_or_default();
    let fields = std::iter::once(own).chain(rest.split(field)).collect();
    let mut segments = vec![Segment { name: "MSH", fields }];
    segments.extend(lines.map(|line| {
        let mut fields = line.split(field);
        let name = fields.next().unwrap_or_default();
        Segment { name, fields: fields.collect() }
    }));
    Ok(Message { separators, segments })
}

fn different(it: Separators) -> bool {
    let all = [it.field, it.component, it.repetition, it.escape, it.subcomponent];
    (0..all.len()).all(|at| !all.iter().skip(at + 1).any(|other| Some(other) == all.get(at)))
}

impl<'a> Segment<'a> {
    /// A field as it stands, from 1; empty where the segment ends before it. `""` means that a value is taken away.
    pub fn field(&self, number: usize) -> &'a str {
        let found = number.checked_sub(1).and_then(|at| self.fields.get(at)).copied().unwrap_or_default();
        if found == "\"\"" { "" } else { found }
    }
}

impl<'a> Message<'a> {
    pub fn segment(&self, name: &str) -> Option<&Segment<'a>> {
        self.segments.iter().find(|segment| segment.name == name)
    }

    pub fn all<'s>(&'s self, name: &'s str) -> impl Iterator<Item = &'s Segment<'a>> {
        self.segments.iter().filter(move |segment| segment.name == name)
    }

    /// The header, which `read` made sure of.
    pub fn header(&self) -> Option<&Segment<'a>> {
        self.segments.first()
    }

    /// A component of the first repetition of a field, from 1.
    pub fn component(&self, field: &'a str, number: usize) -> &'a str {
        let first = field.split(self.separators.repetition).next().unwrap_or_default();
        let mut components = first.split(self.separators.component);
        components.nth(number.saturating_sub(1)).unwrap_or_default()
    }

    /// A value as people read it: escapes of separators, of characters in hexadecimal and of line ends are written out;
    /// what marks up a text is left out.
    pub fn unescaped<'v>(&self, value: &'v str) -> Cow<'v, str> {
        let it = self.separators;
        if !value.contains(it.escape) {
            return Cow::Borrowed(value);
        }
        let mut out = String::with_capacity(value.len());
        let mut rest = value;
        while let Some((before, after)) = rest.split_once(it.escape) {
            out.push_str(before);
            let Some((inside, after)) = after.split_once(it.escape) else {
                // An escape that never ends is no escape.
                out.push(it.escape);
                out.push_str(after);
                return Cow::Owned(out);
            };
            match inside {
                "F" => out.push(it.field),
                "S" => out.push(it.component),
                "T" => out.push(it.subcomponent),
                "R" => out.push(it.repetition),
                "E" => out.push(it.escape),
                ".br" => out.push('\n'),
                _ => out.push_str(&hexadecimal(inside).unwrap_or_default()),
            }
            rest = after;
        }
        out.push_str(rest);
        Cow::Owned(out)
    }
}

/// `X0D0A` as the characters that the bytes stand for.
fn hexadecimal(inside: &str) -> Option<String> {
    let digits = inside.strip_prefix('X')?;
    let pairs = digits.as_bytes().chunks(2).map(|pair| {
        let pair = std::str::from_utf8(pair).ok()?;
        u8::from_str_radix(pair, 16).ok().filter(|_| pair.len() == 2)
    });
    String::from_utf8(pairs.collect::<Option<Vec<u8>>>()?).ok()
}
