//! What stands against a loan that comes, and against what leaves; and what becomes so by them.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::apply::{When, change, moves};
use super::apply_parts;
use super::asset::{AddAsset, Cause, name_taken, new_asset, taken};
use super::command;
use super::deciding::Deciding;
use super::event::What;
use super::hold::{HoldKind, HoldPlaced};
use super::id::{Id, next_free};
use super::loan::{Arrive, Arrived, ArrivedPart, ArrivingPart, HereAgain, TakenRisk};
use super::loan_kept::Loan;
use super::model::{reason_given, unknown};
use super::refusal::{Code, Problem};
use super::request::Told;
use super::scan::find;
use super::set::{BuildSet, Seat};
use super::state::{Asset, Named, Stage, State};
use super::text::Line;

pub(super) fn act(deciding: &mut Deciding, act: &command::Loan) -> Option<What> {
    match act {
        command::Loan::Arrive(it) => arrive(deciding, it),
        command::Loan::Leave(it) => super::loan_leaving::leave(deciding, it),
    }
}

fn arrive(deciding: &mut Deciding, it: &Arrive) -> Option<What> {
    let state = deciding.state;
    deciding.touches(None);
    papers(deciding, it);
    let loan = named(deciding, it)?;
    let set = set_that_came(deciding, it);
    let mut parts = Vec::new();
    let mut seats: BTreeMap<String, u32> = BTreeMap::new();
    for (n, part) in it.parts.iter().enumerate() {
        let seat = match (&set, &part.line) {
            (Some(set), Some(line)) => Some(next_seat(&mut seats, &set.set, line)),
            _ => None,
        };
        if let (Some(set), Some(seat)) = (&set, &seat) {
            may_sit(deciding, set, seat, part);
        }
        let found = let_in(deciding, it, part, (&loan, n));
        parts.extend(found.map(|found| ArrivedPart {
            seat,
            damage: part.damage.as_ref().map(|damage| damage.0.clone()),
            ..found
        }));
    }
    if it.pieces.is_some_and(|pieces| pieces as usize != it.parts.len()) {
        deciding.deviates(Code::NotComplete);
    }
    let damaged: Vec<Id> =
        parts.iter().filter(|part| part.damage.is_some()).map(|part| part.asset.clone()).collect();
    let hold = if damaged.is_empty() { None } else { Some(deciding.new_hold()?) };
    let hold = hold.map(|hold| HoldPlaced {
        hold,
        kind: HoldKind::Quality,
        reason: format!("came damaged with {loan}"),
        assets: damaged,
        notice: None,
        dedicated_to: None,
    });
    let risk = it.risk.as_ref().filter(|_| it.instructions.is_none());
    let risk = risk
        .map(|risk| TakenRisk { reason: risk.reason.0.clone(), person: deciding.seal(risk.person.as_str()) });
    debug_assert!(state.loans.get(&loan).is_none() || it.loan.is_some());
    Some(What::Arrived(Arrived {
        loan,
        kind: it.kind,
        from: it.from.clone(),
        case: it.case.clone(),
        due_back: it.due_back,
        set,
        parts,
        pieces: it.pieces,
        instructions: it.instructions.clone(),
        condition: it.condition.as_ref().map(|text| text.0.clone()),
        labelled_decontaminated: it.labelled_decontaminated,
        risk,
        hold,
    }))
}

/// What came with it and until when it stays.
fn papers(deciding: &mut Deciding, it: &Arrive) {
    let state = deciding.state;
    if let Some(case) = it.case.as_ref().filter(|case| !state.cases.contains_key(*case)) {
        deciding.against(unknown("case", case.as_str()));
    }
    let today = deciding.at().date(state.zone);
    if let Some(day) = it.due_back.filter(|day| *day < today) {
        deciding.against(Problem::new(
            Code::PastDate,
            format!("It is said to go back by {}, which is over.", super::time::told_day(day)),
            "A day that is still to come is needed.",
            "Look at the delivery note, and tell the day by which it goes back.",
        ));
    }
    if it.instructions.as_ref().is_some_and(|edition| !edition.is_blank()) {
        return;
    }
    match &it.risk {
        Some(risk) => {
            reason_given(deciding, &risk.reason);
            deciding.deviates(Code::NotComplete);
        }
        None => deciding.against(Problem::new(
            Code::NotComplete,
            format!("What {} lends came without its maker's instructions.", it.from.0),
            "The instructions in their edition are needed, or a named risk: who answers for it, and why.",
            "Ask the lender for the instructions; if it cannot wait, let somebody take the risk by name.",
        )),
    }
}

