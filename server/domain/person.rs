//! Who acts: roles, and the pseudonym under which an act stands in the ledger.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a signed-in person or a token may do.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    Desk,
    Lead,
    Charge,
    Clinician,
    Biomed,
    Infection,
    Auditor,
    Admin,
}

impl Role {
    pub const ALL: [Role; 8] = [
        Role::Desk,
        Role::Lead,
        Role::Charge,
        Role::Clinician,
        Role::Biomed,
        Role::Infection,
        Role::Auditor,
        Role::Admin,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Role::Desk => "desk",
            Role::Lead => "lead",
            Role::Charge => "charge",
            Role::Clinician => "clinician",
            Role::Biomed => "biomed",
            Role::Infection => "infection",
            Role::Auditor => "auditor",
            Role::Admin => "admin",
        }
    }

    pub fn parse(text: &str) -> Option<Role> {
        Role::ALL.into_iter().find(|role| role.name() == text)
    }

    /// What people call the role.
    pub fn words(self) -> &'static str {
        match self {
            Role::Desk => "sterile processing desk",
            Role::Lead => "sterile processing lead",
            Role::Charge => "charge nurse",
            Role::Clinician => "clinician or scrub nurse",
            Role::Biomed => "biomedical engineer",
            Role::Infection => "infection prevention",
            Role::Auditor => "auditor",
            Role::Admin => "administrator",
        }
    }
}

/// The one who asks: a person's code or a token's, and the role of this session.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Actor {
    pub code: String,
    pub role: Role,
}
