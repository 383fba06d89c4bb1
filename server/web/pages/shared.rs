//! What stands around every page: whose it is, where it leads, which time it shows.

use chrono::Datelike;
use serde::Deserialize;

use crate::domain::hold::HoldKind;
use crate::domain::person::Role::{self, *};
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::web::visitor::Visitor;

pub struct Link {
    pub href: &'static str,
    pub label: &'static str,
    pub question: &'static str,
    pub here: bool,
    /// Its place in the row at the head of the page, from 1; the others stand under "More" alone.
    pub place: usize,
}

impl Link {
    /// Where it stands: the first four in the row also on a phone, the others in it on a wider screen.
    pub fn class(&self) -> &'static str {
        match self.place {
            0 => "in-more",
            1..=4 => "in-row first-four",
            _ => "in-row",
        }
    }
}

/// The pages that stand in the row at the head for a role, beside the one that it is on; so many fit into 1280 px.
fn row(role: Role) -> &'static [&'static str] {
    match role {
        Desk => &["/board", "/desk", "/queue", "/loads", "/machines", "/sets", "/assets", "/handover"],
        Lead => {
            &["/board", "/desk", "/queue", "/loads", "/machines", "/sets", "/due", "/recalls", "/handover"]
        }
        Charge => &["/board", "/cases", "/emergency", "/sets", "/assets", "/handover", "/look-back"],
        Clinician => &["/board", "/cases", "/emergency", "/sets", "/assets"],
        Biomed => &["/due", "/machines", "/findings", "/wear", "/sets", "/assets", "/recalls", "/catalogue"],
        Infection => &["/look-back", "/recalls", "/loads", "/exceptions", "/machines", "/cases", "/assets"],
        Auditor => &["/ledger", "/exceptions", "/look-back", "/recalls", "/loads", "/machines", "/assets"],
        Admin => &["/people", "/site", "/catalogue", "/machines", "/board", "/sets", "/ledger"],
    }
}

/// Every page of the navigation, with its question and the roles that it is for.
const PLACES: &[(&str, &str, &str, &[Role])] = &[
    ("/board", "Board", "What is ready, what is missing, when?", &Role::ALL),
    (
        "/cases",
        "Cases",
        "What do I lay out, and is all back?",
        &[Charge, Clinician, Lead, Desk, Infection, Auditor],
    ),
    (
        "/week",
        "Week ahead",
        "Are the sets enough for the days to come, and what would help?",
        &[Charge, Lead, Clinician, Biomed, Auditor],
    ),
    (
        "/schedule",
        "Schedule",
        "What did the schedule say that a person has to look at?",
        &[Charge, Lead, Infection, Auditor],
    ),
    ("/procedures", "Procedures", "What do the procedures of the schedule need?", &[Charge, Lead, Clinician]),
    ("/emergency", "Emergency", "Issue a set now.", &[Charge, Clinician, Lead, Desk]),
    ("/desk", "Desk", "What is in my hand and what does it need next?", &[Desk, Lead]),
    ("/queue", "Queue", "What waits at each step, and what is oldest?", &[Desk, Lead]),
    ("/loads", "Loads", "May a load be released, and why not?", &[Desk, Lead, Infection, Auditor]),
    (
        "/machines",
        "Machines",
        "May a machine run a load, is a test due, is it drifting?",
        &[Desk, Lead, Biomed, Infection, Admin, Auditor],
    ),
    ("/sets", "Sets", "Which sets are ready, and what do the others lack?", &Role::ALL),
    ("/assets", "Assets", "One part and its life: turns, inspections, holds.", &Role::ALL),
    ("/due", "Due", "What must be inspected, tested or replaced, in order of need?", &[Biomed, Lead]),
    ("/loans", "Loans", "What is lent to us, and when does it go back?", &[Desk, Lead, Charge, Biomed]),
    ("/strangers", "Strangers", "What is not ours, or in doubt, and who was told?", &[Desk, Lead, Infection]),
    (
        "/shelf",
        "Shelf",
        "What is kept by lot: how much, and until when?",
        &[Desk, Lead, Charge, Clinician, Biomed],
    ),
    ("/wear", "Wear", "How long do they last, and what will I need?", &[Biomed, Lead]),
    (
        "/findings",
        "Defects",
        "What was reported as wrong, and how bad is it?",
        &[Biomed, Lead, Desk, Charge, Infection],
    ),
    (
        "/reports",
        "My reports",
        "What did I report as wrong, and what became of it?",
        &[Clinician, Charge, Desk, Lead, Biomed, Infection],
    ),
    (
        "/broken-packs",
        "Broken packs",
        "Which packs broke, and from which machine or shelf?",
        &[Infection, Lead, Biomed, Charge, Desk, Auditor],
    ),
    ("/look-back", "Look-back", "Who and what is affected?", &[Infection, Lead, Charge, Auditor]),
    (
        "/recalls",
        "Recalls",
        "What of a machine is recalled, and what is not answered for?",
        &[Infection, Lead, Biomed, Auditor],
    ),
    ("/alerts", "Alerts", "What am I told of at once, and what was another program told?", &Role::ALL),
    (
        "/paper",
        "Paper",
        "What is written on while the network is down, and what of it is entered?",
        &[Desk, Lead, Charge, Clinician, Infection, Auditor],
    ),
    (
        "/wrong-things",
        "Wrong scans",
        "Of which entries is said that another thing was meant?",
        &[Lead, Desk, Charge, Clinician, Infection, Auditor],
    ),
    ("/handover", "Handover", "What happened since the last shift, what is open?", &[Desk, Lead, Charge]),
    (
        "/exceptions",
        "Exceptions",
        "Which loads were released alone or early, and which wait for an answer?",
        &[Lead, Desk, Infection, Auditor],
    ),
    (
        "/labels",
        "Labels",
        "What is printed for parts, packs, places and the workplace?",
        &[Desk, Lead, Biomed],
    ),
    (
        "/catalogue",
        "Catalogue",
        "Models, routes, count sheets, machines and programmes.",
        &[Lead, Biomed, Admin, Auditor],
    ),
    (
        "/import",
        "Lists",
        "Bring a list of models, parts, count sheets, sets or cases into the house.",
        &[Lead, Biomed, Admin, Charge],
    ),
    ("/ledger", "Ledger", "Who did what when?", &[Lead, Biomed, Auditor, Infection, Admin]),
    ("/people", "People", "Who may sign in, and in which role?", &[Admin]),
    ("/site", "Site", "What the site is called, and its policies.", &[Lead, Charge, Auditor, Admin]),
    ("/api-reference", "API", "What may a program ask of this house, and how?", &[Admin, Biomed, Auditor]),
];

