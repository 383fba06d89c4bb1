//! The set-up sheet and the judge over HTTP, on both databases.

use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use serde_json::{Value, json};

use super::super::page::{open, person};
use super::super::served::{BOTH, Served};

async fn furnish(served: &Served) {
    let house = super::House::adult();
    let state = &house.paper.state;
    served
        .done(
            fettle::domain::person::Role::Admin,
            json!({"do": "define_route", "route": "quick", "steps": [{"step": "cleaned"}]}),
        )
        .await;
    for model in state.models.values() {
        let mut define = json!(**model);
        define["do"] = json!("define_model");
        served.done(Biomed, define).await;
    }
    for asset in state.assets.values() {
        served.done(Lead, json!({"do": "add_asset", "asset": asset.asset, "model": asset.model})).await;
        served.done(Desk, json!({"do": "record_step", "step": "cleaned", "scan": asset.asset})).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_sheet_is_answered_and_the_judge_records_nothing() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        let plan = json!({"do": "plan_case", "case": "K-1", "start": "2999-03-03T10:00:00Z", "minutes": 60, "needs": [],
                          "technique": "jet_open", "configuration": {"barrel_nominal": 8}});
        served.done(Charge, plan).await;
        let (status, sheet) = served.get("cases/K-1/sheet").await;
        assert_eq!(status, 200, "{sheet}");
        assert_eq!(sheet["offers"][0]["fit"]["answer"], "fits", "{sheet}");
        assert_eq!(sheet["cautions"][0], "Gas must be able to leave.");
        let configuration = sheet["offers"][0]["configuration"].clone();
        let url = format!("{}/api/v1/{}/fit", served.base, served.site);
        let ask = async |body: Value| {
            let answer = served
                .client
                .post(&url)
                .bearer_auth(served.token(Desk))
                .json(&body)
                .send()
                .await
                .expect("an answer");
            (answer.status().as_u16(), answer.json::<Value>().await.expect("JSON"))
        };
        let before = served.get("cases/K-1").await.1;
        let (status, fit) = ask(json!({"configuration": configuration, "case": "K-1"})).await;
        assert_eq!((status, &fit["answer"]), (200, &json!("fits")), "{fit}");
        assert!(fit["checks"].as_array().expect("rules").iter().all(|it| it["rule"] != "had"), "{fit}");
        let (_, fit) = ask(json!({"configuration": configuration, "technique": "controlled_closed"})).await;
        assert_eq!(fit["answer"], "does_not_fit", "{fit}");
        assert_eq!(served.get("cases/K-1").await.1, before, "nothing was recorded");
        let (status, wrong) = ask(json!({"configuration": {"barrel": "X-9"}})).await;
        assert_eq!((status, &wrong["code"]), (422, &json!("malformed")), "{wrong}");
        let (status, wrong) = ask(json!({"configuration": {"barrel": "B-1", "bends": 3}})).await;
        assert_eq!(status, 422, "{wrong}");
        assert_eq!(served.get("cases/K-9/sheet").await.0, 404);
        let choose = json!({"do": "choose_configuration", "case": "K-1", "configuration": configuration});
        served.done(Charge, choose).await;
        let (_, sheet) = served.get("cases/K-1/sheet").await;
        assert_eq!(sheet["chosen"]["fit"]["answer"], "fits", "{sheet}");
        let (_, fit) = ask(json!({"configuration": configuration})).await;
        let had = fit["checks"].as_array().expect("rules").iter().filter(|it| it["rule"] == "had");
        let told: Vec<&str> = had.filter_map(|it| it["sentence"].as_str()).collect();
        assert!(!told.is_empty() && told.iter().all(|it| it.contains("chosen for case K-1")), "{told:?}");
        served
            .done(
                Desk,
                json!({"do": "measure_asset", "asset": "T-1", "dimensions": {"shaft_diameter_mm": "4.2"}}),
            )
            .await;
        assert_eq!(served.asset("T-1").await["measured"]["shaft_diameter_mm"], "4.2");
        served.done(Desk, json!({"do": "confirm_fit", "parts": ["B-1", "H-1"], "fits": true})).await;
        let (_, sheet) = served.get("cases/K-1/sheet").await;
        assert_eq!(sheet["chosen"]["fit"]["joints"][0]["tried"]["models"], false, "{}", sheet["chosen"]);
        served.sound().await;
        served.stop().await;
    }
}

