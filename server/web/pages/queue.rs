//! What waits at each step, what is needed first before the others, and why.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;

use super::requests::{self, RequestRow};
use super::say::Say;
use super::sealed_box::{self, Sealed};
use super::shared::{Done, Page, count, segment, time, when};
use crate::domain::allotted::{allotted, statuses};
use crate::domain::forecast::Forecast;
use crate::domain::hold::HoldKind;
use crate::domain::id::Id;
use crate::domain::model::{Method, StepKind};
use crate::domain::order_of_work::{Needed, needed};
use crate::domain::sink::{self, Clock};
use crate::domain::state::{Asset, Standing, State};
use crate::domain::time::Time;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

/// More rows than this under one step are counted, not listed.
const MOST_ROWS: usize = 60;

pub struct Row {
    pub href: String,
    pub scan: String,
    pub called: String,
    pub detail: String,
    pub since: String,
    /// What it is for, and how much time is in hand.
    pub needed: String,
    /// How long it has waited for its cleaning, where that is limited.
    pub clock: String,
    pub late: bool,
    pub waits_from: Time,
    pub held: bool,
}

pub struct Group {
    pub anchor: &'static str,
    pub step: String,
    pub parts: usize,
    pub rows: Vec<Row>,
    /// What waits longest at it: what, since when as people say it, and since when.
    pub oldest: Option<(String, String, Time)>,
    pub more: usize,
    /// A load does it; the desk does the rest.
    pub load: bool,
}

#[derive(Template)]
#[template(path = "queue.html")]
pub struct QueuePage {
    pub page: Page,
    pub heading: String,
    pub groups: Vec<Group>,
    pub running: Vec<Running>,
    /// What the board asks of the desk.
    pub requests: Vec<RequestRow>,
    /// What nobody washes.
    pub sealed: Vec<Sealed>,
}

/// A load that waits for its record or its decision.
pub struct Running {
    pub href: String,
    pub load: String,
    pub say: Say,
    pub expected: String,
    pub since: String,
}

/// What waits together: the members of a set at one step, or one part.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Bundle {
    Set(Id),
    Part(Id),
}

struct Waiting {
    since: Time,
    parts: usize,
    held: bool,
    /// Of the part that is nearest to its limit.
    clock: Option<Clock>,
}

/// The step that a part waits for in the house; `None` where it waits for none.
pub fn waits_for(state: &State, asset: &Asset) -> Option<(StepKind, bool)> {
    let here = asset.in_load.is_none() && matches!(asset.standing(), Standing::InService | Standing::Held);
    // What is sealed for a prion risk waits for a decision, and for no step.
    let step = state.next_step(asset).filter(|_| here && !asset.has_hold(HoldKind::Prion))?;
    let by_load = step.step == StepKind::Sterilised
        || (step.step == StepKind::Disinfected && step.by() != Some(Method::Manual));
    Some((step.step, by_load))
}

fn gather(state: &State, now: Time) -> BTreeMap<StepKind, (bool, BTreeMap<Bundle, Waiting>)> {
    let mut all: BTreeMap<StepKind, (bool, BTreeMap<Bundle, Waiting>)> = BTreeMap::new();
    for asset in state.assets.values() {
        let Some((step, by_load)) = waits_for(state, asset) else {
            continue;
        };
        let bundle = match &asset.seat {
            Some(seat) => Bundle::Set(seat.set.clone()),
            None => Bundle::Part(asset.asset.clone()),
        };
        let (_, bundles) = all.entry(step).or_insert_with(|| (by_load, BTreeMap::new()));
        let waiting = bundles.entry(bundle).or_insert(Waiting {
            since: asset.act_at,
            parts: 0,
            held: false,
            clock: None,
        });
        waiting.since = waiting.since.min(asset.act_at);
        waiting.parts += 1;
        waiting.held |= !asset.holds.is_empty();
        let left = |clock: &Clock| i64::from(clock.limit_minutes) - clock.waited_minutes;
        waiting.clock = waiting.clock.into_iter().chain(sink::clock(state, asset, now)).min_by_key(left);
    }
    all
}

fn row(state: &State, bundle: &Bundle, waiting: &Waiting, now: Time) -> Row {
    let (href, scan, called, detail) = match bundle {
        Bundle::Set(id) => {
            let name = state.sets.get(id).map(|set| set.name.0.clone()).unwrap_or_default();
            let parts = count(waiting.parts, "part", "parts");
            (format!("/sets/{}", segment(id.as_str())), id, format!("Set {id}"), format!("{name}, {parts}"))
        }
        Bundle::Part(id) => {
            let model = state.assets.get(id).and_then(|asset| state.model(&asset.model));
            let detail = model.map(|model| model.name.0.clone()).unwrap_or_default();
            (format!("/assets/{}", segment(id.as_str())), id, id.to_string(), detail)
        }
    };
    Row {
        href,
        scan: scan.to_string(),
        called,
        detail,
        since: when(state, waiting.since, now),
        needed: String::new(),
        clock: waiting.clock.map(|clock| clock.words()).unwrap_or_default(),
        late: waiting.clock.is_some_and(|clock| clock.is_over()),
        waits_from: waiting.since,
        held: waiting.held,
    }
}

