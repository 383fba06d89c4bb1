//! The downtime pack in its folder: whole, without a server, and no number twice.

use chrono::TimeDelta;
use fettle::app::downtime::{self, Pack};
use fettle::domain::person::Role::{Charge, Desk};
use fettle::web::pages::paper_pack;
use serde_json::json;

use super::paper::{furnished_yesterday, late, yesterday};
use super::served::{BOTH, Served};

/// The folder that is read with the server dead.
#[tokio::test(flavor = "multi_thread")]
async fn the_pack_lies_in_its_folder_and_old_ones_go() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnished_yesterday(&served).await;
        let start = (chrono::Utc::now() + TimeDelta::minutes(1)).to_rfc3339();
        let plan = json!({"do": "plan_case", "case": "K-7", "start": start, "minutes": 60, "needs": ["adult"], "patient": "REF-4711"});
        served.done(Charge, plan).await;
        let root = tempfile::tempdir().expect("a folder");
        let folder = root.path().join(&served.site);
        std::fs::create_dir_all(&folder).expect("a folder");
        for old in ["downtime-2001-01-01-06+0100.html", "downtime-2001-01-01-07+0100.html", "kept.txt"] {
            std::fs::write(folder.join(old), "old").expect("a file");
        }
        let pack = Pack { folder: root.path().into(), keep: 2, written: paper_pack::file };
        let read = || std::fs::read_to_string(folder.join("downtime.html")).expect("the pack");
        let numbers = |text: &str| -> Vec<String> {
            text.split("<h2>Sheet ")
                .skip(1)
                .map(|it| it.split(':').next().unwrap_or_default().to_string())
                .collect()
        };
        downtime::once(&served.house, &pack).await;
        let first = read();
        for words in ["SET-1", "K-7", "Ready", "Phone", "Cases of today"] {
            assert!(first.contains(words), "{words}: {first}");
        }
        assert!(!first.contains("REF-4711") && !first.contains("http"), "{first}");
        assert_eq!(numbers(&first).len(), 9, "{:?}", numbers(&first));
        let mut names: Vec<String> = std::fs::read_dir(&folder)
            .expect("a folder")
            .map(|it| it.expect("a file").file_name().into_string().expect("a name"))
            .collect();
        names.sort();
        assert_eq!(names.len(), 4, "two hours, the newest, and what is none of ours: {names:?}");
        assert!(
            names.contains(&"kept.txt".to_string())
                && !names.iter().any(|it| it.contains(".part") || it.contains("-06+")),
            "{names:?}"
        );
        // The next hour has the same numbers while nobody wrote on them, and others afterwards.
        downtime::once(&served.house, &pack).await;
        assert_eq!(numbers(&read()), numbers(&first));
        let used = numbers(&first)[0].clone();
        let step = json!({"do": "record_step", "step": "treated", "scan": "C-2", "at": yesterday("08:00"), "late": late(&used, 1, "desk")});
        served.done(Desk, step).await;
        downtime::once(&served.house, &pack).await;
        let next = numbers(&read());
        assert!(next.len() == 9 && next.iter().all(|it| !numbers(&first).contains(it)), "{next:?}");
        served.sound().await;
        served.stop().await;
    }
}
