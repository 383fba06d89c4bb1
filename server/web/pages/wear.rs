//! How long the parts last: every model in the order of the failures to be expected, and one model whole.

mod compare;
mod costs;
mod decide;
pub mod notice;
mod one;
mod picture;
pub mod pieces;
mod repairs;
pub mod report;
pub mod survival;
mod tables;
mod words;
pub mod year;

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;
use serde::Deserialize;

pub use one::ModelPage;

use super::shared::{Page, count, segment};
use crate::app::outlook::All;
use crate::domain::id::Id;
use crate::domain::outlook::{AHEAD_DAYS, Expected, Outlook};
use crate::domain::state::State;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub model: Option<String>,
    pub done: Option<String>,
}

/// A model among the others.
pub struct ModelRow {
    pub href: String,
    pub model: String,
    pub name: String,
    pub expected: String,
    /// From each piece's own age, or from the failures so far alone.
    pub rough: bool,
    pub cost: String,
    pub b10: String,
    pub few: bool,
    pub in_service: u32,
    pub units: usize,
    pub failures: u64,
    pub oldest: String,
    pub replaced_at: String,
}

/// Why the parts of a family failed.
pub struct FamilyRow {
    pub family: String,
    pub failures: u32,
    pub causes: String,
}

#[derive(Template)]
#[template(path = "wear.html")]
pub struct WearPage {
    pub page: Page,
    pub heading: String,
    pub models: Vec<ModelRow>,
    pub families: Vec<FamilyRow>,
    pub ahead_days: u32,
}

fn cause(name: &str) -> String {
    name.replace('_', " ")
}

fn model_row(state: &State, outlook: &Outlook) -> ModelRow {
    let id = &outlook.lives.model;
    let model = state.model(id);
    let unplanned = state.costs_of(id).and_then(|costs| costs.unplanned_cents);
    let cost = unplanned
        .zip(outlook.expected.number())
        .map(|(cents, number)| (cents as f64 * number).round() as u64);
    let b10 = match (outlook.b10, &outlook.law) {
        (Some((b10, limits)), Ok(_)) => {
            format!("{} {}", words::figure(b10, limits).plausible(), outlook.clock().name())
        }
        _ if outlook.failures == 0 => "none failed".into(),
        _ => "not known".into(),
    };
    ModelRow {
        href: format!("/wear?model={}", segment(id.as_str())),
        model: id.to_string(),
        name: model.map(|model| model.name.0.clone()).unwrap_or_default(),
        expected: outlook.expected.number().map_or_else(|| "not known".into(), words::about),
        rough: matches!(outlook.expected, Expected::Rate(_)),
        cost: cost.map(report::money).unwrap_or_default(),
        b10,
        few: outlook.law.is_ok() && outlook.few(),
        in_service: outlook.in_service,
        units: outlook.units(),
        failures: outlook.failures,
        oldest: words::ages(outlook.oldest, outlook.clock()),
        replaced_at: state
            .life_limit(id)
            .map(|limit| limit.set.clock.told(limit.set.replace_at))
            .unwrap_or_default(),
    }
}

fn families(state: &State, all: &[&Outlook]) -> Vec<FamilyRow> {
    let mut by: BTreeMap<String, BTreeMap<String, u32>> = BTreeMap::new();
    for outlook in all {
        let family = state.model(&outlook.lives.model).map(|model| model.family);
        for (cause, many) in one::causes(outlook) {
            *by.entry(words::kind(family, true)).or_default().entry(cause).or_default() += many;
        }
    }
    let row = |(family, causes): (String, BTreeMap<String, u32>)| {
        let mut each: Vec<(String, u32)> = causes.into_iter().collect();
        each.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        let told: Vec<String> = each.iter().map(|(cause, many)| format!("{many} {cause}")).collect();
        FamilyRow { family, failures: each.iter().map(|(_, many)| many).sum(), causes: told.join(", ") }
    };
    let mut rows: Vec<FamilyRow> = by.into_iter().map(row).collect();
    rows.sort_by(|a, b| b.failures.cmp(&a.failures).then_with(|| a.family.cmp(&b.family)));
    rows
}

