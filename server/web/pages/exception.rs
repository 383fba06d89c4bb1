//! Exceptions: which loads were released alone, early or without a word on dryness, and which of them wait for an answer;
//! what was set aside, broken or told late in a month, by whom and why?

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use serde::Deserialize;

use super::handover::{self, Odd};
use super::immediate_use;
use super::say::{Say, of_release};
use super::shared::{Page, count, listed, segment, when};
use crate::domain::event::Entry;
use crate::domain::exception::Month;
use crate::domain::load::Load;
use crate::domain::odd::{self, MonthOfOdd, Reason};
use crate::domain::person::Role;
use crate::domain::release::{Spores, spores};
use crate::domain::signing::{REVIEWERS, Signed, is_month};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

/// As many closed ones as a person reads at once; the ledger has the rest.
const MOST_CLOSED: usize = 200;
const MOST_ODD: usize = 500;
const MOST_REASONS: usize = 40;
/// A year, and the same month of the year before.
const TREND_MONTHS: usize = 13;

pub struct Row {
    pub href: String,
    pub load: String,
    pub machine: String,
    pub released: String,
    pub released_at: Option<Time>,
    pub why: String,
    pub closed: String,
    pub say: Say,
    /// Another person than the one who released it may countersign.
    pub may_sign: bool,
}

pub struct Kind {
    pub title: &'static str,
    pub none: &'static str,
    pub closed_title: &'static str,
    pub open: Vec<Row>,
    pub closed: Vec<Row>,
    pub months: Vec<Month>,
}

/// How often a person set a rule aside, broke one or told something late.
pub struct Times {
    pub way: &'static str,
    /// The rule, or why it was told late, in a sentence.
    pub rule: String,
    pub person: String,
    pub count: u32,
}

/// Whether one of those who sign has reviewed the month.
pub struct Review {
    pub who: &'static str,
    /// By whom, when, and up to where; empty where nobody did.
    pub signed: String,
    /// So many entries of the month were recorded since.
    pub since: usize,
    /// The reader signs as this, and there is something to sign.
    pub may_sign: bool,
}

#[derive(Template)]
#[template(path = "exception.html")]
pub struct ExceptionPage {
    pub page: Page,
    pub heading: String,
    pub kinds: Vec<Kind>,
    pub immediate_use: immediate_use::Section,
    /// The month of which the rest is shown, such as `2026-03`.
    pub month: String,
    pub trend: Vec<MonthOfOdd>,
    /// Earlier months that are not shown.
    pub earlier: usize,
    pub reasons: Vec<Reason>,
    pub reviews: Vec<Review>,
    pub times: Vec<Times>,
    pub odd: Vec<Odd>,
    /// There was more in the month than is shown.
    pub cut: bool,
    pub trouble: String,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
    pub month: Option<String>,
}

impl Asked {
    /// The month that is meant; what is no month is the present one.
    fn month(&self, present: String) -> String {
        self.month.as_deref().filter(|text| is_month(text)).map_or(present, str::to_string)
    }
}

fn row(state: &State, load: &Load, say: Say, why: String, closed: String, now: Time) -> Row {
    let by = load.decided_by.as_deref().unwrap_or_default();
    let say = of_release(state, load, say);
    Row {
        href: format!("/loads/{}", segment(load.load.as_str())),
        load: load.load.to_string(),
        machine: load.machine.to_string(),
        released_at: load.decided_at,
        released: load.decided_at.map(|at| format!("{}, {by}", when(state, at, now))).unwrap_or_default(),
        why,
        closed,
        say,
        may_sign: false,
    }
}

/// A load released alone, as a row; `me` is the reader.
pub fn alone(state: &State, load: &Load, me: &str, now: Time) -> Option<Row> {
    let it = load.alone.as_ref()?;
    let signed = it
        .signed_at
        .map(|at| format!("{}, {}", when(state, at, now), it.signed_by.as_deref().unwrap_or_default()));
    let say = match &signed {
        Some(_) => Say::new("ready", "ready", "countersigned"),
        None => Say::due(it.words(now.date(state.zone))),
    };
    let may_sign = signed.is_none() && load.decided_by.as_deref() != Some(me);
    let row = row(state, load, say, it.alone.reason.clone(), signed.unwrap_or_default(), now);
    Some(Row { may_sign, ..row })
}

/// A load released early for an implant, as a row. Who is named in it stands sealed, and is not shown.
pub fn early(state: &State, load: &Load, now: Time) -> Option<Row> {
    let it = load.early.as_ref()?;
    let whom = match (&it.early.case, &it.early.patient) {
        (Some(case), _) => format!("case {case}"),
        (None, Some(_)) => "a named patient".into(),
        (None, None) => "a patient whose reference was erased".into(),
    };
    let say = match spores(load) {
        Spores::NotRead => Say::due("released early, biological indicator not read"),
        Spores::Passed => Say::new("ready", "ready", "biological indicator passed"),
        Spores::Grew => Say::held("GROWTH in the biological indicator"),
    };
    let read = it.read_at.map(|at| when(state, at, now)).unwrap_or_default();
    Some(row(state, load, say, format!("{whom}: {}", it.early.reason), read, now))
}

