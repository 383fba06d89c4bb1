//! Parts: added, put away, retired. Each is one physical piece, with a mark if it has one.

use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::ToSchema;

pub use super::adding::AddAsset;
use super::deciding::Deciding;
use super::event::{Moved, Noted, What};
use super::id::Id;
use super::model::{Family, unknown};
use super::refusal::{Code, Problem};
use super::scan::{Mode, broken_pack_of};
use super::state::{Asset, Stage, Standing, State};
use super::text::{Line, Scan};
use super::time::Date;

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Owner {
    #[default]
    Own,
    Loan,
    Trial,
}

impl Owner {
    pub fn name(self) -> &'static str {
        match self {
            Owner::Own => "own",
            Owner::Loan => "loan",
            Owner::Trial => "trial",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutAway {
    pub scan: Scan,
    pub location: Line,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Cause {
    Worn,
    Damaged,
    Lost,
    LimitReached,
    Obsolete,
    Recalled,
    Destroyed,
    /// It was lent to the house, or belongs to another, and left it.
    Returned,
    /// A stranger's tag, once it is known which part it is on.
    Identified,
}

impl Cause {
    /// Those that people name.
    pub const ALL: [Cause; 7] = [
        Cause::Worn,
        Cause::Damaged,
        Cause::Lost,
        Cause::LimitReached,
        Cause::Obsolete,
        Cause::Recalled,
        Cause::Destroyed,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Cause::Worn => "worn",
            Cause::Damaged => "damaged",
            Cause::Lost => "lost",
            Cause::LimitReached => "limit_reached",
            Cause::Obsolete => "obsolete",
            Cause::Recalled => "recalled",
            Cause::Destroyed => "destroyed",
            Cause::Returned => "returned",
            Cause::Identified => "identified",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Retire {
    pub asset: Line,
    pub cause: Cause,
    pub failure: bool,
}

/// A part as its event adds it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AssetAdded {
    pub asset: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acquired: Option<Date>,
    #[serde(default)]
    pub prior_cycles: u32,
    #[serde(default)]
    pub prior_uses: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost_cents: Option<u64>,
    #[serde(default)]
    pub owner: Owner,
    pub route: Id,
    pub route_version: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
    /// The holds that stand whose notices name it, or may: it comes into the house held by them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub held: Vec<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PutAwayDone {
    pub location: Line,
    /// Each part with the place where it was before.
    pub parts: Vec<Placed>,
    /// Told after the fact, when something had moved them since.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub noted: Vec<Noted>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Placed {
    pub asset: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<Line>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Retired {
    pub asset: Id,
    pub cause: Cause,
    pub failure: bool,
    /// The seat that falls empty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seat: Option<super::set::Seat>,
}

pub(super) fn add(deciding: &mut Deciding, it: &AddAsset) -> Option<What> {
    deciding.touches(None);
    let added = new_asset(deciding, it)?;
    if it.asset.is_none() {
        deciding.made = Some(added.asset.clone());
    }
    Some(What::AssetAdded(added))
}

/// Checks a new part's model and names and gives it an id where it brings none.
pub(super) fn new_asset(deciding: &mut Deciding, it: &AddAsset) -> Option<AssetAdded> {
    let state = deciding.state;
    let Some(model) = state.model(&it.model) else {
        deciding.against(unknown("model", it.model.as_str()));
        return None;
    };
    for name in it.asset.iter().map(Id::as_str).chain(it.mark.iter().map(Line::as_str)) {
        if let Some(problem) = taken(state, name) {
            deciding.against(problem);
        }
    }
    deciding.doubts.extend(super::bounds::doubts(model, it));
    let asset = it.asset.clone().or_else(|| state.next_asset(model.family))?;
    let version = state.routes.get(&model.route).map_or(1, |versions| versions.len() as u32);
    Some(AssetAdded {
        asset,
        mark: it.mark.clone(),
        model: it.model.clone(),
        serial: it.serial.clone(),
        lot: it.lot.clone(),
        acquired: it.acquired,
        prior_cycles: it.prior_cycles.unwrap_or(0),
        prior_uses: it.prior_uses.unwrap_or(0),
        cost_cents: it.cost_cents,
        owner: it.owner.unwrap_or_default(),
        route: model.route.clone(),
        route_version: version,
        supplier: it.supplier.clone(),
        held: state.notices_of(&it.model, &it.lot, &it.serial),
    })
}

/// Why a text can name nothing more: it does already, or as a mark it names the same piece in another writing.
pub(super) fn taken(state: &State, name: &str) -> Option<Problem> {
    if state.names.contains_key(name) {
        return Some(name_taken(state, name));
    }
    let other = match super::scan::find(state, name) {
        Err(super::scan::Miss::Nothing) if state.sets_left.contains_key(name) => {
            format!("set {name}, which left the house with its loan")
        }
        Err(super::scan::Miss::Nothing) => return None,
        Err(super::scan::Miss::Several) => "more than one part".into(),
        Ok(super::state::Named::Set(set)) => format!("set {set}"),
        Ok(super::state::Named::Asset(asset)) => format!("part {asset}"),
    };
    Some(Problem::new(
        Code::NameTaken,
        format!("\"{name}\" says the same as what already names {other}, in another writing."),
        "A mark that names one piece belongs to one part, however it is written.",
        "Look at both parts: one of them may be here twice, or the mark was read from the wrong one.",
    ))
}

pub(super) fn name_taken(state: &State, name: &str) -> Problem {
    let by = match state.names.get(name) {
        Some(super::state::Named::Set(set)) => format!("set {set}"),
        Some(super::state::Named::Asset(asset)) => format!("part {asset}"),
        None => "another thing".into(),
    };
    Problem::new(
        Code::NameTaken,
        format!("\"{name}\" already names {by}."),
        "Ids, marks and set codes share one name space, so that a scan means one thing.",
        "Choose another name.",
    )
}

pub(super) fn put_away(deciding: &mut Deciding, it: &PutAway) -> Option<What> {
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let (before, picked): (Vec<_>, Vec<_>) = picked
        .into_iter()
        .partition(|part| deciding.late() && deciding.at() < part.asset.last_at && !part.asset.missing);
    let mut noted = Vec::new();
    for part in &before {
        let turn = super::fact::turn_at(deciding, &part.asset);
        noted.push(Noted { asset: part.asset.asset.clone(), turn });
        deciding.touches(Some(part.asset.last_at));
    }
    let parts = deciding.each(picked, |deciding, asset| {
        let mut problems = Vec::new();
        problems.extend(asset.in_load.as_ref().map(|load| super::load::in_load(&asset.called(), load)));
        if let Some(load) = deciding.state.use_now(asset).filter(|_| asset.stage == Stage::Issued) {
            problems.push(Problem::new(
                Code::OutOfOrder,
                format!("{} was sterilised for immediate use, load {}.", asset.called(), load.load),
                "It is used now, and never stored.",
                "Use it at its case, or record it as received; then its next turn begins.",
            ));
        }
        let sealed_box = asset.has_hold(super::hold::HoldKind::Prion);
        if asset.stage == Stage::InUse && !sealed_box {
            problems.push(Problem::new(
                Code::OutOfOrder,
                format!("{} was opened at a case and has not come back.", asset.called()),
                "What was opened is never put into the store.",
                "Record it as received; then it is cleaned.",
            ));
        }
        problems
    });
    let placed = parts
        .iter()
        .map(|asset| Placed { asset: asset.asset.clone(), was: asset.location.clone() })
        .collect();
    Some(What::PutAway(PutAwayDone { location: it.location.clone(), parts: placed, noted }))
}

pub(super) fn retire(deciding: &mut Deciding, it: &Retire) -> Option<What> {
    let asset = deciding.one(it.asset.as_str())?;
    if let Some(problem) = retirable(deciding.state, &asset, it.cause) {
        deciding.against(problem);
    }
    Some(What::Retired(Retired {
        asset: asset.asset.clone(),
        cause: it.cause,
        failure: it.failure,
        seat: asset.seat.clone(),
    }))
}

/// Why a part can't be retired for this cause, or `None`.
pub(super) fn retirable(state: &State, asset: &Asset, cause: Cause) -> Option<Problem> {
    let called = asset.called();
    if asset.retired.is_some() {
        return Some(Problem::new(
            Code::AlreadyDone,
            format!("{called} is already retired."),
            "A part in the house is needed.",
            "Nothing needs to be done.",
        ));
    }
    if asset.missing && cause != Cause::Lost {
        return Some(missing(state, asset));
    }
    let kept = asset.has_hold(super::hold::HoldKind::Dedicated);
    if (kept || asset.has_hold(super::hold::HoldKind::Prion)) && cause != Cause::Destroyed {
        let problem = Problem::new(
            Code::Held,
            match kept {
                true => format!("{called} is kept for one patient alone."),
                false => format!("{called} is under a prion hold."),
            },
            "Only destruction takes it out of the house.",
            "Retire it as destroyed, or let infection prevention lift the hold.",
        );
        return Some(problem.even_late());
    }
    asset.in_load.as_ref().map(|load| {
        Problem::new(
            Code::InLoad,
            format!("{called} is in load {load}."),
            "A part outside a running load is needed.",
            format!("Decide on load {load} first."),
        )
        .even_late()
    })
}

/// A part not accounted for must first be found.
pub(super) fn missing(state: &State, asset: &Asset) -> Problem {
    Problem::new(
        Code::Missing,
        super::missing::since(state, asset),
        "A missing part must first be recorded as found.",
        "If it is in your hand, record it as found, and tell the charge nurse and the lead at once.",
    )
    .with_remedy(json!({"do": "found", "scan": asset.asset.as_str()}))
}

impl Asset {
    /// How sentences call it: by its id.
    pub fn called(&self) -> String {
        self.asset.to_string()
    }

    pub fn standing(&self) -> Standing {
        if self.retired.is_some() {
            Standing::Retired
        } else if self.missing {
            Standing::Missing
        } else if self.in_repair {
            Standing::InRepair
        } else if self.holds.is_empty() {
            Standing::InService
        } else {
            Standing::Held
        }
    }
}

impl State {
    /// The next free id of a family: its name as people write it and a running number.
    pub(super) fn next_asset(&self, family: Family) -> Option<Id> {
        let name = family.name().replace('_', "-");
        let from = self.assets.len() as u64 + 1;
        (from..from + 1_000_000).find_map(|n| {
            let id = Id::new(&format!("{name}-{n:04}"))?;
            (!self.names.contains_key(id.as_str())).then_some(id)
        })
    }
}

/// The part itself and its pack mates, all back before packing, where acting on it opens its pack.
pub(super) fn opened_pack(deciding: &mut Deciding, asset: &Asset, itself_too: bool) -> Vec<Moved> {
    let mates = broken_pack_of(deciding.state, asset);
    deciding.also_opened.extend(mates.iter().map(|mate| mate.asset.clone()));
    let own = (itself_too && asset.stage.in_pack()).then_some(asset);
    own.into_iter()
        .chain(mates.iter().map(|mate| &**mate))
        .map(|part| part.back_before_packed(deciding.state))
        .collect()
}
