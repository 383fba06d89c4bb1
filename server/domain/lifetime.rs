//! Lives of parts, as the ledger tells them: from the age at which a part came under observation to the age at which it
//! failed, or to the last age at which it is known to have been whole.
//!
//! A failure is a retirement, or a replacement, that says so. What an inspection found happened somewhere between the last
//! inspection that the part passed and the one that found it. What was seen in use is exact: a defect report from a case,
//! or a count with a piece missing, since that inspection; and of parts that nobody inspects, the retirement. A repair resets nothing and is no failure.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::asset::Cause;
use super::exposure::Exposure;
use super::finding::Severity;
use super::id::Id;
use super::load::LoadStatus;
use super::model::{Family, Method, StepKind};
use super::state::{Asset, State};
use super::text::Line;
use super::time::{Date, Time};

/// In what the age of a part is told.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Clock {
    /// Steriliser cycles gone through.
    #[default]
    Cycles,
    /// Cases at which it was used.
    Uses,
    /// Days since it was acquired.
    Days,
}

impl Clock {
    pub const ALL: [Clock; 3] = [Clock::Cycles, Clock::Uses, Clock::Days];

    pub fn name(self) -> &'static str {
        match self {
            Clock::Cycles => "cycles",
            Clock::Uses => "uses",
            Clock::Days => "days",
        }
    }

    /// "12 cycles", "1 cycle".
    pub fn told(self, number: u32) -> String {
        format!("{number} {}", self.unit(number == 1))
    }

    /// What its ages are counted in, for one and for many.
    pub fn unit(self, one: bool) -> &'static str {
        if one { self.name().trim_end_matches('s') } else { self.name() }
    }
}

/// The last inspection that a part passed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InspectedAt {
    pub at: Time,
    pub cycles: u32,
    /// The entry that told it, which comes before or after others of the same instant.
    #[serde(default, skip_serializing_if = "not_told")]
    pub entry: u64,
}

fn not_told(entry: &u64) -> bool {
    *entry == 0
}

/// How the failure of a part came to light.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Seen {
    /// At the desk, between two inspections.
    Inspection,
    /// At a case.
    Use,
    /// Nobody inspects such parts: it is as old as when it was retired.
    Retirement,
}

/// The failure that ended a life: it happened after one age and by another.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Failed {
    /// The age at the last inspection that it passed, or at which it came under observation.
    pub after: u32,
    /// The age at which the failure was found.
    pub by: u32,
    /// It was seen as it happened, or the two ages are one.
    pub exact: bool,
    pub seen: Seen,
    pub cause: Cause,
}

/// One part's life.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Piece {
    pub asset: Id,
    /// The age at which its record begins.
    pub entry: u32,
    /// The age now, or at which it left.
    pub age: u32,
    /// The least and the greatest age that it may have, where it was mixed with others: nobody knows which it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub between: Option<(u32, u32)>,
    /// The last age at which it is known to have been whole: that of its last good inspection, where it has one.
    pub whole_at: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub failed: Option<Failed>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub retired: Option<Cause>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub retired_at: Option<Time>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supplier: Option<Line>,
    /// How its last steriliser load sterilised it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<Method>,
    pub missing: bool,
    pub in_repair: bool,
    /// It sits in a set; what does not, and is in service, lies in stock.
    pub seated: bool,
}

impl Piece {
    pub fn in_service(&self) -> bool {
        self.retired.is_none()
    }

    /// It failed before its first cycle, use or day here: a delivery to complain of, not a life.
    pub fn failed_at_once(&self) -> bool {
        self.failed.as_ref().is_some_and(|failed| failed.by <= self.entry)
    }
}

/// The lives of all parts of a model.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lives {
    pub model: Id,
    pub clock: Clock,
    pub pieces: Vec<Piece>,
}

impl Lives {
    pub fn failures(&self) -> usize {
        self.pieces.iter().filter(|piece| piece.failed.is_some()).count()
    }

    pub fn in_service(&self) -> impl Iterator<Item = &Piece> {
        self.pieces.iter().filter(|piece| piece.in_service())
    }

    /// Those in service that sit in sets and are there: what is missing does not go on to age, nor to fail.
    pub fn in_sets(&self) -> impl Iterator<Item = &Piece> {
        self.in_service().filter(|piece| piece.seated && !piece.missing)
    }

    /// Whether a piece gets older in this clock: all do by days; by cycles or uses what sits in a set, or did go through any.
    pub fn ages(&self, piece: &Piece) -> bool {
        self.clock == Clock::Days || piece.seated || piece.age > piece.entry
    }

