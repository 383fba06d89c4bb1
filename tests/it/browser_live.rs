//! The board in a browser: it renews itself in place, and says since when it is not current.

use std::sync::Arc;

use fettle::domain::person::Role::{Charge, Desk};
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
