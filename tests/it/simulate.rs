//! The simulated hospital: years through the same decisions as everybody's, judged after every day.

use std::collections::BTreeMap;

use fettle::domain::checks;
use fettle::domain::deciding::Turned;
use fettle::domain::id::Id;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::simulate::{Given, Hospital, Plan};
use fettle::domain::time::Time;

fn plan(seed: u64, sets: u32, days: i64) -> Plan {
    let from = Time::parse("2024-01-08T06:00:00Z").expect("a time");
    let until = from.plus_minutes(days * 24 * 60);
    Plan { seed, sets, until, from, zone: chrono_tz::Europe::London, keep_record: true }
}

/// A hospital with the paper that it works on, and everything it gave.
struct Run {
    hospital: Hospital,
    paper: Paper,
    refused: BTreeMap<String, u64>,
}

impl Run {
    fn new(plan: Plan) -> Run {
        let site = Id::new("sim").expect("an id");
        let paper = Paper::new(site, plan.zone, plan.from);
        Run { hospital: Hospital::new(plan), paper, refused: BTreeMap::new() }
    }

    fn step(&mut self) -> Option<Given> {
        let given = self.hospital.next(&self.paper.state)?;
        let event = self.paper.take(&given);
        if let Err(turned) = &event {
            let why = match turned {
                Turned::Refused(refusal) => refusal.code().name().to_string(),
                Turned::Malformed(wrong) => format!("malformed {wrong:?}"),
                Turned::NotYourRole => "not_your_role".into(),
            };
            *self.refused.entry(format!("{} {why}", given.command.act.name())).or_default() += 1;
        }
        self.hospital.heard(&given, event.as_ref().ok());
        Some(given)
    }
}

#[test]
fn a_good_simulation_is_seldom_refused() {
    for seed in 1..=2 {
        let mut run = Run::new(plan(seed, 6, 200));
        while run.step().is_some() {}
        let record = &run.hospital.record;
        println!(
            "seed {seed}: {} given, {} turned, {} late: {:?}",
            record.given, record.turned, record.late, run.refused
        );
        println!("{:?}", checks::check(&run.paper.state));
        assert!(record.turned * 100 < record.given, "{:?}", run.refused);
    }
}
