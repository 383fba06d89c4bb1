//! How large the plain numbers of a command may be. What is larger is a slip of the finger, and beyond 2^53 no number that
//! JSON carries safely: it is told as malformed, with what is needed, before anything is looked up.

use super::asset::AddAsset;
use super::command::{Act, Asset, Correct, Machine, Malformed, Model, Repair, Site, wrong};
use super::model::{self, Limits};
use super::sizes::{Doubt, Point};
use super::upkeep::{MOST_AGE, MOST_CENTS};

/// Days of a maker's interval or shelf life: a hundred years.
const MOST_DAYS: u32 = 36_525;
/// Seconds of cooling or of airing: a week.
const MOST_SECONDS: u32 = 7 * 24 * 3_600;
/// From the end of use to cleaning: a week, which is no clock any more.
const MOST_MINUTES: u32 = 7 * 24 * 60;
/// Sets of one count sheet that have to stay ready.
const MOST_SETS: u32 = 10_000;
/// The largest whole number that JSON carries safely (RFC 7493 section 2.2).
const MOST_ENTRIES: u64 = (1 << 53) - 1;

/// A field, what was told there, and the most that it may be.
type Told = (&'static str, Option<u64>, u64);

fn within(at: &str, all: &[Told]) -> Result<(), Malformed> {
    match all.iter().find(|(_, value, most)| value.is_some_and(|value| value > *most)) {
        Some((name, _, most)) => {
            let most = format!("{most}{}", unit(name));
            Err(wrong(format!("{at}/{name}"), format!("found more than {most}; 0 to {most} is needed")))
        }
        None => Ok(()),
    }
}

/// In what a field is told, by its name: a list that is brought in has a column in other units.
fn unit(name: &str) -> &'static str {
    match name.rsplit('_').next() {
        Some("cents") => " cents",
        Some("days") => " days",
        Some("s") => " s",
        _ => "",
    }
}

fn of(name: &'static str, value: Option<u32>, most: u32) -> Told {
    (name, value.map(u64::from), most.into())
}

fn limits(it: &Limits) -> [Told; 5] {
    [
        of("max_cycles", it.max_cycles, MOST_AGE),
        of("max_uses", it.max_uses, MOST_AGE),
        of("inspect_every_cycles", it.inspect_every_cycles, MOST_AGE),
        of("inspect_every_days", it.inspect_every_days, MOST_DAYS),
        of("shelf_life_days", it.shelf_life_days, MOST_DAYS),
    ]
}

/// Whether a command can be meant: its form, and then the numbers whose size nothing else looks at.
pub(super) fn whole(act: &Act) -> Result<(), Malformed> {
    act.whole()?;
    match act {
        Act::Asset(Asset::AddAsset(it)) => within(
            "",
            &[
                of("prior_cycles", it.prior_cycles, MOST_AGE),
                of("prior_uses", it.prior_uses, MOST_AGE),
                ("cost_cents", it.cost_cents, MOST_CENTS),
            ],
        ),
        Act::Repair(Repair::Back(it)) => within("", &[("cost_cents", it.cost_cents, MOST_CENTS)]),
        Act::Model(Model::DefineModel(it)) => {
            let minutes = of("clean_within_minutes", it.processing.clean_within_minutes, MOST_MINUTES);
            within("/processing", &[minutes])?;
            let order = it.assembly.as_ref().and_then(|assembly| assembly.order);
            within("/assembly", &[of("order", order, MOST_AGE)])?;
            within("/limits", &limits(&it.limits))
        }
        Act::Machine(Machine::DefineMachine(it)) => {
            let mut programmes = it.programmes.iter().enumerate();
            programmes.try_for_each(|(n, it)| {
                let seconds = [
                    of("cooling_s", it.cooling_s, MOST_SECONDS),
                    of("aeration_s", it.aeration_s, MOST_SECONDS),
                ];
                within(&format!("/programmes/{n}"), &seconds)
            })
        }
        Act::Site(Site::SetReserve(it)) => within("", &[of("minimum", Some(it.minimum), MOST_SETS)]),
        Act::Correct(Correct::Entry(it)) => within("", &[("entry", Some(it.entry), MOST_ENTRIES)]),
        _ => Ok(()),
    }
}

/// What looks wrong in the age that a new part comes with: it is beyond what its maker allows.
pub(super) fn doubts(model: &model::Model, it: &AddAsset) -> Vec<Doubt> {
    let both = [
        ("/prior_cycles", it.prior_cycles, model.limits.max_cycles, "cycles"),
        ("/prior_uses", it.prior_uses, model.limits.max_uses, "uses"),
    ];
    let beyond = both.into_iter().filter_map(|(pointer, prior, limit, unit)| {
        let (prior, limit) = prior.zip(limit).filter(|(prior, limit)| prior > limit)?;
        let found = format!("{prior} {unit} behind a part whose maker allows {limit}");
        let needed = "look whether it is the age of this very part, in this unit; it is due to be replaced";
        Some(Point::new(pointer, found, needed).doubt())
    });
    beyond.chain(of_mark(it)).collect()
}

/// A mark that many pieces carry, or that does not read: it is kept, and a scan may not find this part by it.
fn of_mark(it: &AddAsset) -> Option<Doubt> {
    let (found, needed) = super::mark::doubt(it.mark.as_ref()?.as_str())?;
    Some(Point::new("/mark", found, needed).doubt())
}
