//! From a distance along the wire to the ground: the stretch in which to look for a fault, and the crossings, splices and
//! test points in it. It never finds the fault; it stands on the wire's record, and says so where the record is vague.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Error;
use crate::{
    bounds::{OutOfBounds, count, range},
    text::Name,
    units::Metres,
    wire::{self, Layout},
};

/// The most splices, and the most test points, of a record.
pub const MOST_PLACES: usize = 5_000;
/// By how much of the wire the sections of a test and the line's record may differ. Beyond it one of them is wrong.
/// Planning value: a slack of 20 % that was laid as none, or as twice as much, is a sixth of the wire.
const MOST_APART: f64 = 0.2;
/// By how much they may differ without a word.
const APART: f64 = 0.01;

const SLACK: &str = "Where the wire lies on the ground stands on the slack of its record. Where it was laid slacker than \
                     that, the fault is nearer; look on both sides.";

/// A line's record over the ground, near end first, as the reckoning of its wire takes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = FaultRecord)]
pub struct Record {
    /// The line's legs over the ground, one after the other. 1 to 100,000.
    #[schema(min_items = 1, max_items = 100_000)]
    pub legs: Vec<wire::Leg>,
    /// The crossings on them, in any order. At most 2,000.
    #[serde(default)]
    #[schema(max_items = 2_000)]
    pub crossings: Vec<wire::Crossing>,
    /// Figures of the wire to take instead of the planning values.
    #[serde(default)]
    pub figures: wire::Figures,
    /// Where the wire is spliced, in any order. At most [`MOST_PLACES`].
    #[serde(default)]
    #[schema(max_items = 5_000)]
    pub splices: Vec<RecordPlace>,
    /// Where it can be tested without cutting, in any order. At most [`MOST_PLACES`].
    #[serde(default)]
    #[schema(max_items = 5_000)]
    pub test_points: Vec<RecordPlace>,
}

/// A place of the record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = FaultRecordPlace)]
pub struct RecordPlace {
    /// Where it is, in metres along the ground from 0 to the line's length.
    pub chainage_m: Metres,
    /// What to call it.
    #[serde(default)]
    pub name: Option<Name>,
}

/// What a crew can find on the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LandmarkKind {
    /// A crossing.
    Crossing,
    /// A splice.
    Splice,
    /// A place where the wire can be tested without cutting.
    TestPoint,
}

/// Something that a crew can find on the ground.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = FaultLandmark)]
pub struct Landmark {
    /// What it is.
    pub kind: LandmarkKind,
    /// Which one of its list, counted from 0 in the order of the question.
    pub number: usize,
    /// Where it is, in metres along the ground.
    pub chainage_m: Metres,
    /// It in words.
    pub words: String,
    #[serde(skip)]
    from_wire: Metres,
    #[serde(skip)]
    to_wire: Metres,
}

/// The stretch of the ground in which to look.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = FaultGround)]
pub struct GroundStretch {
    /// Its near end, in metres along the ground.
    pub from_chainage_m: Metres,
    /// Its far end, in metres along the ground.
    pub to_chainage_m: Metres,
    /// Where in it the fault is reckoned to lie, in metres along the ground.
    pub chainage_m: Metres,
    /// The line's wire by its record, in metres.
    pub wire_m: Metres,
    /// What lies in it, from the near end to the far end.
    pub inside: Vec<Landmark>,
    /// The last crossing, splice or test point before it.
    #[schema(required = true)]
    pub before: Option<Landmark>,
    /// The first one beyond it.
    #[schema(required = true)]
    pub beyond: Option<Landmark>,
    /// What to know when looking.
    pub notes: Vec<String>,
}

/// Lengths of a line that cannot both be true.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "sections come to {sections} of wire, and by legs and crossings the line takes {record}: put the lengths of the sections \
     right, or the slack"
)]
pub struct LengthsApart {
    /// The sections together.
    pub sections: Metres,
    /// The wire by the record.
    pub record: Metres,
}

impl Record {
    /// The length of the line along its wire.
    pub(crate) fn wire(&self) -> Result<Metres, Error> {
        self.layout().map(|layout| layout.wire()).map_err(Error::Record)
    }

