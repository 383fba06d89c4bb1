use super::*;
use crate::domain::fit::{Check, Circle, Position, Rule, TelescopeAt, Together};
use crate::domain::fit_part::{
    EndAt, FitPart, Gas, Have, Joint, Opening, OpeningState, Processing, Size, Sizes, Whence,
};
use crate::domain::id::Id;
use crate::domain::model::{Family, Port};
use crate::domain::readiness::SetReadiness;
use crate::domain::setup_sheet::{Beside, CAUTION, FallBack, NO_SIDE_HOLES, cautions};
use crate::domain::text::Quantity;
use crate::domain::to_open::{Meant, SetUpPart, ToOpen};
use crate::web::pages::sample;

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn size(stated: &str, measured: Option<&str>) -> Option<Size> {
    let quantity = |text: &str| Quantity::parse(text).unwrap();
    let from = if measured.is_some() { Whence::Measured } else { Whence::Stated };
    let used_mm = quantity(measured.unwrap_or(stated)).f64();
    Some(Size { stated: Some(quantity(stated)), measured: measured.map(quantity), used_mm, from })
}

fn part(step: usize, asset: &str, family: Family, sizes: Sizes, on: Option<(usize, &str)>) -> FitPart {
    FitPart {
        asset: Some(id(asset)),
        mark: None,
        model: id("M"),
        name: format!("Model of {asset}"),
        family,
        step,
        assembly_note: None,
        assembly_edition: None,
        sizes,
        on: on.map(|(part, end)| EndAt { part, end: end.into() }),
        through: None,
        set: Some(id("SET-04")),
        line: Some("optics".into()),
        position: Some(1),
        location: Some("store, bay 3".into()),
        processing: Some(Processing {
            have: Have::Ready,
            ready_at: None,
            why: vec![],
            cycles_left: Some(12),
            uses_left: None,
        }),
    }
}

fn parts() -> Vec<FitPart> {
    let barrel = Sizes {
        nominal: Quantity::parse("11"),
        inner: size("11.0", Some("10.9")),
        outer: size("12.2", None),
        length: size("430", None),
        ..Sizes::default()
    };
    let shaft = |mm: &str, length: &str| Sizes {
        shaft: size(mm, None),
        length: size(length, None),
        ..Sizes::default()
    };
    let mut all = vec![
        part(3, "BR-11", Family::Tracheoscope, barrel, None),
        part(2, "H-2", Family::Head, Sizes::default(), Some((0, "proximal"))),
        part(1, "C-1", Family::AnaesthesiaConnector, Sizes::default(), Some((1, "side port"))),
        part(
            4,
            "CAP-7",
            Family::Cap,
            Sizes { holes: vec![size("5.0", None).unwrap()], ..Sizes::default() },
            Some((1, "eye port")),
        ),
        part(5, "T-0142", Family::Telescope, shaft("5.5", "500"), None),
        part(6, "F-3", Family::Forceps, shaft("2.5", "550"), None),
    ];
    for (step, asset, family, on) in [
        (7, "J-1", Family::JetAdapter, (1, "jet port")),
        (8, "CAP-9", Family::Cap, (1, "small port")),
        (9, "W-2", Family::Window, (1, "far port")),
    ] {
        all.push(part(step, asset, family, Sizes::default(), Some(on)));
    }
    for (step, asset, family) in [
        (10, "S-14", Family::SuctionTube),
        (11, "LC-2", Family::LightCable),
        (12, "CH-1", Family::CameraHead),
        (13, "OB-11", Family::Obturator),
        (14, "LS-1", Family::LightSource),
    ] {
        all.push(part(step, asset, family, shaft("2.0", "550"), None));
    }
    all[4].through = Some(EndAt { part: 1, end: "eye port".into() });
    all[4].assembly_note = Some("Push the cap on first".into());
    all
}

fn joint(inner: (usize, &str), outer: usize, systems: (&str, &str), verdict: Verdict) -> Joint {
    Joint {
        inner: EndAt { part: inner.0, end: inner.1.into() },
        outer: Some(EndAt { part: outer, end: "distal".into() }),
        outer_part: outer,
        inner_system: Some(systems.0.into()),
        outer_system: Some(systems.1.into()),
        tried: None,
        verdict,
        sentence: "The two sides were compared.".into(),
    }
}

