//! A model defined or changed by a form. What looks wrong in its sizes is asked about before it is saved.

use askama::Template;
use axum::extract::{Form, Query, State as Of};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::model_fields::{CouplingRow, Group, coupling_rows, fields_of, groups, label, with_points};
use super::shared::{Page, capital, count, segment};
use crate::domain::command::{Act, Command, Malformed, Model as OfModel};
use crate::domain::model::Model;
use crate::domain::sha256::Sha256Of;
use crate::domain::sizes::{self, Known, Point};
use crate::domain::text::ended;
use crate::web::api::command::read;
use crate::web::form::{Fields, command, submit_read, text};
use crate::web::visitor::{Visitor, render};
use crate::web::{App, fail};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// The model that is changed.
    pub model: String,
    /// A model that a new one begins with.
    pub like: String,
}

#[derive(Template)]
#[template(path = "model_form.html")]
pub struct ModelFormPage {
    pub page: Page,
    pub heading: String,
    /// The code of the model that is changed; empty for a new one.
    pub changes: String,
    pub no_route: bool,
    /// What stands against it: where, and what.
    pub said: Vec<(String, String)>,
    /// What stands there only looks wrong, and may be saved with this beside it.
    pub sure: String,
    pub groups: Vec<Group>,
    pub couplings: Vec<CouplingRow>,
    /// The systems that are known here, to choose from.
    pub systems: Vec<String>,
}

/// What was said of a form that was sent.
#[derive(Default)]
struct Said {
    wrong: Vec<Malformed>,
    doubts: Vec<Malformed>,
}

impl ModelFormPage {
    fn of(visitor: &Visitor, changes: &str, fields: &Fields, said: Said) -> ModelFormPage {
        let state = &*visitor.state;
        let mut systems: Vec<String> =
            state.models.values().flat_map(|it| &it.couplings).map(|it| it.system.0.clone()).collect();
        systems.sort();
        systems.dedup();
        let all = if said.wrong.is_empty() { &said.doubts } else { &said.wrong };
        let path = if changes.is_empty() {
            "/catalogue".to_string()
        } else {
            format!("/models/{}", segment(changes))
        };
        ModelFormPage {
            page: Page::of(visitor, "/catalogue", path, None),
            heading: heading(changes, &said),
            changes: changes.into(),
            no_route: state.routes.is_empty(),
            said: all.iter().map(|it| (label(&it.pointer), ended(&capital(&it.detail)))).collect(),
            sure: if said.wrong.is_empty() && !said.doubts.is_empty() {
                digest(&said.doubts)
            } else {
                String::new()
            },
            groups: groups(state, fields, all),
            couplings: coupling_rows(fields, all),
            systems,
        }
    }
}

fn heading(changes: &str, said: &Said) -> String {
    let what = if changes.is_empty() { "the new model".to_string() } else { changes.to_string() };
    match (said.wrong.len(), said.doubts.len()) {
        (0, 0) if changes.is_empty() => {
            "Define a model: what it is, its sizes, and what it couples to.".into()
        }
        (0, 0) => format!("Change {what}. It replaces what was defined from now on."),
        (0, doubts) => {
            let looks = if doubts == 1 { "looks wrong or is lacking" } else { "look wrong or are lacking" };
            let what_is_asked = count(doubts, "thing", "things");
            format!("Not saved yet: {what_is_asked} of {what} {looks}. Correct it, or save all the same.")
        }
        (1, _) => {
            let it = said.wrong.first().map(|it| (label(&it.pointer), it.detail.clone())).unwrap_or_default();
            format!("Not saved: of {what} one thing cannot be so, {}: {}", it.0, ended(&it.1))
        }
        (wrong, _) => format!("Not saved: {} of {what} cannot be so.", count(wrong, "thing", "things")),
    }
}

/// These doubts and no others.
fn digest(doubts: &[Malformed]) -> String {
    let all: Vec<String> = doubts.iter().map(|it| format!("{}\u{0}{}", it.pointer, it.detail)).collect();
    hex::encode(Sha256Of::of(all.join("\u{0}").as_bytes()).0)
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let state = &visitor.state;
    let from = if asked.model.is_empty() { &asked.like } else { &asked.model };
    if from.is_empty() {
        return render(&ModelFormPage::of(&visitor, "", &Vec::new(), Said::default()));
    }
    let Some(known) = state.models.get(from.as_str()) else {
        return super::problem::not_found("model", from, "/catalogue#models", "The catalogue");
    };
    let mut fields = fields_of(&serde_json::to_value(&**known).unwrap_or_default());
    if asked.model.is_empty() {
        fields.retain(|(name, _)| name != "model" && name != "gtin");
    }
    render(&ModelFormPage::of(&visitor, &asked.model, &fields, Said::default()))
}

