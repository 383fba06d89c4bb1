//! The demo's days: tests in the morning, sets going round the loop, what goes wrong now and then, and a believable
//! moment at the end.

use serde_json::{Value, json};

use super::catalogue::SETS;
use super::records::{Chance, steam, washer};
use super::{DemoError, Writer};
use crate::domain::time::{MINUTE, Time, on_day};

/// How far back the history goes.
pub const WEEKS: u32 = 5;

struct Day<'a, 'b> {
    writer: &'a mut Writer<'b>,
    chance: Chance,
    cycle_no: u32,
    loads: u32,
    /// Today is told relative to now, so its test is recorded with the load that needs it: whatever the hour is,
    /// both fall into one test day.
    today: bool,
}

pub async fn write(writer: &mut Writer<'_>, began: Time, now: Time, seed: u64) -> Result<(), DemoError> {
    let mut day = Day { writer, chance: Chance::new(seed), cycle_no: 4_100, loads: 0, today: false };
    let zone = chrono_tz::Europe::London;
    let half_past_six = chrono::NaiveTime::from_hms_opt(6, 30, 0).unwrap_or_default();
    day.spares(began)?;
    day.writer.flush().await?;
    let first = began.date(zone);
    let today = now.date(zone);
    for (n, date) in first.iter_days().skip(1).take_while(|date| *date < today).enumerate() {
        let morning = on_day(date, half_past_six, zone);
        day.tests(morning, n)?;
        let second = |k: usize| SETS.get((n * 2 + k) % SETS.len()).map(|(set, ..)| *set);
        let sets: Vec<&str> = (0..2).filter_map(second).collect();
        day.round(morning.plus_minutes(120), &sets, n == 9, 8)?;
        day.writer.flush().await?;
    }
    // Today is told relative to now: whatever the hour, something is under way.
    let hours_ago = |hours: i64| now.plus_minutes(-60 * hours);
    day.today = true;
    day.round(hours_ago(8), &["SET-A", "SET-J"], false, 8)?;
    day.round(Time(now.0 - 190 * MINUTE), &["SET-B"], false, 7)?;
    day.round(Time(now.0 - 100 * MINUTE), &["SET-C"], false, 4)?;
    day.round(Time(now.0 - 35 * MINUTE), &["SET-K"], false, 2)?;
    day.troubles(now)?;
    day.writer.flush().await
}

impl Day<'_, '_> {
    fn tests(&mut self, at: Time, n: usize) -> Result<(), DemoError> {
        for (i, machine) in ["steriliser-1", "steriliser-2"].into_iter().enumerate() {
            let at = at.plus_minutes(i as i64 * 10);
            let test = json!({"do": "record_machine_test", "machine": machine, "test": "air_removal", "passed": true});
            self.writer.give("desk-1", at, test)?;
            if n.is_multiple_of(7) {
                let test = json!({"do": "record_machine_test", "machine": machine, "test": "leak_rate", "value": "0.7",
                                  "unit": "mbar/min"});
                self.writer.give("desk-1", at.plus_minutes(4), test)?;
            }
        }
        Ok(())
    }

