//! The parameters of a query: each known, each well-formed, or the query is refused with its name.

use axum::extract::{FromRequestParts, Query};
use axum::http::request::Parts;
use serde_json::Value;

use super::super::problem::Problem;
use crate::domain::command::{Malformed, wrong};
use crate::formats::json::cleaned;

/// The parameters as they stand behind the question mark.
pub struct Params(Vec<(String, String)>);

/// The most that a list gives at once.
pub const LIST_MOST: usize = 1_000;
const LIST_USUAL: usize = 100;

impl<S: Send + Sync> FromRequestParts<S> for Params {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        match Query::<Vec<(String, String)>>::from_request_parts(parts, state).await {
            Ok(Query(pairs)) => Ok(Params(pairs)),
            Err(error) => Err(Problem::malformed(&[wrong("", error.to_string())])),
        }
    }
}

/// What a query asks in its body: JSON, its text normalised.
pub fn asked_in(body: &[u8]) -> Result<Value, Problem> {
    let value = serde_json::from_slice(body)
        .map_err(|error: serde_json::Error| Problem::malformed(&[wrong("", error.to_string())]))?;
    cleaned(value, &[]).map_err(|pointer| {
        Problem::malformed(&[wrong(pointer, "found the character U+0000; text without it is needed")])
    })
}

fn unfit(name: &str, detail: impl Into<String>) -> Problem {
    Problem::malformed(&[Malformed { pointer: format!("?{name}"), detail: detail.into() }])
}

impl Params {
    pub fn take(&mut self, name: &str) -> Result<Option<String>, Problem> {
        let mut found = None;
        let mut rest = Vec::new();
        for (key, value) in std::mem::take(&mut self.0) {
            if key != name {
                rest.push((key, value));
            } else if found.replace(value).is_some() {
                return Err(unfit(name, format!("\"{name}\" stands twice")));
            }
        }
        self.0 = rest;
        Ok(found)
    }

    pub fn number(&mut self, name: &str) -> Result<Option<u64>, Problem> {
        let Some(text) = self.take(name)? else {
            return Ok(None);
        };
        let number = text.parse().ok().filter(|number| *number <= i64::MAX as u64);
        number
            .map(Some)
            .ok_or_else(|| unfit(name, format!("\"{name}\" is \"{text}\"; a whole number is needed")))
    }

    pub fn flag(&mut self, name: &str) -> Result<bool, Problem> {
        match self.take(name)?.as_deref() {
            None | Some("false") => Ok(false),
            Some("true") => Ok(true),
            Some(text) => Err(unfit(name, format!("\"{name}\" is \"{text}\"; true or false is needed"))),
        }
    }

    /// How much of a list is wanted.
    pub fn limit(&mut self) -> Result<usize, Problem> {
        match self.number("limit")? {
            None => Ok(LIST_USUAL),
            Some(limit) if (1..=LIST_MOST as u64).contains(&limit) => Ok(limit as usize),
            Some(limit) => Err(unfit("limit", format!("\"limit\" is {limit}; 1 to {LIST_MOST} is needed"))),
        }
    }

    /// Nothing else may stand there.
    pub fn done(self) -> Result<(), Problem> {
        match self.0.first() {
            None => Ok(()),
            Some((name, _)) => Err(unfit(name, format!("\"{name}\" is no parameter of this query"))),
        }
    }
}
