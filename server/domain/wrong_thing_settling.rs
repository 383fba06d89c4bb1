//! What stands against a report that the wrong thing was scanned, and what the lead's word makes of it: taken back where nothing
//! rests on it yet, else told anew as a late fact, with what that could not undo.

use super::command;
use super::correct::{self, Corrected, Recorded};
use super::deciding::Deciding;
use super::event::{Event, Noted, What};
use super::exposure::Exposure;
use super::fact::turn_then;
use super::hold::{HoldKind, HoldPlaced};
use super::id::{Id, next_free};
use super::model::{StepKind, reason_given, unknown};
use super::refusal::{Code, Problem};
use super::rested::rested;
use super::scan::Mode;
use super::state::Stage;
use super::text::Scan;
use super::wrong_thing::{
    ReportWrongThing, SettleWrongThing, Told, WrongThing, WrongThingReported, WrongThingSettled,
};

pub(super) fn act(deciding: &mut Deciding, act: &command::WrongThing) -> Option<What> {
    match act {
        command::WrongThing::Report(it) => report(deciding, it),
        command::WrongThing::Settle(it) => settle(deciding, it),
    }
}

fn report(deciding: &mut Deciding, it: &ReportWrongThing) -> Option<What> {
    let state = deciding.state;
    let Some((entry, event)) = deciding.asked.corrected.filter(|(entry, _)| entry.seq == it.entry) else {
        deciding.against(unknown("entry", &it.entry.to_string()));
        return None;
    };
    let named = named(event);
    if named.is_empty() {
        deciding.against(Problem::new(
            Code::OutOfOrder,
            format!(
                "Entry {} is \"{}\", which names no scanned part.",
                it.entry,
                entry.kind.replace('_', " ")
            ),
            "An entry that tells of a part that was scanned is needed.",
            "Use the command that undoes it, or tell the lead.",
        ));
    }
    let known = state.wrong_things.values().find(|told| {
        let confirmed = told.settled.as_ref().is_none_or(|settled| settled.confirmed);
        told.reported.entry == it.entry && confirmed
    });
    if let Some(known) = known {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} reported it already, as {}.", known.by, known.reported.report),
            "An entry of which that is not yet said is needed.",
            match known.is_open() {
                true => "The lead settles it; until then a look-back counts both things.",
                false => "The lead has settled it. What is still wrong is told as a late fact.",
            },
        ));
    }
    let meant = it.meant.as_ref().map(|scan| deciding.pick(scan, Mode::Fact)).unwrap_or_default();
    deciding.sets.clear();
    let turns = deciding.asked.turns;
    let meant: Vec<Noted> = meant
        .iter()
        .map(|part| Noted { asset: part.asset.asset.clone(), turn: turn_then(turns, &part.asset, entry.at) })
        .collect();
    if !meant.is_empty() && meant.iter().all(|one| named.contains(one)) {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("Entry {} names that very thing.", it.entry),
            "What the entry should have named is needed, where that is known.",
            "Scan the other part, or leave it out.",
        ));
    }
    let taken = |id: &Id| state.wrong_things.contains_key(id);
    let report = next_free("wrong-thing", 4, state.wrong_things.len(), taken)?;
    deciding.made = Some(report.clone());
    let (case, load, exposure) = place(&event.what);
    Some(What::WrongThingReported(WrongThingReported {
        report,
        entry: it.entry,
        kind: entry.kind.clone(),
        at: entry.at,
        named,
        meant,
        case,
        load,
        exposure,
        because: it.because.as_ref().map(|because| because.0.clone()),
    }))
}

/// The case or load at which an act was, and how what it named was exposed there. What was issued may have been opened.
fn place(what: &What) -> (Option<Id>, Option<Id>, Option<Exposure>) {
    match what {
        What::Issued(it) => (Some(it.case.clone()), None, Some(Exposure::Opened)),
        What::Opened(it) => (Some(it.case.clone()), None, Some(Exposure::Opened)),
        What::Used(it) => (Some(it.case.clone()), None, Some(Exposure::Used)),
        What::LoadStarted(it) => (None, Some(it.load.clone()), None),
        _ => (None, None, None),
    }
}

/// The parts that an act names, each in its turn; none where it is no act of scanned parts.
fn named(event: &Event) -> Vec<Noted> {
    let noted = |asset: &Id, turn: u32| Noted { asset: asset.clone(), turn };
    let mut all: Vec<Noted> = match &event.what {
        What::StepRecorded(it) => {
            it.parts.iter().map(|it| noted(&it.asset, it.turn)).chain(it.noted.iter().cloned()).collect()
        }
        What::PackBroken(it) => {
            it.parts.iter().map(|it| noted(&it.asset, it.turn)).chain(it.noted.iter().cloned()).collect()
        }
        What::Inspected(it) => it.parts.iter().map(|it| noted(&it.asset, it.turn)).collect(),
        What::Issued(it) => {
            it.parts.iter().map(|it| noted(&it.asset, it.turn)).chain(it.noted.iter().cloned()).collect()
        }
        What::Opened(it) | What::Used(it) => it.parts.iter().map(|it| noted(&it.asset, it.turn)).collect(),
        What::LoadStarted(it) => it.contents.iter().map(|it| noted(&it.asset, it.turn)).collect(),
        _ => Vec::new(),
    };
    all.sort_by(|a, b| (&a.asset, a.turn).cmp(&(&b.asset, b.turn)));
    all.dedup();
    all
}

