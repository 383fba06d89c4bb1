//! Every command of a plan decided against a draft of the house, each after the ones before it: what the rules refuse is
//! told by row, all of it, before anything is recorded.

use std::collections::{BTreeMap, BTreeSet};

use super::{Plan, Planned, column_of, malformed};
use crate::domain::apply::{When, apply};
use crate::domain::command::Act;
use crate::domain::deciding::{Asked, Turned, decide};
use crate::domain::person::Actor;
use crate::domain::refusal::{Code, Problem};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::formats::attachment::Kind;
use crate::formats::table::Fault;

/// What deciding needs beside the house.
pub struct Drafting<'a> {
    pub actor: &'a Actor,
    pub now: Time,
    pub people: &'a BTreeSet<String>,
    /// Those pictures of the plan that the site keeps, each with what it is.
    pub attachments: &'a BTreeMap<String, Kind>,
}

/// Decides everything; what stands against it joins the plan's faults, what is doubtful its doubts.
pub fn decide_all(state: &State, with: &Drafting, plan: &mut Plan) {
    let mut draft = state.clone();
    let mut refused: BTreeSet<usize> = BTreeSet::new();
    let mut roles: BTreeSet<&'static str> = BTreeSet::new();
    let turns = BTreeMap::new();
    let (mut faults, mut doubts) = (Vec::new(), Vec::new());
    for (place, planned) in plan.planned.iter().enumerate() {
        if planned.after.is_some_and(|after| refused.contains(&after)) {
            refused.insert(place);
            continue;
        }
        let asked = Asked {
            actor: with.actor,
            now: with.now.max(draft.recorded_at),
            salt: [0; 16],
            people: with.people,
            own_name: None,
            turns: &turns,
            corrected: None,
            attachments: with.attachments,
            same_patient: &BTreeSet::new(),
            prepared: None,
        };
        match decide(&draft, &asked, &planned.command) {
            Ok(decided) => {
                let when = When {
                    seq: draft.seq + 1,
                    at: decided.at,
                    recorded_at: asked.now,
                    actor: &with.actor.code,
                };
                apply(&mut draft, &when, &decided.event);
                doubts.extend(decided.event.beside.doubts.iter().map(|it| {
                    let (found, needed) = it.detail.split_once("; ").unwrap_or((&it.detail, ""));
                    let found = found.trim_start_matches("found ");
                    Fault::new(planned.line, column_of(&planned.from, &it.pointer), found, needed)
                }));
            }
            Err(turned) => {
                refused.insert(place);
                faults.extend(told(planned, &turned, with.actor, &mut roles));
            }
        }
    }
    plan.faults.extend(faults);
    plan.doubts.extend(doubts);
    plan.faults.sort_by_key(|it| it.line);
    plan.doubts.sort_by_key(|it| it.line);
}

/// A refusal, told by row and column. That the role may not is told once for each command, not for each row.
pub fn told(
    planned: &Planned,
    turned: &Turned,
    actor: &Actor,
    roles: &mut BTreeSet<&'static str>,
) -> Vec<Fault> {
    match turned {
        Turned::Refused(refusal) => refusal.reasons().map(|problem| refused(planned, problem)).collect(),
        Turned::Malformed(errors) => {
            errors.iter().map(|error| malformed(planned.line, &planned.from, error)).collect()
        }
        Turned::NotYourRole => {
            let name = planned.command.act.name();
            if !roles.insert(name) {
                return Vec::new();
            }
            let may: Vec<&str> = Act::roles(name).iter().map(|role| role.name()).collect();
            let found = format!("{name} by the role {}", actor.role.name());
            vec![Fault::new(planned.line, "", found, format!("one of {} may do it", may.join(", ")))]
        }
    }
}

fn refused(planned: &Planned, problem: &Problem) -> Fault {
    let path = match problem.code {
        Code::NameTaken | Code::UnknownThing => named(planned, problem),
        _ => None,
    };
    let column = path.map(|path| column_of(&planned.from, &path)).unwrap_or_default();
    Fault::new(planned.line, column, &problem.found, format!("{} {}", problem.needed, problem.next))
}

/// The place in the command of the name that a refusal quotes.
fn named(planned: &Planned, problem: &Problem) -> Option<String> {
    let quoted = problem.found.split('"').nth(1)?;
    let command = planned.command.to_value().ok()?;
    let fields = command.as_object()?;
    let is = |value: &serde_json::Value| match value {
        serde_json::Value::String(text) => text == quoted,
        serde_json::Value::Array(all) => all.iter().any(|it| it.as_str() == Some(quoted)),
        _ => false,
    };
    // The reader's own word for the thing goes before a field that holds the same by chance.
    let by_word =
        fields.iter().find(|(name, value)| is(value) && problem.found.contains(&name.replace('_', " ")));
    let found = by_word.or_else(|| fields.iter().find(|(_, value)| is(value)));
    found.map(|(name, _)| format!("/{name}"))
}
