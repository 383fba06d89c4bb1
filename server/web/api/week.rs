//! The days to come, and what would be if something were different.

use axum::response::Response;
use chrono::NaiveDateTime;
use chrono_tz::Tz;
use serde::Deserialize;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::command::{Malformed, wrong};
use crate::domain::id::Id;
use crate::domain::import::instant;
use crate::domain::time::Time;
use crate::domain::what_if::{Added, DAYS_MOST, DAYS_USUAL, Question, SETS_MOST};

/// A question as an address asks it; what is empty is not asked.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub days: String,
    /// A count sheet, and how many sets of it.
    pub more: String,
    pub sets: String,
    pub without: String,
    pub down: String,
    pub back: String,
    /// The count sheet of a case that is added, when it starts and how long it takes.
    pub add: String,
    pub start: String,
    pub minutes: String,
}

fn number(name: &str, text: &str, usual: u32, most: u32) -> Result<u32, Malformed> {
    if text.is_empty() {
        return Ok(usual);
    }
    let found = text.parse().ok().filter(|it| (1..=most).contains(it));
    found.ok_or_else(|| wrong(format!("?{name}"), format!("\"{name}\" is \"{text}\"; 1 to {most} is needed")))
}

fn name_of(name: &str, text: &str) -> Result<Option<Id>, Malformed> {
    if text.is_empty() {
        return Ok(None);
    }
    Id::new(text).map(Some).ok_or_else(|| {
        wrong(format!("?{name}"), format!("\"{name}\" is no name; one of the house is needed"))
    })
}

impl Asked {
    /// The question; a time without a zone is one of the site's.
    ///
    /// # Errors
    /// Everything in it that cannot be read.
    pub fn question(&self, zone: Tz) -> Result<Question, Vec<Malformed>> {
        let mut errors = Vec::new();
        let mut question = Question::default();
        let mut keep = |error: Malformed| errors.push(error);
        let whole = |text: &str| text.trim().to_string();
        match number("days", &whole(&self.days), DAYS_USUAL, DAYS_MOST) {
            Ok(days) => question.days = days,
            Err(error) => keep(error),
        }
        match (name_of("more", &whole(&self.more)), number("sets", &whole(&self.sets), 1, SETS_MOST)) {
            (Ok(more), Ok(sets)) => question.more = more.map(|sheet| (sheet, sets)),
            (more, sets) => [more.err(), sets.err()].into_iter().flatten().for_each(&mut keep),
        }
        for (name, text, into) in [
            ("without", &self.without, &mut question.without),
            ("down", &self.down, &mut question.down),
            ("back", &self.back, &mut question.back),
        ] {
            match name_of(name, &whole(text)) {
                Ok(found) => *into = found,
                Err(error) => keep(error),
            }
        }
        match (name_of("add", &whole(&self.add)), number("minutes", &whole(&self.minutes), 60, 24 * 60)) {
            (Ok(Some(count_sheet)), Ok(minutes)) => match moment(&whole(&self.start), zone) {
                Ok(Some(start)) => question.case = Some(Added { count_sheet, start, minutes }),
                Err((found, needed)) => keep(wrong("?start", format!("\"start\" is {found}; {needed}"))),
                Ok(None) => {
                    let found = format!(
                        "\"start\" is \"{}\"; a time as 2026-12-03T10:30 is needed",
                        self.start.trim()
                    );
                    keep(wrong("?start", found));
                }
            },
            (Ok(None), Ok(_)) => {}
            (case, minutes) => [case.err(), minutes.err()].into_iter().flatten().for_each(&mut keep),
        }
        if errors.is_empty() { Ok(question) } else { Err(errors) }
    }
}

/// A time with a zone, or one of the site's; an hour that the clocks skip or show twice is told.
fn moment(text: &str, zone: Tz) -> Result<Option<Time>, (String, String)> {
    let local = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok());
    match (Time::parse(text), local) {
        (Some(at), _) => Ok(Some(at)),
        (None, Some(local)) => instant(local.date(), local.time(), zone).map(Some),
        (None, None) => Ok(None),
    }
}

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let mut take = |name| params.take(name).map(Option::unwrap_or_default);
    let asked = Asked {
        days: take("days")?,
        more: take("more")?,
        sets: take("sets")?,
        without: take("without")?,
        down: take("down")?,
        back: take("back")?,
        add: take("add")?,
        start: take("start")?,
        minutes: take("minutes")?,
    };
    params.done()?;
    let (state, now) = caller.state().await?;
    let question = asked.question(state.zone).map_err(|errors| Problem::malformed(&errors))?;
    match caller.app.house.week(state, now, question).await {
        Ok(week) => Ok(ok(&json!(*week))),
        Err(why) => Err(Problem::malformed(&[wrong("", why.join(" "))])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_question_is_read_whole_or_each_fault_is_told() {
        let zone = chrono_tz::Europe::Berlin;
        assert_eq!(Asked::default().question(zone), Ok(Question::default()));
        let asked = Asked {
            days: "3".into(),
            more: " adult ".into(),
            sets: "2".into(),
            without: "SET-1".into(),
            down: "W-1".into(),
            back: String::new(),
            add: "child".into(),
            start: "2026-12-03T10:30".into(),
            minutes: String::new(),
        };
        let question = asked.question(zone).unwrap();
        assert_eq!(question.more.as_ref().map(|(sheet, sets)| (sheet.as_str(), *sets)), Some(("adult", 2)));
        let case = question.case.clone().unwrap();
        assert_eq!((case.start, case.minutes), (Time::parse("2026-12-03T09:30:00Z").unwrap(), 60));
        let wrong = Asked {
            days: "0".into(),
            sets: "eleven".into(),
            down: "\u{7}".into(),
            add: "child".into(),
            start: "soon".into(),
            minutes: "9999".into(),
            ..Asked::default()
        };
        let told: Vec<String> = wrong.question(zone).unwrap_err().into_iter().map(|it| it.pointer).collect();
        assert_eq!(told, ["?days", "?sets", "?down", "?minutes"]);
        let late = Asked {
            minutes: String::new(),
            days: String::new(),
            sets: String::new(),
            down: String::new(),
            ..wrong
        };
        assert_eq!(late.question(zone).unwrap_err()[0].pointer, "?start");
    }
}