/// An emergency takes what was chosen for a case: its page, the board and the wall say so at once, and its history why.
#[tokio::test(flavor = "multi_thread")]
async fn a_robbed_case_says_so_on_every_page() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        let soon = served.house.clock.now().plus_minutes(90);
        let plan = json!({"do": "plan_case", "case": "K-1", "start": soon, "minutes": 60, "needs": [],
                          "technique": "jet_open", "configuration": {"barrel_nominal": 8}});
        served.done(Charge, plan).await;
        let (_, sheet) = served.get("cases/K-1/sheet").await;
        let choose = json!({"do": "choose_configuration", "case": "K-1",
                            "configuration": sheet["offers"][0]["configuration"]});
        served.done(Charge, choose).await;
        let (_, board) = served.get("board").await;
        assert_eq!(board["cases"][0]["status"], "ready", "{board}");
        let plan = json!({"do": "plan_case", "case": "K-2", "start": soon, "minutes": 60, "needs": [], "technique": "jet_open"});
        served.done(Charge, plan).await;
        let issue = json!({"do": "issue", "case": "K-2", "scan": "T-1"});
        served.refused(Desk, issue.clone(), "promised_elsewhere").await;
        let mut urgent = issue;
        urgent["emergency"] = true.into();
        let told = served.done(Charge, urgent).await;
        assert_eq!(told["event"]["robs"], json!([{"case": "K-1", "parts": ["T-1"]}]), "{told}");
        let (_, board) = served.get("board").await;
        let case = board["cases"].as_array().and_then(|all| all.iter().find(|it| it["case"] == "K-1"));
        let case = case.expect("K-1");
        assert_eq!(case["status"], "not_ready", "{case}");
        assert_eq!(case["chosen_fails"]["lost"][0]["case"], "K-2", "{case}");
        let client = person(&served, Charge).await;
        for path in ["/board", "/board/wall", "/cases/K-1"] {
            let (status, _, page) = open(&client, &served, path).await;
            let page = words(&page);
            assert!(status == 200 && page.contains("not ready, T-1 is out at case K-2"), "{path}: {page}");
        }
        let (_, _, page) = open(&client, &served, "/cases/K-1").await;
        assert!(words(&page).contains("Case K-1 loses T-1."), "{page}");
        served.sound().await;
        served.stop().await;
    }
}

/// A page without its tags.
fn words(page: &str) -> String {
    page.split('<').map(|piece| piece.split_once('>').map_or(piece, |(_, text)| text)).collect()
}

impl Served {
    /// A forceps measured, and a cap tried on a barrel.
    pub async fn measured_and_tried(&self) {
        let sizes = json!({"shaft_diameter_mm": "2.45", "max_width_mm": 3.4});
        let measure =
            json!({"do": "measure_asset", "asset": "dm-0004711", "dimensions": sizes, "how": "calliper"});
        self.done(Desk, measure).await;
        let tried =
            json!({"do": "confirm_fit", "parts": ["C-2", "B-1"], "fits": true, "how": "seats and holds"});
        self.done(Desk, tried).await;
        let mark = json!({"do": "give_mark", "asset": "C-2", "mark": "80049521234F000001"});
        self.done(Lead, mark).await;
    }

    /// A telescope in a barrel, as it was done whatever the answer says.
    pub async fn put_together(&self, case: &str, barrel: &str, telescope: &str) {
        let it = json!({"barrel": barrel, "parts": [{"asset": telescope}], "together": [[telescope]]});
        let chosen = json!({"do": "choose_configuration", "case": case, "configuration": it, "done": true});
        self.done(Charge, chosen).await;
    }
}
