//! Under which things an entry is found again, and which parts it names.

use super::dedicate::Dedicated;
use super::event::{Event, Moved, Noted, Thing, What};
use super::history_visits::{of_stock, of_strangers};
use super::id::Id;
use super::recall::Recalled;
use super::state::State;
use super::step::StepRecorded;
use super::wrong_thing::{WrongThingReported, WrongThingSettled};

/// The things whose history an event belongs to, but for sets that were scanned: those stand beside the event, and a
/// part that came with its set is found through the set.
pub(super) fn things(what: &What) -> Vec<Thing> {
    match what {
        What::SiteFounded(_) | What::PolicySet(_) | What::ReserveSet(_) | What::RouteDefined(_) => Vec::new(),
        What::ModelDefined(_) | What::CountSheetDefined(_) => Vec::new(),
        What::ModelCostsSet(_) | What::LifeLimitSet(_) | What::ExceptionsReviewed(_) => Vec::new(),
        What::InspectionRequested(it) => alone(it.parts.iter().map(|part| &part.asset)),
        What::MachineDefined(_)
        | What::MachineOut(_)
        | What::MachineBack(_)
        | What::MachineTested(_)
        | What::RecordFormDefined(_)
        | What::FlagCleared(_) => at_machines(what),
        What::AssetAdded(_) | What::AssetMeasured(_) | What::MarkGiven(_) => of_parts(what),
        What::FitConfirmed(_) | What::PutAway(_) | What::Retired(_) => of_parts(what),
        What::SetBuilt(_) | What::PutInSet(_) | What::TakenFromSet(_) => of_parts(what),
        What::Replaced(_) => of_parts(what),
        What::HoldPlaced(it) => alone(it.assets.iter()),
        What::HoldLifted(it) => alone(it.assets.iter()),
        What::Dedicated(it) => dedicated(it),
        What::StepRecorded(it) => step_recorded(it),
        What::Inspected(it) => alone(it.parts.iter().map(|part| &part.asset)),
        What::PackBroken(it) => moved_or_noted(&it.parts, &it.noted),
        What::LoadStarted(_)
        | What::LoadJudged(_)
        | What::IndicatorRecorded(_)
        | What::LoadReleased(_)
        | What::LoadRejected(_)
        | What::Countersigned(_) => of_loads(what),
        What::CasePlanned(_) | What::CaseChanged(_) | What::CaseCancelled(_) => at_cases(what),
        What::Promised(_) | What::PromiseWithdrawn(_) | What::PatientErased(_) => at_cases(what),
        What::ConfigurationChosen(_) | What::Issued(_) | What::Opened(_) => at_cases(what),
        What::Used(_) | What::CountClosed(_) | What::Checked(_) => at_cases(what),
        What::Counted(_) | What::ProceduresApplied(_) | What::LineClosed(_) => at_cases(what),
        What::TakenOver(it) => vec![super::signing::handovers(it.area)],
        What::ProcedureMapped(_) | What::AlertSet(_) | What::AlertDropped(_) => Vec::new(),
        What::SheetsPrinted(_) | What::SheetVoided(_) | What::SheetFinished(_) => of_paper(what),
        What::WrongThingReported(_) | What::WrongThingSettled(_) => of_paper(what),
        What::ScheduleKept(it) => of_line(&it.line, it.case.as_ref()),
        What::ScheduleSettled(it) => it.lines().flat_map(|line| of_line(line, it.case.as_ref())).collect(),
        What::RequestSent(_) | What::RequestAnswered(_) | What::RequestWithdrawn(_) => of_request(what),
        What::Arrived(_) | What::LoanLeft(_) | What::StrangerReceived(_) => of_strangers(what),
        What::OwnerTold(_) | What::StrangerSettled(_) => of_strangers(what),
        What::IdentityDoubted(_) | What::IdentitySettled(_) => of_strangers(what),
        What::StockTakenIn(_) | What::StockTakenOut(_) | What::StockUsed(_) | What::StockMinimumSet(_) => {
            of_stock(what)
        }
        What::MissingReported(_)
        | What::Found(_)
        | What::MissingClosed(_)
        | What::FindingReported(_)
        | What::FindingWithdrawn(_)
        | What::PhotoAdded(_)
        | What::SentToRepair(_)
        | What::BackFromRepair(_)
        | What::LookBackOpened(_)
        | What::LookBackClosed(_)
        | What::Recalled(_)
        | What::RecallNarrowed(_)
        | What::RecallAnswered(_)
        | What::RecallClosed(_)
        | What::Corrected(_) => beside_the_loop(what),
    }
}

