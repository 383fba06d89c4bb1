//! Packs that broke: one scan and one word, and what is counted of them by machine, shelf and packaging.

use fettle::domain::person::Role::{self, Admin, Charge, Clinician, Desk, Infection, Lead};
use serde_json::{Value, json};

use super::page::{csrf, open, person, read};
use super::served::{BOTH, Kind, Served};

fn broken(scan: &str, why: &str) -> Value {
    json!({"do": "pack_broken", "scan": [scan], "why": why})
}

async fn report(served: &Served, query: &str) -> Value {
    let (status, body) = served.get(&format!("broken-packs{query}")).await;
    assert_eq!(status, 200, "{body}");
    body
}

/// The row of a list of counts that has this name.
fn row<'a>(report: &'a Value, list: &str, name: &Value) -> &'a Value {
    let rows = report[list].as_array().expect("a list");
    rows.iter().find(|row| row["name"] == *name).unwrap_or_else(|| panic!("{name} in {list}: {report}"))
}

#[tokio::test(flavor = "multi_thread")]
async fn packs_are_counted_by_machine_shelf_and_packaging() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        served.done(Desk, json!({"do": "put_away", "scan": "SET-1", "location": "bay 3"})).await;
        // One part names its pack; the optics stay closed.
        let told = served.done(Desk, broken("B-1", "torn")).await;
        let packs = told["event"]["packs"].as_array().expect("packs");
        assert_eq!(packs.len(), 1, "{told}");
        let pack = json!({"parts": ["B-1", "C-1"], "set": "SET-1", "pack": "tray", "load": "load-00002",
                          "machine": "steriliser-1", "location": "bay 3"});
        assert_eq!(packs[0], pack);
        assert_eq!(served.asset("B-1").await["stage"], "inspected");
        assert_eq!(served.asset("T-1").await["stage"], "ready");
        let first = report(&served, "").await;
        assert_eq!(first["why"], json!({"torn": 1}), "{first}");
        let machine = row(&first, "machines", &json!("steriliser-1"));
        // The count sheet has two packs: tray and optics.
        assert_eq!((machine["all"].as_u64(), machine["packs"].as_u64()), (Some(1), Some(2)), "{machine}");
        assert_eq!(row(&first, "shelves", &json!("bay 3"))["why"], json!({"torn": 1}));
        assert_eq!(row(&first, "packagings", &Value::Null)["all"], 1);
        in_the_chamber(&served).await;
        served.sound().await;
        served.stop().await;
    }
}

