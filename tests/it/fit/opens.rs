//! What to open for a case: every set of its needs, the one that the board counts on, and what opening another's costs.

use fettle::domain::check_lines::lines;
use fettle::domain::person::Role::{Biomed, Charge, Lead};
use fettle::domain::readiness::SetReadiness;
use fettle::domain::to_open::{Meant, ToOpen};
use serde_json::{Value, json};

use super::House;

/// Two whole sets for jet ventilation and one for camera and light, everything ready.
fn house() -> House {
    let mut house = House::adult();
    for (model, family) in [("cam", "camera_head"), ("cable", "light_cable"), ("guard", "mouth_guard")] {
        house.model(model, family, json!({}), json!([]));
    }
    let line =
        |line: &str, family: &str| json!({"line": line, "family": family, "quantity": 1, "essential": true});
    let rigid: Vec<Value> = [
        ("barrel", "bronchoscope"),
        ("head", "head"),
        ("jet", "jet_adapter"),
        ("scope", "telescope"),
        ("grip", "forceps"),
        ("suck", "suction_tube"),
    ]
    .map(|(name, family)| line(name, family))
    .to_vec();
    let camera = [
        line("camera head", "camera_head"),
        line("light cable", "light_cable"),
        line("guard", "mouth_guard"),
    ];
    for (sheet, name, lines) in
        [("rigid", "Rigid", json!(rigid)), ("camera", "Camera and light", json!(camera))]
    {
        let define = json!({"do": "define_count_sheet", "count_sheet": sheet, "name": name, "lines": lines});
        house.done(Lead, define);
    }
    let models = [
        ("barrel", "b8"),
        ("head", "head"),
        ("jet", "jet"),
        ("scope", "t4"),
        ("grip", "grip"),
        ("suck", "suck"),
    ];
    for set in ["A1", "A2"] {
        fill(&mut house, set, "rigid", &models);
    }
    fill(
        &mut house,
        "CAM",
        "camera",
        &[("camera head", "cam"), ("light cable", "cable"), ("guard", "guard")],
    );
    // What lies in no set is free for everybody: without a barrel it is no set-up.
    house.done(Biomed, json!({"do": "retire", "asset": "B-1", "cause": "worn", "failure": true}));
    house
}

fn fill(house: &mut House, set: &str, sheet: &str, models: &[(&str, &str)]) {
    house.done(Lead, json!({"do": "build_set", "set": set, "count_sheet": sheet, "name": set}));
    for (line, model) in models {
        let asset = format!("{set}-{model}");
        house.done(Lead, json!({"do": "add_asset", "asset": asset, "model": model}));
        house.done(Lead, json!({"do": "put_in_set", "set": set, "line": line, "asset": asset}));
        house.clean(&asset);
        house.done(Lead, json!({"do": "put_away", "scan": asset, "location": "bay 3"}));
    }
}

fn needs(start: &str) -> Value {
    json!({"start": start, "technique": "jet_open", "needs": ["rigid", "camera"]})
}

fn of<'a>(open: &'a [ToOpen], sheet: &str) -> &'a ToOpen {
    open.iter().find(|it| it.count_sheet.as_str() == sheet).expect("a set to open")
}

/// Published observation: 160 of 236 errors in 147 operations were missing instruments; what is not on the sheet is not
/// in the room.
#[test]
fn the_sheet_opens_every_set_that_the_case_needs() {
    let mut house = house();
    house.case("K-1", needs("2026-03-03T10:00:00+01:00"));
    let sheet = house.sheet("K-1");
    assert_eq!(sheet.to_open.len(), 2, "{:?}", sheet.to_open);
    let camera = of(&sheet.to_open, "camera");
    let what = (camera.set.as_ref().map(|it| it.as_str()), camera.meant, camera.status);
    assert_eq!(what, (Some("CAM"), Some(Meant::CountedOn), Some(SetReadiness::Ready)));
    let parts: Vec<&str> = camera.parts.iter().map(|part| part.asset.as_str()).collect();
    assert_eq!(parts, ["CAM-cable", "CAM-cam", "CAM-guard"]);
    assert_eq!(camera.locations, ["bay 3"]);
    // A light source and an injector are nobody's parts here: the room has to have them.
    let lacking = sheet.lacking.join(" ");
    assert!(lacking.contains("No light source") && lacking.contains("No injector"), "{lacking}");
    assert!(!lacking.contains("camera head") && !lacking.contains("suction"), "{lacking}");
    // What lacks in a set is said, and once it is kept that is what is said of it.
    house.done(Biomed, json!({"do": "retire", "asset": "CAM-cable", "cause": "worn", "failure": true}));
    house.done(Charge, json!({"do": "promise", "case": "K-1", "set": "A2"}));
    let sheet = house.sheet("K-1");
    let rigid = of(&sheet.to_open, "rigid");
    assert_eq!((rigid.set.as_ref().map(|it| it.as_str()), rigid.meant), (Some("A2"), Some(Meant::Kept)));
    let camera = of(&sheet.to_open, "camera");
    assert_eq!(camera.status, Some(SetReadiness::NotReady));
    assert!(camera.why.join(" ").contains("\"light cable\" has 0 of 1"), "{:?}", camera.why);
    assert!(sheet.lacking.join(" ").contains("No light cable"), "{:?}", sheet.lacking);
}

