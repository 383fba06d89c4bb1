//! The joints as a chain, from the connector down to the barrel: what sits on what, and by which system.

use std::fmt::Write;

use super::super::plot::ink::{Anchor, Ink, cut};
use super::{SMALL, WIDTH, framed};

/// How a joint holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Holds {
    Yes,
    /// Nobody knows until somebody has tried the two together.
    NotKnown,
    No,
}

pub struct Link {
    pub holds: Holds,
    /// The system of the joint, or both where they differ.
    pub system: String,
}

/// A part on the way from the connector to the barrel.
pub struct Stage {
    pub name: String,
    /// The joint with the next part of the way; the barrel has none.
    pub below: Option<Link>,
    /// What else sits on it: caps, windows, adapters.
    pub beside: Vec<(Link, String)>,
}

pub struct Chain {
    pub stages: Vec<Stage>,
}

const BOX: f64 = 158.0;
const ROOM: f64 = 36.0;
const LINE: f64 = 17.0;
const JOINT: f64 = 26.0;
const BESIDE: f64 = 182.0;

impl Holds {
    pub fn words(self) -> &'static str {
        match self {
            Holds::Yes => "same system",
            Holds::NotKnown => "fit not known",
            Holds::No => "does not fit",
        }
    }

    fn class(self) -> &'static str {
        match self {
            Holds::Yes => "joint",
            Holds::NotKnown => "joint unknown",
            Holds::No => "joint broken",
        }
    }
}

impl Link {
    fn words(&self) -> String {
        match (self.holds, self.system.is_empty()) {
            (Holds::Yes, false) => self.system.clone(),
            (holds, true) => holds.words().into(),
            (holds, false) => format!("{}: {}", holds.words(), self.system),
        }
    }
}

impl Chain {
    /// What the drawing shows, in sentences.
    pub fn told(&self) -> String {
        let mut told = String::from("From the top down to the barrel.");
        for (at, stage) in self.stages.iter().enumerate() {
            if let (Some(link), Some(next)) = (&stage.below, self.stages.get(at + 1)) {
                let _ = write!(told, " {} on {}: {}.", stage.name, next.name, link.words());
            }
            for (link, name) in &stage.beside {
                let _ = write!(told, " {name} on {}: {}.", stage.name, link.words());
            }
        }
        told
    }

    pub fn drawn(&self, id: &str) -> String {
        let mut ink = Ink::default();
        let mut y = 2.0;
        for stage in &self.stages {
            let name = wrapped(&stage.name, 15);
            let beside: Vec<_> = stage.beside.iter().map(|(link, name)| (link, wrapped(name, 19))).collect();
            let rows: f64 = beside.iter().map(|(_, name)| room(name.len() + 1)).sum();
            let gaps = beside.len().saturating_sub(1) as f64 * 6.0;
            let height = (rows + gaps).max(room(name.len()));
            ink.area("part", (1.0, y), (BOX, y + height));
            let mut at = y + height / 2.0 - (name.len() as f64 - 1.0) * LINE / 2.0;
            for line in &name {
                ink.say("strong", (9.0, at), Anchor::Start, SMALL, line);
                at += LINE;
            }
            let mut top = y;
            for (link, name) in &beside {
                let high = room(name.len() + 1);
                let middle = top + high / 2.0;
                ink.line(link.holds.class(), (BOX, middle), (BESIDE, middle));
                sign(&mut ink, link.holds, ((BOX + BESIDE) / 2.0, middle));
                ink.area("part", (BESIDE, top), (WIDTH - 1.0, top + high));
                let mut at = middle - name.len() as f64 * LINE / 2.0;
                for line in name {
                    ink.say("strong", (BESIDE + 7.0, at), Anchor::Start, SMALL, line);
                    at += LINE;
                }
                ink.say("note", (BESIDE + 7.0, at), Anchor::Start, SMALL, &cut(&link.words(), 21));
                top += high + 6.0;
            }
            y += height;
            if let Some(link) = &stage.below {
                ink.line(link.holds.class(), (30.0, y), (30.0, y + JOINT));
                sign(&mut ink, link.holds, (30.0, y + JOINT / 2.0));
                ink.say("note", (46.0, y + JOINT / 2.0), Anchor::Start, SMALL, &cut(&link.words(), 36));
                y += JOINT;
            }
        }
        framed(id, "chain", y + 2.0, "The joints from the connector to the barrel", &self.told(), &ink)
    }
}

