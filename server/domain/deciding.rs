//! One decision under way: what is asked, what stands against it, what it leaves and what it breaks.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use sha2::{Digest, Sha256};

use super::command::{self, Act, Command, Malformed};
use super::event::{Entry, Event, Left, SEALED, What};
use super::id::{Id, next_free};
use super::person::Actor;
use super::refusal::{Code, Problem, Refusal};
use super::sizes::Doubt;
use super::state::{Asset, State};
use super::text::Sealed;
use super::time::Time;
use super::verdict::Prepared;
use super::{asset, hold, machine, model, set, site, step};
use crate::formats::attachment::Kind;

/// What a decision needs beside the state and the command: who asks, the clock, randomness, and history.
pub struct Asked<'a> {
    pub actor: &'a Actor,
    pub now: Time,
    /// Fresh random bytes; sealed texts are salted with it.
    pub salt: [u8; 16],
    /// Codes of the people and tokens of this site: a text that is one of these needs no seal.
    pub people: &'a BTreeSet<String>,
    /// What the one who asks is called, where the command names somebody.
    pub own_name: Option<&'a str>,
    /// When each turn began, for the parts that a late command names, oldest first.
    pub turns: &'a BTreeMap<Id, Vec<(u32, Time)>>,
    /// The entry that a correction names.
    pub corrected: Option<&'a (Entry, Event)>,
    /// Those attachments that the command names and the site keeps, each with what it is.
    pub attachments: &'a BTreeMap<String, Kind>,
    /// Of the cases that the command names: which have the same patient as one for which something is kept, that one first.
    pub same_patient: &'a BTreeSet<(Id, Id)>,
    /// A verdict computed before, beside the limits that it was computed with.
    pub prepared: Option<&'a Prepared>,
}

/// A text that names somebody, to be kept where it can be erased.
#[derive(Clone, Debug, PartialEq)]
pub struct Secret {
    pub sealed: Sealed,
    pub salt: [u8; 16],
    pub text: String,
}

/// A command accepted.
#[derive(Clone, Debug, PartialEq)]
pub struct Decided {
    pub at: Time,
    pub event: Event,
    pub secrets: Vec<Secret>,
}

/// A command turned away.
#[derive(Clone, Debug, PartialEq)]
pub enum Turned {
    Refused(Refusal),
    Malformed(Vec<Malformed>),
    NotYourRole,
}

/// What gathers while a command is looked at.
pub struct Deciding<'a> {
    pub state: &'a State,
    pub asked: &'a Asked<'a>,
    pub command: &'a Command,
    pub(super) problems: Vec<Problem>,
    pub malformed: Vec<Malformed>,
    pub not_your_role: bool,
    pub deviation: Vec<Code>,
    pub left: Vec<Left>,
    pub(super) overridden: BTreeSet<Code>,
    pub also_opened: Vec<Id>,
    pub sets: Vec<Id>,
    pub made: Option<Id>,
    /// What looks wrong in what is defined, and was taken all the same.
    pub doubts: Vec<Doubt>,
    pub(super) secrets: Vec<Secret>,
    pub(super) holds_made: BTreeSet<Id>,
    /// Where no time is given, it is no earlier than this.
    pub floor: Time,
    /// The last event of what is touched.
    pub(super) touched: Time,
    /// An act that only moves things from place to place, which a prion hold admits.
    pub moves_only: bool,
}

/// Says yes or no to a command. Pure: the same state, command and asked give the same answer.
#[allow(clippy::result_large_err)] // A refusal is an answer as good as a decision, and as large.
pub fn decide(state: &State, asked: &Asked, command: &Command) -> Result<Decided, Turned> {
    if !command.act.admits(asked.actor.role) {
        return Err(Turned::NotYourRole);
    }
    decide_act(state, asked, command)
}

/// Decides without asking for the role: an act that stands for another, whose role was asked.
#[allow(clippy::result_large_err)]
pub(super) fn decide_act(state: &State, asked: &Asked, command: &Command) -> Result<Decided, Turned> {
    let mut deciding = Deciding::new(state, asked, command);
    let what = deciding.act();
    deciding.finish(what)
}

