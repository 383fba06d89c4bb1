//! One load: may it be released, and why not?

use std::sync::Arc;

use askama::Template;
use axum::extract::{self, Path, Query};
use axum::response::Response;

use super::curve::{self, Curve};
use super::load_found::Found;
use super::readers::{self, Readers};
use super::refused::{self, Reason};
use super::say::{Say, of_asset, of_load_now};
use super::shared::{Done, Page, count, segment, time, when};
use super::verdict::{self, Verdict};
use crate::app::house::Unavailable;
use crate::domain::command::Act;
use crate::domain::load::{IndicatorKind, IndicatorResult, Load, LoadStatus};
use crate::domain::machine::MachineKind;
use crate::domain::model::{Method, StepKind};
use crate::domain::person::Role;
use crate::domain::programme::{Biological, Chemical, Programme};
use crate::domain::release::{self, Spores};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::domain::verdict::Judged;
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

pub struct Part {
    pub href: String,
    pub asset: String,
    pub model: String,
    pub set: String,
    pub turn: u32,
    pub say: Say,
}

pub struct IndicatorRow {
    pub kind: &'static str,
    pub result: &'static str,
    pub lot: String,
    pub at: String,
    pub by: String,
}

#[derive(Template)]
#[template(path = "load.html")]
pub struct LoadPage {
    pub page: Page,
    pub load: String,
    pub heading: String,
    /// Where it is for immediate use: for whom, and how that stands.
    pub use_now: String,
    pub say: Say,
    /// Neither released nor rejected.
    pub open: bool,
    /// Nothing stands against the release; a person decides.
    pub may: bool,
    /// The only thing that stands against it is one that a reason may set aside.
    pub alone: bool,
    pub against: Vec<Reason>,
    pub verdict: Option<Verdict>,
    pub found: Found,
    pub machine_href: String,
    pub curve: Option<Arc<Curve>>,
    /// The first step out, where something stands against it.
    pub next: String,
    pub facts: Vec<(&'static str, String)>,
    pub indicators: Vec<IndicatorRow>,
    pub parts: Vec<Part>,
    pub steriliser: bool,
    pub takes_hold: bool,
    pub takes_a0: bool,
    pub cooling: String,
    /// Nothing but an implant's biological indicator stands against it.
    pub early: bool,
    /// It was released alone or early, in words.
    pub exception: String,
    /// The reader may countersign it.
    pub signs: bool,
    /// The recalls that it belongs to, with why.
    pub recalls: Vec<(String, String)>,
    pub recall_href: String,
    /// The kinds of hold that this reader may place on all of its parts.
    pub hold_kinds: Vec<&'static str>,
    /// Who read the printout, where there are readings instead of a record.
    pub readers: Option<Readers>,
    pub picture_most: usize,
}

impl LoadPage {
    pub fn of(
        visitor: &Visitor,
        load: &Load,
        (judged, curve): (Option<&Judged>, Option<Arc<Curve>>),
        done: Option<u64>,
    ) -> LoadPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let open = load.decided_at.is_none();
        let problems = match open {
            true => release::against(state, load, Some(&visitor.actor.code), None, now),
            false => Vec::new(),
        };
        let against: Vec<Reason> = problems.iter().map(refused::reason).collect();
        let steriliser = load.programme.step() == StepKind::Sterilised;
        let cool = release::cool_at(load, now).filter(|at| load.status == LoadStatus::Released && *at > now);
        LoadPage {
            page: Page::of(visitor, "/loads", format!("/loads/{}", segment(load.load.as_str())), done),
            load: load.load.to_string(),
            heading: heading(state, load, &against, (now, visitor.actor.role)),
            use_now: super::immediate_use::band(state, load),
            say: of_load_now(state, load),
            open,
            may: open && against.is_empty(),
            alone: !against.is_empty() && against.iter().all(|reason| reason.open),
            verdict: verdict::of(state, load, judged, now),
            found: Found::of(state, load, judged),
            machine_href: format!("/machines/{}", segment(load.machine.as_str())),
            curve,
            next: against.first().map(|reason| reason.next.clone()).unwrap_or_default(),
            facts: facts(state, load, now),
            indicators: indicators(state, load, now),
            parts: parts(state, load, now),
            steriliser,
            takes_hold: steriliser || load.programme.hold_s.is_some(),
            takes_a0: !steriliser && load.programme.a0_s.is_some(),
            cooling: cool.map(|at| time(state, at, now)).unwrap_or_default(),
            recalls: recalls(state, load),
            recall_href: format!(
                "/recalls?machine={}&load={}#begin",
                segment(load.machine.as_str()),
                segment(load.load.as_str())
            ),
            hold_kinds: super::shared::hold_kinds(visitor.actor.role),
            early: open && early(visitor, load),
            exception: exception(state, load, now),
            signs: load.waits_for_countersignature()
                && load.decided_by.as_deref() != Some(visitor.actor.code.as_str()),
            readers: None,
            picture_most: crate::web::attachment::MOST_MIB,
            against,
        }
    }
}

