//! What is not the house's own: loans and trials, strangers at the sink, parts that were mixed, and what lies on the shelf.
//!
//! That a loan is counted in and out, decontaminated before and after, and not used without its maker's instructions is
//! common practice; so is a stock of lots with minimum and date. GS1 identifiers (01), (10), (17) and (21) are those of the
//! GS1 General Specifications.

use fettle::domain::person::Role::{self, Biomed, Charge, Clinician, Desk, Lead};
use serde_json::{Value, json};

use super::case::{issue, plan};
use super::served::{BOTH, Kind, Served, wash_record};

mod browser;
mod mixed;
mod shelf;
mod stranger;

async fn house(kind: Kind) -> Served {
    let served = Served::start(kind).await;
    served.furnish().await;
    served
}

/// A barrel and a cap of a lender, as a set to the adult sheet.
fn arrival() -> Value {
    json!({"do": "arrive", "kind": "loan", "from": "Lender & Sons", "due_back": "2099-03-09",
           "set": {"set": "LENT", "count_sheet": "adult", "name": "Lent adult"},
           "parts": [{"mark": "LENDER-7", "model": "barrel", "line": "barrel", "prior_cycles": 40, "serial": "7"},
                     {"model": "cap", "line": "cap"}],
           "pieces": 2, "instructions": "edition 4, 2024", "condition": "clean", "labelled_decontaminated": true})
}

fn with(mut command: Value, name: &str, value: Value) -> Value {
    command[name] = value;
    command
}

fn without(mut command: Value, name: &str) -> Value {
    command.as_object_mut().expect("fields").remove(name);
    command
}

async fn steps(served: &Served, scan: &Value, names: &[&str]) {
    for name in names {
        served.done(Desk, json!({"do": "record_step", "step": name, "scan": scan})).await;
    }
}

/// From soiled through the washer; answers the load.
async fn washed(served: &Served, scan: Value) -> Value {
    steps(served, &scan, &["received", "cleaned"]).await;
    for one in scan.as_array().expect("a list") {
        let next = served.asset(one.as_str().expect("a name")).await["next_step"].clone();
        if next == "dried" {
            steps(served, &json!([one]), &["dried"]).await;
        }
    }
    let start = json!({"do": "start_load", "machine": "washer-1", "programme": "wash", "scan": scan});
    let load = served.done(Desk, start).await["made"].clone();
    served.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(300)})).await;
    served.done(Desk, json!({"do": "release_load", "load": load})).await;
    load
}

/// Each kind of entry that this is about, once.
pub async fn every_kind(served: &Served) {
    let told = served.done(Desk, with(arrival(), "loan", json!("LOAN-1"))).await;
    assert_eq!(told["event"]["loan"], "LOAN-1");
    let leave =
        json!({"do": "leave", "loan": "LOAN-1", "scan": "LENT", "not_decontaminated": "fetched unopened"});
    served.done(Desk, leave).await;
    let received =
        json!({"do": "receive_stranger", "tag": "TAG-1", "kind": "unmarked", "looks": "a forceps"});
    served.done(Desk, received).await;
    served
        .done(
            Desk,
            json!({"do": "tell_owner", "stranger": "TAG-1", "owner": "Example Hospital", "words": "Come."}),
        )
        .await;
    served.done(Lead, json!({"do": "settle_stranger", "stranger": "TAG-1", "outcome": "discarded"})).await;
    for asset in ["MIX-1", "MIX-2"] {
        served.done(Lead, json!({"do": "add_asset", "asset": asset, "model": "cap"})).await;
    }
    let doubt =
        json!({"do": "identity_doubt", "doubt": "DOUBT-1", "scan": ["MIX-1", "MIX-2"], "how": "one basket"});
    served.done(Desk, doubt).await;
    served.done(Lead, json!({"do": "settle_identity", "doubt": "DOUBT-1", "how": "a dot"})).await;
    let define = json!({"do": "define_model", "model": "swab", "family": "accessory", "name": "Swab", "route": "metal", "single_use": true});
    served.done(Biomed, define).await;
    served.done(Desk, json!({"do": "stock_in", "model": "swab", "lot": "S-1", "quantity": 9})).await;
    served
        .done(
            Desk,
            json!({"do": "stock_out", "model": "swab", "lot": "S-1", "quantity": 1, "why": "damaged"}),
        )
        .await;
    served.done(Lead, json!({"do": "set_stock_minimum", "model": "swab", "minimum": 2})).await;
    let case = json!({"do": "plan_case", "case": "K-SHELF", "start": "2999-03-02T08:00:00Z", "minutes": 45, "needs": []});
    served.done(Charge, case).await;
    served
        .done(
            Clinician,
            json!({"do": "use_stock", "case": "K-SHELF", "items": [{"model": "swab", "lot": "S-1"}]}),
        )
        .await;
}

async fn one(served: &Served, path: &str) -> Value {
    let (status, body) = served.get(path).await;
    assert_eq!(status, 200, "{path}: {body}");
    body
}

