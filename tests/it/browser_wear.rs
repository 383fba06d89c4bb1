//! The biomedical engineer decides about caps that wear, by keyboard alone: from the list of models to the sentence, to an
//! inspection that is asked for, to an age at which they are replaced, and to what is due of it; and the report of it all
//! as files.

use std::io::Cursor;
use std::sync::Arc;

use calamine::{Data, Reader, Xlsx};
use fantoccini::key::Key;
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Lead};
use serde_json::json;

use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, signed_in, walk};
use super::served::{Kind, Served};

/// Ages in days at which caps tore at a case.
const TORN: [i64; 12] = [96, 118, 131, 140, 149, 158, 166, 175, 184, 196, 209, 228];

/// Caps that wear with the days: twelve tore at cases and were retired, ten go on.
async fn worn() -> Served {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.done(Admin, json!({"do": "set_policy", "wear_clock": {"cap": "days"}})).await;
    let now = chrono::Utc::now();
    let ago = |days: i64| (now - chrono::TimeDelta::days(days)).to_rfc3339();
    let start = (now + chrono::TimeDelta::days(2)).to_rfc3339();
    let plan = json!({"do": "plan_case", "case": "K-W", "start": start, "minutes": 30, "needs": ["adult"]});
    served.done(Charge, plan).await;
    for (n, age) in TORN.into_iter().enumerate() {
        let asset = format!("W-{n:02}");
        served.done(Lead, json!({"do": "add_asset", "asset": asset, "model": "cap", "at": ago(400)})).await;
        let found = json!({"do": "report_finding", "scan": asset, "what": "torn at the hole", "severity": "watch", "case": "K-W", "at": ago(400 - age)});
        served.done(Clinician, found).await;
        let retire =
            json!({"do": "retire", "asset": asset, "cause": "worn", "failure": true, "at": ago(400 - age)});
        served.done(Biomed, retire).await;
    }
    for n in 0..10 {
        let asset = format!("G-{n:02}");
        served
            .done(Lead, json!({"do": "add_asset", "asset": asset, "model": "cap", "at": ago(20 + 16 * n)}))
            .await;
    }
    served
        .house
        .add_person(&served.site, Some("p-1"), "Person One", Biomed, PASSWORD)
        .await
        .expect("a person");
    served
}

