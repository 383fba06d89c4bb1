//! A house whose cases come from another system's schedule: one procedure is known, one is not, and a message waits.

use serde_json::{Value, json};

use super::{house, looking};
use crate::domain::person::Role;
use crate::web::visitor::Visitor;

fn told(filler: &str, code: &str, name: &str) -> Value {
    json!({"sender": "THEATRE NORTH", "filler": filler, "codes": [{"code": code, "name": name}]})
}

pub fn scheduled() -> Visitor {
    let mut house = house();
    let start = house.now.plus_minutes(90);
    for (case, code, name) in [
        ("A-1001", "BRONCH-RIGID", "Rigid bronchoscopy"),
        ("A-1002", "STENT-REMOVAL", "Removal of an airway stent"),
    ] {
        house.act(
            Role::Charge,
            json!({"do": "plan_case", "case": case, "start": start, "minutes": 60, "room": "Theatre 2", "needs": [],
                   "patient": "REF-77", "schedule": told(case, code, name)}),
        );
    }
    house.act(
        Role::Charge,
        json!({"do": "map_procedure", "code": "BRONCH-RIGID", "name": "Rigid bronchoscopy", "needs": ["adult"],
               "technique": "jet_open", "minutes": 45}),
    );
    for (filler, why) in [
        ("A-2001", "The appointment is on 14 June 2026, 09:00, its room is booked for 17 June 2026, 09:00."),
        (
            "A-2002",
            "The schedule cancels an appointment that no case here stands for. Was it planned by hand?",
        ),
    ] {
        house.act(
            Role::Charge,
            json!({"do": "keep_schedule_message", "trigger": "S13", "control_id": format!("M-{filler}"),
                   "schedule": told(filler, "BRONCH-RIGID", "Rigid bronchoscopy"), "why": [why], "answered": "AE",
                   "error": 103, "message": "MSH|^~\\&|THEATRE\nPID|||REF-77\n"}),
        );
    }
    house.act(
        Role::Charge,
        json!({"do": "settle_schedule_message", "line": "line-00002", "outcome": "not_ours"}),
    );
    looking(house, Role::Charge)
}

/// A house that tells its lead and its charge nurse when a case is unlikely, and another program with them.
pub fn alerting() -> Visitor {
    let mut house = house();
    let tells = json!(["charge", "lead"]);
    for rule in [
        json!({"do": "set_alert", "tells": tells, "about": "case", "before": "12:00", "webhook": "https://hooks.example.org/fettle"}),
        json!({"do": "set_alert", "tells": ["lead"], "about": "load", "minutes": 45}),
    ] {
        house.act(Role::Charge, rule);
    }
    looking(house, Role::Charge)
}
