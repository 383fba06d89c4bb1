//! Under which things an entry is found again, and which parts it names.

use super::event::{Event, Moved, Noted, Thing, What};
use super::id::Id;

/// The things whose history an event belongs to, but for sets that were scanned: those stand beside the event, and a
/// part that came with its set is found through the set.
pub(super) fn things(what: &What) -> Vec<Thing> {
    let asset = |id: &Id| vec![Thing::asset(id.as_str())];
    let machine = |id: &Id| vec![Thing::machine(id.as_str())];
    match what {
        What::SiteFounded(_) | What::PolicySet(_) | What::ReserveSet(_) | What::RouteDefined(_) => Vec::new(),
        What::ModelDefined(_) | What::CountSheetDefined(_) => Vec::new(),
        What::MachineDefined(it) => machine(&it.machine),
        What::MachineOut(it) => machine(&it.machine),
        What::MachineBack(it) => machine(&it.machine),
        What::MachineTested(it) => machine(&it.test.machine),
        What::AssetAdded(it) => asset(&it.asset),
        What::PutAway(it) => {
            let noted = it.noted.iter().map(|noted| &noted.asset);
            alone(it.parts.iter().map(|part| &part.asset).chain(noted))
        }
        What::Retired(it) => {
            let mut all = asset(&it.asset);
            all.extend(it.seat.iter().map(|seat| Thing::set(seat.set.as_str())));
            all
        }
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
        What::HoldPlaced(it) => alone(it.assets.iter()),
        What::HoldLifted(it) => alone(it.assets.iter()),
        What::StepRecorded(it) => {
            let mut all = moved_or_noted(&it.parts, &it.noted);
            all.extend(alone(it.taken_out.iter().map(|out| &out.asset)));
            all
        }
        What::Inspected(it) => alone(it.parts.iter().map(|part| &part.asset)),
        What::PackBroken(it) => moved_or_noted(&it.parts, &it.noted),
        What::LoadStarted(it) => {
            let mut all = alone(it.contents.iter().map(|part| &part.asset));
            all.push(Thing::load(it.load.as_str()));
            all.push(Thing::machine(it.machine.as_str()));
            all
        }
        What::LoadJudged(it) => vec![Thing::load(it.load.as_str())],
        What::IndicatorRecorded(it) => vec![Thing::load(it.load.as_str())],
        What::LoadReleased(it) => with_load(&it.load, &it.parts),
        What::LoadRejected(it) => with_load(&it.load, &it.parts),
    }
}

fn alone<'a>(ids: impl Iterator<Item = &'a Id>) -> Vec<Thing> {
    ids.map(|id| Thing::asset(id.as_str())).collect()
}

fn moved_or_noted(moved: &[Moved], noted: &[Noted]) -> Vec<Thing> {
    alone(moved.iter().map(|part| &part.asset).chain(noted.iter().map(|part| &part.asset)))
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
        if !self.beside.sets.is_empty() {
            all.retain(|thing| thing.kind != "asset" || !member_of_scanned(&thing.name));
        }
        all
    }
}
