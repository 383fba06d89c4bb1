//! Lists through the doors: the API, the pages without a script, the command line; on both databases.

use fettle::domain::person::Role::{Admin, Biomed, Charge, Desk, Lead};
use reqwest::Client;
use serde_json::{Value, json};

use super::page::{csrf, open, person, read};
use super::served::{BOTH, Kind, Served};

impl Served {
    pub async fn list(
        &self,
        role: fettle::domain::person::Role,
        query: &str,
        body: impl Into<reqwest::Body>,
    ) -> (u16, Value) {
        let url = format!("{}/api/v1/{}/import?{query}", self.base, self.site);
        let asked = self.client.post(url).bearer_auth(self.token(role)).body(body).send().await;
        let answer = asked.expect("an answer");
        (answer.status().as_u16(), answer.json().await.expect("JSON"))
    }

    async fn seq(&self) -> u64 {
        let site = fettle::domain::id::Id::new(&self.site).expect("a site");
        self.house.state(&site).await.expect("a state").expect("a site").seq
    }
}

pub const PARTS: &str =
    "asset,model,serial,acquired,location\nN-1,cap,00017,2024-03-01,shelf 4\nN-2,cap,00018,,\n";

#[tokio::test(flavor = "multi_thread")]
async fn a_list_is_recorded_whole_and_the_same_list_again_changes_nothing() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let before = served.seq().await;
        let (status, tried) = served.list(Lead, "kind=assets&dry_run=true", PARTS).await;
        assert_eq!((status, &tried["new"], &tried["commands"]), (200, &json!(2), &json!(3)), "{tried}");
        assert_eq!(served.seq().await, before, "looking at it records nothing");
        let (status, done) = served.list(Lead, "kind=assets", PARTS).await;
        assert_eq!(status, 201, "{done}");
        assert_eq!(
            (&done["first"], &done["last"], &done["entries"]),
            (&json!(before + 1), &json!(before + 3), &json!(3))
        );
        assert_eq!(served.asset("N-1").await["location"], "shelf 4");
        let (status, again) = served.list(Lead, "kind=assets", PARTS).await;
        assert_eq!((status, &again["same"], &again["entries"]), (200, &json!(2), &json!(0)), "{again}");
        assert_eq!(served.seq().await, before + 3);
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_list_that_is_half_wrong_leaves_nothing() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let before = served.seq().await;
        let text = "asset,model,serial\nN-1,cap,1\nN-2,nothing,2\nN-3,cap,3E+11\nB-1,cap,4\n";
        let (status, problem) = served.list(Lead, "kind=assets", text).await;
        assert_eq!((status, &problem["code"]), (422, &json!("malformed")), "{problem}");
        let places: Vec<&str> = problem["errors"]
            .as_array()
            .expect("errors")
            .iter()
            .filter_map(|it| it["pointer"].as_str())
            .collect();
        assert_eq!(
            places,
            ["/rows/3/model", "/rows/4/serial", "/rows/5/model", "/rows/5/serial"],
            "{problem}"
        );
        assert_eq!(served.seq().await, before);
        // The house goes on between the look and the deed: then nothing of it is done.
        let site = fettle::domain::id::Id::new(&served.site).expect("a site");
        let actor = fettle::domain::person::Actor { code: "lead".into(), role: Lead };
        let state = served.house.state(&site).await.expect("a state").expect("a site");
        let raw = std::sync::Arc::new(PARTS.as_bytes().to_vec());
        let assets = fettle::domain::import::Kind::Assets;
        let tried = served.house.try_list(&state, &actor, assets, raw.clone(), Default::default()).await;
        let Ok(Ok(mut tried)) = tried else { panic!("a list that can be read") };
        served.done(Lead, json!({"do": "add_asset", "asset": "N-2", "model": "barrel"})).await;
        let written = served.house.record_list(&site, &actor, &raw, &mut tried, Default::default()).await;
        assert_eq!(written.expect("an answer"), None);
        assert!(tried.plan.faults[0].found.contains("\"N-2\" already names"), "{:?}", tried.plan.faults);
        assert_eq!(tried.plan.faults[0].line, 3);
        let (status, _) = served.get("assets/N-1").await;
        assert_eq!(status, 404, "nothing of the list stands");
        // What the clerk holds in memory is what the tables say, after all was taken back.
        served.done(Lead, json!({"do": "add_asset", "asset": "N-1", "model": "cap"})).await;
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn pressed_twice_a_list_is_recorded_once() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let site = fettle::domain::id::Id::new(&served.site).expect("a site");
        let actor = fettle::domain::person::Actor { code: "lead".into(), role: Lead };
        let state = served.house.state(&site).await.expect("a state").expect("a site");
        let raw = std::sync::Arc::new(PARTS.as_bytes().to_vec());
        let assets = fettle::domain::import::Kind::Assets;
        let mut written = Vec::new();
        for _ in 0..2 {
            let tried = served.house.try_list(&state, &actor, assets, raw.clone(), Default::default()).await;
            let Ok(Ok(mut tried)) = tried else { panic!("a list that can be read") };
            written.push(
                served
                    .house
                    .record_list(&site, &actor, &raw, &mut tried, Default::default())
                    .await
                    .expect("an answer"),
            );
        }
        assert!(written[0].is_some() && written[0] == written[1], "{written:?}");
        assert_eq!(served.seq().await, state.seq + 3);
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn questions_are_answered_once_and_the_answers_kept() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let western = encoding_rs::WINDOWS_1252
        .encode("Inventar;model;acquired;location\nN-1;cap;03/04/2024;Gerätelager\n")
        .0
        .into_owned();
    let (status, problem) = served.list(Lead, "kind=assets", western.clone()).await;
    assert_eq!((status, &problem["errors"][0]["pointer"]), (422, &json!("?charset")), "{problem}");
    let (status, tried) =
        served.list(Lead, "kind=assets&dry_run=true&charset=windows-1252", western.clone()).await;
    assert_eq!((status, &tried["questions"][0]["of"]), (200, &json!("acquired")), "{tried}");
    let chosen =
        r#"{"charset":"windows-1252","columns":{"asset":"Inventar"},"dates":{"acquired":"day_first"}}"#;
    let query = format!("kind=assets&chosen={}", chosen.replace('"', "%22"));
    let (status, done) = served.list(Lead, &query, western).await;
    assert_eq!(status, 201, "{done}");
    assert_eq!(served.asset("N-1").await["location"], "Gerätelager");
    // The next list of this kind needs no telling.
    let next = encoding_rs::WINDOWS_1252
        .encode("Inventar;model;acquired;location\nN-2;cap;05/06/2024;Gerätelager\n")
        .0
        .into_owned();
    let (status, done) = served.list(Lead, "kind=assets", next).await;
    assert_eq!(status, 201, "{done}");
    let again = "Inventar;model;acquired\nN-2;cap;05/06/2024\n";
    let (_, tried) = served.list(Lead, "kind=assets&dry_run=true", again).await;
    assert!(tried["notes"].to_string().contains("acquired have the day first, as somebody said"), "{tried}");
    // A value for all rows is of its own list: the next one that lacks the column is asked about.
    let fixed = "kind=assets&chosen=%7B%22fixed%22:%7B%22model%22:%22cap%22%7D%7D";
    let (status, done) = served.list(Lead, fixed, "Inventar\nN-3\n").await;
    assert_eq!(status, 201, "{done}");
    let (status, problem) = served.list(Lead, "kind=assets", "Inventar\nN-4\n").await;
    assert_eq!((status, &problem["errors"][0]["pointer"]), (422, &json!("/rows/1/model")), "{problem}");
    let (status, problem) = served.list(Lead, "kind=assets&chosen=%7B%22colour%22:1%7D", PARTS).await;
    assert_eq!(status, 422, "{problem}");
    let (status, _) = served.list(Desk, "kind=assets", PARTS).await;
    assert_eq!(status, 403);
    let (status, problem) = served.list(Charge, "kind=assets", "asset,model\nN-9,cap\n").await;
    assert_eq!(status, 422, "{problem}");
    assert!(
        problem["detail"].as_str().expect("a detail").contains("add_asset by the role charge"),
        "{problem}"
    );
    served.stop().await;
}

