//! Judges a configuration: every rule looked at, the worst first, and what may be said of the whole.

use super::asset::missing;
use super::case::{Case, Technique};
use super::fit::{
    Answer, Check, Fit, FitPart, Have, Joint, Opening, OpeningState, Processing, Rule, TelescopeAt, Together,
    Verdict,
};
use super::fit_caps::caps;
use super::fit_joint::joints;
use super::fit_layout::Layout;
use super::fit_length::lengths;
use super::fit_lumen::lumen;
use super::fit_openings::{openings, technique};
use super::fit_pair::pairs;
use super::fit_ready::{Needed, processing};
use super::fit_size::{Piece, mm, spare_mm};
use super::fit_wish::as_wished;
use super::model::Port;
use super::setup_sheet::cautions;
use super::state::{Asset, State};
use super::time::Time;

/// What a configuration is judged for.
#[derive(Clone, Copy, Debug)]
pub struct Setting<'a> {
    pub state: &'a State,
    pub now: Time,
    pub technique: Option<Technique>,
    pub case: Option<&'a Case>,
}

impl<'a> Setting<'a> {
    pub fn of_case(state: &'a State, case: &'a Case, now: Time) -> Setting<'a> {
        Setting { state, now, technique: case.technique, case: Some(case) }
    }

    pub fn needed(&self) -> Needed<'a> {
        let by = self.case.map_or(self.now, |case| case.start.max(self.now));
        Needed { now: self.now, by, case: self.case }
    }
}

/// What the rules look at, and what they say of it.
struct Looked {
    joints: Vec<Joint>,
    openings: Vec<Opening>,
    together: Vec<Together>,
    telescopes: Vec<TelescopeAt>,
    checks: Vec<Check>,
}

fn look(setting: &Setting, layout: &Layout) -> Looked {
    let policy = &setting.state.policy;
    let openings = openings(layout, policy);
    let (joints, mut checks) = joints(setting.state, layout);
    checks.extend(technique(layout, policy, &openings, setting.technique));
    checks.extend(caps(layout, policy, &openings));
    let (together, of_lumen) = lumen(layout, policy);
    checks.extend(of_lumen);
    let (telescopes, of_length) = lengths(layout, policy);
    checks.extend(of_length);
    checks.extend(pairs(layout));
    checks.extend(sizes(layout));
    checks.extend(setting.case.map(|case| as_wished(layout, case)).unwrap_or_default());
    Looked { joints, openings, together, telescopes, checks }
}

/// Every rule of a configuration but whether its parts can be had.
pub fn checks(setting: &Setting, layout: &Layout) -> Vec<Check> {
    look(setting, layout).checks
}

/// The answer that follows from rules.
pub fn answer(checks: &[Check]) -> Answer {
    match checks.iter().map(|check| check.verdict).max() {
        None | Some(Verdict::Holds | Verdict::Warns) => Answer::Fits,
        Some(Verdict::NotKnown) => Answer::NotKnown,
        Some(Verdict::Fails) => Answer::DoesNotFit,
        Some(Verdict::Stops) => Answer::Stop,
    }
}

/// The answer by everything but whether its parts can be had, with its sentence.
pub fn verdict(setting: &Setting, layout: &Layout) -> (Answer, String) {
    let Looked { together, mut checks, .. } = look(setting, layout);
    checks.sort_by_key(|check| (std::cmp::Reverse(check.verdict), check.rule));
    let (answer, spare) = (answer(&checks), together.iter().map(|it| it.spare_mm).reduce(f64::min));
    (answer, sentence(answer, &checks, spare))
}

/// The whole answer.
pub fn judge(setting: &Setting, layout: &Layout) -> Fit {
    let Looked { joints, openings: open, together, telescopes, mut checks } = look(setting, layout);
    checks.extend(gone(setting, layout));
    checks.sort_by_key(|check| (std::cmp::Reverse(check.verdict), check.rule));
    let answer = answer(&checks);
    let steps = steps(layout, &open);
    let parts: Vec<FitPart> =
        (0..layout.pieces.len()).filter_map(|n| part(setting, layout, n, &steps)).collect();
    let have = parts.iter().map(|part| part.processing.as_ref().map(|it| it.have)).max().flatten();
    let spare = together.iter().map(|it| it.spare_mm).reduce(f64::min);
    let mut sentence = sentence(answer, &checks, spare);
    if answer == Answer::Fits && together.len() > 1 {
        let groups: Vec<String> = together.iter().map(|group| names(layout, group)).collect();
        sentence.push_str(&format!(" In the lumen in turn, never at once: {}.", groups.join("; or ")));
    }
    if let Some(why) = not_ready(setting, &parts).filter(|_| answer == Answer::Fits) {
        sentence = format!("{why} {}", sentence.replacen("It fits", "By its sizes it would fit", 1));
    }
    Fit {
        answer,
        sentence,
        technique: setting.technique,
        cautions: cautions(setting.technique, layout.pieces.iter().map(Piece::family)),
        parts,
        joints,
        openings: open,
        together,
        telescopes,
        checks,
        have,
    }
}