fn heading(all: &[&Outlook], state: &State) -> String {
    let failures: u64 = all.iter().map(|outlook| outlook.failures).sum();
    let fitted = all.iter().filter(|outlook| outlook.law.is_ok()).count();
    let Some(first) = all.first().filter(|_| failures > 0) else {
        return "No part has failed yet; how long parts last is not known here.".into();
    };
    let of = match fitted {
        0 => format!("none of {} has failed often enough for a curve", count(all.len(), "model", "models")),
        fitted => {
            format!("{fitted} of {} failed often enough for a curve", count(all.len(), "model", "models"))
        }
    };
    match first.expected.number() {
        Some(number) => {
            let family = state.model(&first.lives.model).map(|model| model.family);
            let about =
                if number < 0.05 { "hardly any".into() } else { format!("about {}", words::about(number)) };
            format!(
                "Next to fail: {about} of {} {} {} in {AHEAD_DAYS} days; {of}.",
                first.in_service,
                words::kind(family, first.in_service != 1),
                first.lives.model
            )
        }
        None => format!("{} so far; {of}.", count(failures as usize, "failure", "failures")),
    }
}

impl WearPage {
    pub fn of(visitor: &Visitor, outlooks: &BTreeMap<Id, Outlook>) -> WearPage {
        let state = &*visitor.state;
        let mut all: Vec<&Outlook> = outlooks.values().collect();
        all.sort_by(|a, b| {
            let expected = |it: &Outlook| it.expected.number().unwrap_or(-1.0);
            let units = b.units().cmp(&a.units());
            expected(b).total_cmp(&expected(a)).then(b.failures.cmp(&a.failures)).then(units)
        });
        WearPage {
            page: Page::of(visitor, "/wear", "/wear", None),
            heading: heading(&all, state),
            models: all.iter().map(|outlook| model_row(state, outlook)).collect(),
            families: families(state, &all),
            ahead_days: AHEAD_DAYS,
        }
    }
}

/// The outlooks of the other models of a family.
fn of_family<'a>(state: &State, all: &'a BTreeMap<Id, Outlook>, one: &Outlook) -> Vec<&'a Outlook> {
    let family = |model: &Id| state.model(model).map(|model| model.family);
    let own = family(&one.lives.model);
    let others = all.iter().filter(|(model, _)| **model != one.lives.model && family(model) == own);
    others.map(|(_, outlook)| outlook).collect()
}