/// The words of an answer's field as a list.
fn names(list: &Value, field: &str) -> Vec<String> {
    let all = list.as_array().expect("a list");
    all.iter().map(|it| it[field].as_str().unwrap_or_default().to_string()).collect()
}

/// What one server wrote another reads back from the tables, and says the same.
#[tokio::test(flavor = "multi_thread")]
async fn another_server_reads_what_was_written() {
    for kind in BOTH {
        let served = house(kind).await;
        every_kind(&served).await;
        served.done(Desk, with(arrival(), "set", json!({"set": "LENT-2", "count_sheet": "adult"}))).await;
        served
            .done(
                Desk,
                json!({"do": "receive_stranger", "tag": "TAG-2", "kind": "unmarked", "looks": "a tube"}),
            )
            .await;
        let fetched = json!({"do": "settle_stranger", "stranger": "TAG-2", "outcome": "collected"});
        served.done(Desk, fetched).await;
        let other = Served::on(served.url.clone(), None, Some(&served)).await;
        for path in
            ["loans", "strangers", "identity-doubts", "stock", "cases/K-SHELF/stock", "sets", "due", "board"]
        {
            let (here, there) = (one(&served, path).await, one(&other, path).await);
            assert_eq!(
                (&here["items"], &here["sets"]),
                (&there["items"], &there["sets"]),
                "{kind:?}: {path}"
            );
        }
        other.stop().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_loan_without_instructions_is_refused_or_somebody_answers_for_it() {
    for kind in BOTH {
        let served = house(kind).await;
        let bare = without(arrival(), "instructions");
        let refused = served.refused(Desk, bare.clone(), "not_complete").await;
        assert!(refused["needed"].as_str().expect("words").contains("named risk"), "{refused}");
        let blank = with(bare.clone(), "risk", json!({"person": "Dr One", "reason": " "}));
        served.refused(Desk, blank, "needs_reason").await;
        let risk = with(bare, "risk", json!({"person": "Dr One", "reason": "A bleeding airway."}));
        let told = served.done(Desk, risk).await;
        assert_eq!(told["deviation"], json!(["not_complete"]));
        let person = told["event"]["risk"]["person"].as_str().expect("a seal");
        assert!(person.starts_with("sealed:"), "who answers for it stands in no ledger by name: {person}");
        // It stands among the exceptions of the month.
        let exceptions = one(&served, "exceptions").await;
        let entries = &exceptions["out_of_the_ordinary"]["entries"];
        let kinds = names(entries, "kind");
        assert!(kinds.contains(&"arrived".to_string()), "{entries}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_loan_is_decontaminated_here_counted_and_goes_with_a_certificate() {
    for kind in BOTH {
        let served = house(kind).await;
        let told = served.done(Desk, arrival()).await;
        let loan = told["made"].as_str().expect("a name").to_string();
        // Whatever its label says, its parts begin soiled; its barrel has its age.
        let barrel = served.asset("LENDER-7").await;
        assert_eq!(
            (&barrel["stage"], &barrel["turn"], &barrel["cycles"]),
            (&json!("soiled"), &json!(1), &json!(40))
        );
        let (barrel, cap) = (barrel["asset"].clone(), json!(format!("{loan}.2")));
        assert_eq!(served.set("LENT").await["lines"][0]["present"], json!([barrel]));
        let leave = |scan: Value| json!({"do": "leave", "loan": loan, "scan": scan});
        // Nothing of ours goes with it, and nothing soiled without a word.
        let ours = served.refused(Desk, leave(json!(["LENT", "B-1"])), "out_of_order").await;
        assert!(ours["also"].as_array().expect("codes").contains(&json!("not_on_sheet")), "{ours}");
        served.refused(Desk, leave(json!("LENT")), "out_of_order").await;
        let load = washed(&served, json!([barrel])).await;
        // The cap is not there: it is a fact, and the loan stays open with the cap named.
        let gone = served.done(Desk, leave(json!([barrel]))).await;
        assert_eq!(gone["deviation"], json!(["not_complete"]), "{gone}");
        assert_eq!(gone["event"]["lacking"], json!([cap]));
        assert_eq!(gone["event"]["parts"][0]["by"]["load"], load);
        let it = one(&served, &format!("loans/{loan}")).await;
        assert_eq!((&it["open"], &it["lacking"]), (&json!(true), &json!([cap])), "{it}");
        let due = one(&served, "due").await;
        assert!(names(&due["items"], "why").contains(&"loan_lacks".to_string()), "{due}");
        // What left is offered nowhere, and its past is kept.
        assert_eq!(served.asset("LENDER-7").await["standing"], "retired");
        served
            .refused(Desk, json!({"do": "record_step", "step": "cleaned", "scan": "LENDER-7"}), "retired")
            .await;
        let back = one(&served, "look-back?asset=LENDER-7").await;
        assert_eq!(names(&back["loads"], "load"), vec![load.as_str().expect("a name").to_string()]);
        // It goes as it is: that is said, and on the certificate.
        let as_it_is = with(leave(json!([cap])), "not_decontaminated", json!("Its lender fetched it."));
        let rest = served.done(Desk, as_it_is).await;
        assert_eq!(rest["deviation"], json!(["out_of_order"]));
        assert_eq!(one(&served, &format!("loans/{loan}")).await["open"], json!(false));
        let (status, _) = served.get("sets/LENT").await;
        assert_eq!(status, 404, "its set is no longer in the house");
        let board = one(&served, "board").await;
        assert!(!names(&board["sets"], "set").contains(&"LENT".to_string()));
        served
            .refused(
                Lead,
                json!({"do": "build_set", "set": "LENT", "count_sheet": "adult", "name": "n"}),
                "name_taken",
            )
            .await;
        let twice = leave(json!([cap]));
        served.refused(Desk, twice, "already_done").await;
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_piece_is_found_again_by_its_mark() {
    for kind in BOTH {
        let served = house(kind).await;
        let told = served.done(Desk, arrival()).await;
        let loan = told["made"].clone();
        let barrel = served.asset("LENDER-7").await["asset"].clone();
        // What is in the house can't come.
        served
            .refused(Desk, with(arrival(), "set", json!({"set": "X", "count_sheet": "adult"})), "name_taken")
            .await;
        let leave = json!({"do": "leave", "loan": loan, "scan": "LENT", "not_decontaminated": "not opened"});
        served.done(Desk, leave).await;
        let again = json!({"do": "arrive", "kind": "trial", "from": "Lender & Sons", "due_back": "2099-04-09",
                           "set": {"set": "LENT"}, "parts": [{"mark": "LENDER-7", "line": "barrel"}],
                           "instructions": "edition 4, 2024"});
        let told = served.done(Desk, again).await;
        assert_eq!(told["event"]["parts"][0]["asset"], barrel, "the same piece");
        let it = served.asset("LENDER-7").await;
        assert_eq!(
            (&it["asset"], &it["cycles"], &it["standing"]),
            (&barrel, &json!(40), &json!("in_service"))
        );
        assert_eq!(served.set("LENT").await["lines"][0]["present"], json!([barrel]));
        let named = one(&served, &format!("loans/{}", told["made"].as_str().expect("a name"))).await;
        assert_eq!(named["parts"][0], json!({"asset": barrel, "again": true}));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_a_loan_is_told_with_its_place() {
    let served = house(Kind::Embedded).await;
    let part = |fields: Value| with(without(arrival(), "set"), "parts", json!([fields]));
    let wrong = [
        (with(arrival(), "parts", json!([])), "/parts"),
        (without(arrival(), "due_back"), "/due_back"),
        (with(arrival(), "due_back", json!("2026-02-30")), "/due_back"),
        (with(arrival(), "pieces", json!(-1)), "/pieces"),
        (with(arrival(), "pieces", json!(0)), "/pieces"),
        (with(arrival(), "from", json!("\u{200b}")), "/from"),
        (part(json!({"model": "cap", "line": "cap"})), "/parts/0/line"),
        (part(json!({"mark": "never seen"})), "/parts/0/model"),
        (part(json!({"model": "cap", "prior_cycles": -3})), "/parts/0/prior_cycles"),
    ];
    for (command, pointer) in wrong {
        let (status, body) = served.post(Desk, command.clone()).await;
        assert_eq!(
            (status, body["errors"][0]["pointer"].as_str()),
            (422, Some(pointer)),
            "{command}: {body}"
        );
    }
    served.refused(Desk, with(arrival(), "due_back", json!("2001-01-01")), "past_date").await;
    served.refused(Desk, with(arrival(), "case", json!("K-99")), "unknown_thing").await;
    let two = with(
        arrival(),
        "parts",
        json!([{"model": "barrel", "line": "barrel"}, {"model": "barrel", "line": "barrel"}]),
    );
    served.refused(Desk, two, "line_full").await;
    let other = with(arrival(), "parts", json!([{"model": "scope", "line": "barrel"}]));
    served.refused(Desk, other, "not_fitting").await;
    // A cause of what leaves is no cause of a retirement.
    let retire = json!({"do": "retire", "asset": "C-2", "cause": "returned", "failure": false});
    assert_eq!(served.post(Biomed, retire).await.0, 422);
    // Damaged as it came: held, and counted in all the same.
    let torn = with(arrival(), "parts", json!([{"model": "cap", "line": "cap", "damage": "rim torn"}]));
    let told = served.done(Desk, torn).await;
    assert_eq!(told["deviation"], json!(["not_complete"]), "its sheet names two");
    let cap = told["event"]["parts"][0]["asset"].as_str().expect("a name").to_string();
    assert_eq!(served.asset(&cap).await["standing"], "held");
    served.sound().await;
    served.stop().await;
}