fn dedicated(it: &Dedicated) -> Vec<Thing> {
    let case = it.hold.dedicated_to.iter().map(|case| Thing::case(case.as_str()));
    alone(it.hold.assets.iter()).into_iter().chain(case).collect()
}

fn of_parts(what: &What) -> Vec<Thing> {
    let asset = |id: &Id| vec![Thing::asset(id.as_str())];
    match what {
        What::AssetAdded(it) => asset(&it.asset),
        What::PutAway(it) => {
            let noted = it.noted.iter().map(|noted| &noted.asset);
            alone(it.parts.iter().map(|part| &part.asset).chain(noted))
        }
        What::AssetMeasured(it) => asset(&it.asset),
        What::MarkGiven(it) => asset(&it.asset),
        What::FitConfirmed(it) => alone(it.parts.iter().flatten()),
        What::Retired(it) => retired(it),
        What::SetBuilt(it) => vec![Thing::set(it.set.as_str())],
        What::PutInSet(it) | What::TakenFromSet(it) => {
            let mut all = alone(it.moved.iter().map(|moved| &moved.asset));
            all.push(Thing::asset(it.asset.as_str()));
            all.push(Thing::set(it.seat.set.as_str()));
            all
        }
        What::Replaced(it) => {
            let mut all = alone(it.moved.iter().map(|moved| &moved.asset));
            all.extend([Thing::asset(it.old.as_str()), Thing::asset(it.new.as_str())]);
            all.push(Thing::set(it.seat.set.as_str()));
            all
        }
        _ => Vec::new(),
    }
}

fn retired(it: &super::asset::Retired) -> Vec<Thing> {
    let seat = it.seat.iter().map(|seat| Thing::set(seat.set.as_str()));
    std::iter::once(Thing::asset(it.asset.as_str())).chain(seat).collect()
}

fn of_loads(what: &What) -> Vec<Thing> {
    match what {
        What::LoadStarted(it) => {
            let mut all = alone(it.contents.iter().map(|part| &part.asset));
            all.push(Thing::load(it.load.as_str()));
            all.push(Thing::machine(it.machine.as_str()));
            all.extend(it.immediate_use.iter().map(|asked| Thing::case(asked.case.as_str())));
            all
        }
        What::LoadJudged(it) => vec![Thing::load(it.load.as_str())],
        What::IndicatorRecorded(it) => {
            let mut all = vec![Thing::load(it.load.as_str())];
            all.extend(it.recall.iter().flat_map(recalled));
            all
        }
        What::LoadReleased(it) => {
            let mut all = with_load(&it.load, &it.parts);
            all.extend(it.issued_to.iter().map(|case| Thing::case(case.as_str())));
            all
        }
        What::LoadRejected(it) => with_load(&it.load, &it.parts),
        What::Countersigned(it) => vec![Thing::load(it.load.as_str())],
        _ => Vec::new(),
    }
}

fn at_machines(what: &What) -> Vec<Thing> {
    let machine = |id: &Id| vec![Thing::machine(id.as_str())];
    match what {
        What::MachineDefined(it) => machine(&it.machine),
        What::MachineOut(it) => machine(&it.machine),
        What::MachineBack(it) => machine(&it.machine),
        What::MachineTested(it) => {
            let mut all = machine(&it.test.machine);
            all.extend(it.recall.iter().flat_map(recalled));
            all
        }
        What::RecordFormDefined(it) => machine(&it.machine),
        What::FlagCleared(it) => machine(&it.machine),
        _ => Vec::new(),
    }
}

