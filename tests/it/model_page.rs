//! Models defined, changed and pasted on pages, without a script.

use fettle::domain::person::Role;
use reqwest::Client;
use serde_json::json;

use super::page::{csrf, open, person, read};
use super::served::{Kind, Served};

async fn send(client: &Client, served: &Served, path: &str, fields: &[(&str, &str)]) -> (u16, String) {
    let (_, _, page) = open(client, served, path).await;
    let token = csrf(&page);
    let all: Vec<(&str, &str)> =
        [("csrf", token.as_str())].into_iter().chain(fields.iter().copied()).collect();
    let answer = client.post(format!("{}{path}", served.base)).form(&all).send().await.expect("an answer");
    let (status, _, page) = read(answer).await;
    (status, page)
}

/// The value of a field of a page, where it stands.
fn value<'a>(page: &'a str, name: &str) -> Option<&'a str> {
    let (_, from) = page.split_once(&format!("name=\"{name}\" value=\""))?;
    from.split('"').next()
}

const BARREL: [(&str, &str); 14] = [
    ("do", "define_model"),
    ("model", "b-9"),
    ("name", "Barrel 9"),
    ("family", "bronchoscope"),
    ("route", "metal"),
    ("dimensions.nominal", "3,5"),
    ("dimensions.inner_diameter_mm", "3,5"),
    ("dimensions.outer_diameter_mm", "5.0"),
    ("dimensions.length_mm", "260"),
    ("couplings.0.end", "head"),
    ("couplings.0.system", "ring-a"),
    ("couplings.3.end", "light"),
    ("couplings.3.system", "post-4"),
    ("assembly.order:int", "1"),
];

fn with<'a>(changed: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let kept = BARREL.into_iter().filter(|(name, _)| !changed.iter().any(|(other, _)| other == name));
    kept.chain(changed.iter().copied()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_model_is_asked_about_before_it_is_saved() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let head = json!({"do": "define_model", "model": "head", "family": "head", "name": "Head", "route": "metal",
        "couplings": [{"end": "barrel", "system": "ring-a"}, {"end": "in line", "system": "Post 4", "port": "proximal"}]});
    served.done(Role::Biomed, head).await;
    let client = person(&served, Role::Biomed).await;
    let form = "/catalogue/model";
    let (status, page) = send(&client, &served, form, &with(&[])).await;
    assert_eq!(status, 422, "{page}");
    assert!(page.contains("Not saved yet: 5 things of the new model look wrong or are lacking."), "{page}");
    for shows in [
        "which is the label itself",
        "published chart",
        "without an edition",
        "value=\"ring-a\"",
        "value=\"3.5\"",
        "name=\"couplings.1.system\" value=\"post-4\"",
    ] {
        assert!(page.contains(shows), "{shows}: {page}");
    }
    assert_eq!(served.get("models/b-9").await.0, 404);
    // What was seen may be saved all the same; what was not seen may not.
    let sure = value(&page, "sure")
        .or_else(|| page.split_once("name=\"sure\" value=\"").map(|it| it.1))
        .expect("a button");
    let sure = sure.to_string();
    let thicker = with(&[("dimensions.outer_diameter_mm", "9"), ("sure", &sure)]);
    let (status, page) = send(&client, &served, form, &thicker).await;
    assert!(status == 422 && page.contains("a wall of 2.75 mm"), "{page}");
    let (status, page) = send(&client, &served, form, &with(&[("sure", &sure)])).await;
    assert!(status == 200 && page.contains("Barrel 9 couples to 1 other model"), "{page}");
    assert!(page.contains("Alike by name only") && page.contains("Post 4"), "{page}");
    let (_, kept) = served.get("models/b-9").await;
    assert_eq!(
        (&kept["couplings"][1]["end"], &kept["dimensions"]["inner_diameter_mm"]),
        (&json!("light"), &json!("3.5"))
    );
    // What cannot be is no matter of being sure.
    let (status, page) =
        send(&client, &served, form, &with(&[("dimensions.outer_diameter_mm", "3"), ("sure", &sure)])).await;
    assert!(status == 422 && page.contains("cannot be so") && !page.contains("Save all the same"), "{page}");
    let (_, _, history) = open(&client, &served, "/ledger").await;
    assert!(history.contains("Saved all the same"), "{history}");
    shown_and_changed(&client, &served).await;
    served.sound().await;
    served.stop().await;
}

