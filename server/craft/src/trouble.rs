//! The search for a fault on a line: what to suspect by the signs, which stretch is left, and where and how to test next. It
//! stands on what the log has of the line, so that two crews see the same stretch. The way of going about it is that of US
//! Army subcourses SS0440, p. 60, and SS0438, p. 83.

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    circuit::{self, CircuitSection, Instrument},
    crossing::Crossing,
    fault::{
        self, FaultInput,
        halving::SearchStretch,
        signs::{FaultKind, Suspicion, suspects},
    },
    geodesy::Position,
    guide::Item,
    line::Line,
    line_wire,
    profile::Profile,
    proving::{Trouble, TroubleStretch},
    report::Measured,
    tags::{Tag, TagAt},
    units::{Celsius, Metres},
    wire_type::{REFERENCE_C, WireType},
};

/// What a crew rather walks than halves again: a quarter of a mile.
///
/// # Source
/// SS0440 p. 60 has the crew halve until the rest is short enough to walk; how short is a planning value.
const WALKABLE: Metres = Metres::from_const(402.336);

/// What is at the place of a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TestPlaceKind {
    /// A tag beside a crossing.
    Tag,
    /// A place where the line was tested before.
    TestPoint,
    /// A splice.
    Splice,
    /// Nothing that is on record.
    OpenWire,
}

/// Where to test next, and how.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct NextTest {
    /// Along the line.
    pub chainage_m: Metres,
    /// On the ground.
    #[schema(required = true)]
    pub position: Option<Position>,
    /// What is there.
    pub kind: TestPlaceKind,
    /// What is there, in words.
    pub words: String,
    /// Whether the wire has to be parted there.
    pub cuts: bool,
    /// What to do, in order.
    pub how: Vec<String>,
    /// Where that was read.
    pub source: &'static str,
}

/// The guide to a trouble.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TroubleGuide {
    /// What the signs point at, the likeliest first.
    pub suspects: Vec<Suspicion>,
    /// What to do before anybody walks.
    pub first: Vec<&'static str>,
    /// What is left to search.
    pub stretch: TroubleStretch,
    /// Its near end on the ground.
    #[schema(required = true)]
    pub from: Option<Position>,
    /// Its far end on the ground.
    #[schema(required = true)]
    pub to: Option<Position>,
    /// The tests until what is left is short enough to walk, when each is made at the middle.
    pub tests_left: u32,
    /// Where to test next; none when the rest is to be walked.
    #[schema(required = true)]
    pub next: Option<NextTest>,
    /// What can hurt somebody, or cut somebody off.
    pub cautions: Vec<Item>,
}

/// Where a fault lies by readings, on the ground of the line as it was laid.
///
/// # Errors
/// Readings that contradict each other or the line, or are out of their range.
pub fn measured(
    line: &Line,
    crossings: &[Crossing],
    profile: &Profile,
    measured: &Measured,
) -> Result<TroubleStretch, fault::Error> {
    let (record, _) = line_wire::record(line, crossings, profile);
    let answer = fault::reckon(&FaultInput {
        sections: vec![CircuitSection {
            wire: measured.wire.unwrap_or(WireType::Wd1Tt),
            length_m: record.wire()?,
            wet: measured.wet,
            temperature_c: measured.temperature_c.unwrap_or(Celsius::from_const(REFERENCE_C)),
            pairs_in_parallel: 1,
            splices: 0,
            figures: None,
        }],
        splice_ohm: circuit::no_ohms(),
        temperature_tolerance_c: circuit::five_degrees(),
        instrument: Instrument::default(),
        test: measured.test.clone(),
        line: Some(record),
    })?;
    let whole = TroubleStretch { from_m: Metres::ZERO, to_m: line.length() };
    Ok(answer.ground.map_or(whole, |ground| TroubleStretch {
        from_m: ground.from_chainage_m,
        to_m: ground.to_chainage_m,
    }))
}

