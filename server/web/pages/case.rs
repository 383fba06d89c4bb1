//! One case: what do I lay out, is it all there, is all back?

use askama::Template;
use axum::extract::{Form, Path, Query, State as Reach};
use axum::response::Response;

use super::board::shown;
use super::board_say::of_case;
use super::headline::{sheet_name, words_of};
use super::immediate_use;
use super::say::Say;
use super::set::{Past, past};
use super::shared::{self, Done, Page, capital, count, listed, segment};
use super::theatre::{self, Choice, LostLine, LostRow, OtherRow, PartRow, SetRow};
use crate::domain::board::BoardCase;
use crate::domain::case::{Case, CaseStatus};
use crate::domain::check::CheckState;
use crate::domain::count_other::OTHERS;
use crate::domain::event::{Entry, Thing};
use crate::domain::fit_lost::chosen_fails;
use crate::domain::person::Role;
use crate::domain::schedule_line::says;
use crate::domain::state::State;
use crate::web::App;
use crate::web::form::Fields;
use crate::web::visitor::{Visitor, render};

const MOST_ENTRIES: usize = 50;

/// What the form that changes a case begins with.
pub struct Before {
    pub start: String,
    pub minutes: u32,
    pub room: String,
    pub technique: &'static str,
    pub risk: &'static str,
    pub needs: Vec<String>,
}