fn named(deciding: &mut Deciding, it: &Arrive) -> Option<Id> {
    let state = deciding.state;
    match &it.loan {
        Some(given) => {
            if state.loans.contains_key(given) {
                deciding.against(Problem::new(
                    Code::NameTaken,
                    format!("\"{given}\" already names a loan."),
                    "A loan's name is used once, also when the same set comes again.",
                    "Leave the name out, or choose another.",
                ));
            }
            Some(given.clone())
        }
        None => {
            let made = next_free("loan", 4, state.loans.len(), |id| state.loans.contains_key(id))?;
            deciding.made = Some(made.clone());
            Some(made)
        }
    }
}

/// The set that came: new, or one that left with an earlier loan.
fn set_that_came(deciding: &mut Deciding, it: &Arrive) -> Option<BuildSet> {
    let state = deciding.state;
    let asked = it.set.as_ref()?;
    let before = state.sets_left.get(&asked.set);
    match (before, taken(state, asked.set.as_str())) {
        (None, Some(problem)) => deciding.against(problem),
        (Some(_), _) if state.names.contains_key(asked.set.as_str()) => {
            deciding.against(name_taken(state, asked.set.as_str()));
        }
        _ => {}
    }
    let count_sheet = asked.count_sheet.clone().or_else(|| before.map(|set| set.count_sheet.clone()));
    let Some(count_sheet) = count_sheet else {
        let detail = "missing; a set that was not here before needs one";
        deciding.malformed.push(command::wrong("/set/count_sheet", detail));
        return None;
    };
    if !state.sheets.contains_key(&count_sheet) {
        deciding.against(unknown("count sheet", count_sheet.as_str()));
        return None;
    }
    let name = asked.name.clone().or_else(|| before.map(|set| set.name.clone()));
    let name = name.unwrap_or_else(|| Line(format!("{} of {}", it.kind.words(), it.from.0)));
    Some(BuildSet { set: asked.set.clone(), count_sheet, name: Line(name.0.chars().take(200).collect()) })
}

/// The lowest free place of a line.
fn next_seat(seats: &mut BTreeMap<String, u32>, set: &Id, line: &Line) -> Seat {
    let position = seats.entry(line.0.clone()).or_default();
    *position += 1;
    Seat { set: set.clone(), line: line.0.clone(), position: *position }
}

fn may_sit(deciding: &mut Deciding, set: &BuildSet, seat: &Seat, part: &ArrivingPart) {
    let state = deciding.state;
    let Some(sheet) = state.sheets.get(&set.count_sheet) else { return };
    let Some(line) = sheet.line(&seat.line) else {
        let lines: Vec<&str> = sheet.lines.iter().map(|line| line.line.as_str()).collect();
        deciding.against(Problem::new(
            Code::NotOnSheet,
            format!("Count sheet {} has no line \"{}\".", set.count_sheet, seat.line),
            format!("One of its lines is needed: {}.", lines.join(", ")),
            "Choose one of these lines.",
        ));
        return;
    };
    if seat.position > line.quantity {
        deciding.against(Problem::new(
            Code::LineFull,
            format!("Line \"{}\" takes {}, and more came for it.", seat.line, line.quantity),
            "No more parts than the line takes are needed.",
            "Leave the line out for what is more; it comes into the house without a place in the set.",
        ));
    }
    let known = part.mark.as_ref().map(Line::as_str).or(part.asset.as_ref().map(Id::as_str));
    let known = known.and_then(|name| find(state, name).ok());
    let model = match known {
        Some(Named::Asset(id)) => state.assets.get(&id).map(|asset| asset.model.clone()),
        _ => None,
    };
    let model = model.or_else(|| part.model.clone());
    if let Some(model) = model.and_then(|model| state.model(&model))
        && !line.takes(model)
    {
        deciding.against(Problem::new(
            Code::NotFitting,
            format!("Model {} is a {}.", model.model, model.family.words()),
            format!("Line \"{}\" takes {}.", seat.line, line.wants()),
            "Choose another line, or another count sheet.",
        ));
    }
}

