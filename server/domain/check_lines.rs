//! What the function check asks for at a case: lines made from the families in it, and the site's own.

use std::collections::BTreeSet;
use std::sync::Arc;

use serde::Serialize;

use super::case::{Case, Technique};
use super::id::Id;
use super::model::Family::{self, *};
use super::state::{Asset, State};

/// A thing that has to work, and the families of the parts that it is about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Kind {
    pub line: &'static str,
    pub asks: &'static str,
    /// Asked where a part of one of these is at the case; always, where there are none.
    pub where_there_is: &'static [Family],
    /// The parts that it may fail on.
    pub about: &'static [Family],
}

const BARRELS: &[Family] = &[Bronchoscope, Tracheoscope];
const OPTICS: &[Family] = &[Telescope, CameraHead];

/// What is looked at in the room before a rigid instrument is used: camera, light, white balance, focus and suction
/// from a published curriculum's equipment check, jaws, locks and caps from common practice.
pub const KINDS: [Kind; 13] = [
    Kind {
        line: "camera",
        asks: "There is a picture on the screen",
        where_there_is: OPTICS,
        about: &[CameraHead],
    },
    Kind {
        line: "light",
        asks: "The light is bright and steady",
        where_there_is: &[Telescope, LightCable, LightSource],
        about: &[LightCable, LightSource],
    },
    Kind { line: "white balance", asks: "White is white", where_there_is: OPTICS, about: &[CameraHead] },
    Kind { line: "focus", asks: "The picture comes into focus", where_there_is: OPTICS, about: OPTICS },
    Kind {
        line: "image",
        asks: "The image is clear and whole",
        where_there_is: &[Telescope],
        about: &[Telescope],
    },
    Kind {
        line: "jaws",
        asks: "The jaws open, meet and hold",
        where_there_is: &[Forceps],
        about: &[Forceps],
    },
    Kind {
        line: "barrel",
        asks: "Looked through: clear, its end smooth, its holes open",
        where_there_is: BARRELS,
        about: BARRELS,
    },
    Kind {
        line: "locks",
        asks: "What is joined locks and does not wobble",
        where_there_is: &[Bronchoscope, Tracheoscope, Head, AnaesthesiaConnector, JetAdapter, PortAdapter],
        about: &[Bronchoscope, Tracheoscope, Head, AnaesthesiaConnector, JetAdapter, PortAdapter],
    },
    Kind { line: "caps whole", asks: "No cap is torn", where_there_is: &[Cap], about: &[Cap] },
    Kind {
        line: "window",
        asks: "The window is clear and tight",
        where_there_is: &[Window],
        about: &[Window],
    },
    Kind {
        line: INJECTOR,
        asks: "The injector opens and shuts, its pressure is set",
        where_there_is: &[Injector, JetAdapter],
        about: &[Injector],
    },
    Kind { line: "suction", asks: "Suction draws", where_there_is: &[], about: &[SuctionTube] },
    Kind {
        line: "pass",
        asks: "Each instrument passes this very barrel once",
        where_there_is: BARRELS,
        about: &[Telescope, Forceps, SuctionTube],
    },
];

/// The first line with jet ventilation, before anything else.
pub const WAY_OUT: &str = "way out";

/// Asked with jet ventilation, and while nobody said how it is ventilated.
const INJECTOR: &str = "injector";

/// A line that a case asks for, with the parts at the case that it may fail on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AskedLine {
    pub line: String,
    pub asks: String,
    pub parts: Vec<Id>,
}

/// The parts that a case has with it, or would take: what went to it, else what was chosen for it and what its kept sets
/// hold.
pub fn parts_of(state: &State, case: &Case) -> Vec<Arc<Asset>> {
    let went: Vec<_> = case.parts.keys().filter_map(|id| state.assets.get(id)).cloned().collect();
    if !went.is_empty() {
        return went;
    }
    let kept = case.promised.iter().filter_map(|set| state.sets.get(set));
    let mut all: Vec<Arc<Asset>> = kept.flat_map(|set| state.members(set)).cloned().collect();
    let chosen = case.chosen.iter().flat_map(|chosen| chosen.pieces());
    let chosen = chosen.filter_map(|piece| state.asset(piece)).cloned();
    for asset in chosen {
        if !all.iter().any(|known| known.asset == asset.asset) {
            all.push(asset);
        }
    }
    all
}

