//! Sizes of models against what is published, and against the mistakes that people make with them.

use fettle::domain::apply::{When, apply};
use fettle::domain::event::Event;
use fettle::domain::id::Id;
use fettle::domain::model::Model;
use fettle::domain::person::Role;
use fettle::domain::simulate::catalogue;
use fettle::domain::sizes::{CHART, Known, Looked, lacks, look};
use fettle::domain::state::State;
use serde_json::{Value, json};

use super::served::{BOTH, Served};

fn model(fields: Value) -> Model {
    let mut whole = json!({"model": "m-1", "family": "bronchoscope", "name": "M", "route": "metal"});
    for (name, value) in fields.as_object().expect("fields") {
        whole[name] = value.clone();
    }
    serde_json::from_value(whole).expect("a model")
}

pub fn empty() -> State {
    let mut state = State::new(Id::new("airway").expect("an id"));
    let route = json!({"route": "metal", "version": 1, "steps": [{"step": "cleaned"}]});
    taken(&mut state, "route_defined", route);
    state
}

pub fn taken(state: &mut State, kind: &str, event: Value) {
    let event = Event::read(kind, 1, event).expect("an event");
    let when =
        When { seq: state.seq + 1, at: state.recorded_at, recorded_at: state.recorded_at, actor: "biomed" };
    apply(state, &when, &event);
}

fn looked(fields: Value) -> Looked {
    let state = empty();
    look(&model(fields), &Known::of(&state))
}

/// Where something was found: what cannot be, and what may be.
fn places(looked: &Looked) -> (Vec<&str>, Vec<&str>) {
    (
        looked.wrong.iter().map(|it| it.pointer.as_str()).collect(),
        looked.doubts.iter().map(|it| it.pointer.as_str()).collect(),
    )
}

pub fn tenths(number: i64) -> String {
    format!("{}.{}", number / 10, number % 10)
}

/// Nominal label, inner and outer diameter in tenths of a millimetre: a children's-hospital chart that came through a
/// public sizing tool which nobody has reviewed. It agrees with a textbook's table (from memory). Wall 0.35 mm each.
pub const CHILDREN: [(i64, i64, i64); 7] =
    [(25, 35, 42), (30, 43, 50), (35, 50, 57), (40, 60, 67), (45, 66, 73), (50, 71, 78), (60, 75, 82)];

#[test]
fn a_childrens_chart_is_taken_as_it_stands() {
    assert_eq!(CHART, CHILDREN);
    for (nominal, inner, outer) in CHILDREN {
        let sizes = json!({"nominal": tenths(nominal), "inner_diameter_mm": tenths(inner),
                           "outer_diameter_mm": tenths(outer), "length_mm": 260});
        let it = looked(json!({"dimensions": sizes}));
        assert_eq!(places(&it), (vec![], vec![]), "{sizes}");
        assert_eq!(outer - inner, 7);
    }
}

/// A barrel whose label and inner diameter stand in the catalogue is known again, whatever its sizes.
#[test]
fn columns_shifted_by_one_are_known_from_another_barrel() {
    let mut state = empty();
    let known = json!({"model": "barrel-8", "family": "bronchoscope", "name": "B", "route": "metal",
        "dimensions": {"nominal": "8", "inner_diameter_mm": "8.2", "outer_diameter_mm": "8.9"}});
    taken(&mut state, "model_defined", known);
    let told = |nominal: &str, inner: &str, outer: &str| {
        let it = model(
            json!({"dimensions": {"nominal": nominal, "inner_diameter_mm": inner, "outer_diameter_mm": outer}}),
        );
        let found = look(&it, &Known::of(&state));
        found.doubts.iter().any(|it| it.needed.contains("barrel-8") || it.found.contains("barrel-8"))
    };
    assert!(told("7.5", "8", "8.2") && told("8", "8.9", "9.6") && !told("8.5", "8.6", "9.3"));
}

/// What cannot be, and what may be. Where published walls stand: 0.35 mm in the chart above; inner to outer diameter 0.5
/// to 1 mm in adult barrels (common practice); a wall of 2 to 3 mm in an older text: a doubt, no refusal.
#[test]
fn barrels_are_judged_by_their_three_numbers() {
    const INNER: &str = "/dimensions/inner_diameter_mm";
    const OUTER: &str = "/dimensions/outer_diameter_mm";
    const NOMINAL: &str = "/dimensions/nominal";
    let barrel = |nominal: &str, inner: &str, outer: &str| {
        looked(
            json!({"dimensions": {"nominal": nominal, "inner_diameter_mm": inner, "outer_diameter_mm": outer}}),
        )
    };
    for (nominal, inner, outer, wrong, doubts) in [
        ("8", "8.2", "8.7", vec![], vec![]),
        ("8", "8.2", "9.2", vec![], vec![]),
        ("8", "8.2", "12.6", vec![], vec![OUTER]),
        ("8", "8.2", "8.3", vec![], vec![OUTER]),
        ("8", "8.2", "8.2", vec![INNER], vec![]),
        ("8", "9", "8.5", vec![INNER], vec![]),
        ("9", "8.2", "8.9", vec![NOMINAL], vec![NOMINAL]),
        ("8.5", "8.2", "8.9", vec![], vec![NOMINAL]),
        ("8.2", "8.2", "8.9", vec![], vec![INNER]),
    ] {
        let it = barrel(nominal, inner, outer);
        assert_eq!(places(&it), (wrong, doubts), "{nominal} {inner} {outer}: {it:?}");
    }
    // The band is the site's.
    let mut state = empty();
    taken(&mut state, "policy_set", json!({"wall_mm": ["2", "3"]}));
    let old = model(json!({"dimensions": {"inner_diameter_mm": "8", "outer_diameter_mm": "13"}}));
    assert_eq!(look(&old, &Known::of(&state)), Looked::default());
}

