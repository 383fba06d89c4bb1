//! Where an act takes a part: forward along its route, back before a step, or into its next turn.

use super::event::{Moved, Was};
use super::id::Id;
use super::model::{RouteStep, StepKind};
use super::state::{Asset, Stage, State};

impl State {
    /// The route on which a model's next turn begins: its name, version and steps.
    pub fn current_route(&self, model: &Id) -> (Option<Id>, u32, &[RouteStep]) {
        let Some(model) = self.models.get(model) else {
            return (None, 0, &[]);
        };
        match self.routes.get(&model.route) {
            Some(versions) => (
                Some(model.route.clone()),
                versions.len() as u32,
                versions.last().map_or(&[], |steps| &steps[..]),
            ),
            None => (Some(model.route.clone()), 0, &[]),
        }
    }
}

impl Asset {
    fn moved(&self, to: Stage, next: u32) -> Moved {
        Moved {
            asset: self.asset.clone(),
            turn: self.turn,
            from: self.stage,
            from_next: self.next,
            to,
            next,
            was: None,
            pack: None,
            sterile_until: None,
        }
    }

    fn was(&self) -> Box<Was> {
        Box::new(Was {
            turn: self.turn,
            turn_began_at: self.turn_began_at,
            route: self.route.clone(),
            route_version: self.route_version,
            pack: self.pack.clone(),
            packaging: self.packaging.clone(),
            load: self.load.clone(),
            in_load: self.in_load.clone(),
            sterile_until: self.sterile_until,
            cool_at: self.cool_at,
        })
    }

    /// Past a step of this turn's route. After the last one it is ready.
    pub fn advanced(&self, state: &State, step: StepKind) -> Moved {
        let route = state.route_of(self);
        let (to, next) = past(route, step, self.next);
        let mut moved = self.moved(to, next);
        if step == StepKind::Packed {
            moved.pack = self.pack_text(state);
        }
        moved
    }

    /// The pack that the count sheet puts this part into.
    fn pack_text(&self, state: &State) -> Option<String> {
        let seat = self.seat.as_ref()?;
        let sheet = state.sets.get(&seat.set).and_then(|set| state.sheets.get(&set.count_sheet))?;
        Some(sheet.line(&seat.line).map_or(super::set::TRAY, |line| line.pack.as_str()).to_string())
    }

    /// Into the next turn, on the model's present route, past a step that begins it.
    pub fn next_turn(&self, state: &State, step: StepKind) -> Moved {
        let (_, _, route) = state.current_route(&self.model);
        let (to, next) = past(route, step, 0);
        Moved { turn: self.turn + 1, was: Some(self.was()), ..self.moved(to, next) }
    }

    /// Back to before a step of this turn's route; where the route has it not, before the first act that cleans.
    pub fn back_before(&self, state: &State, step: StepKind) -> Moved {
        let route = state.route_of(self);
        let at = |wanted: StepKind| route.iter().position(|on| on.step == wanted);
        let to = at(step).or_else(|| {
            let soonest = [StepKind::Cleaned, StepKind::Ultrasonic, StepKind::Disinfected];
            if step == StepKind::Cleaned {
                soonest.into_iter().filter_map(at).min()
            } else {
                route.len().checked_sub(1)
            }
        });
        let to = to.unwrap_or(0);
        let before = to.checked_sub(1).and_then(|last| route.get(last));
        let stage = before.map_or(Stage::Soiled, |before| Stage::after(before.step));
        Moved { was: Some(self.was()), ..self.moved(stage, to as u32) }
    }

    /// Out of the store, to a case. Its pack stays closed.
    pub fn issued(&self) -> Moved {
        self.moved(Stage::Issued, self.next)
    }

    /// Out of the chamber to a case at once: it is never in the store.
    pub fn issued_from_chamber(&self, state: &State) -> Moved {
        let (_, next) = past(state.route_of(self), StepKind::Sterilised, self.next);
        self.moved(Stage::Issued, next)
    }

    /// Whether it has gone through the whole of its route. What a late entry issued had perhaps not.
    pub fn has_come_round(&self, state: &State) -> bool {
        self.next as usize >= state.route_of(self).len()
    }

    /// Back into the store: its pack was not opened.
    pub fn back_ready(&self) -> Moved {
        self.moved(Stage::Ready, self.next)
    }

    /// Opened or used at a case.
    pub fn in_use(&self) -> Moved {
        Moved { was: Some(self.was()), ..self.moved(Stage::InUse, self.next) }
    }

    /// Back from a case: its next turn begins.
    pub fn next_turn_soiled(&self) -> Moved {
        Moved { turn: self.turn + 1, was: Some(self.was()), ..self.moved(Stage::Soiled, 0) }
    }

    /// Back in the house after it was away: soiled, whatever it was. What was ready or out begins its next turn.
    pub fn returned_soiled(&self) -> Moved {
        if matches!(self.stage, Stage::Ready | Stage::Issued | Stage::InUse) {
            return self.next_turn_soiled();
        }
        Moved { was: Some(self.was()), ..self.moved(Stage::Soiled, 0) }
    }

    /// Its pack is open: back before packing, or, where it was out at a case, opened there.
    pub fn back_before_packed(&self, state: &State) -> Moved {
        if self.stage == Stage::Issued {
            return Moved { was: Some(self.was()), ..self.moved(Stage::InUse, self.next) };
        }
        self.back_before(state, StepKind::Packed)
    }
}

/// The stage after a step, and the place of the next one. A step that the route has not leaves the place behind
/// everything that comes before it.
fn past(route: &[RouteStep], step: StepKind, next: u32) -> (Stage, u32) {
    let at = route.iter().position(|on| on.step == step);
    let then = match at {
        Some(at) => at as u32 + 1,
        None => {
            let before = route.iter().take_while(|on| on.step < step).count() as u32;
            before.max(next)
        }
    };
    let last = then as usize >= route.len();
    (if last { Stage::Ready } else { Stage::after(step) }, then)
}
