//! Pages as a person meets them: forms without a script, what is answered when something is wrong, an empty house.

use fettle::domain::person::Role;
use reqwest::{Client, Response};

use super::served::{Kind, Served, whole};

const PASSWORD: &str = "a long enough one";

/// A person with a browser, signed in.
pub async fn person(served: &Served, role: Role) -> Client {
    let code = format!("{}-9", role.name());
    served
        .house
        .add_person(&served.site, Some(&code), "Somebody Nine", role, PASSWORD)
        .await
        .expect("a person");
    let client = Client::builder().cookie_store(true).build().expect("a client");
    let form = [("site", served.site.as_str()), ("person", &code), ("password", PASSWORD)];
    let signed = client.post(format!("{}/sign-in", served.base)).form(&form).send().await.expect("an answer");
    assert_eq!(signed.status(), 200);
    client
}

pub async fn read(answer: Response) -> (u16, String, String) {
    let status = answer.status().as_u16();
    let kind = answer.headers().get("content-type").and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let kind = kind.to_string();
    (status, kind, whole(answer).await)
}

pub async fn open(client: &Client, served: &Served, path: &str) -> (u16, String, String) {
    read(client.get(format!("{}{path}", served.base)).send().await.expect("an answer")).await
}

pub fn csrf(page: &str) -> String {
    let from = page.split_once("name=\"csrf\" value=\"").expect("a form").1;
    from.split('"').next().unwrap_or_default().to_string()
}

