//! The lumen of a barrel drawn to scale, with the instruments that lie in it together.

use std::fmt::Write;

use super::super::plot::ink::{Anchor, Ink, Point, cut};
use super::{FONT, SMALL, WIDTH, framed, mm, scale_bar, scale_bar_mm};
use crate::domain::fit_size::spare_mm;

/// An instrument in the lumen.
pub struct Lying {
    /// What people call it, and its name or mark.
    pub name: String,
    pub note: String,
    pub r_mm: f64,
    /// Its centre, that of the lumen being the origin; none where the instruments do not lie in it together.
    pub at_mm: Option<Point>,
}

pub struct Lumen {
    pub barrel: String,
    pub inner_mm: f64,
    /// Of the barrel, where it is known.
    pub outer_mm: Option<f64>,
    pub clearance_mm: f64,
    /// What is left; negative where it is too narrow.
    pub spare_mm: f64,
    pub lying: Vec<Lying>,
    /// The answer in words.
    pub says: String,
}

/// The middle of the lumen in the drawing, and the radius that the barrel may take.
const MIDDLE: Point = (104.0, 104.0);
const RADIUS: f64 = 98.0;
/// Where the names begin.
const NAMES: f64 = 212.0;
const NAME_MOST: usize = 16;
const STEP: f64 = 42.0;
/// Closer than this the name and the size of an instrument have one line between them.
const TWO_LINES: f64 = 34.0;

/// The letter that stands in a circle and before its name.
pub fn letter(at: usize) -> String {
    char::from_u32('A' as u32 + at as u32).unwrap_or('?').to_string()
}

impl Lumen {
    /// What the drawing shows, in sentences.
    pub fn told(&self) -> String {
        let outer = self.outer_mm.map_or(String::new(), |outer| format!(", outer {} mm", mm(outer)));
        let mut told = format!("To scale. {}: inner diameter {} mm{outer}.", self.barrel, mm(self.inner_mm));
        for (at, lying) in self.lying.iter().enumerate() {
            let place = match lying.at_mm {
                Some((x, y)) => format!("centre {} mm across and {} mm up", mm(x), mm(y)),
                None => "drawn beside the lumen".into(),
            };
            let _ = write!(told, " {}: {}, {} mm, {place}.", letter(at), lying.name, mm(2.0 * lying.r_mm));
        }
        if self.clearance_mm > 0.0 {
            let _ = write!(told, " Kept free by the site's rule: {} mm.", mm(self.clearance_mm));
        }
        let _ = write!(told, " {}", self.says);
        told
    }

    pub fn drawn(&self, id: &str) -> String {
        let widest = self.outer_mm.unwrap_or(self.inner_mm).max(self.inner_mm);
        let per_mm = 2.0 * RADIUS / widest;
        let mut ink = Ink::default();
        if self.outer_mm.is_some_and(|outer| outer > self.inner_mm) {
            ink.circle("wall", MIDDLE, RADIUS);
        }
        ink.circle("bore", MIDDLE, self.inner_mm / 2.0 * per_mm);
        let is_inside = self.lying.iter().all(|lying| lying.at_mm.is_some());
        if self.clearance_mm > 0.0 {
            ink.circle("clearance", MIDDLE, (self.inner_mm - self.clearance_mm).max(0.0) / 2.0 * per_mm);
        }
        let mut below = 2.0 * MIDDLE.1 + 14.0;
        if is_inside {
            self.inside(&mut ink, per_mm);
        } else {
            below += self.beside(&mut ink, per_mm, below);
        }
        self.names(&mut ink, is_inside, per_mm);
        scale_bar(&mut ink, (8.0, below + 4.0), scale_bar_mm(widest), per_mm);
        let spare = if self.spare_mm < 0.0 {
            format!("{} too narrow", spare_mm(-self.spare_mm))
        } else {
            format!("{} to spare", spare_mm(self.spare_mm))
        };
        let mut foot = below + 24.0;
        if self.clearance_mm > 0.0 {
            ink.say("strong", (8.0, foot), Anchor::Start, SMALL, &format!("{spare},"));
            let free = format!("besides {} mm kept free by rule", mm(self.clearance_mm));
            foot += 18.0;
            ink.say("strong", (8.0, foot), Anchor::Start, SMALL, &free);
        } else {
            ink.say("strong", (8.0, foot), Anchor::Start, SMALL, &spare);
        }
        framed(id, "lumen", foot + 11.0, &format!("The lumen of {}", self.barrel), &self.told(), &ink)
    }

    fn inside(&self, ink: &mut Ink, per_mm: f64) {
        for (at, lying) in self.lying.iter().enumerate() {
            let Some(place) = lying.at_mm else { continue };
            let (middle, r) = (on_paper(place, per_mm), lying.r_mm * per_mm);
            ink.circle(&format!("disc d{}", at % 4), middle, r);
            if r >= 9.0 {
                ink.say("strong", middle, Anchor::Middle, FONT, &letter(at));
            }
        }
    }

    /// Those that do not lie in it together, in a row below, to the same scale. The height that they take.
    fn beside(&self, ink: &mut Ink, per_mm: f64, top: f64) -> f64 {
        let gap = 6.0;
        let whole: f64 = self.lying.iter().map(|lying| 2.0 * lying.r_mm * per_mm + gap).sum();
        let by = ((WIDTH - 8.0) / whole).min(1.0);
        let highest = self.lying.iter().map(|lying| 2.0 * lying.r_mm * per_mm * by).fold(0.0, f64::max);
        let mut x = 4.0;
        for (at, lying) in self.lying.iter().enumerate() {
            let r = lying.r_mm * per_mm * by;
            ink.circle(&format!("disc d{}", at % 4), (x + r, top + highest / 2.0), r);
            ink.say("strong", (x + r, top + highest / 2.0), Anchor::Middle, FONT, &letter(at));
            x += 2.0 * r + gap * by;
        }
        highest + 14.0
    }