/// What is wrong is told in a line, whatever stands in the cell; marks of no piece make no part twice.
#[tokio::test(flavor = "multi_thread")]
async fn a_list_with_odd_marks_and_odd_texts_is_told_plainly() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let product = "(01)09521234000013(10)LOT7";
    let piece = "(01)09521234000013(21)A0018";
    let text = format!(
        "asset,model,mark\nN-1,cap,{product}\nN-2,cap,{product}\nN-3,cap,{piece}\nN-4,cap,(01)09521234000014(21)A\n"
    );
    let (status, tried) = served.list(Lead, "kind=assets&dry_run=true", text.clone()).await;
    assert_eq!((status, tried["doubts"].as_array().map(Vec::len)), (200, Some(3)), "{tried}");
    assert_eq!(served.list(Lead, "kind=assets", text.clone()).await.0, 201);
    // The same list again, and the same piece in another writing, are what is there already.
    let again = text.replace(piece, "]d201095212340000132 1A0018".replace(' ', "").as_str());
    for text in [text, again] {
        let (_, again) = served.list(Lead, "kind=assets", text).await;
        assert_eq!((&again["same"], &again["entries"]), (&json!(4), &json!(0)), "{again}");
    }
    // A list of sets names its parts by their marks as well, in any writing, and is the same again.
    let sets = format!(
        "set,count_sheet,name,line,position,asset\nSET-9,adult,Adult 9,cap,1,{}\n",
        "]d2010952123400001321A0018"
    );
    assert_eq!(served.list(Lead, "kind=sets", sets.clone()).await.0, 201);
    let (_, again) = served.list(Lead, "kind=sets", sets).await;
    assert_eq!((&again["same"], &again["entries"]), (&json!(1), &json!(0)), "{again}");
    for (text, words) in [
        ("asset,model,mark\n,cap,(01)09521234000013\n".to_string(), "a part without a name"),
        (format!("asset,model,mark\nN-5,cap,{piece}\nN-6,cap,]d2010952123400001321A0018\n"), "N-5"),
        ("asset,model,mark\nN-5,cap,]C18018952123400012345670\n".into(), "the wristband of a patient"),
        (format!("asset,model\n{}\u{202e}\u{7},cap\n", "x ".repeat(3_000)), "…"),
        (format!("{},model\nN-5,cap\n", "x".repeat(3_000)), "as the name of a column"),
    ] {
        let (status, problem) = served.list(Lead, "kind=assets", text).await;
        let said = problem["errors"].to_string();
        assert_eq!(status, 422, "{problem}");
        assert!(said.contains(words) && said.len() < 1_500, "{words}: {said}");
        assert!(
            !said.contains("95212340001234567") && !said.contains('\u{202e}') && !said.contains("\\u0007")
        );
    }
    served.sound().await;
    served.stop().await;
}

