//! The schedule's door as another system meets it: over real connections, on both databases. The messages are those that
//! other libraries read (see SOURCES.md); the dates in them are of 2026, so the house's clock is set to theirs.

use std::time::Duration;

use fettle::domain::id::Id;
use fettle::domain::person::Role::{Auditor, Charge, Clinician, Desk, Infection, Lead};
use fettle::domain::time::Time;
use fettle::formats::hl7::{self, frame::framed};
use fettle::web::mllp::{self, Limits, Mllp};
use serde_json::{Value, json};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::timeout;

use super::page::{act, open, person};
use super::schedule::told;
use super::served::{BOTH, Kind, Served};

/// Somebody who sends messages.
pub struct Peer(pub TcpStream);

impl Peer {
    pub async fn to(address: impl tokio::net::ToSocketAddrs) -> Peer {
        Peer(TcpStream::connect(address).await.expect("a connection"))
    }

    pub async fn send(&mut self, bytes: &[u8]) {
        self.0.write_all(bytes).await.expect("it is taken");
    }

    /// The next answer; nothing where the connection ends without one.
    pub async fn answer(&mut self) -> Option<String> {
        let mut all = Vec::new();
        while !all.ends_with(b"\x1c\r") {
            let byte = timeout(Duration::from_secs(30), self.0.read_u8()).await.expect("an answer in time");
            all.push(byte.ok()?);
        }
        assert_eq!(all.first(), Some(&0x0b), "the answer is framed");
        Some(hl7::text(&all).into_owned())
    }

    /// Sends a message and hears the answer: its letters, the control id that it names, its words.
    pub async fn ask(&mut self, text: &str) -> (String, String, String) {
        self.send(&framed(text)).await;
        letters(&self.answer().await.expect("an answer"))
    }
}

pub fn letters(answer: &str) -> (String, String, String) {
    let message = hl7::read(answer).expect("a message");
    let msa = message.segment("MSA").expect("an acknowledgement");
    let words = message.unescaped(msa.field(3)).into_owned();
    (msa.field(1).into(), msa.field(2).into(), words)
}

fn specimen(n: usize) -> String {
    let all: Value = serde_json::from_str(include_str!("../specimens/hl7_schedule.json")).expect("JSON");
    all["messages"][n]["message"].as_str().expect("a message").into()
}

pub const QUICK: Limits = Limits {
    connections: 220,
    frame: Duration::from_millis(600),
    idle: Duration::from_secs(20),
    crowded: Duration::from_secs(60),
    answer: Duration::from_secs(5),
    wasted: 100_000,
};

pub async fn opened(kind: Kind) -> (Served, Mllp) {
    let served = Served::start(kind).await;
    served.house.clock.set(Time::parse("2026-03-02T08:00:00+01:00").expect("a time"));
    served.furnish().await;
    let door = mllp::listen("127.0.0.1:0", served.house.clone(), Id::new(&served.site), QUICK).await;
    (served, door.expect("a door"))
}

pub async fn shut(served: Served, door: Mllp) {
    served.sound().await;
    door.close().await;
    served.stop().await;
}

pub async fn seq(served: &Served) -> u64 {
    let site = Id::new(&served.site).expect("an id");
    served.house.state(&site).await.expect("a state").expect("a site").seq
}

pub async fn case(served: &Served, case: &str) -> Value {
    let (status, body) = served.get(&format!("cases/{case}")).await;
    assert_eq!(status, 200, "{body}");
    body
}

