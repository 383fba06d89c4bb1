//! A list brought by keyboard alone: chosen, asked about, looked at, recorded.

use std::sync::Arc;

use fantoccini::Locator;
use fantoccini::key::Key;
use fettle::domain::person::Role;

use super::browser::{Keyboard, PASSWORD};
use super::browser_back::{sign_in, walk};
use super::served::{Kind, Served};

async fn brings(keys: Keyboard, served: Arc<Served>) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("our parts.csv");
    std::fs::write(&file, "asset;model;acquired;location\nN-1;cap;03/04/2024;shelf 4\nN-2;cap;05/06/2024;\n")
        .expect("a file");
    sign_in(&keys, &served, "/import").await;
    keys.says("h1", &["Bring a list."]).await;
    keys.reach("kind=").await;
    keys.type_in("Parts").await;
    keys.press(Key::Tab).await;
    // The file dialog is the browser's own: the driver fills in what a person chooses there.
    let field = keys.client.find(Locator::Css("input[type=file]")).await.expect("the field");
    field.send_keys(&file.display().to_string()).await.expect("a path");
    keys.enter_on("Look at the list").await;
    keys.says("h1", &["One question has to be answered first."]).await;
    keys.reach("dates.acquired=").await;
    keys.type_in("the day").await;
    keys.enter_on("Look again").await;
    keys.says("h1", &["2 parts can be recorded."]).await;
    assert_eq!(served.get("assets/N-1").await.0, 404, "nothing is recorded yet");
    keys.enter_on("Record 2 parts").await;
    keys.says("h1", &["2 parts added"]).await;
    assert_eq!(served.asset("N-1").await["location"], "shelf 4");
    keys.enter_on("Bring another list").await;
    keys.says("table", &["our parts.csv", "entries"]).await;
    assert_eq!(
        keys.text("h1").await,
        "Bring a list. It is looked at row by row, and nothing is recorded before you say so."
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_list_is_brought_by_keyboard_alone() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let lead = served.house.add_person(&served.site, Some("p-1"), "Person One", Role::Lead, PASSWORD);
    lead.await.expect("a person");
    walk(served, brings).await;
}
