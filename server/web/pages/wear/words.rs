//! Numbers and their ranges as sentences: natural frequencies, no more decimals than the range bears, and what is not
//! known called so.

use crate::analysis::life::few::{Span, Weibayes, weibayes_from};
use crate::analysis::life::{Limits, Why};
use crate::domain::lifetime::{Clock, Piece};
use crate::domain::model::Family;
use crate::domain::outlook::Outlook;
pub use crate::domain::outlook::{about, about_percent};
use crate::web::pages::shared::count;

/// The shape that is assumed where failures are too few to tell one: parts that wear, neither early nor all at once.
pub const ASSUMED_SHAPE: f64 = 2.0;

/// So many decimals that the range is little more than twice their last place.
fn decimals(width: f64) -> usize {
    if !(width.is_finite() && width > 0.0) {
        return 0;
    }
    (0..=3).find(|places| 10f64.powi(-(*places as i32)) * 2.2 <= width).unwrap_or(3)
}

/// A number with its range, told alike.
pub struct Figure {
    pub value: String,
    pub low: String,
    /// None where nothing holds it from above.
    pub high: Option<String>,
}

pub fn figure(value: f64, limits: Limits) -> Figure {
    // Without an upper limit the distance to the lower one is all that is known of the width.
    let width = limits.high.map_or((value - limits.low).abs(), |high| high - limits.low);
    let places = decimals(width);
    let told = |number: f64| match number.is_finite() {
        true => format!("{number:.places$}"),
        false => "not known".into(),
    };
    Figure { value: told(value), low: told(limits.low), high: limits.high.map(told) }
}

impl Figure {
    /// "164 (plausible 60 to 272)".
    pub fn plausible(&self) -> String {
        format!("{} (plausible {})", self.value, self.range())
    }

    /// "60 to 272", "60 and more".
    pub fn range(&self) -> String {
        match &self.high {
            Some(high) => format!("{} to {high}", self.low),
            None => format!("{} and more", self.low),
        }
    }
}

/// A share as per cent, "9 % (4 to 15 %)".
pub fn percent(share: f64, limits: Option<Limits>) -> String {
    match limits {
        Some(limits) => {
            let limits = Limits { low: limits.low * 100.0, high: Some(limits.high.unwrap_or(1.0) * 100.0) };
            let told = figure(share * 100.0, limits);
            format!("{} % ({} %)", told.value, told.range())
        }
        None => about_percent(share),
    }
}

/// "cap", "caps"; "forceps" are both.
pub fn kind(family: Option<Family>, many: bool) -> String {
    let one = family.map_or_else(|| "part".into(), Family::words);
    if !many || one.ends_with('s') { one } else { format!("{one}s") }
}

pub fn counted(number: usize, family: Option<Family>) -> String {
    format!("{number} {}", kind(family, number != 1))
}

/// "500 cycles", "1 cycle".
pub fn ages(number: u32, clock: Clock) -> String {
    clock.told(number)
}

/// The same of a number that is told already.
pub fn aged(number: &str, clock: Clock) -> String {
    format!("{number} {}", clock.unit(number == "1"))
}

/// "10 failures among 20 caps, the oldest 500 cycles".
pub fn evidence(outlook: &Outlook, family: Option<Family>) -> String {
    format!(
        "{} among {}, the oldest {}",
        count(outlook.failures as usize, "failure", "failures"),
        counted(outlook.units(), family),
        ages(outlook.oldest, outlook.clock())
    )
}

fn assumed(outlook: &Outlook) -> Option<Weibayes> {
    let pieces = outlook.lives.pieces.iter().filter(|piece| !piece.failed_at_once());
    let span = |piece: &Piece| Span {
        entry: f64::from(piece.entry.min(piece.age)),
        age: f64::from(piece.age),
        count: 1,
    };
    let spans: Vec<Span> = pieces.map(span).collect();
    weibayes_from(ASSUMED_SHAPE, outlook.failures, &spans).ok().filter(|it| it.b10_at_least > 0.0)
}

/// Rates are told per so much age.
const PER: f64 = 1_000.0;

/// An upper limit, never told as less than it is.
fn at_most(number: f64) -> String {
    let places = if number < 0.1 {
        3
    } else if number < 10.0 {
        1
    } else {
        0
    };
    let scale = 10f64.powi(places);
    format!("{:.*}", places as usize, ((number * scale).ceil() / scale).max(1.0 / scale))
}

fn rate_words(outlook: &Outlook) -> String {
    let clock = outlook.clock();
    let (per, unit) = (PER, clock.name());
    let Some(rate) = outlook.rate() else {
        return "Nothing was gone through yet, so nothing can be said.".into();
    };
    match outlook.failures {
        0 => format!(
            "We can say, 95 % sure: fewer than {} failures per {per:.0} {unit}.",
            at_most(rate.at_most * per)
        ),
        _ => {
            let limits = Limits { low: rate.low * per, high: Some(rate.high * per) };
            let told = figure(rate.rate * per, limits);
            format!(
                "We can say, 95 % sure: {} failures per {per:.0} {unit}, at whatever age.",
                told.plausible()
            )
        }
    }
}

