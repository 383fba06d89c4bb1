//! The benches and machines of a department, and the work at each, with how long it takes here.

use std::collections::{BTreeMap, BTreeSet};

use super::id::Id;
use super::pace::Work;
use super::programme::Programme;
use super::route::{Method, RouteStep, StepKind};
use super::state::{Asset, Condition, Machine, State};
use super::time::Time;
use crate::analysis::queue::{Daily, Job, Law, Server, Station};

/// The steps that hands do, in the order in which they stand at the beginning of the jobs.
const BENCHES: [(StepKind, Option<Method>); 8] = [
    (StepKind::Treated, None),
    (StepKind::Received, None),
    (StepKind::Cleaned, None),
    (StepKind::Ultrasonic, None),
    (StepKind::Dried, None),
    (StepKind::Disinfected, Some(Method::Manual)),
    (StepKind::Inspected, None),
    (StepKind::Packed, None),
];
const METHODS: [Method; 4] =
    [Method::Machine, Method::Steam, Method::HydrogenPeroxide, Method::EthyleneOxide];
/// What a machine takes where no load tells: sets or single parts. Common practice for trays of instruments.
const USUAL_BATCH: u32 = 6;

/// One kind of work as people name it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stop {
    pub step: StepKind,
    pub method: Option<Method>,
}

impl Stop {
    /// The machine that does it.
    pub fn machine(&self) -> Option<&'static str> {
        let by = match (self.step, self.method) {
            (StepKind::Sterilised, method) => method,
            (StepKind::Disinfected, Some(Method::Machine)) => self.method,
            _ => None,
        };
        by.map(machine_words)
    }

    pub fn words(&self) -> String {
        let words = match self.step {
            StepKind::Treated => "pre-cleaning",
            StepKind::Received => "receipt",
            StepKind::Cleaned => "cleaning",
            StepKind::Ultrasonic => "the ultrasonic bath",
            StepKind::Dried => "drying",
            StepKind::Disinfected => "disinfection",
            StepKind::Inspected => "inspection",
            StepKind::Packed => "packing",
            StepKind::Sterilised => "sterilising",
        };
        match self.method {
            Some(method) => format!("{words} ({})", method.words()),
            None => words.into(),
        }
    }
}

/// A machine's words by what it does.
fn machine_words(method: Method) -> &'static str {
    match method {
        Method::Machine | Method::Manual => "washer-disinfector",
        Method::Steam => "steam steriliser",
        Method::HydrogenPeroxide => "hydrogen peroxide steriliser",
        Method::EthyleneOxide => "ethylene oxide steriliser",
    }
}

pub struct Stops {
    stations: Vec<Station>,
    jobs: Vec<Job>,
    stops: Vec<Stop>,
    /// The machines of each station, in the order of its servers.
    machines: Vec<Vec<Id>>,
    /// The jobs of machines by method and programme, with a programme to judge parts by.
    programmes: BTreeMap<(Method, Id), (usize, Programme)>,
    /// The job of each method for which no machine in service suits.
    without: BTreeMap<Method, usize>,
    used: BTreeSet<usize>,
}

impl Stops {
    pub fn of(state: &State, day: &[(Time, usize)]) -> Stops {
        let mut all = Stops {
            stations: Vec::new(),
            jobs: Vec::new(),
            stops: Vec::new(),
            machines: Vec::new(),
            programmes: BTreeMap::new(),
            without: BTreeMap::new(),
            used: BTreeSet::new(),
        };
        let by_hour = |work: Work| {
            let mut known: BTreeMap<usize, Law> = BTreeMap::new();
            let law = |(_, hour): &(Time, usize)| {
                known.entry(*hour).or_insert_with(|| state.first_law(work, *hour)).clone()
            };
            Daily(day.iter().map(law).collect())
        };
        for (step, method) in BENCHES {
            all.bench(state, step, method, by_hour(Work::Step(step, method)));
        }
        for method in METHODS {
            all.method(state, method, by_hour(Work::Start(method)));
        }
        all
    }

    fn bench(&mut self, state: &State, step: StepKind, method: Option<Method>, first: Daily) {
        let (job, work) = (self.jobs.len(), Work::Step(step, method));
        let server = Server { does: vec![(job, state.next_law(work))], idle_s: 0.0 };
        self.jobs.push(Job {
            first: Some(first),
            straggles: state.passed_law(work),
            item_back: if step == StepKind::Inspected { state.back_share(work) } else { 0.0 },
            back_to: bench_of(StepKind::Cleaned),
            joins: step == StepKind::Packed,
            ..Job::plain(self.stations.len())
        });
        self.stations.push(Station { servers: vec![server], batch: 1, gathers: None });
        self.stops.push(Stop { step, method });
        self.machines.push(Vec::new());
    }

