//! Queries: what a parameter or a name that is not known is answered with.

use fettle::domain::person::Role;
use serde_json::json;

use super::served::{BOTH, Served};

#[tokio::test(flavor = "multi_thread")]
async fn a_parameter_that_a_query_does_not_know_is_told() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        for path in [
            "assets?colour=red",
            "assets?limit=1001",
            "assets?limit=many",
            "assets?limit=0",
            "assets?limit=5&limit=6",
            "assets/B-1?colour=red",
            "assets/B-1/history?colour=red",
            "sets?limit=-1",
            "sets/SET-1?x=1",
            "loads?colour=red",
            "ledger?after=first",
            "ledger?colour=red",
        ] {
            let (status, body) = served.get(path).await;
            assert_eq!((status, body["code"].as_str()), (422, Some("malformed")), "{path}: {body}");
            let name = path.split_once('?').and_then(|(_, query)| query.split('=').next()).expect("a name");
            assert!(body["detail"].as_str().is_some_and(|it| it.contains(name)), "{path}: {body}");
        }
        for path in ["assets/NOPE", "assets/SET-1/history", "sets/NOPE", "loads/NOPE", "nothing"] {
            let (status, body) = served.get(path).await;
            assert_eq!((status, body["code"].as_str()), (404, Some("unknown_thing")), "{path}: {body}");
        }
        // A mark is found however its letters were composed; U+0000 is in no name.
        let mark = json!({"do": "add_asset", "asset": "M-1", "model": "cap", "mark": "caf\u{e9}"});
        served.done(Role::Lead, mark).await;
        for path in ["assets/caf%C3%A9", "assets/cafe%CC%81"] {
            let (status, body) = served.get(path).await;
            assert_eq!((status, body["asset"].as_str()), (200, Some("M-1")), "{path}: {body}");
        }
        for path in ["assets/a%00b", "sets/%00", "loads?after=%00"] {
            let (status, body) = served.get(path).await;
            assert_eq!((status, body["code"].as_str()), (422, Some("malformed")), "{path}: {body}");
        }
        served.stop().await;
    }
}
