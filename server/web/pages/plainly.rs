//! What the reader of a command found wrong, as a person at a form understands it; and the choices that a field has.

use super::shared::capital;
use crate::domain::immediate_use::Indication;
use crate::domain::shelf::StockWhy;
use crate::domain::stranger::StrangerKind;

/// The words between backticks, as people say them.
fn quoted(detail: &str) -> Vec<String> {
    detail.split('`').skip(1).step_by(2).map(|word| word.replace('_', " ")).collect()
}

/// Why a field was not understood, without the words of the interface for programs.
pub fn detail(detail: &str) -> String {
    let told = detail.split(" at line ").next().unwrap_or(detail).trim_end_matches('.');
    let words = quoted(told);
    if told.starts_with("unknown variant") {
        return match words.split_first() {
            Some((found, needed)) if !needed.is_empty() => {
                format!("found \"{found}\"; one of these is needed: {}", needed.join(", "))
            }
            _ => "found something that is none of its choices".into(),
        };
    }
    if told.starts_with("unknown field") {
        return "there is no such field here".into();
    }
    let told = told.replace("found null;", "found nothing;").replace("found the text ", "found ");
    let told = told.replace("; true or false is needed", "; yes or no is needed");
    let told = told.replace("a number or a text such as \"5.5\"", "a number such as 5.5");
    match told.strip_prefix("missing; ") {
        Some(why) => format!("left empty; {why}"),
        None => told,
    }
}

/// What a field may be, where it is one of a few: each as it is sent, and as people say it.
pub type Options = Vec<(&'static str, String)>;

type Few = &'static [(&'static str, &'static str)];

const RESULTS: Few = &[("pass", "passed"), ("fail", "failed")];
const AFTER: Few = &[
    ("minor", "Something minor"),
    ("installed", "Installation"),
    ("relocated", "Relocation"),
    ("major_repair", "Major repair"),
    ("failure", "Sterilisation failure"),
];
const INDICATORS: Few =
    &[("chemical", "Chemical"), ("biological", "Biological"), ("biological_control", "Biological control")];
const HOLDS: Few = &[("quality", "quality"), ("repair", "repair"), ("recall", "recall"), ("prion", "prion")];
const MACHINES: Few = &[
    ("washer_disinfector", "washer-disinfector"),
    ("steriliser", "steriliser"),
    ("ultrasonic", "ultrasonic bath"),
    ("drying_cabinet", "drying cabinet"),
];
const METHODS: Few = &[
    ("machine", "washing in a machine"),
    ("steam", "steam"),
    ("hydrogen_peroxide", "hydrogen peroxide"),
    ("ethylene_oxide", "ethylene oxide"),
];
const CHEMICAL: Few = &[("none", "none"), ("each_load", "in each load"), ("each_pack", "in each pack")];
const BIOLOGICAL: Few = &[("none", "none"), ("each_load", "in each load"), ("periodic", "at intervals")];
const SEVERITIES: Few = &[("note", "note"), ("watch", "watch it"), ("stop", "stop: not to be used")];

const LOANS: Few = &[("loan", "a loan"), ("trial", "on trial")];

/// The choices of a field of a command, by its last name.
pub fn options(command: &str, field: &str) -> Options {
    let plain = field.split(':').next().unwrap_or(field);
    let last = plain.rsplit('.').next().unwrap_or(plain);
    let few = match (command, last) {
        ("receive_stranger", "kind") => {
            return StrangerKind::ALL.map(|it| (it.name(), it.words().to_string())).into();
        }
        ("stock_out", "why") => return StockWhy::ALL.map(|it| (it.name(), it.words().to_string())).into(),
        ("start_load", "indication") => {
            return Indication::ALL.map(|it| (it.name(), capital(it.words()))).into();
        }
        ("record_indicator", "result") => RESULTS,
        ("record_indicator", "indicator") => INDICATORS,
        ("machine_back", "after") => AFTER,
        ("hold", "kind") => HOLDS,
        ("define_machine", "kind") => MACHINES,
        ("define_machine", "method") => METHODS,
        ("define_machine", "chemical") => CHEMICAL,
        ("define_machine", "biological") => BIOLOGICAL,
        ("report_finding", "severity") => SEVERITIES,
        ("arrive", "kind") => LOANS,
        _ => &[],
    };
    few.iter().map(|(value, words)| (*value, words.to_string())).collect()
}

/// The name under which a form sends a field that was left empty, as its pointer names it.
pub fn field_of(pointer: &str) -> String {
    let name = pointer.trim_start_matches('/').replace('/', ".");
    let last = name.rsplit('.').next().unwrap_or_default();
    match last {
        "passed" | "complete" | "failure" | "decontaminated" => format!("{name}:bool"),
        "position" | "minutes" => format!("{name}:int"),
        "scan" => format!("{name}:lines"),
        _ => name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_found_is_told_without_the_words_of_programs() {
        for (told, expected) in [
            (
                "unknown variant `chem`, expected one of `chemical`, `biological_control`",
                "found \"chem\"; one of these is needed: chemical, biological control",
            ),
            ("found the text \"x\"; a whole number is needed", "found \"x\"; a whole number is needed"),
            ("found null; true or false is needed", "found nothing; yes or no is needed"),
            (
                "found no decimal number; a number or a text such as \"5.5\" is needed",
                "found no decimal number; a number such as 5.5 is needed",
            ),
            ("missing; a hold needs the band", "left empty; a hold needs the band"),
            ("unknown field `colour`, expected `a`", "there is no such field here"),
        ] {
            assert_eq!(detail(told), expected);
        }
        assert_eq!(field_of("/programmes/0/method"), "programmes.0.method");
        assert_eq!(options("define_machine", "programmes.0.method").len(), 4);
    }
}