impl<'a> Deciding<'a> {
    fn new(state: &'a State, asked: &'a Asked<'a>, command: &'a Command) -> Deciding<'a> {
        Deciding {
            state,
            asked,
            command,
            problems: Vec::new(),
            malformed: Vec::new(),
            not_your_role: false,
            deviation: Vec::new(),
            left: Vec::new(),
            overridden: BTreeSet::new(),
            also_opened: Vec::new(),
            sets: Vec::new(),
            made: None,
            doubts: Vec::new(),
            secrets: Vec::new(),
            holds_made: BTreeSet::new(),
            floor: asked.now,
            touched: Time(i64::MIN),
            moves_only: matches!(&command.act, Act::Asset(command::Asset::PutAway(_))),
        }
    }

    fn act(&mut self) -> Option<What> {
        use command::{
            Asset, Correct, Finding, Fit, Load, LookBack, Machine, Missing, Model, Recall, Repair, Set, Site,
            Step,
        };
        match &self.command.act {
            Act::Model(Model::DefineRoute(it)) => super::route::define_route(self, it),
            Act::Model(Model::DefineModel(it)) => model::define_model(self, it),
            Act::Model(Model::DefineCountSheet(it)) => set::define_count_sheet(self, it),
            Act::Site(Site::SetPolicy(it)) => site::set_policy(self, it),
            Act::Site(Site::SetReserve(it)) => set::set_reserve(self, it),
            Act::Machine(Machine::DefineMachine(it)) => machine::define_machine(self, it),
            Act::Machine(Machine::MachineOut(it)) => machine::machine_out(self, it),
            Act::Machine(Machine::MachineBack(it)) => machine::machine_back(self, it),
            Act::Machine(Machine::DefineRecordForm(it)) => super::record_form::define(self, it),
            Act::Machine(Machine::RecordMachineTest(it)) => super::testing::record_test(self, it),
            Act::Machine(Machine::ClearFlag(it)) => super::testing::clear_flag(self, it),
            Act::Asset(Asset::AddAsset(it)) => asset::add(self, it),
            Act::Asset(Asset::PutAway(it)) => asset::put_away(self, it),
            Act::Asset(Asset::Retire(it)) => asset::retire(self, it),
            Act::Asset(Asset::MeasureAsset(it)) => super::measuring::measure(self, it),
            Act::Asset(Asset::GiveMark(it)) => super::marking::give(self, it),
            Act::Fit(Fit::Confirm(it)) => super::tried::confirm(self, it),
            Act::Set(Set::BuildSet(it)) => set::build(self, it),
            Act::Set(Set::PutInSet(it)) => super::seating::put_in(self, it),
            Act::Set(Set::TakeFromSet(it)) => super::seating::take_from(self, it),
            Act::Set(Set::Replace(it)) => super::seating::replace(self, it),
            Act::Hold(act) => hold::act(self, act),
            Act::Step(Step::RecordStep(it)) => step::record(self, it),
            Act::Step(Step::Inspect(it)) => super::inspection::inspect(self, it),
            Act::Step(Step::PackBroken(it)) => super::pack::pack_broken(self, it),
            Act::Repair(Repair::Send(it)) => super::repair::send(self, it),
            Act::Repair(Repair::Back(it)) => super::repair::back(self, it),
            Act::Wear(act) => super::upkeep::act(self, act),
            Act::Loan(act) => super::loaning::act(self, act),
            Act::Stranger(act) => super::strangers::act(self, act),
            Act::Stock(act) => super::shelving::act(self, act),
            Act::Case(act) => self.case(act),
            Act::Missing(Missing::Report(it)) => super::missing::report(self, it),
            Act::Missing(Missing::Found(it)) => super::missing::found(self, it),
            Act::Missing(Missing::Close(it)) => super::missing::close(self, it),
            Act::Finding(Finding::Report(it)) => super::finding::report(self, it),
            Act::Finding(Finding::Withdraw(it)) => super::finding::withdraw(self, it),
            Act::Finding(Finding::AddPhoto(it)) => super::finding::add_photo(self, it),
            Act::Correct(Correct::Entry(it)) => super::correct::correct(self, it),
            Act::LookBack(LookBack::Open(it)) => super::lookback::open(self, it),
            Act::LookBack(LookBack::Close(it)) => super::lookback::close(self, it),
            Act::Recall(Recall::Open(it)) => super::recalling::open(self, it),
            Act::Recall(Recall::Narrow(it)) => super::recalling::narrow(self, it),
            Act::Recall(Recall::Answer(it)) => super::recalling::answer(self, it),
            Act::Recall(Recall::Close(it)) => super::recalling::close(self, it),
            Act::Load(Load::Start(it)) => super::loading::start(self, it),
            Act::Load(Load::Judge(it)) => super::loading::judge(self, it),
            Act::Load(Load::RecordIndicator(it)) => super::loading::record_indicator(self, it),
            Act::Load(Load::Release(it)) => super::loading::release(self, it),
            Act::Load(Load::Reject(it)) => super::loading::reject(self, it),
            Act::Load(Load::Countersign(it)) => super::exception::countersign(self, it),
            Act::Schedule(act) => self.schedule(act),
            Act::Request(act) => super::requesting::act(self, act),
            Act::Alert(act) => super::alert::decide(self, act),
            Act::Signature(act) => super::signing::act(self, act),
            Act::Paper(act) => super::paper_deciding::act(self, act),
            Act::WrongThing(act) => super::wrong_thing_settling::act(self, act),
        }
    }

    fn schedule(&mut self, act: &command::Schedule) -> Option<What> {
        use command::Schedule;
        match act {
            Schedule::Map(it) => super::procedure::map(self, it),
            Schedule::TakeOver(it) => super::procedure::take_over(self, it),
            Schedule::Keep(it) => super::schedule_line::keep(self, it),
            Schedule::Settle(it) => super::schedule_line::settle(self, it),
        }
    }

    fn case(&mut self, act: &command::Case) -> Option<What> {
        use command::Case;
        match act {
            Case::Plan(it) => super::planning::plan(self, it),
            Case::Change(it) => super::planning::change(self, it),
            Case::Cancel(it) => super::planning::cancel(self, it),
            Case::Promise(it) => super::planning::promise(self, it),
            Case::Withdraw(it) => super::planning::withdraw(self, it),
            Case::Issue(it) => super::issuing::issue(self, it),
            Case::Open(it) => super::opening::open(self, it),
            Case::Use(it) => super::opening::used(self, it),
            Case::CloseCount(it) => super::counting::close(self, it),
            Case::Check(it) => super::check::record(self, it),
            Case::Count(it) => super::count::record(self, it),
            Case::Choose(it) => super::choosing::choose(self, it),
            Case::ErasePatient(it) => super::erasing::erase(self, it),
        }
    }

    /// The next free name of a hold; several may be placed by one entry.
    pub fn new_hold(&mut self) -> Option<Id> {
        let taken = |id: &Id| self.state.holds.contains_key(id) || self.holds_made.contains(id);
        let hold = next_free("hold", 4, self.state.holds.len(), taken)?;
        self.holds_made.insert(hold.clone());
        Some(hold)
    }

    /// Names the last event of a thing that the command touches.
    pub fn touches(&mut self, last: Option<Time>) {
        if let Some(last) = last {
            self.floor = self.floor.max(last);
            self.touched = self.touched.max(last);
        }
    }

    /// When it happened: as told, else now, but not before the last event of what is touched.
    pub fn at(&self) -> Time {
        self.command.around.at.unwrap_or(self.floor)
    }

    pub fn late(&self) -> bool {
        self.command.around.late.is_some()
    }

    /// Puts a problem against the command, unless an override sets it aside. What is told after the fact is not
    /// refused for it, but where the problem stands against facts too.
    pub fn against(&mut self, problem: Problem) {
        if self.may_waive(&problem) {
            self.overridden.insert(problem.code);
        } else if self.late() && !problem.even_late {
            self.deviates(problem.code);
        } else {
            self.problems.push(problem);
        }
    }

    /// Notes that the command's override set these aside for a part that was accepted.
    pub fn overrode(&mut self, codes: impl IntoIterator<Item = Code>) {
        self.overridden.extend(codes);
    }

    /// The command's override, where it set this aside.
    pub fn set_aside(&self, code: Code) -> Option<&'a command::Override> {
        self.command.around.overriding.as_ref().filter(|_| self.overridden.contains(&code))
    }

    /// A rule that a fact broke: recorded beside it.
    pub fn deviates(&mut self, code: Code) {
        if !self.deviation.contains(&code) {
            self.deviation.push(code);
        }
    }

    pub fn leave(&mut self, left: Vec<(Arc<Asset>, Vec<Problem>)>) {
        for (asset, problems) in left {
            if let Some(first) = problems.first() {
                let detail = first.detail();
                self.left.push(Left { asset: asset.asset.clone(), code: first.code, detail });
            }
        }
    }

    /// A text that names somebody: a known code stands as it is, anything else is sealed.
    pub fn seal(&mut self, text: &str) -> Sealed {
        if self.asked.people.contains(text) {
            return text.to_string();
        }
        self.seal_always(text)
    }

    /// A patient's reference is sealed whatever it looks like.
    pub fn seal_always(&mut self, text: &str) -> Sealed {
        let mut hash = Sha256::new();
        hash.update(self.asked.salt);
        hash.update([self.secrets.len() as u8]);
        hash.update(text.as_bytes());
        let sealed = format!("{SEALED}{}", hex::encode(hash.finalize()));
        self.secrets.push(Secret { sealed: sealed.clone(), salt: self.asked.salt, text: text.to_string() });
        sealed
    }
}
