//! Immediate-use sterilisation: for one case, used at once, never stored and never ready for another.
//!
//! Used at once and not stored, not for convenience and not for implants: CDC 2008 (read in copies). An audit found an
//! acceptable indication in 9.5 % of such cycles (Vanderbilt, Am J Infect Control 2012, read).

use fettle::domain::board::Equipped;
use fettle::domain::event::Event;
use fettle::domain::hold::HoldKind;
use fettle::domain::immediate_use::{Month, USE_NOW, months};
use fettle::domain::lookback::{Origin, trace};
use fettle::domain::person::Role::{Admin, Biomed, Charge, Clinician, Desk, Lead};
use fettle::domain::state::{Asset, Stage};
use serde_json::{Value, json};

use super::allotment::{house, plan as planned, ready};
use super::browser::PASSWORD;
use super::browser_back::signed_in;
use super::pace::{at, told};
use super::served::{BOTH, Served, steam_record, whole};
use super::ward::{Ward, indicator, late, model, release};

fn plan(case: &str, start: &str) -> Value {
    json!({"do": "plan_case", "case": case, "start": start, "minutes": 60, "needs": []})
}

fn start(load: &str, scan: &str, case: &str) -> Value {
    json!({"do": "start_load", "load": load, "machine": "plain", "programme": "p134", "scan": scan,
           "immediate_use": {"case": case, "reason": "it fell, there is no other", "indication": "contaminated"}})
}

/// A ward with a case at ten, and a part `S-1` that passed its inspection and is not wrapped.
fn ward() -> Ward {
    let mut ward = Ward::open();
    let steps = json!([{"step": "inspected"}, {"step": "packed"}, {"step": "sterilised"}]);
    ward.done(Admin, json!({"do": "define_route", "route": "seen", "steps": steps}));
    ward.done(Biomed, model("seen", json!({"route": "seen", "limits": {"max_cycles": 9}})));
    ward.done(Lead, json!({"do": "add_asset", "asset": "S-1", "model": "seen"}));
    ward.done(Desk, json!({"do": "inspect", "scan": "S-1", "passed": true}));
    ward.done(Charge, plan("K-1", "2026-03-02T10:00:00+01:00"));
    ward.done(Charge, plan("K-2", "2026-03-02T11:30:00+01:00"));
    ward
}

/// With its record and its indicator, as any other load.
fn evidence(ward: &mut Ward, load: &str) {
    ward.now = ward.now.plus_minutes(15);
    ward.judged(load, 200);
    ward.done(Desk, indicator(load, "chemical", "pass", None));
}

fn asset<'a>(ward: &'a Ward, asset: &str) -> &'a Asset {
    ward.paper.state.asset(asset).expect("a part")
}

/// An entry of an earlier release has none of these fields; one that has them keeps them.
#[test]
fn its_entries_are_read_back_as_they_are_written() {
    let programme = json!({"programme": "p134", "method": "steam", "band_c": "134", "hold_s": "180",
                           "air_removal_test": false, "biological": "none"});
    let asked = json!({"case": "K-1", "reason": "it fell", "indication": "contaminated"});
    let delayed = json!({"asset": "S-1", "since": "2026-03-02T07:15:00Z", "limit_minutes": 60, "waited_minutes": 75,
                         "steps": "soak", "done": true});
    for (kind, event) in [
        (
            "load_started",
            json!({"load": "l", "machine": "s", "kind": "steriliser", "programme": programme, "contents": [],
                   "immediate_use": asked}),
        ),
        (
            "load_released",
            json!({"load": "l", "parts": [], "issued_to": "K-1", "robs": [{"case": "K-2", "sets": ["A"]}]}),
        ),
        ("step_recorded", json!({"step": "cleaned", "parts": [], "delayed": [delayed]})),
    ] {
        let read = Event::read(kind, 1, event.clone()).expect("an event of this kind");
        assert_eq!(read.to_value().expect("a value"), event, "{kind}");
    }
}

