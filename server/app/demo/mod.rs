//! A demo hospital: an invented airway service with some weeks of history, written through the same commands that
//! people give, under a clock that walks along with it.

mod catalogue;
mod days;
mod records;

use serde_json::{Value, json};

use super::house::{House, Outcome};
use crate::domain::command::Command;
use crate::domain::deciding::Turned;
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::domain::time::Time;

/// The demo's site.
pub const SITE: &str = "airway";
/// Everybody's password in the demo; its database holds nothing worth more.
pub const PASSWORD: &str = "fettle-demo";

/// Invented people: code, name and role.
pub const PEOPLE: [(&str, &str, Role); 9] = [
    ("desk-1", "Ines Halloran", Role::Desk),
    ("desk-2", "Tobias Wren", Role::Desk),
    ("lead", "Marit Osei", Role::Lead),
    ("charge", "Joan Abberley", Role::Charge),
    ("clinician", "Ravi Lindqvist", Role::Clinician),
    ("biomed", "Pilar Novak", Role::Biomed),
    ("infection", "Hugo Teale", Role::Infection),
    ("auditor", "Sunniva Park", Role::Auditor),
    ("admin", "Odile Barrow", Role::Admin),
];

#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    #[error(transparent)]
    Account(#[from] super::accounts::AccountError),
    #[error("the demo's own command was turned away: {0}")]
    Turned(String),
    #[error("the database does not answer (operation {0})")]
    Unavailable(String),
}

/// Writes commands at their times.
pub struct Writer<'a> {
    house: &'a House,
    site: Id,
    now: Time,
    waiting: Vec<(Time, Actor, Command)>,
}

impl<'a> Writer<'a> {
    /// Gives a command of a person at a time.
    fn give(&mut self, code: &str, at: Time, mut command: Value) -> Result<(), DemoError> {
        if let Value::Object(fields) = &mut command {
            fields.insert("at".into(), json!(at));
        }
        let told = command.to_string();
        let command = Command::read(command).map_err(|_| DemoError::Turned(told))?;
        let role = PEOPLE.iter().find(|(known, ..)| *known == code).map_or(Role::Desk, |(.., role)| *role);
        self.waiting.push((at, Actor { code: code.into(), role }, command));
        Ok(())
    }

    /// Writes what waits in the order of its times, each as if somebody had recorded it there and then.
    async fn flush(&mut self) -> Result<(), DemoError> {
        let mut waiting = std::mem::take(&mut self.waiting);
        waiting.sort_by_key(|(at, ..)| *at);
        let mut together: Vec<(Time, Actor, Vec<Command>)> = Vec::new();
        for (at, actor, command) in waiting {
            match together.last_mut() {
                Some((then, who, commands))
                    if *then == at && who.code == actor.code && commands.len() < 100 =>
                {
                    commands.push(command);
                }
                _ => together.push((at, actor, vec![command])),
            }
        }
        for (at, actor, commands) in together {
            self.house.clock.set(at.min(self.now));
            let told: Vec<String> = commands
                .iter()
                .map(|it| it.to_value().map_or_else(|_| String::new(), |value| value.to_string()))
                .collect();
            let outcomes = self.house.submit(&self.site, &actor, commands).await;
            for (outcome, told) in outcomes.into_iter().zip(told) {
                match outcome {
                    Outcome::Accepted(_) => {}
                    Outcome::Turned(Turned::Refused(refusal)) => {
                        let told: String = told.chars().take(300).collect();
                        return Err(DemoError::Turned(format!(
                            "{}: {} ({told})",
                            refusal.code(),
                            refusal.first.detail()
                        )));
                    }
                    Outcome::Unavailable(gone) => return Err(DemoError::Unavailable(gone.operation)),
                    _ => return Err(DemoError::Turned(told.chars().take(300).collect())),
                }
            }
        }
        Ok(())
    }
}

/// Makes the demo where it is not there yet.
pub async fn make(house: &House, seed: u64) -> Result<(), DemoError> {
    if let Ok(codes) = house.site_codes().await
        && codes.iter().any(|code| code == SITE)
    {
        return Ok(());
    }
    let now = house.clock.now();
    let began = Time(now.0 - i64::from(days::WEEKS) * 7 * 24 * 3_600_000_000);
    house.clock.set(began);
    let site = house.add_site(SITE, "St Elfrida's airway service", "Europe/London").await?;
    for (code, name, role) in PEOPLE {
        house.add_person(SITE, Some(code), name, role, PASSWORD).await?;
    }
    let mut writer = Writer { house, site, now, waiting: Vec::new() };
    let made = async {
        catalogue::write(&mut writer, began)?;
        writer.flush().await?;
        days::write(&mut writer, began, now, seed).await
    };
    let made = made.await;
    house.clock.free();
    made
}
