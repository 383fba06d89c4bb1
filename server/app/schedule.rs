//! Messages of another system's schedule: each becomes one command on the one write path, and is answered when what it
//! came to is durable. A message that came before changes nothing, and is answered as it was.

use std::sync::Mutex;
use std::time::Duration;

use sha2::{Digest, Sha256};
use tokio::time::Instant;

use super::clock::random;
use super::house::{House, Outcome, Unavailable, unavailable};
use crate::domain::case::Case;
use crate::domain::command::{Act, Around, Command, Key};
use crate::domain::deciding::Turned;
use crate::domain::event::{Event, What};
use crate::domain::id::Id;
use crate::domain::person::{Actor, Role};
use crate::domain::schedule_line::{Answered, Became, ScheduleKept, ScheduleLine};
use crate::domain::schedule_next::{self, Next};
use crate::domain::schedule_read::{self, Incoming};
use crate::domain::text::Line;
use crate::domain::time::Time;
use crate::formats::hl7::appointment::{appointment, reduced};
use crate::formats::hl7::schedule::Refused;
use crate::formats::hl7::{self, Acknowledged, Message};
use crate::formats::json::normal;
use crate::storage::ledger;

/// Who writes what the schedule brings, as the ledger names it: an interface, no person.
pub const ACTOR: &str = "schedule";
const STATION: &str = "mllp";
/// A longer message is not read.
pub const LONGEST: usize = 256 * 1024;
/// So often a message is looked at anew, where something else was written meanwhile.
const TRIES: usize = 8;

/// The codes of the sites, as they were a moment ago: each message asks for them, and they hardly ever change.
#[derive(Default)]
pub struct Sites(Mutex<Option<(Instant, Vec<String>)>>);

/// A site that is founded on the command line is seen after so long.
const SITES_FRESH: Duration = Duration::from_secs(1);

impl Sites {
    fn fresh(&self) -> Option<Vec<String>> {
        let known = self.0.lock().ok()?;
        known.as_ref().filter(|(at, _)| at.elapsed() < SITES_FRESH).map(|(_, all)| all.clone())
    }

    fn keep(&self, all: &[String]) {
        if let Ok(mut known) = self.0.lock() {
            *known = Some((Instant::now(), all.to_vec()));
        }
    }
}

/// How a message is answered.
enum Answer {
    Stored,
    Noted(String),
    Refused { letters: &'static str, number: u16, why: String },
}

fn rejected(number: u16, why: impl Into<String>) -> Answer {
    Answer::Refused { letters: "AR", number, why: why.into() }
}

fn try_later(gone: &Unavailable) -> Answer {
    rejected(207, format!("Nothing was written; send it again later (operation {}).", gone.operation))
}

fn refused(it: Refused) -> Answer {
    let letters = it.answer().map_or("AR", |answer| answer.letters());
    Answer::Refused { letters, number: it.number(), why: it.words().into() }
}

/// One and the same message has one key, which says nothing of the patient.
fn key(message: &Message<'_>) -> String {
    let hash = hex::encode(Sha256::digest(reduced(message, false).as_bytes()));
    format!("hl7-{}", hash.get(..60).unwrap_or_default())
}

fn hl7_time(at: Time) -> String {
    at.utc().format("%Y%m%d%H%M%S+0000").to_string()
}

impl House {
    /// Takes a message of the schedule, and answers it when it is written. `None` where nothing in it could be answered.
    /// `site` is the one that the schedule is for; else the message names it, or there is only one.
    pub async fn take_message(&self, site: Option<&Id>, bytes: &[u8], cut: bool) -> Option<String> {
        let text = hl7::text(bytes).replace('\0', "\u{fffd}");
        let message = hl7::read(&text).ok()?;
        let answer = match cut {
            true => {
                rejected(207, format!("The message is longer than {} KiB, and was not read.", LONGEST / 1024))
            }
            false => self.taken(site, &message, hl7::is_guessed(bytes)).await,
        };
        let own_id = random::<8>().map(hex::encode).unwrap_or_default().to_uppercase();
        let now = hl7_time(self.clock.now());
        let told = match &answer {
            Answer::Stored => Acknowledged::Stored,
            Answer::Noted(why) => Acknowledged::Noted { why },
            Answer::Refused { letters, number, why } => {
                Acknowledged::Refused { letters, number: *number, why }
            }
        };
        if let Answer::Refused { letters, number, why } = &answer {
            tracing::info!(letters, number, why, "a message of the schedule was refused");
        }
        Some(hl7::acknowledge(&message, told, &own_id, &now))
    }

