//! Published programmes: against their sources, and as machines are defined with them.

use fettle::analysis::cycle::{judge_disinfection, judge_steam};
use fettle::analysis::limits::{DisinfectionLimits, SteamLimits};
use fettle::domain::machine::MachineKind;
use fettle::domain::person::Role::{Admin, Desk};
use fettle::domain::starter::{Checked, PUBLISHED, Published, published};
use fettle::formats::record;
use serde_json::json;

use super::page::{open, person};
use super::served::{BOTH, Kind, Served};

fn limits(name: &str) -> (Option<i64>, Option<i64>, Option<i64>) {
    let it = published(name).unwrap_or_else(|| panic!("{name}"));
    (it.band_c, it.hold_s, it.a0_s)
}

/// Common moist-heat pairs, UK sterilising-club handbook 2025, Table 10.2 (read); CDC Guideline for Disinfection and
/// Sterilization in Healthcare Facilities 2008, Table 7 (read): minimum exposures by cycle, load and temperature.
#[test]
fn the_limits_are_those_of_their_sources() {
    let minutes = [
        ("steam-134-3", 134, 3),
        ("steam-132-4", 132, 4),
        ("steam-126-10", 126, 10),
        ("steam-121-15", 121, 15),
        ("gravity-121-30-instruments", 121, 30),
        ("gravity-132-15-instruments", 132, 15),
        ("gravity-121-30-textiles", 121, 30),
        ("gravity-132-25-textiles", 132, 25),
        ("gravity-121-30-utensils", 121, 30),
        ("gravity-132-15-utensils", 132, 15),
        ("dynamic-132-4-instruments", 132, 4),
        ("dynamic-132-4-textiles", 132, 4),
        ("dynamic-132-4-utensils", 132, 4),
    ];
    for (name, band_c, hold_min) in minutes {
        assert_eq!(limits(name), (Some(band_c), Some(hold_min * 60), None), "{name}");
        assert_eq!(published(name).map(|it| it.checked), Some(Checked::Read), "{name}");
    }
    // The A0 concept (ISO 15883-1, read in texts that quote it).
    for (name, band_c, a0_s) in
        [("wash-a0-600-80", 80, 600), ("wash-a0-600-90", 90, 600), ("wash-a0-3000-90", 90, 3_000)]
    {
        assert_eq!(limits(name), (Some(band_c), None, Some(a0_s)), "{name}");
    }
    assert_eq!(PUBLISHED.len(), minutes.len() + 3);
    // Drawing the air out is tested for; a gravity cycle has no such test.
    assert!(PUBLISHED.iter().all(|it| !(it.air_removal && it.name.starts_with("gravity"))));
}

fn flat(it: &Published, hold_s: i64) -> String {
    let band = it.band_c.unwrap_or_default();
    format!("time_s,temp_c\n0,{band}\n{hold_s},{band}\n")
}

/// The F0 of the pairs (10^((T - 121.1) / 10) · min, reference 121.1 °C): 134/3 58.50, 132/4 49.21, 126/10 30.90,
/// 121/15 14.66. The A0 equivalents of ISO 15883: 600 s is 10 min at 80 °C or 1 min at 90 °C, 3000 s is 5 min at 90 °C.
#[test]
fn a_record_that_just_meets_a_published_programme_passes() {
    for (name, f0) in
        [("steam-134-3", 58.50), ("steam-132-4", 49.21), ("steam-126-10", 30.90), ("steam-121-15", 14.66)]
    {
        let it = published(name).expect("a programme");
        let hold_s = it.hold_s.expect("a hold");
        let text = flat(it, hold_s);
        let mut at = SteamLimits::new(it.band_c.expect("a band") as f64, hold_s as f64);
        at.max_gap_s = 1e6;
        let (record, _) = record::read(text.as_bytes(), None, true).expect("a record");
        let verdict = judge_steam(&record, &at).expect("a verdict");
        assert!(verdict.passed(), "{name}: {verdict:?}");
        let told = serde_json::to_value(&verdict).expect("JSON");
        let found = told["f0_min"]["hold"]["least"].as_f64().expect("F0");
        assert!((found - f0).abs() < 0.005, "{name}: {found}");
    }
    for (name, seconds) in [("wash-a0-600-80", 600), ("wash-a0-600-90", 60), ("wash-a0-3000-90", 300)] {
        let it = published(name).expect("a programme");
        for (seconds, passes) in [(seconds, true), (seconds - 1, false)] {
            let mut at =
                DisinfectionLimits::new(it.a0_s.expect("an A0") as f64, it.band_c.expect("a band") as f64);
            at.max_gap_s = 1e6;
            let (record, _) = record::read(flat(it, seconds).as_bytes(), None, false).expect("a record");
            assert_eq!(
                judge_disinfection(&record, &at).expect("a verdict").passed(),
                passes,
                "{name} {seconds}"
            );
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn each_is_listed_and_defines_a_machine() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let (status, body) = served.get("published-programmes").await;
        let items = body["items"].as_array().expect("a list").clone();
        assert_eq!((status, items.len()), (200, PUBLISHED.len()), "{body}");
        assert!(body["caution"].as_str().is_some_and(|text| text.contains("validation decide")), "{body}");
        for kind in [MachineKind::Steriliser, MachineKind::WasherDisinfector] {
            let of_kind = items.iter().filter(|it| it["kind"] == json!(kind));
            let programmes: Vec<_> = of_kind.map(|it| it["programme"].clone()).collect();
            let command = json!({"do": "define_machine", "machine": format!("m-{}", programmes.len()), "kind": kind,
                                 "programmes": programmes});
            let told = served.done(Admin, command).await;
            let first = &told["event"]["programmes"][0]["sources"];
            assert!(first.as_object().is_some_and(|sources| sources.len() >= 2), "{told}");
        }
        let wrong = json!({"do": "define_machine", "machine": "m", "kind": "steriliser", "programmes":
            [{"programme": "p", "method": "steam", "band_c": 134, "hold_s": 180, "sources": {"colour": "x"}}]});
        let (status, body) = served.post(Admin, wrong).await;
        let pointer = &body["errors"][0]["pointer"];
        assert_eq!((status, pointer), (422, &json!("/programmes/0/sources/colour")), "{body}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_load_keeps_the_sources_that_it_started_with() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let machine = |source: &str| {
        json!({"do": "define_machine", "machine": "washer-1", "kind": "washer_disinfector", "programmes":
            [{"programme": "wash", "method": "machine", "band_c": 80, "a0_s": 600, "sources": {"a0_s": source}}]})
    };
    served.done(Admin, machine("validation 2025-03")).await;
    for step in ["treated", "received", "cleaned", "dried"] {
        served.done(Desk, json!({"do": "record_step", "step": step, "scan": ["SET-1"]})).await;
    }
    let load = served.load("washer-1", "wash", "SET-1").await;
    served.done(Admin, machine("validation 2026-04")).await;
    let (_, told) = served.get(&format!("loads/{load}")).await;
    assert_eq!(told["limits"]["sources"]["a0_s"], "validation 2025-03", "{told}");
    let client = person(&served, Admin).await;
    let (_, _, page) = open(&client, &served, &format!("/loads/{load}")).await;
    assert!(page.contains("A0: validation 2025-03."), "{page}");
    // The published programme fills the machine's form beside what it has.
    let (_, _, page) = open(&client, &served, "/catalogue?begin=wash-a0-3000-90&machine=washer-1").await;
    assert!(page.contains("A0: validation 2026-04.") && page.contains("value=\"wash-a0-3000-90\""), "{page}");
    served.sound().await;
    served.stop().await;
}
