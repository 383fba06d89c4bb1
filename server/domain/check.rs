//! The function check in the room before the instrument is used: a line for each thing that has to work, each told
//! with one tap. What failed is a defect report on that part. A line told again stands as it was told last, but for a
//! failure on a part: that is cleared only as [`stands`] says.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::{Case, CaseStatus};
use super::check_lines::{is_line, is_of_case, lines};
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::finding::Severity;
use super::hold::{HoldKind, HoldPlaced};
use super::id::{Id, next_free};
use super::model::unknown;
use super::planning::known_case;
use super::refusal::{Code, Problem};
use super::state::{Asset, State};
use super::text::{Line, Text};
use super::time::Time;

/// More lines than this in one command, or of a site's own, are a mistake.
pub const MOST_LINES: usize = 100;

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CheckResult {
    Passed,
    Failed,
    NotApplicable,
}

impl CheckResult {
    pub const ALL: [CheckResult; 3] = [CheckResult::Passed, CheckResult::Failed, CheckResult::NotApplicable];

    pub fn name(self) -> &'static str {
        match self {
            CheckResult::Passed => "passed",
            CheckResult::Failed => "failed",
            CheckResult::NotApplicable => "not_applicable",
        }
    }

    pub fn words(self) -> &'static str {
        match self {
            CheckResult::Passed => "passed",
            CheckResult::Failed => "failed",
            CheckResult::NotApplicable => "not applicable",
        }
    }
}

/// One line as it is told.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ToldLine {
    pub line: Line,
    pub result: CheckResult,
    /// The part that it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Line>,
    /// What is wrong, where it failed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<Text>,
    /// How bad, where it failed: not to be used, unless somebody says less.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub severity: Option<Severity>,
}

/// One line by its own fields, or many in a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordCheck {
    pub case: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub result: Option<CheckResult>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<Text>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub severity: Option<Severity>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<ToldLine>,
}

impl RecordCheck {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let alone = self.result.is_some() || self.asset.is_some() || self.what.is_some();
        match (&self.line, self.result, self.lines.is_empty()) {
            (Some(_), Some(_), true) => {}
            (Some(_), None, true) => return Err(wrong("/result", "missing; the line needs its result")),
            (None, _, true) => {
                return Err(wrong("/line", "missing; a line with its result, or lines, is needed"));
            }
            (None, None, false) if !alone && self.severity.is_none() => {}
            _ => return Err(wrong("/lines", "found a line beside a list of lines; one of them is needed")),
        }
        if self.lines.len() > MOST_LINES {
            let n = self.lines.len();
            return Err(wrong("/lines", format!("found {n} lines; at most {MOST_LINES} are needed")));
        }
        if let Some(i) = self.told().iter().position(|it| it.line.is_blank()) {
            let at = if self.lines.is_empty() { "/line".into() } else { format!("/lines/{i}/line") };
            return Err(wrong(at, "found a blank; the name of a line is needed"));
        }
        let mut seen = BTreeSet::new();
        for (i, it) in self.lines.iter().enumerate() {
            if !seen.insert((&it.line, &it.asset)) {
                let detail = format!("found \"{}\" a second time; each line once is needed", it.line.0);
                return Err(wrong(format!("/lines/{i}/line"), detail));
            }
        }
        for (i, it) in self.told().iter().enumerate() {
            if it.result != CheckResult::Failed && (it.what.is_some() || it.severity.is_some()) {
                let at = if self.lines.is_empty() { "/what".into() } else { format!("/lines/{i}/what") };
                return Err(wrong(at, "found it for a line that did not fail"));
            }
        }
        Ok(())
    }

    /// The lines, however they were given.
    pub fn told(&self) -> Vec<ToldLine> {
        let (Some(line), Some(result)) = (&self.line, self.result) else { return self.lines.clone() };
        let (asset, what) = (self.asset.clone(), self.what.clone());
        vec![ToldLine { line: line.clone(), result, asset, what, severity: self.severity }]
    }
}

/// One line as the entry keeps it, with the defect report that it made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckedLine {
    pub line: Line,
    pub result: CheckResult,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asset: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub what: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub severity: Option<Severity>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub finding: Option<Id>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hold: Option<Id>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Checked {
    pub case: Id,
    pub lines: Vec<CheckedLine>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<HoldPlaced>,
}

