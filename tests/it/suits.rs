//! A release is for parts that got what their instructions say and no more, and for a load that has aired.

use fettle::domain::person::Role::{Biomed, Desk};
use fettle::domain::refusal::Code;
use serde_json::{Value, json};

use super::ward::{Ward, indicator, late, model, release};

/// CDC Guideline 2008, table 1 (read): ethylene oxide airs 8 to 12 h at 50 to 60 °C, and the load is not released before.
#[test]
fn a_load_is_released_when_its_aeration_is_over() {
    let mut ward = Ward::open();
    ward.machine("airs", json!({"aeration_s": 28_800}));
    ward.passed("a", "airs", "P-1");
    let ended = ward.load("a").judged.as_ref().expect("a verdict").ended_at;
    ward.now = ended.plus_s(28_800 - 60);
    ward.never(Desk, release("a"), "still_cooling");
    let of_an_hour_ago = ended.plus_s(25_200).to_string();
    ward.refused(Desk, late(release("a"), &of_an_hour_ago), "still_cooling");
    ward.now = ended.plus_s(28_800);
    ward.done(Desk, release("a"));
}

/// AJIC 2013;41:S111 (read): some instructions ask for longer cycles than usual; the load satisfies the longest, and
/// exceeds nobody's maximum. Donskey et al., ARIC 2014;3:4 (read): a wrong cycle is a release failure.
#[test]
fn every_part_gets_what_its_instructions_say_and_no_more() {
    let steam = |more: Value| {
        let mut all = json!({"temp_c": 134, "hold_s": 180});
        all["max_hold_s"] = more;
        json!({"steam": all})
    };
    let mut ward = Ward::open();
    let define = |ward: &mut Ward, processing: Value| {
        ward.done(Biomed, model("part", json!({"processing": processing})));
    };
    // At the start: the programme's own hold.
    ward.machine("long", json!({"hold_s": 1_080}));
    define(&mut ward, steam(json!(1_079)));
    let start = |machine: &str| json!({"do": "start_load", "load": "x", "machine": machine, "programme": "p134", "scan": "P-1"});
    ward.refused(Desk, start("long"), "programme_unsuitable");
    define(&mut ward, steam(json!(1_080)));
    ward.done(Desk, start("long"));
    ward.done(Desk, json!({"do": "reject_load", "load": "x", "reason": "never ran", "ran": false}));
    // At the release: what was held. The record holds 200 s, and on its way up and down 4.5 s more.
    ward.passed("a", "plain", "P-2");
    define(&mut ward, steam(json!(204)));
    ward.never(Desk, release("a"), "programme_unsuitable");
    define(&mut ward, steam(json!(205)));
    assert!(ward.against("a").is_empty());
    let readings =
        json!({"min_c": "134.1", "max_c": "134.5", "hold_s": 200, "complete": true, "second_reader": "lead"});
    ward.done(Desk, json!({"do": "judge_load", "load": "a", "readings": readings}));
    for (most, suits) in [("199.9", false), ("200", true)] {
        define(&mut ward, steam(json!(most)));
        assert_eq!(ward.against("a").is_empty(), suits, "limits are inclusive: {most}");
    }
    // A new edition asks for a longer hold than the programme has: from now on. What went in keeps its own.
    define(&mut ward, json!({"steam": {"temp_c": 134, "hold_s": 240}}));
    assert!(ward.against("a").is_empty());
    // The readings reached 134.5 °C. A limit below its own steam is meant for washing.
    for (most, suits) in [("134.4", false), ("134.5", true), ("95", true)] {
        define(&mut ward, json!({"steam": {"temp_c": 134, "hold_s": 180}, "max_temp_c": most}));
        assert_eq!(ward.against("a").is_empty(), suits, "{most}");
    }
    ward.done(Desk, release("a"));
    let wrong = model("part", json!({"processing": steam(json!(179))}));
    let malformed = fettle::domain::command::Command::read(wrong).expect_err("malformed");
    assert_eq!(malformed[0].pointer, "/processing/steam/max_hold_s");
}

/// One part that does not suit keeps the whole load, whoever told it late.
#[test]
fn what_went_in_unsuited_is_not_made_ready() {
    let mut ward = Ward::open();
    ward.machine("gentle", json!({"band_c": 121, "hold_s": 900}));
    let start =
        json!({"do": "start_load", "load": "a", "machine": "gentle", "programme": "p134", "scan": "P-1"});
    let at = ward.now.to_string();
    let started = ward.done(Desk, late(start, &at));
    assert_eq!(started.beside.deviation, [Code::ProgrammeUnsuitable]);
    let readings =
        json!({"min_c": "121.2", "max_c": "122", "hold_s": 930, "complete": true, "second_reader": "lead"});
    ward.done(Desk, json!({"do": "judge_load", "load": "a", "readings": readings}));
    ward.done(Desk, indicator("a", "chemical", "pass", None));
    ward.never(Desk, release("a"), "programme_unsuitable");
    // What was wrong in the catalogue is put right there, and the load is judged by it.
    let mild = json!({"processing": {"steam": {"temp_c": 121, "hold_s": 900}}});
    ward.done(Biomed, model("part", mild));
    ward.done(Desk, release("a"));
}