/// The guide to a trouble of the line.
#[must_use]
pub fn guide(
    line: &Line,
    crossings: &[Crossing],
    tags: &[Tag],
    profile: &Profile,
    trouble: &Trouble,
) -> TroubleGuide {
    let suspects = suspects(&trouble.signs());
    let stretch = trouble.stretch;
    let search = SearchStretch::new(stretch.from_m, stretch.to_m).ok();
    let tests_left = search.and_then(|search| search.tests_needed(WALKABLE).ok()).unwrap_or(0);
    let fault = suspects.first().map_or(FaultKind::Open, |suspicion| suspicion.fault);
    let next = search
        .filter(|_| tests_left > 0)
        .map(|search| next_test(line, crossings, tags, profile, search, fault));
    TroubleGuide {
        suspects,
        first: vec![
            "Look at the telephone, its batteries and its terminals, then put a known good telephone in its place.",
            "Turn the crank with the line on and with the line off: the line's own crank tells open from short.",
            "Test for an earth before a short: an earth is misread as one.",
            "Send whoever laid the line, and let both ends know who goes.",
        ],
        stretch,
        from: line_wire::position(line, stretch.from_m),
        to: line_wire::position(line, stretch.to_m),
        tests_left,
        next,
        cautions: circuit::cautions(),
    }
}

/// The recorded place nearest to the middle; never inside a span that has to stay unbroken.
fn next_test(
    line: &Line,
    crossings: &[Crossing],
    tags: &[Tag],
    profile: &Profile,
    search: SearchStretch,
    fault: FaultKind,
) -> NextTest {
    let unbroken: Vec<_> = crossings.iter().filter_map(|crossing| crossing.unbroken(profile)).collect();
    let inside = |at: Metres| unbroken.iter().find(|span| span.holds(at));
    let mut places: Vec<(Metres, TestPlaceKind, String)> = Vec::new();
    for tag in tags {
        let kind = if tag.at == TagAt::TestPoint { TestPlaceKind::TestPoint } else { TestPlaceKind::Tag };
        places.push((tag.chainage_m, kind, format!("tag {}, {}", tag.number, tag.words)));
    }
    let begun = line.reels.iter().skip(1).map(|reel| (reel.from_chainage_m, reel.label.to_string()));
    let made = line.splices.iter().map(|splice| (splice.chainage_m, String::new()));
    for (at, reel) in made.chain(begun) {
        let words = if reel.is_empty() { "splice".to_owned() } else { format!("splice to reel {reel}") };
        places.push((at, TestPlaceKind::Splice, words));
    }
    // A mark that is easy to find and far from the middle costs more tests than it spares: a quarter off is the most. Planning
    // value, no source.
    let quarter = search.length().half().half();
    let near_the_middle = |at: Metres| search.from() + quarter <= at && at <= search.to() - quarter;
    places.retain(|(at, ..)| {
        near_the_middle(*at) && inside(*at).is_none_or(|span| *at <= span.from || *at >= span.to)
    });
    let recorded: Vec<Metres> = places.iter().map(|(at, ..)| *at).collect();
    let mut chainage_m = search.next_test(&recorded);
    let marked = places.into_iter().find(|(at, ..)| *at == chainage_m);
    let (kind, words) = if let Some((_, kind, words)) = marked {
        (kind, words)
    } else {
        // Bare the wire beside the water and not over it.
        if let Some(span) = inside(chainage_m) {
            chainage_m = if span.from > search.from() { span.from } else { span.to };
        }
        (TestPlaceKind::OpenWire, "wire between two marks of the record".to_owned())
    };
    let (cuts, how, source) = how(fault, kind);
    NextTest {
        chainage_m,
        position: line_wire::position(line, chainage_m),
        kind,
        words,
        cuts,
        how: how.into_iter().map(ToOwned::to_owned).collect(),
        source,
    }
}

/// What to do at the place: an open is found by clipping on, the other faults only with the wire parted.
fn how(fault: FaultKind, kind: TestPlaceKind) -> (bool, Vec<&'static str>, &'static str) {
    if fault == FaultKind::Open {
        let steps = vec![
            "Clip the test telephone on; where there is no terminal, bare as little of each conductor as the clips take. Do \
             not cut.",
            "Ring both ways and talk: the end that does not answer is the bad side.",
            "Tape the bared places again before you go on, and report what answered.",
        ];
        return (false, steps, "SS0440 p. 60");
    }
    let part = match kind {
        TestPlaceKind::TestPoint => "Part the line at the terminals; nothing is cut.",
        TestPlaceKind::Splice => "Open the splice rather than cut sound wire.",
        TestPlaceKind::Tag | TestPlaceKind::OpenWire => {
            "Cut the wire where it lies on the ground, with slack to splice it again; never in a span or under a way."
        }
    };
    let steps = vec![
        "Tell both ends before the wire is parted.",
        part,
        "Test each way by itself: the side that still shows the fault is the bad one.",
        "Splice, tape and test again before you go on, and report what answered and that it was cut.",
    ];
    (
        kind != TestPlaceKind::TestPoint,
        steps,
        "SS0440 p. 60, of a short; of an earth and a cross: common practice, no source",
    )
}