impl QueuePage {
    pub fn of(visitor: &Visitor, done: Option<u64>, forecast: Option<&Forecast>) -> QueuePage {
        let (state, now) = (&*visitor.state, visitor.now);
        let statuses = statuses(state, now);
        let needed = needed(state, &statuses, &allotted(state, &statuses, now), now);
        let of = |bundle: &Bundle| match bundle {
            Bundle::Set(set) => needed.get(set),
            Bundle::Part(_) => None,
        };
        let told = |bundle: &Bundle, waiting: &Waiting| Row {
            needed: of(bundle).map(|it| needed_words((state, now), bundle, it, forecast)).unwrap_or_default(),
            ..row(state, bundle, waiting, now)
        };
        let groups: Vec<Group> = gather(state, now)
            .into_iter()
            .map(|(step, (load, bundles))| {
                let mut sorted: Vec<_> = bundles.into_iter().collect();
                // What is needed first goes first; what is for nothing yet, by how long it has waited.
                sorted.sort_by_key(|(bundle, waiting)| {
                    (of(bundle).is_none(), of(bundle).cloned(), waiting.since)
                });
                let oldest = sorted.iter().min_by_key(|(_, waiting)| waiting.since);
                let oldest = oldest.map(|(bundle, waiting)| row(state, bundle, waiting, now));
                Group {
                    anchor: step.name(),
                    step: if step == StepKind::Sterilised {
                        "sterilised".into()
                    } else {
                        step.words().into()
                    },
                    parts: sorted.iter().map(|(_, waiting)| waiting.parts).sum(),
                    rows: sorted
                        .iter()
                        .take(MOST_ROWS)
                        .map(|(bundle, waiting)| told(bundle, waiting))
                        .collect(),
                    oldest: oldest.map(|row| (row.called, row.since, row.waits_from)),
                    more: sorted.len().saturating_sub(MOST_ROWS),
                    load,
                }
            })
            .collect();
        let open = state.loads.values().filter(|load| load.decided_at.is_none());
        let running: Vec<Running> = open
            .map(|load| Running {
                href: format!("/loads/{}", segment(load.load.as_str())),
                load: load.load.to_string(),
                say: super::say::of_load_now(state, load),
                expected: super::loads::expected(state, load, now),
                since: when(state, load.started_at, now),
            })
            .collect();
        let heading = heading(&groups, running.len());
        let requests = requests::waiting(state, now);
        let sealed = sealed_box::sealed(state.assets.values().map(|asset| &**asset));
        let page = Page::of(visitor, "/queue", "/queue", done);
        QueuePage { page, heading, groups, running, requests, sealed }
    }
}

/// "needed for case K-1 at 10:30, 40 minutes in hand".
fn needed_words(
    (state, now): (&State, Time),
    bundle: &Bundle,
    needed: &Needed,
    forecast: Option<&Forecast>,
) -> String {
    let (start, case, robbed) = match needed {
        Needed::Reserve => return "refills the emergency reserve, which is below its minimum".into(),
        Needed::Robbed { start, case } => (start, case, ", whose set went to an emergency"),
        Needed::Case { start, case } => (start, case, ""),
    };
    let Bundle::Set(set) = bundle else { return String::new() };
    let ready = forecast.and_then(|it| it.set(set)).and_then(|it| it.ready_at);
    let minutes = ready.map(|ready| start.since_s(ready).div_euclid(60));
    // Where the case gets another set in the runs, this one's time says nothing of it.
    let own = forecast.and_then(|it| it.case(case)).filter(|told| !told.gets.is_empty());
    let is_own = own.is_none_or(|told| told.gets.iter().flatten().any(|got| got == set));
    let hand = match minutes.filter(|_| is_own || !robbed.is_empty()) {
        None => String::new(),
        Some(0..) => format!(", {} in hand", spell(minutes.unwrap_or_default())),
        Some(late) => format!(", {} too late as it goes", spell(-late)),
    };
    if *start < now {
        let at = time(state, *start, now);
        return format!("needed at once for case {case}, which should have begun at {at}{robbed}");
    }
    format!("needed for case {case} at {}{robbed}{hand}", time(state, *start, now))
}

/// Minutes as people say them: hours from two on.
fn spell(minutes: i64) -> String {
    match minutes {
        1 => "1 minute".into(),
        0..120 => format!("{minutes} minutes"),
        _ => format!("{} hours", minutes / 60),
    }
}

/// What waits, and what has waited longest.
fn heading(groups: &[Group], running: usize) -> String {
    let parts: usize = groups.iter().map(|group| group.parts).sum();
    let loads = match running {
        0 => String::new(),
        1 => " One load waits to be decided.".into(),
        n => format!(" {n} loads wait to be decided."),
    };
    let oldest = groups.iter().filter_map(|group| Some((group, group.oldest.as_ref()?)));
    let Some((group, (called, since, _))) = oldest.min_by_key(|(_, oldest)| oldest.2) else {
        return format!("Nothing waits for a step.{loads}");
    };
    let verb = if parts == 1 { "waits" } else { "wait" };
    let which = format!("{called}, to be {}, since {since}", group.step);
    match parts {
        1 => format!("1 part {verb}: {which}.{loads}"),
        _ => format!("{} {verb}; longest {which}.{loads}", count(parts, "part", "parts")),
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(done): Query<Done>) -> Response {
    let forecast = app.house.forecast_seen(&visitor.state, visitor.now);
    render(&QueuePage::of(&visitor, done.seq(), forecast.as_deref()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_queue_says_what_waits() {
        let text = sample::show("queue", &QueuePage::of(&sample::visitor(), None, None));
        assert!(text.contains("parts wait; longest"));
    }
}
