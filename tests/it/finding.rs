//! Defect reports, repairs and parts not accounted for, by the forms of the pages and without a script.

use fettle::domain::person::Role::{Biomed, Charge, Clinician};
use serde_json::json;

use super::browser::PASSWORD;
use super::browser_back::signed_in;
use super::served::{Kind, Served, whole};

/// A person with a page open: the forms that they send, and what they read afterwards.
struct Reader<'a> {
    served: &'a Served,
    client: reqwest::Client,
    csrf: String,
}

impl Reader<'_> {
    /// Sends a form of the findings page; answers the status and the page that follows.
    async fn send(&self, fields: &[(&str, &str)]) -> (u16, String) {
        let mut all = vec![("csrf", self.csrf.as_str()), ("back", "/findings")];
        all.extend(fields);
        let answer = self.client.post(format!("{}/act", self.served.base)).form(&all).send().await;
        let answer = answer.expect("an answer");
        (answer.status().as_u16(), whole(answer).await)
    }

    async fn sees(&self, path: &str, words: &[&str]) {
        let answer = self.client.get(format!("{}{path}", self.served.base)).send().await.expect("an answer");
        let page = whole(answer).await;
        for word in words {
            assert!(page.contains(word), "{path} does not say \"{word}\": {page}");
        }
    }

    /// What the page offers is what is sent: each name stands in a field of its form.
    async fn offers(&self, command: &str, names: &[&str]) {
        let answer = self.client.get(format!("{}/findings", self.served.base)).send().await;
        let page = super::served::whole(answer.expect("an answer")).await;
        let mark = format!("name=\"do\" value=\"{command}\"");
        let form = page.split("<form").find(|form| form.contains(&mark));
        let form = form.unwrap_or_else(|| panic!("no form for {command}: {page}"));
        for name in names {
            assert!(form.contains(&format!("name=\"{name}\"")), "{command} has no field {name}: {form}");
        }
    }
}

async fn reader<'a>(served: &'a Served, person: &str) -> Reader<'a> {
    let (client, csrf) = signed_in(served, person).await;
    Reader { served, client, csrf }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_defect_is_reported_repaired_and_looked_for_without_a_script() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    for (code, role) in [("bio", Biomed), ("nurse", Charge), ("scrub", Clinician)] {
        served.house.add_person(&served.site, Some(code), code, role, PASSWORD).await.expect("a person");
    }
    let scrub = reader(&served, "scrub").await;
    scrub.offers("report_finding", &["scan", "what", "severity", "case"]).await;
    let report = [("do", "report_finding"), ("what", "edge is rough"), ("severity", "stop"), ("case", "")];
    let (status, page) = scrub.send(&[&report[..], &[("scan", "SET-1")]].concat()).await;
    assert!(
        status == 409 && page.contains("Not done: report a defect.") && page.contains("edge is rough"),
        "{page}"
    );
    let (status, page) = scrub.send(&[&report[..], &[("scan", "B-1")]].concat()).await;
    assert!(status == 200 && page.contains("1 defect report is open, 1 part not to be used."), "{page}");
    scrub
        .sees(
            "/assets/B-1",
            &["on hold", "May be lifted by: sterile processing lead and biomedical engineer"],
        )
        .await;
    let bio = reader(&served, "bio").await;
    let names = ["asset", "reason", "order", "decontaminated:bool"];
    bio.offers("send_to_repair", &names).await;
    let send =
        [("do", "send_to_repair"), ("asset", "B-1"), ("reason", "burr"), ("decontaminated:bool", "false")];
    let (status, page) = bio.send(&send).await;
    assert!(status == 200 && page.contains("1 part is in repair."), "{page}");
    bio.sees("/repairs/repair-0001", &["<p class=\"verdict\">NOT decontaminated</p>", "B-1"]).await;
    bio.sees("/handover", &["1 part is in repair", "NOT decontaminated"]).await;
    bio.offers("back_from_repair", &["asset", "work", "cost_cents:cents", "exchanged_for.serial"]).await;
    let back = [("do", "back_from_repair"), ("asset", "B-1"), ("exchanged_for.serial", "N-2")];
    let (status, page) = bio.send(&[&back[..], &[("cost_cents:cents", "a lot")]].concat()).await;
    assert!(status == 422 && page.contains("an amount such as 120.50 is needed"), "{page}");
    let (status, _) = bio.send(&[&back[..], &[("cost_cents:cents", "120.50")]].concat()).await;
    let (_, repairs) = served.get("repairs").await;
    assert_eq!((status, &repairs["items"][0]["cost_cents"]), (200, &json!(12_050)), "{repairs}");
    served.done(Clinician, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1"})).await;
    let nurse = reader(&served, "nurse").await;
    nurse.sees("/findings", &["1 part is not accounted for, with no outcome named."]).await;
    nurse.offers("close_missing", &["asset", "outcome", "person"]).await;
    let close =
        [("do", "close_missing"), ("asset", "C-1"), ("outcome", "imaging_done"), ("person", "Dr One")];
    let (status, page) = nurse.send(&close).await;
    assert!(status == 200 && page.contains("1 part is still not accounted for."), "{page}");
    let (status, page) = nurse.send(&close).await;
    assert!(status == 409 && page.contains("Nothing needs to be done."), "{page}");
    nurse.offers("found", &["scan", "location"]).await;
    nurse.send(&[("do", "found"), ("scan", "C-1"), ("location", "under the table")]).await;
    assert_eq!(served.asset("C-1").await["standing"], "in_service");
    served.sound().await;
    served.stop().await;
}
