//! Alerts: what a role wants to be told of. A rule says what is watched and whom it tells; where another program is to hear
//! of it too, it names that program's address. What became true stands beside the ledger, since it follows from it.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::alert_address::Address;
use super::apply::When;
use super::command::{self, Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::{Id, next_free};
use super::model::unknown;
use super::person::Role;
use super::refusal::{Code, Problem};
use super::site::Hour;
use super::state::State;
use super::text::Line;
use super::time::Time;

/// A case is told of below so many chances in ten where the rule says nothing: below it, it is called unlikely.
const USUAL_BELOW: u32 = 5;
/// How long a load may wait for its decision where the rule says nothing.
const USUAL_MINUTES: u32 = 30;
const MOST_MINUTES: u32 = 24 * 60;

/// What a rule watches.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AlertAbout {
    /// A case of today that is likely to begin without what it needs.
    Case,
    /// The emergency reserve of a count sheet is below its minimum.
    Reserve,
    /// A load waits for its decision.
    Load,
    /// Something is not accounted for, and nobody has named an outcome.
    Missing,
    /// A hold or a recall has begun.
    Hold,
}

impl AlertAbout {
    pub const ALL: [AlertAbout; 5] =
        [AlertAbout::Case, AlertAbout::Reserve, AlertAbout::Load, AlertAbout::Missing, AlertAbout::Hold];

    pub fn name(self) -> &'static str {
        match self {
            AlertAbout::Case => "case",
            AlertAbout::Reserve => "reserve",
            AlertAbout::Load => "load",
            AlertAbout::Missing => "missing",
            AlertAbout::Hold => "hold",
        }
    }
}

/// Makes a rule of alerts, or says one anew and whole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetAlert {
    /// Left out, it is a new rule with the next free name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<Id>,
    /// The roles that it tells.
    pub tells: Vec<Role>,
    pub about: AlertAbout,
    /// Of cases: those alone that start before this hour of their day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Hour>,
    /// Of cases: fewer chances in ten than this, 1 to 9; 5 unless told otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub below: Option<u32>,
    /// Of reserves: that of this count sheet alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count_sheet: Option<Id>,
    /// Of loads: longer than so many minutes; 30 unless told otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u32>,
    /// The address of another program that is told too. It stands in the ledger, so no secret belongs into it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub webhook: Option<Line>,
}

/// Takes a rule back: what it raised ends.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DropAlert {
    pub rule: Id,
}

impl SetAlert {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.tells.is_empty() {
            return Err(wrong("/tells", "found none; at least one role is needed, ticked"));
        }
        if let Some(twice) =
            self.tells.iter().find(|role| self.tells.iter().filter(|it| it == role).count() > 1)
        {
            return Err(wrong("/tells", format!("found {} twice", twice.name())));
        }
        let of = [
            ("before", self.before.is_some(), AlertAbout::Case),
            ("below", self.below.is_some(), AlertAbout::Case),
            ("count_sheet", self.count_sheet.is_some(), AlertAbout::Reserve),
            ("minutes", self.minutes.is_some(), AlertAbout::Load),
        ];
        if let Some((name, _, about)) =
            of.into_iter().find(|(_, given, about)| *given && *about != self.about)
        {
            let detail =
                format!("found it beside \"{}\"; it belongs to \"{}\"", self.about.name(), about.name());
            return Err(wrong(format!("/{name}"), detail));
        }
        if self.below.is_some_and(|below| !(1..=9).contains(&below)) {
            return Err(wrong("/below", "found a number outside 1 to 9; so many chances in ten are needed"));
        }
        if self.minutes.is_some_and(|minutes| !(1..=MOST_MINUTES).contains(&minutes)) {
            return Err(wrong("/minutes", format!("found a time outside 1 to {MOST_MINUTES} minutes")));
        }
        match &self.webhook {
            Some(address) => {
                Address::read(address.as_str()).map(|_| ()).map_err(|why| wrong("/webhook", why))
            }
            None => Ok(()),
        }
    }

    pub fn below(&self) -> u32 {
        self.below.unwrap_or(USUAL_BELOW)
    }

    pub fn minutes(&self) -> u32 {
        self.minutes.unwrap_or(USUAL_MINUTES)
    }

    /// What it watches, as a person says it.
    pub fn words(&self, state: &State) -> String {
        match self.about {
            AlertAbout::Case => {
                let before = self.before.map(|hour| format!(" before {}", hour.0.format("%H:%M")));
                let chance = match self.below() {
                    1 => "has less than 1 chance in 10".to_string(),
                    below => format!("has fewer than {below} chances in 10"),
                };
                format!("A case of today{} {chance} to be equipped by its start", before.unwrap_or_default())
            }
            AlertAbout::Reserve => match &self.count_sheet {
                Some(sheet) => format!("The reserve of “{}” is below its minimum", state.sheet_words(sheet)),
                None => "Any emergency reserve is below its minimum".into(),
            },
            AlertAbout::Load => {
                let minutes = self.minutes();
                let unit = if minutes == 1 { "minute" } else { "minutes" };
                format!("A load waits for its decision longer than {minutes} {unit}")
            }
            AlertAbout::Missing => "Something is not accounted for, without an outcome".into(),
            AlertAbout::Hold => "A hold or a recall begins".into(),
        }
    }
}

