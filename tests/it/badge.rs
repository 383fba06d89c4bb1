//! Several people at one station: a badge says who, a PIN that it is they, and what is in hand stays there.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::io::Write;
use std::process::{Command, Stdio};

use fettle::app::accounts::AccountError;
use fettle::app::badges::{ByBadge, Owner};
use fettle::domain::person::Role;

use super::browser::{PASSWORD, hidden};
use super::served::{BOTH, Kind, Served};

/// A badge of staff on the demonstration prefix 952, as two readers send it, and a patient's wristband.
const BADGE: &str = "]C18017952123400000000550";
const TYPED: &str = "(8017)952123400000000550";
const WRISTBAND: &str = "]C18018952123400012345670";

async fn staffed(kind: Kind) -> Served {
    let served = Served::start(kind).await;
    served.furnish().await;
    for (code, name) in [("desk-8", "Desk Eight"), ("desk-9", "Desk Nine")] {
        let added = served.house.add_person(&served.site, Some(code), name, Role::Desk, PASSWORD);
        added.await.expect("a person");
    }
    served
}

#[tokio::test(flavor = "multi_thread")]
async fn a_badge_signs_in_with_its_pin_and_locks_after_five_wrong_ones() {
    for kind in BOTH {
        let served = staffed(kind).await;
        let (house, site) = (&served.house, served.site.as_str());
        assert!(house.set_badge(site, "desk-8", BADGE).await.unwrap());
        assert!(!house.set_badge(site, "nobody", "FTLID-1").await.unwrap());
        let owner = Owner::Person { code: "desk-8".into(), name: "Desk Eight".into() };
        assert_eq!(house.badge_owner(site, TYPED).await.unwrap(), owner, "however it is read");
        let sign_in = async |pin: &str| house.sign_in_by_badge(site, TYPED, pin).await.unwrap();
        assert_eq!(sign_in("2580").await, ByBadge::NoPin);
        for unfit in ["123", "123456789", "12a4", "1111", ""] {
            assert!(
                matches!(house.set_pin(site, "desk-8", unfit).await, Err(AccountError::Unfit(_))),
                "{unfit}"
            );
        }
        assert!(house.set_pin(site, "desk-8", "2580").await.unwrap());
        let ByBadge::In(secret) = sign_in("2580").await else { panic!("the right PIN") };
        assert_eq!(house.session(&secret).await.unwrap().unwrap().actor.code, "desk-8");
        for left in [4, 3, 2, 1] {
            assert_eq!(sign_in("0000").await, ByBadge::Wrong(left));
        }
        assert!(matches!(sign_in("2580").await, ByBadge::In(_)), "the right one begins the count again");
        for _ in 0..4 {
            sign_in("0000").await;
        }
        assert_eq!(sign_in("0000").await, ByBadge::Locked);
        assert_eq!(sign_in("2580").await, ByBadge::Locked, "locked is locked, with the right one too");
        assert!(house.set_pin(site, "desk-8", "2580").await.unwrap());
        assert!(matches!(sign_in("2580").await, ByBadge::In(_)));
        // One badge, one person; what is no badge is nobody's.
        for (text, why) in [
            (BADGE, "desk-8's"),
            (WRISTBAND, "wristband"),
            ("SET-1", "names a part or a set"),
            ("ab", "4 to 120"),
        ] {
            let refused = house.set_badge(site, "desk-9", text).await.unwrap_err().to_string();
            assert!(refused.contains(why), "{text}: {refused}");
        }
        assert_eq!(house.badge_owner(site, WRISTBAND).await.unwrap(), Owner::Nobody);
        house.disable_person(site, "desk-8").await.unwrap();
        assert_eq!(sign_in("2580").await, ByBadge::Left);
        assert_eq!(house.sign_in_by_badge(site, "FTLID-UNKNOWN", "2580").await.unwrap(), ByBadge::Nobody);
        served.stop().await;
    }
}

