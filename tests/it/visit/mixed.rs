//! Parts without marks that were mixed: look-back counts each of them, and the age of each is a range until it is settled.

use serde_json::json;

use super::*;

/// A cap of SET-1 that was at a case, and one of another set that was not; then their baskets are mixed.
async fn mixed(kind: Kind) -> (Served, Value) {
    let served = house(kind).await;
    served
        .done(
            Lead,
            json!({"do": "add_asset", "asset": "C-3", "model": "cap", "prior_cycles": 2, "prior_uses": 2}),
        )
        .await;
    served.round("SET-1").await;
    served.done(Charge, plan("K-1", 1)).await;
    served.done(Charge, issue("K-1", "SET-1")).await;
    served.done(Clinician, json!({"do": "use", "case": "K-1", "scan": ["B-1", "C-1", "T-1"]})).await;
    served.done(Charge, json!({"do": "close_count", "case": "K-1"})).await;
    let doubt =
        json!({"do": "identity_doubt", "scan": ["C-1", "C-3"], "how": "Two baskets fell into one sink."});
    let told = served.done(Desk, doubt.clone()).await;
    served.refused(Desk, doubt, "already_done").await;
    (served, told)
}

#[tokio::test(flavor = "multi_thread")]
async fn look_back_counts_both_and_wear_tells_a_range() {
    for kind in BOTH {
        let (served, told) = mixed(kind).await;
        assert_eq!(told["event"]["groups"][0].as_array().map(Vec::len), Some(2), "{told}");
        let doubt = told["made"].as_str().expect("a name").to_string();
        // A patient of K-1 is infectious: what goes on as C-3 may be the cap that was there.
        let load = washed(&served, json!(["C-3"])).await;
        let back = one(&served, "look-back?case=K-1").await;
        assert!(names(&back["assets"], "asset").contains(&"C-3".to_string()), "{back}");
        assert_eq!(names(&back["in_doubt"], "may_be"), vec!["C-3".to_string()], "{back}");
        let from = one(&served, "look-back?asset=C-1").await;
        assert!(
            names(&from["loads"], "load").contains(&load.as_str().expect("a name").to_string()),
            "{from}"
        );
        let from = one(&served, "look-back?asset=C-3").await;
        assert!(
            !names(&from["cases"], "case").contains(&"K-1".to_string()),
            "K-1 was before they were mixed: {from}"
        );
        // C-1 has 1 cycle behind it, C-3 has 2: each may have either.
        let wear = one(&served, "wear?model=cap").await;
        let pieces = wear["life_between_inspections"]["pieces"].as_array().expect("pieces").clone();
        let between = |asset: &str| {
            let piece = pieces.iter().find(|it| it["asset"] == asset).expect("a piece");
            piece["between"].clone()
        };
        assert_eq!((between("C-1"), between("C-3")), (json!([1, 2]), json!([1, 2])), "{pieces:?}");
        assert_eq!(between("C-2"), Value::Null);
        let settle = |swapped: Value| json!({"do": "settle_identity", "doubt": doubt, "swapped": swapped, "how": "a scratch"});
        // Each name has one piece, and each piece one name; and only those that were mixed.
        for (swapped, pointer) in [
            (json!([{"asset": "C-1", "was": "C-3"}]), "/swapped"),
            (json!([{"asset": "C-1", "was": "C-2"}, {"asset": "C-2", "was": "C-1"}]), "/swapped/0"),
        ] {
            let (status, body) = served.post(Lead, settle(swapped)).await;
            assert_eq!((status, body["errors"][0]["pointer"].as_str()), (422, Some(pointer)), "{body}");
        }
        assert_eq!(served.post(Desk, settle(json!([]))).await.0, 403);
        served.done(Lead, settle(json!([]))).await;
        served.refused(Lead, settle(json!([])), "already_done").await;
        let back = one(&served, "look-back?case=K-1").await;
        assert!(
            !names(&back["assets"], "asset").contains(&"C-3".to_string()),
            "each is what its record says"
        );
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn swapped_parts_have_each_others_age_and_stay_traced_together() {
    let (served, told) = mixed(Kind::Embedded).await;
    let swapped = json!([{"asset": "C-1", "was": "C-3"}, {"asset": "C-3", "was": "C-1"}]);
    let settle =
        json!({"do": "settle_identity", "doubt": told["made"], "swapped": swapped, "how": "a scratch"});
    served.done(Lead, settle).await;
    let wear = one(&served, "wear?model=cap").await;
    let pieces = wear["life_between_inspections"]["pieces"].as_array().expect("pieces").clone();
    let age = |asset: &str| pieces.iter().find(|it| it["asset"] == asset).expect("a piece")["age"].clone();
    assert_eq!((age("C-1"), age("C-3")), (json!(2), json!(1)), "{pieces:?}");
    let back = one(&served, "look-back?case=K-1").await;
    assert!(names(&back["assets"], "asset").contains(&"C-3".to_string()), "{back}");
    served.sound().await;
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_greatest_age_binds_and_a_mark_is_no_doubt() {
    let served = house(Kind::Embedded).await;
    // The model's maker allows 3 cycles: the young one may be the old one.
    served.done(Lead, json!({"do": "add_asset", "asset": "C-8", "model": "cap", "prior_cycles": 3})).await;
    served.done(Lead, json!({"do": "add_asset", "asset": "C-9", "model": "cap", "mark": "CAP-9"})).await;
    served
        .refused(Desk, json!({"do": "identity_doubt", "scan": ["C-8", "CAP-9"], "how": "h"}), "already_done")
        .await;
    served
        .refused(Desk, json!({"do": "identity_doubt", "scan": ["C-8", "B-1"], "how": "h"}), "already_done")
        .await;
    served
        .refused(Desk, json!({"do": "identity_doubt", "scan": ["C-8", "C-2"], "how": " "}), "needs_reason")
        .await;
    served
        .done(Desk, json!({"do": "identity_doubt", "scan": ["C-8", "C-2"], "how": "One basket for two."}))
        .await;
    washed(&served, json!(["C-2"])).await;
    let inspect = json!({"do": "inspect", "scan": "C-2", "passed": true});
    let refused = served.refused(Desk, inspect, "limit_reached").await;
    assert!(refused["found"].as_str().expect("words").contains("3 cycles"), "{refused}");
    let due = one(&served, "due").await;
    let of_cap = due["items"].as_array().expect("a list").iter().find(|it| it["asset"] == "C-2");
    assert_eq!(of_cap.map(|it| it["why"].clone()), Some(json!("max_cycles")), "{due}");
    served.sound().await;
    served.stop().await;
}
