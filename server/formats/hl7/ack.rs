//! The acknowledgement of a message, in original mode: one answer, with the control id of what it answers.

use super::{Message, Separators};

/// What is answered.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Acknowledged<'a> {
    /// It is kept.
    Stored,
    /// It is kept, and changed nothing or waits for a person: `why` says which.
    Noted { why: &'a str },
    /// `letters` are AE or AR, `number` is of HL7 table 0357, `why` a sentence.
    Refused { letters: &'a str, number: u16, why: &'a str },
}

/// Writes the answer: `own_id` is its own control id, `now` the time as HL7 writes it.
pub fn acknowledge(message: &Message<'_>, answer: Acknowledged<'_>, own_id: &str, now: &str) -> String {
    let it = Separators::default();
    // Sender and receiver change places; their own separators may be others than ours.
    let field = |number| {
        let field = message.header().map(|header| header.field(number)).unwrap_or_default();
        translated(field, message.separators, it)
    };
    let event = field(9).split(it.component).nth(1).map(str::to_owned).unwrap_or_default();
    let version = field(12);
    let header = [
        "MSH".to_owned(),
        "^~\\&".to_owned(),
        field(5),
        field(6),
        field(3),
        field(4),
        now.to_owned(),
        String::new(),
        if event.is_empty() { "ACK".to_owned() } else { format!("ACK^{event}^ACK") },
        own_id.to_owned(),
        Some(field(11)).filter(|id| !id.is_empty()).unwrap_or_else(|| "P".to_owned()),
        if version.is_empty() { "2.5".to_owned() } else { version },
    ];
    let (letters, error) = match answer {
        Acknowledged::Stored => ("AA", String::new()),
        Acknowledged::Noted { why } => ("AA", format!("|{}\r", escaped(why, it))),
        Acknowledged::Refused { letters, number, why } => {
            let why = escaped(why, it);
            // Versions before 2.5 read the words beside the letters, later ones in the segment of the error.
            (letters, format!("|{why}\rERR|||{number}^^HL70357|E||||{why}\r"))
        }
    };
    let error = if error.is_empty() { "\r".to_owned() } else { error };
    format!("{}\rMSA|{letters}|{}{error}", header.join("|"), field(10))
}

/// A field with its separators changed to others.
fn translated(field: &str, from: Separators, to: Separators) -> String {
    if from == to {
        return field.to_owned();
    }
    let mut out = String::with_capacity(field.len());
    for sign in field.chars() {
        match sign {
            sign if sign == from.component => out.push(to.component),
            sign if sign == from.repetition => out.push(to.repetition),
            sign if sign == from.escape => out.push(to.escape),
            sign if sign == from.subcomponent => out.push(to.subcomponent),
            sign => out.push_str(&escaped(sign.encode_utf8(&mut [0; 4]), to)),
        }
    }
    out
}

/// A text in which no separator stands.
fn escaped(text: &str, it: Separators) -> String {
    let mut out = String::with_capacity(text.len());
    for sign in text.chars() {
        let letter = match sign {
            sign if sign == it.field => "F",
            sign if sign == it.component => "S",
            sign if sign == it.subcomponent => "T",
            sign if sign == it.repetition => "R",
            sign if sign == it.escape => "E",
            '\r' | '\n' => ".br",
            sign => {
                out.push(sign);
                continue;
            }
        };
        out.push(it.escape);
        out.push_str(letter);
        out.push(it.escape);
    }
    out
}
