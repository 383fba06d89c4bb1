//! What is to be told now: every rule of alerts, judged on the facts, the board and the forecast. Each thing told has a
//! subject, by which it is the same one minute later, and a sentence with names, numbers and what to do. No patient and no
//! indication stands in any of them.

use super::alert::{AlertAbout, AlertRule};
use super::board::{Board, BoardCase, Equipped, hour};
use super::forecast::{Forecast, Likely, tenths};
use super::id::Id;
use super::state::State;
use super::time::{MINUTE, Time};

/// What stands behind the rules at a moment.
#[derive(Clone, Copy)]
pub struct Seen<'a> {
    pub board: &'a Board,
    /// Where a rule asks for it.
    pub forecast: Option<&'a Forecast>,
}

/// Something that a rule tells.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Told {
    pub rule: Id,
    /// Kind and name of what it is about, with strokes between them.
    pub subject: String,
    pub sentence: String,
}

/// The caution of the board, which stands wherever something is not accounted for.
const SEARCH: &str = "Search, tell the surgeon, image by local policy, before the patient leaves.";

impl State {
    /// Whether a rule in force rests on the forecast.
    pub fn alerts_need_forecast(&self) -> bool {
        self.alert_rules().any(|(_, rule)| rule.set.about == AlertAbout::Case)
    }

    /// Everything that the rules in force tell now, by rule and subject.
    pub fn alerts(&self, seen: Seen, now: Time) -> Vec<Told> {
        let mut all = Vec::new();
        for (id, rule) in self.alert_rules() {
            let told = match rule.set.about {
                AlertAbout::Case => {
                    let coming = seen.forecast.map(|forecast| cases(self, rule, forecast, now));
                    let mut all = coming.unwrap_or_default();
                    all.extend(not_begun(self, rule, seen.board, now));
                    all
                }
                AlertAbout::Reserve => reserves(self, rule, seen.board),
                AlertAbout::Load => loads(self, rule, now),
                AlertAbout::Missing => missing(self, seen.board, now),
                AlertAbout::Hold => holds(self, rule, now),
            };
            let told = told.into_iter();
            all.extend(told.map(|(subject, sentence)| Told { rule: id.clone(), subject, sentence }));
        }
        all.sort();
        all
    }
}

type One = (String, String);

/// The time alone where it is today's, else with its day.
fn time(state: &State, at: Time, now: Time) -> String {
    match at.date(state.zone) == now.date(state.zone) {
        true => hour(state, at),
        false => at.told(state.zone),
    }
}

fn cases(state: &State, rule: &AlertRule, forecast: &Forecast, now: Time) -> Vec<One> {
    let mut all = Vec::new();
    for it in &forecast.cases {
        let Some(chance) = it.chance.filter(|_| it.likely != Likely::ReadyNow) else { continue };
        let start = it.start.in_zone(state.zone);
        let is_meant = start.date_naive() == now.date(state.zone)
            && it.start >= now
            && rule.set.before.is_none_or(|before| start.time() < before.0);
        if !is_meant || u32::from(tenths(chance)) >= rule.set.below() {
            continue;
        }
        let Some(case) = state.cases.get(&it.case) else { continue };
        let room = case.room.as_ref().map(|room| format!(" in {}", room.0)).unwrap_or_default();
        let mut sentence = format!("Case {} at {}{room}: {}.", it.case, start.format("%H:%M"), it.words);
        if let Some(sheet) = &it.lacks {
            sentence += &format!(" What comes last is “{}”", state.sheet_words(sheet));
            let step = it.held_up_by.as_ref().map(|step| format!(", held up by {step}"));
            sentence += &format!("{}.", step.unwrap_or_default());
        }
        match it.saves.first() {
            Some(saves) => sentence += &format!(" Would help most: {}", saves.sentence),
            None => sentence += " Ring the desk, or move the case.",
        }
        all.push((format!("cases/{}", it.case), sentence));
    }
    all
}

/// Cases whose start has passed, that do not have what they need, and to which nothing was issued: what was told of them is
/// not put right by the clock. It ends when they are equipped, issued, moved or cancelled.
fn not_begun(state: &State, rule: &AlertRule, board: &Board, now: Time) -> Vec<One> {
    let is_meant = |start: Time| {
        let start = start.in_zone(state.zone);
        start.date_naive() == now.date(state.zone)
            && rule.set.before.is_none_or(|before| start.time() < before.0)
    };
    let lacks = |it: &&BoardCase| it.should_have_begun && it.status != Equipped::Ready && is_meant(it.start);
    let told = board.cases.iter().filter(lacks).map(|it| {
        let room = it.room.as_ref().map(|room| format!(" in {room}")).unwrap_or_default();
        let sentence = format!(
            "Case {} at {}{room} should have begun: it does not have its sets, and nothing was issued to it. Ring the desk; \
             issue, move or cancel the case.",
            it.case,
            hour(state, it.start)
        );
        (format!("cases/{}", it.case), sentence)
    });
    told.collect()
}

