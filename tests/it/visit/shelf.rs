//! The shelf: lots in and out, dates, minimum, uses at a case and implants by their number; and single use at the sink.

use serde_json::json;

use super::*;

/// GTINs on the demonstration prefix of GS1, with their check digits by the modulo 10 of the General Specifications.
const CATHETER: &str = "09521234000020";
const STENT: &str = "09521234000037";

async fn shelf(kind: Kind) -> Served {
    let served = house(kind).await;
    for (model, gtin, implant) in [("catheter", CATHETER, false), ("stent", STENT, true)] {
        let define = json!({"do": "define_model", "model": model, "family": "accessory", "name": model, "route": "metal",
                            "gtin": gtin, "single_use": true, "implant": implant});
        served.done(Biomed, define).await;
    }
    served
}

fn box_of(lot: &str, last: &str) -> String {
    format!("01{CATHETER}17{last}10{lot}")
}

fn take_in(scan: String, quantity: i64) -> Value {
    json!({"do": "stock_in", "scan": scan, "quantity": quantity})
}

#[tokio::test(flavor = "multi_thread")]
async fn lots_come_and_go_and_are_counted() {
    for kind in BOTH {
        let served = shelf(kind).await;
        let told = served.done(Desk, take_in(box_of("L-7", "491231"), 50)).await;
        assert_eq!(
            (&told["event"]["model"], &told["event"]["lot"]),
            (&json!("catheter"), &json!("L-7")),
            "{told}"
        );
        let stock = |lot: &str, quantity: i64| json!({"do": "stock_in", "model": "catheter", "lot": lot, "expires": "2040-01-31", "quantity": quantity});
        // Odd letters are letters; the same lot twice adds up; another date under one lot was misread.
        served.done(Desk, stock("Ł/7 ü #\"<b>", 3)).await;
        served.done(Desk, stock("Ł/7 ü #\"<b>", 4)).await;
        let other = with(stock("Ł/7 ü #\"<b>", 1), "expires", json!("2041-01-31"));
        served.refused(Desk, other, "name_taken").await;
        served.refused(Desk, with(stock("L-8", 1), "expires", json!("2001-01-31")), "past_date").await;
        let wrong = [
            (stock("L-8", -1), "/quantity"),
            (stock("L-8", 0), "/quantity"),
            (stock("L-8", 100_001), "/quantity"),
            (with(stock("L-8", 1), "expires", json!("2026-02-30")), "/expires"),
            (with(stock("L-8", 1), "expires", json!("9999-12-31")), "/expires"),
            (stock(" ", 1), "/lot"),
            (json!({"do": "stock_in", "quantity": 1}), "/model"),
        ];
        for (command, pointer) in wrong {
            let (status, body) = served.post(Desk, command.clone()).await;
            assert_eq!(
                (status, body["errors"][0]["pointer"].as_str()),
                (422, Some(pointer)),
                "{command}: {body}"
            );
        }
        served.refused(Desk, json!({"do": "stock_in", "model": "cap", "quantity": 1}), "not_fitting").await;
        let out = |quantity: i64| json!({"do": "stock_out", "model": "catheter", "lot": "L-7", "quantity": quantity, "why": "damaged"});
        served.done(Charge, out(2)).await;
        served.refused(Charge, out(49), "not_complete").await;
        let it = one(&served, "stock/catheter").await;
        let left: Vec<i64> =
            it["lots"].as_array().expect("lots").iter().filter_map(|lot| lot["left"].as_i64()).collect();
        assert_eq!((left, &it["good"]), (vec![48, 7], &json!(55)), "{it}");
        served.done(Lead, json!({"do": "set_stock_minimum", "model": "catheter", "minimum": 56})).await;
        let due = one(&served, "due").await;
        assert!(names(&due["items"], "why").contains(&"stock_low".to_string()), "{due}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_case_uses_a_lot_and_look_back_finds_it_both_ways() {
    for kind in BOTH {
        let served = shelf(kind).await;
        served.done(Desk, take_in(box_of("L-7", "491231"), 2)).await;
        served.done(Charge, plan("K-1", 1)).await;
        let used = |items: Value| json!({"do": "use_stock", "case": "K-1", "items": items});
        let stent = format!("01{STENT}1749123121S-0001");
        let told = served
            .done(Clinician, used(json!([{"scan": box_of("L-7", "491231"), "quantity": 2}, {"scan": stent}])))
            .await;
        // The stent was on no shelf by the record; that it was used is a fact all the same.
        assert_eq!(told["deviation"], json!(["not_complete"]), "{told}");
        assert_eq!(told["event"]["items"][1]["serial"], "S-0001");
        assert_eq!(told["event"]["items"][1]["implant"], true);
        served.refused(Clinician, used(json!([{"scan": stent}])), "already_done").await;
        // Past its date: recorded, and said.
        let old = used(json!([{"model": "catheter", "lot": "OLD", "expires": "2020-01-01"}]));
        assert_eq!(served.done(Clinician, old).await["deviation"], json!(["past_date", "not_complete"]));
        for path in ["look-back?lot=L-7", "look-back?lot=L-7&model=catheter", "look-back?serial=S-0001"] {
            let back = one(&served, path).await;
            assert_eq!(names(&back["cases"], "case"), vec!["K-1".to_string()], "{path}: {back}");
        }
        let (status, _) = served.get("look-back?lot=L-99").await;
        assert_eq!(status, 404);
        assert_eq!(served.get("look-back?model=catheter").await.0, 422);
        let back = one(&served, "look-back?case=K-1").await;
        assert_eq!(names(&back["cases"][0]["stock"], "model"), ["catheter", "stent", "catheter"], "{back}");
        assert_eq!(one(&served, "cases/K-1/stock").await["items"].as_array().map(Vec::len), Some(3));
        // A mark and what is typed beside it may not each say something else.
        for beside in
            [json!({"model": "catheter"}), json!({"serial": "S-9"}), json!({"expires": "2040-01-01"})]
        {
            let mut item = json!({"scan": format!("01{STENT}1749123121S-0002")});
            item.as_object_mut().unwrap().extend(beside.as_object().unwrap().clone());
            served.refused(Clinician, used(json!([item])), "ambiguous_scan").await;
        }
        // Recorded at the wrong case: it is told at the right one, as the part for single use that it is, and taken back there.
        served.done(Charge, plan("K-2", 3)).await;
        let right = json!({"do": "use_stock", "case": "K-2", "items": [{"scan": stent}]});
        let told = served.done(Clinician, right).await;
        assert_eq!(told["deviation"], json!(["single_use", "not_complete"]), "{told}");
        let cases = async || names(&one(&served, "look-back?serial=S-0001").await["cases"], "case");
        assert_eq!(cases().await, ["K-1", "K-2"]);
        let back =
            json!({"do": "correct", "entry": told["entry"], "reason": "it was the first one after all"});
        served.done(Lead, back).await;
        assert_eq!(cases().await, ["K-1"]);
        let two = used(json!([{"model": "stent", "serial": "S-2", "quantity": 2}]));
        assert_eq!(served.post(Clinician, two).await.0, 422);
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_without_parts_is_filled_from_the_shelf() {
    let served = shelf(Kind::Embedded).await;
    let line = |line: &str, fields: Value| {
        let mut all = json!({"line": line, "quantity": 1, "essential": true});
        all.as_object_mut().expect("fields").extend(fields.as_object().cloned().expect("fields"));
        all
    };
    let sheet = json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult", "lines": [
        line("barrel", json!({"family": "bronchoscope"})), line("cap", json!({"family": "cap"})),
        line("telescope", json!({"family": "telescope", "pack": "optics"})),
        with(line("suction catheter", json!({"models": ["catheter"]})), "quantity", json!(2))]});
    served.done(Lead, sheet).await;
    served.round("SET-1").await;
    assert_eq!(served.set("SET-1").await["status"], "not_ready");
    served.done(Desk, take_in(box_of("L-7", "491231"), 1)).await;
    assert_eq!(served.set("SET-1").await["missing"], json!(["suction catheter"]));
    served.done(Desk, take_in(box_of("L-8", "491231"), 5)).await;
    let set = served.set("SET-1").await;
    assert_eq!(
        (&set["status"], &set["missing"], &set["lines"][3]["shelf"]),
        (&json!("ready"), &json!([]), &json!(2)),
        "{set}"
    );
    let board = one(&served, "board").await;
    assert_eq!(board["sets"][0]["status"], "ready", "{board}");
    served
        .done(
            Desk,
            json!({"do": "stock_out", "model": "catheter", "lot": "L-8", "quantity": 5, "why": "recalled"}),
        )
        .await;
    assert_eq!(served.set("SET-1").await["status"], "not_ready");
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn single_use_at_the_sink_says_discard_at_every_step() {
    let served = shelf(Kind::Embedded).await;
    served.done(Lead, json!({"do": "add_asset", "asset": "S-1", "model": "stent"})).await;
    // What came back is a fact, and is received; every step after it says the same.
    served.done(Desk, json!({"do": "record_step", "step": "received", "scan": "S-1"})).await;
    for step in ["cleaned", "dried", "disinfected", "packed"] {
        let refused = served
            .refused(Desk, json!({"do": "record_step", "step": step, "scan": "S-1"}), "single_use")
            .await;
        assert!(
            refused["found"].as_str().expect("words").starts_with("Single-use: discard."),
            "{step}: {refused}"
        );
    }
    let wash = json!({"do": "start_load", "machine": "washer-1", "programme": "wash", "scan": "S-1"});
    let inspect = json!({"do": "inspect", "scan": "S-1", "passed": true});
    let steam = json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": "S-1"});
    for act in [wash, inspect, steam] {
        let refused = served.refused(Desk, act.clone(), "single_use").await;
        assert!(
            refused["found"].as_str().expect("words").starts_with("Single-use: discard."),
            "{act}: {refused}"
        );
    }
    // The pack of something that has no parts of its own names no part, and says what to do with it.
    let pack = json!({"do": "record_step", "step": "cleaned", "scan": box_of("L-7", "491231")});
    let refused = served.refused(Desk, pack, "unknown_thing").await;
    assert!(refused["found"].as_str().expect("words").starts_with("Single-use: discard."), "{refused}");
    served.sound().await;
    served.stop().await;
}
