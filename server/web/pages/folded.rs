//! What stands alike, told together: a wall has no room for a row of each.

use super::board::{CaseRow, SetRow};
use super::say::Say;

/// The sets or the cases that stand alike, in one line of the wall.
pub struct Folded {
    pub say: Say,
    pub names: Vec<String>,
}

fn fold(rows: impl Iterator<Item = (Say, String)>) -> Vec<Folded> {
    let mut all: Vec<Folded> = Vec::new();
    for (say, name) in rows {
        let alike = |it: &&mut Folded| it.say.sign == say.sign && it.say.words == say.words;
        match all.iter_mut().find(alike) {
            Some(it) => it.names.push(name),
            None => all.push(Folded { say, names: vec![name] }),
        }
    }
    all
}

/// The sets that are not simply ready, in the order of the board.
pub fn folded(sets: &[SetRow]) -> Vec<Folded> {
    let rows = sets.iter().filter(|row| !row.say.is("ready"));
    fold(rows.map(|row| (row.say.clone(), row.set.clone())))
}

/// The cases of a day that is to come, those that are not ready first: by their hour, with what keeps them.
pub fn ahead(cases: &[CaseRow]) -> Vec<Folded> {
    let name = |row: &CaseRow| match row.say.is("ready") || row.brief.is_empty() {
        true => format!("{} {}", row.start, row.case),
        false => format!("{} {} ({})", row.start, row.case, row.brief),
    };
    let mut all = fold(cases.iter().map(|row| (row.say.clone(), name(row))));
    all.sort_by_key(|it| it.say.is("ready"));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_that_stand_alike_are_one_line_of_the_wall() {
        let row = |set: &str, say: Say| SetRow {
            href: String::new(),
            set: set.into(),
            name: String::new(),
            say,
            why: String::new(),
        };
        let ready = Say::new("ready", "ready", "ready");
        let rows = [
            row("CAM1", Say::held("on hold")),
            row("B2", ready),
            row("CAM3", Say::held("on hold")),
            row("C1", Say::new("out", "ink", "out, case K-1")),
        ];
        let all = folded(&rows);
        assert_eq!(all.iter().map(|it| it.names.join(" ")).collect::<Vec<_>>(), ["CAM1 CAM3", "C1"]);
    }
}