async fn decides(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/wear").await;
    keys.says("h1", &["Next to fail: about ", " caps cap in 90 days", "1 of 3 models failed often enough"])
        .await;
    keys.enter_on("cap|").await;
    let heading = keys.says("h1", &["Of 100 such caps about 10 fail by ", " days (plausible "]).await;
    assert!(heading.contains("12 failures among 24 caps, the oldest 228 days"), "{heading}");
    keys.says("#replace", &["Tell what a replacement in good time and one after a failure cost"]).await;
    keys.reach("planned_cents:cents=").await;
    keys.type_in("40").await;
    keys.press(Key::Tab).await;
    keys.type_in("600").await;
    keys.enter_on("Keep these costs").await;
    keys.says("#replace", &["Replace at ", " days: any age from ", "It saves ", " a year for the 1 in sets"])
        .await;
    keys.enter_on("Set this age").await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    keys.says("main", &["to be replaced: at the age at which the house replaces it", "Costs least at "])
        .await;
    keys.client.goto(&format!("{}/wear?model=cap", served.base)).await.expect("the page");
    keys.says("#replace", &["Replaced at ", "set by p-1", "It rested on 12 failures among 24 pieces"]).await;
    keys.says("#next", &["Look at G-09 first"]).await;
    keys.enter_on("Ask for their inspection").await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    keys.says("main", &["to be inspected, as somebody asked", "Most likely to fail next"]).await;
    keys.says("main", &["G-09", " %) to fail within "]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn biomed_goes_from_wear_to_a_decision_to_what_is_due_by_keyboard() {
    let served = walk(worn().await, decides).await;
    let (_, due) = served.get("due").await;
    let due = due["items"].as_array().or(due.as_array()).expect("a list").clone();
    let has = |asset: &str, why: &str| due.iter().any(|it| it["asset"] == asset && it["why"] == why);
    assert!(has("G-09", "inspection_asked") && has("G-09", "replace_at"), "{due:?}");
    assert!(!has("G-00", "replace_at"), "the youngest is not due: {due:?}");
    served.sound().await;
}

/// The bytes behind a link, with the name that they are kept under.
async fn file(client: &reqwest::Client, served: &Served, path: &str) -> (String, Vec<u8>) {
    let answer = client.get(format!("{}{path}", served.base)).send().await.expect("an answer");
    assert_eq!(answer.status(), 200, "{path}");
    let name = answer.headers()["content-disposition"].to_str().expect("a name").to_string();
    (name, answer.bytes().await.expect("bytes").to_vec())
}

#[tokio::test(flavor = "multi_thread")]
async fn the_report_is_read_back_from_its_files() {
    let served = worn().await;
    served.done(Biomed, json!({"do": "send_to_repair", "asset": "T-1", "reason": "image dim", "decontaminated": true, "supplier": "Alder", "warranty": false})).await;
    served
        .done(
            Biomed,
            json!({"do": "back_from_repair", "asset": "T-1", "cost_cents": 120_550, "work": "=1+1"}),
        )
        .await;
    let (client, _) = signed_in(&served, "p-1").await;
    let year = chrono::Utc::now() - chrono::TimeDelta::days(420);
    let query = format!("from={}&to=", year.format("%Y-%m-%d"));
    let (name, bytes) = file(&client, &served, &format!("/wear/report.xlsx?{query}")).await;
    assert!(name.contains("wear-") && name.ends_with(".xlsx\""), "{name}");
    let mut book = Xlsx::new(Cursor::new(bytes)).expect("a workbook");
    assert_eq!(book.sheet_names(), ["Retirement register", "Repairs", "Failures", "Costs", "Models"]);
    let retired = book.worksheet_range("Retirement register").expect("a sheet");
    assert_eq!(retired.height(), 1 + TORN.len());
    let column = |name: &str| {
        (0..retired.width()).find(|at| retired[(0, *at)] == Data::String(name.into())).expect("a column")
    };
    // Newest first: the one that lived longest was retired last. Each was retired by whoever holds biomed's token.
    assert!(matches!(retired[(1, column("retired at"))], Data::DateTime(_)), "{:?}", retired[(1, 0)]);
    assert_eq!(retired[(1, column("part"))], Data::String("W-11".into()));
    assert_eq!(retired[(1, column("days in service"))], Data::Float(228.0));
    assert!(!retired[(1, column("retired by"))].to_string().is_empty());
    let repairs = book.worksheet_range("Repairs").expect("a sheet");
    let cells: Vec<String> = repairs.rows().nth(1).expect("a row").iter().map(ToString::to_string).collect();
    assert!(
        cells.contains(&"1205.5".into()) && cells.contains(&"=1+1".into()) && cells.contains(&"Alder".into()),
        "{cells:?}"
    );
    let (_, bytes) = file(&client, &served, &format!("/wear/report.csv?table=repairs&{query}")).await;
    let text = String::from_utf8(bytes).expect("text");
    assert!(text.contains(",1205.50,") && text.contains("'=1+1"), "{text}");
    for path in ["/wear/report.csv?table=nothing", "/wear/notice/hold-9"] {
        let answer = client.get(format!("{}{path}", served.base)).send().await.expect("an answer");
        assert_eq!(answer.status(), 404, "{path}");
    }
    let page = client.get(format!("{}/wear/year", served.base)).send().await.expect("an answer");
    let text = page.text().await.expect("a page");
    assert!(text.contains("<svg class=\"plot lifetimes\"") && text.contains("as of ledger entry"), "{text}");
    served.stop().await;
}