fn opening(end: &str, state: OpeningState, by: Option<usize>, gas: Gas, way_out: bool) -> Opening {
    Opening {
        at: EndAt { part: 1, end: end.into() },
        port: Port::Proximal,
        bore_mm: None,
        state,
        by,
        holes_mm: vec![],
        instruments: vec![],
        gas,
        leaks: gas,
        way_out,
        sentence: "What sits here was looked at.".into(),
    }
}

fn check(rule: Rule, verdict: Verdict, sentence: &str) -> Check {
    Check {
        rule,
        verdict,
        parts: vec![0],
        sentence: sentence.into(),
        found_mm: Some(10.9),
        needed_mm: Some(8.0),
        spare_mm: None,
    }
}

fn fit(answer: Answer) -> Fit {
    let circle = |part, x_mm, r_mm| Circle { part, x_mm, y_mm: 0.0, r_mm };
    let mut checks = vec![
        check(Rule::Coupling, Verdict::NotKnown, "Nobody has tried CAP-7 on H-2 yet."),
        check(Rule::Work, Verdict::Holds, "Telescope and forceps lie together."),
    ];
    if answer == Answer::Stop {
        checks.insert(
            0,
            check(
                Rule::WayOut,
                Verdict::Stops,
                "With jet ventilation no way out stays open: gas could not leave.",
            ),
        );
    }
    Fit {
        answer,
        sentence: "It fits.".into(),
        technique: Some(Technique::JetOpen),
        parts: parts(),
        joints: vec![
            joint((0, "proximal"), 1, ("K4", "K4"), Verdict::Holds),
            joint((1, "side port"), 2, ("15 mm cone", "15 mm cone"), Verdict::Holds),
            joint((1, "eye port"), 3, ("P9", "P7"), Verdict::NotKnown),
        ],
        openings: vec![
            opening("eye port", OpeningState::HoledCap, Some(3), Gas::Closed, false),
            opening("far port", OpeningState::Open, None, Gas::Open, answer != Answer::Stop),
        ],
        together: vec![Together {
            parts: vec![4, 5],
            lumen_mm: 10.9,
            clearance_mm: 0.2,
            needed_low_mm: 8.0,
            needed_high_mm: 8.0,
            spare_mm: 2.7,
            verdict: Verdict::Holds,
            circles: vec![circle(4, -1.25, 2.75), circle(5, 2.75, 1.25)],
        }],
        telescopes: vec![TelescopeAt {
            part: 4,
            working_length_mm: 500.0,
            barrel_length_mm: 430.0,
            stack_mm: 62.0,
            window_mm: [-5.0, 15.0],
            full: Position { out_mm: 0.0, tip_mm: 8.0 },
            back: Position { out_mm: 13.0, tip_mm: -5.0 },
        }],
        checks,
        have: Some(Have::Ready),
        cautions: vec![],
    }
}

fn opened(set: &str, status: SetReadiness, why: &[&str]) -> ToOpen {
    let camera = SetUpPart {
        asset: id("CH-7"),
        mark: Some("AW7".into()),
        family: Family::CameraHead,
        name: "Camera head".into(),
        line: "camera".into(),
        position: 1,
        location: Some("store, bay 1".into()),
        ready: true,
    };
    ToOpen {
        count_sheet: id("camera"),
        name: "Camera and light".into(),
        set: Some(id(set)),
        meant: Some(Meant::Kept),
        status: Some(status),
        locations: vec!["store, bay 1".into()],
        sentence: format!("Camera and light: set {set}, kept for this case."),
        why: why.iter().map(|it| it.to_string()).collect(),
        costs: vec![],
        parts: vec![camera],
    }
}