#[test]
fn it_goes_to_its_case_and_to_no_other_and_never_into_the_store() {
    let mut ward = ward();
    ward.done(Desk, start("a", "S-1", "K-1"));
    ward.refused(Desk, release("a"), "no_record");
    evidence(&mut ward, "a");
    ward.done(Desk, release("a"));
    let part = asset(&ward, "S-1");
    assert_eq!((part.stage, part.sterile_until, part.cycles), (Stage::Issued, None, 1));
    assert_eq!(part.loud(&ward.paper.state, ward.now), [USE_NOW]);
    assert!(
        ward.paper.state.cases.get("K-1").expect("a case").parts.get(&"S-1".parse_id()).expect("there").out
    );
    ward.refused(Charge, json!({"do": "issue", "case": "K-2", "scan": "S-1"}), "out_of_order");
    let emergency = json!({"do": "issue", "case": "K-2", "scan": "S-1", "emergency": true});
    ward.refused(Charge, emergency, "out_of_order");
    ward.refused(Desk, json!({"do": "put_away", "scan": "S-1", "location": "bay 1"}), "out_of_order");
    // Not opened, and counted back as such: its next turn begins, and it was exposed nowhere.
    ward.done(Charge, json!({"do": "close_count", "case": "K-1", "unopened": "S-1"}));
    let part = asset(&ward, "S-1");
    assert_eq!((part.stage, part.turn, part.uses), (Stage::Soiled, 2, 0));
    assert!(part.loud(&ward.paper.state, ward.now).is_empty());
}

/// Moisture undoes what is wrapped and stored; what goes covered to its case at once may come out of a cycle without drying
/// (common practice; from memory of ANSI/AAMI ST79). What matters is that it is told as it was.
#[test]
fn a_wet_load_is_told_as_wet_and_goes_to_its_case() {
    let mut ward = ward();
    ward.done(Desk, start("a", "S-1", "K-1"));
    evidence(&mut ward, "a");
    let mut wet = release("a");
    wet["dry"] = json!(false);
    ward.done(Desk, wet);
    assert_eq!((ward.load("a").dry, ward.load("a").dryness_not_stated()), (Some(false), false));
    assert_eq!(asset(&ward, "S-1").stage, Stage::Issued);
    assert!(ward.paper.state.dryness_open().is_empty());
}

#[test]
fn what_was_opened_is_found_from_its_load() {
    let mut ward = ward();
    ward.done(Desk, start("a", "S-1", "K-1"));
    evidence(&mut ward, "a");
    ward.done(Desk, release("a"));
    ward.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "S-1"}));
    assert_eq!(asset(&ward, "S-1").loud(&ward.paper.state, ward.now), [USE_NOW], "until it is back");
    let origin: Origin = serde_json::from_value(json!({"load": "a"})).expect("an origin");
    let found = trace(&ward.paper.state, &origin).expect("a trace");
    assert_eq!(found.cases.keys().map(|case| case.as_str()).collect::<Vec<_>>(), ["K-1"]);
}

#[test]
fn what_the_site_or_the_part_forbids_is_refused_whoever_signs() {
    let mut ward = ward();
    ward.refused(Desk, start("a", "S-1", "K-9"), "unknown_thing");
    let mut blank = start("a", "S-1", "K-1");
    blank["immediate_use"]["reason"] = json!(" ");
    ward.refused(Desk, blank, "needs_reason");
    ward.never(Desk, start("a", "I-1", "K-1"), "programme_unsuitable");
    let unsuited = json!({"processing": {"steam": {"temp_c": 134, "hold_s": 180}, "immediate_use": false}});
    ward.done(Biomed, model("part", unsuited));
    ward.never(Desk, start("a", "P-1", "K-1"), "programme_unsuitable");
    // The maker's limit binds where packing is passed over.
    ward.done(Biomed, model("seen", json!({"route": "seen", "limits": {"max_cycles": 0}})));
    ward.refused(Desk, start("a", "S-1", "K-1"), "limit_reached");
    ward.done(Biomed, model("seen", json!({"route": "seen"})));
    ward.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dull", "scan": "S-1"}));
    ward.refused(Desk, start("a", "S-1", "K-1"), "held");
    ward.done(Lead, json!({"do": "lift_hold", "hold": "hold-0001", "reason": "sharp enough"}));
    ward.done(Admin, json!({"do": "set_policy", "immediate_use_forbidden": true}));
    ward.never(Desk, start("a", "S-1", "K-1"), "programme_unsuitable");
    ward.done(Admin, json!({"do": "set_policy", "immediate_use_forbidden": false}));
    ward.done(Charge, json!({"do": "cancel_case", "case": "K-1", "reason": "fever"}));
    ward.never(Desk, start("a", "S-1", "K-1"), "out_of_order");
    // Without a case it is a load as any other, and what is not wrapped does not go in.
    let mut stored = start("a", "S-1", "K-2");
    stored.as_object_mut().expect("an object").remove("immediate_use");
    ward.never(Desk, stored, "out_of_order");
}

