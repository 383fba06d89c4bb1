//! The words of acts: what a command is called on a button, and what stands behind its short names.

/// The caution of every count that is not complete.
pub const NOT_BACK: &str =
    "Not accounted for: search, tell the surgeon, image by local policy, before the patient leaves.";
/// The same behind a sentence that says what is not accounted for.
pub const SEARCH: &str = "Search, tell the surgeon, image by local policy, before the patient leaves.";

/// What is said at the sink of anything with a prion risk.
pub const PRION: &str = "Do not wash. Seal, label, lock, call infection prevention.";

/// What the command does, as it stands on a button.
pub fn command(name: &str) -> String {
    let words = match name {
        "define_route" => "Define a route",
        "define_model" => "Define a model",
        "define_count_sheet" => "Define a count sheet",
        "set_policy" => "Set a policy",
        "set_reserve" => "Set a reserve",
        "define_machine" => "Define a machine",
        "machine_out" => "Take a machine out of service",
        "machine_back" => "Put a machine back in service",
        "record_machine_test" => "Record a machine test",
        "define_record_form" => "Save the record form",
        "add_asset" => "Add a part",
        "put_away" => "Put away",
        "retire" => "Retire a part",
        "build_set" => "Build a set",
        "put_in_set" => "Put in the set",
        "take_from_set" => "Take out of the set",
        "replace" => "Replace a part",
        "hold" => "Place on hold",
        "lift_hold" => "Lift the hold",
        "dedicate" => "Keep for one patient alone",
        "record_step" => "Record a step",
        "inspect" => "Record an inspection",
        "pack_broken" => "Record a broken pack",
        "start_load" => "Start a load",
        "judge_load" => "Enter the cycle record",
        "record_indicator" => "Record an indicator",
        "release_load" => "Release the load",
        "reject_load" => "Reject the load",
        "recall" => "Recall what came from a machine",
        "narrow_recall" => "Narrow the recall",
        "answer_recall" => "Answer for the recall",
        "close_recall" => "Close the recall",
        "countersign" => "Countersign the release",
        "clear_flag" => "Clear the flag",
        "found" => "Record it as found",
        "plan_case" => "Plan the case",
        "change_case" => "Change the case",
        "cancel_case" => "Cancel the case",
        "promise" => "Keep the set for the case",
        "withdraw_promise" => "Keep the set for it no longer",
        "issue" => "Issue",
        "open" => "Record it as opened",
        "use" => "Record it as used",
        "close_count" => "Close the count",
        "record_check" => "Record the function check",
        "record_count" => "Record a count",
        "report_missing" => "Report it as not accounted for",
        "close_missing" => "Name the outcome of the search",
        "report_finding" => "Report a defect",
        "withdraw_finding" => "Withdraw a defect report",
        "add_photo" => "Add a picture to a defect report",
        "back_from_repair" => "Record it as back from repair",
        "open_look_back" => "Open a look-back",
        "close_look_back" => "Close the look-back",
        "map_procedure" => "Say what a procedure needs",
        "apply_procedures" => "Give cases what their procedures need",
        "keep_schedule_message" => "Keep a message of the schedule",
        "settle_schedule_message" => "Settle a message of the schedule",
        "send_request" => "Ask the desk",
        "answer_request" => "Answer the request",
        "withdraw_request" => "Take the request back",
        "set_alert" => "Set a rule of alerts",
        "drop_alert" => "Drop a rule of alerts",
        "erase_patient" => "Erase a patient's reference",
        other => return of_paper(other),
    };
    words.to_string()
}

/// Of paper, and of what was scanned for another.
fn of_paper(name: &str) -> String {
    let words = match name {
        "print_sheets" => "Number sheets of paper",
        "void_sheet" => "Say that a sheet is void",
        "finish_sheet" => "Say that a sheet is entered",
        "report_wrong_thing" => "Say that another thing was meant",
        "settle_wrong_thing" => "Settle what was scanned",
        other => return of_visits(other),
    };
    words.to_string()
}

/// Of what comes and goes, of the shelf, and of what is signed.
fn of_visits(name: &str) -> String {
    let words = match name {
        "arrive" => "Take in a loan",
        "leave" => "Send a loan back",
        "receive_stranger" => "Give a stranger its tag",
        "tell_owner" => "Record that the owner was told",
        "settle_stranger" => "Say what became of the stranger",
        "identity_doubt" => "Say that parts may be mixed up",
        "settle_identity" => "Say which part is which",
        "stock_in" => "Take in for the shelf",
        "stock_out" => "Take off the shelf",
        "use_stock" => "Record as used of the shelf",
        "set_stock_minimum" => "Set the minimum of the shelf",
        "take_over" => "Take over the shift",
        "review_exceptions" => "Sign for the exceptions",
        other => return super::shared::capital(&other.replace('_', " ")),
    };
    words.to_string()
}

