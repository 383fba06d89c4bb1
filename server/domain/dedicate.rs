//! What a prion hold was decided for: kept for the same patient alone. The other way out is destruction; no time ends it.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::Case;
use super::deciding::Deciding;
use super::event::What;
use super::hold::{HoldKind, HoldLifted, HoldPlaced};
use super::id::Id;
use super::model::reason_given;
use super::planning::known_case;
use super::refusal::{Code, Problem};
use super::scan::{Mode, general_problems};
use super::state::{Asset, State};
use super::text::{Line, Scan, Sealed, Text, a_person};

/// Parts under a prion hold are kept for the patient of the case at which they were opened, and for nobody else.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Dedicate {
    pub scan: Scan,
    /// The case whose patient they are kept for.
    pub case: Id,
    pub reason: Text,
    /// Who decided it beside the one who records it.
    #[serde(deserialize_with = "a_person")]
    pub person: Line,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Dedicated {
    pub hold: HoldPlaced,
    pub person: Sealed,
    /// The holds that this ends, each for these parts alone.
    pub lifted: Vec<HoldLifted>,
}

pub(super) fn dedicate(deciding: &mut Deciding, it: &Dedicate) -> Option<What> {
    reason_given(deciding, &it.reason);
    let case = known_case(deciding, &it.case);
    let picked = deciding.pick(&it.scan, Mode::Permission);
    let case = case?;
    if case.patient.is_none() {
        deciding.against(
            Problem::new(
                Code::NotComplete,
                format!("Case {} has no patient's reference.", case.case),
                "Whom the parts are kept for has to be known.",
                "Let the charge nurse name the patient of the case first, or have the parts destroyed.",
            )
            .even_late(),
        );
    }
    if deciding.is_doer(&it.person) {
        deciding.against(
            Problem::new(
                Code::SamePerson,
                "The second person is the one who records it.",
                "That parts are kept for one patient is decided by two people.",
                "Name the other person who decided it.",
            )
            .even_late(),
        );
    }
    let parts = deciding.each_freely(picked, |asset| against(asset, &case));
    let mut lifted: BTreeMap<Id, Vec<Id>> = BTreeMap::new();
    for asset in &parts {
        let ends = |kind| matches!(kind, HoldKind::Prion | HoldKind::Dedicated);
        for held in asset.holds.iter().filter(|held| ends(held.kind)) {
            lifted.entry(held.hold.clone()).or_default().push(asset.asset.clone());
        }
    }
    let reason = it.reason.0.clone();
    let lifted = lifted.into_iter().map(|(hold, assets)| HoldLifted { hold, reason: reason.clone(), assets });
    let lifted = lifted.collect();
    let hold = deciding.new_hold()?;
    deciding.made = Some(hold.clone());
    let person = deciding.seal(it.person.as_str());
    let assets = parts.iter().map(|asset| asset.asset.clone()).collect();
    let reason = format!("for the patient of case {} alone: {}", case.case, it.reason.0);
    let (kind, dedicated_to) = (HoldKind::Dedicated, Some(case.case));
    let hold = HoldPlaced { hold, kind, reason, assets, notice: None, dedicated_to };
    Some(What::Dedicated(Dedicated { hold, person, lifted }))
}

fn against(asset: &Asset, case: &Case) -> Vec<Problem> {
    let called = asset.called();
    if asset.retired.is_some() {
        return vec![super::scan::retired(asset).even_late()];
    }
    if !asset.has_hold(HoldKind::Prion) {
        return vec![
            Problem::new(
                Code::OutOfOrder,
                format!("{called} is under no prion hold."),
                "Only what is held for a prion risk is kept for one patient.",
                "Leave it out; or let infection prevention place the hold first.",
            )
            .even_late(),
        ];
    }
    let was_there = case.all_parts().any(|(id, part)| *id == asset.asset && part.exposure.is_some());
    let elsewhere = || {
        Problem::new(
            Code::OutOfOrder,
            format!("{called} was not opened at case {}.", case.case),
            "Parts are kept for the patient beside whom they were opened.",
            "Name the case at which it was opened.",
        )
        .even_late()
    };
    if was_there { Vec::new() } else { vec![elsewhere()] }
}