async fn shown_and_changed(client: &Client, served: &Served) {
    let form = "/catalogue/model";
    // The form of a change holds what is there; its code stays.
    let (_, _, page) = open(client, served, "/catalogue/model?model=b-9").await;
    assert!(
        page.contains("type=\"hidden\" name=\"model\" value=\"b-9\"") && page.contains("value=\"post-4\""),
        "{page}"
    );
    let (_, _, page) = open(client, served, "/catalogue/model?like=b-9").await;
    assert_eq!(value(&page, "model"), Some(""), "{page}");
    let (status, _, page) = open(client, served, "/catalogue").await;
    assert!(
        status == 200 && page.contains("href=\"/models/b-9\"") && page.contains("head (ring-a)"),
        "{page}"
    );
    assert_eq!(open(client, served, "/models/nope").await.0, 404);
    assert_eq!(open(client, served, "/catalogue/model?model=nope").await.0, 404);
    // What no name says, somebody tries.
    let tried = [
        ("do", "confirm_fit"),
        ("back", "/models/b-9"),
        ("models:each", "b-9"),
        ("models:each", "scope"),
        ("fits:bool", "false"),
        ("how", "it rocks"),
    ];
    let (status, _, page) = super::page::act(client, served, &tried).await;
    assert!(status == 200 && page.contains("does not fit") && page.contains("it rocks"), "{page}");
    // The lead defines count sheets, not models.
    let lead = person(served, Role::Lead).await;
    assert_eq!(open(&lead, served, form).await.0, 403);
    let (_, _, page) = open(&lead, served, "/models/b-9").await;
    assert!(page.contains("Its ends") && !page.contains("Change it"), "{page}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pasted_table_is_checked_then_saved_together() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let client = person(&served, Role::Admin).await;
    let path = "/catalogue/models";
    let wrong = "model\tfamily\tname\tinner mm\touter mm\tlength cm\nb-1\tbronchoscope\tOne\t5,7\t5,0\t26\nb-2\tbronchoscope\tTwo\t3,5\t5,0\t26";
    let (status, page) = send(&client, &served, path, &[("table", wrong), ("route", "metal")]).await;
    assert!(status == 422 && page.contains("Nothing can be saved: line "), "{page}");
    assert!(
        page.contains("5,7\t5,0") && !page.contains("name=\"sure\""),
        "what was pasted stands there: {page}"
    );
    let table = wrong.replace("5,7\t5,0", "5,0\t5,7");
    let (status, page) = send(&client, &served, path, &[("table", &table), ("route", "metal")]).await;
    assert!(status == 200 && page.contains("2 models can be saved; 2 things look wrong"), "{page}");
    let sure = page
        .split_once("name=\"sure\" value=\"")
        .expect("a button")
        .1
        .split('"')
        .next()
        .expect("a value")
        .to_string();
    let other = table.replace("Two", "Three");
    let (status, page) =
        send(&client, &served, path, &[("table", &other), ("route", "metal"), ("sure", &sure)]).await;
    assert!(status == 422 && page.contains("Not saved: the table or the catalogue changed"), "{page}");
    assert_eq!(served.get("models/b-1").await.0, 404);
    let saved = [("table", table.as_str()), ("route", "metal"), ("sure", sure.as_str())];
    let (status, page) = send(&client, &served, path, &saved).await;
    assert!(status == 200 && page.contains("2 models are saved, as entries"), "{page}");
    assert_eq!(served.get("models/b-2").await.0, 200);
    // Sent twice, it records nothing twice.
    let (_, page) = send(&client, &served, path, &saved).await;
    assert!(page.contains("There is nothing to save"), "{page}");
    let forged = client.post(format!("{}{path}", served.base)).form(&[("csrf", "x"), ("table", "model\nx")]);
    assert_eq!(forged.send().await.expect("an answer").status(), 403);
    served.sound().await;
    served.stop().await;
}