/// The outlooks, made beside the threads that answer where they have to be made anew.
async fn outlooks(app: &App, visitor: &Visitor) -> Result<All, Response> {
    let (house, state, now) = (app.house.clone(), visitor.state.clone(), visitor.now);
    let made = tokio::task::spawn_blocking(move || house.outlooks(&state, now)).await;
    made.map_err(|error| {
        let operation = crate::app::house::operation();
        tracing::error!(operation, %error, "the lives of parts could not be looked at");
        crate::web::fail::unavailable(&operation)
    })
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let all = match outlooks(&app, &visitor).await {
        Ok(all) => all,
        Err(gone) => return gone,
    };
    let Some(model) = asked.model.filter(|model| !model.is_empty()) else {
        return render(&WearPage::of(&visitor, &all));
    };
    let done = asked.done.and_then(|text| text.parse().ok());
    let found = Id::new(&model).filter(|id| visitor.state.models.contains_key(id));
    match found.and_then(|id| all.get(&id)) {
        Some(outlook) => {
            render(&ModelPage::of(&visitor, outlook, &of_family(&visitor.state, &all, outlook), done))
        }
        None => super::problem::not_found("model with parts", &model, "/wear", "All models"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    fn one(visitor: &Visitor, model: &str) -> String {
        let all = visitor.state.outlooks(visitor.now);
        let outlook = &all[&Id::new(model).unwrap()];
        let others = of_family(&visitor.state, &all, outlook);
        let text = sample::show(&format!("wear-{model}"), &ModelPage::of(visitor, outlook, &others, None));
        assert!(!text.contains("NaN") && !text.contains("inf "), "{text}");
        text
    }

    #[test]
    fn one_failure_is_too_few_and_what_can_be_said_is() {
        let visitor = sample::busy::visitor();
        let all = visitor.state.outlooks(visitor.now);
        let text = sample::show("wear", &WearPage::of(&visitor, &all));
        assert!(text.contains("none of 4 models has failed often enough for a curve"), "{text}");
        assert!(
            text.contains("<th scope=\"row\">caps</th><td class=\"number\">1</td><td>1 worn</td>"),
            "{text}"
        );
        let text = one(&visitor, "CAP-2");
        assert!(text.contains("how long such caps last is not known.</h1>"), "{text}");
        assert!(text.contains("One failure is too few to tell wear from chance, and for a curve."), "{text}");
        assert!(
            text.contains("We can say, 95 % sure:") && text.contains("assumed and not seen here"),
            "{text}"
        );
        assert!(text.contains("No age can be found") && !text.contains("name=\"replace_at:int\""), "{text}");
        let none = one(&visitor, "BR-7.5");
        assert!(none.contains("<h1>None of 2 bronchoscopes has failed, the oldest at "), "{none}");
        assert!(none.contains("Without a failure there is no curve."), "{none}");
        assert!(!none.contains("curve seen few\" d=\"\""), "{none}");
    }

    #[test]
    fn a_law_is_told_as_a_sentence_with_what_to_do_about_it() {
        let visitor = sample::worn();
        let all = visitor.state.outlooks(visitor.now);
        let text = sample::show("wear-worn", &WearPage::of(&visitor, &all));
        assert!(text.contains("<h1>Next to fail: about "), "{text}");
        let text = one(&visitor, "CAP-2");
        let heading = text.split("<h1>").nth(1).unwrap().split("</h1>").next().unwrap();
        assert!(
            heading.starts_with("Of 100 such caps about 10 fail by ") && heading.contains(" (plausible "),
            "{heading}"
        );
        assert!(heading.ends_with("12 failures among 35 caps, the oldest 240 cycles."), "{heading}");
        assert!(text.contains("they wear out.") && text.contains("class=\"law\""), "{text}");
        // The sentence is of the age that it names: what fails before it follows from the law at that whole age.
        let outlook = &all[&Id::new("CAP-2").unwrap()];
        let (advice, law) = (visitor.state.replace_advice(outlook), outlook.law.as_ref().unwrap());
        let at = advice.at.unwrap();
        let failed = words::about(100.0 * (1.0 - (-(at / law.eta).powf(law.beta)).exp()));
        let ends = [advice.flat_from, advice.flat_to].map(Option::unwrap);
        assert!(at.fract() == 0.0 && ends.iter().all(|end| end.fract() == 0.0), "{advice:?}");
        for said in [
            format!(
                "Replace at {at:.0} cycles: any age from {} to {} cycles costs hardly more",
                ends[0], ends[1]
            ),
            format!("; {failed} of 100 still fail before that age."),
        ] {
            assert!(text.contains(&said), "{said} {text}");
        }
        let reason = format!("Costs least at {at:.0} cycles;");
        assert!(
            text.contains(&reason) && text.contains(&format!("name=\"replace_at:int\" value=\"{at:.0}\"")),
            "{text}"
        );
        assert!(text.contains("name=\"replace_at:int\"") && text.contains("name=\"scan:each\""), "{text}");
        assert!(text.contains("1 in the store suffices with 95 % certainty"), "{text}");
    }
}
