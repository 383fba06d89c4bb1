//! Which column of a file is what: by an equal or a similar name, and then as a person says. Where two columns may be
//! the same thing, neither is taken.

use std::collections::BTreeMap;

use super::columns::{Column, What, columns};
use super::{Chosen, Kind};
use crate::domain::model_columns;
use crate::formats::grid::Grid;
use crate::formats::table::Fault;

/// How a column of the file was found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum How {
    /// Its name is this one.
    Equal,
    /// Its name is almost this one.
    Similar,
    /// Somebody said so, now or for a file before.
    Chosen,
}

impl How {
    pub fn name(self) -> &'static str {
        match self {
            How::Equal => "equal",
            How::Similar => "similar",
            How::Chosen => "chosen",
        }
    }
}

/// What is wanted, and where the file has it.
#[derive(Clone, Debug)]
pub struct Mapped {
    pub column: Column,
    /// The place of the file's column, and how it was found.
    pub from: Option<(usize, How)>,
    /// The value of every row whose own cell is empty.
    pub fixed: Option<String>,
}

#[derive(Clone, Debug, Default)]
pub struct Mapping {
    pub kind: Option<Kind>,
    pub header_line: u64,
    /// The names of the file's columns.
    pub header: Vec<String>,
    pub wanted: Vec<Mapped>,
    pub faults: Vec<Fault>,
}

/// Letters and digits of a name, small, with an underscore between its words.
fn plain(text: &str) -> String {
    let lower = text.to_lowercase();
    let words: Vec<&str> =
        lower.split(|letter: char| !letter.is_alphanumeric()).filter(|it| !it.is_empty()).collect();
    words.join("_")
}

/// How near a name of a file comes to a column: 0 is its own name, 1 another one, 2 almost one.
fn rank(column: &Column, header: &str) -> Option<u8> {
    if let What::Model(place) = column.what {
        let own = model_columns::COLUMNS.get(place);
        if let Ok(heading) = model_columns::heading(header) {
            return own.filter(|own| own.path == heading.column.path).map(|_| 0);
        }
    }
    let name = plain(header);
    if name == column.key {
        return Some(0);
    }
    if column.names.contains(&name.as_str()) {
        return Some(1);
    }
    let own = std::iter::once(&column.key).chain(column.names);
    own.into_iter().any(|own| is_similar(own, &name)).then_some(2)
}

/// Whether two names differ as typing errors and plurals do: by one letter from five letters on, by two from nine on.
fn is_similar(own: &str, name: &str) -> bool {
    let most = match own.len().min(name.len()) {
        0..=4 => return false,
        5..=8 => 1,
        _ => 2,
    };
    own.len().abs_diff(name.len()) <= most && distance(own, name) <= most
}

/// How many letters have to be put in, taken out or changed (Levenshtein's distance).
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut before: Vec<usize> = (0..=b.len()).collect();
    for (row, letter) in a.chars().enumerate() {
        let mut now = vec![row + 1];
        for (at, other) in b.iter().enumerate() {
            let left = now.last().copied().unwrap_or_default() + 1;
            let up = before.get(at + 1).copied().unwrap_or_default() + 1;
            let across = before.get(at).copied().unwrap_or_default() + usize::from(letter != *other);
            now.push(left.min(up).min(across));
        }
        before = now;
    }
    before.last().copied().unwrap_or_default()
}

impl Mapping {
    pub fn of(kind: Kind, grid: &Grid, chosen: &Chosen) -> Mapping {
        let mut mapping = Mapping {
            kind: Some(kind),
            header_line: grid.header_line,
            header: grid.header.clone(),
            wanted: Vec::new(),
            faults: Vec::new(),
        };
        let all = columns(kind);
        mapping.unknown_choices(&all, chosen);
        let mut taken: BTreeMap<usize, &'static str> = BTreeMap::new();
        for column in &all {
            let from = mapping.chosen(column, chosen, &mut taken);
            let fixed = chosen.fixed.get(column.key).filter(|text| !text.trim().is_empty()).cloned();
            mapping.wanted.push(Mapped { column: *column, from, fixed });
        }
        for nearness in 0..=2 {
            mapping.by_name(nearness, chosen, &mut taken);
        }
        mapping.lacks();
        mapping
    }

    /// A name that somebody chose and that is none is an error of whoever chose it.
    fn unknown_choices(&mut self, all: &[Column], chosen: &Chosen) {
        let keys = chosen.columns.keys().chain(chosen.fixed.keys()).chain(chosen.dates.keys());
        for key in keys.filter(|key| !all.iter().any(|column| column.key == **key)) {
            let names: Vec<&str> = all.iter().map(|column| column.key).collect();
            let needed = format!("one of {} is needed", names.join(", "));
            self.faults.push(Fault::new(
                self.header_line,
                key,
                format!("\"{key}\", which no row has"),
                needed,
            ));
        }
    }

    /// What somebody said of a column, where the file has it.
    fn chosen(
        &mut self,
        column: &Column,
        chosen: &Chosen,
        taken: &mut BTreeMap<usize, &'static str>,
    ) -> Option<(usize, How)> {
        let name = chosen.columns.get(column.key).filter(|name| !name.is_empty())?;
        let place = self.header.iter().position(|header| header == name)?;
        if let Some(other) = taken.get(&place) {
            let found = format!("the column {name} for {other} and for {}", column.key);
            self.faults.push(Fault::new(self.header_line, name, found, "each column once is needed"));
            return None;
        }
        taken.insert(place, column.key);
        Some((place, How::Chosen))
    }

