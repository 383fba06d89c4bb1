//! The week ahead: are the sets enough for it, and what would help?

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::headline::sheet_name;
use super::problem;
use super::say::Say;
use super::shared::{Page, count, listed, segment, time};
use crate::domain::forecast::odds;
use crate::domain::state::{Condition, State};
use crate::domain::time::{Date, Time};
use crate::domain::week::{CaseAhead, Chance, DayAhead, SheetAhead, Week, day_words};
use crate::domain::what_if::{DAYS_MOST, Question, SETS_MOST};
use crate::web::App;
use crate::web::api::week::Asked;
use crate::web::session::encoded;
use crate::web::visitor::{Visitor, render};

/// From here on a day is likely, as on the board.
const LIKELY: f64 = 0.5;
const GOOD: f64 = 0.8;

pub struct SheetRow {
    pub name: String,
    pub needs: String,
    pub say: Say,
    pub changed: Option<Say>,
}

pub struct DayRow {
    pub day: String,
    pub cases: String,
    pub say: Say,
    pub changed: Option<Say>,
    pub sheets: Vec<SheetRow>,
}

pub struct CaseRow {
    pub href: String,
    pub case: String,
    pub start: String,
    pub needs: String,
    pub say: Say,
    pub why: String,
}

pub struct HelpRow {
    pub sentence: String,
    /// Where it can be looked at day by day; empty where it cannot be asked.
    pub href: String,
}

/// What a form offers to choose from.
pub struct Choice {
    pub value: String,
    pub words: String,
    pub chosen: bool,
}

#[derive(Template)]
#[template(path = "week.html")]
pub struct WeekPage {
    pub page: Page,
    pub heading: String,
    pub lead: String,
    /// What is asked, and what it would change.
    pub asked: Option<(String, String)>,
    pub days: Vec<DayRow>,
    pub at_risk: Vec<CaseRow>,
    pub helps: Vec<HelpRow>,
    pub not_known: Vec<String>,
    pub more: Vec<Choice>,
    pub without: Vec<Choice>,
    pub down: Vec<Choice>,
    pub back: Vec<Choice>,
    pub case: Vec<Choice>,
    pub given: Asked,
    pub days_most: u32,
    pub sets_most: u32,
}

fn say(chance: Option<Chance>) -> Say {
    match chance {
        None => Say::plain("not known"),
        Some(it) if it.chance >= GOOD => Say::new("ready", "ready", it.words()),
        Some(it) if it.chance >= LIKELY => Say::due(it.words()),
        Some(it) => Say::new("not_ready", "stop", it.words()),
    }
}

/// A day of which every case has its sets already is no matter of chance.
fn say_day(day: &DayAhead) -> Say {
    match day.all {
        None if !day.cases.is_empty() && day.cases.iter().all(|case| case.out) => {
            Say::new("out", "ink", "under way, they have their sets")
        }
        all => say(all),
    }
}

/// A chance without its range.
fn say_briefly(chance: Option<Chance>) -> Say {
    let words = chance.map(|it| odds(it.chance));
    Say { words: words.unwrap_or_else(|| "not known".into()), ..say(chance) }
}

fn day_of(days: &[DayAhead], day: Date) -> Option<&DayAhead> {
    days.iter().find(|it| it.day == day)
}

fn needs(state: &State, sheet: &SheetAhead) -> String {
    let reserve = state.reserves.get(&sheet.count_sheet).copied().unwrap_or(0);
    let beside =
        if reserve > 0 { format!(", besides {reserve} of the emergency reserve") } else { String::new() };
    format!(
        "{}, {} away at one time; {}{beside}",
        count(sheet.cases, "case", "cases"),
        sheet.at_once,
        count(sheet.sets, "set", "sets")
    )
}

