//! Openings: what sits on each decides whether gas can pass, and the technique decides what they have to be.

use super::case::Technique;
use super::fit::{Check, Gas, Opening, OpeningState, Rule, Verdict};
use super::fit_layout::{End, Layout};
use super::fit_size::Width;
use super::fit_way::behind;
use super::model::{Family, Port};
use super::site::Policy;
use crate::analysis::packing::{Length, TOLERANCE_MM, needed};

/// Every opening into the lumen, with what sits on it.
pub fn openings(layout: &Layout, policy: &Policy) -> Vec<Opening> {
    layout.openings().into_iter().filter_map(|end| opening(layout, policy, end)).collect()
}

/// The shafts of instruments at their widest, where all are known.
pub fn shafts(layout: &Layout, instruments: &[usize]) -> Option<Vec<Length>> {
    let shaft = |piece: &usize| Some(layout.pieces.get(*piece)?.shaft()?.high);
    instruments.iter().map(shaft).collect()
}

fn state_of(layout: &Layout, by: Option<usize>) -> OpeningState {
    let Some(piece) = by.and_then(|by| layout.pieces.get(by)) else { return OpeningState::Open };
    match piece.family() {
        Family::Cap if !piece.holes_known() => OpeningState::HolesNotKnown,
        Family::Cap if piece.holes().is_empty() => OpeningState::Blank,
        Family::Cap => OpeningState::HoledCap,
        Family::AnaesthesiaConnector => OpeningState::Connector,
        Family::JetAdapter => OpeningState::Jet,
        Family::Window => OpeningState::Window,
        _ => OpeningState::Other,
    }
}

fn opening(layout: &Layout, policy: &Policy, end: End) -> Option<Opening> {
    let coupling = layout.coupling(end)?;
    let by = layout.on(end);
    let state = state_of(layout, by);
    let instruments: Vec<usize> =
        layout.instruments().into_iter().filter(|piece| layout.entry(*piece) == Some(end)).collect();
    let holes = by.and_then(|by| layout.pieces.get(by)).map(|piece| piece.holes()).unwrap_or_default();
    let bore = coupling.bore_mm.map(|bore| bore.f64());
    let each = layout.at_once(end).into_iter().map(|here| gas(layout, policy, state, &holes, &here, bore));
    // Gas counts as leaving only where it can whichever of the groups is in.
    let gas = each.min().unwrap_or(Gas::NotKnown);
    let leaks = layout.at_once(end).into_iter().map(|here| leaks(state, &holes, &here)).max();
    let way_out = layout.way_out.contains(&end);
    let sits = match by {
        Some(by) => sits(layout, by, state, holes.len()),
        None => "nothing".into(),
    };
    let through: Vec<String> = instruments.iter().map(|piece| layout.called(*piece)).collect();
    let through = match through.is_empty() {
        true => String::new(),
        false => format!("; {} through it", through.join(" and ")),
    };
    let passes = match (gas, state) {
        (_, OpeningState::Jet) => "gas comes in here (jet)",
        (_, OpeningState::Connector) => "the breathing circuit joins here",
        (Gas::Open, _) => "gas can pass",
        (Gas::Closed, _) => "closed",
        (Gas::NotKnown, _) => "whether gas can pass is not known",
    };
    let declared = if way_out { ", declared as the way out for gas" } else { "" };
    let called = layout.end_called(end);
    Some(Opening {
        at: layout.end_at(end),
        port: coupling.port?,
        bore_mm: bore,
        state,
        by,
        holes_mm: holes.iter().map(|hole| hole.low.mm()).collect(),
        instruments,
        gas,
        leaks: leaks.unwrap_or(Gas::NotKnown),
        way_out,
        sentence: format!("Opening {called}: {sits}{through}: {passes}{declared}."),
    })
}

/// What sits on an opening, without saying "cap" of a cap twice.
fn sits(layout: &Layout, by: usize, state: OpeningState, holes: usize) -> String {
    match (state, holes) {
        (OpeningState::Blank, _) => format!("{}, blank", layout.called(by)),
        (OpeningState::HolesNotKnown, _) => format!("{}, its holes not known", layout.called(by)),
        (OpeningState::HoledCap, 1) => format!("{} with a hole", layout.called(by)),
        (OpeningState::HoledCap, holes) => format!("{} with {holes} holes", layout.called(by)),
        (state, _) => format!("{} ({})", layout.called(by), state.words()),
    }
}

