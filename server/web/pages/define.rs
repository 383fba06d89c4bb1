//! The forms of the catalogue: what is defined now stands in them, with empty rows for more. A row left empty is left
//! out, so that the same form works without a script.

use crate::domain::id::Id;
use crate::domain::machine::MachineKind;
use crate::domain::model::{Method, RouteStep, StepKind};
use crate::domain::programme::{Biological, Chemical, Programme, SOURCED};
use crate::domain::set::{CountSheet, SheetLine};
use crate::domain::starter::{PUBLISHED, Published};
use crate::domain::state::{Machine, State};
use crate::domain::text::Quantity;

/// A choice of a list: its value, its words, and whether it is the present one.
pub type Option3 = (String, String, bool);

pub struct ProgrammeFields {
    pub programme: String,
    pub methods: Vec<Option3>,
    pub band_c: String,
    pub hold_s: String,
    pub a0_s: String,
    pub cooling_s: String,
    pub aeration_s: String,
    pub air_removal_test: bool,
    pub chemical: Vec<Option3>,
    pub biological: Vec<Option3>,
    /// For each limit its name in a command, its name on the page, and its source.
    pub sources: Vec<(&'static str, &'static str, String)>,
    /// An empty one is folded away.
    pub empty: bool,
}

pub struct MachineForm {
    /// The name of what is changed; empty for a new one.
    pub machine: String,
    pub kinds: Vec<Option3>,
    pub programmes: Vec<ProgrammeFields>,
    /// It begins with a published programme, so its form stands open.
    pub begun: bool,
}

pub struct LineFields {
    pub line: String,
    pub families: Vec<Option3>,
    pub models: String,
    pub quantity: String,
    /// Nothing, "true" or "false".
    pub essential: &'static str,
    pub pack: String,
}

pub struct SheetForm {
    pub sheet: String,
    pub name: String,
    /// Its sets must not exchange parts with others.
    pub keeps_parts: bool,
    pub lines: Vec<LineFields>,
}

pub struct RouteForm {
    pub route: String,
    pub steps: Vec<Vec<Option3>>,
}

/// All the forms; none for a role that defines nothing.
#[derive(Default)]
pub struct Forms {
    pub machines: Vec<MachineForm>,
    pub sheets: Vec<SheetForm>,
    pub routes: Vec<RouteForm>,
}

fn options(all: &[(&str, &str)], chosen: &str) -> Vec<Option3> {
    all.iter().map(|(value, words)| (value.to_string(), words.to_string(), *value == chosen)).collect()
}

fn or_empty(quantity: Option<Quantity>) -> String {
    quantity.map(|quantity| quantity.to_string()).unwrap_or_default()
}

fn method_name(method: Method) -> &'static str {
    match method {
        Method::Machine => "machine",
        Method::Manual => "manual",
        Method::Steam => "steam",
        Method::HydrogenPeroxide => "hydrogen_peroxide",
        Method::EthyleneOxide => "ethylene_oxide",
    }
}

fn programme(it: Option<&Programme>) -> ProgrammeFields {
    let chemical = match it.and_then(|it| it.chemical) {
        None => "",
        Some(Chemical::None) => "none",
        Some(Chemical::EachLoad) => "each_load",
        Some(Chemical::EachPack) => "each_pack",
    };
    let biological = match it.map(|it| it.biological) {
        None | Some(Biological::None) => "",
        Some(Biological::EachLoad) => "each_load",
        Some(Biological::Periodic) => "periodic",
    };
    let methods = [
        ("", "Choose"),
        ("machine", "Washing and thermal disinfection"),
        ("steam", "Steam"),
        ("hydrogen_peroxide", "Hydrogen peroxide"),
        ("ethylene_oxide", "Ethylene oxide"),
    ];
    let chemicals = [
        ("", "As usual: each load of a steriliser"),
        ("none", "None"),
        ("each_load", "In each load"),
        ("each_pack", "In each pack"),
    ];
    let biologicals = [("", "None"), ("each_load", "In each load"), ("periodic", "At intervals")];
    ProgrammeFields {
        programme: it.map(|it| it.programme.to_string()).unwrap_or_default(),
        methods: options(&methods, it.map_or("", |it| method_name(it.method))),
        band_c: or_empty(it.and_then(|it| it.band_c)),
        hold_s: or_empty(it.and_then(|it| it.hold_s)),
        a0_s: or_empty(it.and_then(|it| it.a0_s)),
        cooling_s: it.and_then(|it| it.cooling_s).map(|s| s.to_string()).unwrap_or_default(),
        aeration_s: it.and_then(|it| it.aeration_s).map(|s| s.to_string()).unwrap_or_default(),
        air_removal_test: it.is_some_and(|it| it.air_removal_test),
        chemical: options(&chemicals, chemical),
        biological: options(&biologicals, biological),
        sources: SOURCED.map(|name| (name, super::source::limit(name), source_of(it, name))).into(),
        empty: it.is_none(),
    }
}

fn source_of(it: Option<&Programme>, name: &str) -> String {
    it.and_then(|it| it.sources.get(name)).map(|source| source.0.clone()).unwrap_or_default()
}

/// A published programme that a form is to begin with, and the machine whose form it is; empty for a new one.
#[derive(Clone, Copy, Default)]
pub struct Begun<'a> {
    pub published: Option<&'static Published>,
    pub machine: &'a str,
}

/// The published programmes as choices: name and words.
pub fn published() -> Vec<(&'static str, String)> {
    let minutes = |seconds: i64| format!("{} min", seconds / 60);
    PUBLISHED
        .iter()
        .map(|it| {
            let band = it.band_c.map(|band| format!("{band} °C")).unwrap_or_default();
            let hold = it.hold_s.map(minutes).or_else(|| it.a0_s.map(|a0| format!("A0 {a0} s")));
            (it.name, format!("{}: {band}, {}", it.about, hold.unwrap_or_default()))
        })
        .collect()
}

