//! The curve of a wire that hangs between two ties: from its constant, its sag or its length, with ties level or not.
//! It knows nothing of weather, stretch or roads: those are the span's (see [`crate::span`]).
//! The formulas are the textbook catenary, y = c cosh(x / c) with c = H / w; `tests/reckoning/catenary.rs` names the tables they
//! are checked against. Every difference of nearly equal numbers is written as a product, so that a taut wire loses
//! no digits.

use crate::units::{Metres, Newtons, NewtonsPerMetre, OutOfRange, within};

/// The shortest span that is reckoned: less is a tie, not a span.
pub const LEAST_SPAN: Metres = Metres::from_const(0.5);
/// The longest span that is reckoned: ten times what any field wire bridges.
pub const MOST_SPAN: Metres = Metres::from_const(2000.0);
/// How many spans one tie may stand above the other: steeper is a drop, not a span.
pub(crate) const MOST_STEEP: f64 = 5.0;
/// Half the span over the constant, at the tightest: a sag of a millionth of the span.
const LEAST_HALF: f64 = 4e-6;
/// Half the span over the constant, at the slackest: fifteen spans of wire between level ties.
const MOST_HALF: f64 = 5.0;
/// The least load that bends a wire: a tenth of a gram for each metre. Thread is heavier.
const LEAST_LOAD: f64 = 1e-3;
/// How much longer than the straight line a wire must be before its curve can be told from its length. Closer than
/// this no tape tells them apart either: a millimetre in a kilometre.
const LEAST_EXCESS: f64 = 1e-6;

/// How near, as a part of itself, a root is closed in on where nothing but the last digit limits it.
pub(crate) const CLOSE: f64 = 2.0 * f64::EPSILON;

/// A wire's curve between a left tie and a right one.
///
/// Offsets run from the left tie, level, towards the right one; heights are above the left tie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Catenary {
    span: f64,
    rise: f64,
    /// Half the span over the constant: the one number that tells how slack the wire hangs.
    half: f64,
    /// The curve's argument in the middle of the span: 0 between level ties.
    middle: f64,
}

impl Catenary {
    /// The curve of a given constant, horizontal tension over load.
    ///
    /// # Units
    /// Metres: the span from 0.5 to 2000, the rise of the right tie above the left at most five spans either way.
    ///
    /// # Errors
    /// A span or rise out of range, and a constant that is less than a tenth of the span or more than 125 000 spans.
    ///
    /// # Source
    /// Check values by mpmath (50 digits).
    ///
    /// ```
    /// use laywire_craft::{catenary::Catenary, units::Metres};
    /// let curve = Catenary::of_constant(Metres::new(40.0)?, Metres::ZERO, Metres::new(200.0)?)?;
    /// assert_eq!(format!("{:.6}", curve.sag()), "1.000834 m");
    /// # Ok::<(), laywire_craft::units::OutOfRange>(())
    /// ```
    pub fn of_constant(span: Metres, rise: Metres, constant: Metres) -> Result<Self, OutOfRange> {
        let (span, rise) = frame(span, rise)?;
        let constant =
            within("constant_m", constant.value(), span / (2.0 * MOST_HALF), span / (2.0 * LEAST_HALF))?;
        Ok(Self::settled(span, rise, span / (2.0 * constant)))
    }

    /// The curve of a wire with this tension along the level and this load.
    ///
    /// # Errors
    /// As [`Catenary::of_constant`]; the field at fault is `tension_n`, and its range is the one for this span and load.
    pub fn of_tension(
        span: Metres,
        rise: Metres,
        tension: Newtons,
        load: NewtonsPerMetre,
    ) -> Result<Self, OutOfRange> {
        let (span, rise) = frame(span, rise)?;
        let load = within("load_n_per_m", load.value(), LEAST_LOAD, NewtonsPerMetre::MOST.value())?;
        let weight = load * span;
        let tension =
            within("tension_n", tension.value(), weight / (2.0 * MOST_HALF), weight / (2.0 * LEAST_HALF))?;
        Ok(Self::settled(span, rise, weight / (2.0 * tension)))
    }

