//! A scanner at the desk's keyboard, key by key in a real browser: what it read arrives whole, or is refused in words.
//! Never is another part taken for it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::time::{Duration, SystemTime};

use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::browser::{Keyboard, PASSWORD, sign_in};
use super::served::{Kind, Served};

mod pieces;

const GS: char = '\u{1d}';
/// A scanner's keys follow one another so fast; a person's do not.
const SCANNER_S: f64 = 0.004;
const PERSON_S: f64 = 0.14;
const BADGE: &str = "8017952123400000000550";

/// Whose keyboard the computer takes it for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Layout {
    UnitedStates,
    German,
    French,
}

/// The key that a scanner presses for a character, as a keyboard of the United States has it: its place, and shift.
fn place(letter: char) -> (String, bool) {
    const ROWS: [(&str, char, char); 12] = [
        ("Minus", '-', '_'),
        ("Equal", '=', '+'),
        ("BracketLeft", '[', '{'),
        ("BracketRight", ']', '}'),
        ("Slash", '/', '?'),
        ("Period", '.', '>'),
        ("Comma", ',', '<'),
        ("Semicolon", ';', ':'),
        ("Digit9", '9', '('),
        ("Digit0", '0', ')'),
        ("Digit5", '5', '%'),
        ("Digit4", '4', '$'),
    ];
    if let Some((code, _, shifted)) =
        ROWS.iter().find(|(_, plain, shifted)| [*plain, *shifted].contains(&letter))
    {
        return (code.to_string(), letter == *shifted);
    }
    match letter {
        '0'..='9' => (format!("Digit{letter}"), false),
        ' ' => ("Space".into(), false),
        _ => (format!("Key{}", letter.to_ascii_uppercase()), letter.is_ascii_uppercase()),
    }
}

/// What the computer makes of that place.
fn says(layout: Layout, code: &str, letter: char) -> String {
    let swapped = |one: &str, other: char| -> Option<String> {
        let upper = letter.is_ascii_uppercase();
        (code == one).then(|| if upper { other.to_ascii_uppercase() } else { other }.to_string())
    };
    let elsewhere = match layout {
        Layout::UnitedStates => None,
        Layout::German => swapped("KeyY", 'z').or_else(|| swapped("KeyZ", 'y')).or_else(|| match code {
            "Minus" => Some("ß".into()),
            "BracketRight" => Some("+".into()),
            _ => None,
        }),
        Layout::French => {
            const DIGITS: [&str; 10] = ["à", "&", "é", "\"", "'", "(", "-", "è", "_", "ç"];
            let letters = [("KeyA", 'q'), ("KeyQ", 'a'), ("KeyZ", 'w'), ("KeyW", 'z'), ("KeyM", ',')];
            let digit = letter.to_digit(10).and_then(|n| DIGITS.get(n as usize)).map(ToString::to_string);
            digit.or_else(|| letters.iter().find_map(|(one, other)| swapped(one, *other)))
        }
    };
    elsewhere.unwrap_or_else(|| letter.to_string())
}

/// A browser whose keys are pressed one by one, with their places and times.
struct Wedge<'a> {
    keys: &'a Keyboard,
    client: reqwest::Client,
    url: String,
    layout: Layout,
}

