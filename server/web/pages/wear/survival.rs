//! The picture of lives: of 100 pieces, how many are still whole at each age. What was seen as steps with its range, the
//! fitted law as a smooth line, pieces that left without failing as bars, those in service as rings at their present
//! age, and below the axis how many pieces stand behind it.

use std::collections::BTreeMap;

use crate::web::pages::plot::axis::{Axis, plain, ticks};
use crate::web::pages::plot::ink::{Anchor, Ink, Point, escaped, width_of};

/// Below so many pieces at risk the steps are dashed: too few to go by.
pub const FEW_AT_RISK: u64 = 10;

/// What is known at an age at which something failed: shares from 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    pub age: f64,
    pub at_risk: u64,
    pub whole: f64,
    pub low: f64,
    pub high: f64,
}

/// The fitted law's share of whole pieces at an age.
pub type Law<'a> = &'a dyn Fn(f64) -> f64;

/// What is drawn.
pub struct Lives<'a> {
    pub steps: Vec<Seen>,
    /// The age from which the shares count: that of a new piece, or the first at which enough are known.
    pub start: f64,
    /// The oldest age that was reached.
    pub oldest: f64,
    pub law: Option<Law<'a>>,
    /// Ages at which pieces left without having failed.
    pub left: Vec<f64>,
    /// Present ages of those in service.
    pub now: Vec<f64>,
    /// Entry and exit of every piece, for the row of numbers at risk.
    pub spans: Vec<(f64, f64)>,
    /// The maker's limit, where there is one.
    pub limit: Option<f64>,
    /// "cycles", "uses" or "days".
    pub unit: &'static str,
}

/// How large it is drawn; the letters keep their size.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Size {
    Page,
    Phone,
}

const FONT: f64 = 14.0;

struct Layout {
    width: f64,
    height: f64,
    age: Axis,
    share: Axis,
    ticks: usize,
}

fn layout(lives: &Lives<'_>, size: Size) -> Layout {
    let (width, height, ticks) = match size {
        Size::Page => (860.0, 400.0, 10),
        Size::Phone => (350.0, 330.0, 4),
    };
    let end = lives.oldest.max(lives.limit.unwrap_or(0.0)).max(lives.start + 1.0);
    let end = if end.is_finite() { end } else { lives.start + 1.0 };
    // A little room, so that what stands at the end is not cut.
    let age = Axis { low: 0.0, high: end * 1.04, from: 46.0, to: width - 14.0 };
    let share = Axis { low: 0.0, high: 100.0, from: height - FONT * 5.0, to: FONT * 2.0 };
    Layout { width, height, age, share, ticks }
}

impl Layout {
    fn at(&self, age: f64, share: f64) -> Point {
        (self.age.place(age), self.share.place(share * 100.0))
    }
}

impl Lives<'_> {
    /// The observed share at an age; 1 before the first failure.
    fn whole_at(&self, age: f64) -> f64 {
        self.steps.iter().take_while(|step| step.age <= age).last().map_or(1.0, |step| step.whole)
    }

    fn at_risk(&self, age: f64) -> usize {
        self.spans.iter().filter(|(entry, exit)| *entry < age.max(1e-9) && age <= *exit).count()
    }

    /// The corners of the steps of one bound, from the start to the oldest age, with whether few are at risk there.
    fn corners(&self, of: impl Fn(&Seen) -> f64) -> Vec<(f64, f64)> {
        let mut corners = vec![(self.start, 1.0)];
        let mut before = 1.0;
        for step in &self.steps {
            corners.push((step.age, before));
            before = of(step);
            corners.push((step.age, before));
        }
        if self.oldest > self.steps.last().map_or(self.start, |step| step.age) {
            corners.push((self.oldest, before));
        }
        corners
    }

    /// The first age after which fewer pieces are at risk than one should go by.
    fn few_from(&self) -> f64 {
        let mut exits: Vec<f64> = self.spans.iter().map(|(_, exit)| *exit).collect();
        exits.sort_by(|a, b| b.total_cmp(a));
        exits.get(FEW_AT_RISK as usize - 1).copied().unwrap_or(self.start).max(self.start)
    }
}