fn reserves(state: &State, rule: &AlertRule, board: &Board) -> Vec<One> {
    let meant = |sheet: &Id| rule.set.count_sheet.as_ref().is_none_or(|only| only == sheet);
    let short = board.reserves.iter().filter(|it| it.ready < it.minimum && meant(&it.count_sheet));
    let told = short.map(|it| {
        let name = state.sheet_words(&it.count_sheet);
        let ready = match it.ready {
            0 => format!("No emergency set of “{name}” is ready; {} must be.", it.minimum),
            ready => format!("{ready} of {} emergency sets of “{name}” ready.", it.minimum),
        };
        let sentence =
            format!("{ready} Keep none of them for planned work, and make the next one ready first.");
        (format!("count-sheets/{}", it.count_sheet), sentence)
    });
    told.collect()
}

fn loads(state: &State, rule: &AlertRule, now: Time) -> Vec<One> {
    let open = state.loads.values().filter(|load| load.decided_at.is_none());
    let waits = open.filter_map(|load| Some((load, load.judged.as_ref()?)));
    let late = waits.filter(|(_, judged)| {
        let waited = now.0.saturating_sub(judged.ended_at.0);
        waited > i64::from(rule.set.minutes()).saturating_mul(MINUTE)
    });
    let told = late.map(|(load, judged)| {
        let verdict = if judged.passed { "its record passed" } else { "its record did not pass" };
        let sentence = format!(
            "Load {} of {} waits for its decision since {}; {verdict}. A named person releases or rejects it.",
            load.load,
            load.machine,
            time(state, judged.ended_at, now)
        );
        (format!("loads/{}", load.load), sentence)
    });
    told.collect()
}

fn missing(state: &State, board: &Board, now: Time) -> Vec<One> {
    let parts = board.not_accounted_for.iter().filter(|it| it.loud).map(|it| {
        let asset = state.assets.get(&it.asset);
        let family = asset.and_then(|asset| state.model(&asset.model)).map(|model| model.family.words());
        let family = family.map(|family| format!("{family} ")).unwrap_or_default();
        let piece = if it.piece { "a piece of " } else { "" };
        let case = it.case.as_ref().map(|case| format!(" of case {case}")).unwrap_or_default();
        let since = time(state, it.since, now);
        let sentence =
            format!("Not accounted for since {since}: {piece}{family}{}{case}. {SEARCH}", it.asset);
        (format!("assets/{}", it.asset), sentence)
    });
    let lines = board.lines_not_back.iter().filter(|it| it.loud).map(|it| {
        let since = time(state, it.since, now);
        let sentence = format!(
            "Not accounted for since {since}: {} {} of case {}. {SEARCH}",
            it.lacks, it.line, it.case
        );
        (format!("cases/{}/lines/{}", it.case, it.line), sentence)
    });
    parts.chain(lines).collect()
}

fn holds(state: &State, rule: &AlertRule, now: Time) -> Vec<One> {
    let of_recall = |hold: &Id| state.recalls.values().any(|recall| recall.hold == *hold);
    let parts = |hold: &Id| {
        let held =
            state.assets.values().filter(|asset| asset.holds.iter().any(|it| it.hold == *hold)).count();
        if held == 1 { "1 part".to_string() } else { format!("{held} parts") }
    };
    let new = state.holds.values().filter(|hold| hold.lifted_at.is_none() && hold.placed_at >= rule.since);
    let told = new.filter(|hold| !of_recall(&hold.hold)).map(|hold| {
        let sentence = format!(
            "{}, {} hold, placed {} by {}: {} held. See why on the page of a part before it is counted on.",
            hold.hold,
            hold.kind.name(),
            time(state, hold.placed_at, now),
            hold.placed_by,
            parts(&hold.hold)
        );
        (format!("holds/{}", hold.hold), sentence)
    });
    let open = state.recalls.values().filter(|recall| recall.is_open() && recall.opened_at >= rule.since);
    let recalls = open.map(|recall| {
        let sentence = format!(
            "{} of what came from {}, opened {} by {}: {} held. Every part and every case needs an answer.",
            recall.recall,
            recall.machine,
            time(state, recall.opened_at, now),
            recall.opened_by,
            parts(&recall.hold)
        );
        (format!("recalls/{}", recall.recall), sentence)
    });
    told.chain(recalls).collect()
}
