//! Which labels are asked for, and what stands on them.

use serde::Deserialize;

use super::command_mark;
use crate::domain::event::Thing;
use crate::domain::labelling::{self, Packed, Reading, of_asset, of_command, of_pack, of_place, packs_of};
use crate::domain::scan::resolve;
use crate::domain::state::{Named, State};
use crate::domain::time::Time;
use crate::formats::json::normal;
use crate::formats::label::{Label, Size};
use crate::web::App;

/// More labels at once are a mistake, or an attack.
pub const MOST: usize = 1_000;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// Of parts; a set stands for its members.
    Part,
    /// Of a set's closed packs.
    Pack,
    Place,
    /// The sheet of commands, with stations where they are named.
    Command,
}

impl Kind {
    pub const ALL: [Kind; 4] = [Kind::Part, Kind::Pack, Kind::Place, Kind::Command];

    pub fn name(self) -> &'static str {
        match self {
            Kind::Part => "part",
            Kind::Pack => "pack",
            Kind::Place => "place",
            Kind::Command => "command",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Kind::Part => "Parts: their marks; a set stands for its members",
            Kind::Pack => "Closed packs of sets",
            Kind::Place => "Places",
            Kind::Command => "Commands for a workplace, and stations named below",
        }
    }
}

/// What the form of labels and its address carry.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub kind: String,
    /// Parts, sets, places or stations, one a line.
    pub scan: String,
    pub size: String,
    pub symbol: String,
    pub paper: String,
    pub skip: String,
    pub dpi: String,
}

/// Pages that printers take, in millimetres.
const PAPERS: [(&str, &str, f64, f64); 2] = [("a4", "A4", 210.0, 297.0), ("letter", "Letter", 215.9, 279.4)];

pub fn page_words() -> [(&'static str, &'static str); 2] {
    PAPERS.map(|(name, words, ..)| (name, words))
}

impl Asked {
    pub fn kind(&self) -> Kind {
        Kind::ALL.into_iter().find(|it| it.name() == self.kind).unwrap_or(Kind::Part)
    }

    pub fn reading(&self) -> Reading {
        Reading::parse(&self.symbol).unwrap_or(Reading::Square)
    }

    /// The size asked for, where the site has it, else the site's second one: small labels take no long mark.
    pub fn size_text(&self, state: &State) -> String {
        let all: Vec<String> = state.policy.marking.label_sizes.iter().map(ToString::to_string).collect();
        let asked = all.iter().find(|it| **it == self.size);
        asked.or(all.get(1)).or(all.first()).cloned().unwrap_or_default()
    }

    pub fn size(&self, state: &State) -> Size {
        let all = &state.policy.marking.label_sizes;
        let chosen = self.size_text(state);
        let size = all.iter().find(|it| it.to_string() == chosen);
        let side = |side: Option<f64>, none: f64| side.unwrap_or(none);
        Size {
            width_mm: side(size.map(|it| it.width_mm.f64()), 38.0),
            height_mm: side(size.map(|it| it.height_mm.f64()), 19.0),
        }
    }

    pub fn paper(&self) -> &'static str {
        PAPERS.iter().find(|(name, ..)| *name == self.paper).map_or("a4", |(name, ..)| name)
    }

    pub fn paper_size(&self) -> Size {
        let paper = PAPERS.iter().find(|(name, ..)| *name == self.paper()).unwrap_or(&PAPERS[0]);
        Size { width_mm: paper.2, height_mm: paper.3 }
    }

    /// Places of the first sheet whose labels are gone already.
    pub fn skip(&self) -> usize {
        self.skip.trim().parse().unwrap_or(0).min(MOST)
    }

    pub fn dpi(&self) -> u32 {
        [203, 300, 600].into_iter().find(|dpi| dpi.to_string() == self.dpi).unwrap_or(203)
    }

    fn lines(&self) -> impl Iterator<Item = String> + '_ {
        self.scan.lines().map(normal).map(|line| line.trim().to_owned()).filter(|line| !line.is_empty())
    }
}

/// The labels that are asked for; or a sentence that says what is wrong.
///
/// # Errors
/// What is not known, or does not fit into such a symbol.
pub async fn made(app: &App, state: &State, now: Time, asked: &Asked) -> Result<Vec<Label>, String> {
    let (reading, mut labels) = (asked.reading(), Vec::new());
    if asked.kind() == Kind::Command && !asked.kind.is_empty() {
        for (text, words) in command_mark::all() {
            labels.push(of_command(&text, &words, reading)?);
        }
    }
    for line in asked.lines() {
        if labels.len() >= MOST {
            return Err(format!("More than {MOST} labels are asked for at once; ask for fewer."));
        }
        match asked.kind() {
            Kind::Part => labels.extend(of_parts(state, &line, reading, now)?),
            Kind::Pack => labels.extend(of_packs(app, state, &line, reading).await?),
            Kind::Place => labels.push(of_place(state, &line, reading)?),
            Kind::Command => {
                let words = format!("Station: {line}");
                labels.push(of_command(&command_mark::of_station(&line), &words, reading)?);
            }
        }
    }
    Ok(labels)
}

fn of_parts(state: &State, line: &str, reading: Reading, now: Time) -> Result<Vec<Label>, String> {
    let today = now.in_zone(state.zone).date_naive();
    match resolve(state, line).map_err(|problem| problem.found)? {
        Named::Asset(id) => {
            let asset = state.assets.get(&id).into_iter();
            asset.map(|asset| of_asset(state, asset, reading, today)).collect()
        }
        Named::Set(set) => {
            let set = state.sets.get(&set).into_iter();
            let members = set.flat_map(|set| state.members(set));
            members.map(|asset| of_asset(state, asset, reading, today)).collect()
        }
    }
}

async fn of_packs(app: &App, state: &State, line: &str, reading: Reading) -> Result<Vec<Label>, String> {
    let set = match resolve(state, line).map_err(|problem| problem.found)? {
        Named::Set(set) => Some(set),
        Named::Asset(id) => {
            state.assets.get(&id).and_then(|it| it.pack.as_ref()).map(|pack| pack.set.clone())
        }
    };
    let Some(set) = set.and_then(|set| state.sets.get(&set)) else {
        return Err(format!("{line} lies in no pack of a set."));
    };
    let packs = packs_of(state, set);
    if packs.is_empty() {
        return Err(format!("Set {} has no closed pack: a pack's label is made when it is packed.", set.set));
    }
    let mut labels = Vec::new();
    for pack in &packs {
        let packed = packed_by(app, state, pack).await;
        labels.push(of_pack(state, set, pack, &packed, reading)?);
    }
    Ok(labels)
}

/// Who packed it and when, from the life of its first part.
async fn packed_by(app: &App, state: &State, pack: &labelling::Pack<'_>) -> Packed {
    const LOOKED_AT: usize = 40;
    let Some(first) = pack.parts.first() else { return Packed::default() };
    let thing = Thing::asset(first.asset.as_str());
    let history = app.house.history(&state.site, &thing, None, LOOKED_AT).await.unwrap_or_default();
    let packing = history.into_iter().find(|entry| entry.seq == pack.entry);
    packing.map_or_else(Packed::default, |entry| Packed { by: entry.actor, at: Some(entry.at) })
}
