//! A seeded hospital: years of cases, turns, loads, wear with known lifetimes, losses, failed loads. It looks at the
//! state as people at the desk do, and makes commands, nothing else. Pure: the same plan and the same answers give the
//! same commands.

mod ask;
mod ask_recall;
mod ask_wear;
pub mod catalogue;
pub mod chance;
mod desk;
mod emergency;
pub mod ledger;
mod loads;
mod models;
mod paper;
pub mod record;
mod recalls;
mod records;
mod rounds;
mod shifts;
mod theatre;
mod upkeep;
mod visits;

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap, VecDeque};

use chrono::{Datelike, NaiveTime, Weekday};

use self::chance::Chance;
use self::record::Record;
use super::command::{Act, Around, Command, Late, LateCause};
use super::event::Event;
use super::id::Id;
use super::person::Role;
use super::state::State;
use super::time::{Date, MINUTE, Time, on_day};

/// What is simulated.
#[derive(Clone, Debug)]
pub struct Plan {
    pub seed: u64,
    /// Sets for patients; sets of camera and light come on top.
    pub sets: u32,
    /// Nothing happens after this.
    pub until: Time,
    pub from: Time,
    pub zone: chrono_tz::Tz,
    /// Whether the simulation keeps its own record of who touched what; it grows with the years.
    pub keep_record: bool,
    pub list: List,
}

/// How full the list of cases is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct List {
    /// How many planned cases a workday brings for each set.
    pub per_set_and_day: f64,
    /// How many cases of a day are planned for one set: above one it has to come round in between.
    pub most_per_set: usize,
    /// Whether theatre helps itself: takes another set than the one that is kept, or from the reserve.
    pub helps_itself: bool,
}

impl List {
    /// Each set is used every other day or so, and once a day at most.
    pub const USUAL: List = List { per_set_and_day: 0.42, most_per_set: 1, helps_itself: true };
    /// Sets have to come round between the cases of a day, and some come too late; and nobody does anything about it, so that
    /// what becomes of a case is what its forecast was about.
    pub const TIGHT: List = List { per_set_and_day: 1.1, most_per_set: 2, helps_itself: false };
}

/// One command of a person of this role, and when it is given: what is told late happened before.
#[derive(Clone, Debug)]
pub struct Given {
    pub now: Time,
    pub role: Role,
    pub command: Command,
}

/// Something that somebody is about to do, or to look at.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Task {
    /// Founding the site's catalogue and sets, one command after the other.
    Found(usize),
    /// The sterile processing desk looks at what waits.
    Desk,
    Morning,
    Office,
    Planning,
    LoadEnds(Id),
    LoadDecided(Id, bool),
    PutAway(Vec<Id>),
    Biological(Id),
    Promise(Id),
    Issue(Id, u32),
    Open(Id),
    Use(Id),
    UseLate(Id, Vec<Id>, Time),
    Close(Id),
    Treat(Vec<Id>),
    TreatLate(Vec<Id>, Time),
    Emergency,
    Shift,
    Search(Id, u32),
    Requalify(Id, u32),
    /// An air-removal test failed for a wrong set-up, and is done once more.
    RepeatTest(Id),
    /// What is not the house's own, and the shelf.
    Visits,
}

/// What the simulation knows of a case beside what the state says.
#[derive(Clone, Debug, Default)]
struct Show {
    sets: Vec<Id>,
    unopened: Vec<Id>,
    told_used: bool,
    opened: bool,
}

/// The hospital at work.
pub struct Hospital {
    plan: Plan,
    chance: Chance,
    agenda: BinaryHeap<Reverse<(Time, u64, Task)>>,
    waiting: VecDeque<Given>,
    order: u64,
    /// When the last command was given: the next comes later.
    clock: Time,
    loads: u64,
    cases: u64,
    serial: u64,
    shows: BTreeMap<Id, Show>,
    /// The sets of an emergency whose case has no name yet.
    unnamed: Option<Show>,
    founding: Vec<(Role, serde_json::Value)>,
    /// Until when everything is written on paper, and told afterwards.
    paper_until: Option<Time>,
    on_paper: Option<paper::OnPaper>,
    /// Parts ordered, and how many of each model are on their way.
    ordered: BTreeMap<Id, u32>,
    deliveries: Vec<(Time, Id)>,
    /// Spares that went into a set at this look around.
    spares_given: BTreeSet<Id>,
    /// When what left for repair is expected.
    repairs: BTreeMap<Id, Time>,
    /// Chances of what stands beside the house's own parts.
    aside: Chance,
    pub record: Record,
}

impl Hospital {
    pub fn new(plan: Plan) -> Hospital {
        let founding = catalogue::founding(plan.sets);
        let mut hospital = Hospital {
            chance: Chance::new(plan.seed),
            clock: plan.from,
            agenda: BinaryHeap::new(),
            waiting: VecDeque::new(),
            order: 0,
            loads: 0,
            cases: 0,
            serial: 0,
            shows: BTreeMap::new(),
            unnamed: None,
            founding,
            paper_until: None,
            on_paper: None,
            ordered: BTreeMap::new(),
            deliveries: Vec::new(),
            spares_given: BTreeSet::new(),
            repairs: BTreeMap::new(),
            aside: Chance::new(plan.seed ^ 0x5bd1_e995),
            record: Record::default(),
            plan,
        };
        let from = hospital.plan.from;
        hospital.later(from, Task::Found(0));
        hospital
    }

