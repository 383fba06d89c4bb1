//! What may be asked. One closed enum, nested by noun; beside each command stand the roles that may give it.

pub use super::around::{AROUND, Around, Codes, Key, Late, LateCause, Override};
pub use super::malformed::{Malformed, read_form, wrong};
use super::person::Role::{self, *};
use super::schema::Form;
use super::text::Text;
use super::{
    alert, asset, case, check, choosing, correct, count, count_other, dedicate, exception, finding, hold,
    inspect_next, load, loan, lookback, machine, marking, measuring, missing, mixed, model, paper, procedure,
    recall, record_form, repair, request, schedule_line, set, shelf, signing, site, step, stranger, tried,
    upkeep, wrong_thing,
};
use serde::{Serialize, Serializer};
use serde_json::{Map, Value};

/// A command and what stands around it.
#[derive(Clone, Debug, PartialEq)]
pub struct Command {
    pub around: Around,
    pub act: Act,
}

/// A command's parts in one object.
#[derive(Serialize)]
struct Flat<'a, T> {
    #[serde(rename = "do")]
    name: &'static str,
    #[serde(flatten)]
    around: &'a Around,
    #[serde(flatten)]
    own: &'a T,
}

/// A command less its key: what it asks, whoever asks it how often.
pub struct LessKey<'a>(pub &'a Command);

impl Serialize for LessKey<'_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let around = Around { key: None, ..self.0.around.clone() };
        self.0.act.write(&around, to)
    }
}

/// The command in the form that [`Command::read`] takes.
impl Serialize for Command {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        self.act.write(&self.around, to)
    }
}

macro_rules! acts {
    ($($noun:ident { $($name:literal $variant:ident($form:ty) by $roles:expr;)* })*) => {
        /// What is asked, by noun.
        // A command lives alone, and briefly: a box would cost more than the room.
        #[allow(clippy::large_enum_variant)]
        #[derive(Clone, Debug, PartialEq)]
        pub enum Act { $($noun($noun),)* }

        $(
            #[allow(clippy::large_enum_variant)]
            #[derive(Clone, Debug, PartialEq)]
            pub enum $noun { $($variant($form),)* }
        )*

        impl Act {
            /// Every command's name, in the order of the catalogue of commands.
            pub const NAMES: &'static [&'static str] = &[$($($name,)*)*];

            pub fn name(&self) -> &'static str {
                match self { $($(Act::$noun($noun::$variant(_)) => $name,)*)* }
            }

            /// The roles that may give this command in some form; [`Act::admits`] says it exactly.
            pub fn roles(name: &str) -> &'static [Role] {
                match name { $($($name => $roles,)*)* _ => &[] }
            }

            /// Every command's name, roles and form, in the order of the catalogue of commands.
            pub fn forms() -> Vec<(&'static str, &'static [Role], Form)> {
                vec![$($(($name, $roles, Form::of::<$form>()),)*)*]
            }

            fn read(name: &str, fields: Value) -> Result<Act, Malformed> {
                match name {
                    $($($name => read_form(fields).map(|it| Act::$noun($noun::$variant(it))),)*)*
                    other => Err(Malformed {
                        pointer: "/do".into(),
                        detail: format!("found \"{other}\", which is no command; one of {} is needed", Act::NAMES.join(", ")),
                    }),
                }
            }

            /// Writes the command's name, what stands around it and its own fields as one object.
            fn write<S: Serializer>(&self, around: &Around, to: S) -> Result<S::Ok, S::Error> {
                let name = self.name();
                match self { $($(Act::$noun($noun::$variant(own)) => Flat { name, around, own }.serialize(to),)*)* }
            }
        }
    };
}

