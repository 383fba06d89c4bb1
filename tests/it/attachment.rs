//! Pictures of printouts: kept whole, given back as what they are, and named by readings.

use fettle::domain::person::Role::{self, Auditor, Desk, Lead};
use fettle::storage::{Db, copy};
use reqwest::{Client, Response};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::own::Own;
use super::page::{csrf, open, person, read};
use super::served::{BOTH, Kind, Served};

/// The first bytes of each kind of file that is kept (ITU-T T.81; ISO/IEC 15948, 5.2; RFC 9649, 2.4; ISO 32000-1, 7.5.2),
/// and its type as the media types registry names it.
const KINDS: [(&[u8], &str, &str); 4] = [
    (b"\xFF\xD8\xFF\xE0\x00\x10JFIF\x00", "image/jpeg", "inline"),
    (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "image/png", "inline"),
    (b"RIFF\x24\x00\x00\x00WEBPVP8 ", "image/webp", "inline"),
    (b"%PDF-1.7\n%", "application/pdf", "attachment"),
];
const MOST: usize = 8 * 1024 * 1024;

fn sha256(bytes: &[u8]) -> String {
    hex::encode(Sha256::digest(bytes))
}

async fn send(served: &Served, role: Role, bytes: Vec<u8>) -> (u16, Value) {
    let url = format!("{}/api/v1/{}/attachments", served.base, served.site);
    let ask = served.client.post(url).bearer_auth(served.token(role)).body(bytes);
    let answer = ask.send().await.expect("an answer");
    (answer.status().as_u16(), answer.json().await.expect("JSON"))
}

async fn fetch(served: &Served, sha256: &str) -> Response {
    let url = format!("{}/api/v1/{}/attachments/{sha256}", served.base, served.site);
    served.client.get(url).bearer_auth(served.token(Auditor)).send().await.expect("an answer")
}

