//! Routes: the ordered processing steps that a model needs between two uses.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;

/// One act in a route.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
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
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
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
        matches!(self, Method::Steam | Method::HydrogenPeroxide | Method::EthyleneOxide)
    }
}

/// A step of a route, with its method where it has one.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RouteDefined {
    pub route: Id,
    pub version: u32,
    pub steps: Vec<RouteStep>,
}

pub(super) fn define_route(deciding: &mut Deciding, it: &DefineRoute) -> Option<What> {
    deciding.touches(None);
    let version = deciding.state.routes.get(&it.route).map_or(1, |versions| versions.len() as u32 + 1);
    Some(What::RouteDefined(RouteDefined { route: it.route.clone(), version, steps: it.steps.clone() }))
}
