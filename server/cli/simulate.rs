//! Simulated hospitals, as commands on standard output. No database and no clock: the same seed writes the same lines.

use std::io::{BufWriter, Write};
use std::process::ExitCode;

use chrono::{NaiveDate, NaiveTime};
use clap::Args;
use serde::Serialize;
use serde_json::Value;

use super::Failure;
use crate::domain::id::Id;
use crate::domain::simulate::ledger::Paper;
use crate::domain::simulate::{Given, Hospital, List, Plan};
use crate::domain::time::on_day;

#[derive(Args)]
pub struct Simulate {
    /// How many hospitals, one after the other: site-1, site-2, …
    #[arg(long, default_value_t = 1)]
    sites: u32,
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=36_500))]
    days: u32,
    /// Sets for patients in each of them; sets of camera and light come on top
    #[arg(long, default_value_t = 8, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    sets: u32,
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// The first day
    #[arg(long, default_value = "2020-01-06")]
    from: NaiveDate,
}

/// One line: to which site a command goes, and which role gives it.
#[derive(Serialize)]
struct Row<'a> {
    site: &'a Id,
    role: &'static str,
    command: Value,
}

impl Simulate {
    pub fn run(self) -> Result<ExitCode, Failure> {
        let mut out = BufWriter::new(std::io::stdout().lock());
        for n in 1..=self.sites {
            let site = Id::new(&format!("site-{n}")).ok_or("a site's number is too long")?;
            match self.one(site, n, &mut out) {
                // Whoever reads may have enough before the end.
                Err(error) if is_broken_pipe(&*error) => return Ok(ExitCode::SUCCESS),
                done => done?,
            }
        }
        out.flush()?;
        Ok(ExitCode::SUCCESS)
    }

    fn one(&self, site: Id, n: u32, out: &mut impl Write) -> Result<(), Failure> {
        let zone = chrono_tz::Europe::London;
        let six = NaiveTime::from_hms_opt(6, 0, 0).unwrap_or_default();
        let from = on_day(self.from, six, zone);
        let plan = Plan {
            // Each site its own history, and the same whatever the number of sites.
            seed: self.seed.wrapping_mul(1_000_003).wrapping_add(u64::from(n)),
            sets: self.sets,
            from,
            until: from.plus_minutes(i64::from(self.days) * 24 * 60),
            zone,
            keep_record: false,
            list: List::USUAL,
        };
        let mut hospital = Hospital::new(plan);
        let mut paper = Paper::new(site.clone(), zone, from);
        while let Some(given) = hospital.next(&paper.state) {
            let Given { role, command, .. } = &given;
            let row = Row { site: &site, role: role.name(), command: command.to_value()? };
            serde_json::to_writer(&mut *out, &row)?;
            out.write_all(b"\n")?;
            let event = paper.take(&given);
            hospital.heard(&given, event.as_ref().ok());
        }
        Ok(())
    }
}

fn is_broken_pipe(error: &(dyn std::error::Error + 'static)) -> bool {
    let io = error.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
    let json = error.downcast_ref::<serde_json::Error>().and_then(serde_json::Error::io_error_kind);
    io.or(json) == Some(std::io::ErrorKind::BrokenPipe)
}