fn settle(deciding: &mut Deciding, it: &SettleWrongThing) -> Option<What> {
    reason_given(deciding, &it.reason);
    let Some(open) = deciding.state.wrong_things.get(&it.report).cloned() else {
        deciding.against(unknown("report", it.report.as_str()));
        return None;
    };
    deciding.touches(Some(open.reported_at));
    if let Some(settled) = &open.settled {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} settled {} already: {}", settled.by, it.report, settled.reason),
            "A report that waits is needed.",
            "Nothing needs to be done.",
        ));
        return None;
    }
    let mut done = WrongThingSettled {
        report: it.report.clone(),
        confirmed: it.confirmed,
        reason: it.reason.0.clone(),
        corrected: None,
        told: None,
        stands: Vec::new(),
        holds: Vec::new(),
    };
    if it.confirmed {
        confirm(deciding, &open, it.instead.as_ref(), &mut done)?;
    }
    Some(What::WrongThingSettled(done))
}

fn confirm(
    deciding: &mut Deciding,
    open: &WrongThing,
    instead: Option<&Scan>,
    done: &mut WrongThingSettled,
) -> Option<()> {
    let seq = open.reported.entry;
    let Some((entry, event)) = deciding.asked.corrected.filter(|(entry, _)| entry.seq == seq) else {
        deciding.against(unknown("entry", &seq.to_string()));
        return None;
    };
    let meant = Scan(open.reported.meant.iter().map(|part| part.asset.to_string()).collect());
    let instead = instead.cloned().or_else(|| (!meant.0.is_empty()).then_some(meant));
    if let Some(scan) = &instead {
        // What nobody knows is told before anything else is tried.
        deciding.pick(scan, Mode::Fact);
        deciding.sets.clear();
    }
    let last = correct::touched(deciding.state, event).iter().all(|(_, last)| *last == seq);
    if last && correct::correctable(&event.what) {
        let instead = match &instead {
            None => None,
            Some(scan) => Some(correct::done_instead(deciding, seq, &event.what, scan)?),
        };
        let undone = Recorded(Box::new(event.what.clone()));
        let at = instead.is_some().then_some(entry.at);
        done.corrected = Some(Corrected { entry: seq, reason: done.reason.clone(), undone, instead, at });
        return Some(());
    }
    deciding.deviates(Code::NotLast);
    if let Some(scan) = &instead {
        done.told = told_late(deciding, event, entry.at, scan).map(|act| Told { at: entry.at, act });
    }
    let but = open.reported.case.as_ref();
    let rests = |part: &Noted| rested(deciding.state, part, entry.at, but);
    done.stands = open.reported.named.iter().map(rests).collect();
    let doubted = in_doubt(deciding, &event.what, &open.reported.named);
    if !doubted.is_empty()
        && let Some(hold) = deciding.new_hold()
    {
        let reason = format!("entry {seq} named it by mistake, and what it is now rests on that");
        done.holds.push(HoldPlaced {
            hold,
            kind: HoldKind::Quality,
            reason,
            assets: doubted,
            notice: None,
            dedicated_to: None,
        });
    }
    Some(())
}

/// The same act as a late fact about the thing meant. What the record has of it already, or could not hold, is told as a
/// deviation: the correction itself stands.
fn told_late(deciding: &mut Deciding, event: &Event, at: super::time::Time, scan: &Scan) -> Option<Recorded> {
    let act = correct::same_act(&event.what, scan)?;
    let at = (act, Some(at));
    correct::told_late(deciding, deciding.state, at, |deciding, problem| deciding.deviates(problem.code))
}

/// Parts that are still in the turn of the act, and went on as if it had been done to them: cleaning, disinfection,
/// inspection, packing or a load that was another part's.
fn in_doubt(deciding: &Deciding, what: &What, named: &[Noted]) -> Vec<Id> {
    let made = match what {
        What::StepRecorded(it) => it.step >= StepKind::Cleaned,
        What::Inspected(_) | What::LoadStarted(_) => true,
        _ => false,
    };
    let in_turn = |part: &&Noted| {
        let asset = deciding.state.assets.get(&part.asset);
        asset.is_some_and(|asset| {
            asset.turn == part.turn && asset.stage >= Stage::Cleaned && asset.retired.is_none()
        })
    };
    named.iter().filter(|_| made).filter(in_turn).map(|part| part.asset.clone()).collect()
}
