//! What the simulated hospital owns fits as it is meant to: a child's and an adult's configuration with the next smaller
//! barrel beside it, one misfit, and one joint of which nobody knows.

use fettle::domain::case::Technique;
use fettle::domain::configuration::{Configuration, EndOf, Placed};
use fettle::domain::fit::{Answer, Rule, Verdict};
use fettle::domain::fit_judge::{Setting, answer, checks};
use fettle::domain::fit_layout::lay_out;
use fettle::domain::state::State;
use fettle::domain::text::Line;

use super::simulate::{Run, plan};

fn line(text: &str) -> Line {
    Line(text.into())
}

/// A hospital with its catalogue and sets, before its first day.
fn founded() -> Run {
    let mut run = Run::new(plan(5, 5, 2));
    while let Some((given, event)) = run.step() {
        let name = given.command.act.name();
        assert!(event.is_some(), "{name} was turned away");
        if name == "set_reserve" && run.state().reserves.len() == 2 {
            break;
        }
    }
    run
}

/// The first pieces of these models, each another.
fn pieces(state: &State, models: &[&str]) -> Vec<String> {
    let mut taken: Vec<String> = Vec::new();
    for model in models {
        let of = |it: &&std::sync::Arc<fettle::domain::state::Asset>| {
            it.model.as_str() == *model && !taken.iter().any(|known| known == it.asset.as_str())
        };
        let found = state.assets.values().find(of).unwrap_or_else(|| panic!("no {model}"));
        taken.push(found.asset.to_string());
    }
    taken
}

/// What is said of a barrel with these parts; gas leaves in line with the barrel where that is declared.
fn said(
    state: &State,
    technique: Technique,
    models: &[&str],
    way_out: bool,
) -> (Answer, Vec<(Rule, Verdict, String)>) {
    let all = pieces(state, models);
    let barrel = || EndOf { part: line(&all[0]), end: line("head") };
    let is_head =
        |asset: &String| state.assets.get(asset.as_str()).is_some_and(|it| it.model.as_str() == "head-r");
    // The head is put on the barrel, whether or not its system says so.
    let placed =
        |asset: &String| Placed { asset: line(asset), on: is_head(asset).then(barrel), through: None };
    let head = models.iter().position(|it| *it == "head-r").and_then(|n| all.get(n));
    let out = head.filter(|_| way_out).map(|head| EndOf { part: line(head), end: line("in line") });
    let configuration = Configuration {
        barrel: line(&all[0]),
        parts: all.iter().skip(1).map(placed).collect(),
        together: Vec::new(),
        way_out: out.into_iter().collect(),
    };
    let layout = lay_out(state, &configuration).expect("a layout");
    let setting = Setting { state, now: state.recorded_at, technique: Some(technique), case: None };
    let all = checks(&setting, &layout);
    let told = all.iter().map(|it| (it.rule, it.verdict, it.sentence.clone())).collect();
    (answer(&all), told)
}

#[test]
fn children_and_adults_can_be_equipped_and_the_next_smaller_barrel_too() {
    let run = founded();
    let state = run.state();
    let adult = ["scope-4", "grip-3"];
    let child = ["scope-2", "grip-2"];
    for (barrels, instruments) in
        [(["barrel-9", "barrel-8", "barrel-7"], adult), (["barrel-5", "barrel-4", "barrel-35"], child)]
    {
        for barrel in barrels {
            let mut jet = vec![barrel, "head-r", "jet-l", "cap-0"];
            jet.extend(instruments);
            let (answer, told) = said(state, Technique::JetOpen, &jet, true);
            assert_eq!(answer, Answer::Fits, "{barrel}, jet: {told:#?}");
            let mut closed = vec![barrel, "head-r", "conn-15", "cap-0", "cap-2"];
            closed.extend(instruments);
            let (answer, told) = said(state, Technique::ControlledClosed, &closed, false);
            assert_eq!(answer, Answer::Fits, "{barrel}, closed: {told:#?}");
        }
    }
    // A shorter telescope for the shorter tracheoscope (common practice).
    let short = ["trach-10", "head-r", "conn-15", "cap-0", "cap-2", "scope-4s", "grip-3"];
    assert_eq!(said(state, Technique::ControlledClosed, &short, false).0, Answer::Fits);
    let long = ["trach-10", "head-r", "conn-15", "cap-0", "cap-2", "scope-4", "grip-3"];
    let (answer, told) = said(state, Technique::ControlledClosed, &long, false);
    assert_eq!(answer, Answer::DoesNotFit);
    let fails: Vec<Rule> = told.iter().filter(|it| it.1 == Verdict::Fails).map(|it| it.0).collect();
    assert_eq!(fails, [Rule::TelescopeLength], "{told:#?}");
}

#[test]
fn one_thing_does_not_fit_and_of_one_nobody_knows() {
    let run = founded();
    let state = run.state();
    // The jaws of the optical forceps do not pass where their shaft would.
    let (answer, told) =
        said(state, Technique::JetOpen, &["barrel-7", "head-r", "jet-l", "cap-0", "grip-o"], true);
    let fails: Vec<&(Rule, Verdict, String)> = told.iter().filter(|it| it.1 == Verdict::Fails).collect();
    assert!(answer == Answer::DoesNotFit && fails.len() == 1 && fails[0].2.contains("7.4"), "{told:#?}");
    let (answer, told) =
        said(state, Technique::JetOpen, &["barrel-8", "head-r", "jet-l", "cap-0", "grip-o"], true);
    assert_eq!(answer, Answer::Fits, "{told:#?}");
    let (answer, told) =
        said(state, Technique::JetOpen, &["trach-12", "head-r", "jet-l", "cap-0", "scope-4s"], true);
    assert_eq!(answer, Answer::NotKnown, "{told:#?}");
    assert!(told.iter().any(|it| it.0 == Rule::Coupling && it.1 == Verdict::NotKnown), "{told:#?}");
    // Jet without a way out, whatever else fits.
    let (answer, _) =
        said(state, Technique::JetOpen, &["barrel-8", "head-r", "jet-l", "cap-0", "scope-4"], false);
    assert_eq!(answer, Answer::Stop);
}