    /// Finds those columns that are free yet and whose names are so near; two at once are told, and neither is taken.
    fn by_name(&mut self, nearness: u8, chosen: &Chosen, taken: &mut BTreeMap<usize, &'static str>) {
        let how = if nearness < 2 { How::Equal } else { How::Similar };
        let header = self.header.clone();
        for mapped in &mut self.wanted {
            let column = mapped.column;
            let declined = chosen.columns.get(column.key).is_some_and(String::is_empty);
            if mapped.from.is_some() || declined {
                continue;
            }
            let near = |(place, name): &(usize, &String)| {
                !taken.contains_key(place) && !name.is_empty() && rank(&column, name) == Some(nearness)
            };
            let found: Vec<(usize, &String)> = header.iter().enumerate().filter(near).collect();
            match found.as_slice() {
                [] => {}
                [(place, _)] => {
                    taken.insert(*place, column.key);
                    mapped.from = Some((*place, how));
                }
                many => {
                    let names: Vec<&str> = many.iter().map(|(_, name)| name.as_str()).collect();
                    let found = format!(
                        "the columns {}, each of which may be the {}",
                        names.join(" and "),
                        column.key
                    );
                    let needed = "somebody has to say which of them it is";
                    self.faults.push(Fault::new(self.header_line, names.join(", "), found, needed));
                    taken.extend(many.iter().map(|(place, _)| (*place, column.key)));
                }
            }
        }
    }

    /// What every list of this kind needs and the file has not.
    fn lacks(&mut self) {
        let lacking =
            self.wanted.iter().filter(|it| it.column.is_needed() && it.from.is_none() && it.fixed.is_none());
        let faults: Vec<Fault> = lacking
            .map(|it| {
                let needed = "a column for it is needed, or one value for all rows";
                Fault::new(self.header_line, it.column.key, format!("no column {}", it.column.key), needed)
            })
            .filter(|fault| {
                !self.faults.iter().any(|told| told.found.ends_with(&format!("may be the {}", fault.column)))
            })
            .collect();
        self.faults.extend(faults);
    }

    /// The file's columns that nothing is read from.
    pub fn left_out(&self) -> Vec<&str> {
        let used = |place: usize| self.wanted.iter().any(|it| it.from.is_some_and(|(own, _)| own == place));
        let named = self.header.iter().enumerate().filter(|(_, name)| !name.is_empty());
        named.filter(|(place, _)| !used(*place)).map(|(_, name)| name.as_str()).collect()
    }

    /// The name in the file of what is wanted, else its key.
    pub fn name_of(&self, key: &str) -> String {
        let mapped = self.wanted.iter().find(|it| it.column.key == key);
        let place = mapped.and_then(|it| it.from).map(|(place, _)| place);
        place.and_then(|place| self.header.get(place)).map_or_else(|| key.to_string(), String::clone)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mapping(kind: Kind, header: &[&str], chosen: &Chosen) -> Mapping {
        let header = header.iter().map(ToString::to_string).collect();
        Mapping::of(kind, &Grid { header_line: 1, header, ..Grid::default() }, chosen)
    }

    fn from(mapping: &Mapping, key: &str) -> Option<(usize, How)> {
        mapping.wanted.iter().find(|it| it.column.key == key).unwrap().from
    }

    #[test]
    fn columns_are_found_by_their_names_and_by_almost_their_names() {
        let found = mapping(
            Kind::Assets,
            &["Asset No.", "Serials", "MODEL", "aquired", "Colour"],
            &Chosen::default(),
        );
        assert_eq!(from(&found, "asset"), Some((0, How::Equal)));
        assert_eq!(from(&found, "serial"), Some((1, How::Similar)));
        assert_eq!(from(&found, "model"), Some((2, How::Equal)));
        assert_eq!(from(&found, "acquired"), Some((3, How::Similar)));
        assert_eq!(found.left_out(), ["Colour"]);
        assert!(found.faults.is_empty(), "{:?}", found.faults);
        // A column's own name outranks another name of it.
        let found = mapping(Kind::Assets, &["model", "cycles", "prior_cycles"], &Chosen::default());
        assert_eq!(from(&found, "prior_cycles"), Some((2, How::Equal)));
        // Units stand in the headings of models.
        let found = mapping(Kind::Models, &["code", "ID mm", "length (cm)"], &Chosen::default());
        assert_eq!(from(&found, "inner_diameter"), Some((1, How::Equal)));
        assert_eq!(from(&found, "length"), Some((2, How::Equal)));
    }

    #[test]
    fn what_may_be_two_things_is_asked_about() {
        let found = mapping(Kind::Assets, &["model", "barcode", "UDI"], &Chosen::default());
        assert_eq!(from(&found, "mark"), None);
        assert!(found.faults.iter().any(|it| it.found.contains("barcode and UDI")), "{:?}", found.faults);
        let mut chosen = Chosen::default();
        chosen.columns.insert("mark".into(), "UDI".into());
        let found = mapping(Kind::Assets, &["model", "barcode", "UDI"], &chosen);
        assert_eq!(from(&found, "mark"), Some((2, How::Chosen)));
        assert!(found.faults.is_empty(), "{:?}", found.faults);
        chosen.columns.insert("serial".into(), "UDI".into());
        let found = mapping(Kind::Assets, &["model", "barcode", "UDI"], &chosen);
        assert!(found.faults[0].found.contains("for mark and for serial"), "{:?}", found.faults);
        let found = mapping(Kind::Assets, &["serial"], &Chosen::default());
        assert_eq!(found.faults[0].found, "no column model");
        chosen = Chosen::default();
        chosen.fixed.insert("modle".into(), "x".into());
        assert!(mapping(Kind::Assets, &["model"], &chosen).faults[0].found.contains("modle"));
    }
}