    /// `guessed`: what it says is not certain, since nobody here reads its character set.
    async fn taken(&self, site: Option<&Id>, message: &Message<'_>, guessed: bool) -> Answer {
        let site = match self.meant(site, message).await {
            Ok(site) => site,
            Err(answer) => return answer,
        };
        let key = key(message);
        for _ in 0..TRIES {
            match self.once(&site, message, guessed, &key).await {
                Ok(Some(answer)) => return answer,
                Ok(None) => {}
                Err(gone) => return try_later(&gone),
            }
        }
        rejected(207, "Others write about the same appointment at once; send it again later.")
    }

    /// The site that a message is for.
    async fn meant(&self, site: Option<&Id>, message: &Message<'_>) -> Result<Id, Answer> {
        if let Some(site) = site {
            return Ok(site.clone());
        }
        let all = match self.sites.fresh() {
            Some(all) => all,
            None => {
                let all = self.site_codes().await.map_err(|gone| try_later(&gone))?;
                self.sites.keep(&all);
                all
            }
        };
        let named = appointment(message).receiver;
        let found = match all.as_slice() {
            [one] => Some(one.as_str()),
            many => many.iter().map(String::as_str).find(|code| *code == named),
        };
        let why = || rejected(204, "The receiving facility (MSH-6) is the code of no site here.");
        found.and_then(Id::new).ok_or_else(why)
    }

    /// One look at a message; nothing where it has to be looked at anew.
    async fn once(
        &self,
        site: &Id,
        message: &Message<'_>,
        guessed: bool,
        key: &str,
    ) -> Result<Option<Answer>, Unavailable> {
        if let Some(answer) = self.answered_before(site, key).await? {
            return Ok(Some(answer));
        }
        let Some(state) = self.state(site).await? else {
            return Ok(Some(rejected(204, format!("There is no site \"{site}\"."))));
        };
        let incoming = match schedule_read::read(message, state.zone) {
            Ok(incoming) if guessed => incoming.not_certain(),
            Ok(incoming) => incoming,
            Err(reason) => return Ok(Some(refused(reason))),
        };
        // What the schedule gave last is compared, so that a person's own entry stays.
        let given = |case: &Case| case.schedule.as_ref().and_then(|of| of.patient.clone());
        let sealed = state.case_of(&incoming.schedule).and_then(|case| given(case).or(case.patient.clone()));
        let patient = match sealed.filter(|_| incoming.patient.is_some()) {
            Some(sealed) => ledger::sealed(&self.db, site.as_str(), &sealed).await,
            None => Ok(None),
        };
        let patient = patient.map_err(|error| unavailable(&error))?;
        let next = schedule_next::next(&state, &incoming, patient.as_deref(), self.clock.now());
        let act = match &next {
            Next::Nothing(why) => return Ok(Some(Answer::Noted(why.clone()))),
            Next::Give(act) => act.clone(),
            Next::Ask { .. } => return self.ask(site, message, &incoming, next, key).await.map(Some),
        };
        match self.give(site, act, key).await {
            Outcome::Accepted(it) => Ok(Some(told(&it.event).unwrap_or(Answer::Stored))),
            Outcome::Unavailable(gone) => Err(gone),
            // Somebody was quicker, with this message or about this case.
            Outcome::KeyReused => Ok(None),
            Outcome::Turned(turned) => {
                let newer = self.state(site).await?.is_some_and(|now| now.seq != state.seq);
                if newer {
                    return Ok(None);
                }
                let case = state.case_of(&incoming.schedule).map(|case| case.case.clone());
                let why = words(&turned);
                let ask = Next::Ask { why, case, answered: Answered::Accepted, error: None };
                self.ask(site, message, &incoming, ask, key).await.map(Some)
            }
            Outcome::UnknownSite => Ok(Some(rejected(204, format!("There is no site \"{site}\".")))),
        }
    }

    /// Puts a message on the list for a person.
    async fn ask(
        &self,
        site: &Id,
        message: &Message<'_>,
        incoming: &Incoming,
        next: Next,
        key: &str,
    ) -> Result<Answer, Unavailable> {
        let raw = normal(&reduced(message, true));
        let Some(act) = schedule_next::kept(incoming, &next, &raw) else {
            return Ok(rejected(207, "The message came to nothing."));
        };
        if let Some(answer) = self.asked_before(site, incoming, &next, &raw).await? {
            return Ok(answer);
        }
        match self.give(site, act, key).await {
            Outcome::Accepted(it) => Ok(told(&it.event).unwrap_or(Answer::Stored)),
            Outcome::Unavailable(gone) => Err(gone),
            Outcome::KeyReused => {
                let before = self.answered_before(site, key).await?;
                Ok(before.unwrap_or_else(|| rejected(207, "Send it again later.")))
            }
            Outcome::Turned(turned) => Ok(rejected(207, words(&turned).join(" "))),
            Outcome::UnknownSite => Ok(rejected(204, format!("There is no site \"{site}\"."))),
        }
    }