    fn layout(&self) -> Result<Layout, wire::Error> {
        let layout = Layout::new(&wire::Input {
            legs: self.legs.clone(),
            crossings: self.crossings.clone(),
            splices: 0,
            figures: self.figures.clone(),
            at_chainages_m: Vec::new(),
            at_wires_m: Vec::new(),
        })?;
        for (field, places) in [("splices", &self.splices), ("test_points", &self.test_points)] {
            count(field, places.len(), 0, MOST_PLACES)?;
            for (number, place) in places.iter().enumerate() {
                let chainage = || format!("{field}[{number}].chainage_m");
                range(chainage, place.chainage_m, 0.0, layout.ground().value())?;
            }
        }
        Ok(layout)
    }

    fn landmarks(&self, layout: &Layout) -> Result<Vec<Landmark>, OutOfBounds> {
        let mut landmarks = Vec::new();
        for share in layout.crossings(self.crossings.len()) {
            let crossing = &self.crossings[share.number];
            landmarks.push(Landmark {
                kind: LandmarkKind::Crossing,
                number: share.number,
                chainage_m: crossing.chainage_m,
                words: format!("{} {}", crossing.obstacle, crossing.construction),
                from_wire: share.from_wire_m,
                to_wire: share.to_wire_m,
            });
        }
        for (kind, word, places) in [
            (LandmarkKind::Splice, "splice", &self.splices),
            (LandmarkKind::TestPoint, "test point", &self.test_points),
        ] {
            for (number, place) in places.iter().enumerate() {
                let along = layout.along_wire(place.chainage_m)?;
                landmarks.push(Landmark {
                    kind,
                    number,
                    chainage_m: place.chainage_m,
                    words: place.name.as_ref().map_or(word.to_owned(), |name| format!("{word} {name}")),
                    from_wire: along.from_wire_m,
                    to_wire: along.to_wire_m,
                });
            }
        }
        landmarks.sort_by(|a, b| {
            let by_chainage = a.chainage_m.value().total_cmp(&b.chainage_m.value());
            by_chainage.then(a.kind.cmp(&b.kind)).then(a.number.cmp(&b.number))
        });
        Ok(landmarks)
    }

    /// The stretch of the ground from one distance along the wire to another, with the likeliest place between them, when
    /// the test's sections come to a length of their own.
    pub(super) fn stretch(
        &self,
        (nearest, likeliest, farthest): (Metres, Metres, Metres),
        sections: Metres,
    ) -> Result<GroundStretch, Error> {
        let layout = self.layout().map_err(Error::Record)?;
        let record = layout.wire();
        let apart = (sections - record).value().abs();
        if apart > MOST_APART * record.value() {
            return Err(LengthsApart { sections, record }.into());
        }
        let mut notes = vec![SLACK.to_owned()];
        if apart > APART * record.value() {
            notes.push(format!(
                "The sections come to {sections} of wire, and the record to {record}: the place was taken in proportion."
            ));
        }
        let along = |distance: Metres| {
            Metres::bounded(distance.value() / sections.value() * record.value())
                .max(Metres::ZERO)
                .min(record)
        };
        let ground = |distance: Metres| {
            let found = layout.on_ground(along(distance)).map_err(wire::Error::from);
            found.map(|found| found.chainage_m).map_err(Error::Record)
        };
        let (from, to) = (along(nearest), along(farthest));
        let landmarks = self.landmarks(&layout).map_err(|bounds| Error::Record(bounds.into()))?;
        let before = landmarks.iter().rfind(|mark| mark.to_wire < from).cloned();
        let beyond = landmarks.iter().find(|mark| mark.from_wire > to).cloned();
        let inside =
            landmarks.into_iter().filter(|mark| mark.from_wire <= to && mark.to_wire >= from).collect();
        Ok(GroundStretch {
            from_chainage_m: ground(nearest)?,
            to_chainage_m: ground(farthest)?,
            chainage_m: ground(likeliest)?,
            wire_m: record,
            inside,
            before,
            beyond,
            notes,
        })
    }
}
