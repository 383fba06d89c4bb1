//! The sets that stand alike, told together: a wall has no room for a row of each.

use super::board::SetRow;
use super::say::Say;

/// The sets that stand alike, in one line of the wall.
pub struct Folded {
    pub say: Say,
    pub sets: Vec<String>,
}

/// What is not simply ready, in the order of the board; what stands alike stands together.
pub fn folded(sets: &[SetRow]) -> Vec<Folded> {
    let mut all: Vec<Folded> = Vec::new();
    for row in sets.iter().filter(|row| !row.say.is("ready")) {
        let alike = |it: &&mut Folded| it.say.sign == row.say.sign && it.say.words == row.say.words;
        match all.iter_mut().find(alike) {
            Some(it) => it.sets.push(row.set.clone()),
            None => all.push(Folded { say: row.say.clone(), sets: vec![row.set.clone()] }),
        }
    }
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
        assert_eq!(all.iter().map(|it| it.sets.join(" ")).collect::<Vec<_>>(), ["CAM1 CAM3", "C1"]);
    }
}
