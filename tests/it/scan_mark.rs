//! A mark finds its part however a reader writes it, and nothing else is ever taken for one.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::domain::person::Role::{Desk, Lead};
use serde_json::{Value, json};

use super::served::{BOTH, Kind, Served};

/// A department with parts that carry marks of every kind, on the demonstration prefix 952 and the labeller T999.
async fn marked(kind: Kind) -> Served {
    let house = Served::start(kind).await;
    house.furnish().await;
    let model = json!({"do": "define_model", "model": "grasper", "family": "forceps", "name": "Grasper",
        "gtin": "09521234000013", "route": "metal", "processing": {"steam": {"temp_c": 134, "hold_s": 180}}});
    house.done(fettle::domain::person::Role::Biomed, model).await;
    for (asset, mark) in [
        ("F-1", "]d2010952123400001310LOT7\u{1d}21A0018"),
        ("F-2", "(8004)9521234RE000017"),
        ("F-3", "800309521234000778SN001"),
        ("F-4", "+T999SCOPE300/$$+7SN-17Y"),
        ("F-5", "]C0dm-0004711"),
    ] {
        let mut add = json!({"do": "add_asset", "asset": asset, "model": "grasper", "lot": "LOT7"});
        add["mark"] = json!(mark);
        house.done(Lead, add).await;
    }
    house
}

fn step(scan: &str) -> Value {
    json!({"do": "record_step", "step": "cleaned", "scan": scan})
}

