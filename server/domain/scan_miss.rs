//! What is said of a scan that names no one thing here: what it is by its standard, or what may have been meant.

use serde_json::Value;

use super::command::Command;
use super::id::Id;
use super::mark::{self, Reads};
use super::refusal::{Code, Problem};
use super::scan::{Miss, find};
use super::state::{Named, State};

/// So many names are told of what may have been meant, or is here of a product.
const TOLD: usize = 4;
/// So much of a scanned text stands in a sentence.
const SHOWN: usize = 60;

/// A scanned text as it may stand in a sentence: control characters and such as turn the line around are named, and
/// what is very long is cut.
pub fn shown(text: &str) -> String {
    let mut out = String::new();
    for letter in text.chars().take(SHOWN) {
        let turns = matches!(letter, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}' | '\u{61c}');
        match letter {
            '\u{1d}' => out.push('␝'),
            letter if letter.is_control() || turns => out.push('\u{fffd}'),
            letter => out.push(letter),
        }
    }
    if text.chars().nth(SHOWN).is_some() {
        out.push('…');
    }
    // Letters that run from right to left stay among themselves: the sentence around them keeps its order.
    let runs_left = |letter: char| matches!(letter, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{feff}' | '\u{10800}'..='\u{10fff}' | '\u{1e800}'..='\u{1efff}');
    if out.chars().any(runs_left) { format!("\u{2068}{out}\u{2069}") } else { out }
}

/// What a line calls a scanned text: a patient's wristband and a person's badge are not repeated anywhere.
pub fn called(text: &str) -> String {
    match mark::read(text) {
        Reads::Wristband => "A wristband".into(),
        Reads::Badge(_) => "A badge".into(),
        _ => shown(text),
    }
}

pub fn problem(state: &State, text: &str, miss: Miss) -> Problem {
    if miss == Miss::Several {
        return Problem::new(
            Code::AmbiguousScan,
            format!("\"{}\" names more than one thing.", shown(text)),
            "A scan that names one thing is needed.",
            "Scan the part's own id, and tell the lead that two things share a mark.",
        );
    }
    by_letters(state, text).unwrap_or_else(|| as_it_reads(state, text))
}

fn unknown(found: String, needed: &str, next: &str) -> Problem {
    Problem::new(Code::UnknownThing, found, needed, next)
}

/// A text that misses by the case of its letters alone. Nothing is assumed: small and capital letters may name two
/// things, and a caps lock turns them all.
fn by_letters(state: &State, text: &str) -> Option<Problem> {
    let meant = candidates(state, text);
    let told: Vec<String> = meant.iter().map(|it| id(it).to_string()).take(TOLD).collect();
    let found = format!("\"{}\" is no part, mark or set of this site in these letters.", shown(text));
    match told.as_slice() {
        [] => None,
        [one] => {
            let called = match meant.first() {
                Some(Named::Set(set)) => format!("set {set}"),
                _ => format!("part {one}"),
            };
            let needed = format!("With other small and capital letters it is {called}: is caps lock on?");
            let next = "Look at what is in your hand: say that it is this one, or scan it again.";
            let meant = meant.first().map(id);
            let problem = unknown(found, &needed, next);
            Some(match meant {
                Some(meant) => problem.perhaps(meant),
                None => problem,
            })
        }
        several => {
            let needed = format!("With other small and capital letters it is one of {}.", several.join(", "));
            Some(unknown(
                found,
                &needed,
                "Look at what is in your hand, and scan it again without caps lock.",
            ))
        }
    }
}

fn id(named: &Named) -> Id {
    match named {
        Named::Asset(id) | Named::Set(id) => id.clone(),
    }
}

fn candidates(state: &State, text: &str) -> Vec<Named> {
    let turned: String = text
        .chars()
        .map(|letter| match letter {
            'a'..='z' => letter.to_ascii_uppercase(),
            letter => letter.to_ascii_lowercase(),
        })
        .collect();
    let same = |own: &str, sent: &str| own != sent && own.eq_ignore_ascii_case(sent);
    let bare = |text: &str| if let Reads::Own(code) = mark::read(text) { code } else { text.to_owned() };
    let mut all: Vec<Named> = find(state, &turned).into_iter().collect();
    for sent in [bare(text), bare(&turned)] {
        let own = state.names.iter().filter(|(own, _)| same(own, &sent));
        all.extend(own.map(|(_, named)| named.clone()));
    }
    for sent in [text, &turned, &text.to_ascii_uppercase()] {
        let Reads::Piece(key) = mark::read(sent) else { continue };
        let own = state.pieces.iter().filter(|(own, _)| own.eq_ignore_ascii_case(&key));
        all.extend(own.flat_map(|(_, pieces)| pieces.iter().cloned().map(Named::Asset)));
    }
    all.sort_by_key(id);
    all.dedup();
    all
}

/// What a text that names nothing here is by its standard.
fn as_it_reads(state: &State, text: &str) -> Problem {
    const PIECE: &str = "The mark of one piece, the id of a part, or the code of a set is needed.";
    match mark::read(text) {
        Reads::Piece(key) => unknown(
            format!("This mark names one piece, {}, and no part of this site has it.", said(&key)),
            "A part that has this mark is needed.",
            "If it belongs here, let the lead or biomed add it with this mark.",
        ),
        Reads::Product { key, number, lot } => product(state, &key, &number, lot.as_deref()),
        Reads::AssetType(number) => unknown(
            format!("This mark names a kind of thing, {number}; it has no number of a single piece."),
            PIECE,
            "Scan the mark of the piece itself, or type its id.",
        ),
        Reads::Place(number) => unknown(
            format!("This mark names a place, {number}, and no part or set."),
            PIECE,
            "Scan the part or the set; type where it lies as its place.",
        ),
        Reads::Badge(_) => unknown(
            "This is a badge of staff, and no part or set.".into(),
            PIECE,
            "If it is to sign somebody in at the desk, let an administrator give it to that person first.",
        ),
        Reads::Wristband => unknown(
            "This is the wristband of a patient, and no part or set.".into(),
            PIECE,
            "Scan the part or the set. Nothing of the wristband was kept.",
        ),
        Reads::Parcel(number) => unknown(
            format!("This mark names a parcel, {number}, and no part or set."),
            PIECE,
            "Open it, and scan what is in it.",
        ),
        Reads::Half => unknown(
            "This is the second half of a mark: it says lot and dates, and not of what.".into(),
            PIECE,
            "Scan the other half, or type the part's id.",
        ),
        Reads::Tissue => unknown(
            "This is a mark for blood and tissue (ISBT 128), not for an instrument.".into(),
            PIECE,
            "Scan the part or the set.",
        ),
        Reads::Faulty(why) => unknown(
            format!("\"{}\" is no part, mark or set of this site. {why}", shown(text)),
            PIECE,
            "Scan it again; if it stays so, type the part's id and tell the lead that its mark does not read.",
        ),
        Reads::Own(_) | Reads::Plain if state.sets_left.contains_key(text) => unknown(
            format!("Set {} was lent to the house, and left it.", shown(text)),
            "A part or a set that is here is needed.",
            "If it came again, let the desk record that it arrived.",
        ),
        Reads::Own(_) | Reads::Plain => unknown(
            format!("\"{}\" is no part, mark or set of this site.", shown(text)),
            "The id or mark of a part, or the code of a set, is needed.",
            "Scan again; if it stays unknown, look it up under assets or ask the lead to add it.",
        ),
    }
}

/// A key in words: the identifier's name and the number.
fn said(key: &str) -> String {
    let (kind, number) = key.split_once(':').unwrap_or(("", key));
    let (number, serial) = number.split_once("/sn:").unwrap_or((number, ""));
    let kind = match kind {
        "giai" => "asset",
        "grai" => "returnable asset",
        _ => "product",
    };
    if serial.is_empty() {
        format!("{kind} {number}")
    } else {
        format!("{kind} {number}, serial number {serial}")
    }
}

fn product(state: &State, key: &str, number: &str, lot: Option<&str>) -> Problem {
    let here = state.of_product(key, number);
    let of_lot = here.iter().filter(|it| lot.is_some() && it.lot.as_ref().map(|it| it.0.as_str()) == lot);
    let of_lot: Vec<String> = of_lot.map(|it| it.asset.to_string()).collect();
    let (which, all) = match of_lot.is_empty() {
        true => ("Here of that model", here.iter().map(|it| it.asset.to_string()).collect()),
        false => ("Here of that lot", of_lot),
    };
    let model = here.first().and_then(|it| state.models.get(&it.model));
    let model = model.map(|model| format!(" ({})", model.name.0)).unwrap_or_default();
    let lot = lot.map(|lot| format!(", lot {lot}")).unwrap_or_default();
    let more = match all.len().saturating_sub(TOLD) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let stand: Vec<String> = all.into_iter().take(TOLD).collect();
    let next = match stand.is_empty() {
        true => "No part of that model is here. Scan the piece's own mark, or type its id.".to_string(),
        false => format!("{which}: {}{more}. Scan the piece's own mark, or type its id.", stand.join(", ")),
    };
    if state.model_of_product(number).is_some_and(|model| model.single_use) {
        return unknown(
            format!(
                "Single-use: discard. This mark names the product {number}{lot}, which is for single use."
            ),
            "A part that is used again is needed; what is for single use is not reprocessed.",
            "Discard it. What is kept of it is counted on the shelf, by its lot.",
        );
    }
    unknown(
        format!("This mark names the product {number}{model}{lot}; it has no number of a single piece."),
        "A mark with a serial number, the id of a part, or the code of a set is needed.",
        &next,
    )
}

/// The command again with another text wherever the one that was sent stands as a scan.
pub fn instead(command: &Command, sent: &str, meant: &str) -> Option<Value> {
    /// Fields that name a part or a set.
    const NAMES: [&str; 5] = ["scan", "asset", "unopened", "missing", "broken"];
    let mut value = serde_json::to_value(command).ok()?;
    let Value::Object(fields) = &mut value else { return None };
    fields.remove("key");
    let mut changed = false;
    for (_, field) in fields.iter_mut().filter(|(name, _)| NAMES.contains(&name.as_str())) {
        let texts: Vec<&mut Value> = match field {
            Value::Array(all) => all.iter_mut().collect(),
            one => vec![one],
        };
        for text in texts.into_iter().filter(|text| text.as_str() == Some(sent)) {
            *text = Value::String(meant.to_owned());
            changed = true;
        }
    }
    changed.then_some(value)
}
