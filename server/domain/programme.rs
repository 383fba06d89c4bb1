//! A machine's programmes: cycle types with the limits that their record must meet.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::id::Id;
use super::machine::MachineKind;
use super::model::{Method, Model, StepKind};
use super::text::{Line, Quantity};
use super::verdict::short;

/// How often an indicator of a kind is needed.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Chemical {
    None,
    EachLoad,
    EachPack,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, Default, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Biological {
    #[default]
    None,
    EachLoad,
    Periodic,
}

/// A cycle type with its limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
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
    /// How long the load airs after the cycle before it may be released (CDC Guideline 2008, table 1: ethylene oxide
    /// 8 to 12 h at 50 to 60 °C).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub aeration_s: Option<u32>,
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
                if held < steam.hold_s {
                    return Some(format!(
                        "it needs {} s at {} °C, the programme holds {held} s",
                        steam.hold_s, steam.temp_c
                    ));
                }
                let most = steam.max_hold_s.filter(|most| held > *most)?;
                Some(format!(
                    "it bears at most {most} s at {} °C, the programme holds {held} s",
                    steam.temp_c
                ))
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

/// What a cycle's record says of its hold, as far as an instruction may bind it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Held {
    pub max_c: Option<f64>,
    pub hold_s: Option<f64>,
}

impl Held {
    /// Why the steam that was held is more than a model bears. A highest temperature below that of its own steam
    /// instruction can only be meant for washing.
    pub fn beyond(&self, model: &Model) -> Option<String> {
        let steam = model.processing.steam.as_ref()?;
        let (max_c, hold_s) = (self.max_c.unwrap_or(0.0), self.hold_s.unwrap_or(0.0));
        let most = model.processing.max_temp_c.filter(|most| *most >= steam.temp_c);
        if let Some(most) = most.filter(|most| above(max_c, *most)) {
            return Some(format!("it bears at most {most} °C, the record reached {} °C", short(max_c)));
        }
        let most = steam.max_hold_s.filter(|most| above(hold_s, *most))?;
        Some(format!("it bears at most {most} s of steam, the record holds {} s", short(hold_s)))
    }
}

/// Limits are inclusive, and met by what misses them by no more than a thousand-millionth.
fn above(found: f64, most: Quantity) -> bool {
    found > most.f64() * (1.0 + 1e-9)
}

impl Default for Quantity {
    fn default() -> Self {
        Quantity(rust_decimal::Decimal::ZERO)
    }
}