/// Why a part is due, in words.
pub fn due(why: &str) -> String {
    match why {
        "max_cycles" => "steriliser cycles, the maker's limit".into(),
        "max_uses" => "uses, the maker's limit".into(),
        "inspect_every_cycles" => "cycles since its last inspection".into(),
        "inspect_every_days" => "days since its last inspection".into(),
        other => other.replace('_', " "),
    }
}

/// A form field's label, from its name: "programmes.0.band_c" is programme 1's band.
pub fn field(name: &str) -> String {
    let plain = name.split(':').next().unwrap_or(name);
    let parts: Vec<&str> = plain.split(['.', '/']).filter(|part| !part.is_empty()).collect();
    if let Some(words) = within(&parts) {
        return words.into();
    }
    let numbered = parts.iter().zip(parts.iter().skip(1)).find_map(|(list, number)| {
        let number = number.parse::<usize>().ok()?;
        let one = list.strip_suffix('s').unwrap_or(list).replace('_', " ");
        Some(format!("{} {}", super::shared::capital(&one), number + 1))
    });
    match (numbered, parts.last().copied().unwrap_or_default()) {
        (Some(one), last) if last.parse::<usize>().is_ok() => one,
        (Some(one), last) => format!("{one}: {}", small(&label(last))),
        (None, last) => label(last),
    }
}

/// What a field is called that says something else here than its last name alone.
fn within(parts: &[&str]) -> Option<&'static str> {
    Some(match parts {
        ["immediate_use", "case"] => "Case that needs it now",
        ["immediate_use", "indication"] => "Indication for immediate use",
        ["immediate_use", "reason"] => "Why it is for immediate use, in words",
        ["risk", "person"] => "Who answers for the risk",
        ["risk", "reason"] => "Why it is taken in without instructions",
        ["set", "set"] => "Code of the set",
        ["set", "count_sheet"] => "Count sheet of the set",
        ["not_decontaminated"] => "Why it goes without being decontaminated",
        ["labelled_decontaminated"] => "Its label says that it is decontaminated",
        ["from"] => "Who lends it",
        ["pieces"] => "Pieces on the lender's list",
        ["due_back"] => "Day on which it is due back",
        ["instructions"] => "Processing instructions that came with it",
        ["handed_over_by"] => "Who handed over",
        ["looks"] => "What it looks like",
        _ => return None,
    })
}

/// Within a sentence a label begins small; a name of letters and digits stays as it is.
fn small(label: &str) -> String {
    let mut letters = label.chars();
    match (letters.next(), letters.next()) {
        (Some(first), Some(next)) if next.is_lowercase() || next == ' ' => {
            first.to_lowercase().chain(label.chars().skip(1)).collect()
        }
        _ => label.into(),
    }
}

fn label(name: &str) -> String {
    let words = match name {
        "programme" => "Name of the programme",
        "air_removal_test" => "Needs the air-removal test of the test day",
        "chemical" => "Chemical indicator",
        "biological" => "Biological indicator",
        "after" => "After what",
        "note" => "What was done",
        "outcome" => "What was done",
        "value" => "Value",
        "record" => "Record",
        "min_c" => "Lowest temperature in °C",
        "max_c" => "Highest temperature in °C",
        "band_c" => "Band from, in °C",
        "hold_s" => "Hold in s",
        "a0_s" => "A0 in s",
        "cooling_s" => "Cooling in s",
        "aeration_s" => "Aeration in s",
        "repeat_because" => "Wrong set-up, for which the test is repeated",
        "ambient_kpa" => "Ambient pressure in kPa",
        "cycle_no" => "Cycle number of the machine",
        "scan" => "Scan",
        "passed" => "Result",
        "cost_cents" => "Cost",
        "second_reader" => "Second reader",
        "photo" => "Picture of the printout, by its SHA-256",
        "minutes" => "Length in minutes",
        "needs" => "Count sheet that it needs",
        "patient" => "Patient's reference",
        "pack_intact" => "Was the pack intact?",
        "person" => "Who says so",
        "what" => "What is wrong with it",
        other => return super::shared::capital(&other.replace('_', " ")),
    };
    words.to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_says_which_row_it_belongs_to() {
        assert_eq!(field("programmes.0.hold_s"), "Programme 1: hold in s");
        assert_eq!(field("/lines/2/essential"), "Line 3: essential");
        assert_eq!(field("steps.8:step"), "Step 9");
        assert_eq!(field("readings.min_c"), "Lowest temperature in °C");
    }
}