/// What an assumed shape would say; named as assumed.
fn assumed_words(outlook: &Outlook) -> Option<String> {
    let it = assumed(outlook)?;
    Some(format!(
        "If they wear with age as many such parts do (a shape of {ASSUMED_SHAPE:.0}, assumed and not seen here), 10 of 100 fail \
         no earlier than by {}.",
        aged(&format!("{:.0}", it.b10_at_least.floor()), outlook.clock())
    ))
}

/// "All 5 caps had failed before they had gone through anything".
fn failed_at_once(units: usize, family: Option<Family>) -> String {
    match units {
        1 => format!("The only {} had failed before it had gone through anything", kind(family, false)),
        _ => format!("All {} had failed before they had gone through anything", counted(units, family)),
    }
}

/// The oldest age of those that came whole.
fn lasted(outlook: &Outlook) -> u32 {
    let whole = outlook.lives.pieces.iter().filter(|piece| !piece.failed_at_once());
    whole.map(|piece| piece.age).max().unwrap_or(0)
}

/// The sentence that a model's page opens with.
pub fn sentence(outlook: &Outlook, family: Option<Family>) -> String {
    if let (Ok(_), Some((b10, limits))) = (&outlook.law, outlook.b10) {
        return format!(
            "Of 100 such {} about 10 fail by {} (plausible {}); {}.",
            kind(family, true),
            aged(&figure(b10, limits).value, outlook.clock()),
            figure(b10, limits).range(),
            evidence(outlook, family)
        );
    }
    // What had failed before it was watched is told apart, and is no survivor.
    let units = outlook.units() - outlook.at_once as usize;
    match outlook.failures {
        0 if units == 0 => {
            format!(
                "{} here: how long such {} last is not known.",
                failed_at_once(outlook.units(), family),
                kind(family, true)
            )
        }
        0 if units == 1 && outlook.at_once > 0 => format!(
            "1 of {} has not failed, at {}; the others had failed when they came.",
            counted(outlook.units(), family),
            ages(lasted(outlook), outlook.clock())
        ),
        0 if units == 1 => format!(
            "The only {} has not failed, at {}.",
            kind(family, false),
            ages(lasted(outlook), outlook.clock())
        ),
        0 => format!(
            "None of {} has failed, the oldest at {}.",
            counted(units, family),
            ages(lasted(outlook), outlook.clock())
        ),
        _ => {
            format!("{}: how long such {} last is not known.", evidence(outlook, family), kind(family, true))
        }
    }
}

/// What stands below the sentence: what is guessed, what is refused and why, and what can be said instead.
pub fn beside(outlook: &Outlook) -> Vec<String> {
    let mut said = Vec::new();
    match &outlook.law {
        Ok(law) => {
            if let Some((b10, _)) = outlook.b10.filter(|(b10, _)| *b10 > f64::from(outlook.oldest)) {
                said.push(format!(
                    "{} lies beyond the oldest age that was seen, {}: it is a guess by the shape of the curve.",
                    aged(&format!("{b10:.0}"), outlook.clock()),
                    outlook.oldest
                ));
            }
            said.push(wear_or_chance(law.beta_limits()));
        }
        Err(refused) if refused.why == Why::TooFewFailures => {
            said.push(match outlook.failures {
                0 => "Without a failure there is no curve.".into(),
                1 => "One failure is too few to tell wear from chance, and for a curve.".into(),
                many => format!("{many} failures are too few to tell wear from chance, and for a curve."),
            });
            said.push(rate_words(outlook));
            said.extend(assumed_words(outlook));
        }
        Err(refused) => {
            said.push(crate::web::pages::shared::capital(&refused.said));
            said.push(rate_words(outlook));
        }
    }
    match outlook.at_once {
        0 => {}
        1 => said.push("One piece was found to have failed before it had gone through anything here: a delivery or an entry to look at. It is not counted.".into()),
        many => said.push(format!("{many} pieces were found to have failed before they had gone through anything here: a delivery or an entry to look at. They are not counted.")),
    }
    said
}

