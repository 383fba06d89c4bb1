//! The site: what it is called, and the policies in force.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;

use super::shared::{Done, Page};
use crate::web::visitor::{Visitor, render};

pub struct Policy {
    /// As the form sends it, with its type.
    pub field: &'static str,
    pub label: &'static str,
    pub why: &'static str,
    pub value: String,
    pub yes_no: bool,
    /// The values to choose from, with their words; none where it is typed.
    pub choices: Vec<(&'static str, &'static str)>,
    /// The fields of the form: name, label, value.
    pub inputs: Vec<(&'static str, &'static str, String)>,
}

pub struct Reserve {
    pub sheet: String,
    pub name: String,
    pub minimum: u32,
}

#[derive(Template)]
#[template(path = "site.html")]
pub struct SitePage {
    pub page: Page,
    pub heading: String,
    pub id: String,
    pub zone: String,
    pub written: String,
    pub policies: Vec<Policy>,
    pub reserves: Vec<Reserve>,
}

fn yes_no(field: &'static str, label: &'static str, why: &'static str, yes: bool) -> Policy {
    let (value, choices) = (yes.to_string(), Vec::new());
    Policy { field, label, why, value, yes_no: true, choices, inputs: Vec::new() }
}

fn row(field: &'static str, label: &'static str, why: &'static str, value: String) -> Policy {
    Policy {
        inputs: vec![(field, label, value.clone())],
        field,
        label,
        why,
        value,
        yes_no: false,
        choices: Vec::new(),
    }
}

/// How often the machines are tested, and what an overdue test stops.
fn of_tests(policy: &crate::domain::site::Policy) -> Vec<Policy> {
    vec![
        yes_no(
            "two_people:bool",
            "Two people for a steriliser load",
            "Loader and releaser differ.",
            policy.two_people,
        ),
        yes_no(
            "solution_record:bool",
            "A record of the solution for each disinfection by hand",
            "Lot, use-by date, strength test, contact time and temperature; without it the step is refused.",
            policy.solution_record,
        ),
        row(
            "test_day_starts",
            "The test day starts at",
            "A night's loads stand on the test of the evening before.",
            policy.test_day_starts.0.format("%H:%M").to_string(),
        ),
        Policy {
            choices: vec![
                ("parametric", "Parametric release: none is due"),
                ("weekly", "Weekly"),
                ("daily", "On each test day"),
                ("each_load", "In each steriliser load"),
            ],
            ..row(
                "biological",
                "Biological indicator of sterilisers",
                "Implants, and programmes that ask for one in each load, need theirs whatever stands here.",
                policy.biological.name().to_string(),
            )
        },
        Policy {
            yes_no: true,
            ..row(
                "biological_overdue_stops:bool",
                "An overdue biological indicator stops releases",
                "Where one is due daily or weekly. Otherwise it is shown as due.",
                policy.biological_overdue_stops.to_string(),
            )
        },
        row(
            "leak_rate_every_days:int",
            "Leak rate of pre-vacuum sterilisers every … days",
            "1 for each day, 7 for weekly, 0 where it is not asked for here.",
            policy.leak_rate_every_days.unwrap_or(0).to_string(),
        ),
    ]
}

fn policies(policy: &crate::domain::site::Policy) -> Vec<Policy> {
    let mut all = of_tests(policy);
    all.extend(of_sink(policy));
    all.extend(of_planning(policy));
    all.extend(of_fit(policy));
    all.extend(of_marks(policy));
    all
}

/// Immediate use, and the clock at the sink.
fn of_sink(policy: &crate::domain::site::Policy) -> Vec<Policy> {
    vec![
        Policy {
            yes_no: true,
            ..row(
                "immediate_use_forbidden:bool",
                "Immediate-use sterilisation is forbidden",
                "Where it is not, it goes to one case, with a reason, and is never stored.",
                policy.immediate_use_forbidden.to_string(),
            )
        },
        row(
            "clean_within_minutes:int",
            "Cleaning begins within … minutes of the end of use",
            "For parts whose instructions name no time; 0 where it is not asked for here. Later, the delayed way.",
            policy.clean_within_minutes.unwrap_or(0).to_string(),
        ),
    ]
}

/// The marks that the site gives out, and the labels that it prints.
fn of_marks(policy: &crate::domain::site::Policy) -> Vec<Policy> {
    let marking = &policy.marking;
    let sizes: Vec<String> = marking.label_sizes.iter().map(ToString::to_string).collect();
    vec![
        row(
            "company_prefix",
            "GS1 company prefix",
            "4 to 12 digits that GS1 gave to the site; its own marks are then asset numbers (8004). Without one they are short codes.",
            marking.company_prefix.clone().unwrap_or_default(),
        ),
        row(
            "code_prefix",
            "Short codes begin with",
            "A capital letter, then digits and capital letters: the site's own marks where it has no company prefix.",
            marking.code_prefix.clone(),
        ),
        row(
            "label_sizes:commas",
            "Sizes of labels, in mm",
            "Width x height, with commas between them, as 38 x 19, 50 x 25.",
            sizes.join(", "),
        ),
    ]
}

