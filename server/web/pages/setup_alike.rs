//! What a set-up sheet would say many times over, said once: parts that wait for the same reason, objections that differ
//! in one part alone.

use super::setup_rows::{Line, PartLine};
use super::shared::{capital, count, listed};
use crate::domain::fit_judge::begun;

/// So many parts with the same reason share it.
const FEW: usize = 3;
/// More parts than this that lie in no set are counted where sets are told: each has its place in the table.
const MOST_NAMED: usize = 3;
/// What stands for a name where sentences are compared.
const ANY: &str = "\u{1}";

/// The reasons that several parts share, each with its letter; the parts say the letter instead.
pub fn reasons(parts: &mut [PartLine]) -> Vec<String> {
    let of = |part: &PartLine| match part.why.as_slice() {
        [why] => {
            let rest = why.strip_prefix(part.name.as_str())?.strip_prefix(" is ")?;
            Some(rest.to_string())
        }
        _ => None,
    };
    let mut shared: Vec<(String, usize)> = Vec::new();
    for why in parts.iter().filter_map(of) {
        match shared.iter_mut().find(|(known, _)| *known == why) {
            Some((_, many)) => *many += 1,
            None => shared.push((why, 1)),
        }
    }
    shared.retain(|(_, many)| *many >= FEW);
    let letters = ('a'..='z').map(|letter| format!("({letter})"));
    let shared: Vec<(String, String, usize)> =
        shared.into_iter().zip(letters).map(|((why, many), letter)| (why, letter, many)).collect();
    for part in parts.iter_mut() {
        let Some(why) = of(part) else { continue };
        if let Some((_, letter, _)) = shared.iter().find(|(known, ..)| *known == why) {
            part.why = vec![letter.clone()];
        }
    }
    let told = |(why, letter, many): (String, String, usize)| {
        format!("{letter} {}: {why}", count(many, "part", "parts"))
    };
    shared.into_iter().map(told).collect()
}

/// The names in a sentence, in their order, and the sentence without them.
fn parted(sentence: &str, names: &[String]) -> (Vec<String>, String) {
    let (mut found, mut rest) = (Vec::new(), String::with_capacity(sentence.len()));
    for word in sentence.split_inclusive(|letter: char| !(letter.is_alphanumeric() || "-._".contains(letter)))
    {
        let bare = word.trim_end_matches(|letter: char| !letter.is_alphanumeric());
        if names.iter().any(|name| name == bare) {
            found.push(bare.to_string());
            rest.push_str(ANY);
            rest.push_str(word.get(bare.len()..).unwrap_or_default());
        } else {
            rest.push_str(word);
        }
    }
    (found, rest)
}

/// Objections that differ in one part alone become one: the first of them, and the parts for which it is the same.
pub fn objections(lines: Vec<Line>, names: &[String], families: &[String]) -> Vec<Line> {
    struct Group {
        first: Line,
        names: Vec<String>,
        rest: String,
        /// Where they differ, and with which parts.
        at: Option<usize>,
        others: Vec<Line>,
    }
    let mut groups: Vec<Group> = Vec::new();
    for line in lines {
        let (own, mut rest) = parted(&line.sentence, names);
        for family in families {
            rest = rest.replace(&format!("{family} {ANY}"), ANY);
        }
        let joins = |group: &Group| {
            let alike = group.rest == rest && group.first.say.words == line.say.words;
            if !alike || group.names.len() != own.len() {
                return None;
            }
            let mut differ = group.names.iter().zip(&own).enumerate().filter(|(_, (a, b))| a != b);
            let (at, _) = differ.next()?;
            (differ.next().is_none() && group.at.is_none_or(|known| known == at)).then_some(at)
        };
        let found = groups.iter_mut().find_map(|group| joins(group).map(|at| (group, at)));
        match found {
            Some((group, at)) => {
                group.at = Some(at);
                group.others.push(line);
            }
            None => groups.push(Group { first: line, names: own, rest, at: None, others: Vec::new() }),
        }
    }
    let mut all: Vec<Line> = Vec::new();
    for mut group in groups {
        group.first.sentence = begun(&group.first.sentence);
        match group.at {
            Some(at) => {
                let own = |line: &Line| parted(&line.sentence, names).0.get(at).cloned().unwrap_or_default();
                let others: Vec<String> = group.others.iter().map(own).collect();
                let sentence = format!("{} The same holds for {}.", group.first.sentence, listed(&others));
                all.push(Line { sentence, ..group.first });
            }
            None => all.push(group.first),
        }
    }
    all
}

/// The parts that lie in no set, where it is told what to open.
pub fn loose(parts: &[String]) -> Vec<String> {
    match parts {
        [] => Vec::new(),
        [one] => vec![format!("{one}, which lies in no set")],
        few if few.len() <= MOST_NAMED => few.iter().map(|part| format!("{part} (in no set)")).collect(),
        many => vec![format!("{} that lie in no set", count(many.len(), "part", "parts"))],
    }
}

/// A sentence for the head of the sheet: what to open.
pub fn to_open(sets: Vec<String>, parts: &[String]) -> Option<String> {
    let words: Vec<String> = sets.into_iter().chain(loose(parts)).collect();
    (!words.is_empty()).then(|| capital(&format!("open {}.", listed(&words))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::say::Say;

    fn line(sentence: &str) -> Line {
        Line {
            what: String::new(),
            words: String::new(),
            sentence: sentence.into(),
            say: Say::due("not known"),
        }
    }

    #[test]
    fn objections_that_differ_in_one_part_are_one() {
        let names = ["T-1", "F-1", "F-2", "H-1", "H-2"].map(String::from);
        let families = ["telescope", "forceps", "head"].map(String::from);
        let bore =
            |head: &str, part: &str| line(&format!("The bore of head {head} is not known for {part}."));
        let lines = vec![
            bore("H-1", "telescope T-1"),
            line("It is held."),
            bore("H-1", "forceps F-1"),
            bore("H-1", "forceps F-2"),
        ];
        let told: Vec<String> =
            objections(lines, &names, &families).into_iter().map(|line| line.sentence).collect();
        let first = "The bore of head H-1 is not known for telescope T-1. The same holds for F-1 and F-2.";
        assert_eq!(told, [first, "It is held."]);
        let held = |sentence: &str| objections(vec![line(sentence)], &names, &families)[0].sentence.clone();
        assert_eq!(held("forceps F-1 is too short."), "Forceps F-1 is too short.");
        assert_eq!(held("cap-7 is held."), "cap-7 is held.", "a name stays as it is");
        // What differs in more than one part is told as it is.
        let lines =
            vec![bore("H-1", "telescope T-1"), bore("H-2", "forceps F-1"), bore("H-2", "telescope T-1")];
        assert_eq!(objections(lines, &names, &families).len(), 2);
    }

    #[test]
    fn many_loose_parts_are_counted_where_sets_are_told() {
        let names = |many: usize| (1..=many).map(|n| format!("C-{n}")).collect::<Vec<_>>();
        let sets = || vec!["set A".to_string()];
        assert_eq!(to_open(sets(), &names(0)).unwrap(), "Open set A.");
        assert_eq!(to_open(sets(), &names(1)).unwrap(), "Open set A and C-1, which lies in no set.");
        assert_eq!(to_open(sets(), &names(2)).unwrap(), "Open set A, C-1 (in no set) and C-2 (in no set).");
        assert_eq!(to_open(sets(), &names(21)).unwrap(), "Open set A and 21 parts that lie in no set.");
        assert_eq!(to_open(Vec::new(), &[]), None);
    }
}