acts! {
    Model {
        "define_route" DefineRoute(model::DefineRoute) by &[Admin];
        "define_model" DefineModel(model::DefineModel) by &[Admin, Biomed];
        "define_count_sheet" DefineCountSheet(set::DefineCountSheet) by &[Admin, Lead];
    }
    Site {
        "set_policy" SetPolicy(site::SetPolicy) by &[Admin];
        "set_reserve" SetReserve(set::SetReserve) by &[Lead, Charge];
    }
    Machine {
        "define_machine" DefineMachine(machine::DefineMachine) by &[Admin];
        "machine_out" MachineOut(machine::MachineOut) by &[Desk, Lead, Biomed];
        "machine_back" MachineBack(machine::MachineBack) by &[Lead, Biomed];
        "record_machine_test" RecordMachineTest(machine::RecordMachineTest) by &[Desk, Lead, Biomed];
        "define_record_form" DefineRecordForm(record_form::DefineRecordForm) by &[Lead, Admin];
        "clear_flag" ClearFlag(machine::ClearFlag) by &[Lead, Biomed];
    }
    Asset {
        "add_asset" AddAsset(asset::AddAsset) by &[Lead, Biomed];
        "put_away" PutAway(asset::PutAway) by &[Desk, Lead, Charge];
        "retire" Retire(asset::Retire) by &[Biomed];
        "measure_asset" MeasureAsset(measuring::MeasureAsset) by &[Desk, Lead, Biomed];
        "give_mark" GiveMark(marking::GiveMark) by &[Lead, Biomed];
    }
    Set {
        "build_set" BuildSet(set::BuildSet) by &[Lead];
        "put_in_set" PutInSet(set::PutInSet) by &[Desk, Lead];
        "take_from_set" TakeFromSet(set::TakeFromSet) by &[Desk, Lead];
        "replace" Replace(set::Replace) by &[Desk, Lead];
    }
    Hold {
        "hold" Place(hold::Place) by &[Desk, Lead, Charge, Biomed, Infection];
        "lift_hold" Lift(hold::Lift) by &[Lead, Biomed, Infection];
        "dedicate" Dedicate(dedicate::Dedicate) by &[Infection];
    }
    Step {
        "record_step" RecordStep(step::RecordStep) by &[Desk, Lead, Charge, Clinician];
        "inspect" Inspect(step::Inspect) by &[Desk, Lead, Biomed];
        "pack_broken" PackBroken(step::PackBroken) by &[Desk, Lead, Charge, Clinician];
    }
    Repair {
        "send_to_repair" Send(repair::SendToRepair) by &[Biomed];
        "back_from_repair" Back(repair::BackFromRepair) by &[Biomed];
    }
    Wear {
        "set_model_costs" SetCosts(upkeep::SetModelCosts) by &[Biomed, Admin];
        "set_life_limit" SetLimit(upkeep::SetLifeLimit) by &[Biomed];
        "request_inspection" RequestInspection(inspect_next::RequestInspection) by &[Lead, Biomed];
    }
    Case {
        "plan_case" Plan(case::PlanCase) by &[Lead, Charge];
        "change_case" Change(case::ChangeCase) by &[Charge, Clinician];
        "cancel_case" Cancel(case::CancelCase) by &[Charge];
        "promise" Promise(case::Promise) by &[Lead, Charge];
        "withdraw_promise" Withdraw(case::Promise) by &[Lead, Charge];
        "issue" Issue(case::Issue) by &[Desk, Lead, Charge, Clinician];
        "open" Open(case::Open) by &[Charge, Clinician];
        "use" Use(case::Use) by &[Charge, Clinician];
        "close_count" CloseCount(case::CloseCount) by &[Charge, Clinician];
        "choose_configuration" Choose(choosing::ChooseConfiguration) by &[Lead, Charge, Clinician];
        "record_check" Check(check::RecordCheck) by &[Charge, Clinician];
        "record_count" Count(count::RecordCount) by &[Desk, Lead, Charge, Clinician];
        "erase_patient" ErasePatient(case::ErasePatient) by &[Infection, Admin];
    }
    Fit {
        "confirm_fit" Confirm(tried::ConfirmFit) by &[Desk, Lead, Charge, Clinician, Biomed];
    }
    Missing {
        "report_missing" Report(missing::ReportMissing) by &[Desk, Lead, Charge, Clinician];
        "found" Found(missing::Found) by &[Desk, Lead, Charge, Clinician, Biomed, Infection];
        "close_missing" Close(missing::CloseMissing) by &[Lead, Charge];
    }
    Finding {
        "report_finding" Report(finding::ReportFinding) by &[Desk, Lead, Charge, Clinician, Biomed, Infection];
        "withdraw_finding" Withdraw(finding::WithdrawFinding) by &[Desk, Lead, Charge, Clinician, Biomed, Infection];
        "add_photo" AddPhoto(finding::AddPhoto) by &[Desk, Lead, Charge, Clinician, Biomed, Infection];
    }
    Correct {
        "correct" Entry(correct::Correct) by &[Lead];
    }
    LookBack {
        "open_look_back" Open(lookback::OpenLookBack) by &[Lead, Infection];
        "close_look_back" Close(lookback::CloseLookBack) by &[Infection];
    }
    Schedule {
        "map_procedure" Map(procedure::MapProcedure) by &[Lead, Charge];
        "apply_procedures" TakeOver(procedure::ApplyProcedures) by &[Lead, Charge];
        "keep_schedule_message" Keep(schedule_line::KeepScheduleMessage) by &[Charge];
        "settle_schedule_message" Settle(schedule_line::SettleScheduleMessage) by &[Lead, Charge];
    }
    Request {
        "send_request" Send(request::SendRequest) by &[Charge];
        "answer_request" Answer(request::AnswerRequest) by &[Desk, Lead];
        "withdraw_request" Withdraw(request::WithdrawRequest) by &[Charge];
    }
    Recall {
        "recall" Open(recall::OpenRecall) by &[Lead, Biomed, Infection];
        "narrow_recall" Narrow(recall::NarrowRecall) by &[Infection];
        "answer_recall" Answer(recall::AnswerRecall) by &[Lead, Infection];
        "close_recall" Close(recall::CloseRecall) by &[Infection];
    }
    Load {
        "start_load" Start(load::Start) by &[Desk, Lead];
        "judge_load" Judge(load::Judge) by &[Desk, Lead];
        "record_indicator" RecordIndicator(load::RecordIndicator) by &[Desk, Lead];
        "release_load" Release(load::Release) by &[Desk, Lead];
        "reject_load" Reject(load::Reject) by &[Desk, Lead];
        "countersign" Countersign(exception::Countersign) by &[Desk, Lead];
    }
    Loan {
        "arrive" Arrive(loan::Arrive) by &[Desk, Lead];
        "leave" Leave(loan::Leave) by &[Desk, Lead];
    }
    Stranger {
        "receive_stranger" Receive(stranger::ReceiveStranger) by &[Desk, Lead];
        "tell_owner" TellOwner(stranger::TellOwner) by &[Desk, Lead];
        "settle_stranger" Settle(stranger::SettleStranger) by &[Desk, Lead];
        "identity_doubt" Doubt(mixed::IdentityDoubt) by &[Desk, Lead];
        "settle_identity" SettleIdentity(mixed::SettleIdentity) by &[Lead];
    }
    Stock {
        "stock_in" In(shelf::StockIn) by &[Desk, Lead, Charge];
        "stock_out" Out(shelf::StockOut) by &[Desk, Lead, Charge];
        "use_stock" Use(shelf::UseStock) by &[Charge, Clinician];
        "set_stock_minimum" Minimum(shelf::SetStockMinimum) by &[Lead, Charge, Biomed];
    }
    Paper {
        "print_sheets" Print(paper::PrintSheets) by &[Desk, Lead, Charge];
        "void_sheet" Void(paper::VoidSheet) by &[Desk, Lead, Charge];
        "finish_sheet" Finish(paper::FinishSheet) by &[Desk, Lead, Charge];
    }
    WrongThing {
        "report_wrong_thing" Report(wrong_thing::ReportWrongThing) by &[Desk, Lead, Charge, Clinician];
        "settle_wrong_thing" Settle(wrong_thing::SettleWrongThing) by &[Lead];
    }
    Alert {
        "set_alert" Set(alert::SetAlert) by &[Lead, Charge, Admin];
        "drop_alert" Drop(alert::DropAlert) by &[Lead, Charge, Admin];
    }
    Signature {
        "take_over" TakeOver(signing::TakeOver) by &[Desk, Lead, Charge];
        "review_exceptions" Review(signing::ReviewExceptions) by &[Lead, Infection];
    }
}

