//! The answer on parts that fit, as the lines of a set-up sheet.

use super::drawing::mm;
use super::say::Say;
use super::shared::{self, capital, listed, segment};
use crate::domain::case::Case;
use crate::domain::check::{CheckResult, CheckTold, stands};
use crate::domain::check_lines::lines;
use crate::domain::fit::{Fit, Together, Verdict};
use crate::domain::fit_part::{EndAt, FitPart, Gas, Have, OpeningState, Processing, Size, Whence};
use crate::domain::fit_size::spare_mm;
use crate::domain::model::Family;
use crate::domain::setup_sheet::Barred;
use crate::domain::state::State;
use crate::domain::time::Time;

/// A part in the order of assembly.
pub struct PartLine {
    pub step: usize,
    /// Its place among the parts of the answer.
    pub at: usize,
    pub name: String,
    pub href: String,
    pub family: String,
    pub what: String,
    pub mark: String,
    pub sizes: String,
    pub place: String,
    /// What it sits on, or goes in through.
    pub joins: String,
    pub say: Option<Say>,
    pub why: Vec<String>,
    pub note: String,
    /// Where the house's own picture of its model is.
    pub photo: Option<String>,
}

/// A joint, an opening or a rule, each with how it stands.
pub struct Line {
    pub what: String,
    pub words: String,
    pub sentence: String,
    pub say: Say,
}

/// What a part is called on the sheet: its piece, or its model where no piece is named.
pub fn called(part: &FitPart) -> String {
    part.asset.as_ref().map_or_else(|| part.model.to_string(), ToString::to_string)
}

pub fn called_at(fit: &Fit, at: usize) -> String {
    fit.parts.get(at).map(called).unwrap_or_default()
}

pub fn end_at(fit: &Fit, at: &EndAt) -> String {
    format!("{}, {}", called_at(fit, at.part), at.end)
}

fn of_verdict(verdict: Verdict) -> Say {
    let words = verdict.words();
    match verdict {
        Verdict::Holds => Say::new("ready", "ready", words),
        Verdict::Warns => Say::due(words),
        Verdict::NotKnown => Say::new("out", "due", words),
        Verdict::Fails => Say::new("not_ready", "stop", words),
        Verdict::Stops => Say::held(words),
    }
}

/// A size with where it comes from; both where the maker says another than was measured.
pub fn size(size: &Size) -> String {
    let used = mm(size.used_mm);
    match (&size.stated, &size.measured, size.from) {
        (Some(stated), Some(measured), from) if stated != measured => match from {
            Whence::Measured => format!("{used} measured (stated {stated})"),
            Whence::Stated => format!("{used} stated (measured {measured})"),
        },
        (_, _, Whence::Measured) => format!("{used} measured"),
        (_, _, Whence::Stated) => format!("{used} stated"),
    }
}

/// The sizes that say which piece it is. Of a barrel the nominal label, which is a name, then inner, outer and length.
pub fn sizes(part: &FitPart) -> String {
    let sizes = &part.sizes;
    let mut all = Vec::new();
    all.extend(sizes.nominal.as_ref().map(|nominal| format!("nominal {nominal}")));
    let named = [
        ("inner", &sizes.inner),
        ("OUTER", &sizes.outer),
        ("shaft", &sizes.shaft),
        ("widest", &sizes.widest),
        ("length", &sizes.length),
        ("height", &sizes.stack),
    ];
    for (name, found) in named {
        let name = if name == "OUTER" && !part.family.is_barrel() { "outer" } else { name };
        match found {
            Some(found) => all.push(format!("{name} {}", size(found))),
            None if part.family.is_barrel() && matches!(name, "inner" | "OUTER" | "length") => {
                all.push(format!("{name} not known"));
            }
            None => {}
        }
    }
    all.extend(sizes.french.as_ref().map(|french| format!("{french} Fr")));
    all.extend(sizes.view_deg.as_ref().map(|view| format!("view {view}°")));
    if part.family == Family::Cap && sizes.holes.is_empty() {
        all.push(if sizes.blank { "blank, no hole".into() } else { "holes not known: measure".into() });
    }
    if !sizes.holes.is_empty() {
        let holes: Vec<String> = sizes.holes.iter().map(size).collect();
        all.push(format!("{} {}", if holes.len() == 1 { "hole" } else { "holes" }, listed(&holes)));
    }
    all.join(", ")
}