fn names(layout: &Layout, group: &Together) -> String {
    let all: Vec<String> = group.parts.iter().map(|n| layout.called_whole(*n)).collect();
    all.join(" with ")
}

/// What is not accounted for or out of service for good is put together with nothing, but where it is at the case.
fn gone(setting: &Setting, layout: &Layout) -> Vec<Check> {
    let here = |asset: &Asset| {
        setting.case.is_some_and(|case| case.parts.get(&asset.asset).is_some_and(|part| part.out))
    };
    let mut checks = Vec::new();
    for (n, piece) in layout.pieces.iter().enumerate() {
        let Some(asset) = piece.asset.filter(|asset| !here(asset)) else { continue };
        let sentence = match (asset.retired.is_some(), asset.missing) {
            (true, _) => format!("{} is retired.", layout.called(n)),
            (false, true) => missing(setting.state, asset).found,
            (false, false) => continue,
        };
        checks.push(Check::of(Rule::Complete, Verdict::Fails, vec![n], sentence));
    }
    checks
}

/// That parts are not there when the case begins, the one that nobody can expect first, then the one that comes last.
fn not_ready(setting: &Setting, parts: &[FitPart]) -> Option<String> {
    setting.case.filter(|case| case.is_open())?;
    let all = parts.iter().filter_map(|part| part.processing.as_ref());
    let mut all: Vec<&Processing> = all.filter(|it| it.have == Have::NotReady).collect();
    all.sort_by_key(|it| (it.ready_at.is_some(), std::cmp::Reverse(it.ready_at)));
    let first = all.first()?.why.join(" ");
    let more = match all.len() {
        1 => String::new(),
        2 => " One more part is not ready.".into(),
        n => format!(" {} more parts are not ready.", n - 1),
    };
    Some(format!("Not ready. {}{more}", begun(&first)))
}

/// A sentence behind another begins with a capital, unless it begins with a name, which stays as it is.
pub fn begun(sentence: &str) -> String {
    let first = sentence.split(' ').next().unwrap_or_default();
    let mut letters = sentence.chars();
    match (first.chars().all(|letter| letter.is_ascii_lowercase()), letters.next()) {
        (true, Some(letter)) => letter.to_uppercase().chain(letters).collect(),
        _ => sentence.to_string(),
    }
}

/// The worst fact first.
fn sentence(answer: Answer, checks: &[Check], spare: Option<f64>) -> String {
    let worst = checks.first().map(|check| begun(&check.sentence)).unwrap_or_default();
    let others = checks.iter().skip(1).filter(|check| check.verdict > Verdict::Warns).count();
    let more = match others {
        0 => String::new(),
        1 => " One more thing stands against it.".into(),
        n => format!(" {n} more things stand against it."),
    };
    match answer {
        Answer::Fits => {
            let spare = spare
                .map_or_else(String::new, |spare| format!(" with {} to spare in the lumen", spare_mm(spare)));
            let warned = checks.first().filter(|check| check.verdict == Verdict::Warns);
            let look = warned.map_or_else(String::new, |check| format!(" Look first: {}", check.sentence));
            format!("It fits{spare}.{look}")
        }
        Answer::NotKnown => format!("Fit not known. {worst}{more}"),
        Answer::DoesNotFit => format!("It does not fit. {worst}{more}"),
        Answer::Stop => format!("Stop. {worst}{more}"),
    }
}

fn part(setting: &Setting, layout: &Layout, n: usize, steps: &[usize]) -> Option<FitPart> {
    let piece = layout.pieces.get(n)?;
    let (state, asset) = (setting.state, piece.asset);
    let seat = asset.and_then(|asset| asset.seat.as_ref());
    let assembly = piece.model.assembly.as_ref();
    Some(FitPart {
        asset: asset.map(|asset| asset.asset.clone()),
        mark: asset.and_then(|asset| asset.mark.as_ref()).map(|mark| mark.0.clone()),
        model: piece.model.model.clone(),
        name: piece.model.name.0.clone(),
        family: piece.family(),
        step: steps.iter().position(|at| *at == n).map_or(0, |at| at + 1),
        assembly_note: assembly.and_then(|it| it.note.as_ref()).map(|note| note.0.clone()),
        assembly_edition: assembly.and_then(|it| it.edition.as_ref()).map(|edition| edition.0.clone()),
        sizes: piece.sizes(),
        on: layout.mount(n).map(|mount| layout.end_at(mount.on)),
        through: layout.entry(n).map(|end| layout.end_at(end)),
        set: seat.map(|seat| seat.set.clone()),
        line: seat.map(|seat| seat.line.clone()),
        position: seat.map(|seat| seat.position),
        location: asset.and_then(|asset| asset.location.as_ref()).map(|at| at.0.clone()),
        processing: asset.map(|asset| processing(state, asset, setting.needed())),
    })
}

