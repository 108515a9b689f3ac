//! Lance poles at a crossing: how many are lashed together for a height, with what overlap, and how they are guyed.
//! It never says that ground or a pole is sound; the people who raise it do.
//! Sources by key: *SS0440*: US Army correspondence subcourse on field wire, after TC 24-20; *NIE*: International
//! encyclopedia, article Military Telegraph.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::units::{Metres, Newtons, OutOfRange, feet, within};

/// The least overlap of two poles that are lashed together: 5 ft.
///
/// # Source
/// SS0440 p. 31.
pub const LEAST_OVERLAP: Metres = feet(5.0);
/// How far a guy's foot stands from the pole's, for each metre up the pole.
///
/// # Source
/// SS0440 p. 31: one to one.
const GUY_SLOPE: f64 = 1.0;

/// What rounding may take from a length that is just enough: a nanometre, in metres.
pub(crate) const HAIR: f64 = 1e-9;

/// The lance poles at hand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LancePole {
    /// The length of one pole: metres, 1 to 15.
    pub length_m: Metres,
    /// How deep it stands in the ground: metres, 0 to 3, and less than its length.
    pub set_m: Metres,
}

impl LancePole {
    /// Poles of 14 ft (from memory, editable) set 2 ft in the ground (NIE: of 17 ft lances, 2 ft in the ground).
    pub const USUAL: Self = Self { length_m: feet(14.0), set_m: feet(2.0) };
}

impl Default for LancePole {
    fn default() -> Self {
        Self::USUAL
    }
}

/// What one side of the crossing needs to carry the wire at its height.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct LancePoleSet {
    /// How many poles are lashed end to end: 1, or 2 where one is too short.
    pub poles: u8,
    /// How far two of them overlap; none when one is enough. Metres; negative when they do not meet.
    #[schema(required = true)]
    pub overlap_m: Option<Metres>,
    /// Whether that carries the wire at its height with the overlap that it needs.
    pub enough: bool,
    /// The shortest pole that would do, two lashed together: metres.
    pub least_length_m: Metres,
}

/// The guys of one side of the crossing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct Guys {
    /// How many guys hold the pole back.
    pub guys: u8,
    /// How far from the pole's foot each is staked: metres.
    pub out_m: Metres,
    /// How far each stands from the line, behind the pole: degrees.
    pub from_line_deg: u8,
    /// The length of each from its tie on the pole to the ground, without what its knots take: metres.
    pub length_m: Metres,
    /// What the harder worked of them has to hold, at the worst: newtons.
    pub tension_n: Newtons,
}

/// The poles that carry a wire at a height above the ground.
///
/// # Units
/// Metres.
///
/// # Errors
/// A pole whose length or depth is out of range, a height that is not from 0.1 to 100 m.
///
/// # Source
/// SS0440 p. 31: for 14 and 18 ft two poles are lashed, overlapping at least 5 ft. Two of 14 ft that stand 2 ft deep at
/// 18 ft (5.49 m) overlap 28 - 2 - 18 = 8 ft (2.44 m).
///
/// ```
/// use laywire_craft::{lance_pole::{LancePole, pole_set}, units::feet};
/// let set = pole_set(LancePole::USUAL, feet(18.0))?;
/// assert_eq!((set.poles, set.enough), (2, true));
/// assert_eq!(set.overlap_m.unwrap().to_string(), "2.44 m");
/// # Ok::<(), laywire_craft::units::OutOfRange>(())
/// ```
pub fn pole_set(pole: LancePole, height: Metres) -> Result<LancePoleSet, OutOfRange> {
    let length = within("lance_pole.length_m", pole.length_m.value(), 1.0, 15.0)?;
    let set = within("lance_pole.set_m", pole.set_m.value(), 0.0, 3.0_f64.min(length / 2.0))?;
    let above = set + within("tie_height_m", height.value(), 0.1, 100.0)?;
    let one = length >= above - HAIR;
    let overlap = 2.0 * length - above;
    Ok(LancePoleSet {
        poles: if one { 1 } else { 2 },
        overlap_m: (!one).then(|| Metres::bounded(overlap)),
        enough: one || overlap >= LEAST_OVERLAP.value() - HAIR,
        least_length_m: Metres::bounded(f64::midpoint(above, LEAST_OVERLAP.value())),
    })
}

/// The guys of a pole at a crossing: two, each 45° from the line behind the pole, one metre out for each metre up.
///
/// Each carries a part of the pull along the line; the one to windward carries the pull across it too. The line goes on
/// behind the pole and may help, but nothing is reckoned of that.
///
/// # Units
/// Metres and newtons.
///
/// # Source
/// SS0440 p. 31 for angle and slope; two guys: common practice, no source. By hand: with a level pull H along the line
/// each of two holds H/√2 along the level and, one to one, H in itself; its length is √2 times the height.
///
/// ```
/// use laywire_craft::{lance_pole::guys, units::{Metres, Newtons}};
/// let guys = guys(Metres::new(5.0)?, Newtons::new(100.0)?, Newtons::ZERO);
/// assert_eq!(guys.length_m.to_string(), "7.07 m");
/// assert_eq!(guys.tension_n.to_string(), "100.00 N");
/// # Ok::<(), laywire_craft::units::OutOfRange>(())
/// ```
#[must_use]
pub fn guys(height: Metres, along: Newtons, across: Newtons) -> Guys {
    let slant = GUY_SLOPE.hypot(1.0);
    let level = (along.value() + across.value()) * std::f64::consts::FRAC_1_SQRT_2;
    Guys {
        guys: 2,
        out_m: Metres::bounded(height.value() * GUY_SLOPE),
        from_line_deg: 45,
        length_m: Metres::bounded(height.value() * slant),
        tension_n: Newtons::bounded(level * slant / GUY_SLOPE),
    }
}