/// What the board counts on for one case the sheet of another offers at its cost, never as free.
#[test]
fn board_and_sheet_tell_of_one_set_alike() {
    let mut house = house();
    for (case, start) in [
        ("K-1", "2026-03-03T10:00:00+01:00"),
        ("K-2", "2026-03-03T10:30:00+01:00"),
        ("K-3", "2026-03-03T11:00:00+01:00"),
    ] {
        house.case(case, json!({"start": start, "technique": "jet_open", "needs": ["rigid"]}));
    }
    let board = house.paper.state.board(house.now);
    for (case, set) in [("K-1", Some("A1")), ("K-2", Some("A2")), ("K-3", None)] {
        let told = board.cases.iter().find(|it| it.case.as_str() == case).expect("a case of the board");
        assert_eq!(told.sets.first().map(|it| it.as_str()), set, "{case}");
        let sheet = house.sheet(case);
        let open = of(&sheet.to_open, "rigid");
        if let Some(set) = set {
            assert_eq!(open.set.as_ref().map(|it| it.as_str()), Some(set), "{case}: {:?}", sheet.to_open);
            let offered: Vec<&str> = sheet.offers[0].open.iter().map(|it| it.as_str()).collect();
            assert_eq!(offered, [set], "{case}");
            assert!(sheet.offers[0].costs.is_empty(), "{case}: {:?}", sheet.offers[0].costs);
        }
    }
    // Nothing is free for the third: what is offered has its cost, and the sheet says whose it is.
    let sheet = house.sheet("K-3");
    let offer = &sheet.offers[0];
    let cost = offer.costs.first().expect("what it costs");
    assert!(
        cost.sentence.starts_with("This takes set A") && cost.sentence.contains("from case K-"),
        "{}",
        cost.sentence
    );
    assert!(offer.sentence.contains("the board counts on it there"), "{}", offer.sentence);
    let open = of(&sheet.to_open, "rigid");
    assert!(open.sentence.contains("This takes set A"), "{}", open.sentence);
    // The reserve, too, is named where it would be one short.
    house.done(Charge, json!({"do": "set_reserve", "count_sheet": "rigid", "minimum": 2}));
    let sheet = house.sheet("K-1");
    assert!(sheet.offers[0].costs.iter().any(|cost| cost.sentence.contains("reserve of rigid falls to 1")));
    // A set that lacks what is essential is not ready on the board, and the offer out of it says so.
    house.done(Biomed, json!({"do": "retire", "asset": "A1-suck", "cause": "worn", "failure": true}));
    house.done(
        Charge,
        json!({"do": "change_case", "case": "K-1", "configuration": {"together": ["telescope"]}}),
    );
    let first =
        house.sheet("K-1").offers.into_iter().find(|it| it.open.iter().any(|set| set.as_str() == "A1"));
    let told = first.expect("an offer out of A1").sentence;
    assert!(told.contains("its parts ready now") && told.contains("suck"), "{told}");
}

/// Jet ventilation: the escape path is mandatory (airway facts, section 4), so it is the first thing that is looked at.
#[test]
fn the_way_out_is_the_first_line_with_jet_ventilation() {
    let mut house = house();
    house.case("K-1", needs("2026-03-03T10:00:00+01:00"));
    let names = |house: &House| -> Vec<String> {
        let state = &house.paper.state;
        lines(state, state.cases.get("K-1").expect("a case")).into_iter().map(|it| it.line).collect()
    };
    let of_these = [
        "way out",
        "camera",
        "light",
        "white balance",
        "focus",
        "image",
        "jaws",
        "barrel",
        "locks",
        "injector",
        "suction",
        "pass",
    ];
    assert_eq!(names(&house), of_these);
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "technique": "controlled_closed"}));
    assert_eq!(names(&house).first().map(String::as_str), Some("camera"));
    assert!(!names(&house).iter().any(|it| it == "injector"), "an injector belongs to jet ventilation");
    // Where nobody said what it needs, everything that a rigid set-up has is looked at.
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "needs": []}));
    for line in ["camera", "light", "image", "jaws", "caps whole", "suction"] {
        assert!(names(&house).iter().any(|it| it == line), "{line}");
    }
}
