//! The catalogue: routes, models, count sheets, machines and their programmes.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::define::{Begun, Forms};
use super::load::limits;
use super::say::Say;
use super::shared::{Page, count, when};
use crate::domain::model::{Coupling, Family, Model, Port};
use crate::domain::sizes::{Known, lacks, look};
use crate::domain::starter::published;
use crate::domain::state::{Condition, Machine, State};
use crate::domain::time::Time;
use crate::web::visitor::{Visitor, render};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub done: Option<String>,
    /// A published programme that a machine's form is to begin with.
    pub begin: String,
    /// The machine whose form that is; empty for a new one.
    pub machine: String,
}

pub struct Route {
    pub route: String,
    pub version: usize,
    pub steps: Vec<String>,
}

pub struct ModelRow {
    pub model: String,
    pub href: String,
    pub name: String,
    pub family: String,
    pub route: String,
    pub sizes: String,
    /// How much of its sizes looks wrong, or lacks.
    pub looks_wrong: usize,
    /// Its ends with their systems.
    pub couplings: String,
    pub limits: String,
    pub processing: String,
    pub parts: usize,
}

pub struct SheetLine {
    pub line: String,
    pub wants: String,
    pub quantity: u32,
    pub essential: bool,
    pub pack: String,
}

pub struct Sheet {
    pub sheet: String,
    pub name: String,
    pub lines: Vec<SheetLine>,
}

pub struct Tested {
    pub test: String,
    pub good: bool,
    pub at: String,
}

pub struct MachineRow {
    pub machine: String,
    pub kind: &'static str,
    pub say: Say,
    pub flagged: bool,
    pub out: bool,
    pub running: String,
    /// Each with its limits, and where these come from.
    pub programmes: Vec<(String, String, Vec<String>)>,
    pub tests: Vec<Tested>,
    /// It has a record form of its own.
    pub form: bool,
}

#[derive(Template)]
#[template(path = "catalogue.html")]
pub struct CataloguePage {
    pub page: Page,
    pub heading: String,
    /// The published programmes: name and words.
    pub published: Vec<(&'static str, String)>,
    pub routes: Vec<Route>,
    pub models: Vec<ModelRow>,
    pub sheets: Vec<Sheet>,
    pub machines: Vec<MachineRow>,
    pub forms: Forms,
}

/// Sizes as the trade writes them; each that is known, with its unit.
pub fn sizes(model: &Model) -> String {
    let size = &model.dimensions;
    let named = [
        ("nominal", size.nominal, ""),
        ("inner", size.inner_diameter_mm, " mm"),
        ("outer", size.outer_diameter_mm, " mm"),
        ("length", size.length_mm, " mm"),
        ("shaft", size.shaft_diameter_mm, " mm"),
        ("widest", size.max_width_mm, " mm"),
        ("Fr", size.french, ""),
        ("view", size.view_deg, "°"),
    ];
    let known =
        named.iter().filter_map(|(name, value, unit)| value.map(|value| format!("{name} {value}{unit}")));
    let blank = size.hole_diameters_mm.is_some();
    let holes: Vec<String> = size.holes().iter().map(|hole| format!("{hole} mm")).collect();
    let holes = match holes.as_slice() {
        [] if blank => Some("no hole".into()),
        [] => (model.family == Family::Cap).then(|| "holes not known".into()),
        [one] => Some(format!("hole {one}")),
        all => Some(format!("holes {}", super::shared::listed(all))),
    };
    let stack = size.stack_height_mm.map(|stack| format!("adds {stack} mm"));
    known.chain(holes).chain(stack).collect::<Vec<_>>().join(", ")
}

/// An end in words: its system, and the opening behind it.
pub fn end(coupling: &Coupling) -> String {
    let opening = coupling.port.map(|port| match port {
        Port::Proximal => ", opens in line",
        Port::Side => ", opens at the side",
    });
    let bore = coupling.bore_mm.map(|bore| format!(", bore {bore} mm")).unwrap_or_default();
    format!("{} ({}{}{bore})", coupling.end.0, coupling.system.0, opening.unwrap_or_default())
}

pub fn limit_words(model: &Model) -> String {
    let limits = &model.limits;
    let named = [
        (limits.max_cycles, "cycles at most"),
        (limits.max_uses, "uses at most"),
        (limits.inspect_every_cycles, "cycles between inspections"),
        (limits.inspect_every_days, "days between inspections"),
        (limits.shelf_life_days, "days of shelf life"),
    ];
    let mut known: Vec<String> =
        named.iter().filter_map(|(value, words)| value.map(|value| format!("{value} {words}"))).collect();
    if model.single_use {
        known.push("single use".into());
    }
    if model.implant {
        known.push("implant".into());
    }
    known.join(", ")
}

pub fn processing(model: &Model) -> String {
    let it = &model.processing;
    let mut known = Vec::new();
    known.extend(it.steam.as_ref().map(|steam| {
        let most = steam.max_hold_s.map(|most| format!(", at most {most} s")).unwrap_or_default();
        format!("steam {} °C, {} s{most}", steam.temp_c, steam.hold_s)
    }));
    known.extend(it.hydrogen_peroxide.filter(|yes| *yes).map(|_| "hydrogen peroxide".to_string()));
    known.extend(it.ethylene_oxide.filter(|yes| *yes).map(|_| "ethylene oxide".to_string()));
    known.extend(
        it.disinfection.as_ref().map(|it| format!("by hand at least {} s at {} °C", it.contact_s, it.temp_c)),
    );
    known.extend(it.max_temp_c.map(|most| format!("at most {most} °C")));
    known.extend(it.edition.as_ref().map(|edition| format!("edition {}", edition.0)));
    known.extend(
        model.cautions().iter().map(|caution| caution.to_lowercase().trim_end_matches('.').to_string()),
    );
    known.join(", ")
}

fn machine(state: &State, machine: &Machine, now: Time) -> MachineRow {
    let say = super::say::of_machine(state, machine, now);
    MachineRow {
        machine: machine.machine.to_string(),
        kind: machine.kind.words(),
        say,
        flagged: machine.flag.is_some(),
        out: !matches!(machine.condition, Condition::InService),
        form: machine.form.is_some(),
        running: machine.running.as_ref().map(|load| load.to_string()).unwrap_or_default(),
        programmes: machine
            .programmes
            .iter()
            .map(|it| {
                let test = if it.air_removal_test { ", air-removal test each test day" } else { "" };
                let words = format!("{}{test}", limits(it, machine.kind));
                (it.programme.to_string(), words, super::source::of(it))
            })
            .collect(),
        tests: machine
            .last_tests
            .iter()
            .map(|(test, last)| Tested {
                test: test.replace('_', " "),
                good: last.good,
                at: when(state, last.at, now),
            })
            .collect(),
    }
}

pub fn families() -> Vec<(String, String)> {
    Family::ALL
        .iter()
        .map(|family| (family.name().to_string(), super::shared::capital(&family.words())))
        .collect()
}

impl CataloguePage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> CataloguePage {
        let (state, now) = (&*visitor.state, visitor.now);
        let of_model = |model: &Model| state.assets.values().filter(|part| part.model == model.model).count();
        let machines: Vec<MachineRow> = state.machines.values().map(|it| machine(state, it, now)).collect();
        let routes = state.routes.iter().map(|(route, versions)| Route {
            route: route.to_string(),
            version: versions.len(),
            steps: versions
                .last()
                .map(|steps| steps.iter().map(|step| step.words()).collect())
                .unwrap_or_default(),
        });
        let known = Known::of(state);
        let models = state.models.values().map(|model| ModelRow {
            model: model.model.to_string(),
            href: format!("/models/{}", super::shared::segment(model.model.as_str())),
            looks_wrong: look(model, &known).all().count() + lacks(model).len(),
            couplings: model.couplings.iter().map(end).collect::<Vec<_>>().join(", "),
            name: model.name.0.clone(),
            family: model.family.words(),
            route: model.route.to_string(),
            sizes: sizes(model),
            limits: limit_words(model),
            processing: processing(model),
            parts: of_model(model),
        });
        let sheets = state.sheets.values().map(|sheet| Sheet {
            sheet: sheet.count_sheet.to_string(),
            name: sheet.name.0.clone(),
            lines: sheet
                .lines
                .iter()
                .map(|line| SheetLine {
                    line: line.line.0.clone(),
                    wants: line.wants(),
                    quantity: line.quantity,
                    essential: line.essential,
                    pack: line.pack.0.clone(),
                })
                .collect(),
        });
        let done = asked.done.as_deref().and_then(|text| text.parse().ok());
        let (page, families) = (Page::of(visitor, "/catalogue", "/catalogue", done), families());
        let begun = Begun { published: published(&asked.begin), machine: &asked.machine };
        CataloguePage {
            forms: Forms::of(state, &families, begun, |command| page.may(command)),
            published: super::define::published(),
            heading: heading(state, &machines),
            routes: routes.collect(),
            models: models.collect(),
            sheets: sheets.collect(),
            machines,
            page,
        }
    }
}

