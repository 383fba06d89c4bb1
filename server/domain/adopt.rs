//! Takes loads and cases as they were read from their rows. Names are shared with the things that have them.

use std::sync::Arc;

use super::case::Case;
use super::id::Id;
use super::load::Load;
use super::programme::Programme;
use super::state::State;

impl State {
    /// Takes a load as it was read. Names are shared with the things that have them: each was read as often as it
    /// stands somewhere, and there are years of loads.
    pub fn adopt_load(&mut self, mut load: Load) {
        if let Some(machine) = self.machines.get(&load.machine) {
            load.machine = machine.machine.clone();
        }
        load.programme = self.shared_programme(&load.machine, &load.programme);
        load.started_by = self.code(&load.started_by);
        load.decided_by = load.decided_by.map(|by| self.code(&by));
        if let Some(judged) = &mut load.judged {
            judged.by = self.code(&judged.by);
        }
        load.indicators.iter_mut().for_each(|indicator| indicator.by = self.code(&indicator.by));
        load.indicators.shrink_to_fit();
        load.contents.shrink_to_fit();
        for part in &mut load.contents {
            part.asset = self.shared(&part.asset);
        }
        self.loads.insert(load.load.clone(), Arc::new(load));
    }

    /// Takes a case as it was read.
    pub fn adopt_case(&mut self, mut case: Case) {
        let parts = std::mem::take(&mut case.parts);
        case.parts = parts.with_ids(|id| self.shared(id));
        let sheet =
            |id: &Id| self.sheets.get(id).map_or_else(|| id.clone(), |sheet| sheet.count_sheet.clone());
        case.needs = case.needs.iter().map(sheet).collect();
        case.promised.shrink_to_fit();
        self.cases.insert(case.case.clone(), Arc::new(case));
    }

    /// A person's code as it stands in memory already.
    pub fn code(&mut self, code: &str) -> Arc<str> {
        if let Some(known) = self.codes.get(code) {
            return known.clone();
        }
        let shared: Arc<str> = Arc::from(code);
        self.codes.insert(shared.clone());
        shared
    }

    /// A programme as its machine has it, where the machine still has it so.
    pub fn shared_programme(&self, machine: &Id, programme: &Programme) -> Arc<Programme> {
        let known = self.machines.get(machine);
        let known = known.and_then(|known| known.programmes.iter().find(|it| ***it == *programme));
        known.cloned().unwrap_or_else(|| Arc::new(programme.clone()))
    }

    fn shared(&self, id: &Id) -> Id {
        self.assets.get(id).map_or_else(|| id.clone(), |asset| asset.asset.clone())
    }
}
