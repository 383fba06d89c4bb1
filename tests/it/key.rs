//! A key makes a command's repetition harmless, and belongs to one command of one person.

use fettle::domain::person::Role;
use serde_json::{Value, json};

use super::served::{BOTH, Served};

#[tokio::test(flavor = "multi_thread")]
async fn a_key_makes_a_repetition_harmless() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let add = json!({"do": "add_asset", "model": "cap", "key": "k-1"});
        let first = served.done(Role::Lead, add.clone()).await;
        served.done(Role::Desk, json!({"do": "put_away", "scan": [first["made"]], "location": "box"})).await;
        assert_eq!(served.post(Role::Lead, add.clone()).await, (200, first.clone()), "the same body");
        let reordered = json!({"key": "k-1", "model": "cap", "do": "add_asset"});
        assert_eq!(served.post(Role::Lead, reordered).await.0, 200);
        let reused = |answer: (u16, Value)| {
            assert_eq!((answer.0, answer.1["code"].as_str()), (422, Some("key_reused")), "{answer:?}");
        };
        reused(served.post(Role::Lead, json!({"do": "add_asset", "model": "barrel", "key": "k-1"})).await);
        reused(served.post(Role::Biomed, add.clone()).await);
        reused(served.post_as(&served.another(Role::Lead).await, &add).await);
        // A time that was given belongs to the command.
        let put =
            |at: &str| json!({"do": "put_away", "scan": ["B-1"], "location": "a", "key": "k-2", "at": at});
        let at = served.asset_at("B-1").await;
        let first = served.done(Role::Desk, put(&at)).await;
        assert_eq!(served.post(Role::Desk, put(&at)).await, (200, first));
        reused(served.post(Role::Desk, put("2999-01-01T00:00:00Z")).await);
        // A refusal is not remembered: the same key works once the obstacle is gone.
        let build =
            json!({"do": "build_set", "set": "SET-9", "count_sheet": "child", "name": "Child", "key": "k-3"});
        served.refused(Role::Lead, build.clone(), "unknown_thing").await;
        let lines = json!([{"line": "cap", "family": "cap", "quantity": 1, "essential": true}]);
        let sheet =
            json!({"do": "define_count_sheet", "count_sheet": "child", "name": "Child", "lines": lines});
        served.done(Role::Lead, sheet).await;
        served.done(Role::Lead, build).await;
        // Within one array a repeated key is answered as it would be alone.
        let put = json!({"do": "put_away", "scan": ["B-1"], "location": "b", "key": "k-4"});
        let (_, body) = served.post(Role::Desk, json!([put, put])).await;
        let mut results = body["results"].as_array().expect("results").clone();
        assert_eq!((results[0]["status"].as_u64(), results[1]["status"].as_u64()), (Some(201), Some(200)));
        results.iter_mut().for_each(|result| result["status"] = Value::Null);
        assert_eq!(results[0], results[1]);
        served.sound().await;
        served.stop().await;
    }
}

impl Served {
    /// The time of a part's last entry.
    async fn asset_at(&self, asset: &str) -> String {
        let (status, body) = self.get(&format!("assets/{asset}/history?limit=1")).await;
        assert_eq!(status, 200, "{body}");
        body["items"][0]["at"].as_str().expect("a time").to_string()
    }
}