    /// The curve that hangs this far below the straight line between the ties, straight down in the middle of the span.
    ///
    /// # Units
    /// Metres.
    ///
    /// # Errors
    /// A span or rise out of range, and a sag that is less than a millionth of the span or wants more than about fifteen
    /// spans of wire; the error names the range for this span.
    ///
    /// # Source
    /// Check values by mpmath (50 digits).
    ///
    /// ```
    /// use laywire_craft::{catenary::Catenary, units::Metres};
    /// let curve = Catenary::of_sag(Metres::new(50.0)?, Metres::ZERO, Metres::new(1.0)?)?;
    /// assert_eq!(format!("{:.6}", curve.constant()), "312.666525 m");
    /// # Ok::<(), laywire_craft::units::OutOfRange>(())
    /// ```
    pub fn of_sag(span: Metres, rise: Metres, sag: Metres) -> Result<Self, OutOfRange> {
        let (span, rise) = frame(span, rise)?;
        let sag_at = |half: f64| length(span, rise, half) / 2.0 * (half / 2.0).tanh();
        let sag = within("sag_m", sag.value(), sag_at(LEAST_HALF), sag_at(MOST_HALF))?;
        // A level wire of this sag is the slackest that can be meant: a rise adds length, and with it sag.
        let slackest = (4.0 * sag / span).min(MOST_HALF);
        let half = root(0.0, slackest, CLOSE, |half| sag_at(half) - sag);
        Ok(Self::settled(span, rise, half))
    }

    /// The curve of a wire of this length between its ties.
    ///
    /// # Units
    /// Metres.
    ///
    /// # Errors
    /// A span or rise out of range, a length that is not a millionth longer than the straight line, or more than about
    /// fifteen spans of it; the error names the range for this span.
    ///
    /// # Source
    /// Check values by mpmath (50 digits).
    ///
    /// ```
    /// use laywire_craft::{catenary::Catenary, units::Metres};
    /// let curve = Catenary::of_length(Metres::new(100.0)?, Metres::ZERO, Metres::new(105.0)?)?;
    /// assert_eq!(format!("{:.6}", curve.sag()), "13.930421 m");
    /// # Ok::<(), laywire_craft::units::OutOfRange>(())
    /// ```
    pub fn of_length(span: Metres, rise: Metres, wire: Metres) -> Result<Self, OutOfRange> {
        let (span, rise) = frame(span, rise)?;
        let straight = span.hypot(rise);
        let least = straight * (1.0 + LEAST_EXCESS);
        let wire = within("wire_length_m", wire.value(), least, length(span, rise, MOST_HALF))?;
        Ok(Self::settled(span, rise, half_of_length(span, rise, wire)))
    }

    /// A curve in numbers that are known to be good.
    pub(crate) fn settled(span: f64, rise: f64, half: f64) -> Self {
        let middle = (rise / (span * sinh_over(half))).asinh();
        Self { span, rise, half, middle }
    }

    /// Horizontal tension over load.
    #[must_use]
    pub fn constant(&self) -> Metres {
        Metres::bounded(self.c())
    }

    /// The length of the wire between the ties.
    #[must_use]
    pub fn length(&self) -> Metres {
        Metres::bounded(length(self.span, self.rise, self.half))
    }

    /// How far the wire hangs below the straight line between the ties, straight down in the middle of the span.
    #[must_use]
    pub fn sag(&self) -> Metres {
        Metres::bounded(self.length().value() / 2.0 * (self.half / 2.0).tanh())
    }

    /// Where the wire hangs farthest below the straight line between the ties, and how far.
    #[must_use]
    pub fn greatest_sag(&self) -> (Metres, Metres) {
        let offset = self.offset_of_slope(self.rise / self.span);
        (
            Metres::bounded(offset),
            Metres::bounded((self.rise * offset / self.span - self.y(offset)).max(self.sag().value())),
        )
    }

    /// The offset of the curve's lowest point, which may lie outside the span: then the wire pulls its lower tie up.
    #[must_use]
    pub fn lowest(&self) -> Metres {
        Metres::bounded(self.offset_of_slope(0.0))
    }

    /// The wire's height above the left tie at an offset from it.
    #[must_use]
    pub fn height_at(&self, offset: Metres) -> Metres {
        Metres::bounded(self.y(offset.value()))
    }

    /// The tension at the left and at the right tie, under a load for each metre of wire.
    #[must_use]
    pub fn tensions(&self, load: NewtonsPerMetre) -> (Newtons, Newtons) {
        let level = load.value() * self.c();
        (
            Newtons::bounded(level * (self.middle - self.half).cosh()),
            Newtons::bounded(level * (self.middle + self.half).cosh()),
        )
    }

    /// The tension along the level, which is the same all along the wire.
    #[must_use]
    pub fn level_tension(&self, load: NewtonsPerMetre) -> Newtons {
        Newtons::bounded(load.value() * self.c())
    }