/// A gigabyte is refused by what it says of itself, before it is read; without a word on its length, once it is too long.
#[tokio::test(flavor = "multi_thread")]
async fn a_list_that_is_too_large_is_refused_before_it_is_read() {
    use std::io::{Read, Write};
    let served = Served::start(Kind::Embedded).await;
    let address = served.base.trim_start_matches("http://").to_string();
    let head = format!(
        "POST /api/v1/{}/import?kind=assets HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {}\r\ncontent-length: 1073741824\r\nconnection: close\r\n\r\nasset,model\n",
        served.site,
        served.token(Lead)
    );
    let answer = tokio::task::spawn_blocking(move || {
        let mut to = std::net::TcpStream::connect(address).expect("a connection");
        to.write_all(head.as_bytes()).expect("a request");
        let mut first = [0; 12];
        to.read_exact(&mut first).expect("an answer");
        String::from_utf8_lossy(&first).into_owned()
    });
    assert_eq!(answer.await.expect("an answer"), "HTTP/1.1 413");
    let long = vec![b'a'; (32 << 20) + 1];
    let (status, problem) = served.list(Lead, "kind=assets", long).await;
    assert_eq!((status, &problem["code"]), (413, &json!("too_large")), "{problem}");
    // A small workbook that unpacks to very much.
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    zip.start_file("xl/worksheets/sheet1.xml", zip::write::SimpleFileOptions::default()).expect("a part");
    for _ in 0..300 {
        zip.write_all(&vec![0; 1 << 20]).expect("noughts");
    }
    let bomb = zip.finish().expect("a file").into_inner();
    assert!(bomb.len() < 1 << 20);
    let (status, problem) = served.list(Lead, "kind=assets", bomb).await;
    assert_eq!(status, 422, "{problem}");
    assert!(problem["detail"].as_str().expect("a detail").contains("unpacks to more than"), "{problem}");
    served.stop().await;
}