    fn names(&self, ink: &mut Ink, is_inside: bool, per_mm: f64) {
        let mut order: Vec<usize> = (0..self.lying.len()).collect();
        let height = |at: &usize| self.lying.get(*at).and_then(|lying| lying.at_mm).map_or(0.0, |(_, y)| -y);
        if is_inside {
            order.sort_by(|a, b| height(a).total_cmp(&height(b)));
        }
        let step = STEP.min((2.0 * RADIUS - 8.0) / order.len().max(1) as f64);
        let mut y = MIDDLE.1 - step * (order.len() as f64 - 1.0) / 2.0;
        for at in order {
            let Some(lying) = self.lying.get(at) else { continue };
            if let (true, Some(place)) = (is_inside, lying.at_mm) {
                let (x, disc_y) = on_paper(place, per_mm);
                ink.line("tie", (x + lying.r_mm * per_mm, disc_y), (NAMES - 5.0, y));
            }
            let size = mm(2.0 * lying.r_mm);
            if step < TWO_LINES {
                let name = format!("{} {size} {}", letter(at), lying.note);
                ink.say("strong", (NAMES, y), Anchor::Start, SMALL, &cut(name.trim_end(), NAME_MOST));
            } else {
                let name = format!("{} {}", letter(at), lying.name);
                ink.say("strong", (NAMES, y - 8.5), Anchor::Start, SMALL, &cut(&name, NAME_MOST));
                let note = format!("{size} mm {}", lying.note);
                ink.say("note", (NAMES, y + 8.5), Anchor::Start, SMALL, &cut(note.trim_end(), NAME_MOST + 1));
            }
            y += step;
        }
    }
}

fn on_paper((x, y): Point, per_mm: f64) -> Point {
    (MIDDLE.0 + x * per_mm, MIDDLE.1 - y * per_mm)
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::analysis::packing::{Length, Problem};

    /// A telescope of 5.5 and suction of 14 Fr in a lumen.
    pub fn lumen(inner_mm: f64) -> Lumen {
        let discs = [Length::of_mm(5.5).unwrap(), Length::of_french(14.0).unwrap()];
        let (lumen, clearance) = (Length::of_mm(inner_mm).unwrap(), Length::of_mm(0.2).unwrap());
        let fit = Problem { lumen, clearance, discs: &discs }.fit().unwrap();
        let names = [("telescope", "T-0142"), ("suction <tube>", "S-14")];
        let at = |n: usize| fit.placement.map(|placed| (placed[n].x_mm, placed[n].y_mm));
        let lying = names.iter().enumerate().map(|(n, (name, note))| Lying {
            name: name.to_string(),
            note: note.to_string(),
            r_mm: discs[n].mm() / 2.0,
            at_mm: at(n),
        });
        Lumen {
            barrel: "BR-11".into(),
            inner_mm,
            outer_mm: Some(inner_mm + 1.0),
            clearance_mm: 0.2,
            spare_mm: fit.spare_mm,
            lying: lying.collect(),
            says: "They lie together.".into(),
        }
    }

    /// The radii of the circles of a class, as drawn.
    fn radii(svg: &str, class: &str) -> Vec<f64> {
        let circles =
            svg.split("<circle ").skip(1).filter(|circle| circle.starts_with(&format!("class=\"{class}")));
        let radius =
            |circle: &str| circle.split(" r=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
        circles.map(radius).collect()
    }

    #[test]
    fn circles_are_to_scale_and_inside() {
        let svg = lumen(11.0).drawn("x");
        let (wall, bore, discs) = (radii(&svg, "wall")[0], radii(&svg, "bore")[0], radii(&svg, "disc"));
        assert!((wall / bore - 12.0 / 11.0).abs() < 0.01, "{svg}");
        assert!((discs[0] / bore - 5.5 / 11.0).abs() < 0.01 && (discs[1] / bore - 14.0 / 33.0).abs() < 0.01);
        assert!((radii(&svg, "clearance")[0] / bore - 10.8 / 11.0).abs() < 0.01);
        assert!(
            svg.contains(">0.63 mm to spare,<") && svg.contains(">besides 0.2 mm kept free by rule<"),
            "{svg}"
        );
        let without = Lumen { clearance_mm: 0.0, ..lumen(11.0) };
        assert!(!without.drawn("x").contains("kept free") && !without.told().contains("Kept free"));
        assert!(svg.contains("suction &lt;tube&gt;") && !svg.contains("style="));
    }

    #[test]
    fn what_is_too_narrow_is_drawn_empty_with_the_instruments_beside_it() {
        let svg = lumen(9.0).drawn("x");
        assert_eq!(radii(&svg, "disc").len(), 2);
        assert!(svg.contains("1.37 mm too narrow"), "{svg}");
        assert!(lumen(9.0).told().contains("drawn beside the lumen"));
    }

    #[test]
    fn the_description_tells_all_numbers() {
        let told = lumen(11.0).told();
        let first = "To scale. BR-11: inner diameter 11 mm, outer 12 mm. A: telescope, 5.5 mm, centre ";
        assert!(told.starts_with(first), "{told}");
        assert!(told.ends_with("Kept free by the site's rule: 0.2 mm. They lie together."), "{told}");
    }
}