fn heading(state: &State, load: &Load, against: &[Reason], (now, reader): (Time, Role)) -> String {
    let decides = Act::roles("release_load").contains(&reader);
    let name = &load.load;
    let at = load.decided_at.map(|at| when(state, at, now)).unwrap_or_default();
    let by = load.decided_by.as_deref().unwrap_or_default();
    match (load.status, against) {
        (LoadStatus::Released, _) if release::spores(load) == Spores::Grew => {
            format!("The biological indicator of load {name} grew. It was released by {by}, {at}.")
        }
        (LoadStatus::Released, _) if release::is_void(load) => format!(
            "The biological test of load {name} is void: its control did not grow. It was released by {by}, {at}."
        ),
        (LoadStatus::Released, _) => {
            match state.recalls.values().find(|it| it.is_open() && it.loads.contains(name)) {
                Some(it) => {
                    format!("Load {name} is recalled ({}). It was released by {by}, {at}.", it.recall)
                }
                None => format!("Load {name} was released by {by}, {at}."),
            }
        }
        (LoadStatus::Rejected, _) => {
            let why = load.reason.as_deref().unwrap_or_default();
            format!("Load {name} was rejected by {by}, {at}: {why}")
        }
        (_, []) => {
            let who = if decides { "You decide" } else { "The desk or the lead decides" };
            format!("Nothing found against release of load {name}. {who}.")
        }
        (_, [one]) => format!("Load {name} may not be released. {}", one.found),
        (_, [first, ..]) => {
            format!(
                "Load {name} may not be released; {} reasons stand against it. {}",
                against.len(),
                first.found
            )
        }
    }
}

/// Whether the lead may release it early: only an implant's biological indicator is missing.
fn early(visitor: &Visitor, load: &Load) -> bool {
    let state = &*visitor.state;
    let (others, pending) = release::weighed(state, load, Some(&visitor.actor.code), None, visitor.now);
    others.is_empty() && pending.is_some() && !release::implants(state, load).is_empty()
}

fn exception(state: &State, load: &Load, now: Time) -> String {
    let alone = load.alone.as_ref().map(|it| match it.signed_at {
        Some(at) => {
            let by = it.signed_by.as_deref().unwrap_or_default();
            format!("Released by one person alone; countersigned by {by}, {}.", when(state, at, now))
        }
        None => format!("Released by one person alone; {}.", it.words(now.date(state.zone))),
    });
    let early = load.early.as_ref().map(|it| match it.read_at {
        Some(at) => format!("Released EARLY; its biological indicator was read {}.", when(state, at, now)),
        None => "Released EARLY; its biological indicator is not read yet.".to_string(),
    });
    let dryness = load.dryness_not_stated().then(|| "Dryness not stated at unloading.".to_string());
    dryness.into_iter().chain(alone).chain(early).collect::<Vec<_>>().join(" ")
}

/// A programme's limits in words.
pub fn limits(programme: &Programme, kind: MachineKind) -> String {
    let mut words = vec![programme.method.words().to_string()];
    words.extend(programme.band_c.map(|band| format!("band from {band} °C")));
    words.extend(programme.hold_s.map(|hold| format!("hold {hold} s")));
    words.extend(programme.a0_s.map(|a0| format!("A0 {a0} s")));
    words.extend(programme.cooling_s.map(|cooling| format!("cooling {} min", cooling / 60)));
    words.extend(programme.aeration_s.map(|s| format!("aeration {} min", s / 60)));
    words.extend(match programme.chemical(kind) {
        Chemical::None => None,
        Chemical::EachLoad => Some("chemical indicator in each load".to_string()),
        Chemical::EachPack => Some("chemical indicator in each pack".to_string()),
    });
    words.extend(match programme.biological {
        Biological::None => None,
        Biological::EachLoad => Some("biological indicator in each load".to_string()),
        Biological::Periodic => Some("biological indicator at intervals".to_string()),
    });
    words.join(", ")
}

fn facts(state: &State, load: &Load, now: Time) -> Vec<(&'static str, String)> {
    let mut all = vec![
        ("Machine", format!("{} ({})", load.machine, load.kind.words())),
        ("Programme", format!("{}: {}", load.programme.programme, limits(&load.programme, load.kind))),
    ];
    let sources = super::source::of(&load.programme);
    if !sources.is_empty() {
        all.push(("Where the limits come from", sources.join(" ")));
    }
    all.extend(load.cycle_no.as_ref().map(|cycle| ("Cycle number", cycle.0.clone())));
    all.push(("Contents", count(load.contents.len(), "part", "parts")));
    all.push(("Started", format!("{} by {}", when(state, load.started_at, now), load.started_by)));
    if load.status == LoadStatus::Released && load.programme.method == Method::Steam {
        let words = match load.dry {
            None => "not stated",
            Some(true) => "visibly dry at unloading",
            Some(false) => "not dry at unloading: carried covered, straight to its case",
        };
        all.push(("Dryness", words.to_string()));
    }
    all.extend(load.decided_at.map(|at| {
        ("Decided", format!("{} by {}", when(state, at, now), load.decided_by.as_deref().unwrap_or_default()))
    }));
    all
}