/// French is outer diameter in thirds of a millimetre: 14 Fr is 4.667 mm, which is no whole number of micrometres.
#[test]
fn french_stands_beside_millimetres() {
    const SHAFT: &str = "/dimensions/shaft_diameter_mm";
    for (french, shaft, wrong, doubts) in [
        ("14", "4.667", vec![], vec![]),
        ("14", "4.7", vec![], vec![]),
        ("8", "2.6667", vec![], vec![]),
        ("12", "4", vec![], vec![]),
        ("14", "4.5", vec![], vec![SHAFT]),
        ("8", "3", vec![], vec![SHAFT]),
        ("14", "14", vec![SHAFT], vec![SHAFT]),
        ("6", "4", vec![SHAFT], vec![]),
    ] {
        let it = looked(
            json!({"family": "suction_tube", "dimensions": {"french": french, "shaft_diameter_mm": shaft, "length_mm": 400}}),
        );
        assert_eq!(places(&it), (wrong, doubts), "{french} Fr, {shaft} mm: {it:?}");
    }
    let lumen =
        looked(json!({"family": "suction_tube", "dimensions": {"french": 12, "inner_diameter_mm": 4}}));
    assert!(lumen.doubts.iter().any(|it| it.needed.contains("never that of the lumen")), "{lumen:?}");
}

/// ISO 5356-1:2004: cones of 8.5, 11.5, 15, 22, 23 and 30 mm.
#[test]
fn cones_have_the_sizes_of_the_standard() {
    let cone = |system: &str| {
        let ends = json!([{"end": "circuit", "system": system}]);
        looked(json!({"family": "anaesthesia_connector", "couplings": ends})).doubts.len()
    };
    for system in [
        "cone-8.5",
        "cone-11.5",
        "cone-15",
        "15 mm cone",
        "Cone 22",
        "cone-23",
        "cone-30",
        "ring-16",
        "side-9",
    ] {
        assert_eq!(cone(system), 0, "{system}");
    }
    for system in ["cone-16", "20 mm cone", "cone 15.5"] {
        assert_eq!(cone(system), 1, "{system}");
    }
}

#[test]
fn everything_else_is_looked_at_too() {
    let told = |fields: Value| {
        let it = looked(fields);
        let (wrong, doubts) = places(&it);
        (wrong.join(" "), doubts.join(" "))
    };
    let no = String::new;
    for (fields, wrong, doubts) in [
        (
            json!({"family": "forceps", "dimensions": {"shaft_diameter_mm": "3", "max_width_mm": "2.4"}}),
            "/dimensions/max_width_mm",
            "",
        ),
        (json!({"family": "telescope", "dimensions": {"view_deg": "200"}}), "/dimensions/view_deg", ""),
        (
            json!({"family": "telescope", "dimensions": {"view_deg": "30", "length_mm": "43.6"}}),
            "",
            "/dimensions/length_mm",
        ),
        (json!({"family": "telescope", "dimensions": {"length_mm": "4360"}}), "", "/dimensions/length_mm"),
        (json!({"family": "tracheoscope", "dimensions": {"length_mm": "430"}}), "", "/dimensions/length_mm"),
        (
            json!({"family": "cap", "dimensions": {"hole_diameters_mm": ["2.5", "0"]}}),
            "/dimensions/hole_diameters_mm/1",
            "",
        ),
        (
            json!({"family": "cap", "dimensions": {"hole_diameters_mm": ["25"]}}),
            "",
            "/dimensions/hole_diameters_mm/0",
        ),
        (
            json!({"family": "telescope", "dimensions": {"hole_diameters_mm": ["2.5"]}}),
            "",
            "/dimensions/hole_diameters_mm",
        ),
        (
            json!({"family": "head", "dimensions": {"stack_height_mm": "-1"}}),
            "/dimensions/stack_height_mm",
            "",
        ),
        (
            json!({"family": "head", "couplings": [{"end": "side", "system": "a"}, {"end": "side", "system": "b"}]}),
            "",
            "/couplings/1/end",
        ),
        (json!({"family": "cap", "assembly": {"order": 3}}), "", "/assembly/edition"),
        (json!({"family": "head", "dimensions": {"nominal": "-1"}}), "/dimensions/nominal", ""),
    ] {
        let expected = (wrong.to_string(), doubts.to_string());
        assert_eq!(told(fields.clone()), expected, "{fields}");
    }
    assert_eq!(told(json!({"family": "cap"})), (no(), no()));
}