/// The height of a box of so many lines.
fn room(lines: usize) -> f64 {
    (lines as f64 * LINE + 2.0).max(ROOM)
}

/// A name in as many lines as it takes: nobody lays out a part of which half the name is read.
fn wrapped(name: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in name.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for (n, piece) in letters.chunks(most).enumerate() {
            let piece: String = piece.iter().collect();
            match lines
                .last_mut()
                .filter(|line| n == 0 && line.chars().count() + piece.chars().count() < most)
            {
                Some(line) => {
                    line.push(' ');
                    line.push_str(&piece);
                }
                None => lines.push(piece),
            }
        }
    }
    lines
}

/// What is not known is an open diamond, what does not fit a cross; what fits needs no sign.
fn sign(ink: &mut Ink, holds: Holds, (x, y): (f64, f64)) {
    match holds {
        Holds::Yes => {}
        Holds::NotKnown => {
            let around = [(x, y - 8.0), (x + 8.0, y), (x, y + 8.0), (x - 8.0, y), (x, y - 8.0)];
            ink.path("diamond", around.into_iter().map(Some));
        }
        Holds::No => {
            ink.path("cross", [Some((x - 7.0, y - 7.0)), Some((x + 7.0, y + 7.0))].into_iter());
            ink.path("cross", [Some((x - 7.0, y + 7.0)), Some((x + 7.0, y - 7.0))].into_iter());
        }
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;

    pub fn chain() -> Chain {
        let link = |holds, system: &str| Link { holds, system: system.into() };
        Chain {
            stages: vec![
                Stage {
                    name: "Connector C-1".into(),
                    below: Some(link(Holds::Yes, "15 mm cone")),
                    beside: vec![],
                },
                Stage {
                    name: "Head H-2".into(),
                    below: Some(link(Holds::NotKnown, "K4 to <K5>")),
                    beside: vec![
                        (link(Holds::Yes, "port P"), "Cap CAP-7".into()),
                        (link(Holds::No, "P to Q"), "Window W-1".into()),
                    ],
                },
                Stage { name: "Barrel BR-11".into(), below: None, beside: vec![] },
            ],
        }
    }

    #[test]
    fn what_is_not_known_has_a_word_and_a_shape() {
        let svg = chain().drawn("x");
        assert_eq!(svg.matches("class=\"diamond\"").count(), 1);
        assert_eq!(svg.matches("class=\"cross\"").count(), 2);
        assert!(
            svg.contains("fit not known: K4 to &lt;K5&gt;") && svg.contains("does not fit: P to Q"),
            "{svg}"
        );
        assert!(svg.contains("15 mm cone") && !svg.contains("style="));
    }

    #[test]
    fn a_long_name_is_told_whole() {
        assert_eq!(wrapped("Connector N-5001-anaesthesia", 15), ["Connector", "N-5001-anaesthe", "sia"]);
        assert_eq!(wrapped("Head H-2", 15), ["Head H-2"]);
        let mut long = chain();
        long.stages[0].name = "Connector N-500100".into();
        long.stages[1].beside[0].1 = "Suction tube suction-tube-0516".into();
        let svg = long.drawn("x");
        assert!(svg.contains(">N-500100<") && svg.contains(">suction-tube-0516<"), "{svg}");
    }

    #[test]
    fn the_description_names_every_joint() {
        let told = "From the top down to the barrel. Connector C-1 on Head H-2: 15 mm cone. \
                    Head H-2 on Barrel BR-11: fit not known: K4 to <K5>. Cap CAP-7 on Head H-2: port P. \
                    Window W-1 on Head H-2: does not fit: P to Q.";
        assert_eq!(chain().told(), told);
    }
}