/// Whether gas passes. Beside what goes through an open bore a gap has to stay; in a cap an instrument fills its hole,
/// and that closes it.
fn gas(
    layout: &Layout,
    policy: &Policy,
    state: OpeningState,
    holes: &[Width],
    instruments: &[usize],
    bore: Option<f64>,
) -> Gas {
    let gap = policy.way_out_gap_mm.f64();
    match state {
        OpeningState::Open => {
            let needed_mm = match instruments {
                [] => Some(0.0),
                some => shafts(layout, some).and_then(|widths| needed(&widths).ok()).map(|it| it.high_mm),
            };
            match (bore, needed_mm) {
                (Some(bore), Some(needed_mm)) if needed_mm + gap <= bore + TOLERANCE_MM => Gas::Open,
                (Some(_), Some(_)) => Gas::Closed,
                _ => Gas::NotKnown,
            }
        }
        // Whoever chooses the holes may take the widest ones.
        OpeningState::HoledCap
            if holes.get(instruments.len()).is_some_and(|hole| hole.low.mm() + TOLERANCE_MM >= gap) =>
        {
            Gas::Open
        }
        OpeningState::HoledCap
        | OpeningState::Blank
        | OpeningState::Connector
        | OpeningState::Jet
        | OpeningState::Window => Gas::Closed,
        OpeningState::HolesNotKnown | OpeningState::Other => Gas::NotKnown,
    }
}

/// Whether gas passes at all, be it ever so little: nothing seals an open bore, and an empty hole is open.
fn leaks(state: OpeningState, holes: &[Width], instruments: &[usize]) -> Gas {
    match state {
        OpeningState::Open => Gas::Open,
        OpeningState::HoledCap if holes.len() > instruments.len() => Gas::Open,
        OpeningState::HoledCap
        | OpeningState::Blank
        | OpeningState::Connector
        | OpeningState::Jet
        | OpeningState::Window => Gas::Closed,
        OpeningState::HolesNotKnown | OpeningState::Other => Gas::NotKnown,
    }
}

struct Told(Vec<Check>);

impl Told {
    fn say(&mut self, rule: Rule, verdict: Verdict, parts: Vec<usize>, sentence: String) {
        self.0.push(Check::of(rule, verdict, parts, sentence));
    }
}

/// What the technique asks of the openings.
pub fn technique(
    layout: &Layout,
    policy: &Policy,
    openings: &[Opening],
    technique: Option<Technique>,
) -> Vec<Check> {
    let mut told = Told(Vec::new());
    if openings.is_empty() {
        let sentence =
            "No opening into the lumen is known: the catalogue names none on these parts. Fit not known.";
        told.say(Rule::Openings, Verdict::NotKnown, vec![0], sentence.into());
    } else if openings.iter().all(|opening| opening.port != Port::Proximal) {
        let sentence = "No opening in line with the barrel is known on these parts. Fit not known.";
        told.say(Rule::Openings, Verdict::NotKnown, vec![0], sentence.into());
    }
    for end in &layout.way_out {
        if !layout.openings().contains(end) {
            let sentence =
                format!("{} is declared as a way out, and is no opening here.", layout.end_called(*end));
            let jet = technique == Some(Technique::JetOpen) || has_jet(openings);
            let verdict = if jet { Verdict::Stops } else { Verdict::Fails };
            told.say(Rule::WayOut, verdict, vec![end.0], sentence);
        }
    }
    match technique {
        None => {
            let sentence = "Technique not known: nothing can be said of the openings.";
            told.say(Rule::Openings, Verdict::NotKnown, Vec::new(), sentence.into());
        }
        Some(Technique::JetOpen) => {
            if !has_jet(openings) {
                let sentence = "No jet attachment sits on any opening.";
                told.say(Rule::Complete, Verdict::Fails, Vec::new(), sentence.into());
            }
            jet(&mut told, layout, policy, openings);
        }
        Some(Technique::ControlledClosed) => {
            closed(&mut told, openings);
            for piece in openings.iter().filter(|it| it.state == OpeningState::Jet).filter_map(|it| it.by) {
                let sentence = format!(
                    "{} is a jet attachment and does not belong on a closed system, out of which its gas can't leave: \
                     take it off.",
                    layout.called(piece)
                );
                told.say(Rule::Openings, Verdict::Fails, vec![piece], sentence);
            }
        }
        Some(Technique::Assisted) => {
            let sentence = "Assisted ventilation leaves the openings to those who give it.";
            told.say(Rule::Openings, Verdict::Holds, Vec::new(), sentence.into());
        }
        Some(Technique::Apnoeic) => apnoeic(&mut told, openings),
    }
    // Whatever the technique is called, what a jet blows in has to leave.
    if technique != Some(Technique::JetOpen) && has_jet(openings) {
        jet(&mut told, layout, policy, openings);
    }
    told.0
}

fn has_jet(openings: &[Opening]) -> bool {
    openings.iter().any(|opening| opening.state == OpeningState::Jet)
}