fn header(answer: &Response, name: &str) -> String {
    answer.headers().get(name).and_then(|it| it.to_str().ok()).unwrap_or_default().to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_comes_back_as_it_went_in() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        for (bytes, media_type, shown) in KINDS {
            let mut raw = bytes.to_vec();
            raw.extend((0..70_000_u32).map(|n| (n % 251) as u8));
            let (status, told) = send(&served, Desk, raw.clone()).await;
            let name = sha256(&raw);
            assert_eq!(
                (status, &told),
                (201, &json!({"sha256": name, "bytes": raw.len(), "type": media_type}))
            );
            // The same bytes are kept once.
            assert_eq!(send(&served, Lead, raw.clone()).await, (200, told));
            let answer = fetch(&served, &name).await;
            assert_eq!(answer.status(), 200);
            assert_eq!(header(&answer, "content-type"), media_type);
            assert_eq!(header(&answer, "x-content-type-options"), "nosniff");
            assert!(header(&answer, "content-disposition").starts_with(&format!("{shown}; filename=\"")));
            assert!(header(&answer, "content-security-policy").contains("sandbox"));
            assert_eq!(answer.bytes().await.expect("bytes").to_vec(), raw);
        }
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_could_run_or_is_too_large_is_not_kept() {
    let served = Served::start(Kind::Embedded).await;
    let hostile: [&[u8]; 7] = [
        b"",
        b"<svg xmlns=\"http://www.w3.org/2000/svg\"><script>alert(1)</script></svg>",
        b"<!doctype html><script>alert(1)</script>",
        b"GIF89a",
        b"\xFF\xD8",
        b"RIFF\x24\x00\x00\x00WAVEfmt ",
        b" %PDF-1.7",
    ];
    for bytes in hostile {
        let (status, body) = send(&served, Desk, bytes.to_vec()).await;
        assert_eq!((status, &body["code"]), (422, &json!("malformed")), "{bytes:?}");
        assert_eq!(fetch(&served, &sha256(bytes)).await.status(), 404);
    }
    let of_size = |size: usize| {
        let mut raw = KINDS[0].0.to_vec();
        raw.resize(size, 7);
        raw
    };
    assert_eq!(send(&served, Desk, of_size(MOST)).await.0, 201, "the limit itself is taken");
    let (status, body) = send(&served, Desk, of_size(MOST + 1)).await;
    assert_eq!((status, &body["limit"]), (413, &json!(MOST)), "{body}");
    for role in Role::ALL {
        let (status, _) = send(&served, role, KINDS[0].0.to_vec()).await;
        // A printout, a defect, how a model is put together: everybody who writes has something to show.
        assert_eq!(matches!(status, 200 | 201), role != Auditor, "{role:?}: {status}");
    }
    // Without a token, and on the page without a session, nothing is given out.
    let name = sha256(KINDS[0].0);
    let bare = format!("{}/api/v1/{}/attachments/{name}", served.base, served.site);
    assert_eq!(served.client.get(bare).send().await.expect("an answer").status(), 401);
    let page =
        served.client.get(format!("{}/attachments/{name}", served.base)).send().await.expect("an answer");
    assert_eq!(page.status(), 303);
    // Another site's picture is not this one's.
    let other = Served::on(served.url.clone(), None, None).await;
    assert_eq!(fetch(&other, &name).await.status(), 404);
    other.stop().await;
    served.stop().await;
}

/// A load of the washer that waits for its record.
async fn washing(served: &Served) -> String {
    served.furnish().await;
    for step in ["treated", "received", "cleaned", "dried"] {
        served.done(Desk, json!({"do": "record_step", "step": step, "scan": ["SET-1"]})).await;
    }
    served.load("washer-1", "wash", "SET-1").await
}

fn readings(load: &str, other: Value) -> Value {
    let mut all =
        json!({"min_c": "80.5", "max_c": "91", "a0_s": 640, "complete": true, "second_reader": "Nurse Two"});
    for (name, value) in other.as_object().expect("fields") {
        all[name] = value.clone();
    }
    json!({"do": "judge_load", "load": load, "readings": all})
}

#[tokio::test(flavor = "multi_thread")]
async fn readings_name_a_picture_that_is_kept() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let load = washing(&served).await;
        let raw = KINDS[1].0.to_vec();
        let photo = sha256(&raw);
        served.refused(Desk, readings(&load, json!({"photo": photo})), "unknown_thing").await;
        for wrong in ["", "abc", &photo.to_uppercase()] {
            let (status, body) = served.post(Desk, readings(&load, json!({"photo": wrong}))).await;
            assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!("/readings/photo")), "{body}");
        }
        send(&served, Desk, raw).await;
        let told = served.done(Desk, readings(&load, json!({"photo": photo}))).await;
        let by = &told["event"]["by"]["readings"];
        assert_eq!(by["photo"], json!(photo), "{told}");
        // Who is no person of the site is sealed: no name stands in the ledger.
        let sealed = by["second_reader"].as_str().expect("a reader");
        assert!(sealed.starts_with("sealed:") && !told.to_string().contains("Nurse Two"), "{told}");
        let (_, shown) = served.get(&format!("loads/{load}")).await;
        assert_eq!(shown["evidence"]["readings"]["photo"], json!(photo), "{shown}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_second_reader_is_another_person() {
    let served = Served::start(Kind::Embedded).await;
    let load = washing(&served).await;
    let me = served.done(Desk, readings(&load, json!({}))).await["entry"].clone();
    let (_, ledger) = served.get("loads/none").await;
    assert_eq!(ledger["code"], "unknown_thing", "{me}");
    let url = format!("{}/api/v1/{}/ledger?after=0&limit=1000", served.base, served.site);
    let text = served.client.get(url).bearer_auth(served.token(Auditor)).send().await.expect("an answer");
    let text = text.text().await.expect("lines");
    let last: Value = serde_json::from_str(text.trim().lines().last().expect("a line")).expect("JSON");
    let code = last["entry"]["actor"].as_str().expect("a code").to_string();
    for own in [code.clone(), format!(" {code} "), code.to_uppercase()] {
        served.refused(Desk, readings(&load, json!({"second_reader": own})), "same_person").await;
        // Two pairs of eyes are the evidence itself, however late it is told.
        let mut late = readings(&load, json!({"second_reader": own}));
        late["late"] = json!({"cause": "downtime"});
        served.refused(Desk, late, "same_person").await;
    }
    let (status, body) = served.post(Desk, readings(&load, json!({"second_reader": "  "}))).await;
    assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!("/readings/second_reader")), "{body}");
    served.stop().await;
}

