//! Strangers: nothing blocks the sink, nothing is packed before it is known, and both are counted where a mark is shared.

use serde_json::json;

use super::*;

fn stranger(kind: &str) -> Value {
    json!({"do": "receive_stranger", "kind": kind, "looks": "grasping forceps, 50 cm"})
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stranger_is_washed_under_its_tag_and_never_packed() {
    for kind in BOTH {
        let served = house(kind).await;
        let told = served.done(Desk, with(stranger("other_site"), "owner", json!("Example Hospital"))).await;
        let tag = told["made"].as_str().expect("a tag").to_string();
        assert_eq!(served.asset(&tag).await["standing"], "held");
        let load = washed(&served, json!([tag])).await;
        served.done(Desk, json!({"do": "inspect", "scan": tag, "passed": true})).await;
        assert_eq!(served.asset(&tag).await["stage"], "inspected");
        served.refused(Desk, json!({"do": "record_step", "step": "packed", "scan": [tag]}), "held").await;
        let hold = told["event"]["hold"]["hold"].clone();
        served
            .refused(Lead, json!({"do": "lift_hold", "hold": hold, "reason": "fine"}), "still_referenced")
            .await;
        let open = one(&served, "strangers?open=true").await;
        assert_eq!(open["items"][0]["asks"], "its owner is to be told", "{open}");
        let tell = json!({"do": "tell_owner", "stranger": tag, "owner": "Example Hospital", "person": "Dr Two",
                          "words": "They fetch it on Monday."});
        let told = served.done(Desk, tell).await;
        assert!(told["event"]["person"].as_str().expect("a seal").starts_with("sealed:"));
        assert_eq!(
            one(&served, "strangers?open=true").await["items"][0]["tag"],
            json!(tag),
            "told is not gone"
        );
        // What it is the lead says; that it was fetched, the desk sees.
        let settle = |outcome: &str| json!({"do": "settle_stranger", "stranger": tag, "outcome": outcome});
        assert_eq!(served.post(Desk, settle("discarded")).await.0, 403);
        let gone = served.done(Desk, settle("collected")).await;
        assert_eq!((&gone["event"]["by"]["load"], &gone["deviation"]), (&load, &json!([])));
        assert_eq!(one(&served, "strangers?open=true").await["items"], json!([]));
        served.refused(Lead, settle("discarded"), "already_done").await;
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mark_that_equals_one_of_ours_is_told_and_both_are_traced() {
    for kind in BOTH {
        let served = house(kind).await;
        served.done(Biomed, json!({"do": "give_mark", "asset": "B-1", "mark": "8004952123400017"})).await;
        served.round("SET-1").await;
        // Another reader writes the same mark in another way.
        let told = served.done(Desk, with(stranger("other_site"), "mark", json!("(8004)952123400017"))).await;
        assert_eq!(told["event"]["same_as"], "B-1");
        let tag = told["made"].as_str().expect("a tag").to_string();
        let traced = |asset: String| {
            let served = &served;
            async move { one(served, &format!("look-back?asset={asset}")).await }
        };
        let (from_tag, from_ours) = (traced(tag.clone()).await, traced("B-1".into()).await);
        assert_eq!(names(&from_tag["loads"], "load"), names(&from_ours["loads"], "load"));
        assert!(names(&from_tag["assets"], "asset").contains(&"B-1".to_string()));
        assert!(names(&from_ours["assets"], "asset").contains(&tag), "{from_ours}");
        assert_eq!(from_ours["in_doubt"][0]["because"], json!(tag));
        let theirs = json!({"do": "settle_stranger", "stranger": tag, "outcome": "theirs", "words": "its serial number"});
        served.done(Lead, theirs.clone()).await;
        served.refused(Lead, theirs, "already_done").await;
        let settled = traced("B-1".into()).await;
        assert_eq!(
            (&settled["in_doubt"], names(&settled["assets"], "asset")),
            (&json!([]), vec!["B-1".to_string()])
        );
        // It still waits to be fetched.
        assert_eq!(one(&served, "strangers?open=true").await["items"][0]["tag"], json!(tag));
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_thought_retired_goes_on_and_what_is_adopted_begins() {
    for kind in BOTH {
        let served = house(kind).await;
        served.done(Biomed, json!({"do": "retire", "asset": "C-2", "cause": "lost", "failure": false})).await;
        let known = with(stranger("thought_retired"), "model", json!("cap"));
        let tag = served.done(Desk, known).await["made"].clone();
        let ours = json!({"do": "settle_stranger", "stranger": tag, "outcome": "ours", "asset": "C-2"});
        let told = served.done(Lead, ours).await;
        assert_eq!(told["event"]["reinstated"], true, "{told}");
        let cap = served.asset("C-2").await;
        assert_eq!((&cap["standing"], &cap["stage"]), (&json!("in_service"), &json!("soiled")));
        assert_eq!(served.asset(tag.as_str().expect("a tag")).await["standing"], "retired");
        // Its loads under the tag are found from it for good.
        let back = one(&served, "look-back?asset=C-2").await;
        assert!(
            names(&back["assets"], "asset").contains(&tag.as_str().expect("a tag").to_string()),
            "{back}"
        );
        let other = served.done(Desk, stranger("unmarked")).await["made"].clone();
        let adopt = json!({"do": "settle_stranger", "stranger": other, "outcome": "adopted",
                           "adopt": {"model": "barrel", "asset": "B-9", "prior_cycles": 5}});
        served.done(Lead, adopt).await;
        assert_eq!(served.asset("B-9").await["cycles"], 5);
        let bare = json!({"do": "settle_stranger", "stranger": other, "outcome": "ours"});
        assert_eq!(served.post(Lead, bare).await.0, 422);
        served.sound().await;
        served.stop().await;
    }
}