/// What the range of the shape says: above 1 they wear, below 1 the young ones fail, else nobody can tell.
pub fn wear_or_chance(limits: Limits) -> String {
    let range = match limits.high {
        Some(high) => format!("{:.1} to {high:.1}", limits.low),
        None => format!("{:.1} and more", limits.low),
    };
    match (limits.low > 1.0, limits.high.is_some_and(|high| high < 1.0)) {
        (true, _) => {
            format!("The older they are, the sooner they fail (shape {range}, all above 1): they wear out.")
        }
        (_, true) => format!(
            "The young ones fail more than the old (shape {range}, all below 1): look at deliveries and first uses."
        ),
        _ => format!("Whether the old ones fail more than the young cannot be told (shape {range})."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::asset::Cause;
    use crate::domain::id::Id;
    use crate::domain::lifetime::{Failed, Lives, Seen};
    use crate::domain::outlook::Expected;

    fn limits(low: f64, high: f64) -> Limits {
        Limits { low, high: Some(high) }
    }

    #[test]
    fn no_decimal_goes_beyond_what_the_range_bears() {
        assert_eq!(figure(164.3, limits(60.2, 272.4)).plausible(), "164 (plausible 60 to 272)");
        assert_eq!(figure(2.04, limits(1.24, 3.41)).range(), "1.2 to 3.4");
        assert_eq!(figure(1.234, limits(1.222, 1.246)).value, "1.23");
        assert_eq!(figure(50.0, Limits { low: 12.0, high: None }).plausible(), "50 (plausible 12 and more)");
        assert_eq!(percent(0.09, Some(limits(0.04, 0.15))), "9 % (4 to 15 %)");
        assert_eq!(percent(0.006, Some(limits(0.003, 0.009))), "0.6 % (0.3 to 0.9 %)");
        assert_eq!(
            (about_percent(0.0), about_percent(0.034), about_percent(0.34)),
            ("under 0.1 %".into(), "3.4 %".into(), "34 %".into())
        );
        assert_eq!(
            figure(f64::NAN, limits(0.0, f64::INFINITY)).plausible(),
            "not known (plausible 0 to not known)"
        );
    }

    #[test]
    fn the_shape_is_told_as_what_it_means() {
        assert!(wear_or_chance(limits(1.2, 3.4)).contains("they wear out"));
        assert!(wear_or_chance(limits(0.3, 0.9)).contains("young ones fail more"));
        assert!(wear_or_chance(limits(0.7, 3.4)).contains("cannot be told"));
        let open = wear_or_chance(Limits { low: 1.3, high: None });
        assert!(open.contains("1.3 and more, all above 1"), "{open}");
    }

    fn outlook(pieces: &[(u32, u32, bool)]) -> Outlook {
        let piece = |(entry, age, failed): &(u32, u32, bool)| Piece {
            asset: Id::new("C-1").unwrap(),
            entry: *entry,
            age: *age,
            between: None,
            whole_at: *age,
            failed: failed.then_some(Failed {
                after: *age,
                by: *age,
                exact: true,
                seen: Seen::Retirement,
                cause: Cause::Worn,
            }),
            retired: failed.then_some(Cause::Worn),
            retired_at: None,
            supplier: None,
            method: None,
            missing: false,
            in_repair: false,
            seated: false,
        };
        let pieces: Vec<Piece> = pieces.iter().map(piece).collect();
        let at_once = pieces.iter().filter(|piece| piece.failed_at_once()).count();
        let lives = Lives { model: Id::new("cap").unwrap(), clock: Clock::Cycles, pieces };
        Outlook {
            failures: (lives.failures() - at_once) as u64,
            in_service: lives.in_service().count() as u32,
            oldest: lives.oldest(),
            at_once: at_once as u32,
            law: lives.fit(),
            b10: None,
            per_day: None,
            expected: Expected::Unknown,
            lives,
        }
    }

    #[test]
    fn what_had_failed_when_it_came_is_no_survivor() {
        let cap = Some(Family::Cap);
        let all = sentence(&outlook(&[(40, 40, true); 5]), cap);
        assert!(all.starts_with("All 5 caps had failed before they had gone through anything"), "{all}");
        let some = sentence(&outlook(&[(40, 40, true), (0, 9, false), (0, 7, false)]), cap);
        assert_eq!(some, "None of 2 caps has failed, the oldest at 9 cycles.");
        let one = sentence(&outlook(&[(40, 40, true), (0, 9, false)]), cap);
        assert!(one.starts_with("1 of 2 caps has not failed, at 9 cycles"), "{one}");
    }

    /// By hand: watched from 60 to 100 is as new to 80 (100^2 - 60^2 = 80^2).
    #[test]
    fn what_is_assumed_counts_from_the_age_of_entry() {
        let (late, new) = (assumed(&outlook(&[(60, 100, false)])), assumed(&outlook(&[(0, 80, false)])));
        let (late, new) = (late.unwrap().b10_at_least, new.unwrap().b10_at_least);
        assert!((late - new).abs() < 1e-9, "{late} {new}");
        let fresh = outlook(&[(60, 60, false), (30, 30, false)]);
        assert!(assumed(&fresh).is_none() && fresh.rate().is_none());
        let said = beside(&fresh).join(" ");
        assert!(said.contains("nothing can be said") && !said.contains("10 of 100"), "{said}");
    }

    #[test]
    fn kinds_are_counted_as_people_do() {
        assert_eq!(counted(2, Some(Family::Cap)), "2 caps");
        assert_eq!(counted(1, Some(Family::LightCable)), "1 light cable");
        assert_eq!(counted(3, Some(Family::Forceps)), "3 forceps");
        assert_eq!((ages(1, Clock::Cycles), ages(2, Clock::Days)), ("1 cycle".into(), "2 days".into()));
    }
}