/// A form of several parts (RFC 7578), as a browser sends it.
pub async fn form(
    client: &Client,
    url: &str,
    fields: &[(&str, &str)],
    picture: Option<&[u8]>,
) -> (u16, String) {
    let line = "a-line-between-parts";
    let mut body = Vec::new();
    for (name, value) in fields {
        let head = format!("--{line}\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend(head.into_bytes());
    }
    if let Some(picture) = picture {
        let head = format!(
            "--{line}\r\ncontent-disposition: form-data; name=\"picture\"; filename=\"strip.svg\"\r\n\
             content-type: image/svg+xml\r\n\r\n"
        );
        body.extend(head.into_bytes());
        body.extend(picture);
        body.extend(b"\r\n");
    }
    body.extend(format!("--{line}--\r\n").into_bytes());
    let kind = format!("multipart/form-data; boundary={line}");
    let answer = client.post(url).header("content-type", kind).body(body).send().await.expect("an answer");
    let (status, _, page) = read(answer).await;
    (status, page)
}

/// The house's own picture of a model, from the form of its page: the model stays as it was but for its picture.
#[tokio::test(flavor = "multi_thread")]
async fn the_model_page_takes_the_houses_own_picture() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let model = json!({"do": "define_model", "model": "b-9", "family": "bronchoscope", "name": "Barrel 9", "route": "metal",
        "dimensions": {"nominal": "8.5", "inner_diameter_mm": "8.4", "outer_diameter_mm": "9.2", "length_mm": 400},
        "couplings": [{"end": "head", "system": "P9", "port": "proximal", "bore_mm": "8.4"}],
        "limits": {"max_cycles": 500}, "assembly": {"order": 2, "edition": "2024", "note": "a quarter turn"}});
    served.done(Role::Biomed, model).await;
    let (_, before) = served.get("models/b-9").await;
    let client = person(&served, Role::Biomed).await;
    let (_, _, page) = open(&client, &served, "/models/b-9").await;
    assert!(page.contains("No patient in the picture.") && page.contains("accept=\"image/jpeg,"), "{page}");
    let token = csrf(&page);
    let url = format!("{}/catalogue/picture", served.base);
    let fields = [("csrf", token.as_str()), ("back", "/models/b-9"), ("model", "b-9")];
    let raw = KINDS[0].0.to_vec();
    let (status, page) = form(&client, &url, &fields, Some(&raw)).await;
    let photo = sha256(&raw);
    assert!(status == 200 && page.contains(&format!("src=\"/attachments/{photo}\"")), "{status} {page}");
    let (_, after) = served.get("models/b-9").await;
    assert_eq!(after["assembly"]["photo"], json!(photo));
    let without = |mut model: Value| {
        model["assembly"]["photo"] = Value::Null;
        model.as_object_mut().expect("a model").remove("entry");
        model
    };
    assert_eq!(without(after), without(before), "nothing else of it changed");
    // What is no picture, no model, another's form or another role's keeps nothing.
    assert_eq!(form(&client, &url, &fields, Some(b"<svg/>")).await.0, 422);
    let nope = [("csrf", token.as_str()), ("model", "nope")];
    assert_eq!(form(&client, &url, &nope, Some(KINDS[1].0)).await.0, 404);
    let forged = [("csrf", "another"), ("model", "b-9")];
    assert_eq!(form(&client, &url, &forged, Some(KINDS[1].0)).await.0, 403);
    assert_eq!(fetch(&served, &sha256(KINDS[1].0)).await.status(), 404);
    let desk = person(&served, Desk).await;
    let (_, _, page) = open(&desk, &served, "/models/b-9").await;
    assert!(!page.contains("/catalogue/picture"), "{page}");
    assert_eq!(form(&desk, &url, &fields, Some(&raw)).await.0, 403);
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_load_page_takes_the_picture_with_the_readings() {
    let served = Served::start(Kind::Embedded).await;
    let load = washing(&served).await;
    let client = person(&served, Desk).await;
    person(&served, Lead).await;
    let (_, _, page) = open(&client, &served, &format!("/loads/{load}")).await;
    assert!(page.contains("No patient in the picture.") && page.contains("at most 8 MiB"), "{page}");
    let token = csrf(&page);
    let url = format!("{}/loads/{load}/readings", served.base);
    let fields = [
        ("csrf", token.as_str()),
        ("readings.min_c", "80.5"),
        ("readings.max_c", "91"),
        ("readings.a0_s", "640"),
        ("readings.complete:bool", "true"),
        ("readings.second_reader", "lead-9"),
    ];
    let forged = [("csrf", "another")].into_iter().chain(fields.into_iter().skip(1)).collect::<Vec<_>>();
    assert_eq!(form(&client, &url, &forged, Some(KINDS[0].0)).await.0, 403);
    assert_eq!(fetch(&served, &sha256(KINDS[0].0)).await.status(), 404, "a forged form keeps no picture");
    let (status, page) = form(&client, &url, &fields, Some(b"<svg/>")).await;
    assert!(status == 422 && page.contains("no JPEG, PNG, WebP or PDF"), "{status} {page}");
    let mut large = KINDS[0].0.to_vec();
    large.resize(MOST + 1, 0);
    let (status, page) = form(&client, &url, &fields, Some(&large)).await;
    assert!(status == 413 && page.contains("limit of 8 MiB"), "{status} {page}");
    let mine = fields.map(|(name, value)| (name, if name.ends_with("reader") { "desk-9" } else { value }));
    let (status, page) = form(&client, &url, &mine, None).await;
    assert!(status == 409 && page.contains("second reader"), "{status} {page}");
    assert_eq!(served.get(&format!("loads/{load}")).await.1["status"], "running", "nothing was recorded");
    // The name and type that the sender gives a file mean nothing; its bytes do.
    let (status, page) = form(&client, &url, &fields, Some(KINDS[0].0)).await;
    assert_eq!(status, 200, "{page}");
    let says =
        "<b>Read from the printout by two people; not recomputed</b>: read by desk-9, confirmed by lead-9.";
    let picture = format!("/attachments/{}", sha256(KINDS[0].0));
    assert!(page.contains(says) && page.contains(&format!("src=\"{picture}\"")), "{page}");
    let answer = client.get(format!("{}{picture}", served.base)).send().await.expect("an answer");
    assert_eq!((answer.status().as_u16(), header(&answer, "content-type")), (200, "image/jpeg".into()));
    // For ever: after the decision too.
    served.done(Lead, json!({"do": "release_load", "load": load})).await;
    let (_, _, page) = open(&client, &served, &format!("/loads/{load}")).await;
    assert!(page.contains(says) && page.contains(&picture), "{page}");
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_carries_the_pictures_both_ways() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let served = Served::on(own.url.clone(), None, None).await;
        let mut names = Vec::new();
        // More than are copied at once.
        for n in 0..20_u8 {
            let mut raw = KINDS[2].0.to_vec();
            raw.push(n);
            names.push((sha256(&raw), raw.clone()));
            assert_eq!(send(&served, Desk, raw).await.0, 201);
        }
        let file = format!("sqlite:{}", own.folder.path().join("backup.db").display());
        let backup = Db::open(&file).await.expect("a file");
        copy::copy(&served.house.db, &backup).await.expect("a backup");
        let back = Own::new(kind).await;
        let restored = Db::open(&back.url).await.expect("a database");
        copy::copy(&backup, &restored).await.expect("a restore");
        restored.close().await;
        backup.close().await;
        let again = Served::on(back.url.clone(), None, Some(&served)).await;
        for (name, raw) in names {
            let answer = fetch(&again, &name).await;
            assert_eq!(
                (answer.status().as_u16(), header(&answer, "content-type")),
                (200, "image/webp".into())
            );
            assert_eq!(answer.bytes().await.expect("bytes").to_vec(), raw);
        }
        again.stop().await;
        served.stop().await;
    }
}

/// Two pairs of eyes: the one who enters the readings is not the second, by whatever name.
#[tokio::test(flavor = "multi_thread")]
async fn the_second_reader_is_another_person_by_name_too() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let load = washing(&served).await;
        let token = served.house.add_token(&served.site, Desk, Some("Ina Østby")).await.expect("a token").1;
        for name in ["Ina Østby", " ina østby "] {
            let named = readings(&load, json!({"second_reader": name}));
            let mut late = named.clone();
            late["late"] = json!({"cause": "downtime"});
            for command in [named, late] {
                let (status, body) = served.post_as(&token, &command).await;
                assert_eq!((status, body["code"].as_str()), (409, Some("same_person")), "{name}: {body}");
            }
        }
        let (status, body) = served.post_as(&token, &readings(&load, json!({}))).await;
        assert_eq!(status, 201, "{body}");
        served.sound().await;
        served.stop().await;
    }
}
