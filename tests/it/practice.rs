//! A site for practice: it says so on everything it shows and prints, and nothing in it reaches another site's ledger.

use std::process::Output;

use fettle::domain::person::Role::{Admin, Desk};
use serde_json::json;

use super::binary::{Running, fettle};
use super::own::Own;
use super::served::BOTH;

fn ran(arguments: &[&str], url: &str) -> Output {
    let output = fettle(arguments, url).output().expect("an end");
    assert!(output.status.success(), "{arguments:?}: {output:?}");
    output
}

fn last_line(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).trim().lines().last().unwrap_or_default().to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_done_for_practice_stays_there_and_says_so() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let url = own.url.as_str();
        ran(&["site", "add", "--site", "north", "--name", "North", "--timezone", "Europe/London"], url);
        let add = [
            "site",
            "add",
            "--site",
            "school",
            "--name",
            "School",
            "--timezone",
            "Europe/London",
            "--practice",
        ];
        ran(&add, url);
        let token = |site: &str, role: &str| last_line(&ran(&["token", "--site", site, "--role", role], url));
        let (school, north) = (token("school", Desk.name()), token("north", Admin.name()));
        let server = Running::start(url);
        let ask = |site: &str, token: &str, command: serde_json::Value| {
            let to = format!("{}/api/v1/{site}/commands", server.base);
            server.client.post(to).bearer_auth(token.to_string()).json(&command).send()
        };
        let entries = |site: &'static str, token: String| {
            let from = format!("{}/api/v1/{site}/ledger?after=0&limit=1000", server.base);
            let asked = server.client.get(from).bearer_auth(token).send();
            async move { asked.await.expect("an answer").text().await.expect("a ledger").lines().count() }
        };
        let before = entries("north", north.clone()).await;
        // There is something to practise on, made by people who cannot sign in.
        let sets = server.client.get(format!("{}/api/v1/school/sets", server.base)).bearer_auth(&school);
        let sets: serde_json::Value = sets.send().await.expect("an answer").json().await.expect("sets");
        let set = sets["items"][0]["set"].as_str().expect("a set").to_string();
        let step = json!({"do": "report_finding", "scan": set, "what": "for practice", "severity": "note"});
        let there = ask("school", &school, step.clone()).await.expect("an answer");
        assert!([201, 409, 422].contains(&there.status().as_u16()), "{}", there.status());
        // The same token names nothing anywhere else.
        let other = ask("north", &school, step).await.expect("an answer");
        assert_eq!(other.status(), 403);
        assert_eq!(entries("north", north).await, before, "the other ledger is as it was");
        somebody_practises(&server, url).await;
        drop(server);
        ran(&["rebuild", "--check"], url);
    }
}

/// Invented people do not sign in; who practises does, and is told on every page that it is practice.
async fn somebody_practises(server: &Running, url: &str) {
    let (person, base) = ("lead", server.base.clone());
    let form = [("site", "school"), ("person", person), ("password", "fettle-demo")];
    let signed = server.client.post(format!("{base}/sign-in")).form(&form).send().await.expect("an answer");
    let text = signed.text().await.expect("a page");
    assert!(text.contains("Sign in"), "an invented person does not sign in: {text}");
    let mut learner = fettle(
        &[
            "person",
            "add",
            "--site",
            "school",
            "--name",
            "Learner Invented",
            "--role",
            "desk",
            "--code",
            "learner",
        ],
        url,
    );
    let mut child = learner.stdin(std::process::Stdio::piped()).spawn().expect("a process");
    {
        use std::io::Write;
        child.stdin.take().expect("its input").write_all(b"practice-1234\n").expect("a password");
    }
    assert!(child.wait().expect("an end").success());
    let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
    let form = [("site", "school"), ("person", "learner"), ("password", "practice-1234")];
    let page = client.post(format!("{base}/sign-in")).form(&form).send().await.expect("an answer");
    let page = page.text().await.expect("a page");
    assert!(page.contains("<b>PRACTICE</b>"), "{page}");
    for path in ["/board", "/desk", "/handover", "/board/wall"] {
        let page = client.get(format!("{base}{path}")).send().await.expect("an answer");
        assert!(page.text().await.expect("a page").contains("<b>PRACTICE</b>"), "{path}");
    }
}