/// Wrapped again, in a pouch, and found wet before the load is decided.
async fn in_the_chamber(served: &Served) {
    let pack = json!({"do": "record_step", "step": "packed", "scan": ["B-1"], "packaging": "pouch"});
    served.done(Desk, pack).await;
    assert_eq!(served.asset("B-1").await["packaging"], "pouch");
    let load = served.load("steriliser-1", "p134", "SET-1").await;
    let told = served.done(Desk, broken("C-1", "wet")).await;
    let pack = &told["event"]["packs"][0];
    assert_eq!((&pack["load"], &pack["packaging"]), (&json!(load), &json!("pouch")), "{told}");
    let found = report(served, "").await;
    assert_eq!((&found["broken"], &found["why"]), (&json!(2), &json!({"wet": 1, "torn": 1})), "{found}");
    assert_eq!(row(&found, "packagings", &json!("pouch"))["why"], json!({"wet": 1}));
    assert_eq!(
        row(&found, "machines", &json!("steriliser-1"))["all"],
        2,
        "a load that runs is its machine's"
    );
    // What is taken back did not break, and everything is as it was.
    let wrong = json!({"do": "correct", "entry": told["entry"], "reason": "another pack was meant"});
    served.done(Lead, wrong).await;
    assert_eq!(report(served, "").await["why"], json!({"torn": 1}));
    assert_eq!(served.asset("C-1").await["in_load"], json!(load));
    let again = served.done(Desk, broken("C-1", "wet")).await;
    assert_eq!(again["event"]["packs"][0]["packaging"], "pouch", "it is still in its pouch: {again}");
    served.done(Desk, json!({"do": "reject_load", "load": load, "reason": "wet"})).await;
    // Repacked without a word about it, the old packaging is not told again.
    served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": ["B-1"]})).await;
    let dropped = served.done(Desk, broken("B-1", "dropped")).await;
    assert_eq!(dropped["event"]["packs"][0].get("packaging"), None, "{dropped}");
    assert_eq!(dropped["event"]["packs"][0].get("machine"), None, "no load was over it: {dropped}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_holds_what_happened_in_it() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    served.done(Desk, broken("SET-1", "past_date")).await;
    assert_eq!(report(&served, "").await["broken"], 2, "a set stands for both of its packs");
    let before = report(&served, "?from=2020-01-01T00:00:00Z&to=2020-02-01T00:00:00Z").await;
    assert_eq!((&before["broken"], &before["packs"]), (&json!(0), &json!([])));
    for wrong in ["?from=yesterday", "?to=2020-01-01", "?since=1", "?from=2030-01-01T00:00:00Z"] {
        let (status, body) = served.get(&format!("broken-packs{wrong}")).await;
        assert_eq!((status, &body["code"]), (422, &json!("malformed")), "{wrong}: {body}");
    }
    // Told again of a pack that is open already, it is a fact beside its rule, and no second pack.
    let again = served.done(Desk, broken("B-1", "torn")).await;
    assert_eq!(again["deviation"], json!(["out_of_order"]));
    assert_eq!(report(&served, "").await["broken"], 2);
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pack_that_breaks_at_a_case_is_opened_there() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let plan = json!({"do": "plan_case", "case": "K-1", "start": "2999-03-02T08:00:00Z", "minutes": 45, "needs": []});
    served.done(Charge, plan).await;
    served.done(Charge, json!({"do": "issue", "case": "K-1", "scan": "SET-1"})).await;
    let told = served.done(Clinician, broken("T-1", "dropped")).await;
    assert_eq!(told["event"]["packs"][0]["machine"], "steriliser-1", "{told}");
    assert_eq!(served.asset("T-1").await["stage"], "in_use");
    assert_eq!(served.get("cases/K-1").await.1["opened"], json!(["T-1"]));
    assert_eq!(report(&served, "").await["why"], json!({"dropped": 1}));
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn at_the_desk_it_takes_one_scan_and_one_word() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let client = person(&served, Desk).await;
    let (_, _, page) = open(&client, &served, "/desk?scan=SET-1").await;
    assert!(page.contains("Type one word and press Enter"), "{page}");
    let token = csrf(&page);
    let desk = format!("{}/desk", served.base);
    // Enter alone presses a button that records nothing: a second line end of the scanner breaks no pack.
    let alone = [("csrf", token.as_str()), ("thing", "SET-1"), ("scan", "")];
    let (_, _, page) = read(client.post(&desk).form(&alone).send().await.expect("an answer")).await;
    assert!(page.contains("Nothing is recorded yet."), "{page}");
    assert_eq!(report(&served, "").await["broken"], 0);
    // Enter presses the first button too; the word outranks it.
    let word = [("csrf", token.as_str()), ("thing", "SET-1"), ("act", "step:received"), ("scan", "wet")];
    let (status, _, page) = read(client.post(&desk).form(&word).send().await.expect("an answer")).await;
    assert_eq!(status, 200, "{page}");
    assert!(
        page.contains("SET-1 (3 parts): pack broken, wet. Entry ") && page.contains("Unsterile."),
        "{page}"
    );
    for asset in ["B-1", "C-1", "T-1"] {
        assert_eq!(served.asset(asset).await["stage"], "inspected", "{asset}");
    }
    let packed =
        [("csrf", token.as_str()), ("thing", "SET-1"), ("act", "step:packed"), ("packaging", "wrap")];
    let (status, _, page) = read(client.post(&desk).form(&packed).send().await.expect("an answer")).await;
    assert_eq!(status, 200, "{page}");
    // In one line, and as a button.
    let line = [("csrf", token.as_str()), ("scan", "T-1 past date")];
    let (_, _, page) = read(client.post(&desk).form(&line).send().await.expect("an answer")).await;
    assert!(page.contains("pack broken, past date"), "{page}");
    let button = [("csrf", token.as_str()), ("thing", "B-1"), ("act", "broken:indicator")];
    let (_, _, page) = read(client.post(&desk).form(&button).send().await.expect("an answer")).await;
    assert!(page.contains("pack broken, indicator"), "{page}");
    let found = report(&served, "").await;
    assert_eq!(found["why"], json!({"wet": 2, "past_date": 1, "indicator": 1}), "{found}");
    assert_eq!(row(&found, "packagings", &json!("wrap"))["all"], 2);
    // Another scan in its place is another scan.
    let other = [("csrf", token.as_str()), ("thing", "SET-1"), ("scan", "C-2")];
    let (_, _, page) = read(client.post(&desk).form(&other).send().await.expect("an answer")).await;
    assert!(page.contains("Nothing is recorded yet."), "{page}");
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_and_its_sheet_are_for_those_who_ask_why() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    served.done(Desk, json!({"do": "put_away", "scan": "SET-1", "location": "=bay"})).await;
    served.done(Desk, broken("SET-1", "wet")).await;
    let mut sheet_of = None;
    for role in Role::ALL {
        let sees = !matches!(role, Clinician | Admin);
        let client = person(&served, role).await;
        let (status, _, page) = open(&client, &served, "/broken-packs").await;
        assert_eq!(status, if sees { 200 } else { 403 }, "{role:?}");
        assert_eq!(
            page.contains("2 packs broken in 30 days; 2 wet, all of them from steriliser-1."),
            sees,
            "{page}"
        );
        let url = format!("{}/api/v1/{}/broken-packs", served.base, served.site);
        let api = served.client.get(url).bearer_auth(served.token(role)).send().await.expect("an answer");
        assert_eq!(api.status().as_u16(), if sees { 200 } else { 403 }, "{role:?}");
        sheet_of = if role == Infection { Some(client) } else { sheet_of };
    }
    let client = sheet_of.expect("infection prevention");
    let (status, kind, sheet) =
        open(&client, &served, "/broken-packs.csv?from=2026-01-01&to=2999-01-01").await;
    assert_eq!((status, kind.as_str()), (200, "text/csv; charset=utf-8"));
    let lines: Vec<&str> = sheet.trim_end().split("\r\n").collect();
    assert_eq!(lines[0], "broken,entry,at,why,set,pack,parts,load,machine,location,packaging,by");
    assert_eq!(lines.len(), 3, "{sheet}");
    // A cell that a spreadsheet would take for a formula does not begin with its sign.
    assert!(sheet.contains(",'=bay,"), "{sheet}");
    served.stop().await;
}