/// What looks wrong in a model, and what it lacks.
fn look(visitor: &Visitor, model: &Model) -> Said {
    let looked = sizes::look(model, &Known::of(&visitor.state));
    let told = |points: &[Point]| points.iter().map(Point::malformed).collect::<Vec<_>>();
    let mut doubts = told(&looked.doubts);
    doubts.extend(told(&sizes::lacks(model)));
    Said { wrong: told(&looked.wrong), doubts }
}

/// Saves the model, unless something stands against it that was not seen before.
pub async fn post(Of(app): Of<App>, visitor: Visitor, Form(fields): Form<Fields>) -> Response {
    if !visitor.owns(text(&fields, "csrf")) {
        return fail::foreign_form();
    }
    let sure = text(&fields, "sure").to_string();
    let changes = text(&fields, "changes").to_string();
    let mut fields = with_points(fields);
    fields.retain(|(name, _)| name != "sure" && name != "changes");
    let asked = command(&fields, visitor.state.zone);
    // What was read stands in the form as it was read, so that rows and places agree.
    let shown = asked.as_ref().map_or_else(|_| fields.clone(), fields_of);
    let again = |said: Said| {
        let page = ModelFormPage::of(&visitor, &changes, &shown, said);
        (StatusCode::UNPROCESSABLE_ENTITY, render(&page)).into_response()
    };
    let read = match asked.and_then(read) {
        Ok(read) => read,
        Err(wrong) => return again(Said { wrong, doubts: Vec::new() }),
    };
    let Command { act: Act::Model(OfModel::DefineModel(model)), .. } = &read else {
        return fail::unreadable(StatusCode::BAD_REQUEST);
    };
    let said = look(&visitor, model);
    if !said.wrong.is_empty() || (!said.doubts.is_empty() && digest(&said.doubts) != sure) {
        return again(said);
    }
    let back = format!("/models/{}", segment(model.model.as_str()));
    fields.retain(|(name, _)| name != "back");
    fields.push(("back".into(), back));
    submit_read(&app, &visitor, &fields, Ok(read)).await
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    /// A model as its form sends it again.
    fn round(model: &Value) -> Value {
        let mut fields = fields_of(model);
        fields.push(("do".into(), "define_model".into()));
        command(&fields, chrono_tz::UTC).unwrap()
    }

    #[test]
    fn a_form_gives_back_the_model_that_it_was_filled_from() {
        let model = json!({"do": "define_model", "model": "head-r", "family": "head", "name": "Head", "maker": "M",
            "gtin": "04000000000017", "route": "rigid", "dimensions": {"nominal": "1", "hole_diameters_mm": ["2.5", "3"],
            "stack_height_mm": "28"}, "couplings": [{"end": "barrel", "system": "ring-a"}, {"end": "side", "system":
            "cone-15", "port": "side", "bore_mm": "12"}], "limits": {"max_cycles": 40}, "processing": {"edition": "3",
            "immersible": false, "steam": {"temp_c": "134", "hold_s": "180"}}, "single_use": true, "implant": true,
            "assembly": {"order": 2, "edition": "2024", "note": "with a quarter turn"}});
        assert_eq!(round(&model), model);
        let typed = vec![
            ("dimensions.inner_diameter_mm".to_string(), "5,5".to_string()),
            ("dimensions.hole_diameters_mm:holes".into(), "2,5 3".into()),
            ("name".into(), "1,5 m".into()),
        ];
        let points: Vec<String> = with_points(typed).into_iter().map(|(_, value)| value).collect();
        assert_eq!(points, ["5.5", "2.5 3", "1,5 m"]);
    }

    #[test]
    fn the_form_says_what_looks_wrong() {
        let mut visitor = sample::visitor();
        visitor.actor.role = Role::Biomed;
        let text = sample::show("model-form", &ModelFormPage::of(&visitor, "", &Vec::new(), Said::default()));
        assert!(
            text.contains("name=\"couplings.4.bore_mm\"") && text.contains("name=\"assembly.order:int\"")
        );
        let model = json!({"model": "x", "family": "bronchoscope", "name": "X", "route": "rigid", "dimensions":
            {"nominal": "3.5", "inner_diameter_mm": "3.5", "outer_diameter_mm": "5.0", "length_mm": "300"}});
        let read: Model = serde_json::from_value(model.clone()).unwrap();
        let said = look(&visitor, &read);
        let page = ModelFormPage::of(&visitor, "", &fields_of(&model), said);
        let text = sample::show("model-form-doubts", &page);
        assert!(text.contains("Save all the same") && text.contains("which is the label itself"), "{text}");
        assert!(page.heading.starts_with("Not saved yet: 3 things"), "{}", page.heading);
    }
}
