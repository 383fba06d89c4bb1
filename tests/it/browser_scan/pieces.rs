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

/// On a page that takes no scan its end, and a blank within, press no button that has the focus.
pub async fn pages_without_a_field(wedge: &Wedge<'_>) {
    wedge.run("location.assign('/sets/SET-1')").await;
    wedge.keys.says("h1", &["Set SET-1 is in reprocessing"]).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
    for (scan, end) in [("B-1", "Enter"), ("B 1 2", "Enter"), ("B-1", "Tab")] {
        wedge
            .run(
                "const all = [...document.querySelectorAll('main button')].filter((it) => it.checkVisibility());
                 window.pressed = 0;
                 for (const it of all) it.onclick = () => { window.pressed += 1; return false; };
                 all[0].focus();",
            )
            .await;
        wedge.scan(scan, end).await;
        wedge.keys.says("#trouble", &["This page takes no scan. Nothing was done.", "Open the desk"]).await;
        assert_eq!(wedge.run("return window.pressed").await, json!(0), "{scan}");
    }
    // By hand the same button goes as ever.
    wedge.run("document.querySelector('#trouble').remove(); document.activeElement.blur()").await;
    wedge
        .run("[...document.querySelectorAll('main button')].find((it) => it.checkVisibility()).focus()")
        .await;
    tokio::time::sleep(Duration::from_millis(500)).await;
    wedge.keys("", "Enter", SCANNER_S).await;
    assert_eq!(wedge.run("return window.pressed").await, json!(1));
    wedge.run("location.assign('/desk')").await;
    wedge.keys.says("h1", &["Scan a part or a set"]).await;
    tokio::time::sleep(Duration::from_millis(300)).await;
}
