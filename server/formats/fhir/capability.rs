//! What a server can do, as FHIR tells it.

use serde::Serialize;

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct CapabilityStatement {
    pub status: &'static str,
    /// When what is said here last changed.
    pub date: &'static str,
    pub kind: &'static str,
    pub software: Software,
    pub implementation: Implementation,
    pub fhir_version: &'static str,
    pub format: Vec<&'static str>,
    pub rest: Vec<Rest>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Software {
    pub name: &'static str,
    pub version: &'static str,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Implementation {
    pub description: String,
    pub url: String,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Rest {
    pub mode: &'static str,
    pub documentation: &'static str,
    pub security: Security,
    pub resource: Vec<Offered>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Security {
    pub description: &'static str,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Offered {
    #[serde(rename = "type")]
    pub kind: &'static str,
    pub documentation: &'static str,
    pub interaction: Vec<Interaction>,
    pub versioning: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conditional_read: Option<&'static str>,
    pub search_param: Vec<SearchParam>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Interaction {
    pub code: &'static str,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct SearchParam {
    pub name: &'static str,
    #[serde(rename = "type")]
    pub kind: &'static str,
    pub documentation: &'static str,
}

impl Offered {
    /// A resource that is read one by one and searched for. One with versions is read on condition too.
    pub fn read_only(
        kind: &'static str,
        documentation: &'static str,
        search: &[SearchParam],
        versions: bool,
    ) -> Offered {
        let interaction = ["read", "search-type"].map(|code| Interaction { code });
        Offered {
            kind,
            documentation,
            interaction: interaction.into(),
            versioning: if versions { "versioned" } else { "no-version" },
            conditional_read: versions.then_some("full-support"),
            search_param: search.to_vec(),
        }
    }
}