/// Many tries at once are no more than five.
#[tokio::test(flavor = "multi_thread")]
async fn tries_at_once_are_counted_each() {
    let served = staffed(Kind::Server).await;
    let (house, site) = (served.house.clone(), served.site.clone());
    house.set_badge(&site, "desk-8", BADGE).await.unwrap();
    house.set_pin(&site, "desk-8", "2580").await.unwrap();
    let tries = (0..12).map(|n| {
        let (house, site) = (house.clone(), site.clone());
        tokio::spawn(async move { house.sign_in_by_badge(&site, BADGE, &format!("00{n:02}")).await.unwrap() })
    });
    let mut locked = 0;
    for tried in tries.collect::<Vec<_>>() {
        locked += usize::from(tried.await.unwrap() == ByBadge::Locked);
    }
    assert!(locked >= 7, "{locked} of 12 were turned away unseen");
    assert_eq!(house.sign_in_by_badge(&site, BADGE, "2580").await.unwrap(), ByBadge::Locked);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_next_person_goes_on_with_what_is_in_hand() {
    let served = staffed(Kind::Embedded).await;
    let (house, site) = (&served.house, served.site.as_str());
    house.set_badge(site, "desk-9", BADGE).await.unwrap();
    house.set_pin(site, "desk-9", "2580").await.unwrap();
    let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
    let post = async |path: &str, fields: &[(&str, &str)]| {
        let answer =
            client.post(format!("{}{path}", served.base)).form(fields).send().await.expect("an answer");
        let (status, path) = (answer.status().as_u16(), answer.url().path().to_string());
        (status, path, super::served::whole(answer).await)
    };
    post("/sign-in", &[("site", site), ("person", "desk-8"), ("password", PASSWORD)]).await;
    let desk = client.get(format!("{}/desk", served.base)).send().await.unwrap().text().await.unwrap();
    let csrf = hidden(&desk, "csrf").to_string();
    let (_, _, page) =
        post("/desk", &[("csrf", &csrf), ("thing", "SET-1"), ("station", "sink 2"), ("scan", BADGE)]).await;
    assert!(
        page.contains("<h1>Desk Nine: type your PIN.</h1>") && page.contains("SET-1 stays in hand."),
        "{page}"
    );
    assert_eq!((hidden(&page, "thing"), hidden(&page, "station")), ("SET-1", "sink 2"));
    let hand = [("site", site), ("badge", BADGE), ("thing", "SET-1"), ("station", "sink 2")];
    let with = |pin: &'static str| hand.into_iter().chain([("pin", pin)]).collect::<Vec<_>>();
    let (status, _, page) = post("/badge", &with("0000")).await;
    assert!(status == 401 && page.contains("That is not the PIN. 4 tries are left."), "{page}");
    let (status, path, page) = post("/badge", &with("2580")).await;
    assert_eq!((status, path.as_str()), (200, "/desk"));
    assert!(page.contains("Desk Nine, ") && hidden(&page, "thing") == "SET-1", "{page}");
    assert!(page.contains("value=\"sink 2\""), "{page}");
    // The form of the person before is nobody's now: their session has ended.
    let (status, _, _) = post("/desk", &[("csrf", &csrf), ("thing", "SET-1"), ("act", "step:treated")]).await;
    assert!(status >= 400 && served.asset("B-1").await["stage"] == "soiled");
    // A station that nobody touches ends its session, and leads back to where it was.
    let again = reqwest::Client::builder().cookie_store(true).redirect(reqwest::redirect::Policy::none());
    let again = again.build().expect("a client");
    let form = [("site", site), ("person", "desk-8"), ("password", PASSWORD)];
    again.post(format!("{}/sign-in", served.base)).form(&form).send().await.expect("an answer");
    let text = again.get(format!("{}/desk", served.base)).send().await.unwrap().text().await.unwrap();
    assert!(text.contains("<body data-idle=\"30\">"), "{text}");
    let lock = [("csrf", hidden(&text, "csrf")), ("locked", "/desk")];
    let locked = again.post(format!("{}/sign-out", served.base)).form(&lock).send().await.unwrap();
    assert_eq!(locked.headers()["location"], "/sign-in?ended=idle&back=/desk");
    // The server's own idle time may have run out before the page's: nothing was sent that would have to be repeated.
    let late = again.post(format!("{}/sign-out", served.base)).header("cookie", "fettle_session=over");
    let late = late.header("referer", format!("{}/desk", served.base)).form(&lock).send().await.unwrap();
    assert_eq!(late.headers()["location"], "/sign-in?ended=idle&back=/desk");
    let after = again.get(format!("{}/desk", served.base)).send().await.unwrap();
    assert_eq!(after.status(), 303, "nobody goes on without signing in");
    // A wristband and the badge of somebody who left are refused in a sentence.
    let csrf = hidden(&page, "csrf").to_string();
    let (status, _, page) = post("/desk", &[("csrf", &csrf), ("scan", WRISTBAND)]).await;
    assert!(status == 409 && page.contains("This is the wristband of a patient"), "{page}");
    assert!(!page.contains("952123400012345670"), "a patient's number stands nowhere");
    let (status, _, page) = post("/badge", &[("site", site), ("badge", WRISTBAND), ("pin", "2580")]).await;
    assert!(status == 401 && page.contains("the wristband of a patient (8018)"), "{page}");
    let (_, _, page) = post("/badge", &[("site", site), ("badge", "8017952123400000000551")]).await;
    assert!(
        page.contains("Nobody signs in with that: the check digit does not agree: read it again.<"),
        "{page}"
    );
    house.disable_person(site, "desk-9").await.unwrap();
    let (status, _, page) = post("/badge", &[("site", site), ("badge", BADGE), ("pin", "2580")]).await;
    assert!(status == 401 && page.contains("somebody whose account is closed"), "{page}");
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn printed_commands_choose_the_step_and_the_station_and_take_back() {
    let served = staffed(Kind::Embedded).await;
    let site = served.site.as_str();
    served.house.add_person(site, Some("lead-9"), "Lead Nine", Role::Lead, PASSWORD).await.unwrap();
    for (person, takes_back) in [("desk-8", false), ("lead-9", true)] {
        let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
        let post = async |path: &str, fields: &[(&str, &str)]| {
            let answer =
                client.post(format!("{}{path}", served.base)).form(fields).send().await.expect("an answer");
            (answer.status().as_u16(), answer.text().await.expect("a page"))
        };
        post("/sign-in", &[("site", site), ("person", person), ("password", PASSWORD)]).await;
        let page = client.get(format!("{}/desk", served.base)).send().await.unwrap().text().await.unwrap();
        let csrf = hidden(&page, "csrf").to_string();
        let (_, page) =
            post("/desk", &[("csrf", &csrf), ("scan", "]d1FTLDOSTNsink 2"), ("thing", "SET-1")]).await;
        assert!(
            page.contains("name=\"station\" value=\"sink 2\"") && hidden(&page, "thing") == "SET-1",
            "{page}"
        );
        let step = if takes_back { "FTLDORECEIVED" } else { "FTLDOPRECLEN" };
        let (_, page) = post("/desk", &[("csrf", &csrf), ("scan", step), ("thing", "SET-1")]).await;
        let value = if takes_back { "step:received" } else { "step:treated" };
        assert!(page.contains(&format!("value=\"{value}\" form=\"desk\" checked")), "{page}");
        let (status, page) = post("/desk", &[("csrf", &csrf), ("scan", "SET-1"), ("step", value)]).await;
        assert_eq!(status, 200, "{page}");
        let last = hidden(&page, "last").to_string();
        let (status, page) = post("/desk", &[("csrf", &csrf), ("scan", "FTLDOUNDO"), ("last", &last)]).await;
        if takes_back {
            assert!(status == 200 && page.contains("<b>Recorded.</b>"), "{page}");
            assert_eq!(served.asset("B-1").await["stage"], "treated", "back to what the desk recorded");
        } else {
            assert!(status == 409 && page.contains(&format!("tell the lead: entry {last}")), "{page}");
            assert_eq!(served.asset("B-1").await["stage"], "treated");
        }
        let (_, page) =
            post("/desk", &[("csrf", &csrf), ("scan", "FTLDODONE"), ("thing", "SET-1"), ("step", value)])
                .await;
        assert!(
            !page.contains("name=\"thing\"") && page.contains("value=\"\" form=\"desk\" checked"),
            "{page}"
        );
        let (status, _) = post("/desk", &[("csrf", &csrf), ("scan", "FTLDOWHATEVER")]).await;
        assert_eq!(status, 409);
    }
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn badge_and_pin_are_set_from_the_command_line() {
    let served = staffed(Kind::Embedded).await;
    let site = served.site.as_str();
    let run = |what: &str, code: &str, input: &str| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fettle"));
        command.args(["person", what, "--site", site, "--code", code, "--database", &served.url]);
        let mut child = command.stdin(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program");
        child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        (output.status.success(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    assert!(run("badge", "desk-8", BADGE).0 && run("pin", "desk-8", "2580\n").0);
    let signed = served.house.sign_in_by_badge(site, BADGE, "2580").await.unwrap();
    assert!(matches!(signed, ByBadge::In(_)));
    let (well, words) = run("badge", "desk-8", WRISTBAND);
    assert!(!well && words.contains("wristband"), "{words}");
    assert!(!run("badge", "nobody", "FTLID-7").0);
    assert!(run("badge", "desk-8", "\n").0);
    assert_eq!(served.house.badge_owner(site, BADGE).await.unwrap(), Owner::Nobody);
    served.stop().await;
}