/// A line as its case keeps it. Each telling is kept; the last one stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckTold {
    #[serde(flatten)]
    pub told: CheckedLine,
    pub at: Time,
    pub entry: u64,
    pub by: String,
    /// Its defect report was withdrawn: the line waits to be told again.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub taken_back: bool,
}

/// What was told of a line and counts. What works on a part that is not the case's own says nothing of the case.
fn told_of<'a>(state: &State, case: &'a Case, line: &str) -> Vec<&'a CheckTold> {
    let counts = |told: &CheckedLine| {
        told.result == CheckResult::Failed
            || told.asset.as_ref().is_none_or(|asset| is_of_case(state, case, asset))
    };
    let told = case.checks.iter().filter(|it| it.told.line.as_str() == line && !it.taken_back);
    told.filter(|it| counts(&it.told)).collect()
}

/// How a line stands at a case. What failed on a part stands, whatever passed since, until its report is answered or
/// withdrawn, or until another part that came after it passed in its place.
pub fn stands<'a>(state: &State, case: &'a Case, line: &str) -> Option<&'a CheckTold> {
    let failed = not_cleared(state, case, line);
    let last = |told: Vec<&'a CheckTold>| told.into_iter().max_by_key(|it| (it.at, it.entry));
    last(failed).or_else(|| last(told_of(state, case, line)))
}

/// The failures of a line that stand.
fn not_cleared<'a>(state: &State, case: &'a Case, line: &str) -> Vec<&'a CheckTold> {
    let told = told_of(state, case, line);
    let order = |it: &CheckTold| (it.at, it.entry);
    let stands = |failed: &CheckTold| {
        let after: Vec<_> = told.iter().filter(|it| order(it) > order(failed)).collect();
        if after.is_empty() {
            return true;
        }
        let report = failed.told.finding.as_ref().and_then(|finding| state.findings.get(finding));
        report.is_some_and(|report| state.is_open(report))
            && !after.iter().any(|later| clears(state, case, failed, later))
    };
    told.iter().copied().filter(|it| it.told.result == CheckResult::Failed && stands(it)).collect()
}

/// Whether what was told later ends a failure: it was tried again where nothing holds it, or another part stands in.
fn clears(state: &State, case: &Case, failed: &CheckTold, later: &CheckTold) -> bool {
    let family = |id: &Id| state.assets.get(id).and_then(|it| state.model(&it.model)).map(|it| it.family);
    let Some(old) = failed.told.asset.as_ref() else { return true };
    // It was opened at the case after the failure, or comes from outside it.
    let stands_in = |new: &Id| {
        let came = case.parts.get(new).is_none_or(|part| failed.entry < part.since);
        new != old && came && family(new) == family(old)
    };
    let tried_again = failed.told.hold.is_none();
    match &later.told.asset {
        _ if later.told.result == CheckResult::Failed => false,
        Some(asset) if asset == old => tried_again,
        Some(asset) => stands_in(asset),
        None => {
            let before = |id: &Id| case.parts.get(id).is_some_and(|part| part.since <= later.entry);
            tried_again || case.parts.keys().any(|id| before(id) && stands_in(id))
        }
    }
}

/// How far a case's function check has come.
#[derive(Clone, Debug, PartialEq, Default, Serialize)]
pub struct CheckState {
    pub asked: usize,
    /// Those that nobody has told yet.
    pub open: Vec<String>,
    /// Those that stand as failed.
    pub failed: Vec<String>,
}

impl CheckState {
    pub fn of(state: &State, case: &Case) -> CheckState {
        let asked = lines(state, case);
        let mut all = CheckState { asked: asked.len(), ..CheckState::default() };
        for line in asked {
            match stands(state, case, &line.line).map(|it| it.told.result) {
                None => all.open.push(line.line),
                Some(CheckResult::Failed) => all.failed.push(line.line),
                Some(CheckResult::Passed | CheckResult::NotApplicable) => {}
            }
        }
        all
    }

    /// The state of a case that has its instruments in the room; none for one that waits for them, or is over.
    pub fn due(state: &State, case: &Case) -> Option<CheckState> {
        matches!(case.status(), CaseStatus::Issued | CaseStatus::Opened).then(|| CheckState::of(state, case))
    }

    pub fn done(&self) -> bool {
        self.open.is_empty() && self.failed.is_empty()
    }