    /// How a message was answered that says the same as one on the list, but for its number and when it was sent: some
    /// schedules send everything again each night. What their keeper was asked to put right is asked about anew.
    async fn asked_before(
        &self,
        site: &Id,
        incoming: &Incoming,
        next: &Next,
        raw: &str,
    ) -> Result<Option<Answer>, Unavailable> {
        let (Next::Ask { why, .. }, Some(state)) = (next, self.state(site).await?) else { return Ok(None) };
        let alike = |line: &ScheduleLine| {
            let told = &line.kept;
            let put_right =
                line.settled.as_ref().is_some_and(|settled| settled.outcome == Became::SenderTold);
            !put_right
                && told.trigger == incoming.event
                && told.schedule.says_as(&incoming.schedule)
                && told.why == *why
        };
        // The header is the first line; what follows has to be the same to the letter, the patient's number too.
        let content = |text: &str| text.split_once('\n').map(|(_, rest)| rest.to_owned());
        for line in state.schedule_lines.values().filter(|line| alike(line)) {
            let before = ledger::sealed(&self.db, site.as_str(), &line.kept.message).await;
            let before = before.map_err(|error| unavailable(&error))?;
            if before.is_some_and(|before| content(&before) == content(raw)) {
                return Ok(Some(kept_as(&line.kept)));
            }
        }
        Ok(None)
    }

    async fn give(&self, site: &Id, act: Act, key: &str) -> Outcome {
        let actor = Actor { code: ACTOR.into(), role: Role::Charge };
        let around =
            Around { key: Some(Key(key.into())), station: Some(Line(STATION.into())), ..Around::default() };
        let outcomes = self.submit(site, &actor, vec![Command { around, act }]).await;
        outcomes
            .into_iter()
            .next()
            .unwrap_or_else(|| Outcome::Unavailable(Unavailable { operation: super::house::operation() }))
    }

    /// How a message was answered that is in the ledger already.
    async fn answered_before(&self, site: &Id, key: &str) -> Result<Option<Answer>, Unavailable> {
        let found =
            ledger::of_key(&self.db, site.as_str(), key).await.map_err(|error| unavailable(&error))?;
        let Some(stored) = found else { return Ok(None) };
        let (entry, _) = super::batch::read_entry(&stored).map_err(|error| unavailable(&error))?;
        let kept = told_of(&entry.kind, entry.version, entry.event);
        Ok(Some(kept.unwrap_or(Answer::Stored)))
    }

    /// The message of a line, less what names people but by their numbers; that it was read is written down first.
    pub async fn schedule_message(
        &self,
        site: &Id,
        line: &ScheduleLine,
        actor: &Actor,
    ) -> Result<Option<String>, Unavailable> {
        let what = format!("message of schedule line {}", line.kept.line);
        let now = self.clock.now();
        ledger::log_read(&self.db, site.as_str(), now.0, &actor.code, &what)
            .await
            .map_err(|error| unavailable(&error))?;
        ledger::sealed(&self.db, site.as_str(), &line.kept.message).await.map_err(|error| unavailable(&error))
    }
}

fn told_of(kind: &str, version: u32, event: serde_json::Value) -> Option<Answer> {
    match Event::read(kind, version, event).ok()?.what {
        What::ScheduleKept(it) => Some(kept_as(&it)),
        _ => None,
    }
}

/// How a message on the list is answered.
fn kept_as(it: &ScheduleKept) -> Answer {
    let why = format!("Kept for a person as {}. {}", it.line, it.why.join(" "));
    match it.answered {
        Answered::Accepted => Answer::Noted(why),
        Answered::Error => Answer::Refused { letters: "AE", number: it.error.unwrap_or(207), why },
    }
}

/// How an entry that a message made is answered, where it is not simply taken.
fn told(event: &serde_json::Value) -> Option<Answer> {
    event.get("answered").and_then(|_| told_of("schedule_kept", 1, event.clone()))
}

/// Why a command was turned away, in sentences.
fn words(turned: &Turned) -> Vec<String> {
    let all: Vec<String> = match turned {
        Turned::Refused(refusal) => std::iter::once(&refusal.first)
            .chain(&refusal.others)
            .map(|problem| problem.found.clone())
            .collect(),
        Turned::Malformed(all) => all.iter().map(|it| format!("{}: {}.", it.pointer, it.detail)).collect(),
        Turned::NotYourRole => vec!["The schedule may not do that here.".into()],
    };
    all.into_iter().take(20).collect()
}
