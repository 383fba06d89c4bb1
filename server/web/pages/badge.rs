//! The page between two people at one station: whose badge was scanned, and the PIN that says that it is they.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::web::visitor::render;

/// What the station has in hand while somebody else signs in.
#[derive(Clone, Debug, Default)]
pub struct InHand {
    pub thing: String,
    pub step: String,
    pub station: String,
    pub back: String,
}

#[derive(Template)]
#[template(path = "badge.html")]
pub struct BadgePage {
    pub heading: String,
    /// Why the last try did not do.
    pub error: String,
    pub site: String,
    pub badge: String,
    pub name: String,
    /// Whether a PIN helps.
    pub asks: bool,
    pub thing: String,
    pub step: String,
    pub station: String,
    pub back: String,
}

impl BadgePage {
    pub fn asking(site: &str, badge: &str, name: &str, hand: &InHand, error: String) -> BadgePage {
        let heading = format!("{name}: type your PIN.");
        BadgePage { asks: true, ..BadgePage::refused(site, badge, hand, heading, error) }.called(name)
    }

    /// A badge with which nobody goes on.
    pub fn refused(site: &str, badge: &str, hand: &InHand, heading: String, error: String) -> BadgePage {
        let InHand { thing, step, station, back } = hand.clone();
        BadgePage {
            heading,
            error,
            site: site.into(),
            badge: badge.into(),
            name: String::new(),
            asks: false,
            thing,
            step,
            station,
            back,
        }
    }

    fn called(mut self, name: &str) -> BadgePage {
        self.name = name.into();
        self
    }

    pub fn respond(&self, status: StatusCode) -> Response {
        (status, render(self)).into_response()
    }
}

/// What is said of a badge of somebody who left.
pub const LEFT: &str = "This badge belongs to somebody whose account is closed. Nobody signs in with it.";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn the_hand_goes_along_and_the_pin_does_not() {
        let hand = InHand { thing: "B2".into(), step: "step:packed".into(), ..InHand::default() };
        let page = BadgePage::asking("airway", "badge-1", "Night desk", &hand, "Not this PIN.".into());
        let text = sample::show("badge", &page);
        assert!(text.contains("<h1>Night desk: type your PIN.</h1>") && text.contains("B2 stays in hand."));
        assert!(text.contains("name=\"pin\" type=\"password\"") && !text.contains("name=\"pin\" value"));
        let page = BadgePage::refused("airway", "badge-1", &hand, LEFT.into(), String::new());
        assert!(!sample::show("badge-left", &page).contains("name=\"pin\""));
    }
}
