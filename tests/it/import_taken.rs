//! Sheets taken away and brought again, and lists from the command line.

use std::process::Stdio;

use fettle::domain::person::Role::{Charge, Lead};
use serde_json::json;

use super::binary::{Running, checked, entries, fettle, furnished};
use super::import_served::PARTS;
use super::own::Own;
use super::page::{open, person};
use super::served::{BOTH, Kind, Served};

#[tokio::test(flavor = "multi_thread")]
async fn sheets_are_taken_away_and_come_back_unchanged() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    served
        .done(
            Lead,
            json!({"do": "add_asset", "asset": "N-1", "model": "cap", "mark": "=1+1", "serial": "007"}),
        )
        .await;
    let client = person(&served, Lead).await;
    for name in [
        "models",
        "assets",
        "count_sheets",
        "sets",
        "cases",
        "machines",
        "loads",
        "due",
        "exceptions",
        "findings",
        "repairs",
        "missing",
        "ledger",
    ] {
        for (ending, is) in [("csv", "text/csv"), ("xlsx", "application/vnd.openxml")] {
            let answer = client
                .get(format!("{}/export/{name}.{ending}", served.base))
                .send()
                .await
                .expect("an answer");
            let kind = answer.headers()["content-type"].to_str().expect("a kind").to_string();
            assert!(answer.status() == 200 && kind.starts_with(is), "{name}.{ending}: {kind}");
            let called = answer.headers()["content-disposition"].to_str().expect("a name").to_string();
            assert!(called.contains(&format!("{name}-entry-")), "{called}");
            let bytes = answer.bytes().await.expect("bytes").to_vec();
            if ["assets", "count_sheets", "sets"].contains(&name) {
                let (status, told) = served.list(Lead, &format!("kind={name}"), bytes).await;
                assert_eq!((status, &told["entries"]), (200, &json!(0)), "{name}.{ending}: {told}");
            }
        }
    }
    let (_, _, sheet) = open(&client, &served, "/export/assets.csv").await;
    assert!(sheet.contains(",'=1+1,"), "guarded against formulas: {sheet}");
    assert_eq!(open(&client, &served, "/export/people.csv").await.0, 404);
    let charge = person(&served, Charge).await;
    assert_eq!(open(&charge, &served, "/export/ledger.csv").await.0, 403);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_command_line_imports_beside_a_server() {
    for kind in BOTH {
        let own = Own::new(kind).await;
        let at = furnished(&own).await;
        let running = Running::start(&own.url);
        let file = own.folder.path().join("parts.csv");
        let import = |text: &str, more: &[&str]| {
            std::fs::write(&file, text).expect("a file");
            let path = file.display().to_string();
            let mut args = vec!["import", "assets", &path, "--site", &at.site];
            args.extend(more);
            let done = fettle(&args, &own.url).stderr(Stdio::piped()).output().expect("a process");
            let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
            (done.status.success(), text(done.stdout), text(done.stderr))
        };
        let before = entries(&own, &at.site).await.len();
        let (well, out, _) = import(PARTS, &["--dry-run"]);
        assert_eq!(
            (well, out.as_str()),
            (true, "2 parts new, 0 changed, 0 the same; nothing was recorded\n")
        );
        let (well, out, err) = import("asset,model\nN-1,none\nN 2,cap\n", &[]);
        assert!(!well && out == "2 problems in 2 rows; nothing was recorded\n", "{out}{err}");
        let problems: Vec<&str> = err.lines().filter(|line| line.starts_with("line ")).collect();
        assert_eq!(problems.len(), 2, "{err}");
        assert_eq!(entries(&own, &at.site).await.len(), before);
        let (well, out, err) = import(PARTS, &[]);
        assert!(
            well && out.starts_with("2 parts new, 0 changed, 0 the same; recorded as entries "),
            "{out}{err}"
        );
        let (well, out, _) = import(PARTS, &[]);
        assert_eq!((well, out.as_str()), (true, "nothing changes: all 2 parts stand so already\n"));
        assert_eq!(entries(&own, &at.site).await.len(), before + 3);
        let (well, out, err) = import(
            "Nummer;acquired\nN-3;03/04/2024\n",
            &["--column", "asset=Nummer", "--fixed", "model=cap", "--dates", "day_first"],
        );
        assert!(well, "{out}{err}");
        // The running server sees it.
        let url = format!("{}/api/v1/{}/assets/N-3", running.base, at.site);
        let answer = running.client.get(url).bearer_auth(&at.token).send().await.expect("an answer");
        assert_eq!(answer.status(), 200);
        drop(running);
        let (well, words) = checked(&own);
        assert!(well, "{words}");
    }
}
