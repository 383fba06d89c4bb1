//! What is said of wear and of safety notices to people who act on it: which cases a notice touches, what is ordered and
//! why, ages that cannot be meant, and two chances that stand side by side. All in memory.

use std::sync::Arc;

use fettle::analysis::life::{kaplan_meier, weibull};
use fettle::domain::command::Command;
use fettle::domain::event::Event;
use fettle::domain::id::Id;
use fettle::domain::lifetime::Clock;
use fettle::domain::notice::{NamedPieces, Touch};
use fettle::domain::outlook::Outlook;
use fettle::domain::person::Role::{self, Biomed, Charge, Clinician, Lead};
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::state::{Asset, Stage};
use fettle::domain::stock::OrderAdvice;
use fettle::domain::time::Time;
use serde_json::{Value, json};

use super::served::department;
use super::ward;

/// The small department of every test, in memory, on a Monday morning.
struct Department {
    paper: Paper,
    now: Time,
}

/// A case, how it stands, its parts with how each has to do with it, and in how many of its sets they lie.
type Touched = (String, &'static str, Vec<(String, Touch)>, usize);

fn id(name: &str) -> Id {
    Id::new(name).expect("an id")
}

impl Department {
    fn open() -> Department {
        let now = ward::time("2026-03-02T08:00:00+01:00");
        let mut it = Department { paper: Paper::new(id("wards"), chrono_tz::Europe::Berlin, now), now };
        department().into_iter().for_each(|(role, command)| drop(it.done(role, command)));
        it
    }

    fn done(&mut self, role: Role, command: Value) -> Event {
        ward::done(&mut self.paper, &mut self.now, role, command)
    }

    /// What years of loads would have made of a part. The checker is not asked again after this.
    fn change(&mut self, asset: &str, change: impl FnOnce(&mut Asset)) {
        change(Arc::make_mut(self.paper.state.assets.get_mut(&id(asset)).expect("a part")));
    }

    fn plan(&mut self, case: &str, ahead: i64, needs: Value) {
        let start = self.now.plus_minutes(ahead);
        let plan = json!({"do": "plan_case", "case": case, "start": start, "minutes": 30, "needs": needs});
        self.done(Charge, plan);
    }

    /// The cases that a notice on these parts touches, each with its parts and how.
    fn touched(&self, parts: &[&str], at: Time) -> Vec<Touched> {
        let named = parts.iter().map(|part| id(part)).collect();
        let report = self.paper.state.notice(None, &NamedPieces { named, not_known: Vec::new() }, at);
        let each = report.cases.iter().map(|it| {
            assert_eq!(it.assets, it.touches.keys().cloned().collect::<Vec<_>>());
            let touches = it.touches.iter().map(|(part, touch)| (part.to_string(), *touch)).collect();
            (it.case.to_string(), it.status.name(), touches, it.sets.len())
        });
        each.collect()
    }

    fn order(&self, model: &str) -> OrderAdvice {
        let state = &self.paper.state;
        let outlook = Outlook::of(state, state.lives(&id(model), Clock::Cycles, self.now), self.now);
        state.order_advice(&outlook, self.now)
    }
}

#[test]
fn a_notice_names_every_case_of_the_day_that_its_pieces_touch() {
    let mut house = Department::open();
    let part = |part: &str, touch| (part.to_string(), touch);
    house.plan("K-1", 1, json!([]));
    house.done(Clinician, json!({"do": "use", "case": "K-1", "scan": "C-2"}));
    assert_eq!(
        house.touched(&["C-2"], house.now),
        [("K-1".into(), "opened", vec![part("C-2", Touch::Used)], 0)]
    );
    house.done(Charge, json!({"do": "close_count", "case": "K-1"}));
    house.plan("K-2", 300, json!(["adult"]));
    house.plan("K-3", 900, json!([]));
    // What is over is not out of the patient's life, and the board counts on the set that is kept for nobody.
    assert_eq!(
        house.touched(&["C-1", "C-2"], house.now),
        [
            ("K-1".into(), "closed", vec![part("C-2", Touch::Used)], 0),
            ("K-2".into(), "planned", vec![part("C-1", Touch::CountedOn)], 1)
        ]
    );
    house.done(Charge, json!({"do": "promise", "case": "K-2", "set": "SET-1"}));
    assert_eq!(
        house.touched(&["C-1"], house.now),
        [("K-2".into(), "planned", vec![part("C-1", Touch::Kept)], 1)]
    );
    // Chosen, and in no set.
    let configuration = json!({"barrel": "B-1", "parts": [{"asset": "C-2"}]});
    let choose =
        json!({"do": "choose_configuration", "case": "K-3", "configuration": configuration, "done": true});
    house.done(Clinician, choose);
    let touched = house.touched(&["C-2"], house.now);
    assert!(
        touched
            .iter()
            .any(|(case, .., touches, _)| case == "K-3" && *touches == [part("C-2", Touch::Chosen)]),
        "{touched:?}"
    );
    // Of the day before, only what is still open counts.
    let names = |at: Time| {
        let all = house.touched(&["C-1", "C-2"], at);
        all.into_iter().map(|it| it.0).collect::<Vec<_>>()
    };
    assert_eq!(names(house.now.plus_minutes(24 * 60)), ["K-2", "K-3"]);
    assert!(names(house.now.plus_minutes(-24 * 60)).is_empty());
}

/// Four seals in sets and two in the store, 100 days old, with these cycles.
fn seals(limits: Value, cycles: [u32; 4]) -> Department {
    let mut house = Department::open();
    let model = json!({"do": "define_model", "model": "seal", "family": "cap", "name": "Seal", "route": "metal",
                       "limits": limits});
    house.done(Biomed, model);
    let lines = json!([{"line": "seal", "models": ["seal"], "quantity": 4, "essential": true}]);
    house.done(
        Lead,
        json!({"do": "define_count_sheet", "count_sheet": "seals", "name": "Seals", "lines": lines}),
    );
    house.done(Lead, json!({"do": "build_set", "set": "SEALS", "count_sheet": "seals", "name": "Seals"}));
    for n in 1..=6 {
        let asset = format!("S-{n}");
        house.done(Lead, json!({"do": "add_asset", "asset": asset, "model": "seal"}));
        if n <= 4 {
            house.done(Lead, json!({"do": "put_in_set", "set": "SEALS", "line": "seal", "asset": asset}));
        }
    }
    let begun = house.now.plus_minutes(-100 * 24 * 60);
    for (n, cycles) in (1..=4).zip(cycles) {
        house.change(&format!("S-{n}"), |asset| (asset.cycles, asset.added_at) = (cycles, begun));
    }
    house.change("S-5", |asset| asset.stage = Stage::Ready);
    house
}

/// By hand: 68 cycles in 400 days are 0.17 a day, 10.2 in the 60 days until the next order is here. Of 38, 10, 10 and 10
/// only the first reaches 40 by then.
#[test]
fn what_reaches_its_makers_limit_is_a_planned_replacement() {
    let house = seals(json!({"max_cycles": 40}), [38, 10, 10, 10]);
    let told = house.order("seal");
    assert_eq!((told.planned, told.on_shelf, told.to_be_made_ready), (1, 1, 1), "{told:?}");
    assert!(told.said.contains("1 part in a set reaches its age of replacement"), "{}", told.said);
    assert_eq!(told.order, Some(0));
    assert_eq!(seals(json!({}), [38, 10, 10, 10]).order("seal").planned, 0);
}

#[test]
fn the_limit_that_comes_first_counts_and_what_is_missing_does_not() {
    let both = || seals(json!({"max_cycles": 40, "max_uses": 12}), [38, 10, 10, 10]);
    let mut house = both();
    // 11 uses in 400 days are 1.65 in 60 days: 11 and more than one of 12.
    house.change("S-2", |asset| asset.uses = 11);
    let told = house.order("seal");
    assert_eq!((told.planned, told.order), (2, Some(0)), "{told:?}");
    house.change("S-5", |asset| asset.stage = Stage::InUse);
    house.change("S-6", |asset| asset.in_repair = true);
    let told = house.order("seal");
    assert_eq!((told.on_shelf, told.to_be_made_ready, told.order), (0, 0, Some(2)), "{told:?}");
    assert!(told.said.contains("order at least 2 now"), "{}", told.said);
    house.change("S-2", |asset| asset.missing = true);
    assert_eq!(house.order("seal").planned, 1);
    // An age of the house's own below the maker's limit comes before it.
    let mut own = both();
    let limit = json!({"do": "set_life_limit", "model": "seal", "replace_at": 20, "reason": "three tore"});
    let mut fresh = Department::open();
    let model = json!({"do": "define_model", "model": "seal", "family": "cap", "name": "Seal", "route": "metal",
                       "limits": {"max_cycles": 40}});
    fresh.done(Biomed, model);
    fresh.done(Biomed, limit);
    own.paper.state.upkeep = fresh.paper.state.upkeep.clone();
    assert_eq!(own.order("seal").planned, 4);
}

/// One that had failed before it was watched is left out of law and curve alike, and nothing else changes.
#[test]
fn one_that_had_failed_when_it_came_does_not_refuse_the_others() {
    let mut house = Department::open();
    let fail = |house: &mut Department, asset: &str, prior: u32| {
        let add = json!({"do": "add_asset", "asset": asset, "model": "cap", "prior_cycles": prior});
        house.done(Lead, add);
        house.done(Biomed, json!({"do": "retire", "asset": asset, "cause": "worn", "failure": true}));
    };
    for n in 0..4 {
        fail(&mut house, &format!("F-{n}"), 0);
    }
    fail(&mut house, "F-9", 500);
    for (n, cycles) in [12, 19, 27, 33].into_iter().enumerate() {
        house.change(&format!("F-{n}"), |asset| asset.cycles = cycles);
    }
    let lives = house.paper.state.lives(&id("cap"), Clock::Cycles, house.now);
    let law = weibull::fit(&lives.rows_at_retirement()).expect("a law");
    let curve = kaplan_meier::curve(&lives.lives_at_retirement(), None).expect("a curve");
    assert_eq!((curve.events, lives.left_out_at_retirement().map(|it| it.0)), (4, Some(1)));
    let said = lives.left_out_at_retirement().expect("one").1;
    assert!(said.starts_with("1 piece is left out") && said.contains("watched for no time"), "{said}");
    let mut without = lives.clone();
    without.pieces.retain(|piece| piece.asset != id("F-9"));
    assert_eq!(weibull::fit(&without.rows_at_retirement()).expect("a law").beta, law.beta);
    assert_eq!(without.left_out_at_retirement(), None);
}

/// What a person's finger adds to a number is told, with what is needed: nothing of it is looked up or written.
#[test]
fn numbers_that_nobody_means_are_malformed() {
    let steam = json!({"steam": {"temp_c": 134, "hold_s": 180}});
    let model = |limits: Value| json!({"do": "define_model", "model": "m", "family": "cap", "name": "M", "route": "metal", "processing": steam, "limits": limits});
    let programme = |field: &str| {
        let mut it = json!({"programme": "p", "method": "steam", "band_c": 134, "hold_s": 180});
        it[field] = json!(4_000_000_000_u32);
        json!({"do": "define_machine", "machine": "st", "kind": "steriliser", "programmes": [it]})
    };
    let add = |field: &str, value: u64| {
        let mut it = json!({"do": "add_asset", "model": "cap"});
        it[field] = json!(value);
        it
    };
    for (command, pointer) in [
        (add("cost_cents", 1 << 53), "/cost_cents"),
        (add("cost_cents", u64::MAX), "/cost_cents"),
        (add("cost_cents", 10_000_000_001), "/cost_cents"),
        (add("prior_cycles", 4_294_967_295), "/prior_cycles"),
        (add("prior_uses", 1_000_001), "/prior_uses"),
        (json!({"do": "back_from_repair", "asset": "T-1", "cost_cents": (1_u64 << 53) + 1}), "/cost_cents"),
        (model(json!({"max_cycles": 1_000_001})), "/limits/max_cycles"),
        (model(json!({"inspect_every_days": 4_000_000_000_u32})), "/limits/inspect_every_days"),
        (model(json!({"shelf_life_days": 40_000})), "/limits/shelf_life_days"),
        (programme("cooling_s"), "/programmes/0/cooling_s"),
        (programme("aeration_s"), "/programmes/0/aeration_s"),
        (json!({"do": "set_reserve", "count_sheet": "adult", "minimum": 4_000_000_000_u32}), "/minimum"),
        (json!({"do": "correct", "entry": 1_u64 << 53, "reason": "r"}), "/entry"),
    ] {
        let wrong = Command::read(command.clone()).expect_err("a number that nobody means");
        assert_eq!(wrong[0].pointer, pointer, "{command}: {wrong:?}");
        assert!(wrong[0].detail.starts_with("found more than") && wrong[0].detail.ends_with("is needed"));
    }
    for command in [add("cost_cents", 10_000_000_000), add("prior_cycles", 1_000_000)] {
        assert!(Command::read(command).is_ok());
    }
}

#[test]
fn ages_beyond_the_makers_limit_are_doubted_and_nothing_is_taken_back_twice() {
    let mut house = Department::open();
    let doubts = |event: &Event| {
        let all = event.beside.doubts.iter();
        all.map(|it| format!("{} {}", it.pointer, it.detail)).collect::<Vec<_>>()
    };
    // Of this model the maker allows 3 cycles.
    let old =
        house.done(Lead, json!({"do": "add_asset", "asset": "O-1", "model": "cap", "prior_cycles": 500}));
    assert!(
        doubts(&old)[0].starts_with("/prior_cycles found 500 cycles behind a part whose maker allows 3;")
    );
    let young =
        house.done(Lead, json!({"do": "add_asset", "asset": "O-2", "model": "cap", "prior_cycles": 3}));
    assert!(doubts(&young).is_empty());
    let limit = |at: u32| json!({"do": "set_life_limit", "model": "cap", "replace_at": at, "reason": "r"});
    ward::refused(&mut house.paper, &mut house.now, Biomed, limit(0), "already_done");
    let useless = doubts(&house.done(Biomed, limit(60)));
    assert!(
        useless[0]
            .starts_with("/replace_at found 60 cycles, above the maker's own limit of 3; it changes nothing"),
        "{useless:?}"
    );
    assert!(doubts(&house.done(Biomed, limit(2))).is_empty());
    assert!(doubts(&house.done(Biomed, limit(0))).is_empty());
    ward::refused(&mut house.paper, &mut house.now, Biomed, limit(0), "already_done");
}

/// Both chances count from the last inspection, and what comes later is never the less likely: a part that is ready goes
/// to its case and is inspected after it; one that waits for inspection is inspected first.
#[test]
fn the_longer_of_two_spans_is_never_the_less_likely() {
    let mut house = Department::open();
    for (asset, whole_at, cycles, stage) in
        [("C-1", 7, 8, Stage::Ready), ("C-2", 7, 8, Stage::Soiled), ("T-1", 7, 7, Stage::Inspected)]
    {
        let at = house.now;
        house.change(asset, |asset| {
            let inspected = fettle::domain::lifetime::InspectedAt { at, cycles: whole_at, entry: 0 };
            (asset.cycles, asset.stage, asset.inspected) = (cycles, stage, Some(inspected));
        });
    }
    let state = &house.paper.state;
    let next = |model: &str, asset: &str| {
        let outlook = Outlook::of(state, state.lives(&id(model), Clock::Cycles, house.now), house.now);
        let piece = outlook.lives.pieces.iter().find(|piece| piece.asset == id(asset)).expect("a piece");
        let next = outlook.next(state, piece, 1.0);
        (next.seen_whole, next.case, next.inspection)
    };
    assert_eq!(next("cap", "C-1"), (7.0, 1.0, 1.0));
    assert_eq!(next("cap", "C-2"), (7.0, 2.0, 1.0));
    assert_eq!(next("scope", "T-1"), (7.0, 1.0, 1.0));
}