fn at_cases(what: &What) -> Vec<Thing> {
    match what {
        What::CasePlanned(it) => vec![Thing::case(it.case.as_str())],
        What::CaseChanged(it) => at_case(&it.case, it.holds.iter().flat_map(|hold| &hold.assets)),
        What::CaseCancelled(it) => vec![Thing::case(it.case.as_str())],
        What::Promised(it) | What::PromiseWithdrawn(it) => {
            vec![Thing::case(it.case.as_str()), Thing::set(it.set.as_str())]
        }
        What::ConfigurationChosen(it) => vec![Thing::case(it.case.as_str())],
        What::PatientErased(it) => {
            let case = it.case.iter().map(|case| Thing::case(case.as_str()));
            let line = it.schedule_line.iter().map(|line| Thing::schedule_line(line.as_str()));
            case.chain(it.load.iter().map(|load| Thing::load(load.as_str()))).chain(line).collect()
        }
        What::Issued(it) => {
            let noted = it.noted.iter().map(|noted| &noted.asset);
            at_case(&it.case, it.parts.iter().map(|part| &part.asset).chain(noted))
        }
        What::Opened(it) | What::Used(it) => {
            at_case(&it.case, it.parts.iter().map(|part| &part.asset).chain(&it.not_used))
        }
        What::CountClosed(it) => at_case(&it.case, it.parts.iter().map(|part| &part.asset)),
        What::Checked(it) => at_case(&it.case, it.lines.iter().filter_map(|line| line.asset.as_ref())),
        What::Counted(it) => {
            let mut all = alone(it.lacked.iter().map(|lacked| &lacked.asset).chain(&it.broken));
            all.extend(it.case.iter().map(|case| Thing::case(case.as_str())));
            all.extend(it.set.iter().map(|set| Thing::set(set.as_str())));
            all
        }
        What::LineClosed(it) => vec![Thing::case(it.case.as_str())],
        What::ProceduresApplied(it) => it.cases.iter().map(|it| Thing::case(it.case.as_str())).collect(),
        _ => Vec::new(),
    }
}

fn beside_the_loop(what: &What) -> Vec<Thing> {
    match what {
        What::MissingReported(it) => alone(std::iter::once(&it.asset)),
        What::Found(it) => alone(std::iter::once(&it.asset)),
        What::MissingClosed(it) => alone(std::iter::once(&it.asset)),
        What::FindingReported(it) => alone(std::iter::once(&it.asset)),
        What::FindingWithdrawn(it) => {
            let mut all = alone(std::iter::once(&it.asset));
            all.extend(it.case.iter().map(|case| Thing::case(case.as_str())));
            all
        }
        What::PhotoAdded(it) => alone(std::iter::once(&it.asset)),
        What::SentToRepair(it) => {
            let mut all = alone(it.moved.iter().map(|moved| &moved.asset));
            all.push(Thing::asset(it.asset.as_str()));
            all
        }
        What::BackFromRepair(it) => alone(std::iter::once(&it.asset)),
        What::Corrected(it) => {
            let [undone, instead] = super::correct::named(it);
            let mut all = things(undone);
            all.extend(things(instead));
            all
        }
        What::LookBackOpened(it) => vec![Thing::look_back(it.look_back.as_str())],
        What::LookBackClosed(it) => vec![Thing::look_back(it.look_back.as_str())],
        What::Recalled(it) => recalled(it),
        What::RecallNarrowed(it) => with_recall(&it.recall, it.lifted.iter()),
        What::RecallAnswered(it) => {
            let mut all = with_recall(&it.recall, it.assets.iter());
            all.extend(it.cases.iter().map(|case| Thing::case(case.as_str())));
            all
        }
        What::RecallClosed(it) => with_recall(&it.recall, std::iter::empty()),
        _ => Vec::new(),
    }
}

fn of_request(what: &What) -> Vec<Thing> {
    match what {
        What::RequestSent(it) => vec![Thing::case(it.asks.case.as_str())],
        What::RequestAnswered(it) => vec![Thing::case(it.case.as_str())],
        What::RequestWithdrawn(it) => vec![Thing::case(it.case.as_str())],
        _ => Vec::new(),
    }
}

/// Sheets of paper, and what was said of an entry.
fn of_paper(what: &What) -> Vec<Thing> {
    match what {
        What::SheetsPrinted(it) => it.sheets.iter().map(|it| Thing::paper_sheet(it.sheet.as_str())).collect(),
        What::SheetVoided(it) => vec![Thing::paper_sheet(it.sheet.as_str())],
        What::SheetFinished(it) => vec![Thing::paper_sheet(it.sheet.as_str())],
        What::WrongThingReported(it) => reported_wrong(it),
        What::WrongThingSettled(it) => settled_wrong(it),
        _ => Vec::new(),
    }
}

fn reported_wrong(it: &WrongThingReported) -> Vec<Thing> {
    let mut all = alone(it.named.iter().chain(&it.meant).map(|part| &part.asset));
    all.extend(it.case.iter().map(|case| Thing::case(case.as_str())));
    all.extend(it.load.iter().map(|load| Thing::load(load.as_str())));
    all
}

