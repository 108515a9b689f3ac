//! What a field telephone's signs say of the fault on its line, and what usually causes it. It only tells which faults to
//! suspect; a test has to confirm. Signs and causes are those of the US Army subcourses SS0440 and SS04377.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A fault, by what touches or parts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// A conductor is parted.
    Open,
    /// The two conductors of the pair touch.
    Short,
    /// A conductor touches the earth.
    Earth,
    /// A conductor touches one of another line.
    Cross,
}

/// What a telephone with a hand generator shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sign {
    /// The crank turns very easily.
    CrankEasy,
    /// The crank turns hard or in jerks.
    CrankHard,
    /// Neither ring nor talk passes.
    NothingPasses,
    /// The line comes and goes.
    ComesAndGoes,
    /// Ring and talk are weak.
    Weak,
    /// Noise or hum.
    Hum,
    /// Another party is heard.
    OtherParty,
}

impl FaultKind {
    /// Every fault, in the order to test for them: an earth is misread as a short when it is not looked for first.
    ///
    /// # Source
    /// SS0438 p. 83: test for grounds before shorts. Opens and shorts cause most complete failures: SS04377 p. 11.
    pub const IN_TESTING_ORDER: [Self; 4] = [Self::Open, Self::Earth, Self::Short, Self::Cross];

    /// The signs that it shows.
    ///
    /// # Source
    /// SS0440 p. 59; SS04377 pp. 10, 11. An intermittent open is a poor splice: SS04377 p. 10.
    #[must_use]
    pub fn signs(self) -> &'static [Sign] {
        match self {
            Self::Open => &[Sign::CrankEasy, Sign::NothingPasses, Sign::ComesAndGoes],
            // A short of high resistance only weakens; one of none stops everything.
            Self::Short => &[Sign::CrankHard, Sign::NothingPasses, Sign::Weak],
            Self::Earth => &[Sign::Hum, Sign::Weak],
            Self::Cross => &[Sign::OtherParty],
        }
    }

    /// What usually causes it.
    ///
    /// # Source
    /// As [`FaultKind::signs`].
    #[must_use]
    pub fn usual_cause(self) -> &'static str {
        match self {
            Self::Open => "a cut or a pulled splice; when it comes and goes, a poor splice",
            Self::Short => "mostly at ties and terminals, where too much tension crushes the insulation",
            Self::Earth => "worn insulation or a wet splice; both conductors earthed look like a short",
            Self::Cross => "the wrong pairs spliced, or two lines that rub in one tree",
        }
    }

    /// Where signs and cause were read.
    #[must_use]
    pub fn source(self) -> &'static str {
        match self {
            Self::Open => "SS0440 p. 59; SS04377 pp. 10, 11",
            Self::Short | Self::Earth => "SS0440 p. 59; SS04377 p. 11",
            Self::Cross => "SS0440 p. 59",
        }
    }
}

/// A fault that the signs point at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct Suspicion {
    /// The fault.
    pub fault: FaultKind,
    /// How many of the signs it explains, 1 to 7.
    pub explains: usize,
    /// What usually causes it.
    pub usual_cause: &'static str,
    /// Where that was read.
    pub source: &'static str,
}

/// The faults that explain at least one of the signs: those that explain most first, and as to be tested where they are even.
/// A sign that is told twice counts once.
///
/// ```
/// use laywire_craft::fault::signs::{FaultKind, Sign, suspects};
/// // SS0440 p. 59: the crank turns hard, and nothing passes: a short.
/// let suspects = suspects(&[Sign::CrankHard, Sign::NothingPasses]);
/// assert_eq!(suspects[0].fault, FaultKind::Short);
/// ```
#[must_use]
pub fn suspects(signs: &[Sign]) -> Vec<Suspicion> {
    let mut suspects: Vec<Suspicion> = FaultKind::IN_TESTING_ORDER
        .into_iter()
        .map(|fault| Suspicion {
            fault,
            explains: fault.signs().iter().filter(|sign| signs.contains(sign)).count(),
            usual_cause: fault.usual_cause(),
            source: fault.source(),
        })
        .filter(|suspicion| suspicion.explains > 0)
        .collect();
    // The sort is stable: the testing order stands where they are even.
    suspects.sort_by_key(|suspicion| std::cmp::Reverse(suspicion.explains));
    suspects
}
