//! The set-up sheet and the judge over HTTP, on both databases.

use fettle::domain::person::Role::{Biomed, Charge, Desk, Lead};
use serde_json::{Value, json};

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
