//! The set-up sheet of a case: what do I lay out, where is it, does it fit, what do I look at before use?

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;

use super::setup_alike;
use super::setup_drawings::{self, Drawing};
use super::setup_forms::{self, Untried, WishForm};
use super::setup_open::{self, OpenRow};
use super::setup_rows::{self, Line, PartLine, Tick};
use super::shared::{self, Done, Page, capital, listed, segment};
use super::theatre::{self, Choice};
use crate::domain::case::{Case, Technique};
use crate::domain::fit::{Answer, Fit, Verdict};
use crate::domain::fit_barred::also_held;
use crate::domain::fit_judge::Setting;
use crate::domain::fit_ready::coming;
use crate::domain::id::Id;
use crate::domain::setup_sheet::{Barred, FallBack, GAS_OUT, Offer, SetUpSheet};
use crate::domain::state::State;
use crate::web::fail;
use crate::web::visitor::{Visitor, render};

/// A configuration that could be taken, with the form that takes it.
pub struct OfferView {
    pub sentence: String,
    pub parts: Vec<String>,
    pub open: String,
    pub costs: Vec<String>,
    /// As the form sends it.
    pub configuration: String,
}

/// What is looked at on the sheet: what was chosen, or the best that is offered.
pub struct FitView {
    pub stops: Vec<Line>,
    pub against: Vec<Line>,
    pub holding: Vec<Line>,
    pub way_out: Option<String>,
    pub parts: Vec<PartLine>,
    /// When the sets that are on their way are there.
    pub coming: Vec<String>,
    pub lumens: Vec<Drawing>,
    pub together: Vec<Line>,
    pub reaches: Vec<Drawing>,
    pub chain: Option<Drawing>,
    pub joints: Vec<Line>,
    pub openings: Vec<Line>,
    pub untried: Vec<Untried>,
    pub has_photos: bool,
    /// The models of its parts, with their names, for whoever has a picture of one.
    pub models: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "setup_sheet.html")]
pub struct SetupSheetPage {
    pub page: Page,
    pub case: String,
    pub href: String,
    pub heading: String,
    pub start: String,
    pub technique: String,
    /// As the form sends it.
    pub technique_code: &'static str,
    /// For jet ventilation: it stands before everything else.
    pub gas_out: bool,
    pub cautions: Vec<String>,
    /// HOT, PAST DATE, ON HOLD, each with the parts that are out so.
    pub loud: Vec<(String, String)>,
    /// How the shown configuration came here.
    pub shown_as: String,
    pub chosen: bool,
    pub fit: Option<FitView>,
    pub open: String,
    /// Every set of the case's needs, and of its configuration.
    pub to_open: Vec<OpenRow>,
    pub lacking: Vec<String>,
    /// The lines of the function check, as the room records them.
    pub before_use: Vec<Tick>,
    pub offers: Vec<OfferView>,
    pub obvious: String,
    pub smaller: String,
    pub smaller_parts: Vec<String>,
    pub smaller_open: String,
    /// As the form sends it.
    pub smaller_choice: String,
    pub fall_back: String,
    pub fall_back_changes: Vec<String>,
    /// For jet ventilation: the caution, and the way out of what it is changed to.
    pub fall_back_gas: Option<String>,
    pub is_open: bool,
    pub wish: WishForm,
    pub techniques: Vec<Choice>,
}

impl FitView {
    /// More than a sheet of paper holds in its plain form: its rows stand closer on paper.
    pub fn is_full(&self) -> bool {
        self.parts.len() + self.against.len() / 2 > 9 || self.against.len() > 5
    }

    pub fn of(setting: &Setting, fit: &Fit, barred: &[Barred]) -> FitView {
        let (state, now) = (setting.state, setting.now);
        let mut parts = setup_rows::parts(state, fit, now);
        setup_rows::at_case(&mut parts, state, setting.case, fit);
        // What comes with its set is said once for the set.
        let coming = coming(state, fit, setting.needed());
        for part in &mut parts {
            if coming.iter().any(|(places, _)| places.contains(&part.at)) {
                part.why.drain(..part.why.len().min(1));
            }
        }
        let bad = |verdict| matches!(verdict, Verdict::Fails | Verdict::NotKnown | Verdict::Warns);
        let mut against = setup_rows::barred(barred);
        let names: Vec<String> = fit.parts.iter().map(setup_rows::called).collect();
        let families: Vec<String> = fit.parts.iter().map(|part| part.family.words()).collect();
        against.extend(setup_alike::objections(setup_rows::checks(fit, bad), &names, &families));
        let reasons = setup_alike::reasons(&mut parts);
        FitView {
            stops: setup_rows::checks(fit, |verdict| verdict == Verdict::Stops),
            against,
            holding: setup_rows::checks(fit, |verdict| verdict == Verdict::Holds),
            way_out: setup_rows::way_out(fit),
            models: setup_forms::models(fit),
            has_photos: parts.iter().any(|part| part.photo.is_some()),
            parts,
            coming: coming.into_iter().map(|(_, sentence)| sentence).chain(reasons).collect(),
            lumens: setup_drawings::lumens(fit),
            together: fit.together.iter().map(|group| setup_rows::together(fit, group)).collect(),
            reaches: setup_drawings::reaches(fit),
            chain: setup_drawings::chain(fit),
            joints: setup_rows::joints(fit),
            openings: setup_rows::openings(fit),
            untried: setup_forms::untried(fit),
        }
    }
}

