//! The same house an hour later: a case went by, a part is missing, another broke, a third is in repair.

use serde_json::json;

use super::{House, house, looking, passed};
use crate::domain::event::Entry;
use crate::domain::person::Role;
use crate::web::visitor::Visitor;

/// A steriliser that was not tested today, and a limit that the caps have reached.
fn due(house: &mut House) {
    let programme = json!({"programme": "steam-134", "method": "steam", "band_c": 134, "hold_s": 180, "air_removal_test": true});
    house.act(
        Role::Admin,
        json!({"do": "define_machine", "machine": "ST-2", "kind": "steriliser", "programmes": [programme]}),
    );
    house.act(
        Role::Biomed,
        json!({"do": "define_model", "model": "CAP-2", "family": "cap", "name": "Silicone cap, one hole 2.8", "route": "rigid",
               "processing": {"steam": {"temp_c": "134", "hold_s": "180"}}, "limits": {"max_cycles": 49}}),
    );
}

fn busy() -> House {
    let mut house = house();
    due(&mut house);
    passed(&mut house, "S-311");
    house.act(Role::Lead, json!({"do": "release_load", "load": "S-311", "dry": true}));
    house.now = house.now.plus_minutes(60);
    let start = house.now.plus_minutes(30);
    house.act(
        Role::Charge,
        json!({"do": "plan_case", "case": "K-7", "start": start, "minutes": 45, "room": "Theatre 2",
               "technique": "jet_open", "needs": ["adult"], "patient": "REF-1"}),
    );
    house.act(Role::Charge, json!({"do": "issue", "case": "K-7", "scan": "B2", "emergency": true}));
    house.act(Role::Clinician, json!({"do": "open", "case": "K-7", "scan": "B2"}));
    house.act(Role::Clinician, json!({"do": "use", "case": "K-7", "scan": ["BR-0031", "CAP-02"]}));
    // Nobody issued it, and it is being reprocessed: a deviation.
    house.act(Role::Clinician, json!({"do": "use", "case": "K-7", "scan": "CAP-03"}));
    house.act(Role::Charge, json!({"do": "close_count", "case": "K-7", "missing": ["CAP-01"]}));
    house.act(
        Role::Clinician,
        json!({"do": "report_finding", "scan": "BR-0031", "what": "burr at the distal edge <2 mm", "severity": "stop", "case": "K-7"}),
    );
    house.act(
        Role::Biomed,
        json!({"do": "send_to_repair", "asset": "T-0142", "reason": "image dim", "order": "R-9", "decontaminated": false}),
    );
    house.act(Role::Biomed, json!({"do": "retire", "asset": "CAP-02", "cause": "worn", "failure": true}));
    house.act(
        Role::Infection,
        json!({"do": "open_look_back", "origin": {"load": "S-311"}, "reason": "growth in the indicator"}),
    );
    house
}

/// The biomedical engineer, who may do most of what these pages offer.
pub fn visitor() -> Visitor {
    looking(busy(), Role::Biomed)
}

pub fn entries() -> Vec<Entry> {
    busy().entries.into_iter().rev().collect()
}