#[derive(Template)]
#[template(path = "case.html")]
pub struct CasePage {
    pub page: Page,
    pub case: String,
    pub heading: String,
    pub say: Say,
    pub why: Vec<String>,
    /// What the schedule leaves open, where no board says it.
    pub says: Vec<String>,
    /// Messages of the schedule about it that wait for a person.
    pub lines: Vec<String>,
    pub facts: Vec<(&'static str, String)>,
    /// The words that are called across a room, for what is out.
    pub loud: Vec<String>,
    pub lost: Vec<LostRow>,
    pub lines_lost: Vec<LostLine>,
    /// How far the function check is, in words; empty where none is due or all is well.
    pub check: String,
    pub check_done: bool,
    pub others: Vec<OtherRow>,
    pub counts: Vec<String>,
    pub sets: Vec<SetRow>,
    pub parts: Vec<PartRow>,
    pub out: usize,
    /// Still to come, or under way.
    pub open: bool,
    /// What was there and nobody washes.
    pub sealed: Vec<super::sealed_box::Sealed>,
    /// It may still be cancelled: nothing was opened at it, though it was counted back.
    pub cancellable: bool,
    pub closed: bool,
    pub cancelled: String,
    pub before: Before,
    pub techniques: Vec<Choice>,
    pub risks: Vec<Choice>,
    pub needs: Vec<Vec<Choice>>,
    /// Whether a reference is kept, and whether this role may read it.
    pub has_patient: bool,
    pub reads_patient: bool,
    /// The reference, where it was asked for just now.
    pub patient: Option<String>,
    pub emergency_only: bool,
    /// What is to follow of an emergency.
    pub follow: String,
    /// Loads for immediate use here.
    pub immediate: Vec<immediate_use::AtCase>,
    pub history: Vec<Past>,
    pub trouble: String,
}

fn local(state: &State, case: &Case) -> String {
    case.start.in_zone(state.zone).format("%Y-%m-%dT%H:%M").to_string()
}

fn say(state: &State, case: &Case, board: Option<&BoardCase>, lost: bool, visitor: &Visitor) -> Say {
    match (case.status(), board) {
        _ if lost => Say::new("missing", "stop", "not accounted for"),
        (CaseStatus::Cancelled, _) => Say::plain("cancelled"),
        (CaseStatus::Closed, _) => Say::plain("over, counted"),
        (_, Some(board)) => of_case(state, board, visitor.now),
        (CaseStatus::Planned, None) => Say::plain("planned"),
        (CaseStatus::Issued | CaseStatus::Opened, None) => Say::new("out", "ink", "out"),
    }
}

fn heading(
    state: &State,
    case: &Case,
    say: &Say,
    parts: &[PartRow],
    (lost, lines_lost): (&[LostRow], &[LostLine]),
    now_it_is: &str,
) -> String {
    let id = &case.case;
    let name = |part: &LostRow| match part.piece {
        true => format!("a piece of {}", part.asset),
        false => part.asset.clone(),
    };
    let mut searched: Vec<String> = lost.iter().filter(|part| part.outcome.is_empty()).map(name).collect();
    searched.extend(lines_lost.iter().filter(|line| line.outcome.is_empty()).map(|line| line.line.clone()));
    if !searched.is_empty() {
        let verb = if searched.len() == 1 { "is" } else { "are" };
        return format!("Case {id}: {} {verb} not accounted for.", listed(&searched));
    }
    let out = parts.iter().filter(|part| part.out).count();
    match case.status() {
        CaseStatus::Cancelled => format!("Case {id} is cancelled."),
        CaseStatus::Closed if !lost.is_empty() || !lines_lost.is_empty() => {
            let all = stands(lost.len() + lines_lost.len());
            format!("Case {id} is over; {all} still on the list of parts not accounted for.")
        }
        CaseStatus::Closed => {
            let all = parts.len();
            format!(
                "Case {id} is over: {} came back{}.",
                match all {
                    1 => "its one part".into(),
                    n => format!("all {n} parts"),
                },
                not_counted(case)
            )
        }
        CaseStatus::Issued | CaseStatus::Opened => {
            let verb = if out == 1 { "is" } else { "are" };
            format!(
                "Case {id} is under way: {} {verb} out and to be counted back.",
                count(out, "part", "parts")
            )
        }
        CaseStatus::Planned => {
            let hour = shared::time(state, case.start, case.start);
            format!("Case {id} starts {now_it_is}at {hour}: {}.", say.words)
        }
    }
}

/// The lines without parts whose number nobody told: that they are back is not known.
fn not_counted(case: &Case) -> String {
    let counted = |name: &str| case.others.iter().any(|it| it.line.as_str() == name && it.came_out.is_some());
    let open: Vec<String> = OTHERS.into_iter().filter(|name| !counted(name)).map(str::to_string).collect();
    let verb = if matches!(open.as_slice(), [one] if one != "swabs") { "was" } else { "were" };
    if open.is_empty() { String::new() } else { format!("; {} {verb} not counted", listed(&open)) }
}

fn stands(number: usize) -> String {
    let verb = if number == 1 { "part stands" } else { "parts stand" };
    format!("{} {verb}", words_of(number))
}

fn facts(state: &State, case: &Case, visitor: &Visitor) -> Vec<(&'static str, String)> {
    let mut all = vec![
        ("Start", shared::long(state, case.start)),
        (
            "Length",
            format!("{} minutes, until {}", case.minutes, shared::time(state, case.end(), visitor.now)),
        ),
    ];
    all.extend(case.room.as_ref().map(|room| ("Room", room.0.clone())));
    let technique = case.technique.map_or("not decided", |technique| technique.words());
    all.push(("Technique", capital(technique)));
    let needs: Vec<String> = case.needs.iter().map(|sheet| sheet_name(state, sheet)).collect();
    let not_known = case.needs_not_known();
    let told = if needs.is_empty() { "nothing yet".into() } else { listed(&needs) };
    all.push(("Needs", if not_known { format!("Not known; so far {told}") } else { told }));
    all.extend(of_schedule(case));
    all.push(("Known risk", capital(case.risk.words())));
    if case.emergency {
        all.push(("Kind", "An emergency made it".into()));
    }
    all
}

fn lines_about(state: &State, case: &Case) -> Vec<String> {
    let about =
        state.open_schedule_lines().into_iter().filter(|line| line.kept.case.as_ref() == Some(&case.case));
    about.map(|line| line.kept.line.to_string()).collect()
}

/// What the schedule says of it.
fn of_schedule(case: &Case) -> Vec<(&'static str, String)> {
    let Some(of) = &case.schedule else { return Vec::new() };
    let number = of.told.filler.as_ref().or(of.told.placer.as_ref());
    let mut all =
        vec![("Appointment", format!("{}, of {}", number.map_or("", |it| it.as_str()), of.told.sender.0))];
    let codes = of.codes().iter().map(|coded| {
        let known = if of.unmapped.contains(&coded.code) { ", not known here" } else { "" };
        let name = coded.name.as_ref().map(|name| format!(" ({})", name.0)).unwrap_or_default();
        format!("{}{name}{known}", coded.code.0)
    });
    let codes: Vec<String> = codes.collect();
    all.push(("Procedure", if codes.is_empty() { "None is named".into() } else { listed(&codes) }));
    all
}

fn before(state: &State, case: &Case) -> Before {
    Before {
        start: local(state, case),
        minutes: case.minutes,
        room: case.room.as_ref().map(|room| room.0.clone()).unwrap_or_default(),
        technique: case.technique.map_or("not_decided", |technique| technique.name()),
        risk: case.risk.name(),
        needs: case.needs.iter().map(ToString::to_string).collect(),
    }
}

impl CasePage {
    pub fn of(
        visitor: &Visitor,
        case: &Case,
        board: Option<&BoardCase>,
        history: &[Entry],
        done: Option<u64>,
    ) -> CasePage {
        let (state, now, role) = (&*visitor.state, visitor.now, visitor.actor.role);
        let sets = theatre::sets(state, case, now);
        let broken = theatre::broken(history);
        let parts = theatre::parts(state, case, &sets, &broken, now);
        let lost = theatre::lost(state, case, now);
        let lines_lost = theatre::lines_lost(state, case, now);
        let check = CheckState::due(state, case);
        let fails = chosen_fails(state, case, now);
        let is_lost = theatre::searched(&lost, &lines_lost);
        let say = say(state, case, board, is_lost, visitor);
        let day = match case.start.date(state.zone) {
            day if day == now.date(state.zone) => String::new(),
            day => format!("on {} ", shared::date(day)),
        };
        let mut loud: Vec<String> = parts.iter().flat_map(|part| part.loud.iter().cloned()).collect();
        loud.sort_unstable();
        loud.dedup();
        CasePage {
            page: Page::of(visitor, "/cases", format!("/cases/{}", segment(case.case.as_str())), done),
            case: case.case.to_string(),
            heading: heading(state, case, &say, &parts, (&lost, &lines_lost), &day),
            say,
            why: match board {
                Some(board) => board.why.clone(),
                // A case of a later day stands on no board, and may have lost its instruments all the same.
                None if case.is_open() => fails.map(|fails| fails.sentence).into_iter().collect(),
                None => Vec::new(),
            },
            says: super::unfollowed::robbed(state, case)
                .into_iter()
                .chain(says(case, &state.open_schedule_lines()).into_iter().filter(|_| board.is_none()))
                .collect(),
            lines: lines_about(state, case),
            facts: facts(state, case, visitor),
            loud,
            follow: case.unfollowed().map(|it| it.sentence(state)).unwrap_or_default(),
            immediate: immediate_use::of_case(state, &case.case),
            lost,
            check: check.as_ref().and_then(CheckState::words).unwrap_or_default(),
            check_done: check.as_ref().is_some_and(CheckState::done),
            others: theatre::others(case),
            counts: case.counts.iter().rev().map(|it| capital(&theatre::kept(state, it, now))).collect(),
            lines_lost,
            out: parts.iter().filter(|part| part.out).count(),
            sets,
            parts,
            open: case.is_open(),
            sealed: super::sealed_box::of_case(state, case),
            cancellable: case.cancelled.is_none() && !(case.closed && case.took_place()),
            closed: case.closed,
            cancelled: case.cancelled.clone().unwrap_or_default(),
            before: before(state, case),
            techniques: theatre::techniques(case.technique),
            risks: theatre::risks(case.risk),
            needs: theatre::needs(state, &case.needs),
            has_patient: case.patient.is_some(),
            reads_patient: matches!(role, Role::Charge | Role::Infection | Role::Auditor),
            patient: None,
            emergency_only: role == Role::Clinician,
            history: past(state, history, now),
            trouble: String::new(),
        }
    }
}

async fn page(app: &App, visitor: &Visitor, case: &Case, done: Option<u64>) -> CasePage {
    let shown = shown(app, &visitor.state, visitor.now);
    let thing = Thing::case(case.case.as_str());
    let history = app.house.history(&visitor.state.site, &thing, None, MOST_ENTRIES).await;
    let board = theatre::on_board(&shown.board, &case.case);
    let mut page = CasePage::of(visitor, case, board, history.as_deref().unwrap_or_default(), done);
    if let Err(unavailable) = history {
        page.trouble = format!("Its past cannot be shown now (operation {}).", unavailable.operation);
    }
    page
}

fn unknown(case: &str) -> Response {
    super::problem::not_found("case", case, "/cases", "All cases")
}

pub async fn get(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(case): Path<String>,
    Query(done): Query<Done>,
) -> Response {
    let Some(found) = visitor.state.cases.get(case.as_str()) else { return unknown(&case) };
    render(&page(&app, &visitor, found, done.seq()).await)
}

/// The same page with the patient's reference on it. The reading is logged before it is answered, and the reference
/// stands in no address.
pub async fn patient(
    Reach(app): Reach<App>,
    visitor: Visitor,
    Path(case): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let csrf = fields.iter().find(|(name, _)| name == "csrf").map_or("", |(_, value)| value.as_str());
    if !visitor.owns(csrf) {
        return crate::web::fail::foreign_form();
    }
    let Some(found) = visitor.state.cases.get(case.as_str()) else { return unknown(&case) };
    let mut page = page(&app, &visitor, found, None).await;
    match app.house.patient_of(found, &visitor.state.site, &visitor.actor).await {
        Ok(patient) => page.patient = Some(patient.unwrap_or_else(|| "None is kept.".into())),
        Err(gone) => return crate::web::fail::unavailable(&gone.operation),
    }
    render(&page)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::board::Boards;
    use crate::web::pages::sample;
    use serde_json::json;

    fn show(case: &str) -> String {
        let visitor = sample::in_theatre();
        let shown = Boards::default().show(&visitor.state, visitor.now);
        let found = visitor.state.cases.get(case).unwrap();
        let board = theatre::on_board(&shown.board, &found.case);
        sample::show(&format!("case-{case}"), &CasePage::of(&visitor, found, board, &[], None))
    }

    #[test]
    fn a_part_that_is_not_back_is_loud() {
        let text = show("K-1");
        assert!(text.contains("<h1>Case K-1: CAP-02 is not accounted for.</h1>"), "{text}");
        assert!(text.contains("search, tell the surgeon, image by local policy, before the patient leaves"));
        assert!(text.contains("name=\"outcome\""));
    }

    #[test]
    fn a_search_whose_outcome_is_named_is_quiet() {
        let visitor = sample::in_theatre();
        let mut page = CasePage::of(&visitor, visitor.state.cases.get("K-1").unwrap(), None, &[], None);
        page.lost.iter_mut().for_each(|part| part.outcome = "imaging done");
        let text = sample::show("case-search-named", &page);
        // The count sheet on paper keeps the words for whoever counts next.
        assert!(!text.contains("class=\"lost\""), "{text}");
        assert!(text.contains("outcome: imaging done"), "{text}");
    }

    #[test]
    fn what_nobody_counted_is_not_told_as_back() {
        let visitor = sample::in_theatre();
        let mut case = (**visitor.state.cases.get("K-2").unwrap()).clone();
        assert_eq!(not_counted(&case), "; mouth guard, throat pack and swabs were not counted");
        let swabs = json!({"line": "swabs", "in": 4, "out": 4});
        case.others.push(serde_json::from_value(swabs).unwrap());
        assert_eq!(not_counted(&case), "; mouth guard and throat pack were not counted");
    }

    #[test]
    fn a_planned_case_says_what_it_lacks_and_never_who_the_patient_is() {
        let text = show("K-2");
        assert!(text.contains("Case K-2 starts at"), "{text}");
        assert!(text.contains("the reading is logged") && !text.contains("P-4711"));
    }
}
