//! What can't be there when a case begins: the sheet and the board say so with the time, before any word of sizes. That what
//! is planned counts on the site's own turnaround is common practice.

use fettle::domain::board::Equipped;
use fettle::domain::fit::{Answer, Have};
use fettle::domain::person::Role::{Charge, Clinician, Desk};
use serde_json::json;

use super::claims::{choose, on_board};
use super::{House, jet};

/// K-1 begins at half past seven with what lies in SET-1, the only set; its forceps come back at six.
fn soiled() -> House {
    let mut house = House::adult();
    house.set("SET-1", &["B-1", "H-1", "J-1", "T-1", "F-1", "S-1"]);
    house.case(
        "K-1",
        json!({"technique": "jet_open", "needs": ["sheet"], "start": "2026-03-02T07:30:00+01:00"}),
    );
    house.done(Clinician, choose("K-1", jet(&["T-1", "F-1", "S-1"])));
    assert_eq!(on_board(&house, "K-1").status, Equipped::Ready);
    house.done(Desk, json!({"do": "record_step", "step": "received", "scan": "F-1"}));
    house
}

/// The site's turnaround is 240 minutes where nobody set another.
#[test]
fn a_sheet_names_what_is_not_ready_before_the_sizes() {
    let mut house = soiled();
    let sheet = house.sheet("K-1");
    let fit = &sheet.chosen.as_ref().expect("a choice").fit;
    assert_eq!((fit.answer, fit.have), (Answer::Fits, Some(Have::NotReady)));
    let told = &sheet.sentence;
    assert!(told.contains("Not ready. F-1 is received"), "{told}");
    assert!(told.contains("on 2 March 2026, 10:0") && told.contains("after the case begins"), "{told}");
    assert!(!told.contains("It fits") && told.contains("By its sizes it would fit"), "{told}");
    let open = sheet.to_open.first().expect("a set");
    assert!(open.sentence.contains("in reprocessing, expected on 2 March 2026, 10:0"), "{}", open.sentence);
    assert!(open.sentence.contains("after the case begins"), "{}", open.sentence);
    // Later it is there in time.
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "start": "2026-03-02T12:00:00+01:00"}));
    let sheet = house.sheet("K-1");
    assert!(sheet.sentence.contains("It fits"), "{}", sheet.sentence);
    assert!(!sheet.to_open[0].sentence.contains("after the case begins"), "{}", sheet.to_open[0].sentence);
}

#[test]
fn a_case_whose_only_set_comes_too_late_is_not_ready() {
    let mut house = soiled();
    let case = on_board(&house, "K-1");
    assert_eq!(case.status, Equipped::NotReady, "{:?}", case.why);
    let why = case.why.join(" ");
    // Without an hour: that is the forecast's to tell.
    assert!(why.contains("It is expected after the case begins"), "{why}");
    house.done(Charge, json!({"do": "change_case", "case": "K-1", "start": "2026-03-02T12:00:00+01:00"}));
    assert_eq!(on_board(&house, "K-1").status, Equipped::InTurn);
}

/// The same of a chosen part that lies in no set that the case takes.
#[test]
fn a_chosen_part_that_comes_too_late_is_not_ready() {
    let mut house = House::adult();
    house.case("K-1", json!({"technique": "jet_open", "start": "2026-03-02T07:30:00+01:00"}));
    house.done(Clinician, choose("K-1", jet(&["T-1", "F-1"])));
    house.done(Desk, json!({"do": "record_step", "step": "received", "scan": "F-1"}));
    let case = on_board(&house, "K-1");
    assert_eq!(case.status, Equipped::NotReady);
    assert!(case.why[0].contains("F-1 is received. It is expected on 2 March 2026, 10:0"), "{:?}", case.why);
    house.clean("F-1");
    assert_eq!(on_board(&house, "K-1").status, Equipped::Ready);
}
