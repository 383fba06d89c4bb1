//! The wrong thing scanned: said by whoever noticed, counted twice until the lead has settled it, and what a correction that comes
//! too late cannot undo.

use fettle::domain::person::Role::{Charge, Clinician, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::paper::Visit;
use super::served::{BOTH, Kind, Served};

/// Two sets at hand: SET-1 is ready, and C-2 lies soiled beside it. SET-1 goes to a case, and B-1 is used there.
async fn at_a_case(served: &Served) -> Value {
    served.furnish().await;
    served.round("SET-1").await;
    let start = (chrono::Utc::now() + chrono::TimeDelta::hours(1)).to_rfc3339();
    served
        .done(
            Charge,
            json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 60, "needs": ["adult"]}),
        )
        .await;
    served.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"})).await;
    served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "B-1"})).await["entry"].clone()
}

async fn at_cases(served: &Served, asset: &str) -> Vec<String> {
    let (_, found) = served.get(&format!("look-back?asset={asset}")).await;
    found["cases"]
        .as_array()
        .expect("cases")
        .iter()
        .map(|it| it["case"].as_str().expect("a case").into())
        .collect()
}

fn report(entry: &Value, meant: Option<&str>) -> Value {
    let mut all = json!({"do": "report_wrong_thing", "entry": entry, "because": "both lay on the table"});
    if let Some(meant) = meant {
        all["meant"] = json!(meant);
    }
    all
}

fn settle(report: &Value, confirmed: bool) -> Value {
    json!({"do": "settle_wrong_thing", "report": report, "confirmed": confirmed, "reason": "asked at the table"})
}

#[tokio::test(flavor = "multi_thread")]
async fn until_the_lead_settles_it_a_look_back_counts_both() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let entry = at_a_case(&served).await;
        served.refused(Desk, report(&json!(99_999), None), "unknown_thing").await;
        served.refused(Desk, report(&json!(1), None), "out_of_order").await;
        served.refused(Desk, report(&entry, Some("B-1")), "already_done").await;
        assert!(at_cases(&served, "C-2").await.is_empty());
        let told = served.done(Desk, report(&entry, Some("C-2"))).await;
        served.refused(Clinician, report(&entry, Some("C-2")), "already_done").await;
        assert_eq!(at_cases(&served, "C-2").await, ["K-1"], "the thing meant");
        assert_eq!(at_cases(&served, "B-1").await, ["K-1"], "the thing scanned");
        let (_, of_case) = served.get("look-back?case=K-1").await;
        assert!(
            of_case["assets"].as_array().is_some_and(|all| all.iter().any(|it| it["asset"] == "C-2")),
            "{of_case}"
        );
        let (_, open) = served.get("wrong-things?open=true").await;
        assert_eq!(
            (open["items"].as_array().map(Vec::len), &open["items"][0]["counts_both"]),
            (Some(1), &json!(true))
        );
        // Not so: the entry stands, and nothing is counted twice any more.
        served.done(Lead, settle(&told["made"], false)).await;
        assert!(at_cases(&served, "C-2").await.is_empty());
        served.refused(Lead, settle(&told["made"], true), "already_done").await;
        // So it was, and nothing rests on the entry yet: it is taken back, and told of the other.
        let told = served.done(Desk, report(&entry, Some("T-1"))).await;
        let settled = served.done(Lead, settle(&told["made"], true)).await;
        assert_eq!(settled["event"]["corrected"]["entry"], entry, "{settled}");
        let uses = |asset: Value| asset["uses"].as_u64();
        assert_eq!((uses(served.asset("B-1").await), uses(served.asset("T-1").await)), (Some(0), Some(1)));
        assert!(at_cases(&served, "B-1").await.is_empty());
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_correction_that_comes_too_late_names_what_it_cannot_undo() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let step = |step: &str, scan: &str| json!({"do": "record_step", "step": step, "scan": scan});
        served.done(Charge, step("treated", "SET-1")).await;
        served.done(Desk, step("received", "SET-1")).await;
        served.done(Desk, step("received", "C-2")).await;
        // C-2 was cleaned; C-1 was scanned, and went on as if it had been.
        served.done(Desk, step("cleaned", "B-1")).await;
        served.done(Desk, step("cleaned", "T-1")).await;
        let wrong = served.done(Desk, step("cleaned", "C-1")).await["entry"].clone();
        served.done(Desk, step("dried", "SET-1")).await;
        served.done(Desk, step("disinfected", "T-1")).await;
        served.rest_of_a_round("SET-1").await;
        assert_eq!(served.set("SET-1").await["status"], "ready");
        let told = served.done(Desk, report(&wrong, Some("C-2"))).await;
        let settled = served.done(Lead, settle(&told["made"], true)).await;
        assert_eq!(settled["deviation"], json!(["not_last"]), "{settled}");
        let stands = &settled["event"]["stands"][0];
        assert_eq!(
            (&stands["asset"], stands["loads"].as_array().map(Vec::len)),
            (&json!("C-1"), Some(2)),
            "{settled}"
        );
        assert_eq!(settled["event"]["told"]["act"]["event"]["step"], "cleaned");
        assert_eq!(served.asset("C-2").await["stage"], "cleaned", "as of the time at which it was");
        // What went through as if it had been cleaned is held, and its set with it.
        assert_eq!(served.set("SET-1").await["status"], "held");
        let (_, history) = served.get("assets/C-1/history?limit=1").await;
        assert_eq!(history["items"][0]["kind"], "wrong_thing_settled", "{history}");
        served.sound().await;
        served.stop().await;
    }
}