    /// What the board says of it; nothing where all is well.
    pub fn words(&self) -> Option<String> {
        let listed = |all: &[String]| all.join(", ");
        if !self.failed.is_empty() {
            return Some(format!("Function check failed: {}.", listed(&self.failed)));
        }
        match self.open.len() {
            0 => None,
            n if n == self.asked => Some("The function check is not recorded.".into()),
            1..=3 => Some(format!("The function check lacks {}.", listed(&self.open))),
            n => Some(format!("The function check lacks {n} of {} lines.", self.asked)),
        }
    }
}

pub(super) fn record(deciding: &mut Deciding, it: &RecordCheck) -> Option<What> {
    let case = known_case(deciding, &it.case)?;
    if !case.is_open() {
        deciding.deviates(Code::OutOfOrder);
    }
    let (mut lines, mut holds, mut made) = (Vec::new(), Vec::new(), BTreeSet::new());
    for told in it.told() {
        if !is_line(deciding.state, &case, told.line.as_str()) {
            deciding.against(unknown("line of the function check", told.line.as_str()));
        }
        let asset = match &told.asset {
            Some(name) => Some(deciding.one(name.as_str())?),
            None => None,
        };
        if let Some(asset) = &asset {
            at_the_case(deciding, &case, asset);
        }
        let mut line = CheckedLine {
            line: told.line.clone(),
            result: told.result,
            turn: asset.as_ref().map(|asset| super::fact::turn_at(deciding, asset)),
            asset: asset.as_ref().map(|asset| asset.asset.clone()),
            what: told.what.as_ref().map(|what| what.0.clone()),
            severity: None,
            finding: None,
            hold: None,
        };
        if let (CheckResult::Failed, Some(asset)) = (told.result, &asset) {
            known_already(deciding, &case, &told, asset);
            let taken = |id: &Id| deciding.state.findings.contains_key(id) || made.contains(id);
            let finding = next_free("finding", 4, deciding.state.findings.len(), taken)?;
            made.insert(finding.clone());
            let severity = told.severity.unwrap_or(Severity::Stop);
            if severity == Severity::Stop && asset.retired.is_none() {
                let hold = deciding.new_hold()?;
                let reason = format!("{finding}: {}", failed_words(&line));
                let assets = vec![asset.asset.clone()];
                holds.push(HoldPlaced {
                    hold: hold.clone(),
                    kind: HoldKind::Quality,
                    reason,
                    assets,
                    notice: None,
                    dedicated_to: None,
                });
                line.hold = Some(hold);
            }
            deciding.made = deciding.made.take().or_else(|| Some(finding.clone()));
            (line.severity, line.finding) = (Some(severity), Some(finding));
        }
        lines.push(line);
    }
    Some(What::Checked(Checked { case: case.case, lines, holds }))
}

/// What the defect report of a failed line says.
pub fn failed_words(line: &CheckedLine) -> String {
    match line.what.as_deref().map(str::trim).filter(|what| !what.is_empty()) {
        Some(what) => format!("function check, {}: {what}", line.line.0),
        None => format!("function check failed: {}", line.line.0),
    }
}

/// A part that is not this case's is told of all the same, and the entry says that it is not.
pub(super) fn at_the_case(deciding: &mut Deciding, case: &Case, asset: &Asset) {
    if asset.missing {
        deciding.against(super::asset::missing(deciding.state, asset));
    }
    if asset.retired.is_some() {
        deciding.deviates(Code::Retired);
    }
    if !case.parts.contains_key(&asset.asset) {
        deciding.deviates(Code::OutOfOrder);
    }
    deciding.touches(Some(asset.last_at));
}

/// The same line failed on the same part, and nobody has looked into it yet: a second tap makes no second report.
fn known_already(deciding: &mut Deciding, case: &Case, told: &ToldLine, asset: &Asset) {
    let state = deciding.state;
    let mut stand = not_cleared(state, case, told.line.as_str())
        .into_iter()
        .filter(|it| it.told.asset.as_ref() == Some(&asset.asset))
        .filter_map(|it| state.findings.get(it.told.finding.as_ref()?));
    if let Some(finding) = stand.find(|finding| state.is_open(finding)).cloned() {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!(
                "\"{}\" is already recorded as failed on {}: {}.",
                told.line.0,
                asset.called(),
                finding.finding
            ),
            "A line that does not stand so already is needed.",
            "Nothing needs to be done. If another part failed too, choose that part.",
        ));
    }
}
