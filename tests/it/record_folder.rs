//! The folder of records, with the program itself as a process: what is judged, what stays and why, and what comes of
//! restarts, links, replaced files, temporary names and a second server.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};

use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::binary::{Place, Running, checked, entries, fettle};
use super::own::Own;
use super::record_form::{foreign_form, foreign_record, latin};
use super::served::{Kind, Served, steam_record};

/// A process that watches, on a database with a load of cycle 311 in the steriliser.
struct Watched {
    own: Own,
    at: Place,
    load: String,
    root: PathBuf,
}

impl Watched {
    async fn new(kind: Kind) -> Watched {
        let own = Own::new(kind).await;
        let served = Served::on(own.url.clone(), None, None).await;
        served.furnish().await;
        let load = served.loaded("311").await;
        let form = json!({"do": "define_record_form", "machine": "steriliser-1", "form": foreign_form()});
        served.done(Role::Lead, form).await;
        let at = Place { site: served.site.clone(), token: served.token(Role::Lead).into() };
        served.stop().await;
        let root = own.folder.path().join("records");
        fs::create_dir_all(root.join(&at.site).join("steriliser-1")).expect("a folder");
        Watched { own, at, load, root }
    }

    fn serve(&self) -> Running {
        let root = self.root.display().to_string();
        Running::begin(fettle(&["serve", "--listen", "127.0.0.1:0", "--records", &root], &self.own.url))
    }

    fn machine(&self) -> PathBuf {
        self.root.join(&self.at.site).join("steriliser-1")
    }

    /// Puts a file in as a machine should: under a passing name first.
    fn put(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let to = self.machine().join(name);
        let passing = self.machine().join(format!("{name}.part"));
        fs::write(&passing, bytes).expect("a file");
        fs::rename(passing, &to).expect("a name");
        to
    }

    async fn verdicts(&self) -> Vec<Value> {
        let all = entries(&self.own, &self.at.site).await;
        all.into_iter()
            .filter(|entry| entry["kind"] == "load_judged" && entry["actor"] == "records")
            .collect()
    }
}

async fn listed(running: &Running, at: &Place) -> Vec<Value> {
    let url = format!("{}/api/v1/{}/records", running.base, at.site);
    let answer = running.client.get(url).bearer_auth(&at.token).send().await.expect("an answer");
    let body: Value = answer.json().await.expect("JSON");
    body["items"].as_array().expect("items").clone()
}