impl Act {
    /// Whether this role may give this very command. What depends on more than the name (a hold's kind lives in the
    /// state when it is lifted) is asked again in `decide`.
    pub fn admits(&self, role: Role) -> bool {
        let in_general = Act::roles(self.name()).contains(&role);
        match self {
            Act::Step(Step::RecordStep(record)) if record.step != step::StepName::Treated => {
                matches!(role, Desk | Lead)
            }
            Act::Hold(Hold::Place(place)) => place.kind.placed_by().contains(&role),
            Act::Case(Case::Change(it)) if role == Clinician => !it.beyond_technique_and_risk(),
            Act::Case(Case::Issue(it)) if role == Clinician => it.emergency == Some(true),
            Act::Load(Load::Release(it)) if it.early.is_some() => role == Lead,
            Act::Case(Case::Count(it)) => it.admits(role),
            // That its owner fetched it is seen by whoever stands at the door; what it is, the lead says.
            Act::Stranger(Stranger::Settle(it)) if role == Desk => {
                it.outcome == stranger::StrangerOutcome::Collected
            }
            _ => in_general,
        }
    }
}

impl Act {
    /// Whether the command tells what happened rather than asking for permission. Anything late does too.
    pub fn tells_a_fact(&self) -> bool {
        match self {
            Act::Step(Step::RecordStep(it)) => {
                matches!(it.step, step::StepName::Treated | step::StepName::Received)
            }
            Act::Step(Step::PackBroken(_)) | Act::Finding(Finding::Report(_)) => true,
            Act::Case(Case::Open(_) | Case::Use(_) | Case::CloseCount(_)) => true,
            Act::Case(Case::Choose(it)) => it.done == Some(true),
            Act::Asset(Asset::MeasureAsset(_)) | Act::Fit(Fit::Confirm(_)) => true,
            Act::Case(Case::Check(_) | Case::Count(_)) | Act::Finding(Finding::AddPhoto(_)) => true,
            Act::Missing(Missing::Report(_) | Missing::Found(_)) => true,
            Act::WrongThing(WrongThing::Report(_)) => true,
            Act::Request(Request::Answer(it)) => it.answer == request::Reply::Done,
            Act::Stranger(Stranger::Receive(_) | Stranger::TellOwner(_) | Stranger::Doubt(_)) => true,
            Act::Stock(Stock::Use(_)) => true,
            _ => false,
        }
    }
}