fn day_row(state: &State, day: &DayAhead, week: &Week) -> DayRow {
    let asked = !week.asks.is_empty();
    let other = day_of(&week.changed, day.day);
    let sheets = day.sheets.iter().map(|sheet| {
        let other = other.and_then(|day| day.sheets.iter().find(|it| it.count_sheet == sheet.count_sheet));
        SheetRow {
            name: sheet_name(state, &sheet.count_sheet),
            // What is needed with what is asked, where that is another number.
            needs: match other.map(|it| needs(state, it)).filter(|with| *with != needs(state, sheet)) {
                Some(with) => format!("{}. With it: {with}", needs(state, sheet)),
                None => needs(state, sheet),
            },
            say: say(Some(sheet.all)),
            changed: asked.then(|| say(other.map(|it| it.all))),
        }
    });
    let out = day.cases.iter().filter(|case| case.out).count();
    let open = day.cases.iter().filter(|case| !case.out && case.chance.is_none()).count();
    let beside = [(out, "under way"), (open, "not known")];
    let beside = beside.iter().filter(|(n, _)| *n > 0).map(|(n, words)| format!(", {n} of them {words}"));
    DayRow {
        day: day_words(day.day),
        cases: count(day.cases.len(), "case", "cases") + &beside.collect::<String>(),
        say: say_day(day),
        changed: asked.then(|| other.map_or_else(|| say(None), say_day)),
        sheets: sheets.collect(),
    }
}

fn case_row(state: &State, case: &CaseAhead, now: Time) -> CaseRow {
    let names: Vec<String> = case.needs.iter().map(|sheet| sheet_name(state, sheet)).collect();
    let never = case.chance.is_some_and(|it| it.chance == 0.0) && case.held_up_by.is_none();
    let lacks = case.lacks.as_ref().map(|sheet| match never {
        true => format!("No set “{}” comes for it.", sheet_name(state, sheet)),
        false => format!("“{}” is there last.", sheet_name(state, sheet)),
    });
    let longest = case.held_up_by.as_ref().map(|step| format!("Where it is late, {step} takes longest."));
    let why: Vec<String> = [case.not_known.clone(), lacks, longest].into_iter().flatten().collect();
    CaseRow {
        href: format!("/cases/{}", segment(case.case.as_str())),
        case: case.case.to_string(),
        start: time(state, case.start, now),
        needs: listed(&names),
        say: say_briefly(case.chance),
        why: why.join(" "),
    }
}

/// The worst day first, with the count sheet that is tightest there.
fn heading(state: &State, days: &[DayAhead]) -> String {
    let chances = days.iter().filter_map(|day| Some((day, day.all?)));
    let Some((day, all)) = chances.min_by(|a, b| a.1.chance.total_cmp(&b.1.chance)) else {
        return "No case is planned for these days whose needs are known.".into();
    };
    let called = day_words(day.day);
    let odds = odds(all.chance);
    if all.chance >= GOOD {
        return format!("Every day should be equipped; the least likely is {called}, all of it {odds}.");
    }
    let lacking = |it: &SheetAhead| it.at_once.saturating_sub(it.sets);
    let worst = day
        .sheets
        .iter()
        .min_by(|a, b| a.all.chance.total_cmp(&b.all.chance).then(lacking(b).cmp(&lacking(a))));
    let tightest = worst.map(|sheet| {
        format!(" Tightest: “{}”, {}.", sheet_name(state, &sheet.count_sheet), needs(state, sheet))
    });
    format!("{called} is short: all of its cases equipped in time, {odds}.{}", tightest.unwrap_or_default())
}

/// What is asked, in words.
fn asked_words(state: &State, asks: &Question, now: Time) -> String {
    let more = asks.more.as_ref().map(|(sheet, sets)| {
        format!("{} “{}”", count(*sets as usize, "more set", "more sets"), sheet_name(state, sheet))
    });
    let without = asks.without.as_ref().map(|set| format!("set {set} away"));
    let down = asks.down.as_ref().map(|machine| format!("{machine} out of service"));
    let back = asks.back.as_ref().map(|machine| format!("{machine} back in service"));
    let case = asks.case.as_ref().map(|case| {
        format!("a case more, “{}” on {}", sheet_name(state, &case.count_sheet), time(state, case.start, now))
    });
    listed(&[more, without, down, back, case].into_iter().flatten().collect::<Vec<_>>())
}

fn difference(week: &Week) -> String {
    let Some((cases, low, high)) = week.difference else {
        return "Day by day below: as planned, and with it.".into();
    };
    if [cases, low, high].iter().all(|it| it.abs() < 0.05) {
        return "It makes no difference: as many cases are equipped in time. Day by day below.".into();
    }
    let (words, cases, low, high) = match cases < 0.0 {
        true => ("fewer", -cases, -high, -low),
        false => ("more", cases, low, high),
    };
    format!("{cases:.1} cases {words} are equipped in time ({low:.1} to {high:.1}). Day by day below.")
}

