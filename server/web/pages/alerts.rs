//! Alerts: what am I told of now, what rules tell it, and what was another program told?

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::response::Response;

use super::shared::{Done, Page, capital, count, listed, segment, time, when};
use crate::app::alert_reads::{SeenAlert, Tried};
use crate::app::house::Unavailable;
use crate::domain::alert::{AlertAbout, AlertRule, SetAlert};
use crate::domain::id::Id;
use crate::domain::person::Role;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::storage::alert_delivery::{Attempt, Delivery, Secret};
use crate::web::App;
use crate::web::visitor::{Visitor, render};

const MOST_MESSAGES: u32 = 50;

/// How many alerts are open for the reader of another page.
#[derive(Clone, Copy, Default)]
pub struct Band {
    pub open: usize,
    pub unseen: usize,
}

impl Band {
    /// The band of a visitor. Where the database does not answer there is none: the page itself says so.
    pub async fn of(app: &App, visitor: &Visitor) -> Band {
        let actor = &visitor.actor;
        let open = app.house.alerts_open(&visitor.state, actor.role, &actor.code).await;
        open.map(|(open, unseen)| Band { open, unseen }).unwrap_or_default()
    }
}

#[derive(Template)]
#[template(path = "alerts_band.html")]
pub struct BandAlone {
    pub alerts: Band,
}

pub struct Row {
    pub alert: String,
    pub href: String,
    pub sentence: String,
    pub raised: String,
    pub ended: String,
    pub rule: String,
    pub seen: String,
    /// Not seen by the reader.
    pub unseen: bool,
}

/// The fields of one rule's form: those of its kind.
pub struct RuleForm {
    pub title: &'static str,
    pub about: &'static str,
    pub rule: String,
    pub before: String,
    pub below: String,
    pub minutes: String,
    pub webhook: String,
    /// Name, words, and whether it is chosen.
    pub sheets: Vec<(String, String, bool)>,
    pub roles: Vec<(&'static str, &'static str, bool)>,
}

pub struct RuleRow {
    pub rule: String,
    pub words: String,
    pub tells: String,
    pub by: String,
    /// How it stands with the other program.
    pub webhook: String,
    /// Nothing is sent there until a person does something.
    pub waits: bool,
    pub form: RuleForm,
}

pub struct MessageRow {
    pub id: String,
    pub rule: String,
    pub status: String,
    pub failed: bool,
    pub tried: String,
    pub tries: Vec<String>,
}

#[derive(Template)]
#[template(path = "alerts.html")]
pub struct AlertsPage {
    pub page: Page,
    pub heading: String,
    pub open: Vec<Row>,
    pub ended: Vec<Row>,
    pub rules: Vec<RuleRow>,
    pub forms: Vec<RuleForm>,
    pub messages: Vec<MessageRow>,
    pub sees_messages: bool,
    /// Why the last form was not done.
    pub trouble: String,
    /// A rule and its secret just made: shown once.
    pub secret: (String, String),
}

/// What the page reads of the database.
#[derive(Default)]
pub struct Read {
    pub alerts: Vec<SeenAlert>,
    pub secrets: BTreeMap<String, Secret>,
    pub messages: Tried,
}

/// Where one looks at what an alert is about.
fn href(subject: &str) -> String {
    let parts: Vec<&str> = subject.split('/').collect();
    match parts.as_slice() {
        ["cases", case, "lines", ..] => format!("/cases/{}#missing", segment(case)),
        ["cases", case] => format!("/cases/{}", segment(case)),
        ["loads", load] => format!("/loads/{}", segment(load)),
        ["assets", asset] => format!("/assets/{}", segment(asset)),
        ["recalls", recall] => format!("/recalls/{}", segment(recall)),
        ["holds", ..] => "/handover".into(),
        _ => "/board".into(),
    }
}

fn row(visitor: &Visitor, it: &SeenAlert) -> Row {
    let (state, now) = (&*visitor.state, visitor.now);
    let seen: Vec<String> =
        it.seen.iter().map(|(person, at)| format!("{person} {}", time(state, *at, now))).collect();
    let rule = state.alert_rules.get(it.row.rule.as_str());
    Row {
        alert: it.row.id.clone(),
        href: href(&it.row.subject),
        sentence: it.row.sentence.clone(),
        raised: time(state, Time(it.row.raised_at), now),
        ended: time(state, Time(it.row.ended_at), now),
        rule: rule.map(|rule| rule.set.words(state)).unwrap_or_default(),
        seen: listed(&seen),
        unseen: !it.seen.iter().any(|(person, _)| *person == visitor.actor.code),
    }
}

