//! The week ahead: small houses of which the answer is known by hand, and what is asked of them.

use fettle::domain::id::Id;
use fettle::domain::person::Role::{Charge, Lead};
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::week::{DayAhead, Week};
use fettle::domain::what_if::{Added, Question};
use serde_json::json;

use super::allotment::{house, plan, ready};
use super::pace::{at, told};
use super::served::{Kind, Served};

const NOW: &str = "2026-03-03T06:00:00Z";

fn id(name: &str) -> Id {
    Id::new(name).expect("an id")
}

fn asked(paper: &Paper, asks: Question) -> Week {
    paper.state.week(at(NOW), &asks).unwrap_or_else(|why| panic!("{why:?}"))
}

fn more(sets: u32) -> Question {
    Question { more: Some((id("adult"), sets)), ..Question::default() }
}

/// The chance that all of the day's cases are equipped.
fn all(days: &[DayAhead]) -> f64 {
    days[0].all.expect("a chance").chance
}

/// Two sets are ready, and three cases begin at the same time.
#[test]
fn three_cases_at_once_need_three_sets() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    for case in ["K-1", "K-2", "K-3"] {
        plan(&mut paper, case, "09:00", 60);
    }
    let before = paper.state.seq;
    let week = asked(&paper, more(1));
    let sheet = &week.days[0].sheets[0];
    assert_eq!((sheet.cases, sheet.at_once, sheet.sets), (3, 3, 2));
    assert_eq!((all(&week.days), all(&week.changed)), (0.0, 1.0));
    assert_eq!(week.changed[0].sheets[0].sets, 3);
    // Two are equipped without it and three with it, in every run.
    assert_eq!(week.difference, Some((1.0, 1.0, 1.0)));
    let first = &week.helps[0];
    assert_eq!(first.sentence, "One more set “Adult”: 1.0 cases more are equipped in time (1.0 to 1.0).");
    assert_eq!(first.asks, more(1));
    assert_eq!(paper.state.seq, before, "nothing of it is recorded");
    // A second one more saves nobody.
    assert_eq!(asked(&paper, more(2)).difference, Some((1.0, 1.0, 1.0)));
    // The reserve is no set for planned cases.
    told(
        &mut paper,
        Lead,
        "2026-03-02T10:00:00Z",
        json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 1}),
    );
    assert_eq!(asked(&paper, more(1)).days[0].sheets[0].sets, 1);
    assert_eq!(asked(&paper, more(1)).difference, Some((1.0, 1.0, 1.0)), "one of three, then two of three");
}

#[test]
fn a_set_away_and_a_case_more_cost_what_they_cost() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    plan(&mut paper, "K-1", "09:00", 60);
    plan(&mut paper, "K-2", "09:00", 60);
    let without = Question { without: Some(id("SET-2")), ..Question::default() };
    let week = asked(&paper, without);
    assert_eq!((all(&week.days), all(&week.changed)), (1.0, 0.0));
    assert_eq!(week.difference, Some((-1.0, -1.0, -1.0)));
    assert_eq!((week.days[0].sheets[0].sets, week.changed[0].sheets[0].sets), (2, 1));
    assert!(week.helps.is_empty(), "as planned all is well");
    let case = Added { count_sheet: id("adult"), start: at("2026-03-03T09:00:00Z"), minutes: 60 };
    let week = asked(&paper, Question { case: Some(case), ..Question::default() });
    assert_eq!((week.days[0].cases.len(), week.changed[0].cases.len()), (2, 3));
    assert_eq!((all(&week.days), all(&week.changed)), (1.0, 0.0));
    assert_eq!(week.difference, None, "another case is in no run of the others");
    assert!(paper.state.cases.len() == 2, "the draft is nobody's");
}