/// Its set and line, and where it is: in the load that it is in, else on its shelf.
fn place(state: &State, part: &FitPart) -> String {
    let mut words = Vec::new();
    if let Some(set) = &part.set {
        words.push(format!("set {set}"));
    }
    if let Some(line) = &part.line {
        let position = part.position.map_or(String::new(), |position| format!(" {position}"));
        words.push(format!("{line}{position}"));
    }
    let asset = part.asset.as_ref().and_then(|asset| state.assets.get(asset));
    match asset.and_then(|asset| asset.in_load.as_ref()) {
        Some(load) => {
            let machine = state.loads.get(load).map(|load| format!(" in {}", load.machine));
            words.push(format!("in load {load}{}", machine.unwrap_or_default()));
        }
        None => words.extend(part.location.clone()),
    }
    if words.is_empty() { "in no set, nowhere put away".into() } else { words.join(", ") }
}

/// What is out at the case itself is no more where it was put away.
pub fn at_case(lines: &mut [PartLine], state: &State, case: Option<&Case>, fit: &Fit) {
    for line in lines {
        let Some(part) = fit.parts.get(line.at) else { continue };
        let Some(asset) = part.asset.as_ref().and_then(|asset| state.assets.get(asset)) else { continue };
        let out = case.and_then(|case| case.parts.get(&asset.asset)).is_some_and(|part| part.out);
        if out && !asset.missing && asset.stage.is_out() {
            line.say = Some(Say::new("out", "turn", "out, at this case"));
            let seat = FitPart { location: Some("at this case".into()), ..part.clone() };
            line.place = place(state, &seat);
        }
    }
}

fn joins(fit: &Fit, part: &FitPart) -> String {
    match (&part.on, &part.through) {
        (Some(on), _) => format!("on {}", end_at(fit, on)),
        (None, Some(through)) => format!("through {}", end_at(fit, through)),
        (None, None) => String::new(),
    }
}

fn have(state: &State, processing: &Processing, now: Time) -> Say {
    match processing.have {
        Have::Ready => Say::new("ready", "ready", "ready"),
        Have::Expected => {
            let at = processing
                .ready_at
                .map_or(String::new(), |at| format!(", expected {}", shared::time(state, at, now)));
            Say::new("turn2", "turn", format!("in reprocessing{at}"))
        }
        Have::NotReady => Say::new("not_ready", "stop", "not ready"),
    }
}

pub fn parts(state: &State, fit: &Fit, now: Time) -> Vec<PartLine> {
    let mut order: Vec<(usize, &FitPart)> = fit.parts.iter().enumerate().collect();
    order.sort_by_key(|(_, part)| part.step);
    let line = |(at, part): (usize, &FitPart)| PartLine {
        step: part.step,
        at,
        name: called(part),
        href: part
            .asset
            .as_ref()
            .map(|asset| format!("/assets/{}", segment(asset.as_str())))
            .unwrap_or_default(),
        family: part.family.words(),
        what: format!("{}: {}", capital(&part.family.words()), part.name),
        mark: part.mark.clone().unwrap_or_default(),
        sizes: sizes(part),
        place: place(state, part),
        joins: joins(fit, part),
        say: part.processing.as_ref().map(|processing| have(state, processing, now)),
        why: part.processing.as_ref().map(|processing| processing.why.clone()).unwrap_or_default(),
        note: match (&part.assembly_note, &part.assembly_edition) {
            (Some(note), Some(edition)) => format!("{note} (instructions, edition {edition})"),
            (Some(note), None) => note.clone(),
            (None, _) => String::new(),
        },
        photo: state
            .model(&part.model)
            .and_then(|model| model.photo())
            .map(|sha| format!("/attachments/{sha}")),
    };
    order.into_iter().map(line).collect()
}

