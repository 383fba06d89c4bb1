//! How long something takes: fixed, by chance without a memory, or as it was measured.

#[derive(Clone, PartialEq, Debug)]
pub enum Law {
    Fixed(f64),
    /// Exponential, with this mean.
    Exponential(f64),
    /// Quantiles at even steps from 0 to 1, in order; between them it rises evenly.
    Table(Box<[f64]>),
}

impl Law {
    pub fn is_usable(&self) -> bool {
        let good = |seconds: &f64| seconds.is_finite() && *seconds >= 0.0;
        match self {
            Law::Fixed(seconds) => good(seconds),
            Law::Exponential(mean) => good(mean) && *mean > 0.0,
            Law::Table(table) => table.len() >= 2 && table.iter().all(good) && table.is_sorted(),
        }
    }

    /// The value that a share of all lie below.
    pub fn at(&self, share: f64) -> f64 {
        match self {
            Law::Fixed(seconds) => *seconds,
            // The same on every machine: not the one of the platform.
            Law::Exponential(mean) => -mean * libm::log1p(-share.min(1.0 - f64::EPSILON / 2.0)),
            Law::Table(table) => quantile(table, share),
        }
    }

    /// What is left of something that has taken so long already. What has taken longer than was ever measured is
    /// expected within a tenth of the usual length, at any moment of it alike: it is late, and nothing more is known.
    pub fn rest(&self, taken_s: f64, share: f64) -> f64 {
        if taken_s <= 0.0 {
            return self.at(share);
        }
        match self {
            Law::Fixed(seconds) => (seconds - taken_s).max(0.0),
            Law::Exponential(_) => self.at(share),
            Law::Table(table) => {
                let below = share_below(table, taken_s);
                if below >= 1.0 {
                    return quantile(table, 0.5) * 0.1 * share;
                }
                (quantile(table, below + (1.0 - below) * share) - taken_s).max(0.0)
            }
        }
    }

    pub fn mean(&self) -> f64 {
        match self {
            Law::Fixed(seconds) => *seconds,
            Law::Exponential(mean) => *mean,
            Law::Table(table) => {
                let steps = table.len().saturating_sub(1).max(1) as f64;
                table.windows(2).map(|pair| (pair[0] + pair[1]) / 2.0).sum::<f64>() / steps
            }
        }
    }
}

/// Laws by the part of the day in which something begins: one for all, or one for each part.
#[derive(Clone, PartialEq, Debug)]
pub struct Daily(pub Vec<Law>);

impl Daily {
    pub fn always(law: Law) -> Daily {
        Daily(vec![law])
    }

    pub fn is_usable(&self, parts: usize) -> bool {
        (self.0.len() == 1 || self.0.len() == parts) && self.0.iter().all(Law::is_usable)
    }

    pub fn of(&self, part: usize) -> &Law {
        if self.0.len() == 1 { &self.0[0] } else { &self.0[part] }
    }
}

fn quantile(table: &[f64], share: f64) -> f64 {
    let steps = table.len() - 1;
    let place = share.clamp(0.0, 1.0) * steps as f64;
    let at = (place as usize).min(steps - 1);
    let (low, high) = (table[at], table[at + 1]);
    low + (high - low) * (place - at as f64)
}

fn share_below(table: &[f64], value: f64) -> f64 {
    let steps = table.len() - 1;
    let above = table.partition_point(|quantile| *quantile <= value);
    match above {
        0 => 0.0,
        above if above > steps => 1.0,
        above => {
            let (low, high) = (table[above - 1], table[above]);
            let within = if high > low { (value - low) / (high - low) } else { 0.0 };
            ((above - 1) as f64 + within) / steps as f64
        }
    }
}