impl Command {
    /// Reads a command from JSON. The first thing wrong in the fields around it and the first in its own are told.
    pub fn read(value: Value) -> Result<Command, Vec<Malformed>> {
        let Value::Object(mut own) = value else {
            return Err(vec![Malformed {
                pointer: String::new(),
                detail: "found no object; a command is needed".into(),
            }]);
        };
        let mut around = Map::new();
        for name in AROUND {
            if let Some(value) = own.remove(name) {
                around.insert(name.into(), value);
            }
        }
        let name = match own.remove("do") {
            Some(Value::String(name)) => name,
            found => {
                let found = if found.is_some() { "found another type" } else { "missing" };
                let detail = format!("{found}; the name of a command is needed");
                return Err(vec![Malformed { pointer: "/do".into(), detail }]);
            }
        };
        match (read_form::<Around>(Value::Object(around)), Act::read(&name, Value::Object(own))) {
            (Ok(around), Ok(act)) => {
                let whole = super::bounds::whole(&act).and_then(|()| act.note_is_clear(around.note.as_ref()));
                let whole = whole.and_then(|()| around.whole());
                whole.map(|()| Command { around, act }).map_err(|wrong| vec![wrong])
            }
            (around, act) => Err(around.err().into_iter().chain(act.err()).collect()),
        }
    }

    /// The command as JSON, in the form that [`Command::read`] takes.
    pub fn to_value(&self) -> Result<Value, serde_json::Error> {
        serde_json::to_value(self)
    }