/// Its only set has to go through the only steriliser.
#[test]
fn a_machine_out_of_service_stops_what_has_to_go_through_it() {
    let mut paper = house(&[]);
    let plan = json!({"do": "plan_case", "case": "K-1", "start": "2026-03-06T09:00:00Z", "minutes": 60, "needs": ["adult"]});
    told(&mut paper, Charge, "2026-03-02T09:00:00Z", plan);
    let down = |machine: &str| Question { down: Some(id(machine)), ..Question::default() };
    let week = asked(&paper, down("steriliser-1"));
    assert!(all(&week.days) > 0.9, "three days are enough: {:?}", week.days);
    assert_eq!(all(&week.changed), 0.0);
    let lost = week.difference.expect("a difference");
    assert!((lost.0 + all(&week.days)).abs() < 1e-9, "all of its chance: {lost:?}");
    // A machine that is out already changes nothing.
    told(
        &mut paper,
        Lead,
        "2026-03-02T10:00:00Z",
        json!({"do": "machine_out", "machine": "steriliser-1", "reason": "door"}),
    );
    let week = asked(&paper, down("steriliser-1"));
    assert_eq!((all(&week.days), week.difference), (0.0, Some((0.0, 0.0, 0.0))));
    // Back in service it helps, as another set does that is ready.
    let back = Question { back: Some(id("steriliser-1")), ..Question::default() };
    let helps: Vec<&str> =
        week.helps.iter().map(|it| it.sentence.split(':').next().unwrap_or_default()).collect();
    assert_eq!(helps, ["One more set “Adult”", "steriliser-1 back in service"]);
    assert_eq!(week.helps[1].asks, back);
    let week = asked(&paper, back);
    assert!(all(&week.changed) > 0.9 && week.difference.expect("a difference").0 > 0.9);
}

/// One case waits for a set of a sheet that there is, and for one of a sheet that there is not: the second is to blame.
#[test]
fn the_count_sheet_that_is_lacking_is_told() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    let extra = json!({"do": "define_count_sheet", "count_sheet": "light", "name": "Light", "lines": [
        {"line": "cap", "family": "cap", "quantity": 1, "essential": true}]});
    told(&mut paper, Lead, "2026-03-02T09:00:00Z", extra);
    let plan = json!({"do": "plan_case", "case": "K-1", "start": "2026-03-03T09:00:00Z", "minutes": 60,
        "needs": ["adult", "light"]});
    told(&mut paper, Charge, "2026-03-02T09:00:00Z", plan);
    let week = asked(&paper, Question::default());
    let sheets: Vec<(&str, f64)> =
        week.days[0].sheets.iter().map(|it| (it.count_sheet.as_str(), it.all.chance)).collect();
    assert_eq!((all(&week.days), sheets), (0.0, vec![("adult", 1.0), ("light", 0.0)]));
}

#[test]
fn as_many_days_are_looked_at_as_are_asked_for() {
    let mut paper = house(&[]);
    ready(&mut paper, &["SET-1"]);
    for (case, day) in [("K-1", 3), ("K-2", 5), ("K-3", 9), ("K-4", 16)] {
        let start = format!("2026-03-{day:02}T09:00:00Z");
        let plan =
            json!({"do": "plan_case", "case": case, "start": start, "minutes": 60, "needs": ["adult"]});
        told(&mut paper, Charge, "2026-03-02T09:00:00Z", plan);
    }
    let none = json!({"do": "plan_case", "case": "K-5", "start": "2026-03-05T12:00:00Z", "minutes": 60, "needs": []});
    told(&mut paper, Charge, "2026-03-02T09:00:00Z", none);
    let days = |days: u32| -> Vec<String> {
        let week = asked(&paper, Question { days, ..Question::default() });
        week.days.iter().map(|it| format!("{} {}", it.day, it.cases.len())).collect()
    };
    assert_eq!(days(1), ["2026-03-03 1"]);
    assert_eq!(days(7), ["2026-03-03 1", "2026-03-05 2", "2026-03-09 1"]);
    assert_eq!(days(14).len(), 4);
    let week = asked(&paper, Question::default());
    let unknown = week.days[1].cases.iter().find(|it| it.case.as_str() == "K-5").expect("it is told");
    assert_eq!(unknown.chance, None);
    assert_eq!(unknown.not_known.as_deref(), Some("What it needs is not known: no count sheet is named."));
    // The same question has the same answer.
    assert_eq!(week, asked(&paper, Question::default()));
}

