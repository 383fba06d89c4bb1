//! The department as a simulation sees it: what is in hand, benches and machines, the ways of sets, and the cases that
//! take them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveTime};

use super::allotted::Allotted;
use super::case::Case;
use super::closing::Short;
use super::forecast_stops::Stops;
use super::id::Id;
use super::order_of_work::{Needed, needed};
use super::pace::hour_of_week;
use super::pace_laws::ENOUGH;
use super::readiness::{SetReadiness, SetStatus};
use super::route::StepKind;
use super::set::SetState;
use super::stage::Stage;
use super::state::{Asset, State};
use super::time::{MINUTE, Time, on_day};
use crate::analysis::queue::{Item, Law, Need, Shop, Start, Unit, Want};

pub use super::forecast_stops::Stop;

/// How long before its start a case takes its sets: a little less than theatre staff ask for. Common practice.
const LEAD_MINUTES: i64 = 30;
/// What is looked at beyond the start of the last case, and at least.
const BEYOND_HOURS: i64 = 4;
const AT_LEAST_HOURS: i64 = 24;
/// Of what should be back already nobody knows when it comes: it is taken to come within so much of its case's time.
const LATE_SHARE: f64 = 0.25;
const HOUR: i64 = 60 * MINUTE;

/// What is simulated, and whose each number is.
pub struct Plan {
    pub shop: Shop,
    pub stops: Vec<Stop>,
    /// The sets, by the place of their units.
    pub sets: Vec<Id>,
    /// The cases, by the place of their wants.
    pub wants: Vec<Id>,
    /// Why a set comes nowhere: no machine in service, or no way for it.
    pub stuck: BTreeMap<Id, String>,
    /// The sets of cases that are kept for another case of the same time too: until a person decides, neither has it.
    pub disputed: BTreeMap<Id, Vec<Id>>,
    pub not_known: Vec<String>,
    /// The numbers of packs, by set and text.
    pub packs: BTreeMap<(Id, String), usize>,
    /// The ways of parts that would close a line, and of what each short line takes.
    pub ways: BTreeMap<Id, Vec<usize>>,
    pub line_ways: BTreeMap<(Id, String), Vec<usize>>,
    /// The end of the last day that is looked at.
    until: Time,
    from: Time,
}

impl Plan {
    pub fn unit_of(&self, set: &Id) -> Option<usize> {
        self.sets.iter().position(|it| it == set)
    }

    pub fn want_of(&self, case: &Id) -> Option<usize> {
        self.wants.iter().position(|it| it == case)
    }

    /// The place of packing in a way; its end where nothing is packed.
    pub fn packing(&self, way: &[usize]) -> usize {
        let is_packing = |job: &usize| self.stops.get(*job).is_some_and(|it| it.step == StepKind::Packed);
        way.iter().position(is_packing).unwrap_or(way.len())
    }

    /// Opens a pack that lies wrapped: what of it was past its packing is to be packed again.
    pub fn unwrap(&self, shop: &mut Shop, unit: usize, pack: usize) {
        for item in shop.items.iter_mut().filter(|item| item.unit == unit && item.pack == pack) {
            let packing = self.packing(&item.way);
            if let Start::Waiting { step, from_s } = item.start
                && step > packing
            {
                item.start = Start::Waiting { step: packing, from_s: from_s.min(0.0) };
            }
        }
    }

    /// Puts a part into a line of a set that lacks nothing but it: its pack is wrapped with it.
    pub fn fill(
        &self,
        state: &State,
        shop: &mut Shop,
        (set, line): (&Id, &str),
        (way, start): (&[usize], Start),
    ) -> Option<()> {
        let unit = self.unit_of(set)?;
        let of = state.sets.get(set).and_then(|set| state.sheets.get(&set.count_sheet)?.line(line))?;
        let pack = *self.packs.get(&(set.clone(), of.pack.as_str().to_string()))?;
        shop.units.get_mut(unit)?.unfit = false;
        self.unwrap(shop, unit, pack);
        shop.items.push(Item { unit, way: way.to_vec(), pack, start });
        Some(())
    }

    /// What is kept for a case and for another one of the same time comes to neither of them: nobody has said whose it is.
    fn dispute(&mut self, state: &State, want: usize, case: &Case) {
        let (units, sets) = (&mut self.shop.units, &self.sets);
        let Some(want) = self.shop.wants.get_mut(want) else { return };
        for need in &mut want.needs {
            let set = need.unit.and_then(|unit| sets.get(unit));
            if let Some(set) = set.filter(|set| state.kept_elsewhere(set, case).is_some()) {
                self.disputed.entry(case.case.clone()).or_default().push(set.clone());
                need.unit = Some(units.len());
                units.push(Unit { kind: need.kind, due_s: None, unfit: true });
            }
        }
    }