    pub fn plain(act: Act) -> Command {
        Command { around: Around::default(), act }
    }
}

impl Act {
    /// A note stands in clear, so it names nobody whom the command itself seals.
    fn note_is_clear(&self, note: Option<&Text>) -> Result<(), Malformed> {
        match self {
            Act::Load(Load::Release(it)) => it.note_is_clear(note),
            _ => Ok(()),
        }
    }

    /// What serde cannot see: fields that need or exclude each other.
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        match self {
            Act::Model(Model::DefineRoute(it)) => it.whole(),
            Act::Model(Model::DefineCountSheet(it)) => it.whole(),
            Act::Model(Model::DefineModel(it)) => it.whole(),
            Act::Machine(Machine::DefineMachine(it)) => it.whole(),
            Act::Machine(Machine::RecordMachineTest(it)) => it.whole(),
            Act::Machine(Machine::DefineRecordForm(it)) => it.whole(),
            Act::Hold(Hold::Place(it)) => it.whole(),
            Act::Step(Step::RecordStep(it)) => it.whole(),
            Act::Step(Step::Inspect(it)) => it.whole(),
            Act::Load(Load::Judge(it)) => it.whole(),
            Act::Load(Load::Release(it)) => it.whole(),
            Act::Site(Site::SetPolicy(it)) => it.whole(),
            Act::Case(Case::Plan(it)) => it.whole(),
            Act::Case(Case::Change(it)) => it.whole(),
            Act::Case(Case::Issue(it)) => it.whole(),
            Act::Case(Case::ErasePatient(it)) => it.whole(),
            Act::Case(Case::Choose(it)) => it.configuration.whole("/configuration"),
            Act::Asset(Asset::MeasureAsset(it)) => it.whole(),
            Act::Asset(Asset::AddAsset(it)) => super::mark::may_be_kept("", it.mark.as_ref()),
            Act::Asset(Asset::Retire(it)) => it.cause.may_be_told(),
            Act::Loan(Loan::Arrive(it)) => it.whole(),
            Act::Stranger(Stranger::Receive(it)) => it.whole(),
            Act::Stranger(Stranger::Settle(it)) => it.whole(),
            Act::Stranger(Stranger::SettleIdentity(it)) => it.whole(),
            Act::Stock(Stock::In(it)) => it.whole(),
            Act::Stock(Stock::Out(it)) => it.whole(),
            Act::Stock(Stock::Use(it)) => it.whole(),
            Act::Stock(Stock::Minimum(it)) => it.whole(),
            Act::Asset(Asset::GiveMark(it)) => super::mark::may_name("", it.mark.as_ref()),
            Act::Set(Set::Replace(it)) => it.cause.may_be_told().and_then(|()| it.new.whole()),
            Act::Fit(Fit::Confirm(it)) => it.whole(),
            Act::Wear(it) => it.whole(),
            Act::Case(Case::CloseCount(it)) => count_other::others_whole(&it.others),
            Act::Case(Case::Check(it)) => it.whole(),
            Act::Case(Case::Count(it)) => it.whole(),
            Act::Missing(Missing::Close(it)) => it.whole(),
            Act::LookBack(LookBack::Open(it)) => it.origin.whole(),
            Act::Schedule(Schedule::Map(it)) => it.whole(),
            Act::Schedule(Schedule::TakeOver(it)) => it.whole(),
            Act::Schedule(Schedule::Keep(it)) => it.whole(),
            Act::Schedule(Schedule::Settle(it)) => it.whole(),
            Act::Request(Request::Send(it)) => it.whole(),
            Act::Signature(it) => it.whole(),
            Act::Alert(Alert::Set(it)) => it.whole(),
            Act::Paper(Paper::Print(it)) => it.whole(),
            Act::Recall(Recall::Open(it)) => it.whole(),
            Act::Recall(Recall::Narrow(it)) => it.whole(),
            Act::Recall(Recall::Answer(it)) => it.whole(),
            _ => Ok(()),
        }
    }
}
