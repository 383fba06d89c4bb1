//! The board in a browser: it renews itself in place, and says since when it is not current.

use std::sync::Arc;

use fettle::domain::person::Role::{Admin, Charge, Desk};
use serde_json::json;

use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, walk};
use super::served::{Kind, Served};

/// A mark in the page's memory, which another page would not have, and what the reader has the focus on.
const MARK: &str = "window.mark = 'here'; document.querySelector('a[href=\"/sets/SET-1\"]').focus();";
const STANDS: &str = "return [window.mark || '', document.activeElement.getAttribute('href') || '',
    document.querySelector('footer [data-is=entry]').textContent];";

async fn renews(keys: Keyboard, served: Arc<Served>) {
    sign_in(&keys, &served, "/board").await;
    keys.says("#live", &["SET-1", "3 parts are soiled."]).await;
    keys.client.execute(MARK, Vec::new()).await.expect("a mark");
    let done = served.done(Desk, json!({"do": "record_step", "step": "treated", "scan": "SET-1"})).await;
    keys.says("#live", &["pre-cleaned at point of use"]).await;
    let told = keys.client.execute(STANDS, Vec::new()).await.expect("words");
    assert_eq!(
        told,
        json!(["here", "/sets/SET-1", done["entry"].to_string()]),
        "the same page, the same focus"
    );
    keys.says("#checked", &["Looked at"]).await;
    // The database is gone: what is shown may be wrong by now, which stands before everything else.
    served.house.db.close().await;
    keys.says("#stale", &["Not current since", "The database does not answer"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_board_renews_itself_and_says_when_it_cannot() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let who = served.house.add_person(&served.site, Some("p-1"), "Person One", Charge, PASSWORD);
    who.await.expect("a person");
    walk(served, renews).await;
}

/// Takes the stream away from a page that has one, as a proxy does that lets none through.
const NO_STREAM: &str =
    "const hide = (is) => { Object.defineProperty(document, 'hidden', {configurable: true, get: () => is});
    document.dispatchEvent(new Event('visibilitychange')); };
    hide(true); window.EventSource = undefined; hide(false);";

async fn wall_of_one_site(keys: Keyboard, served: Arc<Served>) {
    keys.client.goto(&format!("{}/board/wall?site={}", served.base, served.site)).await.expect("the wall");
    keys.says("#live", &["SET-1"]).await;
    keys.client.execute(NO_STREAM, Vec::new()).await.expect("no stream");
    let none = keys.client.execute("return window.EventSource === undefined;", Vec::new()).await;
    assert_eq!(none.expect("an answer"), json!(true));
    served.done(Charge, plan("K-1", 1)).await;
    keys.says("#live", &["K-1"]).await;
    assert_eq!(keys.text("#stale").await, "", "it asks for the wall of its own site");
    // What does not fit on the screen is said.
    for n in 2..10 {
        served.done(Charge, plan(&format!("K-{n}"), n)).await;
    }
    keys.client.set_window_size(1920, 500).await.expect("a wall display");
    keys.says("#below", &["more", "below: see the board."]).await;
}

fn plan(case: &str, minutes: i64) -> serde_json::Value {
    let start = (chrono::Utc::now() + chrono::TimeDelta::minutes(minutes)).to_rfc3339();
    json!({"do": "plan_case", "case": case, "start": start, "minutes": 60, "needs": ["adult"]})
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wall_of_one_site_of_several_renews_itself_without_a_stream() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.done(Admin, json!({"do": "set_policy", "wall_addresses": ["127.0.0.0/28"]})).await;
    walk(served, wall_of_one_site).await;
}