#[test]
fn what_cannot_be_asked_is_told() {
    let mut paper = house(&[]);
    let extra = json!({"do": "define_count_sheet", "count_sheet": "empty", "name": "Empty", "lines": [
        {"line": "cap", "family": "cap", "quantity": 1, "essential": true}]});
    told(&mut paper, Lead, "2026-03-02T09:00:00Z", extra);
    let case = |sheet: &str, start: &str, minutes: u32| Question {
        case: Some(Added { count_sheet: id(sheet), start: at(start), minutes }),
        ..Question::default()
    };
    let later = "2026-03-04T09:00:00Z";
    for (asks, wanted) in [
        (
            Question { more: Some((id("nothing"), 1)), ..Question::default() },
            "No count sheet is named \"nothing\".",
        ),
        (
            Question { more: Some((id("empty"), 1)), ..Question::default() },
            "The house has no set “Empty” with parts",
        ),
        (Question { without: Some(id("SET-9")), ..Question::default() }, "No set is named \"SET-9\"."),
        (Question { down: Some(id("oven")), ..Question::default() }, "\"oven\""),
        (Question { back: Some(id("oven")), ..Question::default() }, "No machine is named \"oven\"."),
        (case("nothing", later, 60), "\"nothing\""),
        (case("adult", "2026-03-01T09:00:00Z", 60), "future"),
        (case("adult", later, 0), "minutes"),
    ] {
        let why = paper.state.week(at(NOW), &asks).expect_err(wanted).join(" ");
        assert!(why.contains(wanted), "{why}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_page_and_the_api_answer_alike() {
    let served = Served::start(Kind::Embedded).await;
    served.furnish().await;
    let start = (chrono::Utc::now() + chrono::TimeDelta::days(3)).format("%Y-%m-%dT%H:%M:%SZ").to_string();
    for case in ["K-1", "K-2"] {
        let plan =
            json!({"do": "plan_case", "case": case, "start": start, "minutes": 60, "needs": ["adult"]});
        served.done(Charge, plan).await;
    }
    let (status, week) = served.get("week?more=adult").await;
    assert_eq!(status, 200, "{week}");
    let sheet = &week["days"][0]["sheets"][0];
    assert_eq!((&sheet["cases"], &sheet["at_once"], &sheet["sets"]), (&json!(2), &json!(2), &json!(1)));
    assert_eq!(week["days"][0]["all"]["chance"], 0.0);
    assert!(week["difference"][0].as_f64().expect("a number") > 0.5, "{week}");
    for (wrong, told) in [
        ("days=0", "1 to 14"),
        ("days=x", "1 to 14"),
        ("sets=99", "1 to 10"),
        ("add=adult&start=soon", "2026-12-03T10:30"),
        ("more=nothing", "No count sheet"),
        ("more=adult&more=adult", "stands twice"),
        ("colour=red", "no parameter"),
    ] {
        let (status, body) = served.get(&format!("week?{wrong}")).await;
        assert!(status == 422 && body.to_string().contains(told), "{wrong}: {status} {body}");
    }
    let code = served.house.add_person(&served.site, None, "Ada", Charge, "correct horse battery").await;
    let secret = served.house.sign_in(&served.site, &code.expect("a person"), "correct horse battery").await;
    let cookie = format!("fettle_session={}", secret.expect("an answer").expect("a session"));
    let page = async |query: &str| {
        let asked = served.client.get(format!("{}/week{query}", served.base)).header("cookie", &cookie);
        let answer = asked.send().await.expect("an answer");
        (answer.status().as_u16(), super::served::whole(answer).await)
    };
    let (status, text) = page("?more=adult&sets=1&days=&add=&start=&minutes=").await;
    assert_eq!(status, 200, "{text}");
    for wanted in [
        "<h1>With 1 more set “Adult”: Every day should be equipped",
        "2 cases, 2 away at one time; 1 set. With it: 2 cases, 2 away at one time; 2 sets",
        "What would help most, as planned",
        "One more set “Adult”",
    ] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
    let (_, text) = page("").await;
    for wanted in [
        "is short: all of its cases equipped in time, less than 1 in 10.",
        "Tightest: “Adult”, 2 cases, 2 away at one time; 1 set.",
    ] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
    // The clocks of Berlin skip an hour on 28 March 2027 and show one twice on 25 October 2026 (Directive 2000/84/EC).
    for (start, told) in [("2027-03-28T02:30", "skips"), ("2026-10-25T02:30", "has twice")] {
        let (status, text) = page(&format!("?add=adult&start={start}")).await;
        assert!(status == 422 && text.contains(told), "{start}: {text}");
    }
    let (status, text) = page("?add=adult&start=yesterday").await;
    assert!(
        status == 422
            && text.contains("<h1>This cannot be worked out.")
            && text.contains("value=\"yesterday\"")
            && text.contains("value=\"adult\" selected"),
        "{text}"
    );
    served.stop().await;
}
