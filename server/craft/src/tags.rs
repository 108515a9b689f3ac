//! Where a line's tags belong, numbered from the near end: at both ends, on both sides of each crossing, which is where the
//! construction changes, where another line branches off, and where it was tested on the way.

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    crossing::{Crossing, CrossingState},
    geodesy::Position,
    ids::CrossingId,
    line::{Designation, Line},
    line_wire,
    profile::Profile,
    units::Metres,
};

/// How far beside a crossing without ties its tags are. Planning value, no source: clear of the wheels.
const BESIDE: Metres = Metres::from_const(3.0);
/// Two test points nearer than this are one. Planning value, no source.
const SAME_PLACE: Metres = Metres::from_const(5.0);
/// Another line that ends within this of a line branches off it: a planned end is good to some ten metres. So near an end of
/// its own they share a terminal, and none branches off the other. Planning value, no source.
const BRANCH: Metres = Metres::from_const(20.0);

/// What a tag is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TagAt {
    /// The near end.
    NearEnd,
    /// The near side of a crossing.
    BeforeCrossing,
    /// The far side of a crossing.
    BeyondCrossing,
    /// Where another line branches off.
    Branch,
    /// A place where the line was tested.
    TestPoint,
    /// The far end.
    FarEnd,
}

/// A tag.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Tag {
    /// Its number along the line, from 1 at the near end.
    pub number: usize,
    /// What is written on it: the line's number, the same from end to end.
    pub marking: Designation,
    /// Where it is along the line.
    pub chainage_m: Metres,
    /// Where it is on the ground.
    #[schema(required = true)]
    pub position: Option<Position>,
    /// What it is at.
    pub at: TagAt,
    /// Which crossing.
    #[schema(required = true)]
    pub crossing: Option<CrossingId>,
    /// What it is at, in words.
    pub words: String,
}

/// An end of another line.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherEnd {
    /// The other line.
    pub designation: Designation,
    /// Where it begins or ends.
    pub position: Position,
}

/// A line's tags, from the near end.
///
/// # Source
/// SS0444 p. 30, par. 37: both sides of crossings, test points, telephones and every change of surface, buried and aerial
/// wire; SS0440 p. 29: every time that the construction changes. The number is the same from end to end.
#[must_use]
pub fn list(line: &Line, crossings: &[Crossing], others: &[OtherEnd], profile: &Profile) -> Vec<Tag> {
    let length = line.length();
    let mut places = vec![
        (Metres::ZERO, TagAt::NearEnd, None, format!("near end, {}", line.from)),
        (length, TagAt::FarEnd, None, format!("far end, {}", line.to)),
    ];
    for crossing in crossings.iter().filter(|crossing| crossing.state != CrossingState::StruckOut) {
        let overhead = crossing.construction.is_some_and(Construction::is_overhead);
        let aside = if overhead { crossing.span.unwrap_or(profile.span.normal.value).half() } else { BESIDE };
        let way = crossing.construction.map_or_else(String::new, |construction| format!(", {construction}"));
        for (at, side, word) in [
            (crossing.chainage - aside, TagAt::BeforeCrossing, "before"),
            (crossing.chainage + aside, TagAt::BeyondCrossing, "beyond"),
        ] {
            let at = at.max(Metres::ZERO).min(length);
            places.push((at, side, Some(crossing.id), format!("{word} the {}{way}", crossing.obstacle)));
        }
    }
    let course = line.laid.trace().or_else(|| line.planned.clone());
    for other in others {
        let Some(near) = course.as_ref().map(|course| course.nearest(other.position)) else { continue };
        if near.offset <= BRANCH && near.chainage > BRANCH && near.chainage < length - BRANCH {
            places.push((
                near.chainage,
                TagAt::Branch,
                None,
                format!("line {} branches off", other.designation),
            ));
        }
    }
    let tested = line.call_backs.iter().map(|call| call.chainage_m);
    for at in tested.chain(line.proving.tests.iter().map(|test| test.chainage_m)) {
        let there = |(known, ..): &(Metres, TagAt, Option<CrossingId>, String)| {
            (*known - at).max(at - *known) < SAME_PLACE
        };
        if at < length && !places.iter().any(there) {
            places.push((at, TagAt::TestPoint, None, "test point".to_owned()));
        }
    }
    // The sort is stable, and the far end comes last of what lies there.
    places.sort_by(|a, b| {
        let ends = |at: TagAt| (at != TagAt::NearEnd, at == TagAt::FarEnd);
        ends(a.1).cmp(&ends(b.1)).then(a.0.value().total_cmp(&b.0.value()))
    });
    let numbered = places.into_iter().enumerate();
    numbered
        .map(|(number, (chainage_m, at, crossing, words))| Tag {
            number: number + 1,
            marking: line.designation.clone(),
            chainage_m,
            position: line_wire::position(line, chainage_m),
            at,
            crossing,
            words,
        })
        .collect()
}