fn settled_wrong(it: &WrongThingSettled) -> Vec<Thing> {
    let mut all = alone(it.stands.iter().map(|part| &part.asset));
    if let Some(corrected) = &it.corrected {
        all.extend(super::correct::named(corrected).into_iter().flat_map(things));
    }
    all.extend(it.told.iter().flat_map(|told| things(&told.act.0)));
    all
}

fn of_line(line: &Id, case: Option<&Id>) -> Vec<Thing> {
    let case = case.map(|case| Thing::case(case.as_str()));
    std::iter::once(Thing::schedule_line(line.as_str())).chain(case).collect()
}

fn step_recorded(it: &StepRecorded) -> Vec<Thing> {
    let mut all = moved_or_noted(&it.parts, &it.noted);
    all.extend(alone(it.taken_out.iter().map(|out| &out.asset)));
    all
}

pub(super) fn alone<'a>(ids: impl Iterator<Item = &'a Id>) -> Vec<Thing> {
    ids.map(|id| Thing::asset(id.as_str())).collect()
}

fn moved_or_noted(moved: &[Moved], noted: &[Noted]) -> Vec<Thing> {
    alone(moved.iter().map(|part| &part.asset).chain(noted.iter().map(|part| &part.asset)))
}

fn at_case<'a>(case: &Id, parts: impl Iterator<Item = &'a Id>) -> Vec<Thing> {
    let mut all = alone(parts);
    all.push(Thing::case(case.as_str()));
    all
}

fn with_recall<'a>(recall: &Id, parts: impl Iterator<Item = &'a Id>) -> Vec<Thing> {
    let mut all = alone(parts);
    all.push(Thing::recall(recall.as_str()));
    all
}

fn recalled(it: &Recalled) -> Vec<Thing> {
    let mut all = with_recall(&it.recall, it.assets.iter());
    all.push(Thing::machine(it.machine.as_str()));
    all.extend(it.loads.iter().map(|load| Thing::load(load.as_str())));
    all
}

fn with_load(load: &Id, parts: &[Moved]) -> Vec<Thing> {
    let mut all = alone(parts.iter().map(|part| &part.asset));
    all.push(Thing::load(load.as_str()));
    all
}

impl Event {
    /// Whether the event names this part: moved, noted, opened, held, put or taken.
    pub fn names(&self, asset: &str) -> bool {
        things(&self.what).iter().any(|thing| thing.kind == "asset" && thing.name == asset)
            || self.beside.also_opened.iter().any(|id| id.as_str() == asset)
    }

    /// The rows of history that the entry leaves: a set that was scanned stands for the members the event names, so
    /// these need no row of their own.
    pub fn history(&self, member_of_scanned: impl Fn(&str) -> bool) -> Vec<Thing> {
        let mut all = self.things();
        // Who was robbed finds it too; what it touched stays as it is.
        let robs = match &self.what {
            What::Issued(it) => it.robs.as_slice(),
            What::LoadReleased(it) => it.robs.as_slice(),
            _ => &[],
        };
        all.extend(robs.iter().map(|robbed| Thing::case(robbed.case.as_str())));
        if !self.beside.sets.is_empty() {
            all.retain(|thing| thing.kind != "asset" || !member_of_scanned(&thing.name));
        }
        all
    }
}

/// The things under which an entry is found again, told with the state after it.
pub fn found_under(state: &State, event: &Event) -> Vec<Thing> {
    let mut all = event.history(|asset| {
        let seat = state.assets.get(asset).and_then(|asset| asset.seat.as_ref());
        seat.is_some_and(|seat| event.beside.sets.contains(&seat.set))
    });
    if let Some(sheet) = event.beside.late.as_ref().and_then(|late| late.sheet.as_ref()) {
        let number = super::paper::number(sheet.as_str());
        let sheet = Thing::paper_sheet(number.as_ref().map_or(sheet.as_str(), Id::as_str));
        if !all.contains(&sheet) {
            all.push(sheet);
        }
    }
    if event.beside.is_odd() {
        all.extend(super::odd::things(&super::odd::month(state, state.recorded_at), &event.beside));
    }
    all
}

/// Everything that an event names: the parts of a scanned set one by one.
pub(super) fn all_things(event: &Event) -> Vec<Thing> {
    let mut all = things(&event.what);
    all.extend(event.beside.also_opened.iter().map(|asset| Thing::asset(asset.as_str())));
    all
}