fn form(state: &State, about: AlertAbout, set: Option<&SetAlert>) -> RuleForm {
    let number = |number: Option<u32>| number.map(|it| it.to_string()).unwrap_or_default();
    let sheet = |sheet: &Id| {
        let chosen = set.is_some_and(|set| set.count_sheet.as_ref() == Some(sheet));
        (sheet.to_string(), state.sheet_words(sheet), chosen)
    };
    let role = |role: &Role| (role.name(), role.words(), set.is_some_and(|set| set.tells.contains(role)));
    let before = set.and_then(|set| set.before);
    RuleForm {
        title: match about {
            AlertAbout::Case => "A case of today that is likely to begin without what it needs",
            AlertAbout::Reserve => "An emergency reserve below its minimum",
            AlertAbout::Load => "A load that waits for its decision",
            AlertAbout::Missing => "Something not accounted for, without an outcome",
            AlertAbout::Hold => "A hold or a recall that begins",
        },
        about: about.name(),
        rule: set.and_then(|set| set.rule.as_ref()).map(ToString::to_string).unwrap_or_default(),
        before: before.map(|hour| hour.0.format("%H:%M").to_string()).unwrap_or_default(),
        below: number(set.and_then(|set| set.below)),
        minutes: number(set.and_then(|set| set.minutes)),
        webhook: set.and_then(|set| set.webhook.as_ref()).map(|it| it.0.clone()).unwrap_or_default(),
        sheets: state.reserves.keys().map(sheet).collect(),
        roles: Role::ALL.iter().map(role).collect(),
    }
}

fn rule_row(visitor: &Visitor, id: &Id, rule: &AlertRule, secret: Option<&Secret>) -> RuleRow {
    let (state, now) = (&*visitor.state, visitor.now);
    let tells: Vec<String> = rule.set.tells.iter().map(|role| role.words().to_string()).collect();
    let (webhook, waits) = match secret {
        None => ("Nothing is sent there: it has no secret yet. Make one.".to_string(), true),
        Some(secret) if secret.gone_entry >= rule.entry.cast_signed() => {
            ("Nothing is sent there: it answered 410, gone. Say the rule anew to try again.".into(), true)
        }
        Some(secret) => {
            let at = when(state, Time(secret.made_at), now);
            (format!("Secret made {at} by {}.", secret.made_by), false)
        }
    };
    RuleRow {
        rule: id.to_string(),
        words: rule.set.words(state),
        tells: listed(&tells),
        by: format!("{}, {}", rule.by, when(state, rule.at, now)),
        webhook,
        waits,
        form: form(state, rule.set.about, Some(&rule.set)),
    }
}

fn message_row(visitor: &Visitor, (it, tries): &(Delivery, Vec<Attempt>)) -> MessageRow {
    let (state, now) = (&*visitor.state, visitor.now);
    let at = |at: i64| time(state, Time(at), now);
    let (status, failed) = match it.status.as_str() {
        "done" => ("told".to_string(), false),
        "given_up" => ("given up after a day".into(), true),
        "gone" => ("the address wants no more".into(), true),
        "dropped" => ("not sent: the rule names no address any more".into(), false),
        _ if it.tries == 0 => (format!("to be told {}", at(it.due_at)), false),
        _ => (format!("not told yet; tried again {}", at(it.due_at)), true),
    };
    MessageRow {
        id: it.id.clone(),
        rule: it.rule.clone(),
        status,
        failed,
        tried: count(tries.len(), "try", "tries"),
        tries: tries.iter().map(|one| format!("{}: {}", at(one.at), one.told)).collect(),
    }
}

fn heading(open: &[Row], watching: usize) -> String {
    let unseen = open.iter().filter(|row| row.unseen).count();
    match (open, unseen) {
        ([], _) if watching == 0 => "No rule tells you of anything.".into(),
        ([], _) => {
            let watch = if watching == 1 { "rule watches" } else { "rules watch" };
            format!("Nothing to tell: {watching} {watch} for you.")
        }
        ([one], _) => one.sentence.clone(),
        (some, 0) => format!("{} alerts are open, all seen by you.", some.len()),
        (some, unseen) if unseen == some.len() => format!("{} alerts are open.", some.len()),
        (some, unseen) => format!("{} alerts are open, {unseen} of them not seen by you.", some.len()),
    }
}

