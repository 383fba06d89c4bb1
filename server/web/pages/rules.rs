//! What a code means that stands beside an entry: what took place although a rule speaks against it, in a sentence.

use serde::Deserialize;
use serde::de::IntoDeserializer;
use serde::de::value::{Error, StrDeserializer};

use crate::domain::command::LateCause;
use crate::domain::odd::Way;
use crate::domain::refusal::Code;

fn read<'de, T: Deserialize<'de>>(name: &'de str) -> Option<T> {
    let it: StrDeserializer<'de, Error> = name.into_deserializer();
    T::deserialize(it).ok()
}

/// The sentence of a rule that was set aside or broken, or of the cause for which something was told late.
pub fn told(way: Way, code: &str) -> String {
    let known = match way {
        Way::Late => read(code).map(late),
        Way::Override | Way::Deviation => read(code).map(rule),
    };
    known.map_or_else(|| code.replace('_', " "), str::to_string)
}

fn late(cause: LateCause) -> &'static str {
    match cause {
        LateCause::Downtime => "The system could not be used; it was entered afterwards, from paper.",
        LateCause::Forgotten => "It was forgotten, and entered afterwards.",
        LateCause::WrongThing => "Something wrong was recorded first; this is what took place.",
    }
}

fn rule(code: Code) -> &'static str {
    match code {
        Code::UnknownThing => "Something was named that nobody knows here.",
        Code::AmbiguousScan => "A scan named two things.",
        Code::InTheFuture => "A time was told that had not come yet.",
        Code::TooLate => "Something later was recorded already.",
        Code::AlreadyDone => "It was recorded already.",
        Code::Retired => "A part was handled that is retired.",
        Code::Missing => "A part was handled that is not accounted for.",
        Code::NameTaken => "A name was given that is taken.",
        Code::SingleUse => "A part for single use went on after its use.",
        Code::Held => "A part on hold was issued, opened, used or taken further.",
        Code::InRepair => "A part that is away for repair was handled.",
        Code::PromisedElsewhere => "What was kept for another case was taken.",
        Code::ReserveWouldBeUndercut => "The reserve for emergencies fell below its minimum.",
        Code::OutOfOrder => "A step was left out, or came before its turn.",
        Code::InLoad => "A part was handled while it was in a load.",
        Code::MachineNotReady => "A machine was used that was not ready.",
        Code::ProgrammeUnsuitable => "A programme ran that does not suit every part in the load.",
        Code::NoRecord => "A load had no readable cycle record.",
        Code::RecordFailed => "The record of a load does not meet its programme.",
        Code::IndicatorMissing => "An indicator was not read.",
        Code::IndicatorFailed => "An indicator failed.",
        Code::SamePerson => "One person alone started the load and released it.",
        Code::StillCooling => "Something sterile was taken while it was still cooling.",
        Code::PastDate => "Something was opened, used or issued after its sterile date.",
        Code::NotComplete => "Something was less than whole: a set, a loan, or what lay on the shelf.",
        Code::LineFull => "More parts lay on a line of a set than its count sheet says.",
        Code::NotOnSheet => "A part lay in a set whose count sheet does not name it.",
        Code::NotFitting => "Parts were put together that do not fit.",
        Code::LimitReached => "A part was taken further beyond the limit of its maker.",
        Code::CountOpen => "A count was still open.",
        Code::NeedsReason => "No reason was given.",
        Code::NotLast => "Something was recorded after it.",
        Code::StillReferenced => "Something else still rests on it.",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_is_a_sentence_and_never_the_raw_word() {
        for (way, code) in [
            (Way::Override, "same_person"),
            (Way::Deviation, "out_of_order"),
            (Way::Deviation, "held"),
            (Way::Late, "downtime"),
            (Way::Late, "wrong_thing"),
        ] {
            let told = told(way, code);
            assert!(told.ends_with('.') && !told.contains('_') && told.len() > 20, "{code}: {told}");
        }
        assert_eq!(told(Way::Override, "same_person"), "One person alone started the load and released it.");
        assert_eq!(told(Way::Deviation, "of_another_release"), "of another release");
    }
}
