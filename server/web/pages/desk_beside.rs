//! What the desk's form asks beside the scan: what a pack is wrapped in, the record of a manual disinfection, and the
//! one word for which a pack broke.

use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::desk::Sent;
use super::thing::Thing;
use crate::domain::scan::resolve;
use crate::domain::solution::{PUBLISHED, PublishedSolution};
use crate::domain::state::State;
use crate::domain::step::Broken;
use crate::formats::json::normal;

/// Fields that keep what was typed, so that the next scan takes it along.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct BesideScan {
    pub packaging: String,
    pub solution_product: String,
    pub solution_lot: String,
    pub solution_use_by: String,
    pub solution_strength_test: String,
    pub solution_strength_value: String,
    pub solution_contact_s: String,
    pub solution_temp_c: String,
}

const PACKED: &str = "step:packed";
const BY_HAND: &str = "step:disinfected";

/// What the page shows of it.
pub struct Asks {
    pub packaging: bool,
    pub solution: bool,
    /// The site asks for the record.
    pub solution_needed: bool,
    /// What was scanned is to be disinfected by hand now.
    pub solution_first: bool,
    /// The thing lies in a closed pack: one word says that it broke.
    pub breaks: bool,
    pub filled: BesideScan,
    pub published: &'static [PublishedSolution],
}

impl Asks {
    pub fn of(state: &State, sent: &Sent, step: &str, thing: Option<&Thing>, may_break: bool) -> Asks {
        let offers = |act: &str| {
            thing.is_some_and(|thing| thing.offers.iter().chain(&thing.other_offers).any(|it| it.act == act))
        };
        let does = |act: &str| step == act || (step.is_empty() && offers(act));
        Asks {
            packaging: does(PACKED),
            solution: does(BY_HAND),
            solution_needed: state.policy.solution_record,
            solution_first: step == BY_HAND
                || thing.is_some_and(|thing| thing.offers.first().is_some_and(|it| it.act == BY_HAND)),
            breaks: may_break && step.is_empty() && thing.is_some_and(|thing| thing.in_pack),
            filled: sent.beside.clone(),
            published: &PUBLISHED,
        }
    }
}

/// Adds to a command what was typed beside the scan and belongs to its act.
pub fn with(beside: &BesideScan, act: &str, command: &mut Value) {
    let Value::Object(fields) = command else { return };
    let packaging = beside.packaging.trim();
    if act == PACKED && !packaging.is_empty() {
        fields.insert("packaging".into(), json!(packaging));
    }
    let named = [
        ("product", &beside.solution_product),
        ("lot", &beside.solution_lot),
        ("use_by", &beside.solution_use_by),
        ("strength_test", &beside.solution_strength_test),
        ("strength_value", &beside.solution_strength_value),
        ("contact_s", &beside.solution_contact_s),
        ("temp_c", &beside.solution_temp_c),
    ];
    let typed = named.into_iter().filter(|(_, text)| !text.trim().is_empty());
    let solution: Map<String, Value> =
        typed.map(|(name, text)| (name.to_string(), json!(text.trim()))).collect();
    if act == BY_HAND && !solution.is_empty() {
        fields.insert("solution".into(), Value::Object(solution));
    }
}

/// A pack that broke, told by one scan and one word: the word after the scan, in the same line or in the next. What
/// names a thing of the house is that thing, whatever else it says.
pub fn broken(state: &State, sent: &Sent) -> Option<(String, Broken)> {
    let scan = sent.scan.trim();
    let known = |text: &str| resolve(state, &normal(text)).is_ok();
    if scan.is_empty() || known(scan) {
        return None;
    }
    if let (Some(why), false) = (Broken::from_word(scan), sent.thing.is_empty()) {
        return Some((sent.thing.clone(), why));
    }
    Broken::ALL.into_iter().find_map(|why| {
        let lower = scan.to_ascii_lowercase();
        let words = [why.words().to_string(), why.name().to_string()];
        let word = words.into_iter().find(|word| lower.ends_with(&format!(" {word}")))?;
        let thing = scan.get(..scan.len() - word.len())?.trim();
        known(thing).then(|| (thing.to_string(), why))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    fn said(scan: &str, thing: &str) -> Option<(String, Broken)> {
        let sent = Sent { scan: scan.into(), thing: thing.into(), ..Sent::default() };
        broken(&sample::visitor().state, &sent)
    }

    #[test]
    fn one_word_after_the_scan_breaks_a_pack() {
        let b2 = |why| Some(("B2".to_string(), why));
        assert_eq!(said("wet", "B2"), b2(Broken::Wet));
        assert_eq!(said("Past date", "B2"), b2(Broken::PastDate));
        assert_eq!(said("B2 torn", ""), b2(Broken::Torn));
        assert_eq!(said("B2 past date", "C1"), b2(Broken::PastDate));
        // A word without a thing, another scan, and what is no word for it break nothing.
        for (scan, thing) in [("wet", ""), ("C1", "B2"), ("wetter", "B2"), ("X9 wet", "B2"), ("", "B2")] {
            assert_eq!(said(scan, thing), None, "{scan} {thing}");
        }
    }

    #[test]
    fn the_form_of_a_solution_stands_open_with_what_was_typed() {
        let visitor = sample::visitor();
        let beside = BesideScan { solution_lot: "D-7".into(), ..BesideScan::default() };
        let sent = Sent { step: BY_HAND.into(), beside, ..Sent::default() };
        let page = super::super::desk::DeskPage::of(&visitor, &visitor.state, &sent, None, None);
        let text = sample::show("desk-solution", &page);
        assert!(text.contains("<details open><summary>Record of the solution</summary>"), "{text}");
        assert!(text.contains("value=\"D-7\"") && text.contains("Disinfected is not sterile."), "{text}");
        let thing = super::super::thing::look_up(&visitor.state, "T-0138", visitor.now).ok();
        let page = super::super::desk::DeskPage::of(&visitor, &visitor.state, &Sent::default(), None, thing);
        let text = sample::show("desk-pack", &page);
        assert!(
            text.contains("Type one word and press Enter") && text.contains("value=\"broken:wet\""),
            "{text}"
        );
        // Enter alone presses the first button: where nothing is the obvious act, that looks it up again.
        let form = text.split_once("id=\"desk\"").unwrap().1;
        let first = form.split("<button").nth(1).unwrap();
        assert!(first.starts_with(" class=\"default\""), "{first}");
    }

    #[test]
    fn what_was_typed_goes_with_its_act_only() {
        let beside = BesideScan {
            packaging: " pouch ".into(),
            solution_lot: "L-7".into(),
            solution_contact_s: "720".into(),
            ..BesideScan::default()
        };
        let mut packed = json!({"do": "record_step", "step": "packed", "scan": "B2"});
        with(&beside, PACKED, &mut packed);
        assert_eq!(packed["packaging"], "pouch");
        assert_eq!(packed.get("solution"), None);
        let mut by_hand = json!({"do": "record_step", "step": "disinfected", "scan": "T"});
        with(&beside, BY_HAND, &mut by_hand);
        assert_eq!(by_hand["solution"], json!({"lot": "L-7", "contact_s": "720"}));
        assert_eq!(by_hand.get("packaging"), None);
    }
}