#[tokio::test(flavor = "multi_thread")]
async fn one_mark_finds_one_part_in_every_writing() {
    for kind in BOTH {
        let house = marked(kind).await;
        for (scan, asset) in [
            ("010952123400001321A0018", "F-1"),
            ("]C1010952123400001321A0018\u{1d}10LOT7", "F-1"),
            ("(01)09521234000013(10)LOT7(21)A0018", "F-1"),
            ("https://id.gs1.org/01/09521234000013/10/LOT7/21/A0018", "F-1"),
            ("80049521234RE000017", "F-2"),
            ("]d280049521234RE000017", "F-2"),
            ("]d2800309521234000778SN001", "F-3"),
            // Its check character is Y; a reader names the symbol, a person types the line between asterisks.
            ("]C0+T999SCOPE300/$$+7SN-17Y", "F-4"),
            ("*+T999SCOPE300/$$+7SN-17Y*", "F-4"),
            ("dm-0004711", "F-5"),
            ("]d1dm-0004711", "F-5"),
            ("]d1F-5", "F-5"),
        ] {
            let away = json!({"do": "put_away", "scan": scan, "location": "box 3"});
            let event = house.done(Desk, away).await["event"].clone();
            assert_eq!(event["parts"][0]["asset"], asset, "{scan}: {event}");
        }
        house.sound().await;
        house.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_piece_says_what_it_is() {
    let house = marked(Kind::Embedded).await;
    for (scan, words) in [
        // A reader that swallowed the separator: still valid, and no instrument any more.
        (
            "010952123400001310LOT721A0018",
            "This mark names the product 09521234000013 (Grasper), lot LOT721A0018; it has no number of a single piece.",
        ),
        (
            "010952123400001310LOT7",
            "This mark names the product 09521234000013 (Grasper), lot LOT7; it has no number of a single piece.",
        ),
        ("]d2800309521234000778", "it has no number of a single piece"),
        ("]d24149521234003007254ROOM-2", "names a place"),
        ("]C18017952123400000000550", "a badge of staff"),
        ("]C18018952123400012345670", "the wristband of a patient"),
        ("=A99972312345600", "a mark for blood and tissue (ISBT 128), not for an instrument"),
        ("&,1000000000000XYZ123", "a mark for blood and tissue (ISBT 128), not for an instrument"),
        ("]d280049521234RE000099", "names one piece, asset 9521234RE000099, and no part of this site has it"),
        ("(01)09521234000014(21)A", "check digit"),
        ("]d2", "Nothing was read"),
    ] {
        let problem = house.refused(Desk, step(scan), "unknown_thing").await;
        let found = problem["found"].as_str().unwrap();
        assert!(found.contains(words), "{scan}: {found}");
        assert!(!found.contains("952123400012345670"), "a patient's number is not repeated: {found}");
        if words.contains("the product") {
            assert!(problem["next"].as_str().unwrap().contains("F-1"), "{problem}");
        }
    }
    house.sound().await;
    house.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_miss_by_small_and_capital_letters_is_asked_and_never_assumed() {
    let house = marked(Kind::Embedded).await;
    house.done(Desk, json!({"do": "record_step", "step": "received", "scan": "F-2"})).await;
    // The last is what caps lock makes of the reader's own identifier too.
    for scan in ["80049521234re000017", "f-2", "]D280049521234re000017"] {
        let problem = house.refused(Desk, step(scan), "unknown_thing").await;
        let remedy = json!({"do": "record_step", "step": "cleaned", "scan": ["F-2"]});
        assert_eq!(problem["remedy"], remedy, "{problem}");
        assert!(problem["needed"].as_str().unwrap().contains("is caps lock on?"), "{problem}");
        assert_eq!(house.asset("F-2").await["stage"], "received");
    }
    house.done(Desk, step("F-2")).await;
    // Where small letters name another part, that is the part.
    house.done(Lead, json!({"do": "add_asset", "asset": "f-2", "model": "grasper"})).await;
    assert_eq!(house.asset("f-2").await["stage"], "soiled");
    let problem = house.refused(Desk, step("80049521234Re000017"), "unknown_thing").await;
    assert_eq!(problem["remedy"]["scan"], json!(["F-2"]), "{problem}");
    house.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_parts_never_share_a_mark_in_two_writings() {
    let house = marked(Kind::Embedded).await;
    for mark in
        ["80049521234RE000017", "https://id.gs1.org/8004/9521234RE000017", "dm-0004711", "]d1F-1", "]d1SET-1"]
    {
        let add = json!({"do": "add_asset", "asset": "X-1", "model": "grasper", "mark": mark});
        let problem = house.refused(Lead, add, "name_taken").await;
        assert!(problem["found"].as_str().unwrap().contains("says the same as"), "{problem}");
        let give = json!({"do": "give_mark", "asset": "C-2", "mark": mark});
        house.refused(Lead, give, "name_taken").await;
    }
    let set = json!({"do": "build_set", "set": "dm-0004711", "count_sheet": "adult", "name": "Twice"});
    house.refused(Lead, set, "name_taken").await;
    house.sound().await;
    house.stop().await;
}

/// A mark that stands on every piece of a product may be recorded for several; a scan of it finds none of them, and says
/// which they are. The piece gets a mark of its own, and its label says that one.
#[tokio::test(flavor = "multi_thread")]
async fn the_mark_of_a_product_never_names_the_part_that_carries_it() {
    for kind in BOTH {
        let house = marked(kind).await;
        let product = "]d2010952123400001310LOT9";
        for asset in ["P-1", "P-2"] {
            let add = json!({"do": "add_asset", "asset": asset, "model": "cap", "mark": product});
            let added = house.done(Lead, add).await;
            assert_eq!(added["doubts"][0]["pointer"], "/mark", "{added}");
        }
        for scan in [product, "(01)09521234000013(10)LOT9", "010952123400001310LOT9"] {
            let problem = house.refused(Desk, step(scan), "unknown_thing").await;
            assert!(problem["found"].as_str().unwrap().contains("no number of a single piece"), "{problem}");
            let next = problem["next"].as_str().unwrap();
            assert!(next.contains("P-1") && next.contains("P-2"), "{next}");
        }
        let give = json!({"do": "give_mark", "asset": "C-2", "mark": product});
        let (status, body) = house.post(Lead, give).await;
        assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!("/mark")), "{body}");
        let (_, label) = house.get("labels?scan=P-1&size=50%20x%2025").await;
        assert_eq!(label["items"][0]["caption"], "P-1", "its label says its own id: {label}");
        let given = house.done(Lead, json!({"do": "give_mark", "asset": "P-1"})).await;
        assert_eq!(given["event"]["mark"], "M000001", "{given}");
        let problem = house.refused(Desk, step(product), "unknown_thing").await;
        assert!(problem["next"].as_str().unwrap().contains("P-2"), "{problem}");
        let event = house.done(Desk, json!({"do": "put_away", "scan": "M000001", "location": "box"})).await;
        assert_eq!(event["event"]["parts"][0]["asset"], "P-1");
        house.sound().await;
        house.stop().await;
    }
}

/// What names a person, a place or blood is never recorded as the mark of a part, nor repeated by the refusal.
#[tokio::test(flavor = "multi_thread")]
async fn nobodys_number_becomes_the_mark_of_a_part() {
    let house = marked(Kind::Embedded).await;
    for (mark, words) in [
        ("]C18018952123400012345670", "the wristband of a patient"),
        ("(8017)952123400000000550", "a badge of staff"),
        ("=A99972312345600", "blood and tissue"),
        ("]C0=A99972312345600", "blood and tissue"),
        ("4149521234003007", "a place"),
        ("+$$7LOTA ", "the second half of a mark"),
        ("]d1FTLDODONE", "a printed command"),
        ("FTLDOSTNsink 2", "a printed command"),
    ] {
        let new = json!({"model": "cap", "mark": mark});
        let replace = json!({"do": "replace", "set": "SET-1", "line": "cap", "position": 1, "cause": "worn",
            "failure": false, "new": new});
        for (command, pointer) in [
            (json!({"do": "add_asset", "asset": "N-1", "model": "cap", "mark": mark}), "/mark"),
            (json!({"do": "give_mark", "asset": "C-2", "mark": mark}), "/mark"),
            (replace, "/new/mark"),
        ] {
            let (status, body) = house.post(Lead, command).await;
            assert_eq!((status, &body["errors"][0]["pointer"]), (422, &json!(pointer)), "{mark}: {body}");
            assert!(body["detail"].as_str().unwrap().contains(words), "{mark}: {body}");
            assert!(!body.to_string().contains("95212340001234567"), "{body}");
        }
    }
    // What does not read is kept, as it stands on the part perhaps, and said.
    let wrong = json!({"do": "add_asset", "asset": "N-2", "model": "cap", "mark": "(01)09521234000014(21)A"});
    let added = house.done(Lead, wrong).await;
    assert!(added["doubts"][0]["detail"].as_str().unwrap().contains("check digit does not agree"), "{added}");
    // A house may write its own codes as it likes.
    house.done(Lead, json!({"do": "add_asset", "asset": "N-1", "model": "cap", "mark": "=1+1"})).await;
    assert_eq!(house.asset("=1%2B1").await["asset"], "N-1");
    house.sound().await;
    house.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_text_of_anybodys_is_refused_and_kept_short() {
    let house = marked(Kind::Embedded).await;
    let long = "9".repeat(2 * 1024 * 1024);
    let (status, body) = house.post(Desk, step(&long)).await;
    assert_eq!(
        (status, body["code"].as_str()),
        (422, Some("malformed")),
        "a scan has at most 200 characters"
    );
    assert!(body.to_string().len() < 2_000);
    for (scan, needed) in
        [("A\u{1b}[2J\u{7}B", "\u{fffd}"), ("\u{202e}gnp.exe", "\u{fffd}"), ("\u{5d0}\u{5d1}-1", "\u{2068}")]
    {
        let problem = house.refused(Desk, step(scan), "unknown_thing").await;
        let found = problem["found"].as_str().unwrap();
        assert!(
            found.contains(needed) && !found.contains('\u{1b}') && !found.contains('\u{202e}'),
            "{found}"
        );
    }
    house.stop().await;
}

proptest::proptest! {
    /// No text makes the reader of marks panic, and what is shown of it is short and turns no line around.
    #[test]
    fn any_text_is_read(text in "(\\]d2|\\]C1|\\+|=|\\(8004\\)|8004|01)?\\PC{0,300}|[\\x00-\\x7f]{0,60}") {
        use fettle::domain::mark::{key_of, read};
        use fettle::domain::scan_miss::{called, shown};
        assert_eq!(read(&text), read(&text));
        let told = called(&text);
        assert!(told.chars().count() <= 64 && !told.chars().any(|it| it.is_control() || it == '\u{202e}'), "{told:?}");
        assert!(shown(&text).chars().count() <= 64);
        if let Some(key) = key_of(&text) {
            assert!(key.contains(':'), "{key}");
        }
    }
}

#[test]
fn two_megabytes_are_read_at_once() {
    use fettle::domain::mark::read;
    for text in
        ["9".repeat(2 << 20), "(01)".repeat(1 << 19), "+A".repeat(1 << 20), "]d2\u{1d}".repeat(1 << 19)]
    {
        let begun = std::time::Instant::now();
        read(&text);
        fettle::domain::scan_miss::called(&text);
        assert!(begun.elapsed().as_secs() < 5, "{:?}", begun.elapsed());
    }
}