#[test]
fn a_case_that_is_over_meanwhile_gets_nothing() {
    let mut ward = ward();
    ward.done(Desk, start("a", "S-1", "K-1"));
    ward.done(Charge, json!({"do": "cancel_case", "case": "K-1", "reason": "fever"}));
    evidence(&mut ward, "a");
    ward.done(Desk, release("a"));
    let part = asset(&ward, "S-1");
    assert_eq!((part.stage, part.turn, part.cycles), (Stage::Inspected, 1, 1), "it went through a cycle");
    ward.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "S-1"}));
    // A wrapped one goes back before packing too, and one that was put on hold meanwhile.
    ward.done(Desk, start("b", "P-1", "K-2"));
    ward.done(Desk, json!({"do": "hold", "kind": "quality", "reason": "dented", "scan": "P-1"}));
    evidence(&mut ward, "b");
    ward.done(Desk, release("b"));
    assert_eq!(asset(&ward, "P-1").stage, Stage::Soiled, "before packing, on a route that begins there");
    assert!(!ward.paper.state.cases.get("K-2").expect("a case").anything_out());
    // Rejected, as any other.
    ward.done(Desk, start("c", "P-2", "K-2"));
    ward.done(Desk, json!({"do": "reject_load", "load": "c", "reason": "no steam", "ran": false}));
    assert_eq!((asset(&ward, "P-2").stage, asset(&ward, "P-2").cycles), (Stage::Soiled, 0));
}

#[test]
fn told_late_it_is_a_fact_and_the_look_back_is_right() {
    let mut ward = ward();
    ward.done(Admin, json!({"do": "set_policy", "immediate_use_forbidden": true}));
    ward.at("2026-03-02T12:00:00+01:00");
    let event = ward.done(Desk, late(start("a", "S-1", "K-1"), "2026-03-02T09:10:00+01:00"));
    assert!(event.beside.deviation.iter().any(|code| code.name() == "programme_unsuitable"), "{event:?}");
    let evidence = json!({"do": "judge_load", "load": "a", "record": steam_record(200)});
    ward.done(Desk, late(evidence, "2026-03-02T09:25:00+01:00"));
    ward.done(Desk, late(indicator("a", "chemical", "pass", None), "2026-03-02T09:26:00+01:00"));
    ward.done(Desk, late(release("a"), "2026-03-02T09:30:00+01:00"));
    assert_eq!(asset(&ward, "S-1").stage, Stage::Issued);
    let used = json!({"do": "use", "case": "K-1", "scan": "S-1"});
    let event = ward.done(Clinician, late(used, "2026-03-02T10:10:00+01:00"));
    assert!(event.beside.deviation.is_empty(), "{event:?}");
    ward.done(Charge, late(json!({"do": "close_count", "case": "K-1"}), "2026-03-02T11:00:00+01:00"));
    assert_eq!((asset(&ward, "S-1").uses, asset(&ward, "S-1").turn), (1, 2));
    let origin: Origin = serde_json::from_value(json!({"load": "a"})).expect("an origin");
    assert!(trace(&ward.paper.state, &origin).expect("a trace").cases.contains_key("K-1"));
    // In a washer nothing becomes sterile, told late or not.
    let washer = json!({"do": "define_machine", "machine": "w", "kind": "washer_disinfector",
                        "programmes": [{"programme": "p134", "method": "machine", "band_c": 80, "a0_s": 600}]});
    ward.done(Admin, washer);
    let mut wash = late(start("b", "S-1", "K-2"), "2026-03-02T11:10:00+01:00");
    wash["machine"] = json!("w");
    ward.refused(Desk, wash, "programme_unsuitable");
}