#[tokio::test(flavor = "multi_thread")]
async fn messages_of_others_make_move_and_cancel_cases() {
    for kind in BOTH {
        let (served, door) = opened(kind).await;
        served.house.clock.set(Time::parse("2026-11-25T09:00:00+01:00").expect("a time"));
        let mut peer = Peer::to(door.address).await;
        let heard = peer.ask(&specimen(0)).await;
        assert_eq!((heard.0.as_str(), heard.1.as_str()), ("AA", "MSG00001"));
        let made = case(&served, "C2001").await;
        assert_eq!((&made["start"], &made["minutes"]), (&json!("2026-12-01T08:00:00Z"), &json!(90)));
        assert_eq!((&made["room"], &made["needs_known"]), (&json!("OR 3"), &json!(false)));
        let (_, patient) = served.get("cases/C2001/patient").await;
        assert_eq!(patient["patient"], "900001");
        let before = seq(&served).await;
        assert_eq!(peer.ask(&specimen(0)).await.0, "AA", "the same again");
        assert_eq!(peer.ask(&specimen(0).replace("MSG00001", "MSG0001b")).await.0, "AA", "under another id");
        assert_eq!(seq(&served).await, before, "neither changed anything");
        assert_eq!(peer.ask(&specimen(1)).await.0, "AA");
        let moved = case(&served, "C2001").await;
        assert_eq!((&moved["start"], &moved["room"]), (&json!("2026-12-01T10:30:00Z"), &json!("OR 5")));
        // The first one is sent again: it is known, and moves nothing back.
        assert_eq!(peer.ask(&specimen(0)).await.0, "AA");
        assert_eq!(case(&served, "C2001").await["start"], "2026-12-01T10:30:00Z");
        // A reference that a person entered stays, as long as the schedule says what it said; another one is taken.
        served.done(Charge, json!({"do": "change_case", "case": "C2001", "patient": "by hand"})).await;
        let again = |control: &str, patient: &str| {
            let text = specimen(1).replace("MSG00002", control).replace("S13", "S14");
            text.replace("900001", patient).replace("20261126101500", "20261126111500")
        };
        assert_eq!(peer.ask(&again("MSG0002b", "900001")).await.0, "AA");
        assert_eq!(served.get("cases/C2001/patient").await.1["patient"], "by hand");
        assert_eq!(peer.ask(&again("MSG0002c", "900002")).await.0, "AA");
        assert_eq!(served.get("cases/C2001/patient").await.1["patient"], "900002");
        assert_eq!(peer.ask(&specimen(3)).await.0, "AA", "version 2.3.1, by the site's zone");
        assert_eq!(case(&served, "F77").await["start"], "2026-12-01T14:00:00Z");
        assert_eq!(peer.ask(&specimen(2)).await.0, "AA");
        assert_eq!(case(&served, "C2001").await["status"], "cancelled");
        // Long past: kept for a person, and the sender is told so.
        let (letters, id, words) = peer.ask(&specimen(4)).await;
        assert_eq!((letters.as_str(), id.as_str()), ("AA", "ABC0000000001"));
        assert!(words.contains("Kept for a person as line-00001") && words.contains("past"), "{words}");
        // Who did it is named as what it is: an interface.
        let (_, entries) = served.get("assets/B-1/history").await;
        assert!(entries["items"].is_array(), "{entries}");
        let url = format!("{}/api/v1/{}/ledger?limit=1000", served.base, served.site);
        let ledger =
            served.client.get(url).bearer_auth(served.token(Auditor)).send().await.expect("an answer");
        let ledger = ledger.text().await.expect("text");
        assert!(
            ledger.contains("\"actor\":\"schedule\"") && !ledger.contains("900001"),
            "no patient stands in it"
        );
        assert!(!ledger.contains("TEST^PATIENT") && !ledger.contains("SURGEON"), "and nobody's name");
        shut(served, door).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_refused_is_said_in_words() {
    for kind in BOTH {
        let (served, door) = opened(kind).await;
        let mut peer = Peer::to(door.address).await;
        let header = "MSH|^~\\&|A|B|C|D|20260101||";
        for (text, letters, number) in [
            (format!("{header}ADT^A01|1|P|2.5\rPID|1||9\r"), "AR", "200^^HL70357"),
            (format!("{header}SIU^S23|2|P|2.5\rSCH|1\r"), "AR", "201^^HL70357"),
            (format!("{header}SIU^S12|3|T|2.5\rSCH|1\r"), "AR", "202^^HL70357"),
            (format!("{header}SIU^S12|6|P|9.9\rSCH|1\r"), "AR", "203^^HL70357"),
            (format!("{header}SIU^S12|5|P|2.5\rPID|1||9\r"), "AE", "100^^HL70357"),
            (format!("{header}SIU^S12|7|P|2.5\rSCH||||||BOOK\r"), "AE", "101^^HL70357"),
            (told("S12").with(|it| it.start = "tomorrow".into()).text(), "AE", "102^^HL70357"),
            (told("S12").with(|it| it.status = "Cancelled".into()).text(), "AE", "103^^HL70357"),
        ] {
            peer.send(&framed(&text)).await;
            let answer = peer.answer().await.expect("an answer");
            let message = hl7::read(&answer).expect("a message");
            let error = message.segment("ERR").expect("an error");
            let words = message.unescaped(error.field(8)).into_owned();
            assert_eq!((self::letters(&answer).0.as_str(), error.field(3)), (letters, number), "{text}");
            assert!(words.ends_with('.') && words.len() > 20, "{words}");
        }
        // Of those, the four that concern a case wait for a person; a test message or another type does not.
        let (_, lines) = served.get("schedule-lines?open=true").await;
        assert_eq!(lines["items"].as_array().map(Vec::len), Some(4), "{lines}");
        shut(served, door).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_that_waits_is_seen_and_settled_by_a_person() {
    for kind in BOTH {
        let (served, door) = opened(kind).await;
        let mut peer = Peer::to(door.address).await;
        let odd = told("S12")
            .with(|it| it.more = "AIL|2||OR^4|||20260301100000|||45|min\rAIP|1||7^NORA^N\r".into());
        let (first, _, words) = peer.ask(&odd.text()).await;
        assert!(first == "AE" && words.contains("its room is booked for 1 March 2026, 10:00"), "{words}");
        let before = seq(&served).await;
        assert_eq!(peer.ask(&odd.text()).await, ("AE".into(), "M-1".into(), words), "the same answer again");
        assert_eq!(seq(&served).await, before, "and no second line");
        let (_, lines) = served.get("schedule-lines").await;
        let line = &lines["items"][0];
        assert_eq!((&line["line"], &line["settled"]), (&json!("line-00001"), &Value::Null), "{lines}");
        assert!(!lines.to_string().contains("PAT-1"), "{lines}");
        let url = format!("{}/api/v1/{}/schedule-lines/line-00001/message", served.base, served.site);
        for (role, expected) in
            [(Charge, 200), (Infection, 200), (Auditor, 200), (Desk, 403), (Clinician, 403)]
        {
            let answer =
                served.client.get(&url).bearer_auth(served.token(role)).send().await.expect("an answer");
            assert_eq!(answer.status().as_u16(), expected, "{role:?}");
            if expected == 200 {
                let body: Value = answer.json().await.expect("JSON");
                let text = body["message"].as_str().expect("the message").to_string();
                assert!(
                    text.contains("PAT-1") && !text.contains("SOMEBODY") && !text.contains("NORA"),
                    "{text}"
                );
            }
        }
        let client = person(&served, Charge).await;
        let (_, _, page) = open(&client, &served, "/schedule").await;
        assert!(
            page.contains("1 message of the schedule waits for a person") && !page.contains("PAT-1"),
            "{page}"
        );
        let plan = json!({"do": "plan_case", "case": "BY-HAND", "start": "2026-03-03T10:00:00+01:00", "minutes": 45,
                          "needs": ["adult"]});
        served.done(Charge, plan).await;
        let fields = [
            ("do", "settle_schedule_message"),
            ("back", "/schedule"),
            ("line", "line-00001"),
            ("outcome", "entered_by_hand"),
            ("case", "BY-HAND"),
            ("note", "asked the theatre office"),
        ];
        let (status, _, page) = act(&client, &served, &fields).await;
        assert!(status == 200 && page.contains("Nothing of the schedule waits"), "{page}");
        assert!(page.contains("entered by hand, case BY-HAND"), "{page}");
        let (_, line) = served.get("schedule-lines/line-00001").await;
        assert_eq!(
            (&line["settled"]["outcome"], &line["settled"]["by"]),
            (&json!("entered_by_hand"), &json!("charge-9"))
        );
        // What the schedule says later of this appointment finds the case.
        let moved = told("S13").with(|it| {
            it.control = "M-2".into();
            it.start = "20260303140000".into();
        });
        assert_eq!(peer.ask(&moved.text()).await.0, "AA");
        assert_eq!(case(&served, "BY-HAND").await["start"], "2026-03-03T13:00:00Z");
        assert_eq!(case(&served, "BY-HAND").await["needs"], json!(["adult"]), "a person chose them");
        // Tables made anew from the ledger say the same, and the message is still there.
        shut(served, door).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_nurse_says_what_procedures_need_on_a_page() {
    let (served, door) = opened(Kind::Embedded).await;
    let mut peer = Peer::to(door.address).await;
    assert_eq!(peer.ask(&told("S12").text()).await.0, "AA");
    let (_, board) = served.get("board").await;
    let shown = &board["cases"][0];
    assert_eq!((&shown["case"], &shown["status"]), (&json!("A-1"), &json!("not_ready")), "{board}");
    assert!(shown["why"][0].as_str().is_some_and(|why| why.starts_with("Needs not known")), "{board}");
    let client = person(&served, Charge).await;
    let (_, _, page) = open(&client, &served, "/cases/A-1").await;
    assert!(page.contains("Not known; so far nothing yet") && page.contains("BRONCH"), "{page}");
    let (_, _, page) = open(&client, &served, "/procedures").await;
    assert!(page.contains("1 procedure of the schedule is not known, for 1 case."), "{page}");
    let fields = [
        ("do", "map_procedure"),
        ("back", "/procedures"),
        ("code", "BRONCH"),
        ("name", "Rigid bronchoscopy"),
        ("needs:each", "adult"),
        ("technique", "jet_open"),
        ("minutes:int", "45"),
    ];
    let (status, _, page) = act(&client, &served, &fields).await;
    assert!(status == 200 && page.contains("1 case would need something else"), "{page}");
    assert_eq!(case(&served, "A-1").await["needs"], json!([]), "it is offered, not done");
    let (_, known) = served.get("procedures").await;
    assert_eq!(known["items"][0]["offered"], json!(["A-1"]), "{known}");
    let fields = [("do", "apply_procedures"), ("back", "/procedures"), ("cases:each", "A-1")];
    let (status, _, page) = act(&client, &served, &fields).await;
    assert!(status == 200 && page.contains("Every procedure of the open cases is known"), "{page}");
    let known = case(&served, "A-1").await;
    assert_eq!((&known["needs"], &known["technique"]), (&json!(["adult"]), &json!("jet_open")));
    assert_eq!(known["needs_known"], true);
    // Nothing is said by an empty field: a case that needs nothing would look as ready as any.
    let empty = [("do", "map_procedure"), ("back", "/procedures"), ("code", "BRONCH"), ("needs:each", "")];
    let (_, _, page) = act(&client, &served, &empty).await;
    assert!(page.contains("nothing"), "{page}");
    assert_eq!(served.get("procedures").await.1["items"][0]["needs"], json!(["adult"]));
    // The clinician reads the table and may not change it; nobody forgets what is not there.
    served
        .refused(Lead, json!({"do": "map_procedure", "code": "NONE", "forget": true}), "unknown_thing")
        .await;
    let (status, body) =
        served.post(Clinician, json!({"do": "map_procedure", "code": "BRONCH", "needs": ["adult"]})).await;
    assert_eq!((status, &body["code"]), (403, &json!("not_your_role")));
    shut(served, door).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_receiving_facility_names_the_site() {
    let (served, door) = opened(Kind::Server).await;
    let other = Served::on(served.url.clone(), None, None).await;
    let both = mllp::listen("127.0.0.1:0", served.house.clone(), None, QUICK).await.expect("a door");
    let mut peer = Peer::to(both.address).await;
    let to = |site: &str| told("S12").text().replacen("FETTLE|WARD", &format!("FETTLE|{site}"), 1);
    assert_eq!(peer.ask(&to(&served.site)).await.0, "AA");
    assert_eq!(served.get("cases/A-1").await.0, 200);
    let (letters, _, words) = peer.ask(&to("nowhere")).await;
    assert!(letters == "AR" && words.contains("MSH-6"), "{words}");
    other.house.clock.set(Time::parse("2026-03-02T08:00:00+01:00").expect("a time"));
    assert_eq!(other.get("cases/A-1").await.0, 404, "the other site has none of it");
    both.close().await;
    other.stop().await;
    shut(served, door).await;
}
