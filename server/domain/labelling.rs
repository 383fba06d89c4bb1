//! What stands on a label: what a reader reads, and the lines for people.

use chrono::NaiveDate;

use super::immediate_use::USE_NOW;
use super::mark::{self, Reads};
use super::set::SetState;
use super::state::{Asset, Stage, State};
use super::time::Time;
use crate::formats::gs1;
use crate::formats::label::{Label, Line, Said, Shape, Symbol, TooMuch, code_128, data_matrix};

/// How a label is read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Reading {
    Square,
    /// For a long, low label, and for thin shafts.
    Rectangle,
    Bars,
}

impl Reading {
    pub const ALL: [Reading; 3] = [Reading::Square, Reading::Rectangle, Reading::Bars];

    pub fn name(self) -> &'static str {
        match self {
            Reading::Square => "square",
            Reading::Rectangle => "rectangle",
            Reading::Bars => "bars",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Reading::Square => "Data Matrix, square",
            Reading::Rectangle => "Data Matrix, rectangle",
            Reading::Bars => "Code 128, bars",
        }
    }

    pub fn parse(text: &str) -> Option<Reading> {
        Reading::ALL.into_iter().find(|it| it.name() == text)
    }
}

/// What a symbol is to say.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Payload {
    /// A GS1 element string, and how it stands below its symbol.
    Gs1 {
        data: String,
        bracketed: String,
    },
    Plain(String),
}

impl Payload {
    /// A mark that names one piece by GS1 is written as such; everything else as it stands, without a reader's
    /// identifier.
    pub fn of(text: &str, today: NaiveDate) -> Payload {
        if let (Reads::Piece(_), Ok(read)) = (mark::read(text), gs1::read(text, today)) {
            // A date without its day is read and not written: the label names the piece without it.
            let whole = |(ai, _): &&gs1::Element| !read.day_zero.contains(ai);
            let elements: Vec<gs1::Element> = read.elements.iter().filter(whole).cloned().collect();
            if let Ok(data) = gs1::element_string(&elements, today) {
                return Payload::Gs1 { data, bracketed: gs1::bracketed(&elements) };
            }
        }
        match mark::read(text) {
            Reads::Own(code) => Payload::Plain(code),
            _ => Payload::Plain(text.to_owned()),
        }
    }

    pub fn caption(&self) -> &str {
        match self {
            Payload::Gs1 { bracketed, .. } => bracketed,
            Payload::Plain(text) => text,
        }
    }

    /// # Errors
    /// Where such a symbol cannot say it.
    pub fn symbol(&self, reading: Reading) -> Result<Symbol, TooMuch> {
        let said = match self {
            Payload::Gs1 { data, .. } => Said::Gs1(data),
            Payload::Plain(text) => Said::Plain(text),
        };
        match reading {
            Reading::Square => data_matrix(said, Shape::Square),
            Reading::Rectangle => data_matrix(said, Shape::Rectangle),
            Reading::Bars => code_128(said),
        }
    }

    fn label(&self, reading: Reading, lines: Vec<Line>) -> Result<Label, String> {
        let symbol = self.symbol(reading).map_err(|TooMuch| {
            format!("\"{}\" does not fit into {}.", super::scan_miss::shown(self.caption()), reading.words())
        })?;
        // What its caption says already needs no line of its own.
        let lines = lines.into_iter().filter(|line| line.text != self.caption()).collect();
        Ok(Label { symbol, caption: self.caption().to_owned(), lines })
    }
}

fn site(state: &State) -> String {
    if state.name.is_empty() { state.site.to_string() } else { state.name.clone() }
}

/// What is printed while somebody practises is never to be taken for a label of the house.
fn practised(state: &State, mut lines: Vec<Line>) -> Vec<Line> {
    if state.practice {
        lines.insert(0, Line::strong("PRACTICE, not for use"));
    }
    lines
}

/// What a part's label says: its mark, or its id where it has none that names it.
pub fn payload_of(asset: &Asset, today: NaiveDate) -> Payload {
    match asset.mark.as_ref().filter(|mark| mark::names_one(mark.as_str())) {
        Some(mark) => Payload::of(&mark.0, today),
        None => Payload::Plain(asset.asset.to_string()),
    }
}

/// # Errors
/// A sentence, where such a symbol cannot say it.
pub fn of_asset(state: &State, asset: &Asset, reading: Reading, today: NaiveDate) -> Result<Label, String> {
    let model = state.model(&asset.model);
    let mut lines = vec![Line::strong(asset.asset.to_string())];
    if state.strangers.get(&asset.asset).is_some_and(|stranger| stranger.is_open()) {
        lines.push(Line::strong("Stranger: not to be packed"));
    }
    lines.extend(model.map(|model| Line::plain(format!("{}, {}", model.family.words(), model.name.0))));
    lines.push(Line::plain(site(state)));
    payload_of(asset, today).label(reading, practised(state, lines))
}

