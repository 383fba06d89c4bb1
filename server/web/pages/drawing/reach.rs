//! The telescope against the barrel in its two positions, to scale: at work, and pulled back until its tip is covered.

use super::super::plot::ink::{Anchor, Ink};
use super::super::shared::capital;
use super::{FONT, SMALL, WIDTH, framed, mm, scale_bar, scale_bar_mm};

/// Where the telescope is.
#[derive(Clone, Copy)]
pub struct At {
    /// How much of it stands out of the cap.
    pub out_mm: f64,
    /// Its tip beyond the barrel's end; below 0 it lies inside.
    pub tip_mm: f64,
}

pub struct Reach {
    pub telescope: String,
    /// What the telescope goes in through: "the cap", or "the head" where no cap is fitted.
    pub mouth: String,
    pub barrel: String,
    pub working_length_mm: f64,
    pub barrel_mm: f64,
    /// Head, adapter and cap.
    pub stack_mm: f64,
    pub working: At,
    pub back: At,
}

const LEFT: f64 = 20.0;
const ROW: f64 = 82.0;
/// The eyepiece, which is drawn as a sign and not to scale.
const EYEPIECE: f64 = 12.0;

impl At {
    fn tip_words(self) -> String {
        match self.tip_mm {
            tip if tip > 0.005 => format!("tip {} mm beyond the end", mm(tip)),
            tip if tip < -0.005 => format!("tip {} mm inside", mm(-tip)),
            _ => "tip level with the end".into(),
        }
    }

    fn out_words(self, mouth: &str) -> String {
        match self.out_mm {
            out if out > 0.005 => format!("{} mm out of {mouth}", mm(out)),
            _ => format!("pushed in as far as {mouth}"),
        }
    }

    pub fn words(self, mouth: &str) -> String {
        format!("{}; {}", self.tip_words(), self.out_words(mouth))
    }
}

impl Reach {
    /// What the drawing shows, in sentences.
    pub fn told(&self) -> String {
        let whole = self.barrel_mm + self.stack_mm;
        format!(
            "To scale. {}: working length {} mm. From {} to the end of {}: {} mm, of which what sits on the barrel is {} mm. Working: {}. Pulled back: {}.",
            self.telescope,
            mm(self.working_length_mm),
            self.mouth,
            self.barrel,
            mm(whole),
            mm(self.stack_mm),
            self.working.words(&self.mouth),
            self.back.words(&self.mouth)
        )
    }

    pub fn drawn(&self, id: &str) -> String {
        let whole = self.barrel_mm + self.stack_mm;
        let out = self.working.out_mm.max(self.back.out_mm).max(0.0);
        let beyond = self.working.tip_mm.max(self.back.tip_mm).max(0.0);
        let per_mm = (WIDTH - 2.0 * LEFT - EYEPIECE) / (out + whole + beyond).max(1.0);
        let cap = LEFT + EYEPIECE + out * per_mm;
        let mut ink = Ink::default();
        for (nth, (name, at)) in
            [("Working", self.working), ("Pulled back", self.back)].into_iter().enumerate()
        {
            self.row(&mut ink, name, at, 12.0 + ROW * nth as f64, cap, per_mm);
        }
        let below = 12.0 + 2.0 * ROW;
        scale_bar(&mut ink, (LEFT, below), scale_bar_mm(whole), per_mm);
        let title = format!("{} in its two positions", self.telescope);
        framed(id, "reach", below + 12.0, &title, &self.told(), &ink)
    }

    fn row(&self, ink: &mut Ink, name: &str, at: At, top: f64, cap: f64, per_mm: f64) {
        let end = cap + (self.barrel_mm + self.stack_mm) * per_mm;
        let tip = end + at.tip_mm * per_mm;
        let eye = tip - self.working_length_mm * per_mm;
        let middle = top + 28.0;
        ink.say("strong", (LEFT, top), Anchor::Start, FONT, name);
        // What stands out is told at its own end, and the tip at the other.
        ink.say("note", (WIDTH - 4.0, top), Anchor::End, SMALL, &at.out_words(&self.mouth));
        ink.area("wall", (cap + self.stack_mm * per_mm, middle - 8.0), (end, middle + 8.0));
        ink.area("headstack", (cap, middle - 13.0), (cap + self.stack_mm * per_mm, middle + 13.0));
        ink.area("scope", (eye, middle - 3.0), (tip, middle + 3.0));
        ink.area("eye", (eye - EYEPIECE, middle - 9.0), (eye, middle + 9.0));
        ink.line("end", (end, middle - 14.0), (end, middle + 14.0));
        ink.line("tipmark", (tip, middle - 10.0), (tip, middle + 10.0));
        ink.say("note", (WIDTH - 4.0, top + 54.0), Anchor::End, SMALL, &capital(&at.tip_words()));
    }
}

#[cfg(test)]
pub mod tests {
    use super::*;

    pub fn reach() -> Reach {
        Reach {
            telescope: "T-0142".into(),
            mouth: "the cap".into(),
            barrel: "BR-11".into(),
            working_length_mm: 500.0,
            barrel_mm: 430.0,
            stack_mm: 62.0,
            working: At { out_mm: 0.0, tip_mm: 8.0 },
            back: At { out_mm: 13.0, tip_mm: -5.0 },
        }
    }

    /// From where to where the telescope is drawn, in each row.
    fn scopes(svg: &str) -> Vec<(f64, f64)> {
        let number = |text: &str, name: &str| -> f64 {
            text.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
        };
        let areas = svg.split("<rect ").skip(1).filter(|area| area.starts_with("class=\"scope\""));
        areas.map(|area| (number(area, "x"), number(area, "x") + number(area, "width"))).collect()
    }

    #[test]
    fn both_positions_are_to_scale() {
        let svg = reach().drawn("x");
        let scopes = scopes(&svg);
        let per_mm = (scopes[0].1 - scopes[0].0) / 500.0;
        assert!((scopes[0].1 - scopes[1].1 - 13.0 * per_mm).abs() < 0.3, "{svg}");
        assert!(!svg.contains("style=") && svg.contains("Working") && svg.contains("Pulled back"));
    }

    #[test]
    fn the_words_tell_the_tip_and_what_stands_out() {
        let at = reach();
        assert_eq!(at.working.words(&at.mouth), "tip 8 mm beyond the end; pushed in as far as the cap");
        assert_eq!(at.back.words(&at.mouth), "tip 5 mm inside; 13 mm out of the cap");
        let level = At { out_mm: 3.0, tip_mm: 0.0 };
        assert_eq!(level.words("the cap"), "tip level with the end; 3 mm out of the cap");
        // Where no cap is fitted, none is spoken of.
        let bare = Reach { mouth: "the head".into(), ..reach() };
        assert!(
            bare.told().contains("pushed in as far as the head") && !bare.told().contains("cap"),
            "{}",
            bare.told()
        );
        assert!(!bare.drawn("x").contains("cap"));
        assert!(reach().told().contains("From the cap to the end of BR-11: 492 mm"), "{}", reach().told());
    }
}