impl State {
    /// The cases for whose patients a part is kept.
    pub fn dedicated_to<'a>(&'a self, asset: &'a Asset) -> impl Iterator<Item = &'a Id> {
        let kept = asset.holds.iter().filter(|held| held.kind == HoldKind::Dedicated);
        kept.filter_map(|held| self.holds.get(&held.hold)?.dedicated_to.as_ref())
    }

    /// The cases for whose patients something is kept now.
    pub fn dedicated_cases(&self) -> impl Iterator<Item = &Id> {
        let open = self.holds.values().filter(|hold| hold.lifted_at.is_none());
        open.filter_map(|hold| hold.dedicated_to.as_ref())
    }
}

/// The reference of a case stays while something is kept for its patient.
pub(super) fn patient_stays(case: &Id) -> Problem {
    Problem::new(
        Code::StillReferenced,
        format!("Parts are kept for the patient of case {case} alone."),
        "Whom they are kept for stays known as long as they are kept.",
        "Have them destroyed, or let infection prevention lift the hold first.",
    )
    .even_late()
}

/// Why a part is not this case's to have: it is kept for another patient, or nobody can tell that it is the same.
pub(super) fn for_another(deciding: &Deciding, asset: &Asset, case: &Case) -> Option<Problem> {
    let state = deciding.state;
    let same = |kept: &Id| {
        *kept == case.case || deciding.asked.same_patient.contains(&(kept.clone(), case.case.clone()))
    };
    let kept = state.dedicated_to(asset).find(|kept| !same(kept))?;
    let needed = match &case.patient {
        None => format!("Case {} has no patient's reference, so that nobody can tell.", case.case),
        Some(_) => "Only a case of the same patient takes it.".to_string(),
    };
    Some(
        Problem::new(
            Code::Held,
            format!("{} is kept for the patient of case {kept} alone.", asset.called()),
            needed,
            "Take another part; or name the patient of the case, if it is the same.",
        )
        .even_late(),
    )
}

/// What is kept for a patient is processed by itself: a load holds nothing else beside it.
pub(super) fn mixed(state: &State, parts: &[Arc<Asset>]) -> Option<Problem> {
    let kept = |asset: &Arc<Asset>| state.dedicated_to(asset).next().cloned();
    let first = parts.iter().find_map(|asset| Some((asset, kept(asset)?)))?;
    let other = parts.iter().find(|asset| kept(asset).as_ref() != Some(&first.1))?;
    Some(Problem::new(
        Code::Held,
        format!(
            "{} is kept for the patient of case {} alone, and {} is not.",
            first.0.called(),
            first.1,
            other.called()
        ),
        "What is kept for one patient goes through a machine by itself.",
        "Start a load with it alone. Whether it may be reprocessed at all is for infection prevention to say.",
    ))
}

/// What stands against a permission about a part that only its patient's case may have.
pub(super) fn kept_back(state: &State, asset: &Asset) -> Option<Problem> {
    let kept = state.dedicated_to(asset).next()?;
    Some(Problem::new(
        Code::Held,
        format!("{} is kept for the patient of case {kept} alone.", asset.called()),
        "A part that is kept for nobody is needed.",
        "Take another part.",
    ))
}

/// Why a part does not join a set: what lies there is not kept for the same patient.
pub(super) fn joins(state: &State, asset: &Asset, others: &[Arc<Asset>]) -> Option<Problem> {
    let all: Vec<Option<&Id>> = others.iter().map(|other| state.dedicated_to(other).next()).collect();
    let own = state.dedicated_to(asset).next();
    if general_problems(state, asset).is_empty() && all.iter().all(|other| *other == own) {
        return None;
    }
    (own.is_some() || all.iter().any(Option::is_some)).then(|| {
        Problem::new(
            Code::Held,
            format!("{} and what lies in the set are not kept for the same patient.", asset.called()),
            "What is kept for one patient lies with nothing else.",
            "Build a set of its own for it.",
        )
    })
}
