//! Scans of which only a part may have arrived, or more than the scan: in part they may be the name of another thing.

use std::time::Duration;

use serde_json::json;

use super::{SCANNER_S, Wedge};

impl Wedge<'_> {
    /// Keys that arrive as soon as the page hears any: the same events, with the times at which it was opened.
    async fn opening(&self, text: &str, end: &str) {
        let script = format!(
            "const opened = performance.getEntriesByType('resource').find((it) => it.name.includes('/static/scan.js'));
             let at = opened.responseEnd;
             const own = document.activeElement;
             for (const key of [...{}, {}]) {{
               at += 4;
               const event = new KeyboardEvent('keydown', {{ key, bubbles: true, cancelable: true,
                 code: key === 'Enter' ? 'Enter' : /[0-9]/.test(key) ? 'Digit' + key : 'Key' + key, shiftKey: /[A-Z]/.test(key) && key.length === 1 }});
               Object.defineProperty(event, 'timeStamp', {{ value: at }});
               const goes = own.dispatchEvent(event);
               if (goes && key.length === 1) own.value += key;
               if (goes && key === 'Enter') own.form.requestSubmit();
             }}",
            json!(text),
            json!(end)
        );
        self.run(&script).await;
    }
}

/// What may be a piece of a scan, or have something before it, is refused.
pub async fn pieces(wedge: &Wedge<'_>) {
    // One key by hand, then at once the scanner: together they would be PZ77's neighbour, or anything.
    let until = wedge.keys_from(None, "P", "", SCANNER_S).await;
    wedge.keys_from(Some(until + 0.2), "Y77", "Enter", SCANNER_S).await;
    wedge.refuses(&["A key was pressed just before this scan", "Nothing was done"], &["PY77"]).await;
    // Two scans without an end, on a page that is too busy to hear the silence between them.
    let until = wedge.keys_from(None, "PY77-2", "", SCANNER_S).await;
    wedge.keys_from(Some(until + 0.3), "PZ77-2", "", SCANNER_S).await;
    wedge.keys.says(".log", &["PY77-2", "PZ77-2"]).await;
    assert!(!wedge.keys.text(".log").await.contains("PY77-2PZ77-2"));
    // A scan that began before the page was there: what arrives is its rest, and the end of it presses no button.
    for (rest, end) in [("Y77", "Enter"), ("7", "Enter")] {
        wedge.run("sessionStorage.clear(); location.assign('/desk?scan=B-1')").await;
        wedge.keys.says("h1", &["B-1"]).await;
        wedge.opening(rest, end).await;
        wedge.refuses(&["This page was still opening when the scan began"], &["Y77", "\"7\""]).await;
    }
    wedge.run("location.assign('/desk?scan=B-1')").await;
    wedge.keys.says("h1", &["B-1"]).await;
    wedge.opening("", "Enter").await;
    tokio::time::sleep(Duration::from_millis(600)).await;
    assert!(!wedge.keys.text(".log").await.contains("recorded"), "the end of a scan presses nothing");
    wedge.run("location.assign('/desk')").await;
    wedge.keys.says("h1", &["Scan a part or a set"]).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    wedge.scan("C-1", "Enter").await;
    wedge.heading(&["C-1"]).await;
}
