//! Where a function of one number is nought, and where it is highest.

const TURNS: usize = 200;
/// The golden section of an interval.
const GOLDEN: f64 = 0.381_966_011_250_105_1;

/// Where a function changes its sign between two places, whose values are known already: by Chandrupatla's method
/// (Advances in Engineering Software 28, 1997), inverse quadratic where that is safe and halving where it is not.
pub fn root(mut f: impl FnMut(f64) -> f64, first: (f64, f64), second: (f64, f64), within: f64) -> f64 {
    let ((mut a, mut fa), (mut b, mut fb)) = (first, second);
    let mut share = 0.5;
    for _ in 0..TURNS {
        let at = a + share * (b - a);
        let value = f(at);
        let (c, fc);
        if (value > 0.0) == (fa > 0.0) {
            (c, fc) = (a, fa);
        } else {
            (c, fc) = (b, fb);
            (b, fb) = (a, fa);
        }
        (a, fa) = (at, value);
        let (best, least) = if fa.abs() < fb.abs() { (a, fa) } else { (b, fb) };
        let limit = (2.0 * f64::EPSILON * best.abs() + within) / (b - a).abs();
        if least == 0.0 || limit > 0.5 || !limit.is_finite() {
            return best;
        }
        let xi = (a - b) / (c - b);
        let phi = (fa - fb) / (fc - fb);
        let smooth = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
        share = if smooth {
            fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        } else {
            0.5
        };
        share = if share.is_finite() { share.clamp(limit, 1.0 - limit) } else { 0.5 };
    }
    a
}

/// Where a function is highest between two places, and how high: some places are tried first, so that one peak of several is
/// rarely missed, then Brent's method (Brent 1973, chapter 5) climbs the best.
pub fn peak(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, tries: usize, within: f64) -> (f64, f64) {
    // Denser towards the ends, where a limit of a narrow region moves fastest.
    let place = |i: usize| {
        let angle = std::f64::consts::PI * i as f64 / (tries + 1) as f64;
        low + (high - low) * 0.5 * (1.0 - angle.cos())
    };
    let mut best = (low, f64::NEG_INFINITY, 0);
    for i in 0..=tries + 1 {
        let at = place(i);
        let value = f(at);
        if value > best.1 {
            best = (at, value, i);
        }
    }
    let (at, value, i) = best;
    let (from, to) = (place(i.saturating_sub(1)), place((i + 1).min(tries + 1)));
    climb(f, from, to, (at, value), within)
}

/// Brent's method from a place between two others that is higher than either.
fn climb(mut f: impl FnMut(f64) -> f64, from: f64, to: f64, start: (f64, f64), within: f64) -> (f64, f64) {
    let (mut low, mut high) = (from, to);
    let (mut best, mut second, mut third) = (start, start, start);
    let (mut step, mut before) = (0.0_f64, 0.0_f64);
    for _ in 0..TURNS {
        let middle = 0.5 * (low + high);
        let tolerance = within + 1e-9 * best.0.abs();
        if (best.0 - middle).abs() <= 2.0 * tolerance - 0.5 * (high - low) {
            break;
        }
        let parabola = parabola(best, second, third);
        let fits = before.abs() > tolerance
            && parabola.abs() < (0.5 * before).abs()
            && (low..=high).contains(&(best.0 + parabola));
        if fits {
            before = step;
            step = parabola;
        } else {
            before = if best.0 >= middle { low - best.0 } else { high - best.0 };
            step = GOLDEN * before;
        }
        let at = if step.abs() >= tolerance { best.0 + step } else { best.0 + tolerance.copysign(step) };
        let tried = (at, f(at));
        if tried.1 >= best.1 {
            if tried.0 >= best.0 {
                low = best.0
            } else {
                high = best.0
            }
            (third, second, best) = (second, best, tried);
        } else {
            if tried.0 < best.0 {
                low = tried.0
            } else {
                high = tried.0
            }
            if tried.1 >= second.1 || second.0 == best.0 {
                (third, second) = (second, tried);
            } else if tried.1 >= third.1 || third.0 == best.0 || third.0 == second.0 {
                third = tried;
            }
        }
    }
    best
}

/// The step from the highest of three points to the peak of the parabola through them; no number where there is none.
fn parabola(best: (f64, f64), second: (f64, f64), third: (f64, f64)) -> f64 {
    let r = (best.0 - second.0) * (best.1 - third.1);
    let q = (best.0 - third.0) * (best.1 - second.1);
    let p = (best.0 - third.0) * q - (best.0 - second.0) * r;
    let twice = 2.0 * (q - r);
    let step = -p / twice;
    if step.is_finite() { step } else { f64::INFINITY }
}
