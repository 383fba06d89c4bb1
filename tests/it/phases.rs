//! The phases of a cycle: what each begins and ends with, and what holds for those of every record.
//!
//! No standard defines where a phase begins to a fraction of a second; the expected times are those of the definitions
//! in `analysis::phases`, worked out by hand on records of few straight lines.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::analysis::cycle::{judge_disinfection, judge_steam};
use fettle::analysis::limits::{DisinfectionLimits, SteamLimits};
use fettle::analysis::phases::{self, Phase};
use fettle::analysis::record::{Channel, Record};
use fettle::formats::record::read;
use proptest::prelude::*;

fn of_steam(text: &str) -> Vec<Phase> {
    let (record, _) = read(text.as_bytes(), None, true).unwrap();
    let hold = judge_steam(&record, &SteamLimits::new(134.0, 10.0)).unwrap().hold;
    phases::steam(&record, hold)
}

fn of_disinfection(text: &str) -> Vec<Phase> {
    let (record, _) = read(text.as_bytes(), None, false).unwrap();
    let hold = judge_disinfection(&record, &DisinfectionLimits::new(600.0, 90.0)).unwrap().continuous;
    phases::disinfection(&record, hold)
}

/// Phases as text, such as `heating 10 to 20`; a pulse with its number.
fn check(found: &[Phase], expected: &[&str]) {
    let said: Vec<String> = found
        .iter()
        .map(|phase| {
            let value = serde_json::to_value(phase).unwrap();
            let pulse = value.get("pulse").map(|pulse| format!(" {pulse}")).unwrap_or_default();
            let rounded = |s: f64| (s * 1e6).round() / 1e6;
            let kind = value["kind"].as_str().unwrap();
            format!("{kind}{pulse} {} to {}", rounded(phase.start_s), rounded(phase.end_s))
        })
        .collect();
    assert_eq!(said, expected);
}

#[test]
fn a_prevacuum_cycle_has_all_its_phases() {
    let text = "time_s,temp_c,pressure_kpa_abs\n0,60,101\n10,60,101\n20,50,1\n30,50,1\n40,100,101\n50,60,6\n60,90,96\n\
                70,60,16\n80,115,170\n90,134,304\n100,135,313\n300,135,313\n310,134,303\n370,100,103\n400,60,3\n500,60,3\n\
                510,60,53\n520,60,3\n540,60,3\n560,55,103\n";
    let said = [
        // Each falls by its first kPa within 0.1 s or so, on a line of 100, 95 and 80 kPa in 10 s.
        "pre_vacuum 1 10.1 to 40.105263",
        "pre_vacuum 2 40.105263 to 60.125",
        // The last ends where it has risen by 1 kPa from its low, on a line of 154 kPa in 10 s.
        "pre_vacuum 3 60.125 to 70.064935",
        "heating 70.064935 to 90",
        "hold 90 to 310",
        // From 103 kPa at 370 s to 3 at 400 s it passes 20 at 394.9 s.
        "exhaust 310 to 394.9",
        // The air let in at 500 s belongs to it; it rises above 20 kPa for good after 17 of 100 kPa in 20 s.
        "drying 394.9 to 543.4",
    ];
    check(&of_steam(text), &said);
}

#[test]
fn what_was_not_done_is_no_phase() {
    // Displaced by gravity: no evacuation, so that temperature says when heating began; no deep vacuum.
    let text = "time_s,temp_c,pressure_kpa_abs\n0,20,101\n60,20,101\n140,100,101\n200,134,304\n400,134,304\n500,110,111\n600,90,101\n";
    check(&of_steam(text), &["heating 61 to 200", "hold 200 to 400", "exhaust 400 to 590"]);
    // Without a pressure the end of the cycle can only be seen to cool.
    let text = "time_s,temp_c,temp_c_b\n0,20,20\n57,134,134\n100,134,134\n140,104,94\n200,94,94\n";
    check(&of_steam(text), &["heating 0.5 to 57", "hold 57 to 100", "cooling 100 to 139"]);
    // A record that holds nothing but the hold.
    check(&of_steam("time_s,temp_c,pressure_kpa_abs\n0,134,304\n60,134,304\n"), &["hold 0 to 60"]);
    // Never in the band: heating to the peak, exhaust from the end of it.
    let text = "time_s,temp_c,pressure_kpa_abs\n0,100,101\n10,121,205\n30,121,205\n40,100,101\n";
    check(&of_steam(text), &["heating 0.47619 to 10", "exhaust 30 to 39.903846"]);
}

