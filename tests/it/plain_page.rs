//! What pages say before and after an act: what a narrower recall frees, what a machine's return asks, why a load cannot be
//! started, what was left empty. No rule stands here; what each must say follows from the trade's rules, named where they are.

use fettle::domain::person::Role::{Admin, Biomed, Desk, Infection, Lead};
use serde_json::json;

use super::page::{act, open, person};
use super::served::{Kind, Served, steam_record, wash_record};

/// A load of `C-2` in the steriliser, whose record failed and which nobody has decided.
async fn failed_load(served: &Served) -> String {
    let start = json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": ["C-2"]});
    for step in ["treated", "received", "cleaned", "dried"] {
        served.done(Lead, json!({"do": "record_step", "step": step, "scan": ["C-2"]})).await;
    }
    let wash = served.load("washer-1", "wash", "C-2").await;
    served.done(Desk, json!({"do": "judge_load", "load": wash, "record": wash_record(700)})).await;
    served.done(Desk, json!({"do": "release_load", "load": wash})).await;
    served.done(Desk, json!({"do": "inspect", "scan": ["C-2"], "passed": true})).await;
    served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": ["C-2"]})).await;
    let failed = served.done(Desk, start).await["made"].as_str().expect("a load").to_string();
    served.done(Desk, json!({"do": "judge_load", "load": failed, "record": steam_record(20)})).await;
    failed
}

/// Both published rules exist: back to the last negative indicator, or the single load where the cause is proven (CDC
/// Guideline for Disinfection and Sterilization, 2008). Before the second is taken the page says what it frees.
#[tokio::test(flavor = "multi_thread")]
async fn a_recall_shows_what_a_narrower_window_frees_before_it_is_narrowed() {
    let served = Served::start(Kind::Embedded).await;
    let (first, second) = served.both_readied().await;
    let failed = failed_load(&served).await;
    served.done(Lead, json!({"do": "recall", "machine": "steriliser-1", "reason": "a door seal"})).await;
    let held = json!({"do": "hold", "kind": "quality", "reason": "image dim", "scan": "T-1"});
    served.done(Lead, held).await;
    let client = person(&served, Infection).await;
    let (_, _, page) = open(&client, &served, "/recalls/recall-0001").await;
    // The parts stand by their sets, and the list says what keeps the recall from being closed.
    assert!(page.contains("name=\"scan:each\" value=\"SET-2\""), "{page}");
    assert!(
        page.contains("It can't be closed yet. Not answered for: <b>7 parts (3 of SET-1, 3 of SET-2"),
        "{page}"
    );
    // Enter in the list presses a button that does nothing.
    let answer = page.split_once("id=\"answer\"").expect("the form").1;
    let button = answer.split("<button").nth(1).expect("a button");
    assert!(button.starts_with(" disabled hidden"), "{button}");
    let (status, _, page) =
        open(&client, &served, &format!("/recalls/recall-0001/narrow?loads={second}")).await;
    assert_eq!(status, 200);
    assert!(
        page.contains("Narrowed to 1 of 3 loads, recall-0001 frees 3 parts at once; 4 parts stay on hold."),
        "{page}"
    );
    assert!(page.contains(&format!("Load {failed}: its record failed.")), "{page}");
    assert!(page.contains("SET-1 (2 parts), C-2") || page.contains("C-2, SET-1 (2 parts)"), "{page}");
    assert!(page.contains("On hold for another reason</dt><dd>1 part: T-1"), "{page}");
    // Looking at it changes nothing.
    assert_eq!(served.asset("B-1").await["held"][0]["kind"], "recall");
    let (_, _, page) = open(&client, &served, &format!("/recalls/recall-0001/narrow?since={second}")).await;
    assert!(page.contains("Narrowed to 2 of 3 loads") && !page.contains("its record failed"), "{page}");
    let (_, _, page) = open(&client, &served, "/recalls/recall-0001/narrow").await;
    assert!(page.contains("no load is ticked") && !page.contains("narrow_recall"), "{page}");
    let narrow = [
        ("do", "narrow_recall"),
        ("recall", "recall-0001"),
        ("reason", "proven"),
        ("loads:each", &second),
        ("back", "/recalls/recall-0001"),
    ];
    let (status, _, page) = act(&client, &served, &narrow).await;
    assert!(status == 200 && page.contains("from 3 loads to 1"), "{page}");
    assert!(served.asset("B-1").await["held"].as_array().is_some_and(Vec::is_empty));
    assert_eq!(served.asset("T-1").await["held"][0]["kind"], "quality");
    assert!(!first.is_empty());
    // A ticked set stands for all of it that has no answer.
    let answer = [
        ("do", "answer_recall"),
        ("recall", "recall-0001"),
        ("scan:each", "SET-2"),
        ("then", "reprocess"),
        ("outcome", "again"),
        ("back", "/recalls/recall-0001"),
    ];
    let (status, _, page) = act(&client, &served, &answer).await;
    assert!(status == 200 && page.contains("Everything is answered for; it may be closed."), "{page}");
    served.sound().await;
    served.stop().await;
}

