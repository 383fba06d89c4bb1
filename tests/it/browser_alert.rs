//! Alerts by keyboard alone: a rule is set, the board's band tells, and a person marks what it tells as seen.

use std::sync::Arc;

use fantoccini::key::Key;
use fettle::domain::person::Role::{Charge, Desk, Lead};
use serde_json::json;

use super::alert_sent::tell;
use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, walk};
use super::served::{Kind, Served};

const LOOK: &str = "document.dispatchEvent(new Event('visibilitychange'));";

async fn told(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/alerts").await;
    keys.says("h1", &["No rule tells you of anything."]).await;
    keys.enter_on("Something not accounted for, without an outcome").await;
    keys.reach("tells:each=charge").await;
    keys.press(Key::Space).await;
    keys.enter_on("Add this rule").await;
    keys.says(".band.accepted", &["Recorded as entry"]).await;
    keys.says("h1", &["Nothing to tell: 1 rule watches for you."]).await;
    keys.client.goto(&format!("{}/board", served.base)).await.expect("the board");
    keys.says("h1", &["No case is planned for today."]).await;
    assert_eq!(keys.text("#alerts-band").await, "");
    // What is told while the board is open comes into its band by itself.
    served.done(Desk, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1"})).await;
    assert_eq!(tell(&served).await, 1);
    keys.client.execute(LOOK, Vec::new()).await.expect("a look");
    keys.says("#alerts-band", &["1 alert: look at it"]).await;
    keys.enter_on("look at it").await;
    keys.says("h1", &["Not accounted for since", "cap C-1"]).await;
    keys.enter_on("Mark as seen").await;
    keys.says("#open", &["Seen by p-1"]).await;
    keys.client.goto(&format!("{}/", served.base)).await.expect("the start");
    keys.says("#alerts-band", &["1 alert, seen by you"]).await;
    served.done(Desk, json!({"do": "found", "scan": "C-1"})).await;
    assert_eq!(tell(&served).await, 1);
    keys.client.goto(&format!("{}/alerts", served.base)).await.expect("the page");
    keys.says("#ended", &["cap C-1", "Seen by p-1"]).await;
    // Another program is told once its rule has a secret, which is shown once.
    let rule = json!({"do": "set_alert", "rule": "R-2", "tells": ["lead"], "about": "load", "webhook": "https://hooks.example.org/x"});
    served.done(Lead, rule).await;
    keys.client.goto(&format!("{}/alerts", served.base)).await.expect("the page");
    keys.says("main", &["Nothing is sent there: it has no secret yet."]).await;
    keys.enter_on("Change R-2").await;
    keys.enter_on("Make a new secret for R-2").await;
    keys.says(".band.accepted", &["The new secret of R-2 is shown this once", "whsec_"]).await;
    keys.client.goto(&format!("{}/alerts", served.base)).await.expect("the page");
    let page = keys.says("main", &["Secret made today"]).await;
    assert!(!page.contains("whsec_"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_rule_is_set_and_what_it_tells_is_seen() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let who = served.house.add_person(&served.site, Some("p-1"), "Person One", Charge, PASSWORD);
    who.await.expect("a person");
    walk(served, told).await;
}
