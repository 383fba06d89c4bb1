//! What is chosen for a case. The choice asks permission, and is refused where the parts do not fit; what was put together
//! all the same is recorded as it was, with what stood against it.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::case::Case;
use super::configuration::{Configuration, EndOf, Placed};
use super::deciding::Deciding;
use super::event::What;
use super::fit::{Answer, Fit};
use super::fit_judge::{Setting, judge};
use super::fit_layout::{End, Layout, lay_out};
use super::fit_ready::spent;
use super::id::Id;
use super::planning::{cancelled, known_case};
use super::refusal::{Code, Problem};
use super::scan::kept_back;
use super::state::{Asset, State};
use super::text::Line;

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChooseConfiguration {
    pub case: Id,
    pub configuration: Configuration,
    /// It was put together so already: a fact.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done: Option<bool>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ConfigurationChosen {
    pub case: Id,
    /// With every place that was taken from the couplings.
    pub configuration: Configuration,
    /// What was said of it then.
    pub answer: Answer,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub done: bool,
}

pub(super) fn choose(deciding: &mut Deciding, it: &ChooseConfiguration) -> Option<What> {
    let case = known_case(deciding, &it.case)?;
    let done = it.done == Some(true);
    let mut problems: Vec<Problem> = cancelled(&case).into_iter().collect();
    if case.cancelled.is_none() && !case.is_open() {
        problems.push(Problem::new(
            Code::OutOfOrder,
            format!("Case {} is over.", it.case),
            "A case that is still to come, or under way, is needed.",
            "Choose another case, or enter it as a late fact, with its cause.",
        ));
    }
    let state = deciding.state;
    let layout = match lay_out(state, &it.configuration) {
        Ok(layout) => layout,
        Err(problems) => {
            // What can't be read is no fact either.
            problems.into_iter().for_each(|problem| deciding.against(problem.even_late()));
            return None;
        }
    };
    for asset in layout.pieces.iter().filter_map(|piece| piece.asset) {
        problems.extend(against_piece(state, &case, asset));
    }
    let fit = judge(&Setting::of_case(state, &case, deciding.at()), &layout);
    problems.extend(against_fit(&fit));
    for problem in problems {
        if done && !problem.code.binds_facts() {
            deciding.deviates(problem.code);
        } else {
            deciding.against(problem);
        }
    }
    let configuration = Configuration::of(&layout)?;
    Some(What::ConfigurationChosen(ConfigurationChosen {
        case: it.case.clone(),
        configuration,
        answer: fit.answer,
        done: done || deciding.late(),
    }))
}

/// What stands against a piece for a case: not in the house, on hold, spent, or chosen or kept for another case.
fn against_piece(state: &State, case: &Case, asset: &Asset) -> Vec<Problem> {
    let mut problems: Vec<Problem> = kept_back(state, asset).collect();
    // What is out at the case is its own.
    if case.parts.get(&asset.asset).is_some_and(|part| part.out) {
        return problems;
    }
    if spent(state, asset) && asset.retired.is_none() {
        let problem = Problem::new(
            Code::LimitReached,
            format!("The maker's limit leaves {} no further case.", asset.called()),
            "A part with life left is needed.",
            "Choose another one, or let the lead set the limit aside with a reason.",
        );
        problems.push(problem.open_to_override());
    }
    problems.extend(state.chosen_elsewhere([&asset.asset], None, case));
    let set = asset.seat.as_ref().map(|seat| &seat.set);
    let kept = set.and_then(|set| state.kept_elsewhere(set, case));
    problems.extend(kept);
    problems
}

/// Why a configuration is not chosen by its fit.
pub fn against_fit(fit: &Fit) -> Option<Problem> {
    let (needed, next) = match fit.answer {
        Answer::Fits => return None,
        Answer::NotKnown => (
            "Parts are chosen where everything about their fit is known.",
            "Enter the missing size, or try the parts together and record it with confirm_fit; or choose other parts.",
        ),
        Answer::DoesNotFit => (
            "Parts are chosen that fit together.",
            "Choose other parts; the sheet of the case offers what fits.",
        ),
        Answer::Stop => (
            "With jet ventilation a declared way out for gas stays open.",
            "Leave an opening free and declare it as the way out. If it was put together so, record it as done.",
        ),
    };
    Some(Problem::new(Code::NotFitting, fit.sentence.clone(), needed, next))
}

impl Configuration {
    /// A configuration with every place said, as it is put together. `None` where a part is no piece of the house.
    pub fn of(layout: &Layout) -> Option<Configuration> {
        let name = |n: usize| -> Option<Line> { Some(Line(layout.pieces.get(n)?.id()?.to_string())) };
        let end = |end: End| -> Option<EndOf> {
            Some(EndOf { part: name(end.0)?, end: layout.coupling(end)?.end.clone() })
        };
        let placed = |n: usize| -> Option<Placed> {
            let on = layout.mount(n).and_then(|mount| end(mount.on));
            let through = layout.entry(n).and_then(end).filter(|_| on.is_none());
            Some(Placed { asset: name(n)?, on, through })
        };
        let group = |group: &Vec<usize>| group.iter().map(|n| name(*n)).collect::<Option<Vec<Line>>>();
        Some(Configuration {
            barrel: name(0)?,
            parts: (1..layout.pieces.len()).map(placed).collect::<Option<_>>()?,
            together: layout.together.iter().map(group).collect::<Option<_>>()?,
            way_out: layout.way_out.iter().map(|it| end(*it)).collect::<Option<_>>()?,
        })
    }
}
