//! The pages as people at the desk use them: a real browser with the keyboard only, and no script at all.

use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use fettle::domain::person::Role;
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::json;

use super::served::{Kind, Served, steam_record, wash_record};

pub const PASSWORD: &str = "hands are wet and gloved";
/// The desk takes an Enter that follows a scan faster than this for the scanner's own.
const AFTER_A_SCAN: Duration = Duration::from_millis(900);
const PATIENCE: Duration = Duration::from_secs(20);

/// A browser with nobody's profile, and the keys of its keyboard.
pub struct Keyboard {
    pub client: Client,
}

impl Keyboard {
    pub async fn start(profile: &str) -> Keyboard {
        Keyboard::with(profile, None).await
    }

    /// The same on a phone of 360 px.
    pub async fn phone(profile: &str) -> Keyboard {
        let screen = json!({"width": 360, "height": 760, "pixelRatio": 1.0, "mobile": false, "touch": false});
        Keyboard::with(profile, Some(json!({"deviceMetrics": screen}))).await
    }

    async fn with(profile: &str, phone: Option<serde_json::Value>) -> Keyboard {
        let driver = std::env::var("FETTLE_TEST_CHROMEDRIVER")
            .expect("FETTLE_TEST_CHROMEDRIVER names the test run's driver; use tests/run");
        let args = json!([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            format!("--user-data-dir={profile}")
        ]);
        let mut wanted = serde_json::Map::new();
        let mut options = json!({"args": args});
        if let Some(phone) = phone {
            options["mobileEmulation"] = phone;
        }
        wanted.insert("goog:chromeOptions".into(), options);
        let mut builder = ClientBuilder::new(HttpConnector::new());
        let client = builder.capabilities(wanted).connect(&driver).await.expect("a browser");
        Keyboard { client }
    }

    pub async fn press(&self, key: Key) {
        let value = char::from(key);
        let strokes =
            KeyActions::new("keyboard".into()).then(KeyAction::Down { value }).then(KeyAction::Up { value });
        self.client.perform_actions(strokes).await.expect("a key");
    }

    pub async fn type_in(&self, text: &str) {
        let field = self.client.active_element().await.expect("a focus");
        field.send_keys(text).await.expect("typing");
    }

    /// What the focus is on: its words, or the name and value of its field.
    pub async fn focus(&self) -> String {
        let Ok(element) = self.client.active_element().await else {
            return String::new();
        };
        let text = element.text().await.unwrap_or_default();
        let name = element.attr("name").await.ok().flatten().unwrap_or_default();
        let value = element.attr("value").await.ok().flatten().unwrap_or_default();
        format!("{}|{name}={value}", text.replace('\n', " "))
    }

    /// Tab until the focus is on what is called so.
    pub async fn reach(&self, called: &str) {
        let mut seen = Vec::new();
        for _ in 0..80 {
            self.press(Key::Tab).await;
            let focus = self.focus().await;
            if focus.contains(called) {
                return;
            }
            seen.push(focus);
        }
        panic!("Tab never reaches \"{called}\": {seen:#?}");
    }

    pub async fn enter_on(&self, called: &str) {
        self.reach(called).await;
        self.press(Key::Enter).await;
    }

    pub async fn text(&self, css: &str) -> String {
        match self.client.find(Locator::Css(css)).await {
            Ok(element) => element.text().await.unwrap_or_default(),
            Err(_) => String::new(),
        }
    }