/// The ways that are open to a role; `here` is the one that the reader stands on.
pub fn navigation(role: Role, here: &str) -> Vec<Link> {
    let place = |href: &str| row(role).iter().position(|it| *it == href).map_or(0, |place| place + 1);
    let open = PLACES.iter().filter(|(.., roles)| roles.contains(&role));
    let link = |(href, label, question, _): &(&'static str, &'static str, &'static str, _)| Link {
        href,
        label,
        question,
        here: *href == here,
        place: place(href),
    };
    let mut all: Vec<Link> = open.map(link).collect();
    // What a role does most stands first, for it alone.
    all.sort_by_key(|link| if link.place == 0 { usize::MAX } else { link.place });
    all
}

/// Whether the role finds this page in its navigation.
pub fn leads_to(role: Role, href: &str) -> bool {
    PLACES.iter().any(|(place, _, _, roles)| *place == href && roles.contains(&role))
}

/// The kinds of hold that a role may place.
pub fn hold_kinds(role: Role) -> Vec<&'static str> {
    let all = [HoldKind::Quality, HoldKind::Repair, HoldKind::Recall, HoldKind::Prion];
    all.iter().filter(|kind| kind.placed_by().contains(&role)).map(|kind| kind.name()).collect()
}

/// What every page needs beside its own matter.
pub struct Page {
    pub site: String,
    pub practice: bool,
    pub who: String,
    pub code: String,
    pub role: Role,
    pub csrf: String,
    pub clock: String,
    pub seq: u64,
    pub nav: Vec<Link>,
    /// The entry that the reader's last act became.
    pub done: Option<u64>,
    /// The path that a form of this page returns to.
    pub path: String,
    /// After so long without a touch the page locks itself.
    pub idle_minutes: u32,
    /// Messages of the schedule that wait for a person, where the reader may settle them.
    pub schedule_waits: usize,
}

impl Page {
    /// `here` is the place in the navigation, `path` the page's own address.
    pub fn of(visitor: &Visitor, here: &str, path: impl Into<String>, done: Option<u64>) -> Page {
        let state = &visitor.state;
        Page {
            site: if state.name.is_empty() { state.site.to_string() } else { state.name.clone() },
            practice: state.practice,
            who: visitor.name.clone(),
            code: visitor.actor.code.clone(),
            role: visitor.actor.role,
            csrf: visitor.csrf.clone(),
            clock: long(state, visitor.now),
            seq: state.seq,
            nav: navigation(visitor.actor.role, here),
            done,
            path: path.into(),
            idle_minutes: state.policy.idle_minutes,
            schedule_waits: match visitor.actor.role {
                Charge | Lead => state.open_schedule_lines().len(),
                Desk | Clinician | Biomed | Infection | Auditor | Admin => 0,
            },
        }
    }