fn heading(state: &State, machines: &[MachineRow]) -> String {
    let out: Vec<String> = machines
        .iter()
        .filter(|machine| machine.out)
        .map(|it| format!("{} is {}", it.machine, it.say.words))
        .collect();
    let all = format!(
        "{}, {}, {} and {}.",
        count(state.models.len(), "model", "models"),
        count(state.routes.len(), "route", "routes"),
        count(state.sheets.len(), "count sheet", "count sheets"),
        count(machines.len(), "machine", "machines")
    );
    if state.routes.is_empty() && state.machines.is_empty() {
        return "Nothing is defined yet. A route comes first: every model needs one.".into();
    }
    if out.is_empty() { all } else { format!("{}. {all}", super::shared::listed(&out)) }
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&CataloguePage::of(&visitor, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    #[test]
    fn the_catalogue_shows_machines_and_their_condition() {
        let text = sample::show("catalogue", &CataloguePage::of(&sample::visitor(), &Asked::default()));
        assert!(text.contains("in service") && !text.contains("name=\"do\" value=\"define_route\""));
        let mut admin = sample::visitor();
        admin.actor.role = Role::Admin;
        let text = sample::show("catalogue-admin", &CataloguePage::of(&admin, &Asked::default()));
        assert!(text.contains("value=\"define_route\""));
        // What is defined stands in the form that changes it; nobody types JSON.
        assert!(text.contains("name=\"programmes.0.programme\" value=\"steam-134\""), "{text}");
        assert!(text.contains("<option value=\"sterilised/steam\" selected>"), "{text}");
        assert!(!text.contains("JSON") && !text.contains(":json"), "{text}");
        let begin = Asked { begin: "steam-134-3".into(), ..Asked::default() };
        let text = sample::show("catalogue-begun", &CataloguePage::of(&admin, &begin));
        assert!(text.contains("name=\"programmes.0.programme\" value=\"steam-134-3\""), "{text}");
        assert!(
            text.contains("name=\"programmes.0.sources.hold_s\" value=\"Common moist-heat pairs"),
            "{text}"
        );
    }
}