#[test]
fn a_dip_of_the_hold_is_neither_evacuation_nor_exhaust() {
    let text = "time_s,temp_c,pressure_kpa_abs\n0,100,101\n10,134,304\n30,134,304\n31,128,254\n32,134,304\n90,134,304\n\
                91,128,254\n92,134,304\n102,134,304\n112,100,100\n";
    check(&of_steam(text), &["heating 0.294118 to 32", "hold 32 to 90", "exhaust 102 to 111.95098"]);
}

#[test]
fn a_disinfection_is_heated_held_and_cooled() {
    // A wash at 55 °C and a cold rinse before, hot air after. It rises from 25 °C by 65 K in 100 s and falls to 60 °C by
    // 30 K in 30 s.
    let text = "time_s,temp_c\n0,20\n100,55\n200,55\n230,25\n260,25\n360,90\n460,90\n490,60\n540,60\n600,80\n700,80\n";
    check(&of_disinfection(text), &["heating 261.538462 to 360", "hold 360 to 460", "cooling 460 to 489"]);
}

fn records() -> impl Strategy<Value = Record> {
    let sample = (
        1_u32..60,
        prop::sample::select(vec![20.0, 80.0, 100.0, 133.0, 134.0, 135.5, 137.0, 140.0]),
        -2.0_f64..2.0,
        prop_oneof![0.0_f64..320.0, prop::sample::select(vec![3.0, 100.0, 304.0, -1e308, 1e308])],
    );
    (prop::collection::vec(sample, 2..60), any::<bool>()).prop_map(|(samples, with_pressure)| {
        let (mut tenths, mut record) = (0, Record::default());
        let (mut a, mut b, mut pressure) = (vec![], vec![], vec![]);
        for (gap, temp_c, spread_k, kpa) in samples {
            tenths += gap;
            record.time_s.push(f64::from(tenths) / 10.0);
            a.push(temp_c);
            b.push(temp_c + spread_k);
            pressure.push(kpa);
        }
        for (name, temp_c) in [("temp_c_a", a), ("temp_c_b", b)] {
            record.channels.push(Channel { name: name.into(), temp_c });
        }
        record.pressure_kpa_abs = with_pressure.then_some(pressure);
        record
    })
}

fn in_order(record: &Record, phases: &[Phase]) -> Result<(), TestCaseError> {
    let mut before_s = record.time_s[0];
    for phase in phases {
        prop_assert!(before_s <= phase.start_s && phase.start_s < phase.end_s, "{:?}", phases);
        before_s = phase.end_s;
    }
    prop_assert!(before_s <= *record.time_s.last().unwrap(), "{:?}", phases);
    Ok(())
}

proptest! {
    #[test]
    fn phases_are_in_order_and_the_hold_is_the_hold(record in records()) {
        let steam = judge_steam(&Record { pressure_kpa_abs: None, ..record.clone() }, &SteamLimits::new(134.0, 10.0));
        let washer = judge_disinfection(&record, &DisinfectionLimits::new(600.0, 90.0));
        for (hold, of) in [
            (steam.unwrap().hold, phases::steam as fn(&Record, _) -> Vec<Phase>),
            (washer.unwrap().continuous, phases::disinfection),
        ] {
            let phases = of(&record, hold);
            in_order(&record, &phases)?;
            let held = phases.iter().find(|phase| phase.kind == phases::PhaseKind::Hold);
            prop_assert_eq!(held.map(|p| (p.start_s, p.end_s)), hold.map(|h| (h.start_s, h.end_s)));
        }
    }
}