    /// Spare caps, made ready and put on the shelf before the first day.
    fn spares(&mut self, at: Time) -> Result<(), DemoError> {
        let after = |minutes: i64| at.plus_minutes(minutes);
        let caps = ["C-0903", "C-0904", "C-0905", "C-0906"];
        self.step("charge", after(10), "treated", &caps)?;
        self.step("desk-1", after(20), "received", &caps)?;
        self.step("desk-1", after(30), "cleaned", &caps)?;
        self.step("desk-1", after(40), "ultrasonic", &caps)?;
        self.step("desk-1", after(50), "dried", &caps)?;
        self.washed(after(60), &caps)?;
        self.step("desk-2", after(118), "packed", &caps)?;
        let test = json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "air_removal", "passed": true});
        self.writer.give("desk-1", after(122), test)?;
        let load = self.start(after(124), "steriliser-1", "porous-134", &caps)?;
        self.sterilised(after(150), load, &caps)
    }

    /// A washer load from its start to its release, and the inspection after it.
    fn washed(&mut self, at: Time, scan: &[&str]) -> Result<(), DemoError> {
        let after = |minutes: i64| at.plus_minutes(minutes);
        let load = self.start(at, "washer-1", "instruments-90", scan)?;
        let record = washer(&mut self.chance);
        self.writer.give("desk-1", after(28), json!({"do": "judge_load", "load": load, "record": record}))?;
        self.writer.give("desk-1", after(29), json!({"do": "release_load", "load": load, "dry": true}))?;
        let inspect = json!({"do": "inspect", "scan": scan, "passed": true,
                             "checks": [{"check": "caps stretched and looked through", "passed": true}]});
        self.writer.give("desk-2", after(42), inspect)
    }

    /// A steriliser load from its record to the shelf.
    fn sterilised(&mut self, at: Time, load: String, scan: &[&str]) -> Result<(), DemoError> {
        let after = |minutes: i64| at.plus_minutes(minutes);
        let record = steam(&mut self.chance, 212);
        self.writer.give("desk-1", at, json!({"do": "judge_load", "load": load, "record": record}))?;
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        self.writer.give("desk-1", after(1), chemical)?;
        self.writer.give("desk-2", after(3), json!({"do": "release_load", "load": load, "dry": true}))?;
        let away = json!({"do": "put_away", "scan": scan, "location": "sterile store, bay 3"});
        self.writer.give("desk-2", after(50), away)
    }

    fn step(&mut self, code: &str, at: Time, step: &str, sets: &[&str]) -> Result<(), DemoError> {
        self.writer.give(code, at, json!({"do": "record_step", "step": step, "scan": sets}))
    }

    /// Sets once round the loop, as far as `parts` of it go; `fails` spoils the first steriliser cycle.
    fn round(&mut self, at: Time, sets: &[&str], fails: bool, parts: u32) -> Result<(), DemoError> {
        let wobble = self.chance.below(8) as i64;
        let after = |minutes: i64| at.plus_minutes(minutes + wobble);
        self.step("charge", at, "treated", sets)?;
        self.step("desk-1", after(14), "received", sets)?;
        if parts < 3 {
            return Ok(());
        }
        self.step("desk-1", after(30), "cleaned", sets)?;
        self.step("desk-1", after(42), "ultrasonic", sets)?;
        self.step("desk-1", after(52), "dried", sets)?;
        self.step("desk-1", after(55), "disinfected", sets)?;
        if parts < 5 {
            return self.start(after(58), "washer-1", "instruments-90", sets).map(|_| ());
        }
        self.washed(after(58), sets)?;
        self.step("desk-2", after(118), "packed", sets)?;
        if self.today {
            let test = json!({"do": "record_machine_test", "machine": "steriliser-1", "test": "air_removal", "passed": true});
            self.writer.give("desk-1", after(124), test)?;
        }
        let load = self.start(after(124), "steriliser-1", "porous-134", sets)?;
        if parts < 8 {
            return Ok(());
        }
        let load = if fails { self.failed(after(124), load, sets)? } else { load };
        let late = if fails { 80 } else { 0 };
        self.sterilised(after(150 + late), load, sets)
    }

    fn start(
        &mut self,
        at: Time,
        machine: &str,
        programme: &str,
        sets: &[&str],
    ) -> Result<String, DemoError> {
        self.cycle_no += 1;
        self.loads += 1;
        let load = format!("L-{:04}", self.loads);
        let start = json!({"do": "start_load", "load": load, "machine": machine, "programme": programme,
                           "cycle_no": self.cycle_no, "scan": sets});
        // The loader is not the one who releases.
        self.writer.give("desk-1", at, start)?;
        Ok(load)
    }

    /// A hold that was too short: rejected, packed anew and run in the other steriliser.
    fn failed(&mut self, at: Time, load: String, sets: &[&str]) -> Result<String, DemoError> {
        let record = steam(&mut self.chance, 120);
        let after = |minutes: i64| at.plus_minutes(minutes);
        self.writer.give("desk-1", after(26), json!({"do": "judge_load", "load": load, "record": record}))?;
        let reject =
            json!({"do": "reject_load", "load": load, "reason": "hold too short, steam supply fell"});
        self.writer.give("desk-2", after(30), reject)?;
        self.step("desk-2", after(60), "packed", sets)?;
        self.start(after(66), "steriliser-2", "porous-134", sets)
    }

    /// What is on somebody's mind now.
    fn troubles(&mut self, now: Time) -> Result<(), DemoError> {
        let at = |minutes: i64| Time(now.0 - minutes * MINUTE);
        // The spare telescope waits for its inspection when its image is found dim.
        for (code, minutes, step) in [
            ("charge", 95, "treated"),
            ("desk-1", 80, "received"),
            ("desk-1", 70, "cleaned"),
            ("desk-1", 62, "dried"),
            ("desk-1", 50, "disinfected"),
        ] {
            self.step(code, at(minutes), step, &["T-0900"])?;
        }
        let all: [(&str, i64, Value); 5] = [
            (
                "charge",
                25,
                json!({"do": "hold", "kind": "quality", "scan": ["T-0900"], "reason": "image dim, fibres to be looked at"}),
            ),
            (
                "biomed",
                20,
                json!({"do": "machine_out", "machine": "washer-2", "reason": "door seal, part ordered"}),
            ),
            (
                "charge",
                16,
                json!({"do": "record_step", "step": "treated", "scan": ["C-0901", "C-0902"],
                       "note": "new stock, rinsed on unpacking"}),
            ),
            (
                "desk-2",
                15,
                json!({"do": "record_step", "step": "received", "scan": ["C-0901", "C-0902"], "note": "new stock"}),
            ),
            ("biomed", 9, json!({"do": "retire", "asset": "C-0159", "cause": "damaged", "failure": true})),
        ];
        for (code, minutes, command) in all {
            self.writer.give(code, at(minutes), command)?;
        }
        Ok(())
    }
}