    pub(crate) fn c(&self) -> f64 {
        self.span / (2.0 * self.half)
    }

    /// The height at `x`: cosh a - cosh b as a product.
    pub(crate) fn y(&self, x: f64) -> f64 {
        let c = self.c();
        let run = x / (2.0 * c);
        2.0 * c * (self.middle - self.half + run).sinh() * run.sinh()
    }

    /// The slope at `x`.
    pub(crate) fn slope(&self, x: f64) -> f64 {
        (self.middle - self.half + x / self.c()).sinh()
    }

    /// Where the curve has this slope.
    pub(crate) fn offset_of_slope(&self, slope: f64) -> f64 {
        self.span / 2.0 + self.c() * (slope.asinh() - self.middle)
    }
}

fn frame(span: Metres, rise: Metres) -> Result<(f64, f64), OutOfRange> {
    let span = within("span_m", span.value(), LEAST_SPAN.value(), MOST_SPAN.value())?;
    let rise = within("rise_m", rise.value(), -MOST_STEEP * span, MOST_STEEP * span)?;
    Ok((span, rise))
}

/// sinh u / u.
fn sinh_over(u: f64) -> f64 {
    if u == 0.0 { 1.0 } else { u.sinh() / u }
}

/// sinh u / u - 1, without the loss of digits that the subtraction would cost a taut wire.
pub(crate) fn sinh_over_less_one(u: f64) -> f64 {
    /// One over 3!, 5!, …, 17!: up to u = 1 the next is below 1e-16 of the first.
    const SERIES: [f64; 8] = [
        1.0 / 6.0,
        1.0 / 120.0,
        1.0 / 5_040.0,
        1.0 / 362_880.0,
        1.0 / 39_916_800.0,
        1.0 / 6_227_020_800.0,
        1.0 / 1_307_674_368_000.0,
        1.0 / 355_687_428_096_000.0,
    ];
    if u < 1.0 {
        let square = u * u;
        SERIES.iter().rev().fold(0.0, |sum, term| (sum + term) * square)
    } else {
        u.sinh() / u - 1.0
    }
}

fn length(span: f64, rise: f64, half: f64) -> f64 {
    rise.hypot(span * sinh_over(half))
}

/// Half the span over the constant, for a wire of this length, which is longer than the straight line.
pub(crate) fn half_of_length(span: f64, rise: f64, wire: f64) -> f64 {
    let straight = span.hypot(rise);
    let level = ((wire - rise) * (wire + rise)).sqrt();
    let wanted = (wire - straight) * (wire + straight) / (span * (level + span));
    // By Newton's method from a curve that is no tighter, as sinh u / u - 1 >= u² / 6: it never oversteps.
    let mut half = (6.0 * wanted).sqrt();
    for _ in 0..100 {
        let step = (sinh_over_less_one(half) - wanted) * half / (half.cosh() - sinh_over(half));
        half -= step;
        // The next step would be the square of this one.
        if step <= 1e-9 * half {
            break;
        }
    }
    half
}

/// Where a rising function is nought between `low`, where it is negative, and `high`, where it is not; `nearness` is how
/// near the answer has to be, as a part of itself.
///
/// Chandrupatla's method (Advances in Engineering Software 28, 1997): inverse quadratic interpolation where that is safe
/// and halving where it is not, so that it always comes to an end.
#[allow(clippy::many_single_char_names, reason = "the paper's own letters")]
pub(crate) fn root(low: f64, high: f64, nearness: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut fa) = (high, f(high));
    let (mut b, mut fb) = (low, f(low));
    if fa <= 0.0 {
        return high;
    }
    let mut part = 0.5;
    // Halving alone would end by then.
    for _ in 0..200 {
        let x = a + part * (b - a);
        let fx = f(x);
        let (c, fc);
        if (fx > 0.0) == (fa > 0.0) {
            (c, fc) = (a, fa);
        } else {
            (c, fc, b, fb) = (b, fb, a, fa);
        }
        (a, fa) = (x, fx);
        let (best, f_best) = if fa.abs() < fb.abs() { (a, fa) } else { (b, fb) };
        let near = nearness * best.abs();
        let least_part = near / (b - a).abs();
        if least_part >= 0.5 || f_best == 0.0 {
            return best;
        }
        let (xi, phi) = ((a - b) / (c - b), (fa - fb) / (fc - fb));
        part = if phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi {
            fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
        } else {
            0.5
        };
        part = part.clamp(least_part, 1.0 - least_part);
    }
    a
}