    /// The next command, or `None` when the time is over.
    pub fn next(&mut self, state: &State) -> Option<Given> {
        loop {
            if let Some(given) = self.waiting.pop_front() {
                return Some(given);
            }
            let Reverse((at, _, task)) = self.agenda.pop()?;
            if at > self.plan.until {
                return None;
            }
            self.clock = self.clock.max(at);
            self.turn_to(state, task);
        }
    }

    /// When the next thing is due, with nothing given that is not yet answered.
    pub fn next_at(&self) -> Option<Time> {
        match self.waiting.front() {
            Some(given) => Some(given.now),
            None => self.agenda.peek().map(|Reverse((at, ..))| *at).filter(|at| *at <= self.plan.until),
        }
    }

    /// What became of a command: its event, or `None` where it was turned away.
    pub fn heard(&mut self, given: &Given, event: Option<&Event>) {
        match event {
            Some(event) => {
                self.happened(event);
                if self.plan.keep_record {
                    self.record.accepted(event);
                }
            }
            None => self.record.turned += 1,
        }
        self.record.given += 1;
        if given.command.around.late.is_some() {
            self.record.late += 1;
        }
    }

    fn later(&mut self, at: Time, task: Task) {
        self.order += 1;
        self.agenda.push(Reverse((at, self.order, task)));
    }

    fn in_minutes(&mut self, minutes: i64, task: Task) {
        self.later(self.clock.plus_minutes(minutes), task);
    }

    /// Gives a command a moment after the one before it.
    fn give(&mut self, role: Role, act: Act) {
        self.give_with(role, act, Around::default());
    }

    fn give_with(&mut self, role: Role, act: Act, mut around: Around) {
        self.clock = self.clock.plus_s(5);
        let told_at = around.at;
        around.at = Some(told_at.unwrap_or(self.clock));
        let mut now = self.clock;
        if let Some(until) = self.paper_until {
            now = now.max(until);
            let at_desk = matches!(act, Act::Step(_) | Act::Load(_));
            if at_desk && around.late.is_none() {
                around.late = Some(self.next_line());
            }
        }
        self.waiting.push_back(Given { now, role, command: Command { around, act } });
    }

    /// Told afterwards, because it was forgotten.
    fn forgotten(&mut self, role: Role, act: Act, at: Time) {
        let late = Some(Late { cause: LateCause::Forgotten, sheet: None, line: None, done_by: None });
        self.give_with(role, act, Around { at: Some(at), late, ..Around::default() });
    }

    fn turn_to(&mut self, state: &State, task: Task) {
        match task {
            Task::Found(n) => self.found(n),
            Task::Desk => self.desk(state),
            Task::Morning => self.morning(state),
            Task::Office => self.office(state),
            Task::Planning => self.planning(state),
            Task::LoadEnds(load) => self.load_ends(state, &load),
            Task::LoadDecided(load, passed) => self.load_decided(state, &load, passed),
            Task::PutAway(sets) => self.put_away(state, &sets),
            Task::Biological(load) => self.biological(state, &load),
            Task::Promise(case) => self.promise(state, &case),
            Task::Issue(case, tries) => self.issue(state, &case, tries),
            Task::Open(case) => self.open(state, &case),
            Task::Use(case) => self.used(state, &case),
            Task::UseLate(case, parts, at) => self.used_late(&case, &parts, at),
            Task::Close(case) => self.close(state, &case),
            Task::Treat(sets) => self.treat(&sets),
            Task::TreatLate(sets, at) => self.treat_late(&sets, at),
            Task::Emergency => self.emergency(state),
            Task::Shift => self.shift_begins(),
            Task::Search(asset, hours) => self.search(state, &asset, hours),
            Task::Requalify(machine, n) => self.requalify(state, &machine, n),
            Task::RepeatTest(machine) => self.repeat_test(state, &machine),
            Task::Visits => self.visits(state),
        }
    }

    fn found(&mut self, n: usize) {
        if let Some((role, command)) = self.founding.get(n).cloned() {
            if let Ok(command) = Command::read(command) {
                self.give_with(role, command.act, command.around);
            }
            return self.later(self.clock, Task::Found(n + 1));
        }
        self.founding = Vec::new();
        let at = self.clock.plus_minutes(30);
        self.later(at, Task::Desk);
        let day = self.clock.date(self.plan.zone);
        let rounds = [
            (6, 10, Task::Morning),
            (7, 0, Task::Shift),
            (10, 0, Task::Office),
            (10, 45, Task::Visits),
            (15, 0, Task::Planning),
        ];
        for (hour, minute, task) in rounds {
            let at = self.on(day, hour, minute);
            let at = if at > self.clock { at } else { self.tomorrow(hour, minute) };
            self.later(at, task);
        }
        let wait = self.until_emergency();
        self.in_minutes(3 * 24 * 60 + wait, Task::Emergency);
    }

    fn on(&self, day: Date, hour: u32, minute: u32) -> Time {
        on_day(day, NaiveTime::from_hms_opt(hour, minute, 0).unwrap_or_default(), self.plan.zone)
    }

    fn tomorrow(&self, hour: u32, minute: u32) -> Time {
        let day = self.clock.date(self.plan.zone);
        self.on(day.succ_opt().unwrap_or(day), hour, minute)
    }

    /// The hour of the day in the house.
    fn hour(&self) -> u32 {
        use chrono::Timelike;
        self.clock.in_zone(self.plan.zone).hour()
    }

    fn is_night(&self) -> bool {
        !(7..20).contains(&self.hour())
    }

    fn is_workday(day: Date) -> bool {
        !matches!(day.weekday(), Weekday::Sat | Weekday::Sun)
    }
}

/// Minutes between two times, from the earlier one on.
fn minutes_between(earlier: Time, later: Time) -> i64 {
    (later.0 - earlier.0) / MINUTE
}
