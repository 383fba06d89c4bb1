//! What went wrong, as FHIR tells it.

use serde::Serialize;

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct OperationOutcome {
    pub issue: Vec<Issue>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Issue {
    pub severity: &'static str,
    pub code: IssueType,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub details: Option<super::Concept>,
    pub diagnostics: String,
}

/// Of the value set issue-type of R4, those that happen here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum IssueType {
    Value,
    CodeInvalid,
    Login,
    Forbidden,
    NotSupported,
    NotFound,
    TooLong,
    Throttled,
    Transient,
    Timeout,
    Exception,
    Processing,
}

impl OperationOutcome {
    pub fn of(code: IssueType, details: Option<super::Concept>, diagnostics: String) -> OperationOutcome {
        OperationOutcome { issue: vec![Issue { severity: "error", code, details, diagnostics }] }
    }
}