/// A rule as the state keeps it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlertRule {
    pub set: SetAlert,
    /// When it was first made: what stood before that is no news.
    pub since: Time,
    pub at: Time,
    pub by: String,
    /// The entry that said it last.
    pub entry: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dropped: Option<Time>,
}

impl AlertRule {
    pub fn tells(&self, role: Role) -> bool {
        self.set.tells.contains(&role)
    }
}

impl State {
    /// The rules in force, by their names.
    pub fn alert_rules(&self) -> impl Iterator<Item = (&Id, &Arc<AlertRule>)> {
        self.alert_rules.iter().filter(|(_, rule)| rule.dropped.is_none())
    }

    /// What a count sheet is called.
    pub fn sheet_words(&self, sheet: &Id) -> String {
        self.sheets.get(sheet).map_or_else(|| sheet.to_string(), |sheet| sheet.name.0.clone())
    }
}

pub(super) fn decide(deciding: &mut Deciding, act: &command::Alert) -> Option<What> {
    deciding.touches(None);
    match act {
        command::Alert::Set(it) => set(deciding, it),
        command::Alert::Drop(it) => {
            let state = deciding.state;
            match state.alert_rules.get(&it.rule) {
                None => deciding.against(unknown("rule of alerts", it.rule.as_str())),
                Some(rule) if rule.dropped.is_some() => deciding.against(Problem::new(
                    Code::AlreadyDone,
                    format!("The rule {} is dropped already.", it.rule),
                    "A rule in force is needed.",
                    "Nothing needs to be done.",
                )),
                Some(_) => {}
            }
            Some(What::AlertDropped(it.clone()))
        }
    }
}

fn set(deciding: &mut Deciding, it: &SetAlert) -> Option<What> {
    let state = deciding.state;
    if let Some(sheet) = it.count_sheet.as_ref().filter(|sheet| !state.sheets.contains_key(*sheet)) {
        deciding.against(unknown("count sheet", sheet.as_str()));
    }
    let taken = |id: &Id| state.alert_rules.contains_key(id);
    let rule = match &it.rule {
        Some(rule) => rule.clone(),
        None => next_free("alert", 4, state.alert_rules.len(), taken)?,
    };
    if it.rule.is_none() {
        deciding.made = Some(rule.clone());
    }
    Some(What::AlertSet(SetAlert { rule: Some(rule), ..it.clone() }))
}

pub(super) fn applied(state: &mut State, when: &When, what: &What) {
    let (rule, kept) = match what {
        What::AlertSet(it) => {
            let Some(rule) = it.rule.clone() else { return };
            let known = state.alert_rules.get(&rule);
            if known.is_some_and(|known| known.at > when.at) {
                return;
            }
            let since = known.filter(|known| known.dropped.is_none()).map_or(when.at, |known| known.since);
            let by = when.actor.to_string();
            (rule, AlertRule { set: it.clone(), since, at: when.at, by, entry: when.seq, dropped: None })
        }
        What::AlertDropped(it) => {
            let Some(known) = state.alert_rules.get(&it.rule) else { return };
            let (by, entry) = (when.actor.to_string(), when.seq);
            let dropped = Some(when.at);
            (it.rule.clone(), AlertRule { at: when.at, by, entry, dropped, ..AlertRule::clone(known) })
        }
        _ => return,
    };
    state.changes.alert_rules.insert(rule.clone());
    state.alert_rules.insert(rule, Arc::new(kept));
}