/// One piece: new to the house, or here again. What is in the house already can't come.
fn let_in(
    deciding: &mut Deciding,
    it: &Arrive,
    part: &ArrivingPart,
    at: (&Id, usize),
) -> Option<ArrivedPart> {
    let state = deciding.state;
    let (loan, n) = at;
    let names = part.mark.iter().map(Line::as_str).chain(part.asset.iter().map(Id::as_str));
    for name in names {
        let Ok(Named::Asset(id)) = find(state, name) else { continue };
        let Some(asset) = state.assets.get(&id) else { continue };
        return match asset.retired.as_ref().map(|retired| (retired.cause, retired.at)) {
            Some((Cause::Returned, left)) => here_again(deciding, it, asset, left),
            Some(_) => {
                deciding.against(retired_once(asset).even_late());
                None
            }
            None => {
                deciding.against(name_taken(state, name).even_late());
                None
            }
        };
    }
    let Some(model) = part.model.clone() else {
        let detail = "missing; no part that was here before has this mark, so its model is needed";
        deciding.malformed.push(command::wrong(format!("/parts/{n}/model"), detail));
        return None;
    };
    let asset = match &part.asset {
        Some(given) => Some(given.clone()),
        None => Id::new(&format!("{loan}.{}", n + 1)),
    };
    let ask = AddAsset {
        asset,
        mark: part.mark.clone(),
        serial: part.serial.clone(),
        lot: part.lot.clone(),
        prior_cycles: part.prior_cycles,
        prior_uses: part.prior_uses,
        owner: Some(it.kind.owner()),
        supplier: Some(it.from.clone()),
        ..AddAsset::of(&model)
    };
    let added = new_asset(deciding, &ask)?;
    let asset = added.asset.clone();
    Some(ArrivedPart { asset, added: Some(added), again: None, seat: None, damage: None })
}

fn retired_once(asset: &Asset) -> Problem {
    Problem::new(
        Code::Retired,
        format!("{} was retired here, and did not leave.", asset.called()),
        "A piece that left with an earlier loan, or one that is new to the house, is needed.",
        "Receive it as a stranger: it is washed, and the lead settles what it is.",
    )
}

fn here_again(
    deciding: &mut Deciding,
    it: &Arrive,
    asset: &Arc<Asset>,
    left: super::time::Time,
) -> Option<ArrivedPart> {
    deciding.touches(Some(asset.last_at.max(left)));
    if deciding.late() && deciding.at() < left {
        let problem = Problem::new(
            Code::TooLate,
            format!("{} left only afterwards, as is recorded.", asset.called()),
            "A time after it left is needed.",
            "Look at the time on the paper.",
        );
        deciding.against(problem.even_late());
    }
    let known = deciding.state.notices_of(&asset.model, &asset.lot, &asset.serial);
    let held = known.into_iter().filter(|hold| !asset.holds.iter().any(|it| it.hold == *hold)).collect();
    let moved = if asset.stage == Stage::Soiled { asset.returned_soiled() } else { asset.next_turn_soiled() };
    let again = HereAgain { moved, owner: it.kind.owner(), held };
    Some(ArrivedPart {
        asset: asset.asset.clone(),
        added: None,
        again: Some(again),
        seat: None,
        damage: None,
    })
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    match what {
        What::Arrived(it) => arrived(state, when, it),
        What::LoanLeft(it) => super::loan_leaving::left(state, when, it),
        _ => {}
    }
}

pub(super) fn told(when: &When) -> Told {
    Told { at: when.at, by: when.actor.to_string(), entry: when.seq }
}

fn arrived(state: &mut State, when: &When, it: &Arrived) {
    if let Some(set) = &it.set {
        state.sets_left.remove(&set.set);
        apply_parts::build(state, when, set);
    }
    for part in &it.parts {
        part.added.iter().for_each(|added| apply_parts::add(state, when, added));
        if let Some(again) = &part.again {
            change(state, when, &part.asset, |asset| {
                asset.retired = None;
                asset.owner = again.owner;
            });
            moves(state, when, std::slice::from_ref(&again.moved));
            for hold in &again.held {
                if let Some(kind) = state.holds.get(hold).map(|hold| hold.kind) {
                    apply_parts::hold_on(state, when, hold, kind, &part.asset);
                }
            }
        }
        part.seat.iter().for_each(|seat| apply_parts::seat(state, when, &part.asset, seat, true));
    }
    it.hold.iter().for_each(|hold| apply_parts::place_hold(state, when, hold));
    let loan = Loan {
        loan: it.loan.clone(),
        kind: it.kind,
        from: it.from.clone(),
        case: it.case.clone(),
        due_back: it.due_back,
        set: it.set.as_ref().map(|set| set.set.clone()),
        pieces: it.pieces,
        instructions: it.instructions.clone(),
        condition: it.condition.clone(),
        labelled_decontaminated: it.labelled_decontaminated,
        risk: it.risk.clone(),
        came: told(when),
        parts: it.parts.iter().map(|part| (part.asset.clone(), part.again.is_some())).collect(),
        leavings: Vec::new(),
    };
    state.changes.loans.insert(it.loan.clone());
    state.loans.insert(it.loan.clone(), Arc::new(loan));
}