impl<'a> Wedge<'a> {
    async fn at(keys: &'a Keyboard) -> Wedge<'a> {
        let driver = std::env::var("FETTLE_TEST_CHROMEDRIVER").expect("a driver");
        let session = keys.client.session_id().await.expect("a session").expect("a session");
        let url = format!("{}/session/{session}/goog/cdp/execute", driver.trim_end_matches('/'));
        Wedge { keys, client: reqwest::Client::new(), url, layout: Layout::UnitedStates }
    }

    async fn event(&self, params: Value) {
        let body = json!({"cmd": "Input.dispatchKeyEvent", "params": params});
        let answer = self.client.post(&self.url).json(&body).send().await.expect("an answer");
        assert!(answer.status().is_success(), "{}", answer.text().await.unwrap_or_default());
    }

    async fn press(&self, key: &str, code: &str, modifiers: u32, text: Option<&str>, at: f64) {
        let virtual_key = match key {
            "Enter" => 13,
            "Tab" => 9,
            "]" => 221,
            _ => 0,
        };
        let kind = if text.is_some() { "keyDown" } else { "rawKeyDown" };
        let mut down = json!({"type": kind, "key": key, "code": code, "modifiers": modifiers, "timestamp": at,
            "windowsVirtualKeyCode": virtual_key});
        if let Some(text) = text {
            down["text"] = json!(text);
        }
        self.event(down).await;
        self.event(
            json!({"type": "keyUp", "key": key, "code": code, "modifiers": modifiers, "timestamp": at,
            "windowsVirtualKeyCode": virtual_key}),
        )
        .await;
    }

    /// Presses the keys of a text, and what ends it.
    async fn keys(&self, text: &str, end: &str, gap_s: f64) {
        self.keys_from(None, text, end, gap_s).await;
    }

    /// The same from a time on; answers when the last key was pressed.
    async fn keys_from(&self, from: Option<f64>, text: &str, end: &str, gap_s: f64) -> f64 {
        let mut at = from.unwrap_or_else(|| SystemTime::UNIX_EPOCH.elapsed().unwrap().as_secs_f64());
        for letter in text.chars() {
            at += gap_s;
            if letter == GS {
                let key = if self.layout == Layout::German { "+" } else { "]" };
                self.press(key, "BracketRight", 2, None, at).await;
                continue;
            }
            let (code, shift) = place(letter);
            let key = says(self.layout, &code, letter);
            self.press(&key, &code, if shift { 8 } else { 0 }, Some(&key), at).await;
        }
        at += gap_s;
        match end {
            "Enter" => self.press("Enter", "Enter", 0, Some("\r"), at).await,
            "Tab" => self.press("Tab", "Tab", 0, None, at).await,
            _ => {}
        }
        at
    }

    async fn scan(&self, text: &str, end: &str) {
        self.keys(text, end, SCANNER_S).await;
    }

    /// A French scanner on a French computer: digits with shift, letters where they lie there.
    async fn scan_in_french(&self, text: &str) {
        let mut at = SystemTime::UNIX_EPOCH.elapsed().unwrap().as_secs_f64();
        for letter in text.chars() {
            at += SCANNER_S;
            let there = match letter.to_ascii_uppercase() {
                'A' => 'Q',
                'Q' => 'A',
                'Z' => 'W',
                'W' => 'Z',
                other => other,
            };
            let code = match letter {
                '0'..='9' => format!("Digit{letter}"),
                'M' => "Semicolon".into(),
                _ => format!("Key{there}"),
            };
            self.press(&letter.to_string(), &code, 8, Some(&letter.to_string()), at).await;
        }
        self.press("Enter", "Enter", 0, Some("\r"), at + SCANNER_S).await;
    }

    async fn run(&self, script: &str) -> Value {
        self.keys.client.execute(script, Vec::new()).await.expect("a script")
    }

    /// A scan with caps lock on, which no driver switches on: the same events, made in the page.
    async fn scan_with_caps_lock(&self, text: &str) {
        let script = format!(
            "const at = performance.now();
             for (const key of [...{}, 'Enter']) {{
               document.activeElement.dispatchEvent(new KeyboardEvent('keydown', {{ key, bubbles: true, cancelable: true,
                 code: /^[a-z]$/i.test(key) ? 'Key' + key.toUpperCase() : '', modifierCapsLock: true, shiftKey: false }}));
             }}",
            json!(text)
        );
        self.run(&script).await;
    }

    async fn heading(&self, words: &[&str]) {
        self.keys.says("h1", words).await;
        tokio::time::sleep(Duration::from_millis(750)).await;
    }

    /// Nothing arrived: the words say why, and the list of scans has nothing of it.
    async fn refuses(&self, words: &[&str], never: &[&str]) {
        self.keys.says("#trouble", words).await;
        tokio::time::sleep(Duration::from_millis(400)).await;
        let page = self.keys.text("h1").await + &self.keys.text(".log").await;
        for text in never {
            assert!(!page.contains(text), "{text} was taken: {page}");
        }
        assert_eq!(
            self.run("return document.getElementById('scan').value").await,
            json!(""),
            "the field is empty"
        );
    }
}

async fn house() -> Served {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let mark = format!("]d2010952123400001310LOT7{GS}21A0018");
    for (asset, mark) in [
        ("GRASP", Some(mark)),
        ("PY77", None),
        ("PZ77", None),
        ("QA11", None),
        ("AQ11", None),
        ("PY77-2", None),
        ("PZ77-2", None),
    ] {
        let mut add = json!({"do": "add_asset", "asset": asset, "model": "barrel"});
        if let Some(mark) = mark {
            add["mark"] = json!(mark);
        }
        served.done(Role::Lead, add).await;
    }
    for (code, name) in [("desk-9", "Desk Nine"), ("desk-8", "Desk Eight")] {
        let added = served.house.add_person(&served.site, Some(code), name, Role::Desk, PASSWORD);
        added.await.expect("a person");
    }
    served.house.set_badge(&served.site, "desk-8", BADGE).await.expect("a badge");
    served.house.set_pin(&served.site, "desk-8", "2580").await.expect("a PIN");
    served
}

/// Separators and the ways in which a scan ends.
async fn ends(wedge: &Wedge<'_>) {
    wedge.scan(&format!("010952123400001310LOT7{GS}21A0018"), "Enter").await;
    wedge.heading(&["GRASP"]).await;
    wedge.scan("B-1", "Tab").await;
    wedge.heading(&["B-1"]).await;
    wedge.scan(&format!("]d2010952123400001310LOT7{GS}21A0018"), "").await;
    wedge.heading(&["GRASP"]).await;
    // By hand, letter by letter, without the script's help.
    wedge.keys("C-1", "Enter", PERSON_S).await;
    wedge.heading(&["C-1"]).await;
    // Two in a row, without waiting for the first answer.
    wedge.scan("B-1", "Enter").await;
    wedge.scan("T-1", "Enter").await;
    wedge.heading(&["T-1"]).await;
    let log = wedge.keys.text(".log").await;
    assert!(log.contains("T-1") && log.contains("B-1") && !log.contains("B-1T-1"), "{log}");
}

/// Wherever the focus was left.
async fn focus(wedge: &Wedge<'_>, served: &Served) {
    wedge.run("document.querySelector('.offers button').focus()").await;
    wedge.scan("C-1", "Enter").await;
    wedge.heading(&["C-1"]).await;
    wedge.run("document.querySelector('.offers button').focus()").await;
    wedge.scan("B-1", "Tab").await;
    wedge.heading(&["B-1"]).await;
    for asset in ["T-1", "C-1", "B-1"] {
        assert_eq!(served.asset(asset).await["stage"], "soiled", "no button was pressed");
    }
    wedge
        .run("const at = document.querySelector('input[name=station]'); at.value = 'sink 2'; at.focus()")
        .await;
    wedge.scan("GRASP", "Enter").await;
    wedge.heading(&["GRASP"]).await;
    assert_eq!(
        wedge.run("return document.querySelector('input[name=station]').value").await,
        json!("sink 2")
    );
    // A question stands open: what is scanned meanwhile waits, and is not lost.
    let dialog = "const it = document.createElement('dialog'); it.innerHTML = '<button>Yes</button>';
                  document.body.append(it); it.showModal();";
    wedge.run(dialog).await;
    wedge.scan("T-1", "Enter").await;
    wedge.keys.says("#trouble", &["Kept until what is asked here is answered: T-1."]).await;
    assert_eq!(
        wedge.run("return document.querySelector('dialog').open").await,
        json!(true),
        "no button was pressed"
    );
    wedge.run("document.querySelector('dialog').close()").await;
    wedge.heading(&["T-1"]).await;
}

/// Caps lock is asked about, and another keyboard is refused until the station knows its scanner.
async fn layouts(wedge: &mut Wedge<'_>) {
    wedge.scan_with_caps_lock("py77").await;
    wedge.refuses(&["Caps lock is on", "py77"], &["PY77", "py77"]).await;
    wedge.run("document.querySelector('#trouble button').click()").await;
    wedge.heading(&["PY77"]).await;
    wedge.scan("B-1", "Enter").await;
    wedge.heading(&["B-1"]).await;
    wedge.layout = Layout::German;
    // This computer would make of it the name of another part.
    wedge.scan("PY77", "Enter").await;
    wedge.refuses(&["set to different keyboards", "Nothing was done"], &["PZ77"]).await;
    wedge.scan("FTLDOTESTYZQWAM1234567890", "Enter").await;
    wedge.keys.says("#trouble", &["a keyboard of the United States"]).await;
    wedge.scan("PY77", "Enter").await;
    wedge.heading(&["PY77"]).await;
    wedge.scan(&format!("010952123400001310LOT7{GS}21A0018"), "Enter").await;
    wedge.heading(&["GRASP"]).await;
    wedge.run("localStorage.clear()").await;
    wedge.layout = Layout::French;
    wedge.scan("QA11", "Enter").await;
    wedge.refuses(&["set to different keyboards"], &["AQ11", "QA11"]).await;
    wedge.scan_in_french("QA11").await;
    wedge.refuses(&["set to different keyboards"], &["AQ11", "QA11"]).await;
    wedge.scan_in_french("FTLDOTESTYZQWAM1234567890").await;
    wedge.keys.says("#trouble", &["set to this computer's keyboard"]).await;
    wedge.scan_in_french("QA11").await;
    wedge.heading(&["QA11"]).await;
    wedge.run("localStorage.clear()").await;
    wedge.layout = Layout::UnitedStates;
    wedge.scan("]C18018952123400012345670", "Enter").await;
    wedge.refuses(&["the wristband of a patient", "Nothing of it was kept"], &["952123400012345670"]).await;
}

/// The next person's badge, a scan before their PIN, and both go on.
async fn person(wedge: &Wedge<'_>) {
    wedge.scan("SET-1", "Enter").await;
    wedge.heading(&["SET-1"]).await;
    wedge.scan(BADGE, "Enter").await;
    wedge.heading(&["Desk Eight: type your PIN."]).await;
    wedge.scan("C-1", "Enter").await;
    wedge.keys.says("#trouble", &["Kept until what is asked here is answered: C-1."]).await;
    assert_eq!(wedge.run("return document.querySelector('input[name=pin]').value").await, json!(""));
    wedge.keys("2580", "Enter", PERSON_S).await;
    wedge.heading(&["C-1"]).await;
    wedge.keys.says(".who", &["Desk Eight"]).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_scanner_types_arrives_whole_or_is_refused() {
    let served = std::sync::Arc::new(house().await);
    let profile = tempfile::tempdir().expect("a folder");
    let keys = Keyboard::start(&profile.path().display().to_string()).await;
    let client = keys.client.clone();
    let walked = {
        let served = served.clone();
        let walk = async move {
            sign_in(&keys, &served).await;
            let mut wedge = Wedge::at(&keys).await;
            tokio::time::sleep(Duration::from_millis(300)).await;
            ends(&wedge).await;
            focus(&wedge, &served).await;
            pieces::pieces(&wedge).await;
            pieces::pages_without_a_field(&wedge).await;
            assert_eq!(served.asset("B-1").await["stage"], "soiled", "no button was pressed");
            layouts(&mut wedge).await;
            person(&wedge).await;
        };
        tokio::spawn(walk).await
    };
    client.close().await.expect("the browser closes");
    if let Err(error) = walked {
        std::panic::resume_unwind(error.into_panic());
    }
    served.sound().await;
}