    /// The machines that work by a method, and their programmes.
    fn method(&mut self, state: &State, method: Method, gathers: Daily) {
        let station = self.stations.len();
        let step = if method.sterilises() { StepKind::Sterilised } else { StepKind::Disinfected };
        let back_to = bench_of(if method.sterilises() { StepKind::Packed } else { StepKind::Cleaned });
        let has = |machine: &&Machine| machine.programmes.iter().any(|it| it.method == method);
        let known = state.machines.values().map(|machine| &**machine);
        let in_service: Vec<&Machine> =
            known.filter(|it| it.condition == Condition::InService).filter(has).collect();
        let (mut servers, mut most) = (Vec::new(), None);
        for machine in &in_service {
            let mut does = Vec::new();
            for programme in machine.programmes.iter().filter(|it| it.method == method) {
                let name = (method, programme.programme.clone());
                let job = self.programmes.get(&name).map(|known| known.0).unwrap_or_else(|| {
                    let job = Job {
                        after: Some(Daily::always(state.decision_law(&machine.machine, programme))),
                        cools_s: f64::from(programme.cooling_s.unwrap_or(0)),
                        batch_back: state.rejected_share(&machine.machine, &programme.programme),
                        back_to,
                        ..Job::plain(station)
                    };
                    self.jobs.push(job);
                    self.stops.push(Stop { step, method: Some(method) });
                    self.programmes.insert(name, (self.jobs.len() - 1, (**programme).clone()));
                    self.jobs.len() - 1
                });
                does.push((job, state.cycle_law(&machine.machine, programme)));
                most = most.max(state.most_in_load(&machine.machine, &programme.programme));
            }
            let idle =
                state.idle_since(&machine.machine).map(|at| state.recorded_at.since_s(at).max(0) as f64);
            servers.push(Server { does, idle_s: idle.unwrap_or(0.0) });
        }
        self.without.insert(method, self.jobs.len());
        self.jobs.push(Job { back_to, ..Job::plain(station) });
        self.stops.push(Stop { step, method: Some(method) });
        self.stations.push(Station { servers, batch: most.unwrap_or(USUAL_BATCH), gathers: Some(gathers) });
        self.machines.push(in_service.iter().map(|machine| machine.machine.clone()).collect());
    }

    /// The jobs that parts of one route go through, one for each step; and what is lacking for what is left of it.
    pub fn way(&mut self, state: &State, first: &Asset, parts: &[&Asset]) -> (Vec<usize>, Option<String>) {
        let mut lacks = None;
        let mut way = Vec::new();
        for (at, on) in state.route_of(first).iter().enumerate() {
            let is_next = at == first.next as usize;
            let job = self.job(state, *on, first, (parts, is_next));
            let is_left = at >= first.next as usize && !first.stage.is_out();
            if is_left && lacks.is_none() && self.without.values().any(|without| *without == job) {
                let by = on.by().map_or("machine", machine_words);
                lacks =
                    Some(format!("No {by} is in service that suits it: nobody can say when it is ready."));
            }
            self.used.insert(job);
            way.push(job);
        }
        (way, lacks)
    }

    fn job(&self, state: &State, on: RouteStep, first: &Asset, (parts, is_next): (&[&Asset], bool)) -> usize {
        let by_machine = match (on.step, on.by()) {
            (StepKind::Sterilised, Some(method)) => Some(method),
            (StepKind::Disinfected, Some(Method::Manual)) => None,
            (StepKind::Disinfected, _) => Some(Method::Machine),
            (_, _) => None,
        };
        let Some(method) = by_machine else { return bench_of(on.step) };
        // What lies in a load goes by that load's programme, whatever else would suit it.
        let load = first.in_load.as_ref().filter(|_| is_next).and_then(|load| state.loads.get(load));
        if let Some(load) = load {
            let name = (method, load.programme.programme.clone());
            if let Some((job, _)) = self.programmes.get(&name) {
                return *job;
            }
        }
        let suits = |programme: &Programme| {
            let models = parts.iter().filter_map(|asset| state.model(&asset.model));
            models.into_iter().all(|model| programme.unsuitable(model).is_none())
        };
        let mut all = self.programmes.iter().filter(|((of, _), _)| *of == method);
        let found = all.find(|(_, (_, programme))| suits(programme)).map(|(_, (job, _))| *job);
        found.or_else(|| self.without.get(&method).copied()).unwrap_or(0)
    }

    /// What a job lacks that no machine in service can do.
    pub fn lacking(&self, job: usize) -> Option<&'static str> {
        self.without.iter().find(|(_, without)| **without == job).map(|(method, _)| machine_words(*method))
    }

    /// The place of a machine among those of a job's station.
    pub fn server(&self, job: usize, machine: &Id) -> Option<usize> {
        let station = self.jobs.get(job)?.station;
        self.machines.get(station)?.iter().position(|own| own == machine)
    }

    /// The work on anything's way of which too little was recorded here.
    pub fn little_known(&self, state: &State) -> Vec<String> {
        let mut all = Vec::new();
        for (at, (step, method)) in BENCHES.into_iter().enumerate() {
            if self.used.contains(&at) && !state.knows(Work::Step(step, method)) {
                all.extend(self.stops.get(at).map(Stop::words));
            }
        }
        for ((method, programme), (job, _)) in
            self.programmes.iter().filter(|(_, (job, _))| self.used.contains(job))
        {
            let station = self.jobs.get(*job).and_then(|job| self.machines.get(job.station));
            let mut known = station.into_iter().flatten();
            if !known.any(|machine| state.knows_cycle(machine, programme)) {
                all.push(format!("programme {programme} ({})", method.words()));
            }
        }
        all
    }

    /// The machines that something needs and none of which is in service.
    pub fn without_machine(&self) -> Vec<String> {
        let used = self.without.iter().filter(|(_, job)| self.used.contains(*job));
        let told = used.map(|(method, _)| {
            format!("No {} is in service that suits what has to go through it.", machine_words(*method))
        });
        told.collect()
    }

    pub fn done(self) -> (Vec<Station>, Vec<Job>, Vec<Stop>) {
        (self.stations, self.jobs, self.stops)
    }
}

/// The place of a bench's job. A step that no hands do is not asked for.
fn bench_of(step: StepKind) -> usize {
    BENCHES.iter().position(|(own, _)| *own == step).unwrap_or(0)
}
