//! A demo hospital: a year and a half of an invented airway service, simulated, and written through the same commands
//! that people give, each at its time.

mod scene;

use serde_json::{Value, json};

use super::house::{House, Outcome, Unavailable};
use crate::domain::command::Command;
use crate::domain::deciding::Turned;
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::domain::simulate::ledger::Paper;
use crate::domain::simulate::{Given, Hospital, List, Plan};
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

/// How far back the history goes.
const DAYS: i64 = 548;
const PRACTICE_DAYS: i64 = 45;
/// How many sets for patients the service owns.
const SETS: u32 = 8;
/// How many commands are written at once.
const AT_ONCE: usize = 500;

/// Writes what the simulated hospital does. The hospital looks at a paper that is decided and applied beside, so that
/// the house can take many commands at once.
pub struct Writer<'a> {
    house: &'a House,
    site: Id,
    now: Time,
    paper: Paper,
    waiting: Vec<(Actor, Time, Command)>,
}

/// Who of a role is on duty: the desk has two shifts.
fn on_duty(role: Role, at: Time) -> &'static str {
    let late_shift = role == Role::Desk && at.0.rem_euclid(24 * 3_600_000_000) >= 14 * 3_600_000_000;
    if late_shift {
        return "desk-2";
    }
    PEOPLE.iter().find(|(.., of)| *of == role).map_or("desk-1", |(code, ..)| *code)
}

impl Writer<'_> {
    /// Gives a command of a role at a time; the scene's own commands are never turned away.
    fn give(&mut self, role: Role, at: Time, mut command: Value) -> Result<(), DemoError> {
        if let Value::Object(fields) = &mut command {
            fields.insert("at".into(), json!(at));
        }
        let told = command.to_string();
        let command = Command::read(command).map_err(|_| DemoError::Turned(told.clone()))?;
        let given = Given { now: at, role, command };
        match self.paper.take(&given) {
            Ok(_) => self.keep(given),
            Err(Turned::Refused(refusal)) => {
                let why = format!("{}: {} ({told})", refusal.code(), refusal.first.detail());
                return Err(DemoError::Turned(why));
            }
            Err(_) => return Err(DemoError::Turned(told)),
        }
        Ok(())
    }

    fn keep(&mut self, given: Given) {
        let at = given.command.around.at.unwrap_or(given.now);
        let actor = Actor { code: on_duty(given.role, at).into(), role: given.role };
        self.waiting.push((actor, given.now.min(self.now), given.command));
    }

    async fn simulate(&mut self, mut hospital: Hospital) -> Result<(), DemoError> {
        while let Some(given) = hospital.next(&self.paper.state) {
            let event = self.paper.take(&given);
            hospital.heard(&given, event.as_ref().ok());
            if event.is_ok() {
                self.keep(given);
            }
            if self.waiting.len() >= AT_ONCE {
                self.flush().await?;
            }
        }
        Ok(())
    }

    async fn flush(&mut self) -> Result<(), DemoError> {
        let waiting = std::mem::take(&mut self.waiting);
        for outcome in self.house.submit_history(&self.site, waiting).await {
            match outcome {
                Outcome::Accepted(_) => {}
                Outcome::Turned(Turned::Refused(refusal)) => {
                    let why = format!("{}: {}", refusal.code(), refusal.first.detail());
                    return Err(DemoError::Turned(why));
                }
                Outcome::Unavailable(gone) => return Err(DemoError::Unavailable(gone.operation)),
                other => return Err(DemoError::Turned(format!("{other:?}"))),
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
    let began = now.plus_minutes(-DAYS * 24 * 60);
    let site = founded_at(house, began, found(house)).await?;
    let mut writer = lived(house, site, seed, (began, now)).await?;
    scene::write(&mut writer, now)?;
    writer.flush().await
}

/// Founds something as if it were some time ago.
async fn founded_at(
    house: &House,
    began: Time,
    founding: impl Future<Output = Result<Id, DemoError>>,
) -> Result<Id, DemoError> {
    house.clock.set(began);
    let founded = founding.await;
    house.clock.free();
    founded
}

/// Writes what the simulated hospital did in a time, into a site that was founded at its beginning.
async fn lived(
    house: &House,
    site: Id,
    seed: u64,
    (began, now): (Time, Time),
) -> Result<Writer<'_>, DemoError> {
    let gone = |gone: Unavailable| DemoError::Unavailable(gone.operation);
    let state = house.state(&site).await.map_err(gone)?;
    let state = state.ok_or_else(|| DemoError::Turned("the founding".into()))?;
    let zone = state.zone;
    let paper = Paper::on((*state).clone()).staffed(on_duty);
    let mut writer = Writer { house, site, now, paper, waiting: Vec::new() };
    let plan =
        Plan { seed, sets: SETS, from: began, until: now, zone, keep_record: false, list: List::USUAL };
    writer.simulate(Hospital::new(plan)).await?;
    Ok(writer)
}

/// Founds a site for practice: the same invented service with a short history, whose invented people cannot sign in. Who
/// practises gets an account of their own there.
///
/// # Errors
/// Where the site exists, its name or zone will not do, or the database does not answer.
pub async fn practice(house: &House, code: &str, name: &str, timezone: &str) -> Result<Id, DemoError> {
    let now = house.clock.now();
    let began = now.plus_minutes(-PRACTICE_DAYS * 24 * 60);
    let founding = async {
        let site = house.found_site(code, name, timezone, true).await?;
        for (person, name, role) in PEOPLE {
            // Nobody knows this password, and nobody needs it.
            let password =
                hex::encode(super::clock::random::<32>().map_err(super::accounts::AccountError::from)?);
            house.add_person(code, Some(person), name, role, &password).await?;
            house.disable_person(code, person).await?;
        }
        Ok(site)
    };
    let site = founded_at(house, began, founding).await?;
    let mut writer = lived(house, site.clone(), 1, (began, now)).await?;
    writer.flush().await?;
    Ok(site)
}

async fn found(house: &House) -> Result<Id, DemoError> {
    let site = house.add_site(SITE, "St Elfrida's airway service", "Europe/London").await?;
    for (code, name, role) in PEOPLE {
        house.add_person(SITE, Some(code), name, role, PASSWORD).await?;
    }
    Ok(site)
}