    pub fn role_words(&self) -> &'static str {
        self.role.words()
    }

    /// Whether this role may give the command in some form.
    pub fn may(&self, command: &str) -> bool {
        crate::domain::command::Act::roles(command).contains(&self.role)
    }

    pub fn role_is(&self, name: &str) -> bool {
        self.role.name() == name
    }

    /// The outcomes of a search that a person may name; what is found has a button of its own.
    pub fn outcomes(&self) -> Vec<(&'static str, String)> {
        super::theatre::outcomes()
    }

    pub fn sees(&self, href: &str) -> bool {
        leads_to(self.role, href)
    }
}

/// The query of a page that a form returned to.
#[derive(Debug, Default, Deserialize)]
pub struct Done {
    #[serde(default)]
    pub done: Option<String>,
}

impl Done {
    pub fn seq(&self) -> Option<u64> {
        self.done.as_deref().and_then(|text| text.parse().ok())
    }
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

pub use crate::domain::time::told_day as date;

/// Weekday, day and time: what stands at the head of a page.
pub fn long(state: &State, at: Time) -> String {
    let local = at.in_zone(state.zone);
    let month = MONTHS.get(local.month0() as usize).copied().unwrap_or_default();
    format!("{} {} {month} {}, {}", local.format("%A"), local.day(), local.year(), at.clock(state.zone))
}

/// The day as people say it beside a time: nothing for today, the weekday for what is near, the year for what is not.
fn day_words(state: &State, at: Time, now: Time) -> Option<String> {
    const NEAR_DAYS: i64 = 180;
    let (day, today) = (at.date(state.zone), now.date(state.zone));
    let month = MONTHS.get(day.month0() as usize).copied().unwrap_or_default();
    match (today - day).num_days().abs() {
        0 => None,
        1..NEAR_DAYS => {
            let short: String = month.chars().take(3).collect();
            Some(format!("{} {} {short}", day.format("%a"), day.day()))
        }
        _ => Some(format!("{} {month} {},", day.day(), day.year())),
    }
}

/// The time alone where it is today's, else with its day: "14:16", "Tue 24 Nov 14:16".
pub fn time(state: &State, at: Time, now: Time) -> String {
    let clock = at.clock(state.zone);
    day_words(state, at, now).map_or_else(|| clock.clone(), |day| format!("{day} {clock}"))
}

/// The same where it stands alone: "today 14:16".
pub fn when(state: &State, at: Time, now: Time) -> String {
    let day = day_words(state, at, now).unwrap_or_else(|| "today".into());
    format!("{day} {}", at.clock(state.zone))
}

/// "1 part", "3 parts".
pub fn count(number: usize, one: &str, many: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {many}") }
}

/// "a", "a and b", "a, b and c".
pub fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// At most so many of them named, the rest counted.
pub fn some_of(words: &[String], most: usize) -> String {
    if words.len() <= most {
        return listed(words);
    }
    let named: Vec<String> = words.iter().take(most).cloned().collect();
    format!("{} and {} more", named.join(", "), words.len() - most)
}

/// A sentence begins with a capital.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// A name for a path segment: ids are safe as they are, marks are not.
pub fn segment(text: &str) -> String {
    let mut safe = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'_' | b'-' | b'~') {
            safe.push(char::from(byte));
        } else {
            safe.push_str(&format!("%{byte:02X}"));
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_role_has_somewhere_to_go() {
        for role in Role::ALL {
            let all = navigation(role, "/sets");
            assert!(all.iter().filter(|link| link.here).count() == 1, "{}", role.name());
            // Each page of the row is open to the role, once, and the row stands before the others.
            let places: Vec<usize> = all.iter().map(|link| link.place).filter(|place| *place > 0).collect();
            assert_eq!(places, (1..=row(role).len()).collect::<Vec<_>>(), "{}", role.name());
        }
        assert!(!leads_to(Clinician, "/ledger") && leads_to(Auditor, "/ledger"));
    }

    #[test]
    fn times_read_as_people_say_them() {
        let mut state = State::new(crate::domain::id::Id::new("airway").unwrap());
        state.zone = chrono_tz::Europe::Berlin;
        let at = |text: &str| Time::parse(text).unwrap();
        let now = at("2026-11-25T14:16:03Z");
        assert_eq!(time(&state, at("2026-11-24T23:16:00Z"), now), "00:16");
        assert_eq!(when(&state, now, now), "today 15:16");
        assert_eq!(when(&state, at("2026-11-24T13:16:03Z"), now), "Tue 24 Nov 14:16");
        assert_eq!(time(&state, at("2027-01-02T13:00:00Z"), now), "Sat 2 Jan 14:00");
        assert_eq!(when(&state, at("2025-11-24T13:16:03Z"), now), "24 November 2025, 14:16");
    }

    #[test]
    fn lists_read_as_people_say_them() {
        let words: Vec<String> = ["a", "b", "c"].map(String::from).into();
        assert_eq!(listed(&words), "a, b and c");
        assert_eq!(some_of(&words, 2), "a, b and 1 more");
        assert_eq!(segment("01/04 7"), "01%2F04%207");
        assert_eq!(capital("telescope"), "Telescope");
    }
}
