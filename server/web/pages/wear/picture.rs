//! A model's lives as a picture, with the table of what is drawn.

use super::survival::{FEW_AT_RISK, Lives, Seen, Size, svg};
use super::words;
use crate::analysis::life::Curve;
use crate::analysis::life::kaplan_meier::Step;
use crate::domain::model::Family;
use crate::domain::outlook::Outlook;
use crate::web::pages::shared::capital;

/// A row of the table: an age at which something failed.
pub struct Row {
    pub age: String,
    pub at_risk: u64,
    pub failed: u64,
    pub whole: String,
    pub range: String,
    pub few: bool,
}

pub struct Picture {
    pub page: String,
    pub phone: String,
    /// What the picture says, as sentences.
    pub told: String,
    pub rows: Vec<Row>,
    pub start: Option<String>,
    pub fitted: bool,
    pub dashed: bool,
}

fn share(share: f64) -> String {
    format!("{:.0}", share * 100.0)
}

fn seen(step: &Step) -> Seen {
    Seen {
        age: step.age,
        at_risk: step.at_risk,
        whole: step.survival,
        low: step.low.unwrap_or(0.0),
        // Once nothing is whole there is no range; what stands is the step itself.
        high: step.high.unwrap_or(step.survival),
    }
}

fn row(step: &Step) -> Row {
    Row {
        age: format!("{:.0}", step.age),
        at_risk: step.at_risk,
        failed: step.events,
        whole: share(step.survival),
        range: match (step.low, step.high) {
            (Some(low), Some(high)) => format!("{} to {}", share(low), share(high)),
            _ => "no range: none was left".into(),
        },
        few: step.at_risk < FEW_AT_RISK,
    }
}

/// What the picture says to whoever does not see it.
fn told(outlook: &Outlook, curve: &Curve, family: Option<Family>) -> String {
    let mut said = vec![match curve.steps.last() {
        None => format!(
            "All {} are whole up to {}.",
            words::counted(outlook.units(), family),
            words::ages(outlook.oldest, outlook.clock())
        ),
        Some(last) => format!(
            "Of 100 such {}, {} are still whole at {}, the age of the last failure that was seen.",
            words::kind(family, true),
            share(last.survival),
            words::aged(&format!("{:.0}", last.age), outlook.clock())
        ),
    }];
    if let Some(age) = curve.median().age {
        said.push(format!(
            "Half of them have failed by {}.",
            words::aged(&format!("{age:.0}"), outlook.clock())
        ));
    }
    if outlook.law.is_ok() {
        said.push("A smooth line shows the fitted law, dotted beyond the oldest age that was seen.".into());
    }
    said.join(" ")
}

impl Picture {
    pub fn of(outlook: &Outlook, curve: &Curve, family: Option<Family>, limit: Option<u32>) -> Picture {
        let pieces = &outlook.lives.pieces;
        let start = curve.start_from.unwrap_or(0.0);
        let law = outlook.law.as_ref().ok();
        let at_start = law.map_or(1.0, |law| law.survival(start));
        let conditional = |age: f64| law.map_or(f64::NAN, |law| law.survival(age) / at_start);
        let ages = |of: &dyn Fn(&crate::domain::lifetime::Piece) -> bool| -> Vec<f64> {
            pieces.iter().filter(|piece| of(piece)).map(|piece| f64::from(piece.age)).collect()
        };
        let lives = Lives {
            steps: curve.steps.iter().map(seen).collect(),
            start,
            oldest: f64::from(outlook.oldest),
            law: law.is_some().then_some(&conditional),
            left: ages(&|piece| piece.retired.is_some() && piece.failed.is_none()),
            now: ages(&|piece| piece.in_service()),
            spans: pieces.iter().map(|piece| (f64::from(piece.entry), f64::from(piece.age))).collect(),
            limit: limit.map(f64::from),
            unit: outlook.clock().name(),
        };
        let told = told(outlook, curve, family);
        let title = format!("How long {} last", words::kind(family, true));
        Picture {
            page: svg(&lives, Size::Page, "lives", &capital(&title), &told),
            phone: svg(&lives, Size::Phone, "lives-phone", &capital(&title), &told),
            told,
            rows: curve.steps.iter().map(row).collect(),
            start: curve.start_from.map(|age| words::aged(&format!("{age:.0}"), outlook.clock())),
            fitted: law.is_some(),
            dashed: curve.steps.last().is_some_and(|step| step.at_risk < FEW_AT_RISK) || pieces.len() < 10,
        }
    }
}