/// What parts that fit are judged by, where no number was published.
fn of_fit(policy: &crate::domain::site::Policy) -> Vec<Policy> {
    vec![
        row(
            "telescope_cover_mm",
            "Telescope covered by, in mm",
            "Pulled back, its tip lies so far inside the barrel. A setting of the site; no published number was found.",
            policy.telescope_cover_mm.to_string(),
        ),
        row(
            "reach_mm",
            "Reach in mm",
            "Forceps and suction reach so far beyond the barrel's end. A setting of the site; no published number was found.",
            policy.reach_mm.to_string(),
        ),
        row(
            "cap_hole_ratio",
            "Cap hole, least share",
            "A cap's hole is at least this share of what is pushed through it, or it tears. From common practice.",
            policy.cap_hole_ratio.to_string(),
        ),
        row(
            "way_out_gap_mm",
            "Gap at the way out, in mm",
            "So much is left beside an instrument where an opening counts as open. From common practice; it says nothing of how gas flows.",
            policy.way_out_gap_mm.to_string(),
        ),
    ]
}

fn of_walls(policy: &crate::domain::site::Policy) -> Policy {
    let told = match policy.wall_addresses.as_slice() {
        [] => "none".into(),
        all => all.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
    };
    row(
        "wall_addresses:commas",
        "Addresses of wall displays that need no sign-in",
        "Between commas, as: 10.1.2.3, 10.1.2.16/28. Whoever stands there sees the wall, which names no patient. \
         \"none\" takes them away.",
        told,
    )
}

fn of_shifts(policy: &crate::domain::site::Policy) -> Policy {
    let hours: Vec<String> = policy.shift_starts.iter().map(|it| it.0.format("%H:%M").to_string()).collect();
    row(
        "shift_starts:commas",
        "Hours at which shifts begin",
        "In order, between commas, as: 07:00, 15:00, 22:00. The handover tells what began since the last one.",
        hours.join(", "),
    )
}

fn of_undo(policy: &crate::domain::site::Policy) -> Policy {
    row(
        "undo_minutes:int",
        "Minutes in which an own defect report may be taken back",
        "By the person who reported it; afterwards the lead corrects it.",
        policy.undo_minutes.to_string(),
    )
}

fn of_planning(policy: &crate::domain::site::Policy) -> Vec<Policy> {
    let [low, high] = policy.telescope_window_mm;
    let [thin, thick] = policy.wall_mm;
    vec![
        row(
            "turnaround_minutes:int",
            "Turnaround in minutes",
            "From a case's end until its set can be ready again, for planning.",
            policy.turnaround_minutes.to_string(),
        ),
        row(
            "clearance_mm",
            "Clearance in mm",
            "What must be left free in the lumen, for fit.",
            policy.clearance_mm.to_string(),
        ),
        Policy {
            inputs: vec![
                ("telescope_window_mm.0", "From, in mm", low.to_string()),
                ("telescope_window_mm.1", "To, in mm", high.to_string()),
            ],
            ..row(
                "telescope_window_mm",
                "Telescope window in mm",
                "Where the tip may lie, from the barrel's end: below zero before it, above zero beyond it.",
                format!("{low} to {high}"),
            )
        },
        Policy {
            inputs: vec![
                ("wall_mm.0", "From, in mm", thin.to_string()),
                ("wall_mm.1", "To, in mm", thick.to_string()),
            ],
            ..row(
                "wall_mm",
                "Plausible wall of a barrel in mm",
                "Half of outer less inner diameter; a model outside it is asked about before it is saved.",
                format!("{thin} to {thick}"),
            )
        },
        row(
            "retention_years:int",
            "Retention in years",
            "How long a patient's reference is kept.",
            policy.retention_years.to_string(),
        ),
        row(
            "idle_minutes:int",
            "Minutes without an act until a session ends",
            "A desk left alone signs itself out.",
            policy.idle_minutes.to_string(),
        ),
        of_walls(policy),
        of_shifts(policy),
        of_undo(policy),
        row(
            "check_lines:commas",
            "Lines of the function check beside those of the parts",
            "Between commas, as: foot switch, teeth guard. \"none\" takes them away.",
            match policy.check_lines.as_slice() {
                [] => "none".into(),
                lines => lines.iter().map(|line| line.0.as_str()).collect::<Vec<_>>().join(", "),
            },
        ),
    ]
}

impl SitePage {
    pub fn of(visitor: &Visitor, done: Option<u64>) -> SitePage {
        let state = &*visitor.state;
        let page = Page::of(visitor, "/site", "/site", done);
        let rule = match state.policy.two_people {
            true => "Two people load and release a steriliser",
            false => "One person may load and release a steriliser",
        };
        let starts = state.policy.test_day_starts.0.format("%H:%M");
        SitePage {
            heading: format!("{rule}; the test day starts at {starts}."),
            id: state.site.to_string(),
            zone: state.zone.name().to_string(),
            written: super::shared::when(state, state.recorded_at, visitor.now),
            policies: policies(&state.policy),
            reserves: state
                .sheets
                .values()
                .map(|sheet| Reserve {
                    sheet: sheet.count_sheet.to_string(),
                    name: sheet.name.0.clone(),
                    minimum: state.reserves.get(&sheet.count_sheet).copied().unwrap_or_default(),
                })
                .collect(),
            page,
        }
    }
}

pub async fn get(visitor: Visitor, Query(done): Query<Done>) -> Response {
    render(&SitePage::of(&visitor, done.seq()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::person::Role;
    use crate::web::pages::sample;

    #[test]
    fn policies_stand_with_their_values() {
        let mut visitor = sample::visitor();
        visitor.actor.role = Role::Admin;
        let text = sample::show("site", &SitePage::of(&visitor, Some(12)));
        assert!(text.contains("06:00") && text.contains("Recorded as entry 12."));
    }
}