    /// The cases of the days that are looked at, from this morning on.
    pub fn is_shown(&self, case: &Case) -> bool {
        (self.from..self.until).contains(&case.start)
    }
}

/// The cases that are still to be equipped until a time. For what something is being sterilised alone is under way.
fn coming<'a, 'b>(
    statuses: &BTreeMap<&Id, SetStatus>,
    allotted: &'b [Allotted<'a>],
    (now, until): (Time, Time),
) -> Vec<&'b Allotted<'a>> {
    let made_for: BTreeSet<&Id> = statuses.values().filter_map(|status| status.made_for.as_ref()).collect();
    let comes = |it: &&Allotted| {
        let case = it.case;
        let under_way = case.anything_out() || made_for.contains(&case.case);
        !case.needs.is_empty() && !under_way && case.start >= now && case.start < until
    };
    allotted.iter().filter(comes).collect()
}

/// What is simulated of so many days, today among them.
pub fn plan(
    state: &State,
    statuses: &BTreeMap<&Id, SetStatus>,
    allotted: &[Allotted],
    (now, days): (Time, u64),
) -> Plan {
    let today = now.date(state.zone);
    let midnight = |days: u64| {
        let day = today.checked_add_days(Days::new(days)).unwrap_or(today);
        on_day(day, NaiveTime::MIN, state.zone)
    };
    let (from, until) = (midnight(0), midnight(days));
    let coming = coming(statuses, allotted, (now, until));
    let last = coming.iter().map(|it| it.case.start).max().unwrap_or(now);
    let end = Time((last.0 + BEYOND_HOURS * HOUR).max(now.0 + AT_LEAST_HOURS * HOUR));
    let day = hours(state, now, end);
    let mut building = Building { state, now, stops: Stops::of(state, &day), packs: BTreeMap::new() };
    let mut plan = Plan {
        shop: Shop::default(),
        stops: Vec::new(),
        sets: Vec::new(),
        wants: Vec::new(),
        stuck: BTreeMap::new(),
        disputed: BTreeMap::new(),
        not_known: Vec::new(),
        packs: BTreeMap::new(),
        ways: BTreeMap::new(),
        line_ways: BTreeMap::new(),
        until,
        from,
    };
    let kinds: BTreeMap<&Id, usize> =
        state.sheets.keys().enumerate().map(|(at, sheet)| (sheet, at)).collect();
    let due = needed(state, statuses, allotted, now);
    for set in state.sets.values() {
        let Some(kind) = kinds.get(&set.count_sheet) else { continue };
        let unit = plan.sets.len();
        let status = statuses.get(&set.set).map(|status| status.status);
        let due_s = due.get(&set.set).map(|needed| match needed {
            Needed::Reserve | Needed::Robbed { .. } => 0.0,
            Needed::Case { start, .. } => start.since_s(now) as f64,
        });
        let unfit = matches!(status, None | Some(SetReadiness::NotReady | SetReadiness::Held));
        plan.shop.units.push(Unit { kind: *kind, due_s, unfit });
        plan.sets.push(set.set.clone());
        let stuck = building.set(set, unit, &mut plan.shop.items);
        plan.stuck.extend(stuck.map(|why| (set.set.clone(), why)));
    }
    let places: BTreeMap<&Id, usize> = plan.sets.iter().enumerate().map(|(at, set)| (set, at)).collect();
    let wants = coming.iter().map(|it| want(state, it.case, (&places, &kinds), now));
    plan.shop.wants = wants.collect();
    plan.wants = coming.iter().map(|it| it.case.case.clone()).collect();
    for (at, it) in coming.iter().enumerate() {
        plan.dispute(state, at, it.case);
    }
    plan.shop.kept =
        state.sheets.keys().map(|sheet| state.reserves.get(sheet).copied().unwrap_or(0) as usize).collect();
    plan.shop.turnaround_s = f64::from(state.policy.turnaround_minutes) * 60.0;
    plan.shop.day = day.iter().enumerate().map(|(part, (at, _))| (at.since_s(now) as f64, part)).collect();
    plan.shop.day_parts = day.len();
    plan.shop.until_s = end.since_s(now) as f64;
    plan.not_known = not_known(state, &building.stops, (now, end));
    for short in coming.iter().flat_map(|it| &it.needs).flat_map(|need| &need.short) {
        building.closing(short, &mut plan);
    }
    plan.packs = building.packs;
    let (stations, jobs, stops) = building.stops.done();
    (plan.shop.stations, plan.shop.jobs, plan.stops) = (stations, jobs, stops);
    plan
}

