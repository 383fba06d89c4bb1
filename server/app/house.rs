//! The running house: its database, its clerks, its accounts. What the web asks, it asks here.

use std::sync::Arc;

use serde_json::Value;

use crate::domain::command::Command;
use crate::domain::deciding::Turned;
use crate::domain::event::{Entry, Thing};
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::domain::state::State;
use crate::domain::time::Time;

/// The database does not answer; the operation's id stands in the log.
#[derive(Clone, Debug)]
pub struct Unavailable {
    pub operation: String,
}

/// What became of a command.
#[derive(Clone, Debug)]
pub enum Outcome {
    Accepted(Accepted),
    Turned(Turned),
    /// The key is known with another command or from another actor.
    KeyReused,
    Unavailable(Unavailable),
}

#[derive(Clone, Debug)]
pub struct Accepted {
    pub entry: u64,
    pub at: Time,
    pub event: Value,
    /// The command was accepted before, under the same key.
    pub replayed: bool,
}

/// A person's account, as the people page lists it.
#[derive(Clone, Debug)]
pub struct PersonRow {
    pub code: String,
    pub name: String,
    pub role: Role,
    pub disabled: bool,
}

/// An API token, as the people page lists it. The token itself is never kept.
#[derive(Clone, Debug)]
pub struct TokenRow {
    pub id: String,
    pub name: String,
    pub role: Role,
    pub revoked: bool,
}

pub struct House {}

impl House {
    /// The site's current facts, as far as the ledger goes now.
    pub async fn state(&self, _site: &Id) -> Result<Arc<State>, Unavailable> {
        Err(Unavailable { operation: String::new() })
    }

    /// Gives commands in order, each by itself; later ones see earlier ones.
    pub async fn submit(&self, _site: &Id, _actor: &Actor, _commands: Vec<Command>) -> Vec<Outcome> {
        Vec::new()
    }

    /// Entries of a thing, newest first, before a place in the ledger.
    pub async fn history(
        &self,
        _site: &Id,
        _thing: &Thing,
        _before: Option<u64>,
        _limit: usize,
    ) -> Result<Vec<Entry>, Unavailable> {
        Ok(Vec::new())
    }

    /// Entries of the whole ledger, newest first, before a place in it.
    pub async fn newest(
        &self,
        _site: &Id,
        _before: Option<u64>,
        _limit: usize,
    ) -> Result<Vec<(Entry, String)>, Unavailable> {
        Ok(Vec::new())
    }

    pub async fn people(&self, _site: &Id) -> Result<(Vec<PersonRow>, Vec<TokenRow>), Unavailable> {
        Ok((Vec::new(), Vec::new()))
    }
}
