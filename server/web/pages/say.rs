//! Status as people say it: a word, then a shape, then a tone. These are the only words and signs there are.

use super::shared::{some_of, time};
use super::theatre::at_case;
use crate::domain::load::{Load, LoadStatus};
use crate::domain::model::StepKind;
use crate::domain::readiness::{SetReadiness, SetStatus};
use crate::domain::state::{Asset, Condition, Machine, Stage, Standing, State};
use crate::domain::time::Time;

/// A status with its sign.
#[derive(Clone, Debug)]
pub struct Say {
    pub sign: &'static str,
    pub tone: &'static str,
    pub words: String,
}

impl Say {
    pub fn new(sign: &'static str, tone: &'static str, words: impl Into<String>) -> Say {
        Say { sign, tone, words: words.into() }
    }

    pub fn plain(words: impl Into<String>) -> Say {
        Say::new("", "ink", words)
    }

    pub fn is(&self, sign: &str) -> bool {
        self.sign == sign
    }

    pub fn due(words: impl Into<String>) -> Say {
        Say::new("due", "due", words)
    }

    pub fn held(words: impl Into<String>) -> Say {
        Say::new("held", "stop", words)
    }
}

/// How a machine stands, in its word and what stands beside it.
pub fn of_machine(state: &State, machine: &Machine, now: Time) -> Say {
    let it = machine.condition_words(state, now);
    let words = match it.detail.is_empty() {
        true => it.word.to_string(),
        false => format!("{}: {}", it.word, it.detail),
    };
    match machine.condition {
        Condition::Out { .. } => Say::new("not_ready", "stop", words),
        Condition::Requalifying { .. } => Say::new("not_ready", "due", words),
        Condition::InService if it.word == "in service" => Say::new("ready", "ready", words),
        Condition::InService => Say::due(words),
    }
}

/// The circle that fills from below, a quarter at a time.
fn quarter(done: usize, of: usize) -> &'static str {
    match (done * 4).checked_div(of.max(1)).unwrap_or_default() {
        0 | 1 => "turn1",
        2 => "turn2",
        _ => "turn3",
    }
}

/// How a part stands: the worst fact first.
pub fn of_asset(state: &State, asset: &Asset, now: Time) -> Say {
    match asset.standing() {
        Standing::Retired => {
            let gone = asset.retired.as_ref().is_some_and(|it| it.cause.is_parting());
            return Say::new("retired", "ink", if gone { "no longer in the house" } else { "retired" });
        }
        Standing::Missing => return Say::new("missing", "stop", "not accounted for"),
        Standing::InRepair => return Say::plain("in repair"),
        Standing::Held if asset.stage == Stage::Ready => {
            return Say::held("on hold, not to be used; it was ready");
        }
        Standing::Held => return Say::held(format!("on hold; {}", asset.stage.words())),
        Standing::InService => {}
    }
    of_stage(state, asset, now)
}

/// Where a part is in its turn, whatever else stands against it.
pub fn of_stage(state: &State, asset: &Asset, now: Time) -> Say {
    let words = asset.stage.words();
    match asset.stage {
        Stage::Issued | Stage::InUse => {
            let case = at_case(state, &asset.asset).map(|case| format!(", case {case}"));
            Say::new("out", "ink", format!("out, {words}{}", case.unwrap_or_default()))
        }
        Stage::Ready => match asset.cooling_until(now) {
            Some(at) => {
                let until = time(state, at, now);
                Say::new("turn3", "turn", format!("sterile, still cooling until {until}"))
            }
            None if asset.past_date(state, now) => Say::new("not_ready", "stop", "not ready, past its date"),
            None if not_sterile(state, asset) => Say::new(
                "ready",
                "ready",
                format!("ready: disinfected, not sterile, {}", use_by(state, asset)),
            ),
            None => Say::new("ready", "ready", "ready"),
        },
        _ => {
            let sign = quarter(asset.next as usize, state.route_of(asset).len());
            let load = asset.in_load.as_ref().map(|load| format!(", in load {load}")).unwrap_or_default();
            Say::new(sign, "turn", format!("{words}{load}"))
        }
    }
}

/// Disinfection was the last step of its route: it is not sterile.
fn not_sterile(state: &State, asset: &Asset) -> bool {
    let route = state.route_of(asset);
    let has = |step: StepKind| route.iter().any(|on| on.step == step);
    has(StepKind::Disinfected) && !has(StepKind::Sterilised)
}

/// How long what is only disinfected may wait, as far as its maker's instructions say.
fn use_by(state: &State, asset: &Asset) -> String {
    match state.model(&asset.model).and_then(|model| model.limits.shelf_life_days) {
        Some(1) => "use within a day of its disinfection".into(),
        Some(days) => format!("use within {days} days of its disinfection"),
        None => "use by local policy".into(),
    }
}

/// How a set stands.
pub fn of_set(state: &State, status: &SetStatus, now: Time) -> Say {
    let short = some_of(&status.missing, 3);
    let expected =
        status.ready_at.map(|at| format!(", expected {}", time(state, at, now))).unwrap_or_default();
    match status.status {
        SetReadiness::Ready => Say::new("ready", "ready", "ready"),
        SetReadiness::ReadyShort => Say::new("ready_short", "ready", format!("ready, short of {short}")),
        SetReadiness::InTurn => Say::new("turn2", "turn", format!("in reprocessing{expected}")),
        SetReadiness::NotReady => Say::new("not_ready", "stop", format!("not ready, short of {short}")),
        SetReadiness::Held => Say::held("on hold"),
        SetReadiness::Out => {
            let parts = status.lines.iter().flat_map(|line| &line.present);
            let case = parts.filter_map(|asset| at_case(state, asset)).next();
            let case = case.map(|case| format!(", case {case}")).unwrap_or_default();
            Say::new("out", "ink", format!("out{case}"))
        }
    }
}

/// How a load stands by itself.
fn of_load(load: &Load) -> Say {
    let passed = load.judged.as_ref().map(|judged| judged.passed);
    match (load.status, passed) {
        (LoadStatus::Released, _) if load.waits_for_countersignature() => {
            Say::new("due", "due", "released alone, to be countersigned")
        }
        (LoadStatus::Released, _) => Say::new("ready", "ready", "released"),
        (LoadStatus::Rejected, _) => Say::new("retired", "stop", "rejected"),
        (_, Some(true)) => Say::new("turn3", "turn", "record passed, not decided"),
        (_, Some(false)) => Say::new("not_ready", "stop", "record failed, not decided"),
        (_, None) => Say::new("turn2", "turn", "running, no record yet"),
    }
}

/// How a load stands where its recall is known too: one that was released and is recalled is not "released".
pub fn of_load_now(state: &State, load: &Load) -> Say {
    match load.status {
        LoadStatus::Released if recalled(state, load, true) => Say::held("recalled; it was released"),
        LoadStatus::Released if recalled(state, load, false) => {
            Say::plain("released; it was recalled, and that is closed")
        }
        LoadStatus::Released | LoadStatus::Rejected | LoadStatus::Judged | LoadStatus::Running => {
            of_load(load)
        }
    }
}

fn recalled(state: &State, load: &Load, open: bool) -> bool {
    let mut these = state.recalls.values().filter(|it| it.loads.contains(&load.load));
    these.any(|it| it.is_open() == open)
}

/// What is said of a load that was released and waits for somebody's answer: that it is recalled comes first.
pub fn of_release(state: &State, load: &Load, say: Say) -> Say {
    match load.status == LoadStatus::Released && recalled(state, load, true) {
        true => Say::held(format!("recalled; {}", say.words)),
        false => say,
    }
}