#[test]
fn at_another_case_it_is_a_deviation_and_is_held() {
    let mut ward = ward();
    ward.done(Desk, start("a", "S-1", "K-1"));
    evidence(&mut ward, "a");
    ward.done(Desk, release("a"));
    let event = ward.done(Clinician, json!({"do": "open", "case": "K-2", "scan": "S-1"}));
    assert!(event.beside.deviation.iter().any(|code| code.name() == "out_of_order"), "{event:?}");
    assert!(asset(&ward, "S-1").has_hold(HoldKind::Quality));
}

#[test]
fn another_case_does_not_count_on_it() {
    let mut paper = house(&["SET-2"]);
    ready(&mut paper, &["SET-1", "SET-2"]);
    let now = "2026-03-03T06:00:00Z";
    planned(&mut paper, "K-1", "07:00", 60);
    planned(&mut paper, "K-2", "08:00", 60);
    let equipped = |paper: &fettle::domain::simulate::ledger::Paper, case: &str| {
        let board = paper.state.board(at(now).plus_minutes(30));
        let found = board.cases.iter().find(|it| it.case.as_str() == case).expect("on the board");
        (found.status, found.sets.iter().map(ToString::to_string).collect::<Vec<_>>())
    };
    // SET-2 is kept for K-3 later in the day, so that K-2 counts on what K-1 leaves, and K-1 has SET-1.
    assert_eq!(equipped(&paper, "K-1").0, Equipped::Ready);
    assert_eq!(equipped(&paper, "K-2").0, Equipped::Ready);
    told(&mut paper, Desk, now, json!({"do": "pack_broken", "scan": "B-SET-2", "why": "torn"}));
    told(
        &mut paper,
        Desk,
        "2026-03-03T06:02:00Z",
        json!({"do": "record_step", "step": "packed", "scan": "SET-2"}),
    );
    // The tray of SET-2 goes in for K-1, at once.
    let start = json!({"do": "start_load", "load": "now", "machine": "steriliser-1", "programme": "p134", "scan": "SET-2",
                       "immediate_use": {"case": "K-1", "reason": "torn at the table", "indication": "found_unsterile"}});
    told(&mut paper, Desk, "2026-03-03T06:05:00Z", start);
    let (status, sets) = equipped(&paper, "K-2");
    assert_eq!((status, sets), (Equipped::Ready, vec!["SET-1".to_string()]), "the other one is left for it");
    let statuses = fettle::domain::allotted::statuses(&paper.state, at(now).plus_minutes(30));
    let made_for =
        statuses.iter().filter_map(|(set, it)| Some((set.as_str(), it.made_for.as_ref()?.as_str())));
    assert_eq!(made_for.collect::<Vec<_>>(), [("SET-2", "K-1")]);
    assert!(paper.state.ready_sets(&"adult".parse_id(), at(now)) == 1);
}

trait ParseId {
    fn parse_id(&self) -> fettle::domain::id::Id;
}

impl ParseId for str {
    fn parse_id(&self) -> fettle::domain::id::Id {
        fettle::domain::id::Id::new(self).expect("an id")
    }
}

