//! HTTP: pages and the JSON API. This floor reads what the floors below say and renders it.

pub mod account;
pub mod alert;
pub mod api;
pub mod attachment;
pub mod badge;
mod drain;
pub mod export;
pub mod fail;
pub mod form;
pub mod import;
pub mod live;
pub mod mllp;
pub mod pages;
pub mod problem;
pub mod router;
pub mod session;
pub mod unbroken;
pub mod upload;
pub mod visitor;
pub mod webhook;

use std::sync::Arc;

use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use tokio::sync::Semaphore;

use crate::app::house::House;
use live::Lives;
use pages::curve::Pictures;

/// How many command bodies are in hand at once; past that a caller is told to try again.
const PLACES: usize = 4_096;

/// What every handler can reach.
#[derive(Clone)]
pub struct App {
    pub house: Arc<House>,
    pub options: Options,
    pub places: Arc<Semaphore>,
    /// Attempts to sign in, by address and person.
    pub attempts: Arc<DefaultKeyedRateLimiter<String>>,
    /// The cycle records that were drawn last.
    pub pictures: Arc<Pictures>,
    /// The boards that renew themselves.
    pub lives: Arc<Lives>,
}

/// How the server stands in its surroundings.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// The cookie goes over TLS only.
    pub secure_cookie: bool,
    /// The address of the last proxy in front is trusted to say who calls.
    pub trusted_proxy: bool,
}

impl App {
    pub fn new(house: Arc<House>, options: Options) -> App {
        let ten = std::num::NonZeroU32::MIN.saturating_add(9);
        let attempts = RateLimiter::keyed(Quota::per_minute(ten));
        App {
            house,
            options,
            places: Arc::new(Semaphore::new(PLACES)),
            attempts: Arc::new(attempts),
            pictures: Arc::default(),
            lives: Arc::default(),
        }
    }
}