/// The picture with its title and what it says for those who do not see it.
pub fn svg(lives: &Lives<'_>, size: Size, id: &str, title: &str, told: &str) -> String {
    let layout = layout(lives, size);
    let mut ink = Ink::default();
    axes(&mut ink, lives, &layout);
    band(&mut ink, lives, &layout);
    limit(&mut ink, lives, &layout);
    law(&mut ink, lives, &layout);
    steps(&mut ink, lives, &layout);
    marks(&mut ink, lives, &layout);
    let (title, told) = (escaped(title), escaped(told));
    let (width, height) = (layout.width, layout.height);
    format!(
        r#"<svg class="plot lifetimes" role="img" aria-labelledby="{id}-title {id}-told" viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg"><title id="{id}-title">{title}</title><desc id="{id}-told">{told}</desc>{}</svg>"#,
        ink.text
    )
}

fn axes(ink: &mut Ink, lives: &Lives<'_>, layout: &Layout) {
    let (left, right) = (layout.age.from, layout.age.to);
    let (top, bottom) = (layout.share.to, layout.share.from);
    for share in [0.0, 25.0, 50.0, 75.0, 100.0] {
        let y = layout.share.place(share);
        ink.line("grid", (left, y), (right, y));
        ink.say("tick", (left - 6.0, y), Anchor::End, FONT, &plain(share, 1.0));
    }
    ink.say("tick strong", (2.0, FONT * 0.7), Anchor::Start, FONT, "still whole, of 100");
    let found = ticks(layout.age.low, layout.age.high, layout.ticks);
    let row = bottom + FONT * 4.1;
    let mut free = f64::NEG_INFINITY;
    for age in &found.at {
        let x = layout.age.place(*age);
        ink.line("grid", (x, top), (x, bottom + 4.0));
        ink.say("tick", (x, bottom + FONT), Anchor::Middle, FONT, &plain(*age, found.step));
        let risk = lives.at_risk(*age).to_string();
        let half = width_of(&risk, FONT) / 2.0;
        // A number that would run into its neighbour is left out; the table has them all.
        if *age <= lives.oldest && x - half > free {
            ink.say("tick", (x, row), Anchor::Middle, FONT, &risk);
            free = x + half + 3.0;
        }
    }
    ink.say("tick strong", (right, bottom + FONT * 2.1), Anchor::End, FONT, lives.unit);
    ink.say("tick strong", (2.0, bottom + FONT * 2.9), Anchor::Start, FONT, "pieces behind the line, by age");
    ink.area("frame", (left, top), (right, bottom));
}

fn band(ink: &mut Ink, lives: &Lives<'_>, layout: &Layout) {
    if lives.steps.is_empty() {
        return;
    }
    let high = lives.corners(|step| step.high);
    let low = lives.corners(|step| step.low);
    let around = high.iter().chain(low.iter().rev()).map(|(age, share)| Some(layout.at(*age, *share)));
    ink.path("range", around);
    for edge in [&high, &low] {
        ink.path("edge", edge.iter().map(|(age, share)| Some(layout.at(*age, *share))));
    }
}

fn limit(ink: &mut Ink, lives: &Lives<'_>, layout: &Layout) {
    let Some(limit) = lives.limit.filter(|limit| layout.age.holds(*limit)) else { return };
    let (x, words) = (layout.age.place(limit), "maker's limit");
    ink.line("limit", (x, layout.share.to), (x, layout.share.from));
    let (anchor, at) = if x + width_of(words, FONT) < layout.age.to {
        (Anchor::Start, x + 5.0)
    } else {
        (Anchor::End, x - 5.0)
    };
    ink.say("mark", (at, layout.share.to + FONT), anchor, FONT, words);
}

/// The smooth line, solid in its dashes up to the oldest age and dotted beyond it.
fn law(ink: &mut Ink, lives: &Lives<'_>, layout: &Layout) {
    const POINTS: usize = 120;
    let Some(law) = lives.law else { return };
    let end = layout.age.high;
    let place = |n: usize| lives.start + (end - lives.start) * n as f64 / POINTS as f64;
    let point = |age: f64| {
        let share = law(age);
        share.is_finite().then(|| layout.at(age, share.clamp(0.0, 1.0)))
    };
    let (within, beyond): (Vec<f64>, Vec<f64>) =
        (0..=POINTS).map(place).partition(|age| *age <= lives.oldest);
    ink.path("law", within.iter().copied().chain([lives.oldest]).map(point));
    ink.path("law guessed", std::iter::once(lives.oldest).chain(beyond).map(point));
}

