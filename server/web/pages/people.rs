//! Accounts: people with their roles, and tokens for other programs.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;

use super::shared::{Done, Page, count};
use crate::app::house::{PersonRow, TokenRow};
use crate::domain::person::Role;
use crate::web::App;
use crate::web::visitor::{Visitor, render};

#[derive(Template)]
#[template(path = "people.html")]
pub struct PeoplePage {
    pub page: Page,
    pub heading: String,
    pub people: Vec<PersonRow>,
    pub tokens: Vec<TokenRow>,
    pub roles: Vec<(&'static str, &'static str)>,
    /// A token just made: shown once, never kept.
    pub token: String,
    /// Why the last form was not done.
    pub trouble: String,
}

impl PeoplePage {
    pub fn of(
        visitor: &Visitor,
        people: Vec<PersonRow>,
        tokens: Vec<TokenRow>,
        done: Option<u64>,
    ) -> PeoplePage {
        let active = people.iter().filter(|person| !person.disabled).count();
        let alive = tokens.iter().filter(|token| !token.revoked).count();
        let verb = if active == 1 { "person can" } else { "people can" };
        PeoplePage {
            page: Page::of(visitor, "/people", "/people", done),
            heading: format!("{active} {verb} sign in; {} in force.", count(alive, "token is", "tokens are")),
            people,
            tokens,
            roles: Role::ALL.iter().map(|role| (role.name(), role.words())).collect(),
            token: String::new(),
            trouble: String::new(),
        }
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(done): Query<Done>) -> Response {
    match app.house.people(&visitor.state.site).await {
        Ok((people, tokens)) => render(&PeoplePage::of(&visitor, people, tokens, done.seq())),
        Err(unavailable) => super::problem::unavailable(&unavailable.operation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn people_and_tokens_are_listed() {
        let person = |code: &str, name: &str, role, disabled| PersonRow {
            code: code.into(),
            name: name.into(),
            role,
            disabled,
        };
        let people = vec![
            person("p-0001", "Morning desk", Role::Desk, false),
            person("p-0002", "Night desk", Role::Desk, false),
            person("p-0003", "Former lead", Role::Lead, true),
        ];
        let token = TokenRow {
            id: "t-01".into(),
            name: "Steriliser bridge".into(),
            role: Role::Desk,
            revoked: false,
        };
        let mut visitor = sample::visitor();
        visitor.actor.role = Role::Admin;
        let mut page = PeoplePage::of(&visitor, people, vec![token], None);
        page.token = "shown-once".into();
        let text = sample::show("people", &page);
        assert!(text.contains("2 people can sign in") && text.contains("shown-once"));
    }
}
