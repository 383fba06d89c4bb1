//! Dryness is seen at unloading, by a person. A release of a steam load that says nothing of it is told as that, and never
//! as dry.
//!
//! Routine dryness is "visibly dry", yes or no (EN 285 and ISO 17665:2024 Annex C.8 measure it at qualification, read
//! second-hand); a wet pack is unsterile and reprocessed (trade texts, read).

use fettle::domain::event::What;
use fettle::domain::person::Role::{Desk, Lead};
use serde_json::{Value, json};

use super::page;
use super::served::{BOTH, Served, steam_record};
use super::ward::{Ward, indicator, release};

fn silent(load: &str) -> Value {
    json!({"do": "release_load", "load": load})
}

fn open(ward: &Ward) -> Vec<String> {
    ward.paper.state.dryness_open().iter().map(ToString::to_string).collect()
}

#[test]
fn a_release_without_a_word_on_dryness_is_an_exception_while_its_packs_are_there() {
    let mut ward = Ward::open();
    for (load, part) in [("a", "P-1"), ("b", "P-2")] {
        ward.passed(load, "plain", part);
    }
    let told = ward.done(Desk, silent("a"));
    assert!(matches!(&told.what, What::LoadReleased(it) if it.dryness_not_stated && it.dry.is_none()));
    let told = ward.done(Desk, release("b"));
    assert!(matches!(&told.what, What::LoadReleased(it) if !it.dryness_not_stated && it.dry == Some(true)));
    assert!(ward.load("a").dryness_not_stated() && !ward.load("b").dryness_not_stated());
    assert_eq!(open(&ward), ["a"]);
    let all = ward.paper.state.dryness_not_stated();
    assert_eq!((all.loads.len(), all.months[0].open, all.months[0].closed), (1, 1, 0));
    // Somebody looked, and the pack was wet: nothing of the load is left.
    ward.done(Desk, json!({"do": "pack_broken", "scan": "P-1", "why": "wet"}));
    assert!(open(&ward).is_empty());
    let all = ward.paper.state.dryness_not_stated();
    assert_eq!((all.months[0].open, all.months[0].closed), (0, 1));
}

#[test]
fn a_load_that_is_not_dry_is_never_released() {
    let mut ward = Ward::open();
    ward.passed("a", "plain", "P-1");
    let mut wet = release("a");
    wet["dry"] = json!(false);
    ward.never(Desk, wet.clone(), "record_failed");
    let at = ward.now.to_string();
    ward.never(Desk, super::ward::late(wet, &at), "record_failed");
    ward.done(Lead, json!({"do": "reject_load", "load": "a", "reason": "wet"}));
    assert!(open(&ward).is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_and_pages_say_that_dryness_was_not_stated() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        super::countersign::furnish(&served).await;
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "P-1"})).await;
        let load = served.load("steriliser-1", "p134", "P-1").await;
        served.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
        served.done(Desk, indicator(&load, "chemical", "pass", None)).await;
        let told = served.done(Lead, silent(&load)).await;
        assert_eq!(told["event"]["dryness_not_stated"], true, "{told}");
        let (_, found) = served.get(&format!("loads/{load}")).await;
        assert_eq!((&found["dry"], &found["dryness_not_stated"]), (&Value::Null, &json!(true)), "{found}");
        let (_, listed) = served.get("exceptions").await;
        let of = &listed["dryness_not_stated"];
        assert_eq!((&of["open"][0]["load"], &of["months"][0]["open"]), (&json!(load), &json!(1)), "{listed}");
        let desk = page::person(&served, Desk).await;
        for path in [format!("/loads/{load}"), "/exceptions".into(), "/handover".into()] {
            let (status, _, text) = page::open(&desk, &served, &path).await;
            let says = text.to_lowercase().contains("dryness not stated")
                && !text.contains("visibly dry at unloading");
            assert!(status == 200 && says, "{path}: {text}");
        }
        served.sound().await;
        served.stop().await;
    }
}