const KINDS: [(&str, MachineKind); 4] = [
    ("steriliser", MachineKind::Steriliser),
    ("washer_disinfector", MachineKind::WasherDisinfector),
    ("ultrasonic", MachineKind::Ultrasonic),
    ("drying_cabinet", MachineKind::DryingCabinet),
];

fn machine(it: Option<&Machine>, begun: Begun) -> MachineForm {
    let name = it.map(|it| it.machine.to_string()).unwrap_or_default();
    let published = begun.published.filter(|_| begun.machine == name);
    let kind = it.map(|it| it.kind).or_else(|| published.map(|it| it.kind));
    let kinds =
        KINDS.iter().map(|(name, known)| (name.to_string(), known.words().to_string(), kind == Some(*known)));
    let known = it.into_iter().flat_map(|it| it.programmes.iter()).map(|it| programme(Some(it)));
    let begun = published.and_then(Published::programme).map(|it| programme(Some(&it)));
    let is_begun = begun.is_some();
    let mut programmes: Vec<ProgrammeFields> =
        known.chain(begun).chain([programme(None), programme(None)]).collect();
    // A new machine's first programme is not folded away.
    if let (None, Some(first)) = (it, programmes.first_mut()) {
        first.empty = false;
    }
    MachineForm { machine: name, kinds: kinds.collect(), programmes, begun: is_begun }
}

fn line(families: &[(String, String)], it: Option<&SheetLine>) -> LineFields {
    let family = it.and_then(|it| it.family).map(|family| family.name()).unwrap_or_default();
    let any = [(String::new(), "Any".to_string(), family.is_empty())];
    let named = families.iter().map(|(name, words)| (name.clone(), words.clone(), *name == family));
    LineFields {
        line: it.map(|it| it.line.0.clone()).unwrap_or_default(),
        families: any.into_iter().chain(named).collect(),
        models: it
            .map(|it| it.models.iter().map(Id::as_str).collect::<Vec<_>>().join(" "))
            .unwrap_or_default(),
        quantity: it.map(|it| it.quantity.to_string()).unwrap_or_default(),
        essential: it.map_or("", |it| if it.essential { "true" } else { "false" }),
        pack: it.map(|it| it.pack.0.clone()).unwrap_or_default(),
    }
}

fn sheet(families: &[(String, String)], it: Option<&CountSheet>) -> SheetForm {
    const MORE: usize = 5;
    const NEW: usize = 12;
    let known = it.into_iter().flat_map(|it| it.lines.iter()).map(|it| line(families, Some(it)));
    let more = if it.is_some() { MORE } else { NEW };
    SheetForm {
        sheet: it.map(|it| it.count_sheet.to_string()).unwrap_or_default(),
        name: it.map(|it| it.name.0.clone()).unwrap_or_default(),
        keeps_parts: it.is_some_and(|it| it.keeps_parts),
        lines: known.chain((0..more).map(|_| line(families, None))).collect(),
    }
}

/// Every step with each of its methods, as the form names it.
fn steps() -> Vec<RouteStep> {
    let by = |kind| match kind {
        StepKind::Disinfected => vec![Some(Method::Machine), Some(Method::Manual)],
        StepKind::Sterilised => {
            vec![Some(Method::Steam), Some(Method::HydrogenPeroxide), Some(Method::EthyleneOxide)]
        }
        _ => vec![None],
    };
    let each = |step| by(step).into_iter().map(move |method| RouteStep { step, method });
    StepKind::ALL.into_iter().flat_map(each).collect()
}

fn step_choices(chosen: Option<RouteStep>) -> Vec<Option3> {
    let none = (String::new(), "No further step".to_string(), chosen.is_none());
    let named = steps().into_iter().map(|it| {
        let method = it.method.map(|method| format!("/{}", method_name(method))).unwrap_or_default();
        let here = chosen.is_some_and(|chosen| chosen.step == it.step && chosen.by() == it.by());
        (format!("{}{method}", it.step.name()), super::shared::capital(&it.words()), here)
    });
    [none].into_iter().chain(named).collect()
}

/// What most routes are: the steps in order, by machine and by steam.
fn usual() -> Vec<RouteStep> {
    let first = |it: &RouteStep| matches!(it.method, None | Some(Method::Machine | Method::Steam));
    steps().into_iter().filter(first).collect()
}

fn route(name: &str, steps: &[RouteStep]) -> RouteForm {
    const MOST: usize = 12;
    let more = MOST.saturating_sub(steps.len()).max(2);
    let known = steps.iter().map(|step| step_choices(Some(*step)));
    RouteForm { route: name.into(), steps: known.chain((0..more).map(|_| step_choices(None))).collect() }
}

impl Forms {
    pub fn of(
        state: &State,
        families: &[(String, String)],
        begun: Begun,
        may: impl Fn(&str) -> bool,
    ) -> Forms {
        let mut all = Forms::default();
        if may("define_machine") {
            all.machines = state.machines.values().map(|it| machine(Some(it), begun)).collect();
            all.machines.push(machine(None, begun));
        }
        if may("define_count_sheet") {
            all.sheets = state.sheets.values().map(|it| sheet(families, Some(it))).collect();
            all.sheets.push(sheet(families, None));
        }
        if may("define_route") {
            let known = state.routes.iter().filter_map(|(name, versions)| Some((name, versions.last()?)));
            all.routes = known.map(|(name, steps)| route(name.as_str(), steps)).collect();
            all.routes.push(route("", &usual()));
        }
        all
    }
}