/// The ways out that are declared: open, and open all along.
fn jet(told: &mut Told, layout: &Layout, policy: &Policy, openings: &[Opening]) {
    way_out(told, openings, !layout.way_out.is_empty());
    for end in layout.way_out.iter().filter(|end| layout.openings().contains(end)) {
        if let Some((verdict, parts, why)) = behind(layout, policy, *end) {
            told.say(Rule::WayOut, verdict, parts, format!("Gas must be able to leave. {why}"));
        }
    }
}

fn way_out(told: &mut Told, openings: &[Opening], is_declared: bool) {
    let declared: Vec<&Opening> = openings.iter().filter(|opening| opening.way_out).collect();
    if !is_declared {
        let open: Vec<&str> = openings
            .iter()
            .filter(|opening| opening.gas == Gas::Open)
            .map(|opening| opening.at.end.as_str())
            .collect();
        let next = match open.as_slice() {
            [] => "none of these openings lets gas pass".to_string(),
            open => format!("\"{}\" lets gas pass: declare the one that stays open", open.join("\", \"")),
        };
        let sentence = format!("Gas must be able to leave. No way out is declared; {next}.");
        told.say(Rule::WayOut, Verdict::Stops, Vec::new(), sentence);
    }
    for opening in &declared {
        let parts: Vec<usize> = opening.by.into_iter().chain(opening.instruments.iter().copied()).collect();
        let end = &opening.at.end;
        match (opening.gas, opening.state) {
            (Gas::Open, OpeningState::Open) => {
                let sentence = format!("Gas leaves through \"{end}\", which stays open.");
                told.say(Rule::WayOut, Verdict::Holds, parts, sentence);
            }
            (Gas::Open, _) => {
                let sentence = format!(
                    "The declared way out \"{end}\" is a hole in a cap: gas leaves through that alone. Local policy decides."
                );
                told.say(Rule::WayOut, Verdict::Warns, parts, sentence);
            }
            (Gas::NotKnown, OpeningState::HolesNotKnown) => {
                let sentence = format!(
                    "Gas must be able to leave. \"{end}\" is no way out while nobody knows the holes of the cap on it. \
                     Take the cap off, or measure its holes and enter them."
                );
                told.say(Rule::WayOut, Verdict::Stops, parts, sentence);
            }
            (Gas::NotKnown, _) => {
                let sentence = format!(
                    "Gas must be able to leave. Whether the declared way out \"{end}\" stays open is not known: {}",
                    opening.sentence
                );
                told.say(Rule::WayOut, Verdict::NotKnown, parts, sentence);
            }
            (Gas::Closed, state) => {
                let filled = !opening.instruments.is_empty()
                    && matches!(state, OpeningState::HoledCap | OpeningState::Open);
                let why = match state {
                    _ if filled => "an instrument fills it",
                    OpeningState::Open => "its bore is narrower than the site's gap for gas",
                    OpeningState::HoledCap => "its hole is narrower than the site's gap for gas",
                    other => other.words(),
                };
                let sentence = format!(
                    "Gas must be able to leave. The declared way out \"{end}\" is closed: {why}. {}",
                    opening.sentence
                );
                told.say(Rule::WayOut, Verdict::Stops, parts, sentence);
            }
        }
    }
}

fn closed(told: &mut Told, openings: &[Opening]) {
    if !openings.iter().any(|opening| opening.state == OpeningState::Connector) {
        let sentence = "No anaesthesia connector sits on any opening.";
        told.say(Rule::Complete, Verdict::Fails, Vec::new(), sentence.into());
    }
    let mut all_closed = true;
    for opening in openings.iter().filter(|opening| opening.leaks != Gas::Closed) {
        all_closed = false;
        let (verdict, what) = match opening.leaks {
            Gas::Open => (Verdict::Warns, "The system is not closed."),
            _ => (Verdict::NotKnown, "Whether the system is closed is not known."),
        };
        told.say(
            Rule::Openings,
            verdict,
            opening.by.into_iter().collect(),
            match opening.gas {
                Gas::Closed if opening.state == OpeningState::HoledCap => {
                    format!("{what} {} While less goes through it, gas can pass.", opening.sentence)
                }
                _ => format!("{what} {}", opening.sentence),
            },
        );
    }
    if all_closed && !openings.is_empty() {
        let sentence = "Every opening is closed, or joined to the breathing circuit.";
        told.say(Rule::Openings, Verdict::Holds, Vec::new(), sentence.into());
    }
}

fn apnoeic(told: &mut Told, openings: &[Opening]) {
    let open = openings.iter().any(|opening| opening.gas == Gas::Open);
    let (verdict, sentence) = match open {
        true => (Verdict::Holds, "An opening lets gas leave."),
        false => (Verdict::Warns, "Oxygen flows in, and no opening is known to let gas leave."),
    };
    told.say(Rule::Openings, verdict, Vec::new(), sentence.into());
}
