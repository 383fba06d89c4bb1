//! The phases of a cycle as they are named in the picture and below it.

use super::super::told_time::lasting;
use super::axis::clock;
use crate::analysis::phases::{Phase, PhaseKind};

/// A part of the cycle with its name. The pulses of a pre-vacuum are one.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Counted from 1; it stands in the picture where the name has no room.
    pub number: usize,
    pub name: String,
    pub start_s: f64,
    pub end_s: f64,
}

impl Stretch {
    pub fn from(&self) -> String {
        clock(self.start_s, 1.0)
    }

    pub fn to(&self) -> String {
        clock(self.end_s, 1.0)
    }

    pub fn lasted(&self) -> String {
        lasting(self.end_s - self.start_s)
    }

    pub fn sentence(&self) -> String {
        format!("{} from {} to {}", self.name, self.from(), self.to())
    }
}

pub fn stretches(phases: &[Phase]) -> Vec<Stretch> {
    let mut found: Vec<Stretch> = Vec::new();
    let mut pulses = 0;
    for phase in phases {
        let name = match phase.kind {
            PhaseKind::PreVacuum { .. } => "pre-vacuum",
            PhaseKind::Heating => "heating",
            PhaseKind::Hold => "hold",
            PhaseKind::Exhaust => "exhaust",
            PhaseKind::Drying => "drying",
            PhaseKind::Cooling => "cooling",
        };
        match (phase.kind, found.last_mut()) {
            (PhaseKind::PreVacuum { .. }, Some(last)) if pulses > 0 => {
                pulses += 1;
                last.end_s = phase.end_s;
                last.name = format!("pre-vacuum, {pulses} pulses");
            }
            (kind, _) => {
                pulses = u32::from(matches!(kind, PhaseKind::PreVacuum { .. }));
                let number = found.len() + 1;
                found.push(Stretch { number, name: name.into(), start_s: phase.start_s, end_s: phase.end_s });
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_pulses_of_a_pre_vacuum_are_one_stretch() {
        let pulse =
            |pulse, start_s| Phase { kind: PhaseKind::PreVacuum { pulse }, start_s, end_s: start_s + 60.0 };
        let heating = Phase { kind: PhaseKind::Heating, start_s: 130.0, end_s: 300.0 };
        let told: Vec<String> =
            stretches(&[pulse(1, 0.0), pulse(2, 65.0), heating]).iter().map(Stretch::sentence).collect();
        assert_eq!(told, ["pre-vacuum, 2 pulses from 0:00 to 2:05", "heating from 2:10 to 5:00"]);
    }
}