pub fn joints(fit: &Fit) -> Vec<Line> {
    let line = |joint: &crate::domain::fit_part::Joint| Line {
        what: format!("{} on {}", called_at(fit, joint.outer_part), end_at(fit, &joint.inner)),
        words: match (&joint.inner_system, &joint.outer_system) {
            (Some(inner), Some(outer)) if inner == outer => inner.clone(),
            (inner, outer) => {
                let system = |system: &Option<String>| system.clone().unwrap_or_else(|| "not known".into());
                format!("{} to {}", system(outer), system(inner))
            }
        },
        sentence: joint.sentence.clone(),
        say: of_verdict(joint.verdict),
    };
    fit.joints.iter().map(line).collect()
}

pub fn openings(fit: &Fit) -> Vec<Line> {
    let line = |opening: &crate::domain::fit_part::Opening| {
        let mut words = vec![opening.state.told(opening.holes_mm.len())];
        words.extend(opening.by.map(|by| called_at(fit, by)));
        if opening.state == OpeningState::HoledCap && !opening.holes_mm.is_empty() {
            let holes: Vec<String> =
                opening.holes_mm.iter().map(|hole| format!("{} mm", mm(*hole))).collect();
            words.push(listed(&holes));
        }
        if !opening.instruments.is_empty() {
            let through: Vec<String> = opening.instruments.iter().map(|at| called_at(fit, *at)).collect();
            let go = if through.len() == 1 { "goes" } else { "go" };
            words.push(format!("{} {go} in here", listed(&through)));
        }
        Line {
            what: capital(&end_at(fit, &opening.at)),
            words: words.join(", "),
            sentence: opening.sentence.clone(),
            say: match (opening.way_out, opening.gas) {
                (false, _) if opening.state == OpeningState::Jet => Say::plain("gas comes in here (jet)"),
                (false, _) if opening.state == OpeningState::Connector => {
                    Say::plain("the breathing circuit joins here")
                }
                (true, Gas::Open) => Say::new("ready", "ready", "gas leaves here: keep it open"),
                (true, Gas::Closed) => Say::held("declared as the way out, and closed"),
                (true, Gas::NotKnown) => Say::held("declared as the way out, and not known to be open"),
                (false, Gas::Open) => Say::plain("open to the air"),
                (false, Gas::Closed) => Say::plain("closed"),
                (false, Gas::NotKnown) => Say::plain("not known whether it is open"),
            },
        }
    };
    fit.openings.iter().map(line).collect()
}

/// Where gas leaves, in a sentence; none where nothing was declared.
pub fn way_out(fit: &Fit) -> Option<String> {
    let out: Vec<String> = fit
        .openings
        .iter()
        .filter(|opening| opening.way_out)
        .map(|opening| end_at(fit, &opening.at))
        .collect();
    (!out.is_empty()).then(|| format!("Way out: {}. Keep it open.", listed(&out)))
}

/// The parts that are not to be laid out, before everything else that stands against it.
pub fn barred(barred: &[Barred]) -> Vec<Line> {
    let line = |it: &Barred| Line {
        what: it.asset.to_string(),
        words: String::new(),
        sentence: it.sentence.clone(),
        say: Say::held("not to be laid out"),
    };
    barred.iter().map(line).collect()
}

