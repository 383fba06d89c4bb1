//! What stands against receiving a stranger, telling its owner and settling what it is; and what becomes so by them.

use std::sync::Arc;

use super::apply::{When, change, moves};
use super::apply_parts;
use super::asset::{AddAsset, Cause, missing, new_asset, opened_pack, taken};
use super::command::{self, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::hold::{HoldKind, HoldPlaced};
use super::id::{Id, next_free};
use super::model::{
    DefineModel, Dimensions, Family, Limits, Method, Processing, RouteDefined, RouteStep, StepKind,
    reason_given, unknown,
};
use super::refusal::{Code, Problem};
use super::request::Told;
use super::scan::find;
use super::state::{Asset, Named, State};
use super::stranger::{
    NOT_IDENTIFIED, OwnerTold, ReceiveStranger, SettleStranger, Settled, Stranger, StrangerOutcome,
    StrangerReceived, StrangerSettled, TellOwner, ToldOwner, WayOfStrangers,
};
use super::text::Line;

pub(super) fn act(deciding: &mut Deciding, act: &command::Stranger) -> Option<What> {
    match act {
        command::Stranger::Receive(it) => receive(deciding, it),
        command::Stranger::TellOwner(it) => tell_owner(deciding, it),
        command::Stranger::Settle(it) => settle(deciding, it),
        command::Stranger::Doubt(it) => super::mixed::doubt(deciding, it),
        command::Stranger::SettleIdentity(it) => super::mixed::settle(deciding, it),
    }
}

/// The way of what nobody recognised: washed, looked at, and no further while it is held.
fn way_of_strangers() -> Option<WayOfStrangers> {
    let id = Id::new(NOT_IDENTIFIED)?;
    let step = |step: StepKind, method: Option<Method>| RouteStep { step, method };
    let steps = vec![
        step(StepKind::Received, None),
        step(StepKind::Cleaned, None),
        step(StepKind::Disinfected, Some(Method::Machine)),
        step(StepKind::Inspected, None),
        step(StepKind::Packed, None),
        step(StepKind::Sterilised, Some(Method::Steam)),
    ];
    let model = DefineModel {
        model: id.clone(),
        family: Family::Accessory,
        name: Line("Not identified".into()),
        maker: None,
        gtin: None,
        route: id.clone(),
        dimensions: Dimensions::default(),
        couplings: Vec::new(),
        limits: Limits::default(),
        processing: Processing::default(),
        single_use: false,
        implant: false,
        assembly: None,
    };
    Some(WayOfStrangers { route: RouteDefined { route: id, version: 1, steps }, model })
}

fn receive(deciding: &mut Deciding, it: &ReceiveStranger) -> Option<What> {
    deciding.touches(None);
    let state = deciding.state;
    let next = || next_free("tag", 4, state.strangers.len(), |id| state.names.contains_key(id.as_str()));
    let tag = match &it.tag {
        Some(given) => {
            if let Some(problem) = taken(state, given.as_str()) {
                deciding.against(problem.even_late());
            }
            given.clone()
        }
        None => {
            let made = next()?;
            deciding.made = Some(made.clone());
            made
        }
    };
    let (added, way) = match &it.model {
        Some(model) => {
            let ask = AddAsset { asset: Some(tag.clone()), ..AddAsset::of(model) };
            (new_asset(deciding, &ask)?, None)
        }
        None => unrecognised(state, &tag)?,
    };
    let same_as = it.mark.as_ref().and_then(|mark| match find(state, mark.as_str()) {
        Ok(Named::Asset(ours)) => Some(ours),
        _ => None,
    });
    let hold = HoldPlaced {
        hold: deciding.new_hold()?,
        kind: HoldKind::Quality,
        reason: format!("a stranger: what {tag} is, and whose, is not settled"),
        assets: vec![tag.clone()],
        notice: None,
        dedicated_to: None,
    };
    Some(What::StrangerReceived(StrangerReceived {
        kind: it.kind,
        looks: it.looks.clone(),
        mark: it.mark.clone(),
        owner: it.owner.clone(),
        added,
        hold,
        same_as,
        way,
    }))
}

/// What nobody recognised goes by a way of its own, which the first of its kind defines.
fn unrecognised(state: &State, tag: &Id) -> Option<(super::asset::AssetAdded, Option<Box<WayOfStrangers>>)> {
    let way = way_of_strangers()?;
    let known = state.models.get(NOT_IDENTIFIED);
    let route = known.map_or(way.route.route.clone(), |model| model.route.clone());
    let version = state.routes.get(&route).map_or(1, |versions| versions.len() as u32);
    let defines = known.is_none() || state.routes.get(&route).is_none();
    let added = super::asset::AssetAdded {
        asset: tag.clone(),
        mark: None,
        model: way.model.model.clone(),
        serial: None,
        lot: None,
        acquired: None,
        prior_cycles: 0,
        prior_uses: 0,
        cost_cents: None,
        owner: Default::default(),
        route,
        route_version: if defines { version_after(state) } else { version },
        supplier: None,
        held: Vec::new(),
    };
    Some((added, defines.then(|| Box::new(way))))
}

/// The version that the route of strangers has once it is defined: a route of this name may be there already.
fn version_after(state: &State) -> u32 {
    state.routes.get(NOT_IDENTIFIED).map_or(0, |versions| versions.len() as u32) + 1
}

fn known(deciding: &mut Deciding, tag: &Id) -> Option<Arc<Stranger>> {
    let Some(found) = deciding.state.strangers.get(tag).cloned() else {
        deciding.against(unknown("stranger", tag.as_str()));
        return None;
    };
    deciding.touches(Some(found.last_at()));
    Some(found)
}

fn tell_owner(deciding: &mut Deciding, it: &TellOwner) -> Option<What> {
    let stranger = known(deciding, &it.stranger)?;
    reason_given(deciding, &it.words);
    if !stranger.is_open() {
        deciding.against(settled_already(&stranger).even_late());
    }
    let person = it.person.as_ref().map(|person| deciding.seal_always(person.as_str()));
    Some(What::OwnerTold(OwnerTold {
        stranger: it.stranger.clone(),
        owner: it.owner.clone(),
        person,
        words: it.words.0.clone(),
    }))
}

fn settled_already(stranger: &Stranger) -> Problem {
    let what = stranger.outcome().map_or("", |settled| settled.outcome.words());
    Problem::new(
        Code::AlreadyDone,
        format!("What became of {} is settled: {what}.", stranger.tag),
        "A stranger about which something is still to be done is needed.",
        "Nothing needs to be done.",
    )
}

fn settle(deciding: &mut Deciding, it: &SettleStranger) -> Option<What> {
    let stranger = known(deciding, &it.stranger)?;
    let state = deciding.state;
    let bearer = state.assets.get(&it.stranger)?.clone();
    deciding.touches(Some(bearer.last_at));
    let again = stranger.outcome().is_some_and(|settled| settled.outcome == it.outcome);
    if !stranger.is_open() || again {
        deciding.against(settled_already(&stranger).even_late());
    }
    if it.outcome.is_last() {
        goes(deciding, &bearer);
    }
    let (mut asset, mut moved, mut added, mut opened, mut reinstated) = (None, None, None, Vec::new(), false);
    match (&it.asset, &it.adopt) {
        (Some(ours), _) => {
            let ours = deciding.one(ours.as_str())?;
            against_ours(deciding, &ours);
            opened = opened_pack(deciding, &ours, false);
            moved = Some(ours.returned_soiled());
            reinstated = ours.retired.is_some();
            asset = Some(ours.asset.clone());
        }
        (None, Some(adopt)) => {
            let new = new_asset(deciding, adopt)?;
            if adopt.asset.is_none() {
                deciding.made = Some(new.asset.clone());
            }
            asset = Some(new.asset.clone());
            added = Some(new);
        }
        (None, None) => {}
    }
    let leaves = matches!(it.outcome, StrangerOutcome::Collected | StrangerOutcome::Discarded);
    let by = leaves.then(|| state.cleaned_by(&bearer)).flatten();
    if it.outcome == StrangerOutcome::Collected && by.is_none() {
        // It goes as it is, and its certificate says so.
        deciding.deviates(Code::OutOfOrder);
    }
    Some(What::StrangerSettled(StrangerSettled {
        stranger: it.stranger.clone(),
        outcome: it.outcome,
        asset,
        moved,
        reinstated,
        added,
        opened,
        words: it.words.as_ref().map(|words| words.0.clone()),
        by,
    }))
}

/// What bears a tag goes out of the record with it: not while it lies in a machine, is looked for, or is sealed away.
fn goes(deciding: &mut Deciding, bearer: &Asset) {
    if let Some(load) = &bearer.in_load {
        deciding.against(super::load::in_load(&bearer.called(), load).even_late());
    }
    if bearer.stage.is_out() {
        let problem = Problem::new(
            Code::CountOpen,
            format!("{} is out at a case.", bearer.called()),
            "A stranger that was counted back is needed.",
            "Close the count of its case first.",
        );
        deciding.against(problem.even_late());
    }
    if bearer.missing {
        deciding.against(missing(deciding.state, bearer).even_late());
    }
    if bearer.has_hold(HoldKind::Prion) {
        deciding.general(bearer);
    }
}

/// The part of ours that it is said to be comes to the sink with it: nothing else may have it.
fn against_ours(deciding: &mut Deciding, ours: &Asset) {
    if deciding.state.strangers.contains_key(&ours.asset) {
        deciding.malformed.push(wrong("/asset", "found a stranger; a part of this house is needed"));
    }
    if ours.retired.as_ref().is_some_and(|retired| retired.cause == Cause::Returned) {
        let loan = deciding.state.loan_of(&ours.asset);
        let lender =
            loan.map_or("its lender".into(), |loan| format!("{}, with loan {}", loan.from.0, loan.loan));
        let problem = Problem::new(
            Code::Retired,
            format!("{} went back to {lender}.", ours.called()),
            "A part of this house is needed.",
            "Settle it as theirs and tell its owner; or let it come again as a loan.",
        );
        deciding.against(problem.even_late());
    }
    if let Some(load) = &ours.in_load {
        deciding.against(super::load::in_load(&ours.called(), load).even_late());
    }
    if ours.has_hold(HoldKind::Prion) {
        deciding.general(ours);
    }
    if ours.missing {
        deciding.against(missing(deciding.state, ours).even_late());
    }
    if ours.in_repair {
        let problem = Problem::new(
            Code::InRepair,
            format!("{} is in repair.", ours.called()),
            "A part that could be here is needed.",
            "Record it as back from repair first.",
        );
        deciding.against(problem.even_late());
    }
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    let told = Told { at: when.at, by: when.actor.to_string(), entry: when.seq };
    match what {
        What::StrangerReceived(it) => received(state, when, it, told),
        What::OwnerTold(it) => change_stranger(state, &it.stranger, |stranger| {
            stranger.owner = Some(it.owner.clone());
            let (owner, person, words) = (it.owner.clone(), it.person.clone(), it.words.clone());
            stranger.owners_told.push(ToldOwner { owner, person, words, told });
        }),
        What::StrangerSettled(it) => settled(state, when, it, told),
        What::IdentityDoubted(it) => super::mixed::doubted(state, told, it),
        What::IdentitySettled(it) => super::mixed::settled(state, told, it),
        _ => {}
    }
}

fn change_stranger(state: &mut State, tag: &Id, change: impl FnOnce(&mut Stranger)) {
    if let Some(stranger) = state.strangers.get_mut(tag) {
        change(Arc::make_mut(stranger));
        state.changes.strangers.insert(tag.clone());
    }
}

fn received(state: &mut State, when: &When, it: &StrangerReceived, told: Told) {
    if let Some(way) = &it.way {
        super::apply::catalogue(state, when, &What::RouteDefined(way.route.clone()));
        super::apply::catalogue(state, when, &What::ModelDefined(way.model.clone()));
    }
    apply_parts::add(state, when, &it.added);
    apply_parts::place_hold(state, when, &it.hold);
    let tag = it.added.asset.clone();
    let stranger = Stranger {
        tag: tag.clone(),
        kind: it.kind,
        looks: it.looks.clone(),
        mark: it.mark.clone(),
        owner: it.owner.clone(),
        hold: it.hold.hold.clone(),
        same_as: it.same_as.clone(),
        received: told,
        owners_told: Vec::new(),
        settled: Vec::new(),
    };
    state.changes.strangers.insert(tag.clone());
    state.strangers.insert(tag, Arc::new(stranger));
}

fn settled(state: &mut State, when: &When, it: &StrangerSettled, told: Told) {
    it.added.iter().for_each(|added| apply_parts::add(state, when, added));
    moves(state, when, &it.opened);
    super::apply_case::opened_otherwise(state, when, &it.opened);
    if let Some(ours) = it.asset.as_ref().filter(|_| it.moved.is_some()) {
        if it.reinstated {
            change(state, when, ours, |asset| asset.retired = None);
        }
        moves(state, when, it.moved.as_slice());
    }
    if it.outcome.is_last() {
        let cause = match it.outcome {
            StrangerOutcome::Collected => Cause::Returned,
            StrangerOutcome::Discarded => Cause::Destroyed,
            StrangerOutcome::Ours | StrangerOutcome::Adopted | StrangerOutcome::Theirs => Cause::Identified,
        };
        if let Some(hold) = state.strangers.get(&it.stranger).map(|stranger| stranger.hold.clone()) {
            apply_parts::lift_hold(state, when, &hold, std::slice::from_ref(&it.stranger));
        }
        apply_parts::retire(state, when, &it.stranger, cause, false);
    }
    let (outcome, asset) = (it.outcome, it.asset.clone());
    let (words, cleaned) = (it.words.clone(), it.by.clone());
    change_stranger(state, &it.stranger, |stranger| {
        stranger.settled.push(Settled { outcome, asset, words, cleaned, told });
    });
}