/// A load of whose dryness nobody said anything, as a row.
fn dryness(state: &State, load: &Load, open: bool, now: Time) -> Row {
    let say = match open {
        true => Say::due("dryness not stated, packs of it are in the house"),
        false => Say::new("ready", "ready", "nothing of it is as the load made it"),
    };
    row(state, load, say, "dryness not stated at unloading".into(), String::new(), now)
}

/// The loads whose exception waits for somebody's answer, as rows; one may be both.
pub fn open_rows(state: &State, now: Time) -> impl Iterator<Item = Row> {
    state.open_exceptions().flat_map(move |load| {
        let alone = load.waits_for_countersignature().then(|| alone(state, load, "", now));
        let early = load.waits_for_biological().then(|| early(state, load, now));
        alone.flatten().into_iter().chain(early.flatten())
    })
}

/// The loads of whose dryness nobody said anything, while packs of them are in the house, as rows.
pub fn dryness_rows(state: &State, now: Time) -> Vec<Row> {
    let open = state.dryness_open();
    let open = open.iter().filter_map(|load| state.loads.get(load));
    open.map(|load| dryness(state, load, true, now)).collect()
}

fn kinds(state: &State, me: &str, now: Time) -> Vec<Kind> {
    let (alone_all, early_all) = (state.released_alone(), state.released_early());
    let parted = |loads: &[&Load], open: fn(&Load) -> bool, one: &dyn Fn(&Load) -> Option<Row>| {
        let (open, closed): (Vec<&Load>, Vec<&Load>) = loads.iter().copied().partition(|load| open(load));
        let closed = closed.into_iter().rev().take(MOST_CLOSED).filter_map(one).collect::<Vec<_>>();
        (open.into_iter().filter_map(one).collect::<Vec<_>>(), closed)
    };
    let of_alone = |load: &Load| alone(state, load, me, now);
    let of_early = |load: &Load| early(state, load, now);
    let (open, closed) = parted(&alone_all.loads, Load::waits_for_countersignature, &of_alone);
    let (pending, read) = parted(&early_all.loads, Load::waits_for_biological, &of_early);
    let dryness_all = state.dryness_not_stated();
    let still = state.dryness_open();
    let gone = dryness_all.loads.iter().rev().filter(|load| !still.contains(&load.load)).take(MOST_CLOSED);
    let gone = gone.map(|load| dryness(state, load, false, now)).collect();
    vec![
        Kind {
            title: "Released without a word on dryness",
            none: "Of every steam load in the house somebody said that it was dry.",
            closed_title: "Released without a word on dryness, and nothing of it left",
            open: dryness_rows(state, now),
            closed: gone,
            months: dryness_all.months,
        },
        Kind {
            title: "Released alone, to be countersigned",
            none: "No load waits for a countersignature.",
            closed_title: "Countersigned",
            open,
            closed,
            months: alone_all.months,
        },
        Kind {
            title: "Implants released early, their biological indicator not read",
            none: "No early release waits for its biological indicator.",
            closed_title: "Released early, and read since",
            open: pending,
            closed: read,
            months: early_all.months,
        },
    ]
}

/// What is open, in words; nothing where nothing is.
pub fn open_words(state: &State) -> String {
    let alone = state.open_exceptions().filter(|load| load.waits_for_countersignature()).count();
    let early = state.open_exceptions().filter(|load| load.waits_for_biological()).count();
    let dryness = state.dryness_open().len();
    let mut all = Vec::new();
    if dryness > 0 {
        let several = "loads were released without a word on dryness";
        all.push(count(dryness, "load was released without a word on dryness", several));
    }
    if early > 0 {
        all.push(count(early, "implant load was released early", "implant loads were released early"));
    }
    if alone > 0 {
        all.push(count(alone, "load waits for a countersignature", "loads wait for a countersignature"));
    }
    listed(&all)
}