fn sheet(answer: Answer) -> (Visitor, std::sync::Arc<Case>, SetUpSheet) {
    let visitor = sample::in_theatre();
    let case = visitor.state.cases.get("K-2").unwrap().clone();
    let offer = Offer {
        sentence: "BR-11 with T-0142 and F-3: 2.7 mm to spare.".into(),
        configuration: serde_json::from_value(serde_json::json!({"barrel": "BR-11"})).unwrap(),
        fit: fit(answer),
        open: vec![id("SET-04"), id("SET-09")],
        loose: vec![id("F-3")],
        beware: vec![],
        spare_mm: Some(2.7),
        ready_at: None,
        costs: vec![],
    };
    let sheet = SetUpSheet {
        case: case.case.clone(),
        start: case.start,
        technique: Some(Technique::JetOpen),
        wish: None,
        sentence: "Case K-2 is laid out from two sets; all of it is ready.".into(),
        chosen: None,
        barred: vec![],
        to_open: vec![
            opened("SET-04", SetReadiness::Ready, &[]),
            opened("SET-09", SetReadiness::ReadyShort, &["Line \"cap\" has 1 of 2, which is not essential."]),
            opened("CAM-1", SetReadiness::InTurn, &[]),
            ToOpen {
                set: None,
                status: None,
                meant: None,
                sentence: "Suction: no set is free for this case.".into(),
                ..opened("X", SetReadiness::Ready, &[])
            },
        ],
        lacking: vec!["No injector is in these sets: see that one stands in the room.".into()],
        left_out: 0,
        offers: vec![offer.clone()],
        obvious: None,
        smaller: Beside { sentence: "BR-8.5 is complete beside it.".into(), offer: Some(offer) },
        fall_back: Some(FallBack {
            technique: Technique::ControlledClosed,
            sentence: "For closed ventilation close the far port.".into(),
            changes: vec!["Cap CAP-9 goes on the far port.".into()],
            offer: None,
        }),
        cautions: cautions(Some(Technique::JetOpen), [Family::Tracheoscope]),
    };
    (visitor, case, sheet)
}

fn show(answer: Answer, name: &str) -> String {
    let (visitor, case, sheet) = sheet(answer);
    sample::show(name, &SetupSheetPage::of(&visitor, &case, &sheet, None))
}

/// Where a text stands; it must.
fn at(text: &str, wanted: &str) -> usize {
    text.find(wanted).unwrap_or_else(|| panic!("{wanted}: {text}"))
}

#[test]
fn gas_comes_first_and_the_heading_answers() {
    let text = show(Answer::Fits, "setup-sheet");
    let gas = at(&text, "<b>Gas must be able to leave.</b> Way out: H-2, far port. Keep it open.");
    assert!(gas < at(&text, "<h1>Case K-2 is laid out from two sets; all of it is ready.</h1>"));
    assert!(text.contains(&CAUTION.replace('\'', "&#39;")) && text.contains(NO_SIDE_HOLES), "{text}");
    assert!(!text.contains("STOP"));
    assert!(text.contains("Open set SET-04, set SET-09, set CAM-1 and"), "{text}");
    assert!(text.contains("Suction: no set is free for this case.") && text.contains("none free"), "{text}");
    assert!(text.contains("Camera head CH-7 (Camera head, mark AW7; camera 1, store, bay 1)"), "{text}");
    assert!(text.contains("No injector is in these sets") && text.contains("has 1 of 2"), "{text}");
}

#[test]
fn a_closed_way_out_is_a_loud_stop() {
    let text = show(Answer::Stop, "setup-sheet-stop");
    assert!(at(&text, "No way out is declared.") < at(&text, "<b>STOP</b>"));
    assert!(text.contains("gas could not leave") && !text.contains("It fits."));
}

#[test]
fn parts_stand_in_their_order_with_place_and_sizes() {
    let text = show(Answer::Fits, "setup-sheet");
    let order = ["C-1</a>", "H-2</a>", "BR-11</a>", "CAP-7</a>", "T-0142</a>", "F-3</a>"];
    assert!(order.windows(2).all(|two| at(&text, two[0]) < at(&text, two[1])), "{text}");
    assert!(
        text.contains("nominal 11, inner 10.9 measured (stated 11), OUTER 12.2 stated, length 430 stated"),
        "{text}"
    );
    assert!(text.contains("set SET-04, optics 1, store, bay 3") && text.contains("Push the cap on first"));
    assert!(text.contains("fit not known: P7 to P9"), "{text}");
    assert!(
        text.contains("T-0142 and F-3 lie together in the lumen: needed are 8 mm, lumen 10.9 mm"),
        "{text}"
    );
    assert!(text.contains("13 mm out of the cap") && text.contains("Tip 8 mm beyond the end"));
    for forbidden in ["hydraulic", "free area", "P-4711", "style="] {
        assert!(!text.contains(forbidden), "{forbidden}");
    }
}