    /// The oldest age that was seen.
    pub fn oldest(&self) -> u32 {
        self.pieces.iter().map(|piece| piece.age).max().unwrap_or(0)
    }

    pub fn failed_at_once(&self) -> usize {
        self.pieces.iter().filter(|piece| piece.failed_at_once()).count()
    }

    /// Why parts were retired.
    pub fn causes(&self) -> BTreeMap<&'static str, u32> {
        let mut all = BTreeMap::new();
        for cause in self.pieces.iter().filter_map(|piece| piece.retired) {
            *all.entry(cause.name()).or_default() += 1;
        }
        all
    }
}

/// Whole days between two dates, none where the second lies before the first.
fn days(from: Date, to: Date) -> u32 {
    u32::try_from((to - from).num_days()).unwrap_or(0)
}

impl State {
    /// In what the site tells the age of a family's parts.
    pub fn clock_of(&self, family: Family) -> Clock {
        self.policy.wear_clock.get(&family).copied().unwrap_or_default()
    }

    pub fn clock_of_model(&self, model: &Id) -> Clock {
        self.model(model).map_or(Clock::default(), |model| self.clock_of(model.family))
    }

    /// The lives of a model's parts in one clock.
    pub fn lives(&self, model: &Id, clock: Clock, now: Time) -> Lives {
        let of_model = self.assets.values().filter(|asset| asset.model == *model);
        // A stranger is none of ours: what became of it before and after is not known here.
        let of_model = of_model.filter(|asset| !self.strangers.contains_key(&asset.asset));
        let faults = self.faults_at_cases();
        let pieces = of_model.map(|asset| self.piece(asset, clock, now, &faults)).collect();
        Lives { model: model.clone(), clock, pieces }
    }

    /// The lives of all parts, each model in its family's clock: one look at every part.
    pub fn all_lives(&self, now: Time) -> BTreeMap<Id, Lives> {
        let mut all: BTreeMap<Id, Lives> = BTreeMap::new();
        for model in self.models.values() {
            let (clock, pieces) = (self.clock_of(model.family), Vec::new());
            all.insert(model.model.clone(), Lives { model: model.model.clone(), clock, pieces });
        }
        let faults = self.faults_at_cases();
        for asset in self.assets.values().filter(|asset| !self.strangers.contains_key(&asset.asset)) {
            if let Some(lives) = all.get_mut(&asset.model) {
                let piece = self.piece(asset, lives.clock, now, &faults);
                lives.pieces.push(piece);
            }
        }
        all
    }

    /// The age of a part at the end of what is recorded: now, or when it left.
    pub fn age(&self, asset: &Asset, clock: Clock, now: Time) -> u32 {
        match clock {
            Clock::Cycles => asset.cycles,
            Clock::Uses => asset.uses,
            Clock::Days => {
                let missed = || self.missing.get(&asset.asset).filter(|_| asset.missing).map(|it| it.since);
                let left = asset.retired.as_ref().map(|it| it.at);
                self.day_age(asset, missed().or(left).unwrap_or(now))
            }
        }
    }

    /// The age at which a part's record begins.
    pub fn entry_age(&self, asset: &Asset, clock: Clock) -> u32 {
        match clock {
            Clock::Cycles => asset.prior_cycles,
            Clock::Uses => asset.prior_uses,
            Clock::Days => self.day_age(asset, asset.added_at),
        }
    }

    /// The age of a part at a moment, by when its loads ran and its cases were, whenever that was told.
    pub fn age_at(&self, asset: &Asset, clock: Clock, at: Time) -> u32 {
        self.age_then(asset, clock, (at, u64::MAX))
    }

    /// The same at the place of an entry among others of its instant.
    pub fn age_then(&self, asset: &Asset, clock: Clock, then: (Time, u64)) -> u32 {
        let at = then.0;
        match clock {
            Clock::Cycles => {
                asset.cycles.saturating_sub(self.cycles_since(asset, then)).max(asset.prior_cycles)
            }
            Clock::Uses => asset.uses.saturating_sub(self.uses_since(asset, at)).max(asset.prior_uses),
            Clock::Days => self.day_age(asset, at),
        }
    }

    fn day_age(&self, asset: &Asset, at: Time) -> u32 {
        let born = asset.acquired.unwrap_or_else(|| asset.added_at.date(self.zone));
        days(born, at.date(self.zone))
    }

