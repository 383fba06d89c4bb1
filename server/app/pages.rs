//! A ledger read from its beginning, page by page: while one page is replayed, the next is looked at by another thread,
//! and the one after it comes from the database.

use std::collections::VecDeque;

use tokio::task::JoinHandle;

use super::batch::{Read, read_event};
use crate::domain::id::Id;
use crate::ledger::canonical::canonical;
use crate::ledger::leaf::{Hash, leaf};
use crate::storage::ledger::{self, StoredEntry};
use crate::storage::{Conn, StorageError};

/// Entries read at a time: a page, so that a reader never holds the log of a busy database for long.
const PAGE: usize = 1_000;
/// Pages under way at a time.
const AHEAD: usize = 2;

/// An entry that was looked at by itself.
pub struct Looked {
    pub entry: Read,
    pub leaf: Hash,
    pub recorded_at: i64,
    /// What is wrong with it, in sentences.
    pub wrong: Vec<String>,
}

type Page = Result<Vec<Looked>, StorageError>;

pub struct Pages {
    site: Id,
    /// The place up to which entries were asked for.
    seq: u64,
    ended: bool,
    under_way: VecDeque<JoinHandle<Page>>,
}

impl Pages {
    pub fn new(site: &Id) -> Pages {
        Pages { site: site.clone(), seq: 0, ended: false, under_way: VecDeque::new() }
    }

    /// The next page, oldest entry first; `None` after the last.
    pub async fn next(&mut self, conn: &mut Conn) -> Result<Option<Vec<Looked>>, StorageError> {
        while !self.ended && self.under_way.len() < AHEAD {
            let page = ledger::after(conn, self.site.as_str(), self.seq, PAGE).await?;
            match page.last() {
                Some(last) => self.seq = last.seq,
                None => self.ended = true,
            }
            let site = self.site.clone();
            if !page.is_empty() {
                self.under_way.push_back(tokio::task::spawn_blocking(move || look_at(&site, &page)));
            }
        }
        let Some(first) = self.under_way.pop_front() else { return Ok(None) };
        let page = first.await.map_err(|error| StorageError::Row(error.to_string()))??;
        Ok(Some(page))
    }
}

fn look_at(site: &Id, page: &[StoredEntry]) -> Page {
    page.iter().map(|stored| one_entry(site, stored)).collect()
}

/// The canonical text is canonical, its columns say what it says, and its leaf is its hash.
fn one_entry(site: &Id, stored: &StoredEntry) -> Result<Looked, StorageError> {
    let mut wrong = Vec::new();
    let mut say = |what: &str| wrong.push(format!("entry {}: {what}", stored.seq));
    let leaf = leaf(stored.entry.as_bytes());
    if stored.leaf != leaf {
        say("its leaf is not the hash of its text");
    }
    let entry = read_event(stored)?;
    // What was read is written anew: where that gives the same text, the text is canonical, and the fields are its own.
    let same_text = canonical(&entry).is_ok_and(|text| text == stored.entry);
    let same = if same_text {
        entry.site == *site
            && entry.actor == stored.actor
            && entry.kind == stored.kind
            && entry.key == stored.key
    } else {
        let value: serde_json::Value =
            serde_json::from_str(&stored.entry).map_err(|error| StorageError::Row(error.to_string()))?;
        if canonical(&value).ok().as_deref() != Some(stored.entry.as_str()) {
            say("its text is not canonical");
        }
        let text = |name: &str| value.get(name).and_then(serde_json::Value::as_str);
        value.get("seq").and_then(serde_json::Value::as_u64) == Some(stored.seq)
            && text("site") == Some(site.as_str())
            && text("actor") == Some(&stored.actor)
            && text("kind") == Some(&stored.kind)
            && text("key") == stored.key.as_deref()
    };
    let same_times = entry.at.0 == stored.at && entry.recorded_at.0 == stored.recorded_at;
    if !(same && same_times) {
        say("its columns differ from its text");
    }
    Ok(Looked { entry, leaf, recorded_at: stored.recorded_at, wrong })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stored(text: &str) -> StoredEntry {
        StoredEntry {
            seq: 7,
            entry: text.into(),
            leaf: leaf(text.as_bytes()).to_vec(),
            key: Some("k".into()),
            asked: Vec::new(),
            at: 1_772_435_700_000_000,
            recorded_at: 1_772_435_701_000_000,
            actor: "desk-1".into(),
            kind: "machine_out".into(),
        }
    }

    const TEXT: &str = "{\"actor\":\"desk-1\",\"at\":\"2026-03-02T07:15:00Z\",\"event\":{\"machine\":\"m\",\"reason\":\"r\"},\
                        \"key\":\"k\",\"kind\":\"machine_out\",\"recorded_at\":\"2026-03-02T07:15:01Z\",\"seq\":7,\
                        \"site\":\"s\",\"station\":null,\"version\":1}";

    fn wrong(stored: &StoredEntry) -> Vec<String> {
        one_entry(&Id::new("s").unwrap(), stored).unwrap().wrong
    }

    #[test]
    fn an_entry_as_it_was_written_is_right() {
        assert_eq!(wrong(&stored(TEXT)), Vec::<String>::new());
    }

    #[test]
    fn what_was_altered_is_told() {
        let columns = ["entry 7: its columns differ from its text"];
        let spaced = TEXT.replacen(',', ", ", 1);
        assert_eq!(wrong(&stored(&spaced)), ["entry 7: its text is not canonical"]);
        // A field that no release wrote is canonical all the same: what was read differs from the text, the text stands.
        let event = "{\"location\":\"bay\",\"parts\":[],\"z\":1}";
        let more =
            TEXT.replace("machine_out", "put_away").replace("{\"machine\":\"m\",\"reason\":\"r\"}", event);
        assert_eq!(wrong(&StoredEntry { kind: "put_away".into(), ..stored(&more) }), Vec::<String>::new());
        assert_eq!(wrong(&stored(&more)), columns);
        let leaf = StoredEntry { leaf: vec![0; 32], ..stored(TEXT) };
        assert_eq!(wrong(&leaf), ["entry 7: its leaf is not the hash of its text"]);
        for other in [
            StoredEntry { seq: 8, ..stored(TEXT) },
            StoredEntry { key: None, ..stored(TEXT) },
            StoredEntry { at: 1, ..stored(TEXT) },
            StoredEntry { recorded_at: 1, ..stored(TEXT) },
            StoredEntry { actor: "lead".into(), ..stored(TEXT) },
            StoredEntry { kind: "machine_back".into(), ..stored(TEXT) },
        ] {
            let told = wrong(&other);
            assert_eq!(told.len(), 1, "{told:?}");
            assert!(told[0].ends_with(&columns[0][8..]), "{told:?}");
        }
        assert_eq!(wrong(&stored(&TEXT.replace("\"site\":\"s\"", "\"site\":\"t\""))), columns);
    }
}
