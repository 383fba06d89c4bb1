//! HTTP: pages and the JSON API. This floor reads what the floors below say and renders it.

pub mod pages;
pub mod visitor;

use std::sync::Arc;

use crate::app::house::House;

/// What every handler can reach.
#[derive(Clone)]
pub struct App {
    pub house: Arc<House>,
}