/// The families that a case deals with: of its parts, and of its count sheets while nothing went to it; what a rigid
/// set-up has while neither is known.
fn families(state: &State, case: &Case, parts: &[Arc<Asset>]) -> BTreeSet<Family> {
    let of = |model: &Id| state.model(model).map(|model| model.family);
    let mut all: BTreeSet<Family> = parts.iter().filter_map(|asset| of(&asset.model)).collect();
    if !case.parts.is_empty() {
        return all;
    }
    let sheets = case.needs.iter().filter_map(|sheet| state.sheets.get(sheet));
    let lines = sheets.flat_map(|sheet| &sheet.lines);
    all.extend(lines.flat_map(|line| line.family.into_iter().chain(line.models.iter().filter_map(of))));
    if all.is_empty() {
        all.extend([Bronchoscope, Telescope, CameraHead, LightCable, Forceps, SuctionTube, Cap]);
    }
    all
}

/// The lines that a case asks for: made from the families in it, then the site's own.
pub fn lines(state: &State, case: &Case) -> Vec<AskedLine> {
    let parts = parts_of(state, case);
    let there = families(state, case, &parts);
    let no_jet = case.technique.is_some_and(|technique| technique != Technique::JetOpen);
    let kinds = KINDS.iter().filter(|kind| !(no_jet && kind.line == INJECTOR)).filter(|kind| {
        kind.where_there_is.is_empty() || kind.where_there_is.iter().any(|family| there.contains(family))
    });
    let about = |kind: &Kind| {
        let of_it = parts.iter().filter(|asset| {
            state.model(&asset.model).is_some_and(|model| kind.about.contains(&model.family))
        });
        of_it.map(|asset| asset.asset.clone()).collect()
    };
    let mut all: Vec<AskedLine> = Vec::new();
    if case.technique == Some(Technique::JetOpen) {
        let asks = "Gas can leave: the declared way out is open, nothing sits on it or fills it";
        all.push(AskedLine { line: WAY_OUT.into(), asks: asks.into(), parts: Vec::new() });
    }
    let kinds =
        kinds.map(|kind| AskedLine { line: kind.line.into(), asks: kind.asks.into(), parts: about(kind) });
    all.extend(kinds);
    for own in &state.policy.check_lines {
        if !all.iter().any(|line| line.line == own.0) {
            let parts = parts.iter().map(|asset| asset.asset.clone()).collect();
            all.push(AskedLine { line: own.0.clone(), asks: String::new(), parts });
        }
    }
    all
}

/// Whether a line has that name: one of those that are made from families, one of the site's own, or one that was told of
/// this case before.
pub fn is_line(state: &State, case: &Case, name: &str) -> bool {
    name == WAY_OUT
        || KINDS.iter().any(|kind| kind.line == name)
        || state.policy.check_lines.iter().any(|own| own.0 == name)
        || case.checks.iter().any(|it| it.told.line.as_str() == name)
}

/// Whether a part is a case's own: it went to it, was chosen for it, or lies in a set of which that is true.
pub fn is_of_case(state: &State, case: &Case, asset: &Id) -> bool {
    let went = |id: &Id| case.parts.contains_key(id);
    if went(asset)
        || case
            .chosen
            .iter()
            .flat_map(|it| it.pieces())
            .any(|it| state.asset(it).is_some_and(|it| it.asset == *asset))
    {
        return true;
    }
    let seat = state.assets.get(asset).and_then(|it| it.seat.as_ref());
    seat.and_then(|seat| state.sets.get(&seat.set)).is_some_and(|set| {
        case.promised.contains(&set.set) || state.members(set).any(|mate| went(&mate.asset))
    })
}
