//! Numbered sheets for days on paper, and reports that the wrong thing was scanned.

use axum::response::Response;
use serde_json::{Value, json};

use super::super::problem::Problem;
use super::caller::Caller;
use super::paged;
use super::params::Params;
use crate::domain::paper::{By, PaperSheet};
use crate::domain::wrong_thing::WrongThing;

fn by(it: &By) -> Value {
    json!({"at": it.at, "by": it.by, "entry": it.entry})
}

fn sheet(it: &PaperSheet) -> Value {
    let lines = it
        .entered
        .iter()
        .map(|(line, told)| json!({"line": line, "entry": told.entry, "at": told.at, "by": told.by}));
    let mut all = json!({"sheet": it.sheet, "of": it.of, "lines": it.lines, "status": it.status().name(),
                         "printed": by(&it.printed), "entered": lines.collect::<Vec<_>>()});
    if let Some(done) = &it.finished {
        all["finished"] = by(done);
    }
    if let Some((told, reason)) = &it.void {
        all["void"] = by(told);
        all["void"]["reason"] = json!(reason);
    }
    all
}

fn wrong(it: &WrongThing) -> Value {
    let told = &it.reported;
    let mut all = json!({"report": told.report, "of": told.entry, "kind": told.kind, "happened": told.at,
                         "named": told.named, "meant": told.meant, "case": told.case, "load": told.load,
                         "because": told.because, "at": it.reported_at, "by": it.by, "entry": it.told_in,
                         "counts_both": it.counts_both()});
    if let Some(settled) = &it.settled {
        all["settled"] = json!({"confirmed": settled.confirmed, "reason": settled.reason, "at": settled.at,
                                "by": settled.by, "entry": settled.entry, "stands": settled.stands});
    }
    all
}

/// The sheets by their numbers; `open=true` those alone of which nobody has said that they are entered or void.
pub async fn sheets(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let open = params.flag("open")?;
    let told = |it: &PaperSheet| (!open || it.is_open()).then(|| sheet(it));
    paged(caller, params, |state| &state.paper, |_, it, _| told(it)).await
}

/// The reports by their names; `open=true` those alone that wait for the lead.
pub async fn wrong_things(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let open = params.flag("open")?;
    let told = |it: &WrongThing| (!open || it.is_open()).then(|| wrong(it));
    paged(caller, params, |state| &state.wrong_things, |_, it, _| told(it)).await
}
