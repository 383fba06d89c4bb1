//! A machine's programmes: cycle types with the limits that their record must meet.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::id::Id;
use super::machine::MachineKind;
use super::model::{Method, Model, StepKind};
use super::text::{Line, Quantity};

/// How often an indicator of a kind is needed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Chemical {
    None,
    EachLoad,
    EachPack,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, Default)]
#[serde(rename_all = "snake_case")]
pub enum Biological {
    #[default]
    None,
    EachLoad,
    Periodic,
}

/// A cycle type with its limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Programme {
    pub programme: Id,
    pub method: Method,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub band_c: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold_s: Option<Quantity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub a0_s: Option<Quantity>,
    #[serde(default)]
    pub air_removal_test: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cooling_s: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chemical: Option<Chemical>,
    #[serde(default)]
    pub biological: Biological,
    /// Where each of its limits comes from: a standard and clause, a guideline and table, or the machine's validation.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub sources: BTreeMap<String, Line>,
}

/// The limits of a programme whose source may be named.
pub const SOURCED: [&str; 7] =
    ["band_c", "hold_s", "a0_s", "air_removal_test", "cooling_s", "chemical", "biological"];

impl Programme {
    /// The chemical indicator's rule, with its default: each load in a steriliser, else none.
    pub fn chemical(&self, kind: MachineKind) -> Chemical {
        self.chemical.unwrap_or(match kind {
            MachineKind::Steriliser => Chemical::EachLoad,
            _ => Chemical::None,
        })
    }

    /// The step that a load of this programme does.
    pub fn step(&self) -> StepKind {
        if self.method.sterilises() { StepKind::Sterilised } else { StepKind::Disinfected }
    }

    /// Why this programme does not suit a model, or `None` where it does: the record that it promises must meet
    /// the maker's processing instructions.
    pub fn unsuitable(&self, model: &Model) -> Option<String> {
        let does_not_name = |method: &str| Some(format!("its processing instructions do not name {method}"));
        match self.method {
            Method::Steam => {
                let Some(steam) = &model.processing.steam else {
                    return does_not_name("steam");
                };
                let held = self.hold_s.unwrap_or_default();
                if self.band_c != Some(steam.temp_c) {
                    let band = self.band_c.map_or("no band".to_string(), |band| format!("{band} °C"));
                    return Some(format!("it needs steam at {} °C, the programme has {band}", steam.temp_c));
                }
                (held < steam.hold_s).then(|| {
                    format!(
                        "it needs {} s at {} °C, the programme holds {held} s",
                        steam.hold_s, steam.temp_c
                    )
                })
            }
            Method::HydrogenPeroxide if model.processing.hydrogen_peroxide != Some(true) => {
                does_not_name("hydrogen peroxide")
            }
            Method::EthyleneOxide if model.processing.ethylene_oxide != Some(true) => {
                does_not_name("ethylene oxide")
            }
            Method::Machine | Method::Manual => match (self.band_c, model.processing.max_temp_c) {
                (Some(band), Some(most)) if band > most => {
                    Some(format!("it bears at most {most} °C, the programme washes at {band} °C"))
                }
                _ => None,
            },
            Method::HydrogenPeroxide | Method::EthyleneOxide => None,
        }
    }
}

impl Default for Quantity {
    fn default() -> Self {
        Quantity(rust_decimal::Decimal::ZERO)
    }
}
