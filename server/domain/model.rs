//! The catalogue: routes and models. What the maker made, and how it has to be processed between two uses.

use serde::{Deserialize, Serialize};

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::refusal::{Code, Problem};
use super::state::State;
use super::text::{Line, Quantity, Text};

/// One act in a route.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepKind {
    Treated,
    Received,
    Cleaned,
    Ultrasonic,
    Dried,
    Disinfected,
    Inspected,
    Packed,
    Sterilised,
}

impl StepKind {
    pub const ALL: [StepKind; 9] = [
        StepKind::Treated,
        StepKind::Received,
        StepKind::Cleaned,
        StepKind::Ultrasonic,
        StepKind::Dried,
        StepKind::Disinfected,
        StepKind::Inspected,
        StepKind::Packed,
        StepKind::Sterilised,
    ];

    pub fn name(self) -> &'static str {
        match self {
            StepKind::Treated => "treated",
            StepKind::Received => "received",
            StepKind::Cleaned => "cleaned",
            StepKind::Ultrasonic => "ultrasonic",
            StepKind::Dried => "dried",
            StepKind::Disinfected => "disinfected",
            StepKind::Inspected => "inspected",
            StepKind::Packed => "packed",
            StepKind::Sterilised => "sterilised",
        }
    }

    /// What people say was done.
    pub fn words(self) -> &'static str {
        match self {
            StepKind::Treated => "pre-cleaned at point of use",
            StepKind::Received => "received",
            StepKind::Cleaned => "cleaned by hand",
            StepKind::Ultrasonic => "cleaned in the ultrasonic bath",
            StepKind::Dried => "dried",
            StepKind::Disinfected => "disinfected",
            StepKind::Inspected => "inspected",
            StepKind::Packed => "packed",
            StepKind::Sterilised => "sterilised",
        }
    }
}

/// By what a part is disinfected or sterilised.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    Machine,
    Manual,
    Steam,
    HydrogenPeroxide,
    EthyleneOxide,
}

impl Method {
    pub fn name(self) -> &'static str {
        match self {
            Method::Machine => "machine",
            Method::Manual => "manual",
            Method::Steam => "steam",
            Method::HydrogenPeroxide => "hydrogen_peroxide",
            Method::EthyleneOxide => "ethylene_oxide",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Method::Machine => "washer-disinfector",
            Method::Manual => "by hand",
            Method::Steam => "steam",
            Method::HydrogenPeroxide => "hydrogen peroxide",
            Method::EthyleneOxide => "ethylene oxide",
        }
    }

    pub fn sterilises(self) -> bool {
        matches!(
            self,
            Method::Steam | Method::HydrogenPeroxide | Method::EthyleneOxide
        )
    }
}

/// A step of a route, with its method where it has one.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RouteStep {
    pub step: StepKind,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<Method>,
}

impl RouteStep {
    /// The method, with the documented default: a machine disinfects, steam sterilises.
    pub fn by(self) -> Option<Method> {
        match (self.step, self.method) {
            (StepKind::Disinfected, None) => Some(Method::Machine),
            (StepKind::Sterilised, None) => Some(Method::Steam),
            (_, method) => method,
        }
    }

    pub fn words(self) -> String {
        match (self.step, self.by()) {
            (StepKind::Sterilised, Some(by)) => format!("sterilised ({})", by.words()),
            (StepKind::Disinfected, Some(by)) => format!("disinfected ({})", by.words()),
            (step, _) => step.words().to_string(),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DefineRoute {
    pub route: Id,
    pub steps: Vec<RouteStep>,
}

impl DefineRoute {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        if self.steps.is_empty() {
            return Err(wrong("/steps", "found none; a route has at least one step"));
        }
        for (i, step) in self.steps.iter().enumerate() {
            if self.steps.iter().take(i).any(|earlier| earlier.step == step.step) {
                let name = step.step.name();
                return Err(wrong(
                    format!("/steps/{i}/step"),
                    format!("found {name} twice; each step stands once"),
                ));
            }
            let suits = match (step.step, step.method) {
                (_, None) => true,
                (StepKind::Disinfected, Some(by)) => matches!(by, Method::Machine | Method::Manual),
                (StepKind::Sterilised, Some(by)) => by.sterilises(),
                _ => false,
            };
            if !suits {
                let needed = "disinfected takes machine or manual, sterilised takes steam, hydrogen_peroxide or \
                              ethylene_oxide, the other steps take none";
                return Err(wrong(format!("/steps/{i}/method"), needed));
            }
            if step.step == StepKind::Sterilised && i + 1 != self.steps.len() {
                return Err(wrong(
                    format!("/steps/{i}/step"),
                    "found a step after sterilised; it is the last",
                ));
            }
        }
        Ok(())
    }
}

/// What kind of part a model is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Family {
    Bronchoscope,
    Tracheoscope,
    Head,
    AnaesthesiaConnector,
    JetAdapter,
    PortAdapter,
    Cap,
    Telescope,
    LightCable,
    CameraHead,
    Obturator,
    Forceps,
    SuctionTube,
    MouthGuard,
    Window,
    Injector,
    Dilator,
    StentPlacer,
    LightSource,
    Container,
    Accessory,
}

impl Family {
    /// As it stands in a command.
    pub fn name(self) -> &'static str {
        match self {
            Family::Bronchoscope => "bronchoscope",
            Family::Tracheoscope => "tracheoscope",
            Family::Head => "head",
            Family::AnaesthesiaConnector => "anaesthesia_connector",
            Family::JetAdapter => "jet_adapter",
            Family::PortAdapter => "port_adapter",
            Family::Cap => "cap",
            Family::Telescope => "telescope",
            Family::LightCable => "light_cable",
            Family::CameraHead => "camera_head",
            Family::Obturator => "obturator",
            Family::Forceps => "forceps",
            Family::SuctionTube => "suction_tube",
            Family::MouthGuard => "mouth_guard",
            Family::Window => "window",
            Family::Injector => "injector",
            Family::Dilator => "dilator",
            Family::StentPlacer => "stent_placer",
            Family::LightSource => "light_source",
            Family::Container => "container",
            Family::Accessory => "accessory",
        }
    }