fn steps(ink: &mut Ink, lives: &Lives<'_>, layout: &Layout) {
    let corners = lives.corners(|step| step.whole);
    let few = lives.few_from();
    let at = |(age, share): &(f64, f64)| Some(layout.at(*age, *share));
    let share = lives.whole_at(few);
    let sure = corners.iter().filter(|(age, _)| *age <= few).map(at);
    ink.path("curve seen", sure.chain([at(&(few.min(lives.oldest.max(lives.start)), share))]));
    if few < lives.oldest {
        let unsure = corners.iter().filter(|(age, _)| *age > few).map(at);
        ink.path("curve seen few", std::iter::once(at(&(few, share))).chain(unsure));
    }
}

/// Bars where pieces left without failing, rings where those in service are now: one for each place that can be told
/// apart.
fn marks(ink: &mut Ink, lives: &Lives<'_>, layout: &Layout) {
    const APART: f64 = 3.0;
    let columns = |ages: &[f64]| -> BTreeMap<i64, f64> {
        ages.iter()
            .filter(|age| age.is_finite() && **age >= lives.start)
            .map(|age| ((layout.age.place(*age) / APART) as i64, *age))
            .collect()
    };
    for age in columns(&lives.left).into_values() {
        let (x, y) = layout.at(age, lives.whole_at(age));
        ink.line("left", (x, y - 6.0), (x, y + 6.0));
    }
    for age in columns(&lives.now).into_values() {
        ink.circle("on", layout.at(age, lives.whole_at(age)), 4.0);
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::web::pages::plot::tests::{texts_inside, well_formed};

    fn lives(steps: Vec<Seen>, spans: Vec<(f64, f64)>) -> Lives<'static> {
        let oldest = spans.iter().map(|(_, exit)| *exit).fold(0.0, f64::max);
        let now = spans.iter().map(|(_, exit)| *exit).collect();
        Lives {
            steps,
            start: 0.0,
            oldest,
            law: None,
            left: vec![oldest / 2.0],
            now,
            spans,
            limit: None,
            unit: "cycles",
        }
    }

    fn seen(age: f64, at_risk: u64, whole: f64) -> Seen {
        Seen { age, at_risk, whole, low: whole * 0.8, high: (whole * 1.2).min(1.0) }
    }

    fn drawn(lives: &Lives<'_>) -> String {
        let all: Vec<String> = [Size::Page, Size::Phone]
            .map(|size| {
                let text = svg(lives, size, "t", "Lives of <caps>", "Of 100 \"caps\" 10 fail.");
                well_formed(&text).unwrap();
                assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
                let layout = layout(lives, size);
                texts_inside(&text, (layout.width, layout.height));
                text
            })
            .into();
        all.join("\n")
    }

    #[test]
    fn steps_are_dashed_where_few_pieces_stand_behind_them() {
        let spans: Vec<(f64, f64)> = (1..=20).map(|n| (0.0, f64::from(n) * 20.0)).collect();
        let mut it = lives(vec![seen(100.0, 16, 0.9), seen(300.0, 6, 0.7)], spans);
        let text = drawn(&it);
        assert!(
            text.contains("curve seen few")
                && text.contains("class=\"range\"")
                && text.contains("class=\"left\"")
        );
        // Twenty are at risk at first, ten at 220 cycles, as many rings as pieces.
        assert!(text.contains(">20</text>") && it.at_risk(220.0) == 10 && it.few_from() == 220.0);
        assert_eq!(text.matches("class=\"on\"").count(), 2 * 20);
        let law = |age: f64| (-(age / 300.0).powi(2)).exp();
        it.law = Some(&law);
        it.limit = Some(600.0);
        let text = drawn(&it);
        assert!(text.contains("law guessed") && text.contains("maker&#39;s limit"), "{text}");
    }

    #[test]
    fn what_says_nothing_can_be_drawn_all_the_same() {
        for spans in [
            vec![],
            vec![(0.0, 0.0)],
            vec![(0.0, 1.0)],
            vec![(48.0, 48.0); 3],
            vec![(0.0, f64::from(u32::MAX))],
        ] {
            drawn(&lives(vec![], spans));
        }
        // All failed at once, and at age 0.
        drawn(&lives(vec![seen(0.0, 3, 0.0)], vec![(0.0, 0.0); 3]));
        drawn(&lives(vec![seen(50.0, 3, 0.0)], vec![(0.0, 50.0); 3]));
        let nan = |_: f64| f64::NAN;
        let mut broken = lives(vec![], vec![(0.0, 10.0)]);
        broken.law = Some(&nan);
        drawn(&broken);
    }
}