/// The parts of an offer in the order of assembly, each with where it is.
fn briefly(state: &State, offer: &Offer, now: crate::domain::time::Time) -> Vec<String> {
    let lines = setup_rows::parts(state, &offer.fit, now);
    lines.iter().map(|line| format!("{}, {}: {}", line.name, line.family, line.place)).collect()
}

fn view(state: &State, offer: &Offer, now: crate::domain::time::Time) -> OfferView {
    OfferView {
        sentence: offer.sentence.clone(),
        parts: briefly(state, offer, now),
        open: setup_open::of_offer(offer),
        costs: offer.costs.iter().map(|cost| cost.sentence.clone()).collect(),
        configuration: serde_json::to_string(&offer.configuration).unwrap_or_default(),
    }
}

/// What a fall-back to jet ventilation needs said beside its changes.
fn gas_of(back: &FallBack) -> Option<String> {
    let out = || match back.offer.as_ref().map(|offer| setup_rows::way_out(&offer.fit)) {
        Some(Some(way)) => format!(" {way}"),
        Some(None) => " No way out is declared.".into(),
        None => String::new(),
    };
    (back.technique == Technique::JetOpen).then(|| format!("{GAS_OUT}{}", out()))
}

/// What lies in the sets of what was chosen and is not to be used.
fn beware(state: &State, sheet: &SetUpSheet) -> Vec<String> {
    let Some(chosen) = &sheet.chosen else {
        return sheet.offers.first().map(|offer| offer.beware.clone()).unwrap_or_default();
    };
    let sets: BTreeSet<&Id> = chosen.fit.parts.iter().filter_map(|part| part.set.as_ref()).collect();
    also_held(state, sets, &chosen.fit)
}

impl SetupSheetPage {
    pub fn of(visitor: &Visitor, case: &Case, sheet: &SetUpSheet, done: Option<u64>) -> SetupSheetPage {
        let (state, now) = (&*visitor.state, visitor.now);
        let href = format!("/cases/{}", segment(case.case.as_str()));
        let first = sheet.offers.first();
        let obvious = sheet.obvious.as_ref();
        let fit = sheet.shown();
        let stops = fit.is_some_and(|fit| fit.answer == Answer::Stop);
        let shown_as = match (&sheet.chosen, first, fit) {
            (Some(chosen), ..) => {
                format!("Chosen by {}, {}.", chosen.by, shared::when(state, chosen.at, now))
            }
            (None, Some(_), _) => "Offered, and not chosen yet: the first of the offers is shown.".into(),
            (None, None, Some(_)) => "Not chosen: this is what one would reach for first.".into(),
            (None, None, None) => String::new(),
        };
        let jet = sheet.technique == Some(Technique::JetOpen);
        let smaller = sheet.smaller.offer.as_ref();
        SetupSheetPage {
            page: Page::of(visitor, "/cases", format!("{href}/sheet"), done),
            case: case.case.to_string(),
            href,
            heading: sheet.sentence.clone(),
            start: shared::when(state, sheet.start, now),
            technique: sheet.technique.map_or("technique not decided".into(), |it| capital(it.words())),
            technique_code: sheet.technique.map_or("not_decided", Technique::name),
            gas_out: jet || stops,
            cautions: sheet.cautions.iter().filter(|caution| *caution != GAS_OUT).cloned().collect(),
            loud: case
                .loud(state, now)
                .into_iter()
                .map(|(word, parts)| (word, listed(&parts.iter().map(Id::to_string).collect::<Vec<_>>())))
                .collect(),
            shown_as,
            chosen: sheet.chosen.is_some(),
            fit: fit.map(|fit| FitView::of(&Setting::of_case(state, case, now), fit, &sheet.barred)),
            open: setup_open::of_case(sheet, &beware(state, sheet)),
            to_open: setup_open::rows(sheet),
            lacking: sheet.lacking.clone(),
            before_use: setup_rows::before_use(state, case, now),
            offers: sheet.offers.iter().map(|offer| view(state, offer, now)).collect(),
            obvious: obvious.map(|obvious| obvious.sentence.clone()).unwrap_or_default(),
            smaller: sheet.smaller.sentence.clone(),
            smaller_parts: smaller.map(|offer| briefly(state, offer, now)).unwrap_or_default(),
            smaller_open: smaller.map(setup_open::of_offer).unwrap_or_default(),
            smaller_choice: smaller
                .and_then(|it| serde_json::to_string(&it.configuration).ok())
                .unwrap_or_default(),
            fall_back: sheet.fall_back.as_ref().map(|back| back.sentence.clone()).unwrap_or_default(),
            fall_back_changes: sheet.fall_back.as_ref().map(|back| back.changes.clone()).unwrap_or_default(),
            fall_back_gas: sheet.fall_back.as_ref().and_then(gas_of),
            is_open: case.is_open(),
            wish: setup_forms::wish(state, sheet.wish.as_ref()),
            techniques: theatre::techniques(sheet.technique),
        }
    }
}

pub async fn get(visitor: Visitor, Path(case): Path<String>, Query(done): Query<Done>) -> Response {
    let Some(found) = visitor.state.cases.get(case.as_str()).cloned() else {
        return super::problem::not_found("case", &case, "/cases", "All cases");
    };
    // A large house takes a while to search: others are answered meanwhile.
    let made = tokio::task::spawn_blocking(move || {
        let sheet = crate::domain::fit_sheet::set_up_sheet(&visitor.state, &found, visitor.now);
        render(&SetupSheetPage::of(&visitor, &found, &sheet, done.seq()))
    });
    made.await.unwrap_or_else(|_| fail::unavailable("set-up sheet"))
}

#[cfg(test)]
mod tests;