    pub fn words(self) -> String {
        self.name().replace('_', " ")
    }
}

#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Dimensions {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inner_diameter_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outer_diameter_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shaft_diameter_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_width_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub french: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub view_deg: Option<Quantity>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub hole_diameters_mm: Vec<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stack_height_mm: Option<Quantity>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Coupling {
    pub end: Line,
    pub system: Line,
}

/// Limits from the maker's instructions; each may be absent.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_cycles: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_uses: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspect_every_cycles: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspect_every_days: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shelf_life_days: Option<u32>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SteamInstruction {
    pub temp_c: Quantity,
    pub hold_s: Quantity,
}

/// The maker's processing instructions, with their edition.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Processing {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub edition: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steam: Option<SteamInstruction>,
    /// Named where the instructions admit that method.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hydrogen_peroxide: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ethylene_oxide: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_temp_c: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub immersible: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ultrasonic: Option<bool>,
}

/// A model as it stands in a command, in its event and in the catalogue.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DefineModel {
    pub model: Id,
    pub family: Family,
    pub name: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maker: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gtin: Option<Line>,
    pub route: Id,
    #[serde(default)]
    pub dimensions: Dimensions,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub couplings: Vec<Coupling>,
    #[serde(default)]
    pub limits: Limits,
    #[serde(default)]
    pub processing: Processing,
    #[serde(default)]
    pub single_use: bool,
}

pub type Model = DefineModel;

impl DefineModel {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let sizes = &self.dimensions;
        let lengths = [
            ("inner_diameter_mm", sizes.inner_diameter_mm),
            ("outer_diameter_mm", sizes.outer_diameter_mm),
            ("length_mm", sizes.length_mm),
            ("shaft_diameter_mm", sizes.shaft_diameter_mm),
            ("max_width_mm", sizes.max_width_mm),
            ("french", sizes.french),
        ];
        for (name, size) in lengths {
            if size.is_some_and(|q| q.0 <= rust_decimal::Decimal::ZERO) {
                return Err(wrong(
                    format!("/dimensions/{name}"),
                    "found zero or less; a size is above zero",
                ));
            }
        }
        Ok(())
    }

    /// Cautions that belong at the sink and the bath, in the words of the makers' prohibitions.
    pub fn cautions(&self) -> Vec<&'static str> {
        let mut all = Vec::new();
        if self.processing.immersible == Some(false) {
            all.push("Do not immerse.");
        }
        if self.processing.ultrasonic == Some(false) {
            all.push("Not in the ultrasonic bath.");
        }
        all
    }
}

pub(super) fn define_route(deciding: &mut Deciding, it: &DefineRoute) -> Option<What> {
    deciding.touches(None);
    let version = deciding
        .state
        .routes
        .get(&it.route)
        .map_or(1, |versions| versions.len() as u32 + 1);
    Some(What::RouteDefined(RouteDefined {
        route: it.route.clone(),
        version,
        steps: it.steps.clone(),
    }))
}

pub(super) fn define_model(deciding: &mut Deciding, it: &DefineModel) -> Option<What> {
    deciding.touches(None);
    if !deciding.state.routes.contains_key(&it.route) {
        deciding.against(unknown("route", it.route.as_str()));
    }
    Some(What::ModelDefined(it.clone()))
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RouteDefined {
    pub route: Id,
    pub version: u32,
    pub steps: Vec<RouteStep>,
}

/// Nothing of this kind has that name.
pub fn unknown(kind: &str, name: &str) -> Problem {
    Problem::new(
        Code::UnknownThing,
        format!("No {kind} is named \"{name}\"."),
        format!("The name of a {kind} of this site is needed."),
        "Check the name, or scan again.",
    )
}

/// A blank reason is none.
pub fn reason_given(deciding: &mut Deciding, reason: &Text) {
    if reason.is_blank() {
        deciding.against(Problem::new(
            Code::NeedsReason,
            "The reason is blank.",
            "A reason in words is needed.",
            "Say why, in a few words.",
        ));
    }
}

impl State {
    pub fn model(&self, id: &Id) -> Option<&Model> {
        self.models.get(id).map(|model| &**model)
    }
}