/// Three good empty cycles after a major repair (CDC 2008, Sterilizing Practices): the form says so before it is sent.
#[tokio::test(flavor = "multi_thread")]
async fn a_machine_comes_back_with_what_was_done_and_says_what_follows() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served
        .done(Desk, json!({"do": "machine_out", "machine": "steriliser-1", "reason": "the door jams"}))
        .await;
    let client = person(&served, Biomed).await;
    let (_, _, page) = open(&client, &served, "/machines/steriliser-1").await;
    let back = page.split_once("id=\"back\"").expect("the form").1;
    assert_eq!(back.matches("name=\"note\" required").count(), 2, "{back}");
    assert!(back.contains("requalifying, 0 of 3"), "{back}");
    let fields = [
        ("do", "machine_back"),
        ("machine", "steriliser-1"),
        ("after", "major_repair"),
        ("note", "a new door seal, order 7"),
        ("back", "/machines/steriliser-1"),
    ];
    let (status, _, page) = act(&client, &served, &fields).await;
    assert!(status == 200 && page.contains("<b>Requalifying, 0 of 3</b>"), "{page}");
    // What is to be requalified does not come back as after something minor.
    assert!(!page.contains("value=\"minor\""), "{page}");
    let desk = person(&served, Desk).await;
    let (_, _, page) = open(&desk, &served, "/loads").await;
    assert!(page.contains("<b>steriliser-1</b>, steriliser: no load can be started now."), "{page}");
    assert!(!page.contains("Start the load in steriliser-1") && page.contains("Start the load in washer-1"));
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_form_has_a_field_for_what_was_left_empty_and_no_words_of_programs() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let client = person(&served, Lead).await;
    let (_, loads) = served.get("loads").await;
    let load = loads["items"][0]["load"].as_str().expect("a load").to_string();
    let indicator =
        [("do", "record_indicator"), ("load", load.as_str()), ("indicator", "chemical"), ("lot", "CI-7")];
    let (status, _, page) = act(&client, &served, &indicator).await;
    assert_eq!(status, 422);
    assert!(page.contains("Result is empty.") && page.contains("<select name=\"result\">"), "{page}");
    assert!(
        page.contains("value=\"CI-7\"") && page.contains("<option value=\"fail\">failed</option>"),
        "{page}"
    );
    let odd =
        [("do", "record_indicator"), ("load", load.as_str()), ("indicator", "chem"), ("result", "pass")];
    let (_, _, page) = act(&client, &served, &odd).await;
    assert!(page.contains("<option selected>chem</option>") && !page.contains("variant"), "{page}");
    let admin = person(&served, Admin).await;
    let machine = [
        ("do", "define_machine"),
        ("machine", "st-9"),
        ("programmes.0.programme", "p"),
        ("programmes.0.method", "steam"),
        ("programmes.0.hold_s", "180"),
    ];
    let (_, _, page) = act(&admin, &served, &machine).await;
    assert!(page.contains("<select name=\"kind\">") && page.contains("steriliser</option>"), "{page}");
    let more: Vec<(&str, &str)> = machine.into_iter().chain([("kind", "steriliser")]).collect();
    let (_, _, page) = act(&admin, &served, &more).await;
    assert!(page.contains("Programme 1: band from, in °C: left empty; a hold needs the band"), "{page}");
    for word in ["`", "missing field", "JSON", "variant", "programmes/0"] {
        assert!(!page.contains(word), "{word}: {page}");
    }
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_cannot_be_read_leads_to_its_machines_record_form() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    for step in ["treated", "received", "cleaned", "dried"] {
        served.done(Lead, json!({"do": "record_step", "step": step, "scan": ["C-2"]})).await;
    }
    let load = served.load("washer-1", "wash", "C-2").await;
    let client = person(&served, Desk).await;
    let judge = [("do", "judge_load"), ("load", load.as_str()), ("record", "Zeit;Temp\n0;20\n")];
    let (status, _, page) = act(&client, &served, &judge).await;
    assert_eq!(status, 422);
    assert!(page.contains("href=\"/machines/washer-1/record-form\""), "{page}");
    // Eight rows stand on the form before a sample is chosen; who may not change it is told so.
    let lead = person(&served, Lead).await;
    let (_, _, page) = open(&lead, &served, "/machines/washer-1/record-form").await;
    assert_eq!(page.matches("aria-label=\"Column ").count(), 4 * 8, "{page}");
    assert!(!page.contains("Your role reads this form"));
    let biomed = person(&served, Biomed).await;
    let (_, _, page) = open(&biomed, &served, "/machines/washer-1/record-form").await;
    assert!(
        page.contains("Your role reads this form and does not change it")
            && page.contains("<fieldset disabled>"),
        "{page}"
    );
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mistyped_word_takes_nothing_out_of_the_hand() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let client = person(&served, Desk).await;
    let (_, _, page) = open(&client, &served, "/desk?scan=SET-1").await;
    let csrf = super::page::csrf(&page);
    let form = [("csrf", csrf.as_str()), ("thing", "SET-1"), ("scan", "wett")];
    let answer = client.post(format!("{}/desk", served.base)).form(&form).send().await.expect("an answer");
    let (status, _, page) = super::page::read(answer).await;
    assert_eq!(status, 409);
    assert!(page.contains("wett: not known. SET-1 is still in your hand."), "{page}");
    assert!(page.contains("name=\"thing\" value=\"SET-1\""), "{page}");
    served.stop().await;
}
