//! The department as a simulation sees it: what is in hand, benches and machines, the ways of sets, and the cases that
//! take them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Days, NaiveTime};

use super::allotted::Allotted;
use super::case::Case;
use super::forecast_items::Building;
use super::forecast_stops::Stops;
use super::id::Id;
use super::order_of_work::{Needed, needed};
use super::pace::hour_of_week;
use super::pace_laws::ENOUGH;
use super::readiness::{SetReadiness, SetStatus};
use super::route::StepKind;
use super::state::State;
use super::time::{MINUTE, Time, on_day};
use crate::analysis::queue::{Item, Law, Need, Shop, Start, Unit, Want};

pub use super::forecast_stops::Stop;

/// How long before its start a case takes its sets: a little less than theatre staff ask for. Common practice.
const LEAD_MINUTES: i64 = 30;
/// What is looked at beyond the start of the last case, and at least.
const BEYOND_HOURS: i64 = 4;
const AT_LEAST_HOURS: i64 = 24;
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
    /// The sets that cannot come round, since a machine on their way is lacking: in a few words.
    pub no_machine: BTreeMap<Id, String>,
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

    /// Notes where a set could not come round, since no machine that it has to go through is in service.
    fn lacks_machine(&mut self, stops: &Stops, unit: usize, set: &Id) {
        let mut ways = self.shop.items.iter().filter(|it| it.unit == unit).flat_map(|it| &it.way);
        if let Some(by) = ways.find_map(|job| stops.lacking(*job)) {
            self.no_machine.insert(set.clone(), format!("no {by} that suits is in service"));
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
        !case.needs.is_empty() && !under_way && case.is_to_take(now) && case.start < until
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
        no_machine: BTreeMap::new(),
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
        let due_s = due.get(&set.set).map(|needed| due_s(needed, now));
        let unfit = matches!(status, None | Some(SetReadiness::NotReady | SetReadiness::Held));
        plan.shop.units.push(Unit { kind: *kind, due_s, unfit });
        plan.sets.push(set.set.clone());
        let stuck = building.set(set, unit, &mut plan.shop.items);
        plan.lacks_machine(&building.stops, unit, &set.set);
        plan.stuck.extend(stuck.map(|why| (set.set.clone(), why)));
    }
    let places: BTreeMap<&Id, usize> = plan.sets.iter().enumerate().map(|(at, set)| (set, at)).collect();
    plan.shop.wants = coming.iter().map(|it| want(state, it.case, (&places, &kinds), now)).collect();
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

/// By when a set is needed, from now on.
fn due_s(needed: &Needed, now: Time) -> f64 {
    match needed {
        Needed::Reserve | Needed::Robbed { .. } => 0.0,
        Needed::Case { start, .. } => start.since_s(now) as f64,
    }
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
