//! The drawings of a set-up sheet, from the answer on its parts.

use super::drawing::chain::{Chain, Holds, Link, Stage};
use super::drawing::lumen::{Lumen, Lying};
use super::drawing::reach::{At, Reach};
use super::setup_rows::{called, called_at, joints, together};
use crate::domain::fit::{Fit, TelescopeAt, Together, Verdict};
use crate::domain::fit_part::{FitPart, Joint};
use crate::domain::fit_size::named as piece_named;
use crate::domain::model::Family;

/// A drawing, and the same in words.
pub struct Drawing {
    pub svg: String,
    pub told: String,
    pub caption: String,
}

fn barrel(fit: &Fit) -> Option<&FitPart> {
    fit.parts.iter().find(|part| part.family.is_barrel())
}

fn lumen(fit: &Fit, group: &Together, at: usize) -> Drawing {
    let barrel = barrel(fit);
    let circle = |part: usize| group.circles.iter().find(|circle| circle.part == part);
    let lying = |part: &usize| {
        let found = fit.parts.get(*part)?;
        let shaft = found.sizes.shaft.as_ref().or(found.sizes.widest.as_ref());
        let r_mm = circle(*part).map(|circle| circle.r_mm).or(shaft.map(|size| size.used_mm / 2.0))?;
        Some(Lying {
            name: found.family.words(),
            note: called(found),
            r_mm,
            at_mm: circle(*part).map(|circle| (circle.x_mm, circle.y_mm)),
        })
    };
    let line = together(fit, group);
    let drawn = Lumen {
        barrel: barrel.map(called).unwrap_or_default(),
        inner_mm: group.lumen_mm,
        outer_mm: barrel.and_then(|barrel| barrel.sizes.outer.as_ref()).map(|size| size.used_mm),
        clearance_mm: group.clearance_mm,
        spare_mm: group.spare_mm,
        lying: group.parts.iter().filter_map(lying).collect(),
        says: format!("{}: {}.", line.what, line.words),
    };
    Drawing {
        svg: drawn.drawn(&format!("lumen-{at}")),
        told: drawn.told(),
        caption: format!("{}: {}", line.what, line.words),
    }
}

pub fn lumens(fit: &Fit) -> Vec<Drawing> {
    fit.together.iter().enumerate().map(|(at, group)| lumen(fit, group, at)).collect()
}

/// What a telescope goes in through: the cap on its opening, or the part whose opening it is where none sits there.
fn mouth(fit: &Fit, telescope: usize) -> String {
    let through = fit.parts.get(telescope).and_then(|part| part.through.as_ref());
    let on = through.and_then(|end| fit.joints.iter().find(|joint| joint.inner == *end));
    let outermost = on.map(|joint| joint.outer_part).or(through.map(|end| end.part));
    let family = outermost.and_then(|at| fit.parts.get(at)).map(|part| short_family(part.family));
    family.map_or_else(|| "the opening".into(), |family| format!("the {family}"))
}

fn reach(fit: &Fit, telescope: &TelescopeAt, at: usize) -> Drawing {
    let position = |at: &crate::domain::fit::Position| At { out_mm: at.out_mm, tip_mm: at.tip_mm };
    let drawn = Reach {
        telescope: called_at(fit, telescope.part),
        mouth: mouth(fit, telescope.part),
        barrel: barrel(fit).map(called).unwrap_or_default(),
        working_length_mm: telescope.working_length_mm,
        barrel_mm: telescope.barrel_length_mm,
        stack_mm: telescope.stack_mm,
        working: position(&telescope.full),
        back: position(&telescope.back),
    };
    let caption = format!("{} against {}, to scale", drawn.telescope, drawn.barrel);
    Drawing { svg: drawn.drawn(&format!("reach-{at}")), told: drawn.told(), caption }
}

pub fn reaches(fit: &Fit) -> Vec<Drawing> {
    fit.telescopes.iter().enumerate().map(|(at, telescope)| reach(fit, telescope, at)).collect()
}

fn link(fit: &Fit, at: usize, joint: &Joint) -> Link {
    Link {
        holds: match joint.verdict {
            Verdict::Holds | Verdict::Warns => Holds::Yes,
            Verdict::NotKnown => Holds::NotKnown,
            Verdict::Fails | Verdict::Stops => Holds::No,
        },
        system: joints(fit).get(at).map(|line| line.words.clone()).unwrap_or_default(),
    }
}

fn named(fit: &Fit, part: usize) -> String {
    let found = fit.parts.get(part);
    let name = |part: &FitPart| match (part.family, &part.asset) {
        (Family::Cap, Some(asset)) => piece_named(part.family, asset),
        _ => format!("{} {}", short_family(part.family), called(part)),
    };
    found.map(name).unwrap_or_default()
}

fn short_family(family: Family) -> String {
    match family {
        Family::AnaesthesiaConnector => "connector".into(),
        Family::JetAdapter => "jet".into(),
        Family::PortAdapter => "adapter".into(),
        Family::Bronchoscope | Family::Tracheoscope => "barrel".into(),
        other => other.words(),
    }
}

/// The way from the connector, or else from the part that is farthest out, down to the barrel, with what else sits on it.
pub fn chain(fit: &Fit) -> Option<Drawing> {
    let below = |part: usize| fit.joints.iter().enumerate().find(|(_, joint)| joint.outer_part == part);
    let way = |mut part: usize| {
        let mut way = vec![part];
        while let Some((_, joint)) = below(part).filter(|(_, joint)| !way.contains(&joint.inner.part)) {
            part = joint.inner.part;
            way.push(part);
        }
        way
    };
    let first = |family: Family| fit.parts.iter().position(|part| part.family == family && part.on.is_some());
    let farthest = || (0..fit.parts.len()).max_by_key(|part| way(*part).len());
    let start =
        first(Family::AnaesthesiaConnector).or_else(|| first(Family::JetAdapter)).or_else(farthest)?;
    let way = way(start);
    let stage = |part: &usize| {
        let on_it = fit.joints.iter().enumerate().filter(|(_, joint)| joint.inner.part == *part);
        let beside = on_it.filter(|(_, joint)| !way.contains(&joint.outer_part));
        Stage {
            name: super::shared::capital(&named(fit, *part)),
            below: below(*part).map(|(at, joint)| link(fit, at, joint)),
            beside: beside
                .map(|(at, joint)| {
                    (link(fit, at, joint), super::shared::capital(&named(fit, joint.outer_part)))
                })
                .collect(),
        }
    };
    let drawn = Chain { stages: way.iter().map(stage).collect() };
    let caption = "The joints, from the connector down to the barrel".to_string();
    (drawn.stages.len() > 1).then(|| Drawing { svg: drawn.drawn("chain"), told: drawn.told(), caption })
}