/// The hours from a moment on, as the clocks of the site show them: one that is shown twice is there twice.
fn hours(state: &State, now: Time, end: Time) -> Vec<(Time, usize)> {
    let mut all = vec![(now, hour_of_week(now, state.zone))];
    let mut at = Time((now.0.div_euclid(HOUR) + 1) * HOUR);
    while at < end {
        all.push((at, hour_of_week(at, state.zone)));
        at = Time(at.0 + HOUR);
    }
    all
}

fn want(
    state: &State,
    case: &Case,
    (places, kinds): (&BTreeMap<&Id, usize>, &BTreeMap<&Id, usize>),
    now: Time,
) -> Want {
    let mut kept: Vec<&Id> = case.promised.iter().collect();
    let needs = case.needs.iter().filter_map(|sheet| {
        let of_sheet = |set: &&Id| state.sets.get(*set).is_some_and(|set| set.count_sheet == *sheet);
        let unit = kept.iter().position(of_sheet).map(|at| kept.remove(at)).and_then(|set| places.get(set));
        Some(Need { unit: unit.copied(), kind: *kinds.get(sheet)? })
    });
    let minutes = f64::from(case.minutes);
    let lasts = match state.case_law() {
        // An hour stands for the whole of what was planned.
        Law::Table(shares) => Law::Table(shares.iter().map(|share| share / 60.0 * minutes).collect()),
        Law::Fixed(_) | Law::Exponential(_) => Law::Fixed(minutes * 60.0),
    };
    Want {
        start_s: case.start.since_s(now) as f64,
        lead_s: (LEAD_MINUTES * 60) as f64,
        lasts,
        needs: needs.collect(),
        takes_reserve: case.emergency,
    }
}

fn not_known(state: &State, stops: &Stops, (now, end): (Time, Time)) -> Vec<String> {
    let mut all = Vec::new();
    let little = stops.little_known(state);
    if !little.is_empty() {
        all.push(format!(
            "Fewer than {ENOUGH} times are recorded here of {}: what is usual stands in for it.",
            little.join(", ")
        ));
    }
    all.extend(stops.without_machine());
    let offset = |at: Time| at.in_zone(state.zone).format("%:z").to_string();
    if offset(now) != offset(end) {
        all.push("The clocks change within this time: hours are told as the clocks will show them.".into());
    }
    for case in state.open_cases().filter(|case| case.anything_out() && case.end() < now) {
        let end = case.end().told(state.zone);
        all.push(format!(
            "Case {} was planned to end on {end}, and its count is not closed: nobody knows when its sets come back.",
            case.case
        ));
    }
    all
}

struct Building<'a> {
    state: &'a State,
    now: Time,
    stops: Stops,
    packs: BTreeMap<(Id, String), usize>,
}

/// What is the same for parts that go together.
type Alike = (String, Id, u32, u32, Option<Id>, Stage, Option<Time>);