#[test]
fn before_use_is_what_the_room_records() {
    let mut visitor = sample::in_the_room();
    visitor.actor.role = crate::domain::person::Role::Clinician;
    let case = visitor.state.cases.get("K-1").unwrap().clone();
    let ticks = setup_rows::before_use(&visitor.state, &case, visitor.now);
    let room = crate::domain::check_lines::lines(&visitor.state, &case);
    assert_eq!(ticks.len(), room.len());
    for (tick, line) in ticks.iter().zip(&room) {
        assert!(tick.asks.to_lowercase().starts_with(&line.line), "{}: {}", line.line, tick.asks);
    }
    let of = |line: &str| ticks.iter().find(|tick| tick.asks.to_lowercase().starts_with(line)).unwrap();
    assert!(
        of("camera").mark == "\u{2713}" && of("camera").told.starts_with("passed, "),
        "{}",
        of("camera").told
    );
    let caps = of("caps whole");
    assert!(caps.failed && caps.told.starts_with("failed on CAP-01"), "{}", caps.told);
    assert!(of("suction").told.starts_with("not applicable"), "{}", of("suction").told);
    assert!(of("focus").told.is_empty() && of("focus").mark.is_empty());
    let (_, _, mut sheet) = sheet(Answer::Fits);
    sheet.case = case.case.clone();
    let text = sample::show("setup-sheet-checked", &SetupSheetPage::of(&visitor, &case, &sheet, None));
    assert!(text.contains("<b class=\"stop\">failed on CAP-01"), "{text}");
}

#[test]
fn the_column_of_gas_says_where_it_comes_in() {
    let mut fit = fit(Answer::Fits);
    fit.openings = vec![
        opening("jet port", OpeningState::Jet, Some(6), Gas::Closed, false),
        opening("side port", OpeningState::Connector, Some(2), Gas::Closed, false),
        opening("small port", OpeningState::Blank, Some(7), Gas::Closed, false),
        Opening {
            holes_mm: vec![2.0, 1.9],
            instruments: vec![4, 5],
            ..opening("eye port", OpeningState::HoledCap, Some(3), Gas::Closed, false)
        },
    ];
    let lines = setup_rows::openings(&fit);
    let says: Vec<&str> = lines.iter().map(|line| line.say.words.as_str()).collect();
    assert_eq!(says, ["gas comes in here (jet)", "the breathing circuit joins here", "closed", "closed"]);
    assert_eq!(lines[3].words, "cap with 2 holes, CAP-7, 2 mm and 1.9 mm, T-0142 and F-3 go in here");
}

#[test]
fn a_fall_back_to_jet_says_where_gas_leaves() {
    let (visitor, case, mut sheet) = sheet(Answer::Fits);
    let offer = sheet.offers[0].clone();
    sheet.fall_back.as_mut().unwrap().technique = Technique::JetOpen;
    sheet.fall_back.as_mut().unwrap().offer = Some(offer);
    let page = SetupSheetPage::of(&visitor, &case, &sheet, None);
    let gas = page.fall_back_gas.as_deref();
    assert_eq!(gas, Some("Gas must be able to leave. Way out: H-2, far port. Keep it open."));
    sheet.fall_back.as_mut().unwrap().technique = Technique::ControlledClosed;
    assert_eq!(SetupSheetPage::of(&visitor, &case, &sheet, None).fall_back_gas, None);
}

#[test]
fn what_is_out_at_the_case_is_not_said_to_be_put_away() {
    let visitor = sample::in_the_room();
    let case = visitor.state.cases.get("K-1").unwrap().clone();
    let mut fit = fit(Answer::Fits);
    fit.parts[0].asset = Some(id("BR-0031"));
    let mut lines = setup_rows::parts(&visitor.state, &fit, visitor.now);
    setup_rows::at_case(&mut lines, &visitor.state, Some(&case), &fit);
    let line = lines.iter().find(|line| line.name == "BR-0031").unwrap();
    assert_eq!(line.say.as_ref().map(|say| say.words.as_str()), Some("out, at this case"));
    assert!(line.place.ends_with("at this case") && !line.place.contains("bay 3"), "{}", line.place);
}
