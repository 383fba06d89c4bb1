//! The same house with a loan that left without a part, one that is due, strangers, caps that were mixed, and a shelf.

use serde_json::json;

use super::{House, house, looking};
use crate::domain::person::Role;
use crate::web::visitor::Visitor;

fn visited() -> House {
    let mut house = house();
    let day = |days: i64| house.now.plus_minutes(days * 24 * 60).date(house.state.zone);
    let (tomorrow, soon, later) = (day(1), day(20), day(400));
    let loan = |from: &str, mark: &str| {
        json!({"do": "arrive", "kind": "loan", "from": from, "due_back": tomorrow,
               "parts": [{"model": "BR-7.5", "mark": mark, "prior_cycles": 40}, {"model": "CAP-2"}],
               "pieces": 3, "condition": "<b>clean</b>", "labelled_decontaminated": true,
               "risk": {"person": "p-lead", "reason": "A bleeding airway."}})
    };
    house.act(Role::Desk, loan("Lender & Sons <script>", "L-7"));
    house.act(Role::Desk, loan("Second lender", "L-8"));
    house.act(
        Role::Desk,
        json!({"do": "leave", "loan": "loan-0001", "scan": "L-7", "not_decontaminated": "It was fetched."}),
    );
    house.act(
        Role::Desk,
        json!({"do": "receive_stranger", "kind": "other_site", "looks": "<i>Forceps</i>, 50 cm", "mark": "L-8",
               "owner": "Example Hospital"}),
    );
    house.act(
        Role::Desk,
        json!({"do": "tell_owner", "stranger": "tag-0001", "owner": "Example Hospital", "words": "They fetch it."}),
    );
    for (asset, cycles) in [("MIX-1", 3), ("MIX-2", 30)] {
        house.act(
            Role::Lead,
            json!({"do": "add_asset", "asset": asset, "model": "CAP-2", "prior_cycles": cycles}),
        );
    }
    house.act(
        Role::Desk,
        json!({"do": "identity_doubt", "scan": ["MIX-1", "MIX-2"], "how": "Two baskets fell into one sink."}),
    );
    house.act(
        Role::Biomed,
        json!({"do": "define_model", "model": "CATH-12", "family": "accessory", "name": "Suction catheter 12 Fr",
               "route": "rigid", "single_use": true}),
    );
    house.act(Role::Lead, json!({"do": "set_stock_minimum", "model": "CATH-12", "minimum": 30}));
    for (lot, last, quantity) in [("L-SOON", soon, 4), ("L-LATER <x>", later, 20)] {
        house.act(
            Role::Desk,
            json!({"do": "stock_in", "model": "CATH-12", "lot": lot, "expires": last, "quantity": quantity}),
        );
    }
    let start = house.now.plus_minutes(30);
    house.act(
        Role::Charge,
        json!({"do": "plan_case", "case": "K-8", "start": start, "minutes": 45, "needs": ["adult"]}),
    );
    house.act(
        Role::Charge,
        json!({"do": "use_stock", "case": "K-8", "items": [{"model": "CATH-12", "lot": "L-SOON", "quantity": 2},
               {"model": "CATH-12", "lot": "GONE"}]}),
    );
    house
}

pub fn visitor(role: Role) -> Visitor {
    looking(visited(), role)
}