async fn bring(client: &Client, served: &Served, kind: &str, file: &[u8]) -> (u16, String, String, String) {
    let (_, _, page) = open(client, served, "/import").await;
    let mut body = Vec::new();
    for (name, value) in [("csrf", csrf(&page)), ("kind", kind.to_string())] {
        let part = format!("--xyz\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
        body.extend_from_slice(part.as_bytes());
    }
    body.extend_from_slice(
        b"--xyz\r\nContent-Disposition: form-data; name=\"list\"; filename=\"parts.csv\"\r\n\r\n",
    );
    body.extend_from_slice(file);
    body.extend_from_slice(b"\r\n--xyz--\r\n");
    let asked = client
        .post(format!("{}/import", served.base))
        .header("content-type", "multipart/form-data; boundary=xyz");
    let answer = asked.body(body).send().await.expect("an answer");
    let path = answer.url().path().to_string();
    let (status, kind, page) = read(answer).await;
    (status, kind, page, path)
}

async fn post(client: &Client, served: &Served, path: &str, fields: &[(&str, &str)]) -> (u16, String) {
    let (_, _, page) = open(client, served, "/import").await;
    let token = csrf(&page);
    let all: Vec<(&str, &str)> =
        [("csrf", token.as_str())].into_iter().chain(fields.iter().copied()).collect();
    let answer = client.post(format!("{}{path}", served.base)).form(&all).send().await.expect("an answer");
    let (status, _, page) = read(answer).await;
    (status, page)
}

fn sure(page: &str) -> String {
    let from = page.split_once("name=\"sure\" value=\"").expect("a button that records").1;
    from.split('"').next().unwrap_or_default().to_string()
}

/// The page of a list once it is done.
async fn finished(client: &Client, served: &Served, path: &str) -> String {
    for _ in 0..200 {
        let (_, _, page) = open(client, served, path).await;
        if !page.contains("http-equiv=\"refresh\"") {
            return page;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("it is never done");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_list_is_brought_looked_at_and_recorded_without_a_script() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let client = person(&served, Lead).await;
        let text = encoding_rs::WINDOWS_1252
            .encode("Our number;Kind;acquired;location\nN-1;cap;03/04/2024;Gerätelager\n")
            .0;
        let (status, _, page, path) = bring(&client, &served, "assets", &text).await;
        assert!(status == 200 && page.contains("In which characters is the file written?"), "{page}");
        let (_, page) = post(&client, &served, &path, &[("charset", "windows-1252")]).await;
        assert!(
            page.contains("One question has to be answered first.") && page.contains("no column model"),
            "{page}"
        );
        let (_, page) = post(&client, &served, &path, &[("dates.acquired", "day_first")]).await;
        assert!(page.contains("Nothing can be recorded"), "{page}");
        let (_, page) = post(
            &client,
            &served,
            &path,
            &[
                ("column.asset", "Our number"),
                ("column.model", "Kind"),
                ("column.acquired", "acquired"),
                ("column.location", "location"),
            ],
        )
        .await;
        assert!(page.contains("1 part can be recorded.") && page.contains("as somebody said"), "{page}");
        // Another look than the one that was seen is looked at again.
        let (_, page2) = post(&client, &served, &format!("{path}/record"), &[("sure", "another")]).await;
        assert!(page2.contains("Nothing was recorded"), "{page2}");
        assert_eq!(served.get("assets/N-1").await.0, 404);
        post(&client, &served, &format!("{path}/record"), &[("sure", &sure(&page))]).await;
        let page = finished(&client, &served, &path).await;
        assert!(page.contains("1 part added: entries"), "{page}");
        assert_eq!(served.asset("N-1").await["location"], "Gerätelager");
        // The same file again needs no telling, and changes nothing.
        let (_, _, page, _) = bring(&client, &served, "assets", &text).await;
        assert!(page.contains("Nothing changes: all 1 part in the list stand so already."), "{page}");
        // Nobody else sees a list; it may name patients.
        let other = person(&served, Admin).await;
        assert_eq!(open(&other, &served, &path).await.0, 404);
        let (_, _, page) = open(&client, &served, "/import").await;
        assert!(page.contains("parts.csv") && page.contains("entries "), "{page}");
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn problems_stand_on_the_page_and_in_a_sheet() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let client = person(&served, Biomed).await;
    let (_, _, page, path) =
        bring(&client, &served, "assets", b"asset,model,serial\nN-1,none,=1+1\nN-2,cap,9.5E+12\n").await;
    assert!(page.contains("2 things in the list will not do") && page.contains("9.5E+12"), "{page}");
    assert!(!page.contains("name=\"sure\""));
    let (status, kind, sheet) = open(&client, &served, &format!("{path}/problems.csv")).await;
    assert!(status == 200 && kind.starts_with("text/csv") && sheet.contains("3,serial,"), "{sheet}");
    let (_, page) = post(&client, &served, &format!("{path}/drop"), &[]).await;
    assert!(page.contains("Bring a list."), "{page}");
    assert_eq!(open(&client, &served, &path).await.0, 404);
    let (_, _, page, _) = bring(&client, &served, "sets", b"set\nS-1\n").await;
    assert!(
        page.contains("Choose a list, and say what it is a list of."),
        "a biomedical engineer builds no sets"
    );
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_long_list_is_one_transaction() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let before = served.seq().await;
        let rows = (0..3_000)
            .fold(String::from("asset,model,serial\n"), |all, n| all + &format!("N-{n},cap,{n:05}\n"));
        let (status, done) = served.list(Lead, "kind=assets", rows).await;
        assert_eq!(
            (status, &done["entries"], &done["last"]),
            (201, &json!(3_000), &json!(before + 3_000)),
            "{done}"
        );
        served.sound().await;
        served.stop().await;
    }
}
