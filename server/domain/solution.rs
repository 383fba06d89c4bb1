//! The record of a manual disinfection: the solution, its test before use, how long and how warm.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::refusal::{Code, Problem};
use super::state::Asset;
use super::text::{Line, Quantity};
use super::time::{Date, told_day};

/// The test of a solution's strength before use.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StrengthTest {
    Pass,
    Fail,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Solution {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product: Option<Line>,
    pub lot: Line,
    /// The last day on which it is used.
    pub use_by: Date,
    pub strength_test: StrengthTest,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strength_value: Option<Quantity>,
    pub contact_s: Quantity,
    pub temp_c: Quantity,
}

/// What the maker's instructions ask of a manual disinfection, at the least.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DisinfectionInstruction {
    pub contact_s: Quantity,
    pub temp_c: Quantity,
}

impl Solution {
    pub(super) fn whole(&self) -> Result<(), Malformed> {
        for (name, amount) in [("contact_s", self.contact_s), ("temp_c", self.temp_c)] {
            if amount.0 <= Decimal::ZERO {
                return Err(wrong(format!("/solution/{name}"), "found zero or less; it is above zero"));
            }
        }
        Ok(())
    }

    /// The record as a person reads it.
    pub fn told(&self) -> String {
        let product = self.product.as_ref().map(|it| format!("{}, ", it.0)).unwrap_or_default();
        let value = self.strength_value.map(|value| format!(" ({value})")).unwrap_or_default();
        let test = match self.strength_test {
            StrengthTest::Pass => "passed",
            StrengthTest::Fail => "failed",
        };
        format!(
            "solution {product}lot {}, use by {}, strength test {test}{value}, {} s at {} °C",
            self.lot.0,
            told_day(self.use_by),
            self.contact_s,
            self.temp_c
        )
    }
}

/// What the record of a part's manual disinfection has against it. Without a record nothing, but where the site asks
/// for one.
pub(super) fn against(deciding: &Deciding, asset: &Asset, solution: Option<&Solution>) -> Vec<Problem> {
    let called = asset.called();
    let Some(it) = solution else {
        let asked = deciding.state.policy.solution_record;
        let problem = Problem::new(
            Code::NoRecord,
            format!("The manual disinfection of {called} has no record of its solution."),
            "This site asks for its lot, use-by date, strength test, contact time and temperature.",
            "Enter them with the step.",
        );
        return asked.then_some(problem).into_iter().collect();
    };
    let mut problems = Vec::new();
    let mut failed = |found: String, needed: String, next: &str| {
        problems.push(Problem::new(Code::RecordFailed, found, needed, next));
    };
    let anew = "Discard the solution, and disinfect again in a fresh one that passed its test.";
    if it.strength_test == StrengthTest::Fail {
        let found = format!("The strength test of lot {} failed before {called} was put in.", it.lot.0);
        failed(found, "A solution whose strength test passed before use is needed.".into(), anew);
    }
    let today = deciding.at().date(deciding.state.zone);
    if today > it.use_by {
        let found = format!("Lot {} was to be used by {}.", it.lot.0, told_day(it.use_by));
        failed(found, format!("A solution in date on {} is needed.", told_day(today)), anew);
    }
    let instructions = deciding.state.model(&asset.model).and_then(|it| it.processing.disinfection.as_ref());
    if let Some(needed) = instructions {
        let again = "Disinfect it again for the whole time, at the temperature of its instructions.";
        if it.contact_s < needed.contact_s {
            failed(
                format!("{called} was in the solution for {} s.", it.contact_s),
                format!("Its processing instructions ask for {} s at the least.", needed.contact_s),
                again,
            );
        }
        if it.temp_c < needed.temp_c {
            failed(
                format!("The solution of {called} was at {} °C.", it.temp_c),
                format!("Its processing instructions ask for {} °C at the least.", needed.temp_c),
                again,
            );
        }
    }
    problems
}

/// A high-level disinfectant as the guideline's table has it, for comparison with the maker's instructions.
#[derive(Clone, Copy, Debug)]
pub struct PublishedSolution {
    pub name: &'static str,
    pub contact: &'static str,
    pub reuse: &'static str,
    pub least: &'static str,
}

/// CDC Guideline for Disinfection and Sterilization in Healthcare Facilities, 2008, Table 4 (read there).
pub const PUBLISHED: [PublishedSolution; 4] = [
    PublishedSolution {
        name: "Glutaraldehyde, 2 % or more",
        contact: "20 to 90 min at 20 to 25 °C",
        reuse: "14 to 30 days",
        least: "1.5 % or higher",
    },
    PublishedSolution {
        name: "Ortho-phthalaldehyde 0.55 %",
        contact: "12 min at 20 °C; 5 min at 25 °C in a reprocessor",
        reuse: "14 days",
        least: "0.3 %",
    },
    PublishedSolution {
        name: "Hydrogen peroxide 7.5 %",
        contact: "30 min at 20 °C",
        reuse: "21 days",
        least: "6 %",
    },
    PublishedSolution {
        name: "Hydrogen peroxide 7.35 % with peracetic acid 0.23 %",
        contact: "15 min at 20 °C",
        reuse: "14 days",
        least: "",
    },
];
