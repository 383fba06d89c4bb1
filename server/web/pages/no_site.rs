//! An empty house: what to type to found a site.

use askama::Template;
use axum::response::Response;

use crate::web::visitor::render;

#[derive(Template)]
#[template(path = "no_site.html")]
pub struct NoSitePage {
    pub commands: [&'static str; 2],
}

impl NoSitePage {
    pub fn new() -> NoSitePage {
        NoSitePage {
            commands: [
                "fettle site add --site airway --name \"Airway suite\" --timezone Europe/Berlin",
                "fettle person add --site airway --name \"First administrator\" --role admin",
            ],
        }
    }
}

impl Default for NoSitePage {
    fn default() -> NoSitePage {
        NoSitePage::new()
    }
}

pub fn page() -> Response {
    render(&NoSitePage::new())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn it_says_what_to_type() {
        assert!(sample::show("no_site", &NoSitePage::new()).contains("fettle person add"));
    }
}