#[test]
fn names_of_systems_are_compared_letter_by_letter() {
    // A name of a system that differs in letters only is asked about; the same name is not.
    let mut state = empty();
    let head = json!({"model": "head", "family": "head", "name": "H", "route": "metal",
                      "couplings": [{"end": "barrel", "system": "Ring A"}]});
    taken(&mut state, "model_defined", head);
    for (system, asked) in [("ring-a", 1), ("Ring A", 0), ("ring b", 0)] {
        let it = model(json!({"couplings": [{"end": "head", "system": system}]}));
        assert_eq!(look(&it, &Known::of(&state)).doubts.len(), asked, "{system}");
    }
}

#[test]
fn what_is_lacking_is_told() {
    let lacking = |fields: Value| {
        lacks(&model(fields)).iter().map(|it| it.pointer.clone()).collect::<Vec<_>>().join(" ")
    };
    assert_eq!(
        lacking(json!({"family": "telescope", "dimensions": {"shaft_diameter_mm": 4}})),
        "/dimensions/length_mm"
    );
    assert_eq!(lacking(json!({"family": "cap"})), "/dimensions/hole_diameters_mm");
    assert_eq!(lacking(json!({"family": "cap", "dimensions": {"hole_diameters_mm": []}})), "");
    assert_eq!(lacking(json!({})).split(' ').count(), 3);
}

/// What an older release wrote still stands, however odd; only a new command is held to it.
#[test]
fn an_old_ledger_still_applies() {
    let mut state = empty();
    let odd = json!({"model": "odd", "family": "bronchoscope", "name": "Odd", "route": "metal",
        "dimensions": {"nominal": "9", "inner_diameter_mm": "8", "outer_diameter_mm": "7"}});
    taken(&mut state, "model_defined", odd);
    let kept = state.models.get("odd").expect("it is there");
    assert_eq!(look(kept, &Known::of(&state)).wrong.len(), 2);
}

/// The invented hospital holds itself to it: nothing of its catalogue is asked about.
#[test]
fn the_simulated_hospitals_catalogue_is_sound() {
    let mut state = empty();
    let commands = catalogue::founding(6).into_iter().map(|(_, command)| command);
    let models: Vec<Value> = commands.filter(|it| it["do"] == "define_model").collect();
    assert!(models.len() > 20);
    for command in models {
        let mut event = command.clone();
        event.as_object_mut().expect("fields").remove("do");
        let model: Model = serde_json::from_value(event.clone()).expect("a model");
        let found = look(&model, &Known::of(&state));
        assert_eq!((&found, lacks(&model)), (&Looked::default(), vec![]), "{command}");
        taken(&mut state, "model_defined", event);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_is_refused_and_what_may_be_stays_with_its_entry() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let define = |key: &str, inner: &str, outer: &str| {
            json!({"do": "define_model", "key": key, "model": "b-9", "family": "bronchoscope", "name": "B", "route": "metal",
                   "dimensions": {"nominal": "3.5", "inner_diameter_mm": inner, "outer_diameter_mm": outer}})
        };
        let (status, body) = served.post(Role::Biomed, define("a", "5.7", "5.0")).await;
        assert_eq!((status, &body["code"]), (422, &json!("malformed")), "{body}");
        assert_eq!(body["errors"][0]["pointer"], "/dimensions/inner_diameter_mm");
        assert!(
            body["detail"].as_str().is_some_and(|it| it.contains("5.7 mm beside an outer one of 5 mm")),
            "{body}"
        );
        let taken = served.done(Role::Biomed, define("b", "3.5", "5.0")).await;
        let pointers: Vec<&str> = taken["doubts"]
            .as_array()
            .expect("doubts")
            .iter()
            .filter_map(|it| it["pointer"].as_str())
            .collect();
        let (inner, outer) = ("/dimensions/inner_diameter_mm", "/dimensions/outer_diameter_mm");
        assert_eq!(pointers, [inner, outer, inner, "/dimensions/length_mm"], "{taken}");
        // What is lacking is read off the model; what looked wrong is kept.
        assert_eq!(taken["event"]["doubts"].as_array().map(Vec::len), Some(3), "{taken}");
        let (status, again) = served.post(Role::Biomed, define("b", "3.5", "5.0")).await;
        assert_eq!((status, &again["doubts"]), (200, &taken["doubts"]), "{again}");
        let right = served.done(Role::Biomed, define("c", "5.0", "5.7")).await;
        assert_eq!(right["doubts"].as_array().map(Vec::len), Some(1), "{right}");
        assert!(right["event"].get("doubts").is_none(), "{right}");
        let (status, shown) = served.get("models/b-9").await;
        assert_eq!(
            (status, &shown["parts"], &shown["dimensions"]["outer_diameter_mm"]),
            (200, &json!(0), &json!("5.7"))
        );
        served.sound().await;
        served.stop().await;
    }
}