impl ExceptionPage {
    pub fn of(visitor: &Visitor, done: Option<u64>) -> ExceptionPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let open = open_words(state);
        ExceptionPage {
            page: Page::of(visitor, "/exceptions", "/exceptions", done),
            heading: match open.is_empty() {
                true => "No exception is open.".into(),
                false => format!("{open}."),
            },
            kinds: kinds(state, &visitor.actor.code, now),
            immediate_use: immediate_use::Section::of(state),
            month: odd::month(state, now),
            trend: Vec::new(),
            earlier: 0,
            reasons: Vec::new(),
            reviews: Vec::new(),
            times: Vec::new(),
            odd: Vec::new(),
            cut: false,
            trouble: String::new(),
        }
    }

    /// With what was out of the ordinary in a month, and how many in each.
    fn with(
        self,
        visitor: &Visitor,
        month: String,
        (entries, cut): (&[Entry], bool),
        months: Vec<MonthOfOdd>,
    ) -> ExceptionPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let beside = odd::beside(entries);
        let times = odd::counts(&beside).into_iter().map(|it| Times {
            way: it.way.words(),
            rule: super::rules::told(it.way, &it.code),
            person: it.person,
            count: it.count,
        });
        let reasons = odd::reasons(&beside).into_iter().take(MOST_REASONS).collect();
        let shown = entries.get(..MOST_ODD).unwrap_or(entries);
        let cut = cut || shown.len() < entries.len();
        let times = times.collect();
        let earlier = months.len().saturating_sub(TREND_MONTHS);
        let last = unsigned(visitor, &months);
        let trend = months.into_iter().take(TREND_MONTHS).collect();
        let reviews = reviews(visitor, &month, entries);
        let heading = self.heading.clone() + &to_review(&month, &reviews) + &last;
        let odd = handover::odd(state, shown, now);
        ExceptionPage { heading, month, trend, earlier, reasons, reviews, times, odd, cut, ..self }
    }
}

/// Who has signed a month, and whether the reader may.
fn reviews(visitor: &Visitor, month: &str, entries: &[Entry]) -> Vec<Review> {
    let (state, now) = (&*visitor.state, visitor.now);
    let one = |role: Role| {
        let signed = state.reviewed(month, role);
        let since = entries.iter().filter(|it| signed.is_none_or(|signed| it.seq > signed.read_to)).count();
        let told = |it: &std::sync::Arc<Signed>| {
            format!("{}, {}, up to entry {}", it.by, when(state, it.at, now), it.read_to)
        };
        let may_sign = visitor.actor.role == role && (signed.is_none() || since > 0);
        Review { who: role.words(), signed: signed.map(told).unwrap_or_default(), since, may_sign }
    };
    REVIEWERS.map(one).into()
}

/// How many entries of the month nobody has reviewed yet, of the two who sign for it the one who is further behind.
fn to_review(month: &str, reviews: &[Review]) -> String {
    match reviews.iter().map(|it| it.since).max().unwrap_or(0) {
        0 => String::new(),
        1 => format!(" 1 entry of {month} is to be reviewed."),
        n => format!(" {n} entries of {month} are to be reviewed."),
    }
}

/// The last whole month, where it had exceptions that the reader is to sign and did not.
fn unsigned(visitor: &Visitor, months: &[MonthOfOdd]) -> String {
    let (state, role) = (&*visitor.state, visitor.actor.role);
    let present = odd::month(state, visitor.now);
    let last = months.iter().find(|it| it.month < present);
    match last.filter(|it| REVIEWERS.contains(&role) && state.reviewed(&it.month, role).is_none()) {
        Some(last) => format!(" {} waits for your signature.", last.month),
        None => String::new(),
    }
}

pub async fn get(visitor: Visitor, Reach(app): Reach<App>, Query(asked): Query<Asked>) -> Response {
    let (state, now) = (&*visitor.state, visitor.now);
    let done = asked.done.as_deref().and_then(|text| text.parse().ok());
    let mut page = ExceptionPage::of(&visitor, done);
    let month = asked.month(odd::month(state, now));
    page.page.path = format!("/exceptions?month={month}");
    let told = app.house.out_of_the_ordinary(&state.site, &month).await;
    render(&match (told, app.house.odd_months(&state.site).await) {
        (Ok((entries, cut)), Ok(months)) => page.with(&visitor, month, (&entries, cut), months),
        (Err(gone), _) | (_, Err(gone)) => {
            let trouble =
                format!("What was out of the ordinary cannot be shown now (operation {}).", gone.operation);
            ExceptionPage { month, trouble, ..page }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::load::LoadPage;
    use crate::web::pages::sample;

    #[test]
    fn who_released_it_alone_is_not_asked_to_countersign() {
        let lead = sample::released_alone(Role::Lead);
        let text = sample::show("exception", &ExceptionPage::of(&lead, None));
        assert!(text.contains("<h1>1 load waits for a countersignature.</h1>"), "{text}");
        assert!(text.contains("to be countersigned by 4 March 2026"), "{text}");
        assert!(
            text.contains("Countersign load S-311") && text.contains("adult is below its minimum"),
            "{text}"
        );
        let load = lead.state.loads.get("S-311").unwrap();
        let page = sample::show("load-alone", &LoadPage::of(&lead, load, (None, None), None));
        assert!(page.contains("Countersign load S-311") && page.contains("one person alone"), "{page}");
        for other in [Role::Desk, Role::Infection, Role::Auditor] {
            let visitor = sample::released_alone(other);
            let text =
                sample::show(&format!("exception-{}", other.name()), &ExceptionPage::of(&visitor, None));
            assert!(!text.contains("Countersign load"), "{text}");
        }
        let none = sample::show("exception-none", &ExceptionPage::of(&sample::visitor(), None));
        assert!(none.contains("No exception is open.") && none.contains("No load waits"), "{none}");
    }
}
