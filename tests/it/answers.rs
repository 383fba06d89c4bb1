//! The simulated hospital answers what its nights and its machines leave open.

use fettle::domain::event::What;

use super::simulate::{Run, plan};

/// What a night leaves open is answered on a working day, a wrong set-up has its one repeat, and a failed verdict its
/// answer.
#[test]
fn what_waits_for_an_answer_gets_one() {
    let mut run = Run::new(plan(15, 6, 200));
    let (mut repeats, mut flags, mut signed) = (0, 0, 0);
    while let Some((_, event)) = run.step() {
        match event.map(|event| event.what) {
            Some(What::MachineTested(it)) => repeats += u32::from(it.repeat),
            Some(What::FlagCleared(_)) => flags += 1,
            Some(What::Countersigned(_)) => signed += 1,
            _ => {}
        }
    }
    assert!(
        repeats > 0 && flags > 3 && signed > 5,
        "{repeats} repeats, {flags} flags, {signed} countersigned"
    );
    let state = run.state();
    let late = |load: &fettle::domain::load::Load| {
        let due = load.alone.as_ref().map(|it| it.alone.due);
        due.is_some_and(|due| due < state.recorded_at.date(state.zone).pred_opt().expect("a day"))
    };
    let overdue = state.open_exceptions().filter(|load| load.waits_for_countersignature() && late(load));
    assert_eq!(overdue.count(), 0);
    assert!(state.loads.values().filter(|load| load.alone.is_some()).all(|load| &*load.started_by == "desk"));
}