    /// How many of a part's cycles began after a moment.
    fn cycles_since(&self, asset: &Asset, then: (Time, u64)) -> u32 {
        let loads = self.loads_of.of(&asset.asset).filter_map(|(load, _)| self.loads.get(load));
        let counted = loads.filter(|load| {
            let ran = match load.status {
                LoadStatus::Released => true,
                LoadStatus::Rejected => !load.did_not_run,
                LoadStatus::Running | LoadStatus::Judged => false,
            };
            ran && load.programme.step() == StepKind::Sterilised && (load.started_at, load.entry) > then
        });
        counted.count() as u32
    }

    /// At how many cases a part was used after a moment; a case is where it was planned to begin.
    fn uses_since(&self, asset: &Asset, at: Time) -> u32 {
        let cases = self.cases_of.get(&asset.asset).map(|cases| cases.as_slice()).unwrap_or_default();
        let later = cases.iter().filter_map(|case| self.cases.get(case)).filter(|case| case.start > at);
        let used = later
            .flat_map(|case| case.all_parts())
            .filter(|(id, part)| **id == asset.asset && part.exposure == Some(Exposure::Used));
        used.count() as u32
    }

    fn piece(&self, asset: &Asset, clock: Clock, now: Time, faults: &Faults) -> Piece {
        let (entry, age) = (self.entry_age(asset, clock), self.age(asset, clock, now));
        let (low, high) = self.age_range(asset, clock, now);
        let between = (low < high).then_some((low, high));
        let retired = asset.retired.as_ref();
        let passed = asset.inspected.as_ref().map(|last| last.at);
        let whole_at = match (&asset.inspected, clock) {
            (None, _) => age,
            (Some(last), Clock::Cycles) => last.cycles,
            (Some(last), Clock::Uses | Clock::Days) => self.age_at(asset, clock, last.at),
        };
        let whole_at = whole_at.clamp(entry.min(age), age);
        let failed = retired.filter(|it| it.failure).map(|it| {
            let after = passed.map_or(entry, |_| whole_at).min(age);
            let since = passed.unwrap_or(asset.added_at);
            match faults.first_of(&asset.asset, since, it.at) {
                Some(at) => {
                    let by = self.age_at(asset, clock, at).clamp(after, age);
                    Failed { after: by, by, exact: true, seen: Seen::Use, cause: it.cause }
                }
                None if passed.is_none() && !self.is_inspected(asset) => {
                    Failed { after: age, by: age, exact: true, seen: Seen::Retirement, cause: it.cause }
                }
                None => {
                    let exact = after == age;
                    Failed { after, by: age, exact, seen: Seen::Inspection, cause: it.cause }
                }
            }
        });
        let (entry, age, whole_at, failed) =
            self.in_doubt(asset, clock, (entry, age, whole_at, failed), (low, high));
        Piece {
            asset: asset.asset.clone(),
            entry,
            age,
            between,
            whole_at,
            failed,
            retired: retired.map(|it| it.cause),
            retired_at: retired.map(|it| it.at),
            supplier: asset.supplier.clone(),
            method: self.last_method(asset),
            missing: asset.missing,
            in_repair: asset.in_repair,
            seated: asset.seat.is_some(),
        }
    }

    /// Whether the route of a part's turn has an inspection.
    pub fn is_inspected(&self, asset: &Asset) -> bool {
        self.route_of(asset).iter().any(|on| on.step == StepKind::Inspected)
    }

    fn last_method(&self, asset: &Asset) -> Option<Method> {
        let loads = self.loads_of.of(&asset.asset).rev().filter_map(|(load, _)| self.loads.get(load));
        let mut sterilised = loads.map(|load| &load.programme).filter(|it| it.step() == StepKind::Sterilised);
        sterilised.next().map(|programme| programme.method)
    }

    /// What was seen to be wrong with parts at cases: defect reports worth watching or stopping for, and pieces that
    /// lacked at a count.
    fn faults_at_cases(&self) -> Faults {
        let mut faults = Faults::default();
        for it in self.findings.values() {
            let stands = !it.taken_back && it.withdrawn_at.is_none() && it.severity != Severity::Note;
            if stands && it.case.is_some() {
                faults.0.entry(it.asset.clone()).or_default().push(it.at);
            }
        }
        for (asset, lacked) in self.missing.iter().filter_map(|(asset, it)| Some((asset, it.lacked?))) {
            faults.0.entry(asset.clone()).or_default().push(lacked.at);
        }
        faults
    }
}

/// When each part was seen to be defective at a case.
#[derive(Default)]
struct Faults(BTreeMap<Id, Vec<Time>>);

impl Faults {
    /// The first between two moments.
    fn first_of(&self, asset: &Id, since: Time, until: Time) -> Option<Time> {
        self.0.get(asset)?.iter().copied().filter(|at| *at >= since && *at <= until).min()
    }
}
