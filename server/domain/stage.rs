//! How far a part is in its turn, and whether it is in service at all.

use serde::{Deserialize, Serialize};

use super::model::StepKind;

/// The last act of a turn.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    Soiled,
    Treated,
    Received,
    Cleaned,
    Ultrasonic,
    Dried,
    Disinfected,
    Inspected,
    Packed,
    Ready,
    Issued,
    InUse,
}

impl Stage {
    pub fn name(self) -> &'static str {
        match self {
            Stage::Soiled => "soiled",
            Stage::Treated => "treated",
            Stage::Received => "received",
            Stage::Cleaned => "cleaned",
            Stage::Ultrasonic => "ultrasonic",
            Stage::Dried => "dried",
            Stage::Disinfected => "disinfected",
            Stage::Inspected => "inspected",
            Stage::Packed => "packed",
            Stage::Ready => "ready",
            Stage::Issued => "issued",
            Stage::InUse => "in_use",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Stage::Soiled => "soiled",
            Stage::Treated => "pre-cleaned at point of use",
            Stage::Received => "received",
            Stage::Cleaned => "cleaned by hand",
            Stage::Ultrasonic => "cleaned in the ultrasonic bath",
            Stage::Dried => "dried",
            Stage::Disinfected => "disinfected",
            Stage::Inspected => "inspected",
            Stage::Packed => "packed",
            Stage::Ready => "ready",
            Stage::Issued => "issued",
            Stage::InUse => "in use",
        }
    }

    /// After this step; a sterilised part is ready.
    pub fn after(step: StepKind) -> Stage {
        match step {
            StepKind::Treated => Stage::Treated,
            StepKind::Received => Stage::Received,
            StepKind::Cleaned => Stage::Cleaned,
            StepKind::Ultrasonic => Stage::Ultrasonic,
            StepKind::Dried => Stage::Dried,
            StepKind::Disinfected => Stage::Disinfected,
            StepKind::Inspected => Stage::Inspected,
            StepKind::Packed => Stage::Packed,
            StepKind::Sterilised => Stage::Ready,
        }
    }

    /// Out at a case: issued, or in use.
    pub fn is_out(self) -> bool {
        matches!(self, Stage::Issued | Stage::InUse)
    }

    /// Between packed and issued, where one part taken out opens the whole pack.
    pub fn in_pack(self) -> bool {
        matches!(self, Stage::Packed | Stage::Ready | Stage::Issued)
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    InService,
    Held,
    InRepair,
    Missing,
    Retired,
}

impl Standing {
    pub fn name(self) -> &'static str {
        match self {
            Standing::InService => "in_service",
            Standing::Held => "held",
            Standing::InRepair => "in_repair",
            Standing::Missing => "missing",
            Standing::Retired => "retired",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            Standing::InService => "in service",
            Standing::Held => "on hold",
            Standing::InRepair => "in repair",
            Standing::Missing => "not accounted for",
            Standing::Retired => "retired",
        }
    }
}
