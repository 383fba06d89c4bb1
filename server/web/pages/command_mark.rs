//! Marks that are no things but acts: printed once and scanned at the workplace, they choose what each scan does, name the
//! station, take the last act back, or say that one is done.
//!
//! They are written in those letters alone that lie in the same place on the keyboards of most of Europe, so that a
//! scanner that is set to another one still says them right.

use serde_json::{Value, json};

use super::desk::{STEPS, Sent};
use super::refused::{Reason, plain};
use crate::domain::mark::COMMANDS as BEGINS;
use crate::domain::person::Role;

/// The mark by which a station learns what its scanner's keys mean; `scan.js` knows it by its text.
pub const TEST: &str = "FTLDOTESTYZQWAM1234567890";
const STATION: &str = "STN";

/// What a command mark asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CommandMark {
    /// What each scan does from now on; empty looks things up.
    Step(&'static str),
    Station(String),
    Undo,
    Done,
    /// The test mark, typed or scanned without the script.
    Test,
    Unknown,
}

/// What stands behind the beginning, and what it chooses.
const CHOICES: [(&str, &str); 11] = [
    ("LOOK", ""),
    ("PRECLEN", "step:treated"),
    ("RECEIVED", "step:received"),
    ("CLENED", "step:cleaned"),
    ("ULTRSON", "step:ultrasonic"),
    ("DISINFECTED", "step:disinfected"),
    ("DRIED", "step:dried"),
    ("INSPECTED", "inspect:passed"),
    ("REDO", "inspect:reclean"),
    ("HOLD", "inspect:hold"),
    ("PCKED", "step:packed"),
];

/// A scanned text as a command mark; none where it is a thing's.
pub fn read(scan: &str) -> Option<CommandMark> {
    let bare = scan.get(..3).filter(|id| id.starts_with(']')).and_then(|_| scan.get(3..)).unwrap_or(scan);
    let rest = bare.strip_prefix(BEGINS)?;
    if let Some((_, step)) = CHOICES.iter().find(|(code, _)| *code == rest) {
        return Some(CommandMark::Step(step));
    }
    Some(match rest {
        "UNDO" => CommandMark::Undo,
        "DONE" => CommandMark::Done,
        _ if bare == TEST => CommandMark::Test,
        _ => match rest.strip_prefix(STATION).map(str::trim).filter(|it| !it.is_empty()) {
            Some(station) => CommandMark::Station(station.chars().take(60).collect()),
            None => CommandMark::Unknown,
        },
    })
}

/// The mark of a station of this name.
pub fn of_station(name: &str) -> String {
    format!("{BEGINS}{STATION}{name}")
}

/// Every mark of the sheet but those of stations, with the words beside it.
pub fn all() -> Vec<(String, String)> {
    let words = |value: &str| STEPS.iter().find(|(own, _)| *own == value).map_or("", |(_, words)| *words);
    let steps = CHOICES.iter().map(|(code, value)| (format!("{BEGINS}{code}"), words(value).to_string()));
    steps
        .chain([
            (format!("{BEGINS}UNDO"), "Take the last act back".to_string()),
            (format!("{BEGINS}DONE"), "Done: nothing in hand".to_string()),
            (TEST.to_string(), "Test of the scanner's keyboard".to_string()),
        ])
        .collect()
}

/// The command that takes the last act of this station back; or why this person's scan of that mark does not.
pub fn undo(sent: &Sent, role: Role) -> Result<Value, Box<Reason>> {
    let entry = sent.last.parse::<u64>().ok().filter(|entry| *entry > 0);
    let Some(entry) = entry else {
        return Err(Box::new(plain(
            "Nothing to take back",
            "Nothing was recorded at this station since its page was opened.",
            "An act of this station is needed, the last one.",
            "Look it up in the ledger; the lead takes it back there.",
        )));
    };
    if !crate::domain::command::Act::roles("correct").contains(&role) {
        return Err(Box::new(plain(
            "The lead takes it back",
            format!("Entry {entry} is the last act of this station, and it stands."),
            "A lead is needed to take an act back.",
            &format!("Set the thing aside, and tell the lead: entry {entry}."),
        )));
    }
    Ok(json!({"do": "correct", "entry": entry, "reason": "Taken back at the station, at once."}))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_mark_of_the_sheet_reads_back() {
        for (text, words) in all() {
            assert!(!words.is_empty(), "{text}");
            assert!(!matches!(read(&text), None | Some(CommandMark::Unknown)), "{text}");
            assert_eq!(read(&format!("]d1{text}")), read(&text));
            // A, M, Q, W, Y and Z lie elsewhere on French or German keyboards; the test mark has them on purpose.
            assert!(text == TEST || !text.contains(['A', 'M', 'Q', 'W', 'Y', 'Z']), "{text}");
        }
        assert_eq!(read(&of_station("sink 2")), Some(CommandMark::Station("sink 2".into())));
        assert_eq!(read("FTLDOSTN"), Some(CommandMark::Unknown));
        assert_eq!(read("SET-1"), None);
        assert_eq!(all().len(), STEPS.len() + 3);
    }

    #[test]
    fn the_desk_does_not_take_back_what_the_lead_has_to() {
        let sent = Sent { last: "44".into(), ..Sent::default() };
        assert_eq!(undo(&sent, Role::Lead).unwrap()["entry"], 44);
        assert!(undo(&sent, Role::Desk).unwrap_err().next.contains("entry 44"));
        assert!(undo(&Sent::default(), Role::Lead).unwrap_err().found.starts_with("Nothing was recorded"));
    }
}
