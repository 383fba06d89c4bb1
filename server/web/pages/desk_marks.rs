//! What is scanned at the desk and is no thing: a printed command, or the badge of whoever works here next.

use axum::http::StatusCode;
use axum::response::Response;
use serde_json::Value;

use super::answer::refusal;
use super::badge::{self, BadgePage, InHand};
use super::command_mark::{self, CommandMark};
use super::desk::{DeskPage, Sent, done};
use super::{refused, thing};
use crate::app::badges::Owner;
use crate::domain::scan::find;
use crate::domain::state::State;
use crate::formats::json::normal;
use crate::web::App;
use crate::web::visitor::Visitor;

/// What a printed command does: it chooses for the scans that follow, or takes the last act back.
pub(super) async fn commanded(app: &App, visitor: &Visitor, sent: Sent, mark: CommandMark) -> Response {
    let state = visitor.state.clone();
    let mut sent = Sent { scan: String::new(), ..sent };
    match mark {
        CommandMark::Step(step) => {
            sent.step = step.into();
            sent.thing.clear();
        }
        CommandMark::Station(station) => sent.station = station,
        CommandMark::Done => {
            sent.thing.clear();
            sent.step.clear();
        }
        CommandMark::Undo => match command_mark::undo(&sent, visitor.actor.role) {
            Ok(command) => return done(app, visitor, &sent, command).await,
            Err(reason) => {
                let answer = refusal(vec![*reason], "Not taken back.".into(), &Value::Null);
                return DeskPage::of(visitor, &state, &sent, Some(answer), None).respond();
            }
        },
        CommandMark::Test | CommandMark::Unknown => {
            let reason = refused::plain(
                "No command",
                "This is a mark of the sheet of commands, and it says no act of this desk.",
                "A command that this release knows is needed.",
                "Print the sheet of commands anew.",
            );
            let answer = refusal(vec![reason], "Nothing was chosen.".into(), &Value::Null);
            return DeskPage::of(visitor, &state, &sent, Some(answer), None).respond();
        }
    }
    let hand = thing::look_up(&state, &sent.thing, visitor.now).ok().filter(|_| !sent.thing.is_empty());
    DeskPage::of(visitor, &state, &sent, None, hand).respond()
}

/// A badge scanned in the place of a thing: whoever it belongs to goes on with what is in hand.
pub(super) async fn change_of_person(app: &App, state: &State, sent: &Sent) -> Option<Response> {
    let scan = sent.scan.trim();
    if scan.is_empty() || scan.len() > 200 || find(state, &normal(scan)).is_ok() {
        return None;
    }
    let site = state.site.as_str();
    let thing = sent.thing.clone();
    let hand = InHand { thing, step: sent.step.clone(), station: sent.station.clone(), back: "/desk".into() };
    match app.house.badge_owner(site, scan).await {
        Ok(Owner::Person { name, .. }) => {
            Some(BadgePage::asking(site, scan, &name, &hand, String::new()).respond(StatusCode::OK))
        }
        Ok(Owner::Left) => {
            let page = BadgePage::refused(site, scan, &hand, badge::LEFT.into(), String::new());
            Some(page.respond(StatusCode::CONFLICT))
        }
        Ok(Owner::Nobody) | Err(_) => None,
    }
}