impl WeekPage {
    pub fn of(visitor: &Visitor, week: &Week, given: Asked) -> WeekPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let is_at_risk = |case: &&CaseAhead| !case.out && case.chance.is_none_or(|it| it.chance < GOOD);
        let shown = if week.changed.is_empty() { &week.days } else { &week.changed };
        let at_risk = shown.iter().flat_map(|day| &day.cases).filter(is_at_risk);
        let helps = week.helps.iter().map(|it| HelpRow {
            sentence: it.sentence.clone(),
            href: match (&it.asks.more, &it.asks.back) {
                (Some((sheet, _)), _) => {
                    format!("/week?days={}&more={}", it.asks.days, encoded(sheet.as_str()))
                }
                (_, Some(back)) => format!("/week?days={}&back={}", it.asks.days, encoded(back.as_str())),
                _ => String::new(),
            },
        });
        let choice = |value: &str, words: String, chosen: &str| Choice {
            value: value.into(),
            words,
            chosen: chosen.trim() == value,
        };
        let sheets = |chosen: &str| -> Vec<Choice> {
            state.sheets.keys().map(|it| choice(it.as_str(), sheet_name(state, it), chosen)).collect()
        };
        let machines = |runs: bool, chosen: &str| -> Vec<Choice> {
            let of = state.machines.values().filter(|it| (it.condition == Condition::InService) == runs);
            of.map(|it| choice(it.machine.as_str(), it.machine.to_string(), chosen)).collect()
        };
        WeekPage {
            page: Page::of(visitor, "/week", "/week", None),
            heading: match week.asks.is_empty() {
                true => heading(state, &week.days),
                false => {
                    format!("With {}: {}", asked_words(state, &week.asks, now), heading(state, &week.changed))
                }
            },
            lead: format!(
                "A forecast of {} over {}, from {} runs. Ranges are of the runs alone: that cases last and work goes as \
                 here so far is taken for granted, and what nobody has planned yet is not in it.",
                time(state, week.as_of, now),
                count(week.asks.days as usize, "day", "days"),
                week.replications
            ),
            asked: (!week.asks.is_empty()).then(|| (asked_words(state, &week.asks, now), difference(week))),
            days: week.days.iter().map(|day| day_row(state, day, week)).collect(),
            at_risk: at_risk.map(|case| case_row(state, case, now)).collect(),
            helps: helps.collect(),
            not_known: week.not_known.clone(),
            more: sheets(&given.more),
            case: sheets(&given.add),
            without: state
                .sets
                .values()
                .map(|set| choice(set.set.as_str(), format!("{} {}", set.set, set.name.0), &given.without))
                .collect(),
            down: machines(true, &given.down),
            back: machines(false, &given.back),
            given,
            days_most: DAYS_MOST,
            sets_most: SETS_MOST,
        }
    }
}

/// The week as it is planned, with what was asked still in the form: nothing that was typed is lost.
async fn refused(app: &App, visitor: &Visitor, given: Asked, why: &str) -> Response {
    const CANNOT: &str = "This cannot be worked out.";
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    match app.house.week(visitor.state.clone(), visitor.now, Question::default()).await {
        Ok(week) => {
            let mut page = WeekPage::of(visitor, &week, given);
            page.heading = format!("{CANNOT} {why}");
            (status, render(&page)).into_response()
        }
        Err(_) => problem::page(status, CANNOT, why, ""),
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(given): Query<Asked>) -> Response {
    let question = match given.question(visitor.state.zone) {
        Ok(question) => question,
        Err(errors) => {
            let why = errors.iter().map(|it| format!("{}.", it.detail)).collect::<Vec<_>>().join(" ");
            return refused(&app, &visitor, given, &why).await;
        }
    };
    match app.house.week(visitor.state.clone(), visitor.now, question).await {
        Ok(week) => render(&WeekPage::of(&visitor, &week, given)),
        Err(why) => refused(&app, &visitor, given, &why.join(" ")).await,
    }
}