/// A place of the house: its name, to be scanned where a place is asked for.
///
/// # Errors
/// A sentence, where such a symbol cannot say it.
pub fn of_place(state: &State, place: &str, reading: Reading) -> Result<Label, String> {
    Payload::Plain(place.to_owned()).label(reading, practised(state, vec![Line::plain(site(state))]))
}

/// A printed command: its text and its words.
///
/// # Errors
/// A sentence, where such a symbol cannot say it.
pub fn of_command(text: &str, words: &str, reading: Reading) -> Result<Label, String> {
    Payload::Plain(text.to_owned()).label(reading, vec![Line::strong(words)])
}

/// One closed pack of a set: its parts, by the name of the pack.
pub struct Pack<'a> {
    pub pack: &'a str,
    pub parts: Vec<&'a Asset>,
    /// The entry that packed it.
    pub entry: u64,
}

/// The closed packs of a set, in the order of their names.
pub fn packs_of<'a>(state: &'a State, set: &'a SetState) -> Vec<Pack<'a>> {
    let mut packs: Vec<Pack> = Vec::new();
    for asset in state.members(set).filter(|asset| asset.stage.in_pack()) {
        let Some(own) = &asset.pack else { continue };
        match packs.iter_mut().find(|known| known.pack == own.pack && known.entry == own.entry) {
            Some(known) => known.parts.push(asset),
            None => packs.push(Pack { pack: &own.pack, parts: vec![asset], entry: own.entry }),
        }
    }
    packs.sort_by_key(|pack| (pack.pack, pack.entry));
    packs
}

/// What is known of a pack's making beside the state: who packed it, and when.
#[derive(Clone, Debug, Default)]
pub struct Packed {
    pub by: String,
    pub at: Option<Time>,
}

/// # Errors
/// A sentence, where such a symbol cannot say it.
pub fn of_pack(
    state: &State,
    set: &SetState,
    pack: &Pack,
    packed: &Packed,
    reading: Reading,
) -> Result<Label, String> {
    let sheet = state.sheets.get(&set.count_sheet).map_or(set.count_sheet.as_str(), |it| it.name.as_str());
    // All packs of a set have its code: which of them it is stands first.
    let many = if pack.parts.len() == 1 { "1 part".into() } else { format!("{} parts", pack.parts.len()) };
    let mut lines = vec![
        Line::strong(format!("{}: {}", pack.pack, set.name.0)),
        Line::plain(format!("{many}, count sheet {sheet}")),
    ];
    let by = if packed.by.is_empty() { String::new() } else { format!(" by {}", packed.by) };
    let day = |at: Time| at.in_zone(state.zone).format("%Y-%m-%d %H:%M").to_string();
    lines.extend(packed.at.map(|at| Line::whole(format!("Packed {}{by}", day(at)))));
    lines.push(Line::whole(load_line(state, pack)));
    lines.push(Line::strong(until(state, pack)));
    Payload::Plain(set.set.to_string()).label(reading, practised(state, lines))
}

/// The load that made it ready, with machine and cycle; before that, the room to write them.
fn load_line(state: &State, pack: &Pack) -> String {
    let running = pack.parts.iter().find_map(|part| part.in_load.as_ref());
    let ready =
        pack.parts.iter().find(|part| part.stage != Stage::Packed).and_then(|part| part.load.as_ref());
    match running.or(ready).and_then(|load| state.loads.get(load)) {
        Some(load) => {
            let cycle = load.cycle_no.as_ref().map(|no| format!(", cycle {}", no.0)).unwrap_or_default();
            format!("Load {}, {}{cycle}", load.load, load.machine)
        }
        None => "Load ____________ cycle ________".into(),
    }
}

/// How long it counts as sterile. It is never called sterile before its load is released.
fn until(state: &State, pack: &Pack) -> String {
    let made_for = pack.parts.iter().find_map(|part| state.made_for(part)).map(|case| &case.case);
    let out = pack.parts.iter().find_map(|part| state.use_now(part)?.immediate_use.as_ref());
    if let Some(case) = made_for.or(out.map(|asked| &asked.case)) {
        return format!("{USE_NOW}: case {case}");
    }
    let released = pack.parts.iter().all(|part| part.stage == Stage::Ready);
    let ends_sterile = pack.parts.iter().all(|part| {
        state.route_of(part).last().is_some_and(|last| last.step == super::model::StepKind::Sterilised)
    });
    if !ends_sterile {
        return "Not sterile".into();
    }
    let first = pack.parts.iter().filter_map(|part| part.sterile_until).min();
    match (released, first) {
        (true, Some(day)) => format!("Sterile until {day}"),
        (true, None) => "Event-related: sterile while the pack is intact".into(),
        (false, _) => {
            let days = pack.parts.iter().filter_map(|part| state.model(&part.model)?.limits.shelf_life_days);
            match days.min() {
                Some(days) => format!("Not sterile before its load is released; then for {days} days"),
                None => "Not sterile before its load is released; then event-related".into(),
            }
        }
    }
}
