//! Files in UTF-16, and faults that a verdict finds: told with the place in the file that was sent.

use fettle::domain::person::Role::{Desk, Lead};
use serde_json::json;
use sha2::{Digest, Sha256};

use super::page;
use super::record_form::{foreign_form, foreign_record, uploaded};
use super::served::{BOTH, Kind, Served, steam_record};

/// Its raw bytes stand in UTF-16, with U+0000 in most of its characters; both databases keep them, and the entry and the
/// bytes give the verdict again.
#[tokio::test(flavor = "multi_thread")]
async fn a_file_in_utf_16_is_judged_and_kept_as_it_came() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let load = served.loaded("311").await;
        let text = foreign_record(200, "311");
        let raw: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let client = page::person(&served, Desk).await;
        let path = format!("/loads/{load}/record");
        let (status, told) = uploaded(&client, &served, &path, &[], &raw).await;
        assert!(
            status == 422 && told.contains("where the file is UTF-16, a record form"),
            "{status}: {told}"
        );
        let mut form = foreign_form();
        form["encoding"] = "utf-16le".into();
        served.done(Lead, json!({"do": "define_record_form", "machine": "steriliser-1", "form": form})).await;
        let (status, told) = uploaded(&client, &served, &path, &[], &raw).await;
        assert!((200..400).contains(&status), "{status}: {told}");
        let (_, judged) = served.get(&format!("loads/{load}")).await;
        assert_eq!(
            (&judged["verdict"]["verdict"], &judged["evidence"]["record"]["sha256"]),
            (&json!("pass"), &json!(hex::encode(Sha256::digest(&raw)))),
            "{judged}"
        );
        served.sound().await;
        served.stop().await;
    }
}

/// calc.md: a pressure inside the hold outside the range of `calc saturation` is none that a verdict can use. The file's
/// own line and column are told, as of any other cell.
#[tokio::test(flavor = "multi_thread")]
async fn a_pressure_that_no_steam_has_is_told_with_its_place() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let load = served.loaded("311").await;
    let row = |line: &str| match line {
        line if line.starts_with("time_s") => format!("{line},pressure_kpa_abs"),
        line if line.contains("134.500") => format!("{line},308.68"),
        line => format!("{line},100"),
    };
    let plain: Vec<String> = steam_record(200).lines().map(row).collect();
    let plain = plain.join("\n").replacen(",308.68", ",30000", 1);
    let (line, _) = plain.lines().enumerate().find(|(_, line)| line.ends_with(",30000")).expect("a line");
    let (status, told) = served.post(Desk, json!({"do": "judge_load", "load": load, "record": plain})).await;
    let detail = told["errors"][0]["detail"].as_str().unwrap_or_default();
    let place = format!("line {}, column pressure_kpa_abs: found 30000 kPa", line + 1);
    assert!(status == 422 && detail.starts_with(&place), "{place}: {told}");
    // By a form, whose header stands lower and whose columns have other names.
    served
        .done(Lead, json!({"do": "define_record_form", "machine": "steriliser-1", "form": foreign_form()}))
        .await;
    let foreign = foreign_record(200, "311").replacen(";2102,8", ";999999", 1);
    let at = foreign.lines().position(|line| line.ends_with(";999999")).expect("a line") + 1;
    let judge = json!({"do": "judge_load", "load": load, "record": foreign});
    let (status, told) = served.post(Desk, judge).await;
    let detail = told["errors"][0]["detail"].as_str().unwrap_or_default();
    let place = format!("line {at}, column Druck: found ");
    assert!(status == 422 && detail.contains(&place), "{place}: {told}");
    served.stop().await;
}

/// The same on the command line, from a file and from standard input: exit status 2, and nothing on standard output.
#[test]
fn the_command_line_tells_the_same_place() {
    use std::io::Write;
    use std::process::{Command, Stdio};
    let text = "time_s,temp_c,pressure_bar_abs\n0,134.5,3.0868\n5,134.5,300\n200,134.5,3.0868\n";
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("cycle.csv");
    std::fs::write(&path, text).expect("a file");
    for file in [path.to_str().expect("a path"), "-"] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fettle"));
        command.args(["calc", "steam", file, "--band-c", "134", "--hold-s", "180"]);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().expect("a process");
        // Where a file was named nobody reads this.
        let _ = child.stdin.take().expect("its input").write_all(text.as_bytes());
        let told = child.wait_with_output().expect("its end");
        let said = String::from_utf8_lossy(&told.stderr);
        assert!(said.starts_with("line 3, column pressure_bar_abs: found 30000 kPa"), "{said}");
        assert_eq!((told.status.code(), told.stdout.len()), (Some(2), 0));
    }
}