pub async fn act(client: &Client, served: &Served, fields: &[(&str, &str)]) -> (u16, String, String) {
    let (_, _, page) = open(client, served, "/").await;
    let token = csrf(&page);
    let all: Vec<(&str, &str)> =
        [("csrf", token.as_str())].into_iter().chain(fields.iter().copied()).collect();
    read(client.post(format!("{}/act", served.base)).form(&all).send().await.expect("an answer")).await
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_wrong_is_told_on_a_page() {
    let served = Served::start(Kind::Embedded).await;
    let client = person(&served, Role::Lead).await;
    for (path, expected, says) in [
        ("/nothing", 404, "There is no such page."),
        ("/loads/NOPE", 404, "No load here is called \"NOPE\"."),
        ("/sets/%ff", 400, "This cannot be read."),
        ("/desk?scan=A&scan=B", 400, "This cannot be read."),
        ("/people", 403, "This page is not for your role."),
        ("/act", 405, "There is nothing to see here."),
        ("/ledger?before=first", 200, "<h1"),
        ("/queue?done=first", 200, "<h1"),
    ] {
        let (status, kind, page) = open(&client, &served, path).await;
        let page = page.replace("&#34;", "\"").replace("&quot;", "\"");
        assert_eq!((status, kind.starts_with("text/html")), (expected, true), "{path}: {page}");
        assert!(page.contains(says) && page.contains("</html>"), "{path}: {page}");
    }
    let (status, kind, _) = open(&client, &served, &format!("/api/v1/{}/sets/%ff", served.site)).await;
    assert!(kind.starts_with("application/problem+json"), "{status} {kind}");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_that_is_not_ones_own_records_nothing() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let client = person(&served, Role::Lead).await;
    let desk = format!("{}/desk", served.base);
    let forged = [("csrf", "another"), ("do", "retire")];
    let answer = client.post(format!("{}/act", served.base)).form(&forged).send().await.expect("an answer");
    let (status, _, page) = read(answer).await;
    assert!(status == 403 && page.contains("Nothing was recorded."), "{page}");
    // Somebody whose session is over is told that the scan was not taken, and comes back to the same page.
    let stranger = Client::builder().build().expect("a client");
    let sent = [("csrf", "old"), ("step", "step:treated"), ("scan", "SET-1")];
    let answer = stranger.post(&desk).header("referer", &desk).form(&sent).send().await.expect("an answer");
    assert_eq!((answer.status().as_u16(), answer.url().path()), (200, "/sign-in"));
    let (_, _, page) = read(answer).await;
    assert!(page.contains("it was not recorded") && page.contains("name=\"back\" value=\"/desk\""), "{page}");
    assert_eq!(served.asset("B-1").await["stage"], "soiled");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_catalogue_is_defined_by_plain_forms() {
    let served = Served::start(Kind::Embedded).await;
    let client = person(&served, Role::Admin).await;
    let (_, _, empty) = open(&client, &served, "/catalogue").await;
    assert!(empty.contains("name=\"steps.0:step\"") && empty.contains("name=\"lines.11.line\""), "{empty}");
    let route = [
        ("do", "define_route"),
        ("back", "/catalogue"),
        ("route", "metal"),
        ("steps.0:step", "treated"),
        ("steps.1:step", "disinfected/machine"),
        ("steps.2:step", ""),
        ("steps.3:step", "sterilised/steam"),
    ];
    let machine = [
        ("do", "define_machine"),
        ("back", "/catalogue"),
        ("machine", "st-1"),
        ("kind", "steriliser"),
        ("programmes.0.programme", "porous"),
        ("programmes.0.method", "steam"),
        ("programmes.0.band_c", "134"),
        ("programmes.0.hold_s", "180"),
        ("programmes.0.air_removal_test:bool", "true"),
        ("programmes.1.programme", ""),
        ("programmes.1.method", ""),
    ];
    let sheet = [
        ("do", "define_count_sheet"),
        ("back", "/catalogue"),
        ("count_sheet", "adult"),
        ("name", "Adult"),
        ("lines.0.line", "barrel"),
        ("lines.0.family", "bronchoscope"),
        ("lines.0.quantity:int", "1"),
        ("lines.0.essential:bool", "true"),
        ("lines.1.line", ""),
    ];
    let window = [
        ("do", "set_policy"),
        ("telescope_window_mm.0", "-4.5"),
        ("telescope_window_mm.1", "12"),
        ("back", "/site"),
    ];
    for fields in [&route[..], &machine[..], &sheet[..], &window[..]] {
        let (status, _, page) = act(&client, &served, fields).await;
        assert!(status == 200 && page.contains("Recorded as entry"), "{fields:?}: {page}");
    }
    let (_, _, catalogue) = open(&client, &served, "/catalogue").await;
    for shows in
        ["porous", "band from 134 °C", "sterilised (steam)", "Change count sheet adult", "Change route metal"]
    {
        assert!(catalogue.contains(shows), "{shows}: {catalogue}");
    }
    let (_, _, site) = open(&client, &served, "/site").await;
    assert!(site.contains("-4.5 to 12"), "{site}");
    // What is missing in a row is named by its row, and what was typed stands there again.
    let lacking =
        [("do", "define_count_sheet"), ("count_sheet", "child"), ("name", "Child"), ("lines.2.line", "cap")];
    let (status, _, page) = act(&client, &served, &lacking).await;
    assert!(status == 422 && page.contains("Line 1: ") && page.contains("value=\"cap\""), "{page}");
    served.stop().await;
}

/// A point of a page's text at which a time stands as a machine writes it.
fn raw_time(page: &str) -> Option<&str> {
    let bytes = page.as_bytes();
    let digits =
        |from: usize, to: usize| bytes.get(from..to).is_some_and(|it| it.iter().all(u8::is_ascii_digit));
    let at = |at: usize, is: u8| bytes.get(at) == Some(&is);
    let found = (0..bytes.len()).find(|i| {
        digits(*i, i + 4)
            && at(i + 4, b'-')
            && digits(i + 5, i + 7)
            && at(i + 7, b'-')
            && digits(i + 8, i + 10)
    });
    found.and_then(|i| page.get(i..i + 30))
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_house_still_answers_and_no_page_writes_raw_times() {
    let served = Served::start(Kind::Embedded).await;
    let bare: Vec<(Role, Client)> = {
        let mut all = Vec::new();
        for role in Role::ALL {
            all.push((role, person(&served, role).await));
        }
        all
    };
    let pages = [
        "/",
        "/desk",
        "/queue",
        "/loads",
        "/machines",
        "/sets",
        "/assets",
        "/catalogue",
        "/ledger",
        "/people",
        "/site",
    ];
    for furnished in [false, true] {
        if furnished {
            served.furnish().await;
        }
        for (role, client) in &bare {
            for path in pages {
                let (status, _, page) = open(client, &served, path).await;
                assert!(matches!(status, 200 | 403), "{path} for {}: {page}", role.name());
                assert!(page.contains("<h1") && !page.contains("<tbody></tbody>"), "{path}: {page}");
                assert_eq!(raw_time(&page), None, "{path} for {}", role.name());
            }
        }
    }
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recall_is_begun_answered_for_and_closed_by_its_forms() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let client = person(&served, Role::Infection).await;
    let begin =
        [("do", "recall"), ("machine", "steriliser-1"), ("reason", "drift"), ("onward", "/recalls/{made}")];
    let (status, _, page) = act(&client, &served, &begin).await;
    assert_eq!(status, 200);
    assert!(page.contains("recall-0001 of steriliser-1: 3 parts are in the house on hold"), "{page}");
    let answer = [
        ("do", "answer_recall"),
        ("recall", "recall-0001"),
        ("outcome", "again"),
        ("back", "/recalls/recall-0001"),
    ];
    let (status, _, page) = act(&client, &served, &answer).await;
    assert_eq!(status, 422);
    assert!(page.contains("at least one is needed"), "{page}");
    let parts = [("scan:each", "B-1"), ("scan:each", "T-1"), ("then", "reprocess")];
    let ticked: Vec<(&str, &str)> = answer.iter().chain(&parts).copied().collect();
    let (status, _, page) = act(&client, &served, &ticked).await;
    assert_eq!(status, 200, "{page}");
    assert!(page.contains("Everything is answered for; it may be closed."), "{page}");
    let close = [
        ("do", "close_recall"),
        ("recall", "recall-0001"),
        ("outcome", "all through again"),
        ("back", "/recalls"),
    ];
    let (status, _, page) = act(&client, &served, &close).await;
    assert!(status == 200 && page.contains("No recall is open."), "{page}");
    served.sound().await;
    served.stop().await;
}
