//! How the patient is ventilated, and what is known of them that changes the handling.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How the patient is ventilated, which decides what openings the instrument must have.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Technique {
    JetOpen,
    ControlledClosed,
    Assisted,
    Apnoeic,
}

impl Technique {
    pub const ALL: [Technique; 4] =
        [Technique::JetOpen, Technique::ControlledClosed, Technique::Assisted, Technique::Apnoeic];

    pub fn name(self) -> &'static str {
        match self {
            Technique::JetOpen => "jet_open",
            Technique::ControlledClosed => "controlled_closed",
            Technique::Assisted => "assisted",
            Technique::Apnoeic => "apnoeic",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Technique::JetOpen => "open system, jet ventilation",
            Technique::ControlledClosed => "closed system, controlled ventilation",
            Technique::Assisted => "assisted ventilation",
            Technique::Apnoeic => "apnoeic oxygenation",
        }
    }
}

/// What a change says of the technique: one of them, or that it is not decided any more.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NewTechnique {
    JetOpen,
    ControlledClosed,
    Assisted,
    Apnoeic,
    NotDecided,
}

impl NewTechnique {
    pub fn decided(self) -> Option<Technique> {
        match self {
            NewTechnique::JetOpen => Some(Technique::JetOpen),
            NewTechnique::ControlledClosed => Some(Technique::ControlledClosed),
            NewTechnique::Assisted => Some(Technique::Assisted),
            NewTechnique::Apnoeic => Some(Technique::Apnoeic),
            NewTechnique::NotDecided => None,
        }
    }
}

/// What is known of the patient that changes the handling afterwards.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Risk {
    #[default]
    None,
    PrionSuspected,
    Airborne,
    Resistant,
}

impl Risk {
    pub const ALL: [Risk; 4] = [Risk::None, Risk::PrionSuspected, Risk::Airborne, Risk::Resistant];

    pub fn name(self) -> &'static str {
        match self {
            Risk::None => "none",
            Risk::PrionSuspected => "prion_suspected",
            Risk::Airborne => "airborne",
            Risk::Resistant => "resistant",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Risk::None => "none known",
            Risk::PrionSuspected => "prion disease suspected",
            Risk::Airborne => "airborne infection",
            Risk::Resistant => "resistant organism",
        }
    }
}