/// A part that may have lain in a load in another's place: the load and what follows from it are counted for both, for good.
#[tokio::test(flavor = "multi_thread")]
async fn what_may_have_been_in_a_load_is_counted_with_it() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let (_, loads) = served.get("loads").await;
    let load = loads["items"]
        .as_array()
        .expect("loads")
        .iter()
        .find(|it| it["machine"] == "steriliser-1")
        .expect("a load");
    let name = load["load"].as_str().expect("an id").to_string();
    let (_, history) = served.get("assets/B-1/history").await;
    let started =
        history["items"].as_array().expect("entries").iter().find(|it| it["kind"] == "load_started");
    let entry = started.expect("the load")["seq"].clone();
    let told = served.done(Desk, report(&entry, Some("C-2"))).await;
    let of_load = async || {
        let (_, found) = served.get(&format!("look-back?load={name}")).await;
        found["assets"].as_array().expect("parts").iter().any(|it| it["asset"] == "C-2")
    };
    assert!(of_load().await);
    let settled = served.done(Lead, settle(&told["made"], true)).await;
    assert_eq!(settled["event"].get("told"), None, "{settled}");
    assert!(of_load().await, "no command tells that another part lay in a load");
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_desk_says_so_on_a_page_and_the_lead_settles_it_there() {
    let served = Served::start(Kind::Embedded).await;
    let entry = at_a_case(&served).await.to_string();
    let desk = Visit::of(&served, Desk, "desk-7").await;
    let page = desk.get("/assets/B-1").await;
    assert!(page.contains(&format!("/wrong-things?entry={entry}")), "a way from the line of history: {page}");
    let page = desk.get(&format!("/wrong-things?entry={entry}")).await;
    assert!(page.contains("names the wrong thing?") && page.contains("This was another"), "{page}");
    let fields = [
        ("do", "report_wrong_thing"),
        ("entry:int", entry.as_str()),
        ("meant:lines", "T-1"),
        ("back", "/wrong-things"),
    ];
    let page = desk.send("/act", &fields).await;
    assert!(page.contains("1 report of a wrong thing scanned waits for the lead"), "{page}");
    assert!(!page.contains("Settle wrong-thing-0001"), "{page}");
    let lead = Visit::of(&served, Lead, "lead-7").await;
    let page = lead.get("/handover").await;
    assert!(page.contains("1 report of a wrong thing scanned waits"), "{page}");
    let page = lead.get("/wrong-things").await;
    assert!(page.contains("Settle wrong-thing-0001"), "{page}");
    let fields = [
        ("do", "settle_wrong_thing"),
        ("report", "wrong-thing-0001"),
        ("instead:lines", "T-1"),
        ("reason", "asked"),
        ("confirmed:bool", "true"),
        ("back", "/wrong-things"),
    ];
    let page = lead.send("/act", &fields).await;
    assert!(page.contains("confirmed and corrected"), "{page}");
    let page = Visit::of(&served, Infection, "inf-7").await.get("/ledger").await;
    assert!(page.contains("wrong-thing-0001: entry") && page.contains("is taken back"), "{page}");
    served.sound().await;
    served.stop().await;
}