/// The reason that is told of a file, as soon as it is.
async fn reason(running: &Running, at: &Place, file: &str, says: &str) -> String {
    let begun = Instant::now();
    loop {
        let all = listed(running, at).await;
        let told = all.iter().find(|it| it["file"] == file).and_then(|it| it["reason"].as_str());
        if let Some(told) = told.filter(|told| told.contains(says)) {
            return told.to_string();
        }
        assert!(begun.elapsed() < Duration::from_secs(40), "{file} with \"{says}\": {all:?}");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

async fn gone(path: &Path) {
    let begun = Instant::now();
    while path.symlink_metadata().is_ok() {
        assert!(begun.elapsed() < Duration::from_secs(40), "{} stays", path.display());
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_that_appears_is_judged_once_and_put_by() {
    let it = Watched::new(Kind::Server).await;
    let bytes = latin(&foreign_record(200, "00311"));
    // Two servers look at the same folder.
    let (mut first, second) = (it.serve(), it.serve());
    let file = it.put("S1-20260302.csv", &bytes);
    gone(&file).await;
    tokio::time::sleep(Duration::from_secs(5)).await;
    let verdicts = it.verdicts().await;
    assert_eq!(verdicts.len(), 1, "{verdicts:?}");
    assert_eq!(
        (verdicts[0]["station"].as_str(), verdicts[0]["event"]["load"].as_str()),
        (Some("folder"), Some(it.load.as_str()))
    );
    assert_eq!(fs::read(it.machine().join("judged/S1-20260302.csv")).expect("a file"), bytes, "as it came");
    assert_eq!(listed(&first, &it.at).await, [] as [Value; 0]);
    assert_eq!(listed(&second, &it.at).await, [] as [Value; 0]);
    // The same file again, as after a stop between judging and moving: known, and put by under another name.
    first.kill();
    let again = it.put("S1-20260302.csv", &bytes);
    gone(&again).await;
    assert_eq!(it.verdicts().await.len(), 1);
    assert_eq!(fs::read_dir(it.machine().join("judged")).expect("a folder").count(), 2);
    // After the decision too.
    for command in [
        json!({"do": "record_indicator", "load": it.load, "indicator": "chemical", "result": "pass"}),
        json!({"do": "release_load", "load": it.load, "dry": true}),
    ] {
        let (status, body) = second.post(&it.at, &command).await.expect("an answer");
        assert_eq!(status, 201, "{body}");
    }
    let again = it.put("again.csv", &bytes);
    gone(&again).await;
    assert_eq!(it.verdicts().await.len(), 1);
    let (well, words) = checked(&it.own);
    assert!(well, "{words}");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_matched_or_read_stays_and_says_why() {
    let it = Watched::new(Kind::Embedded).await;
    let running = it.serve();
    let outside = it.own.folder.path().join("outside.csv");
    fs::write(&outside, steam_record(200)).expect("a file");
    std::os::unix::fs::symlink(&outside, it.machine().join("link-311.csv")).expect("a link");
    std::os::unix::fs::symlink(it.own.folder.path(), it.root.join(&it.at.site).join("steriliser-9"))
        .expect("a link");
    fs::create_dir_all(it.root.join("no-such-site/steriliser-1")).expect("a folder");
    let other = it.put("other.csv", &latin(&foreign_record(200, "312")));
    let unread = it.put("unread-311.csv", b"Zeit;T\r\n1;2\r\n");
    let unnamed = it.put("unnamed.csv", steam_record(200).as_bytes());
    let passing =
        [it.machine().join(".311.csv"), it.machine().join("311.csv.tmp"), it.machine().join("311.PART")];
    passing.iter().for_each(|path| fs::write(path, steam_record(200)).expect("a file"));
    // A file of 100 MiB that takes no room: it is not read.
    let huge = fs::File::create(it.machine().join("huge-311.csv")).expect("a file");
    huge.set_len(100 * 1024 * 1024).expect("a length");
    reason(&running, &it.at, "link-311.csv", "links are not followed").await;
    reason(&running, &it.at, "huge-311.csv", "at most 67108864 bytes").await;
    let told = reason(&running, &it.at, "other.csv", "has cycle number 312").await;
    assert_eq!(told, "No load of steriliser-1 that is not decided has cycle number 312.");
    reason(&running, &it.at, "unread-311.csv", "no line that begins with \"Maschine\"").await;
    reason(&running, &it.at, "unnamed.csv", "stands in the file's name").await;
    assert_eq!(listed(&running, &it.at).await.len(), 5, "passing names are not told");
    // On the page too, but for the file that has gone meanwhile.
    fs::remove_file(&unnamed).expect("it is there");
    // A file that is replaced is looked at anew: here by one whose name says the cycle.
    fs::remove_file(&unread).expect("it is there");
    let replaced = it.put("unread-311.csv", steam_record(200).as_bytes());
    gone(&replaced).await;
    assert_eq!(it.verdicts().await.len(), 1);
    // The load is decided, and its successor has the number that the other file waits for.
    for command in [
        json!({"do": "reject_load", "load": it.load, "reason": "wrong drawer"}),
        json!({"do": "record_step", "step": "packed", "scan": ["SET-1"]}),
        json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "cycle_no": 312, "scan": ["SET-1"]}),
    ] {
        let (status, body) = running.post(&it.at, &command).await.expect("an answer");
        assert_eq!(status, 201, "{body}");
    }
    gone(&other).await;
    assert_eq!(it.verdicts().await.len(), 2, "it was tried again when a load changed");
    assert!(outside.exists() && passing.iter().all(|path| path.exists()));
    assert_eq!(listed(&running, &it.at).await.len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_appeared_while_nobody_served_is_judged_after_the_start() {
    let it = Watched::new(Kind::Embedded).await;
    let file = it.put("steriliser-1_311.csv", steam_record(200).as_bytes());
    // A cycle number that is a part of a longer one is none.
    let longer = it.put("1311.csv", steam_record(201).as_bytes());
    let log = fs::File::create(it.own.folder.path().join("log")).expect("a file");
    let root = it.root.display().to_string();
    fs::create_dir_all(it.root.join("no-such-site/x")).expect("a folder");
    fs::create_dir_all(it.root.join(&it.at.site).join("no-such-machine")).expect("a folder");
    fs::write(it.root.join(&it.at.site).join("no-such-machine/1.csv"), "x").expect("a file");
    let mut command = fettle(&["serve", "--listen", "127.0.0.1:0", "--records", &root], &it.own.url);
    command.stderr(Stdio::from(log));
    let mut running = Running::begin(command);
    gone(&file).await;
    reason(&running, &it.at, "1311.csv", "stands in the file's name").await;
    assert_eq!(it.verdicts().await.len(), 1);
    assert!(longer.exists());
    running.signal("TERM");
    assert_eq!(running.ended(Duration::from_secs(10)).await.code(), Some(0));
    let log = fs::read_to_string(it.own.folder.path().join("log")).expect("a log");
    for says in
        ["\\\"no-such-site\\\" is no site", "\\\"no-such-machine\\\" is no machine of site", "record judged"]
    {
        let times = log.matches(says).count();
        assert_eq!(times, 1, "{says} once: {log}");
    }
    // A folder that is not there stops nothing.
    let nowhere = it.root.join("nowhere").display().to_string();
    let running =
        Running::begin(fettle(&["serve", "--listen", "127.0.0.1:0", "--records", &nowhere], &it.own.url));
    assert_eq!(listed(&running, &it.at).await, [] as [Value; 0]);
}