/// The parts in the order in which they go on: the chain from the connector to the barrel, then what sits on the rest,
/// then what goes in; refined by what the site entered from its makers' instructions.
fn steps(layout: &Layout, openings: &[Opening]) -> Vec<usize> {
    let by = |state: OpeningState| {
        openings.iter().find(|opening| opening.state == state).and_then(|opening| opening.by)
    };
    let in_line = openings.iter().find(|opening| opening.port == Port::Proximal).map(|it| it.at.part);
    let first = by(OpeningState::Connector).or_else(|| by(OpeningState::Jet)).or(in_line).unwrap_or(0);
    let mut chain = vec![first];
    let mut at = first;
    while let Some(mount) = layout.mount(at).filter(|_| chain.len() <= layout.pieces.len()) {
        at = mount.on.0;
        chain.push(at);
    }
    let instrument = |n: usize| layout.pieces.get(n).is_some_and(|piece| piece.family().is_instrument());
    let all = 0..layout.pieces.len();
    chain.extend(all.clone().filter(|n| !instrument(*n) && layout.is_joined(*n)));
    chain.extend(all.clone().filter(|n| instrument(*n)));
    chain.extend(all);
    let mut seen = std::collections::BTreeSet::new();
    chain.retain(|n| seen.insert(*n));
    let order = |at: usize, n: usize| {
        let assembly = layout.pieces.get(n).and_then(|piece| piece.model.assembly.as_ref());
        assembly.and_then(|it| it.order).map_or(at as u64 + 1, u64::from)
    };
    let mut ordered: Vec<(u64, usize)> =
        chain.iter().enumerate().map(|(at, n)| (order(at, *n), *n)).collect();
    ordered.sort_by_key(|(order, _)| *order);
    ordered.into_iter().map(|(_, n)| n).collect()
}

/// Whether the sizes that were entered can be true.
fn sizes(layout: &Layout) -> Vec<Check> {
    let mut checks = Vec::new();
    let mut say = |verdict: Verdict, part: usize, sentence: String| {
        checks.push(Check::of(Rule::Sizes, verdict, vec![part], sentence));
    };
    for (n, piece) in layout.pieces.iter().enumerate() {
        let sizes = &piece.model.dimensions;
        let called = piece.called();
        if let (true, Some(inner), Some(outer)) =
            (piece.family().is_barrel(), sizes.inner_diameter_mm, sizes.outer_diameter_mm)
            && inner >= outer
        {
            let sentence = format!(
                "{called}: an inner diameter of {inner} mm and an outer of {outer} mm can't both be true."
            );
            say(Verdict::NotKnown, n, sentence);
        }
        if piece.family().is_barrel()
            && sizes.nominal.is_some()
            && sizes.nominal == sizes.inner_diameter_mm
            && piece.measured().is_none_or(|it| it.inner_diameter_mm.is_none())
        {
            let sentence = format!(
                "{called}: the inner diameter is the same number as the nominal label. A label is no diameter: measure it."
            );
            // With an outer diameter beside it the inner one may be true after all.
            let is_alone = sizes.outer_diameter_mm.is_none();
            say(if is_alone { Verdict::NotKnown } else { Verdict::Warns }, n, sentence);
        }
        let measured = piece.measured().and_then(|it| it.hole_diameters_mm.as_ref()).map(Vec::len);
        let stated = sizes.hole_diameters_mm.as_ref().map(Vec::len);
        if let (Some(measured), Some(stated)) = (measured, stated)
            && measured != stated
        {
            let sentence = format!("{called} is stated with {stated} and measured with {measured} holes.");
            say(Verdict::NotKnown, n, sentence);
        }
        if let (true, Some(french), Some(named)) = (
            piece.family().is_instrument(),
            sizes.french,
            sizes.shaft_diameter_mm.or(sizes.outer_diameter_mm),
        ) && french.0 != named.0 * rust_decimal::Decimal::from(3)
        {
            let sentence = format!(
                "{called}: two diameters are entered, {named} mm and {french} Fr ({}). The wider one is used.",
                mm(french.f64() / 3.0)
            );
            say(Verdict::Warns, n, sentence);
        }
    }
    checks
}

/// Whether nothing stands against having all its parts.
pub fn all_can_be_had(fit: &Fit) -> bool {
    fit.have.is_none_or(|have| have < Have::NotReady)
}
