//! What comes into the simulated house that is not its own, what gets mixed there, and what its cases take from the shelf. It has
//! chances of its own, so that the lives of the house's parts stay what they are.

use serde_json::{Value, json};

use super::{Hospital, Task, minutes_between};
use crate::domain::command::Command;
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::state::{Stage, State};

const DAY: i64 = 24 * 60;
/// Kept on the shelf by lot: model, name, how many at the least, and how many come in a box.
const SHELF: [(&str, &str, u32, u32); 3] = [
    ("catheter-12", "Suction catheter 12 Fr", 30, 60),
    ("mouth-guard", "Mouth guard", 20, 40),
    ("anti-fog", "Anti-fog fluid", 10, 25),
];
const LOAN_MODEL: &str = "barrel-9";

/// The models of what lies on the shelf, for the founding of the catalogue.
pub(super) fn models() -> Vec<(Role, Value)> {
    let mut all: Vec<(Role, Value)> = SHELF
        .iter()
        .map(|(model, name, ..)| {
            (
                Role::Admin,
                json!({"do": "define_model", "model": model, "family": "accessory", "name": name, "route": "metal",
                       "single_use": true}),
            )
        })
        .collect();
    all.push((
        Role::Admin,
        json!({"do": "define_model", "model": "stent-14", "family": "accessory", "name": "Silicone stent 14", "route": "metal",
               "single_use": true, "implant": true}),
    ));
    for (model, _, minimum, _) in SHELF {
        all.push((Role::Lead, json!({"do": "set_stock_minimum", "model": model, "minimum": minimum})));
    }
    all
}

impl Hospital {
    fn say(&mut self, role: Role, command: Value) {
        if let Ok(command) = Command::read(command) {
            self.give(role, command.act);
        }
    }

    /// A look around at a quarter to eleven.
    pub(super) fn visits(&mut self, state: &State) {
        let at = self.tomorrow(10, 45);
        self.later(at, Task::Visits);
        // Nothing of it takes the time of those who look after the house's own parts.
        let clock = self.clock;
        self.loans(state);
        self.strangers(state);
        self.mixed(state);
        self.shelf(state);
        self.clock = clock;
    }

    /// Now and then a barrel is tried or borrowed for a case; it goes back after some days.
    fn loans(&mut self, state: &State) {
        let here: Vec<Id> =
            state.loans.values().filter(|loan| loan.is_open(state)).map(|loan| loan.loan.clone()).collect();
        for loan in here {
            let Some(found) = state.loans.get(&loan) else { continue };
            if minutes_between(found.came.at, self.clock) < 2 * DAY {
                continue;
            }
            let parts: Vec<String> =
                found.still_here(state).iter().map(|asset| asset.asset.to_string()).collect();
            let why = "The case was put off; it was not opened.";
            self.say(
                Role::Desk,
                json!({"do": "leave", "loan": loan, "scan": parts, "not_decontaminated": why}),
            );
        }
        if self.aside.happens(0.03) {
            let day = self.clock.plus_minutes(5 * DAY).date(self.plan.zone);
            let kind = self.aside.pick(&["loan", "trial"]).copied().unwrap_or("loan");
            let n = state.loans.len() + 1;
            let mut arrive = json!({"do": "arrive", "kind": kind, "from": "A neighbouring hospital", "due_back": day,
                "parts": [{"model": LOAN_MODEL, "mark": format!("NB{n:05}"), "prior_cycles": 20}], "pieces": 1,
                "labelled_decontaminated": true});
            if self.aside.happens(0.8) {
                arrive["instructions"] = json!("2024-03");
            } else {
                arrive["risk"] = json!({"person": "lead-1", "reason": "wanted for a case this morning"});
            }
            self.say(Role::Desk, arrive);
        }
    }

    fn strangers(&mut self, state: &State) {
        for stranger in state.open_strangers() {
            let age = minutes_between(stranger.received.at, self.clock);
            let (tag, owner) = (stranger.tag.clone(), stranger.owner.as_ref().map(|it| it.0.clone()));
            let bearer = state.assets.get(&tag).map(|asset| asset.stage);
            match (bearer, &owner) {
                (Some(Stage::Soiled | Stage::Treated), _) => {
                    self.say(Role::Desk, json!({"do": "record_step", "step": "received", "scan": tag}));
                }
                (Some(Stage::Received), _) => {
                    self.say(Role::Desk, json!({"do": "record_step", "step": "cleaned", "scan": tag}));
                }
                (_, Some(owner)) if stranger.owners_told.is_empty() => {
                    let words = "It is here, washed, and can be fetched.";
                    self.say(
                        Role::Desk,
                        json!({"do": "tell_owner", "stranger": tag, "owner": owner, "words": words}),
                    );
                }
                (_, Some(_)) if age > 4 * DAY => {
                    self.say(
                        Role::Desk,
                        json!({"do": "settle_stranger", "stranger": tag, "outcome": "collected"}),
                    );
                }
                (_, None) if age > 3 * DAY => {
                    let words = "Nobody misses it.";
                    self.say(
                        Role::Lead,
                        json!({"do": "settle_stranger", "stranger": tag, "outcome": "discarded", "words": words}),
                    );
                }
                _ => {}
            }
        }
        if self.aside.happens(0.03) {
            let known = self.aside.happens(0.6);
            let mut received = json!({"do": "receive_stranger", "kind": if known { "other_site" } else { "unmarked" },
                                      "looks": "Grasping forceps, about 50 cm"});
            if known {
                received["owner"] = json!("A neighbouring hospital");
            }
            self.say(Role::Desk, received);
        }
    }