    /// Waits until the page says all this in the named place.
    pub async fn says(&self, css: &str, words: &[&str]) -> String {
        let begun = Instant::now();
        loop {
            let text = self.text(css).await;
            if words.iter().all(|word| text.contains(word)) {
                return text;
            }
            if begun.elapsed() > PATIENCE {
                panic!("{css} does not say {words:?} but: {text}\n\n{}", self.text("body").await);
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    pub async fn scan(&self, code: &str) {
        assert!(self.focus().await.contains("scan="), "the scan field has the focus");
        // Nobody scans in the first moment of a page: what does may have lost its beginning, and is refused.
        tokio::time::sleep(std::time::Duration::from_millis(120)).await;
        self.type_in(code).await;
        self.press(Key::Enter).await;
        self.says("h1", &[code]).await;
        tokio::time::sleep(AFTER_A_SCAN).await;
    }

    /// Enter does the act that the page offers first; the band says it was recorded.
    pub async fn take_offer(&self, offer: &str, recorded: &str) {
        self.says(".offers .first", &[offer]).await;
        self.press(Key::Enter).await;
        self.says(".band.accepted", &["Recorded.", recorded]).await;
    }
}

pub async fn sign_in(keys: &Keyboard, served: &Served) {
    keys.client.goto(&format!("{}/sign-in", served.base)).await.expect("the page");
    // The only site of the house is filled in, so the code is asked first.
    assert!(keys.focus().await.contains("person="), "the code has the focus");
    keys.type_in("desk-9").await;
    keys.press(Key::Tab).await;
    keys.type_in(PASSWORD).await;
    keys.press(Key::Enter).await;
    keys.says("h1", &["No load waits"]).await;
    keys.enter_on("Go to the desk").await;
    keys.says("h1", &["Scan a part or a set"]).await;
}

/// With "Packed" chosen for every scan, a soiled set is refused, whole and with a way on.
async fn out_of_order(keys: &Keyboard) {
    keys.reach("step=").await;
    for _ in 0..10 {
        keys.press(Key::Down).await;
    }
    assert!(keys.focus().await.contains("step=step:packed"), "the arrows walk through the choices");
    keys.press(Key::Enter).await;
    keys.scan("SET-1").await;
    keys.says("h1", &["SET-1: not packed."]).await;
    keys.says(".band.refused", &["Refused."]).await;
    let reasons = keys.says(".reasons", &["Found", "Needed", "Next"]).await;
    assert!(reasons.contains("B-1"), "{reasons}");
    keys.says(".log", &["refused SET-1: not packed."]).await;
    keys.reach("step=step:packed").await;
    keys.press(Key::Home).await;
    for _ in 0..10 {
        keys.press(Key::Up).await;
    }
    keys.press(Key::Enter).await;
}

/// From the offer at the desk to the load's own page.
async fn into_load(keys: &Keyboard, offer: &str, machine: &str) {
    keys.says(".offers .first", &[offer]).await;
    keys.press(Key::Enter).await;
    keys.says("#start", &[machine]).await;
    assert!(keys.focus().await.contains("scan:lines="), "what was scanned stands in the load's list");
    keys.enter_on(&format!("Start the load in {machine}")).await;
    keys.says("h1", &["One load waits", machine]).await;
    keys.enter_on("load-").await;
    keys.says("h1", &["may not be released", "no cycle record"]).await;
    keys.says(".reasons", &["Found", "Needed", "Next"]).await;
}

async fn judged(keys: &Keyboard, record: &str) {
    keys.reach("text=").await;
    keys.type_in(record).await;
    keys.enter_on("Judge this record").await;
}

async fn released(keys: &Keyboard) {
    keys.enter_on("Release load").await;
    keys.says("h1", &["was released by desk-9"]).await;
    keys.enter_on("Desk|").await;
    keys.says("h1", &["Scan a part or a set"]).await;
}

async fn steriliser(keys: &Keyboard) {
    into_load(keys, "Start a steriliser load", "steriliser-1").await;
    judged(keys, &steam_record(200)).await;
    keys.says("h1", &["may not be released", "indicator"]).await;
    keys.says("main", &["A passed record does not prove sterility"]).await;
    keys.enter_on("Record an indicator").await;
    keys.reach("result=pass").await;
    keys.press(Key::Space).await;
    keys.enter_on("Record the indicator").await;
    keys.says("h1", &["Nothing found against release of load"]).await;
    keys.enter_on("Larger, and as a table").await;
    keys.says("h1", &["The record of load", "meets programme"]).await;
    keys.says("table", &["From (min:s)", "temperature in °C"]).await;
    keys.enter_on("Back to load").await;
    keys.says("h1", &["Nothing found against release of load"]).await;
    keys.reach("dry:bool=true").await;
    keys.press(Key::Space).await;
    released(keys).await;
}

async fn journey(keys: &Keyboard, served: &Served) {
    sign_in(keys, served).await;
    out_of_order(keys).await;
    keys.scan("SET-1").await;
    for (offer, recorded) in [
        ("Pre-cleaned", "pre-cleaned"),
        ("Received", "received"),
        ("Cleaned by hand", "cleaned by hand"),
        ("Dried", "dried"),
    ] {
        keys.take_offer(offer, recorded).await;
    }
    keys.scan("T-1").await;
    keys.take_offer("Disinfected", "T-1: disinfected").await;
    keys.scan("SET-1").await;
    into_load(keys, "Start a washer load", "washer-1").await;
    judged(keys, &wash_record(300)).await;
    keys.says("h1", &["Nothing found against release of load"]).await;
    released(keys).await;
    keys.scan("SET-1").await;
    keys.take_offer("Inspected, passed", "inspected, passed").await;
    keys.take_offer("Packed", "packed").await;
    steriliser(keys).await;
    keys.enter_on("Sets|").await;
    keys.says("h1", &["ready"]).await;
    keys.enter_on("SET-1").await;
    keys.says("h1", &["Set SET-1 is ready.", "It is whole"]).await;
}

/// A pack that broke: one scan and one word, each with Enter, and nothing else.
async fn one_scan_and_one_word(keys: &Keyboard, served: &Served) {
    sign_in(keys, served).await;
    keys.scan("SET-1").await;
    keys.type_in("wet").await;
    keys.press(Key::Enter).await;
    keys.says(".band.accepted", &["Recorded.", "SET-1 (3 parts): pack broken, wet.", "Unsterile."]).await;
    keys.says("h1", &["Next it has to be packed."]).await;
    assert!(keys.focus().await.contains("scan="), "the scan field has the focus");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pack_breaks_by_one_scan_and_one_word() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served.round("SET-1").await;
    let person = served.house.add_person(&served.site, Some("desk-9"), "Desk Nine", Role::Desk, PASSWORD);
    person.await.expect("a person");
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::start(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let base = std::sync::Arc::new(served);
    let walked = {
        let served = base.clone();
        tokio::spawn(async move { one_scan_and_one_word(&keys, &served).await }).await
    };
    client.close().await.expect("the browser closes");
    if let Err(error) = walked {
        std::panic::resume_unwind(error.into_panic());
    }
    for asset in ["B-1", "C-1", "T-1"] {
        assert_eq!(base.asset(asset).await["stage"], "inspected", "{asset}");
    }
    base.sound().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_set_goes_round_by_keyboard_alone() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served
        .house
        .add_person(&served.site, Some("desk-9"), "Desk Nine", Role::Desk, PASSWORD)
        .await
        .expect("a person");
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::start(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let base = std::sync::Arc::new(served);
    let walked = {
        let served = base.clone();
        tokio::spawn(async move { journey(&keys, &served).await }).await
    };
    // The browser goes first, whatever became of the journey.
    client.close().await.expect("the browser closes");
    if let Err(error) = walked {
        std::panic::resume_unwind(error.into_panic());
    }
    assert_eq!(base.set("SET-1").await["status"], "ready");
    base.sound().await;
}

/// The value of a hidden field in a page.
pub fn hidden<'a>(page: &'a str, name: &str) -> &'a str {
    let start = format!("name=\"{name}\" value=\"");
    let from = page.find(&start).unwrap_or_else(|| panic!("no {name} in {page}")) + start.len();
    page[from..].split('"').next().unwrap_or_default()
}

#[tokio::test(flavor = "multi_thread")]
async fn without_a_script_the_desk_still_records() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served
        .house
        .add_person(&served.site, Some("desk-9"), "Desk Nine", Role::Desk, PASSWORD)
        .await
        .expect("a person");
    let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
    let form = [("site", served.site.as_str()), ("person", "desk-9"), ("password", PASSWORD)];
    let signed = client.post(format!("{}/sign-in", served.base)).form(&form).send().await.expect("an answer");
    assert_eq!(signed.status(), 200);
    let desk = format!("{}/desk", served.base);
    let page = client.get(&desk).send().await.expect("an answer").text().await.expect("a page");
    let csrf = hidden(&page, "csrf");
    let post = async |fields: &[(&str, &str)]| {
        let answer = client.post(&desk).form(fields).send().await.expect("an answer");
        (answer.status().as_u16(), super::served::whole(answer).await)
    };
    let (status, page) = post(&[("csrf", csrf), ("step", "step:treated"), ("scan", "SET-1")]).await;
    assert!(status == 200 && page.contains("<b>Recorded.</b> SET-1 (3 parts): pre-cleaned"), "{page}");
    let (status, page) = post(&[("csrf", csrf), ("step", "step:packed"), ("scan", "SET-1")]).await;
    assert!(status == 409 && page.contains("<b>Refused.</b> SET-1: not packed."), "{page}");
    let (_, page) = post(&[("csrf", csrf), ("scan", "SET-1")]).await;
    assert_eq!((hidden(&page, "thing"), page.contains("value=\"step:received\"")), ("SET-1", true), "{page}");
    let (_, page) = post(&[("csrf", csrf), ("thing", "SET-1"), ("act", "step:received")]).await;
    assert!(page.contains("<b>Recorded.</b> SET-1 (3 parts): received"), "{page}");
    let (status, _) = post(&[("csrf", "another"), ("step", "step:cleaned"), ("scan", "SET-1")]).await;
    assert!(status >= 400 && served.asset("B-1").await["stage"] == "received");
    served.stop().await;
}