impl Building<'_> {
    /// The items of a set: parts of one pack and one way that stand at one place are one. Says why it comes nowhere.
    fn set(&mut self, set: &SetState, unit: usize, items: &mut Vec<Item>) -> Option<String> {
        let state = self.state;
        let sheet = state.sheets.get(&set.count_sheet)?;
        let mut groups: BTreeMap<Alike, Vec<&Asset>> = BTreeMap::new();
        for asset in state.members(set).filter(|asset| asset.counts()) {
            let line = asset.seat.as_ref().and_then(|seat| sheet.line(&seat.line));
            let pack = line.map_or(super::set::TRAY, |line| line.pack.as_str()).to_string();
            let cool_at = asset.cooling_until(self.now);
            let alike = (
                pack,
                asset.route.clone(),
                asset.route_version,
                asset.next,
                asset.in_load.clone(),
                asset.stage,
                cool_at,
            );
            groups.entry(alike).or_default().push(asset);
        }
        let mut stuck = None;
        for ((pack, .., cool_at), parts) in groups {
            let numbers = self.packs.len();
            let pack = *self.packs.entry((set.set.clone(), pack)).or_insert(numbers);
            let Some(first) = parts.first() else { continue };
            let (way, lacks) = self.stops.way(state, first, &parts);
            let start = self.start(set, &parts, &way, cool_at);
            let goes = matches!(start, Start::Waiting { step, .. } if step < way.len());
            stuck = stuck.or_else(|| lacks.filter(|_| goes));
            items.push(Item { unit, way, pack, start });
        }
        if !items.iter().any(|item| item.unit == unit) {
            items.push(Item { unit, way: Vec::new(), pack: self.packs.len(), start: Start::Away });
            self.packs.insert((set.set.clone(), String::new()), self.packs.len());
        }
        stuck
    }

    /// The ways of what would close a short line: of parts that are named, and of any part that it takes.
    fn closing(&mut self, short: &Short, plan: &mut Plan) {
        let state = self.state;
        let set = state.sets.get(&short.set);
        let Some(set) = set else { return };
        let Some(line) = state.sheets.get(&set.count_sheet).and_then(|sheet| sheet.line(&short.line)) else {
            return;
        };
        for closes in &short.closes {
            if let Some(asset) = state.assets.get(&closes.asset) {
                plan.ways.insert(closes.asset.clone(), self.stops.way(state, asset, &[asset]).0);
            }
        }
        let takes =
            |asset: &&std::sync::Arc<Asset>| state.model(&asset.model).is_some_and(|it| line.takes(it));
        let seated = state.members(set).find(takes);
        if let Some(asset) = seated.or_else(|| state.assets.values().find(takes)) {
            let way = self.stops.way(state, asset, &[asset]).0;
            plan.line_ways.insert((short.set.clone(), short.line.clone()), way);
        }
        let (numbers, pack) = (self.packs.len(), line.pack.as_str().to_string());
        self.packs.entry((short.set.clone(), pack)).or_insert(numbers);
    }

    /// Where parts are now: a way has one job for each step of their route.
    fn start(&self, set: &SetState, parts: &[&Asset], way: &[usize], cool_at: Option<Time>) -> Start {
        let state = self.state;
        let Some(first) = parts.first() else { return Start::Away };
        let since_s = |at: Time| at.since_s(self.now) as f64;
        if first.stage.is_out() {
            return Start::Waiting { step: 0, from_s: self.back_s(set) };
        }
        if let Some(case) = state.made_for(first) {
            // It goes straight to that case, and is for nobody else before it is back.
            return Start::Waiting { step: 0, from_s: self.after_s(case) };
        }
        if first.stage == Stage::Ready && !first.past_date(state, self.now) {
            return Start::Waiting { step: way.len(), from_s: cool_at.map_or(0.0, since_s) };
        }
        let step = if first.stage == Stage::Ready {
            // Past its date, it is wrapped and sterilised anew.
            state.route_of(first).iter().position(|on| on.step == StepKind::Packed).unwrap_or(0)
        } else {
            (first.next as usize).min(way.len())
        };
        let load = first.in_load.as_ref().and_then(|load| state.loads.get(load));
        let Some(load) = load else {
            let from = parts.iter().map(|asset| asset.act_at).max().unwrap_or(self.now);
            return Start::Waiting { step, from_s: since_s(from).min(0.0) };
        };
        // In a load, and nothing left of its way: the load's decision is all that it waits for.
        let Some(job) = way.get(step).copied() else { return Start::Waiting { step, from_s: 0.0 } };
        let batch = load.entry as usize;
        let taken = |at: Time| self.now.since_s(at).max(0) as f64;
        match (&load.judged, self.stops.server(job, &load.machine)) {
            (Some(judged), _) => Start::Undecided { step, taken_s: taken(judged.ended_at), batch },
            (None, Some(server)) => Start::InHand { step, taken_s: taken(load.started_at), batch, server },
            (None, None) => Start::Undecided { step, taken_s: taken(load.started_at), batch },
        }
    }

    /// When a set that is out should be back: at the planned end of its case.
    fn back_s(&self, set: &SetState) -> f64 {
        let state = self.state;
        let at = state.open_cases().find(|case| {
            state.members(set).any(|asset| case.parts.get(&asset.asset).is_some_and(|part| part.out))
        });
        at.map_or(0.0, |case| self.after_s(case))
    }

    fn after_s(&self, case: &Case) -> f64 {
        let state = self.state;
        let left = case.end().since_s(self.now) as f64;
        // As cases end here, in the middle.
        let usual =
            (state.case_law().at(0.5) / 3_600.0 - 1.0).clamp(-0.5, 1.0) * f64::from(case.minutes) * 60.0;
        (left + usual).max(f64::from(case.minutes) * 60.0 * LATE_SHARE)
    }
}