/// The rules of one or several verdicts, in words.
pub fn checks(fit: &Fit, wanted: impl Fn(Verdict) -> bool) -> Vec<Line> {
    let line = |check: &crate::domain::fit::Check| {
        let parts: Vec<String> = check.parts.iter().map(|at| called_at(fit, *at)).collect();
        let numbers = [("found", check.found_mm), ("needed", check.needed_mm), ("to spare", check.spare_mm)];
        let numbers: Vec<String> = numbers
            .iter()
            .filter_map(|(name, number)| number.map(|n| format!("{name} {} mm", mm(n))))
            .collect();
        Line {
            what: listed(&parts),
            words: numbers.join(", "),
            sentence: check.sentence.clone(),
            say: of_verdict(check.verdict),
        }
    };
    fit.checks.iter().filter(|check| wanted(check.verdict)).map(line).collect()
}

/// Who lies in the lumen, or does not, as a clause.
fn lie(parts: &str, count: usize, verdict: Verdict) -> String {
    let (lies, does_not) =
        if count == 1 { ("lies", "does not lie") } else { ("lie together", "do not lie together") };
    match verdict {
        Verdict::Holds | Verdict::Warns => format!("{parts} {lies} in the lumen"),
        Verdict::Fails | Verdict::Stops => format!("{parts} {does_not} in the lumen"),
        Verdict::NotKnown => format!("Not known whether {parts} {lies} in the lumen"),
    }
}

/// What the site's rule keeps free besides what is to spare; nothing where it has no such rule.
fn kept_free(clearance_mm: f64) -> String {
    match clearance_mm > 0.0 {
        true => format!(", {} mm kept free by the site's rule", mm(clearance_mm)),
        false => String::new(),
    }
}

/// What lies together, as a line with its numbers.
pub fn together(fit: &Fit, group: &Together) -> Line {
    let parts: Vec<String> = group.parts.iter().map(|at| called_at(fit, *at)).collect();
    let needed = if (group.needed_high_mm - group.needed_low_mm).abs() < 1e-9 {
        format!("needed are {} mm", mm(group.needed_high_mm))
    } else {
        format!("needed are between {} and {} mm", mm(group.needed_low_mm), mm(group.needed_high_mm))
    };
    let spare = match group.spare_mm {
        spare if spare < 0.0 => format!("{} too narrow", spare_mm(-spare)),
        spare => format!("{} to spare", spare_mm(spare)),
    };
    Line {
        what: lie(&listed(&parts), parts.len(), group.verdict),
        words: format!("{needed}, lumen {} mm{}", mm(group.lumen_mm), kept_free(group.clearance_mm)),
        sentence: capital(&spare),
        say: of_verdict(group.verdict),
    }
}

/// A line of the function check, as the room records it.
pub struct Tick {
    /// What stands in its box: nothing while nobody has told it.
    pub mark: &'static str,
    pub asks: String,
    pub told: String,
    pub failed: bool,
}

/// What is looked at before use: the very lines that the room records, each as it stands.
pub fn before_use(state: &State, case: &Case, now: Time) -> Vec<Tick> {
    let tick = |line: crate::domain::check_lines::AskedLine| {
        let told = stands(state, case, &line.line);
        let asks = match line.asks.is_empty() {
            true => capital(&line.line),
            false => format!("{}: {}", capital(&line.line), line.asks),
        };
        let by = |it: &CheckTold| {
            let on = it.told.asset.as_ref().map_or_else(String::new, |asset| format!(" on {asset}"));
            format!("{}{on}, {} by {}", it.told.result.words(), shared::time(state, it.at, now), it.by)
        };
        Tick {
            mark: match told.map(|it| it.told.result) {
                None => "",
                Some(CheckResult::Passed) => "\u{2713}",
                Some(CheckResult::Failed) => "\u{2717}",
                Some(CheckResult::NotApplicable) => "\u{2013}",
            },
            asks,
            told: told.map(by).unwrap_or_default(),
            failed: told.is_some_and(|it| it.told.result == CheckResult::Failed),
        }
    };
    lines(state, case).into_iter().map(tick).collect()
}