fn indicators(state: &State, load: &Load, now: Time) -> Vec<IndicatorRow> {
    load.indicators
        .iter()
        .map(|it| IndicatorRow {
            kind: match it.indicator {
                IndicatorKind::Chemical => "chemical",
                IndicatorKind::Biological => "biological",
                IndicatorKind::BiologicalControl => "biological control",
            },
            result: match (it.indicator, it.result) {
                (IndicatorKind::Chemical, IndicatorResult::Pass) => "passed",
                (IndicatorKind::Chemical, IndicatorResult::Fail) => "failed",
                (IndicatorKind::Biological, IndicatorResult::Pass) => "passed, no growth",
                (IndicatorKind::Biological, IndicatorResult::Fail) => "failed, growth",
                (IndicatorKind::BiologicalControl, IndicatorResult::Pass) => "grew, as it must",
                (IndicatorKind::BiologicalControl, IndicatorResult::Fail) => "no growth: the test is void",
            },
            lot: it.lot.as_ref().map(|lot| lot.0.clone()).unwrap_or_default(),
            at: when(state, it.at, now),
            by: it.by.to_string(),
        })
        .collect()
}

fn recalls(state: &State, load: &Load) -> Vec<(String, String)> {
    let these = state.recalls.values().filter(|recall| recall.loads.contains(&load.load));
    let told = these.map(|recall| {
        let stands = if recall.is_open() { "recalled, open" } else { "was recalled; closed" };
        (recall.recall.to_string(), format!("{stands}: {}", recall.reason))
    });
    told.collect()
}

fn parts(state: &State, load: &Load, now: Time) -> Vec<Part> {
    let known =
        load.contents.iter().filter_map(|part| state.assets.get(&part.asset).map(|asset| (part, asset)));
    known
        .map(|(part, asset)| Part {
            href: format!("/assets/{}", segment(asset.asset.as_str())),
            asset: asset.asset.to_string(),
            model: state.model(&asset.model).map(|model| model.name.0.clone()).unwrap_or_default(),
            set: asset.seat.as_ref().map(|seat| format!("{}, {}", seat.set, seat.line)).unwrap_or_default(),
            turn: part.turn,
            say: of_asset(state, asset, now),
        })
        .collect()
}

pub async fn get(
    visitor: Visitor,
    extract::State(app): extract::State<App>,
    Path(load): Path<String>,
    Query(done): Query<Done>,
) -> Response {
    let Some(found) = visitor.state.loads.get(load.as_str()) else {
        return super::problem::not_found("load", &load, "/loads", "All loads");
    };
    match shown(&app, &visitor, found, done.seq()).await {
        Ok(page) => render(&page),
        Err(gone) => fail::unavailable(&gone.operation),
    }
}

async fn shown(
    app: &App,
    visitor: &Visitor,
    load: &Load,
    done: Option<u64>,
) -> Result<LoadPage, Unavailable> {
    let (judged, curve) = curve::judged(app, &visitor.state, load).await?;
    let readers = readers::of(app, visitor, load, judged.as_deref()).await?;
    Ok(LoadPage { readers, ..LoadPage::of(visitor, load, (judged.as_deref(), curve), done) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    fn whole(load: &Load) -> (Option<&Judged>, Option<Arc<Curve>>) {
        (load.judged.as_ref().and_then(|judged| judged.whole.as_deref()), None)
    }

    #[test]
    fn the_heading_says_whether_it_may_be_released() {
        let visitor = sample::visitor();
        for (load, says) in
            [("S-311", "may not be released"), ("W-88", "was released by"), ("S-309", "was rejected by")]
        {
            let found = visitor.state.loads.get(load).unwrap();
            let text =
                sample::show(&format!("load-{load}"), &LoadPage::of(&visitor, found, whole(found), None));
            assert!(text.contains(says), "{load}");
        }
        let judged = sample::judged();
        let text = sample::show("load-judged", &{
            let found = judged.state.loads.get("S-311").unwrap();
            LoadPage::of(&judged, found, whole(found), Some(41))
        });
        assert!(
            text.contains("Nothing found against release of load S-311. You decide.")
                && text.contains("does not prove sterility")
        );
    }

    #[test]
    fn a_record_is_drawn_below_the_answer() {
        let judged = sample::judged();
        let found = judged.state.loads.get("S-311").unwrap();
        let mut record = crate::web::pages::plot::tests::steam();
        record.channels[0].temp_c[330] = 138.4;
        let limits = crate::domain::verdict::limits_of(&found.programme).unwrap();
        let says = verdict::sentence(found, false);
        let curve = curve::curve(&record, &limits, &says).map(Arc::new);
        let text = sample::show("load-drawn", &LoadPage::of(&judged, found, (whole(found).0, curve), None));
        assert!(text.contains("page-cycle-title") && text.contains("reached 138.4 °C"), "{text}");
        assert!(text.contains("Signature of the loader"));
    }
}
