//! The few words with which a defect is told in ten seconds, by the family of the part; and what became of a report.

use serde::Serialize;

use super::finding::{Finding, Severity};
use super::model::Family::{self, *};
use super::state::State;
use super::time::Time;

/// What is asked further before it is laid to the telescope: cable, source or camera may be what is dim.
pub const DIM: &str = "image dim";

/// Modes of failure from the families' published and common ones: a telescope's fibres, seal, lenses, shaft and window;
/// a cable's fibres and jacket; a cap's tear and enlarged hole; jaws that do not meet; a blocked suction tube.
pub fn words(family: Family) -> &'static [&'static str] {
    match family {
        Telescope => &[DIM, "foggy", "dark crescent", "bent", "window chipped", "scratched", "residue"],
        LightCable => &["light dim", "jacket torn", "end burnt", "loose", "residue"],
        LightSource => &["light dim", "flickers", "does not start"],
        CameraHead => &["no picture", "foggy", "loose", "cable torn", "button fails", "residue"],
        Cap => &["torn", "hole too wide", "hard", "does not seal", "residue"],
        Window => &["cracked", "foggy", "does not seal", "residue"],
        Forceps => &["jaws do not meet", "loose", "bent", "stiff", "piece missing", "residue"],
        SuctionTube => &["blocked", "bent", "tip rough", "residue"],
        Bronchoscope | Tracheoscope | Obturator | Dilator => {
            &["bent", "edge rough", "dented", "does not lock", "residue"]
        }
        Head | AnaesthesiaConnector | PortAdapter => {
            &["does not lock", "loose", "leaks", "ring missing", "residue"]
        }
        JetAdapter | Injector => &["does not lock", "leaks", "blocked", "residue"],
        MouthGuard => &["torn", "does not fit", "residue"],
        StentPlacer => &["bent", "stiff", "does not release", "residue"],
        Container => &["does not close", "dented", "seal torn", "filter missing"],
        Accessory => &["bent", "loose", "broken", "blocked", "residue"],
    }
}

/// How bad a word is, unless somebody says otherwise: what is wrong with an instrument keeps it from use, but for what
/// only shows that it ages.
pub fn severity(word: &str) -> Severity {
    match word {
        "scratched" | "button fails" => Severity::Watch,
        _ => Severity::Stop,
    }
}

/// What became of a report, as the person who made it hears it.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "fate", rename_all = "snake_case")]
pub enum Fate {
    Withdrawn,
    /// Taken back by a correction: it named the wrong thing.
    Corrected,
    /// On hold until somebody lifts it.
    Held {
        hold: super::id::Id,
    },
    /// Nobody has looked into it yet.
    Waits,
    InRepair {
        since: Time,
        reason: String,
    },
    Retired {
        at: Time,
        cause: &'static str,
    },
    /// Its hold was lifted.
    Lifted {
        at: Time,
    },
    Repaired {
        at: Time,
        work: Option<String>,
    },
    Passed {
        at: Time,
    },
}

/// The first that applies, the gravest first; a repair or an inspection counts where it came after the report.
pub fn fate(state: &State, finding: &Finding) -> Fate {
    if finding.withdrawn_at.is_some() {
        return Fate::Withdrawn;
    }
    if finding.taken_back {
        return Fate::Corrected;
    }
    let Some(asset) = state.assets.get(&finding.asset) else { return Fate::Waits };
    if let Some(retired) = &asset.retired {
        return Fate::Retired { at: retired.at, cause: retired.cause.name() };
    }
    let after = |at: Time| at >= finding.at;
    let repairs = state.repairs.values().filter(|it| it.asset == finding.asset && after(it.sent_at));
    let last = repairs.max_by_key(|it| it.sent_at);
    if let Some(repair) = last.filter(|it| it.back_at.is_none()) {
        return Fate::InRepair { since: repair.sent_at, reason: repair.reason.clone() };
    }
    if let Some(hold) = &finding.hold
        && asset.holds.iter().any(|held| held.hold == *hold)
    {
        return Fate::Held { hold: hold.clone() };
    }
    if let Some((at, work)) = last.and_then(|it| it.back_at.map(|at| (at, it.work.clone()))) {
        return Fate::Repaired { at, work };
    }
    if let Some(at) = finding.hold.as_ref().and_then(|hold| state.holds.get(hold)?.lifted_at) {
        return Fate::Lifted { at };
    }
    match asset.inspected.as_ref().map(|inspected| inspected.at).filter(|at| after(*at)) {
        Some(at) => Fate::Passed { at },
        None => Fate::Waits,
    }
}

impl State {
    /// The reports about a part that nobody has looked into yet, the gravest first.
    pub fn open_findings(&self, asset: &super::id::Id) -> Vec<&Finding> {
        let of = self.findings.values().filter(|it| it.asset == *asset && self.is_open(it));
        let mut all: Vec<&Finding> = of.map(|it| &**it).collect();
        all.sort_by_key(|it| std::cmp::Reverse((it.severity, it.at)));
        all
    }
}