/// The published audit's share, as counts that give it: two of twenty-one are 9.5 %.
#[test]
fn rate_and_reasons_are_counted_by_month() {
    let audit = Month { loads: 210, immediate: 21, acceptable: 2, ..Month::default() };
    assert_eq!((audit.rate_tenths(), audit.acceptable_tenths()), (Some(100), Some(95)));
    assert_eq!(Month::default().rate_tenths(), None, "no loads, no rate");
    let mut ward = ward();
    ward.passed("a", "plain", "P-1");
    ward.done(Desk, release("a"));
    ward.done(Desk, start("b", "S-1", "K-1"));
    ward.done(Desk, json!({"do": "reject_load", "load": "b", "reason": "no steam", "ran": false}));
    let mut hurry = start("c", "P-2", "K-1");
    hurry["immediate_use"] = json!({"case": "K-1", "reason": "the list is long", "indication": "save_time"});
    ward.done(Desk, hurry);
    ward.done(Desk, json!({"do": "reject_load", "load": "c", "reason": "short"}));
    let mut silent = start("d", "P-3", "K-1");
    silent["immediate_use"] = json!({"case": "K-1", "reason": "asked for by phone"});
    ward.done(Desk, silent);
    let all = months(&ward.paper.state);
    let [month] = all.as_slice() else { panic!("{all:?}") };
    assert_eq!((month.month.as_str(), month.loads, month.immediate, month.acceptable), ("2026-03", 3, 2, 0));
    let reasons: Vec<(&str, u32)> = month.reasons.iter().map(|(code, n)| (code.as_str(), *n)).collect();
    assert_eq!(reasons, [("not_stated", 1), ("save_time", 1)]);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_words_stand_wherever_it_is_looked_at() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        served.round("SET-1").await;
        let start = (chrono::Utc::now() + chrono::TimeDelta::hours(1)).to_rfc3339();
        served
            .done(
                Charge,
                json!({"do": "plan_case", "case": "K-1", "start": start, "minutes": 60, "needs": ["adult"]}),
            )
            .await;
        served.done(Desk, json!({"do": "pack_broken", "scan": "B-1", "why": "dropped"})).await;
        served.done(Desk, json!({"do": "record_step", "step": "packed", "scan": "SET-1"})).await;
        let wrong = json!({"do": "start_load", "machine": "steriliser-1", "programme": "p134", "scan": "B-1",
                           "immediate_use": {"case": "K-1", "reason": "it fell", "indication": "because"}});
        let (status, body) = served.post(Desk, wrong).await;
        assert_eq!((status, body["code"].as_str()), (422, Some("malformed")), "{body}");
        let ask = json!({"do": "start_load", "load": "now", "machine": "steriliser-1", "programme": "p134", "scan": "SET-1",
                         "immediate_use": {"case": "K-1", "reason": "it fell", "indication": "contaminated"}});
        let told = served.done(Desk, ask).await;
        assert_eq!(told["event"]["immediate_use"]["case"], "K-1", "{told}");
        assert_eq!(told["left"][0]["asset"], "T-1", "what is ready stays");
        served
            .house
            .add_person(&served.site, Some("p-1"), "Person One", Lead, PASSWORD)
            .await
            .expect("a person");
        let (client, _) = signed_in(&served, "p-1").await;
        let page = async |path: &str| {
            whole(client.get(format!("{}{path}", served.base)).send().await.expect("an answer")).await
        };
        let label = page("/labels?kind=pack&scan=SET-1").await;
        assert!(label.contains("USE NOW") && !label.contains("Not sterile before"), "{label}");
        served.done(Desk, json!({"do": "judge_load", "load": "now", "record": steam_record(200)})).await;
        served
            .done(
                Desk,
                json!({"do": "record_indicator", "load": "now", "indicator": "chemical", "result": "pass"}),
            )
            .await;
        let load = page("/loads/now").await;
        assert!(
            load.contains(USE_NOW) && load.contains("The release issues it to that case at once"),
            "{load}"
        );
        let told = served.done(Desk, json!({"do": "release_load", "load": "now", "dry": true})).await;
        assert_eq!(told["event"]["issued_to"], "K-1", "{told}");
        for path in
            ["/loads/now", "/cases/K-1", "/cases/K-1/sheet", "/board", "/desk?scan=B-1", "/assets/B-1"]
        {
            let text = page(path).await;
            assert!(text.contains(USE_NOW), "{path}: {text}");
        }
        let text = page("/exceptions").await;
        assert!(text.contains("1 of 2 steriliser loads were for immediate use (50.0 %)"), "{text}");
        let (_, told) = served.get("exceptions").await;
        assert_eq!(told["immediate_use"][0]["acceptable"], 1, "{told}");
        assert_eq!(served.asset("B-1").await["stage"], "issued");
        served.done(Charge, json!({"do": "close_count", "case": "K-1", "unopened": "SET-1"})).await;
        assert_eq!(served.asset("B-1").await["stage"], "soiled");
        let text = page("/cases/K-1").await;
        assert!(text.contains("back, not opened; never stored, so that its next turn began"), "{text}");
        let text = page("/ledger").await;
        assert!(text.contains("never stored: B-1 and C-1 begin their next turn"), "{text}");
        served.sound().await;
        served.stop().await;
    }
}
