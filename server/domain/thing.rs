//! The things under which an entry of the ledger is found.

/// Something with a history.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Thing {
    pub kind: &'static str,
    pub name: String,
}

impl Thing {
    pub fn asset(name: &str) -> Thing {
        Thing { kind: "asset", name: name.into() }
    }
    pub fn set(name: &str) -> Thing {
        Thing { kind: "set", name: name.into() }
    }
    pub fn load(name: &str) -> Thing {
        Thing { kind: "load", name: name.into() }
    }
    pub fn case(name: &str) -> Thing {
        Thing { kind: "case", name: name.into() }
    }
    pub fn look_back(name: &str) -> Thing {
        Thing { kind: "look_back", name: name.into() }
    }
    pub fn recall(name: &str) -> Thing {
        Thing { kind: "recall", name: name.into() }
    }
    pub fn schedule_line(name: &str) -> Thing {
        Thing { kind: "schedule_line", name: name.into() }
    }
    pub fn loan(name: &str) -> Thing {
        Thing { kind: "loan", name: name.into() }
    }
    pub fn stock(model: &str) -> Thing {
        Thing { kind: "stock", name: model.into() }
    }
    pub fn machine(name: &str) -> Thing {
        Thing { kind: "machine", name: name.into() }
    }
    pub fn paper_sheet(name: &str) -> Thing {
        Thing { kind: "paper_sheet", name: name.into() }
    }
}