impl AlertsPage {
    pub fn of(visitor: &Visitor, read: &Read, done: Option<u64>) -> AlertsPage {
        let (state, role) = (&*visitor.state, visitor.actor.role);
        let rows = |open: bool| {
            let some = read.alerts.iter().filter(move |it| (it.row.ended_at == 0) == open);
            some.map(|it| row(visitor, it)).collect::<Vec<Row>>()
        };
        let open = rows(true);
        let watching = state.alert_rules().filter(|(_, rule)| rule.tells(role)).count();
        let sees = visitor.is(&[Role::Lead, Role::Charge, Role::Admin, Role::Auditor]);
        let rules = state.alert_rules().filter(|_| sees);
        AlertsPage {
            page: Page::of(visitor, "/alerts", "/alerts", done),
            heading: capital(&heading(&open, watching)),
            ended: rows(false),
            open,
            rules: rules
                .map(|(id, rule)| rule_row(visitor, id, rule, read.secrets.get(id.as_str())))
                .collect(),
            forms: AlertAbout::ALL.into_iter().map(|about| form(state, about, None)).collect(),
            messages: read.messages.iter().map(|it| message_row(visitor, it)).collect(),
            sees_messages: sees,
            trouble: String::new(),
            secret: (String::new(), String::new()),
        }
    }
}

/// Reads what the page shows to this visitor.
pub async fn read(app: &App, visitor: &Visitor) -> Result<Read, Unavailable> {
    let (state, house) = (&*visitor.state, &app.house);
    let began = house.day_began(state, visitor.now);
    let mut read =
        Read { alerts: house.alerts_of(state, visitor.actor.role, began).await?, ..Read::default() };
    if visitor.is(&[Role::Lead, Role::Charge, Role::Admin, Role::Auditor]) {
        read.secrets = house.alert_secrets(&state.site).await?;
        read.messages = house.messages_newest(&state.site, MOST_MESSAGES).await?;
    }
    Ok(read)
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(done): Query<Done>) -> Response {
    match read(&app, &visitor).await {
        Ok(read) => render(&AlertsPage::of(&visitor, &read, done.seq())),
        Err(gone) => super::problem::unavailable(&gone.operation),
    }
}

/// The band alone, for a page that looks whether it has changed.
pub async fn band(Reach(app): Reach<App>, visitor: Visitor) -> Response {
    render(&BandAlone { alerts: Band::of(&app, &visitor).await })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::storage::alert::AlertRow;
    use crate::web::pages::sample;

    fn told(id: &str, subject: &str, ended_at: i64) -> SeenAlert {
        let row = AlertRow {
            id: id.into(),
            rule: "alert-0001".into(),
            subject: subject.into(),
            sentence: format!("Something about {subject} & more."),
            raised_at: 1,
            ended_at,
            seq: 1,
        };
        SeenAlert { row, seen: vec![("p-9".into(), Time(2))] }
    }

    #[test]
    fn what_is_open_stands_first_and_can_be_marked() {
        let visitor = sample::alerting();
        let alerts =
            vec![told("a-1", "cases/K-1", 0), told("a-2", "loads/S-1", 0), told("a-3", "assets/C", 9)];
        let read = Read { alerts, ..Read::default() };
        let text = sample::show("alerts", &AlertsPage::of(&visitor, &read, None));
        assert!(text.contains("<h1>2 alerts are open.</h1>"), "{text}");
        assert!(
            text.contains("href=\"/cases/K-1\"") && text.contains("action=\"/alerts/a-1/seen\""),
            "{text}"
        );
        assert!(text.contains("Nothing is sent there: it has no secret yet."), "{text}");
        assert!(text.contains("fewer than 5 chances in 10"), "{text}");
        assert!(!text.contains("action=\"/alerts/a-3/seen\""), "what has ended is not marked");
    }

    #[test]
    fn a_subject_leads_to_its_page() {
        for (subject, expected) in [
            ("cases/K-1", "/cases/K-1"),
            ("cases/K-1/lines/swabs", "/cases/K-1#missing"),
            ("loads/S-1", "/loads/S-1"),
            ("assets/C-1", "/assets/C-1"),
            ("recalls/recall-0001", "/recalls/recall-0001"),
            ("holds/hold-0001", "/handover"),
            ("count-sheets/adult", "/board"),
        ] {
            assert_eq!(href(subject), expected);
        }
    }
}