    /// Caps of two baskets fall into one sink; after two days somebody finds out which is which.
    fn mixed(&mut self, state: &State) {
        let open: Vec<_> = state.mixed.values().filter(|mixed| mixed.is_open()).cloned().collect();
        for mixed in open {
            if minutes_between(mixed.since.at, self.clock) > 2 * DAY {
                let how = "One had a green dot under the rim.";
                self.say(Role::Lead, json!({"do": "settle_identity", "doubt": mixed.doubt, "how": how}));
            }
        }
        if !self.aside.happens(0.02) {
            return;
        }
        let at_sink = |asset: &&std::sync::Arc<crate::domain::state::Asset>| {
            asset.counts()
                && asset.mark.is_none()
                && asset.seat.is_some()
                && asset.model.as_str().starts_with("cap")
        };
        let mut caps = state.assets.values().filter(at_sink);
        let Some(one) = caps.next() else { return };
        let other = caps.find(|it| {
            let elsewhere = it.seat.as_ref().map(|seat| &seat.set) != one.seat.as_ref().map(|seat| &seat.set);
            it.model == one.model && elsewhere
        });
        if let Some(other) = other {
            let how = "Two baskets were tipped into one sink.";
            self.say(
                Role::Desk,
                json!({"do": "identity_doubt", "scan": [one.asset, other.asset], "how": how}),
            );
        }
    }

    /// What is low is filled up, what is past its date goes, and each case of the day before took something.
    fn shelf(&mut self, state: &State) {
        let today = self.clock.date(self.plan.zone);
        for (model, _, minimum, box_of) in SHELF {
            let shelf = Id::new(model).and_then(|id| state.shelf.get(&id).cloned());
            let good = shelf.as_ref().map_or(0, |shelf| shelf.good(today));
            if good < minimum {
                let lot = format!("L{:05}", self.aside.between(1, 99_999));
                let last = self.clock.plus_minutes(self.aside.between(60, 700) * DAY).date(self.plan.zone);
                self.say(
                    Role::Desk,
                    json!({"do": "stock_in", "model": model, "lot": lot, "expires": last, "quantity": box_of}),
                );
            }
            let past = shelf.iter().flat_map(|shelf| shelf.there()).find(|lot| lot.is_past(today)).cloned();
            if let Some(lot) = past {
                self.say(
                    Role::Desk,
                    json!({"do": "stock_out", "model": model, "lot": lot.lot, "quantity": lot.left, "why": "expired"}),
                );
            }
        }
        let fresh = |case: &&std::sync::Arc<crate::domain::case::Case>| {
            let over = (0..DAY).contains(&minutes_between(case.last_at, self.clock));
            case.closed && over && state.stock_at(&case.case).is_empty()
        };
        let cases: Vec<Id> =
            state.cases.values().rev().take(40).filter(fresh).map(|it| it.case.clone()).collect();
        for case in cases.into_iter().take(6) {
            let mut items = Vec::new();
            for (model, ..) in SHELF {
                let shelf = Id::new(model).and_then(|id| state.shelf.get(&id).cloned());
                let lot = shelf.iter().flat_map(|shelf| shelf.there()).find_map(|lot| lot.lot.clone());
                let many = self.aside.between(1, 3);
                if let Some(lot) = lot.filter(|_| self.aside.happens(0.7)) {
                    items.push(json!({"model": model, "lot": lot, "quantity": many}));
                }
            }
            if self.aside.happens(0.1) {
                let n = self.aside.between(1, 999_999);
                items.push(json!({"model": "stent-14", "lot": "ST-9", "serial": format!("{case}-{n}")}));
            }
            if !items.is_empty() {
                self.say(Role::Charge, json!({"do": "use_stock", "case": case, "items": items}));
            }
        }
    }
}
