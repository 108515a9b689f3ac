//! Stores: what was issued on each reel, and where it is now. What is issued lies, is still on the reel, came back, or is
//! lost; what is left over of the sum nobody has accounted for. The wire on the ground is what came off the reel: measured
//! where the rest was, else by the reckoning of [`crate::line_wire`].

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    crossing::Crossing,
    ids::{LineId, ReelId},
    line::{Designation, Line},
    line_wire::{self, PacePlan},
    profile::Profile,
    recovery::{WireClass, lying},
    text::Name,
    units::Metres,
};

/// Lengths are told to the metre or so: a sum that is off by less is balanced. Planning value, no source.
const SLIP: Metres = Metres::from_const(1.0);

/// The account of one reel, or the sum of all.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, ToSchema)]
pub struct WireAccount {
    /// Wire issued, in metres.
    pub issued_m: Metres,
    /// Wire that still lies, in metres.
    pub laid_m: Metres,
    /// Wire that was never laid and is still with the crew, in metres: by the reckoning of what was drawn.
    pub on_reel_m: Metres,
    /// Wire that came back, in metres: taken up, or never laid and measured.
    pub returned_m: Metres,
    /// Wire that was lost or left, in metres.
    pub lost_m: Metres,
    /// Issued less all of these, in metres: nobody has said where it is. Negative: more came back than was issued.
    pub missing_m: Metres,
    /// Whether the sum comes out, within a metre for each reel.
    pub balanced: bool,
}

impl WireAccount {
    fn closed(mut self, reels: usize) -> Self {
        let there = self.laid_m + self.on_reel_m + self.returned_m + self.lost_m;
        self.missing_m = self.issued_m - there;
        #[allow(clippy::cast_precision_loss, reason = "reels are few")]
        let slip = SLIP.value() * reels as f64;
        self.balanced = self.missing_m.value().abs() <= slip;
        self
    }
}

/// A reel in the books.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ReelAccount {
    /// The line that it was issued for.
    pub line: LineId,
    /// The line's number.
    pub designation: Designation,
    /// The reel.
    pub reel: ReelId,
    /// What is written on it.
    pub label: Name,
    /// Whether what was left on it was measured.
    pub rest_measured: bool,
    /// Where its wire is.
    #[serde(flatten)]
    pub account: WireAccount,
}

/// Wire that came back, by the reel that it is on now.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ReelFilled {
    /// What is written on the reel.
    pub label: Name,
    /// The wire on it, in metres.
    pub length_m: Metres,
    /// Splices in each conductor.
    pub splices: u16,
    /// Its class.
    pub class: WireClass,
}

/// The books.
#[derive(Debug, Clone, PartialEq, Default, Serialize, ToSchema)]
pub struct Stores {
    /// Reels as they were issued, by line and in the order in which they were begun.
    pub reels: Vec<ReelAccount>,
    /// Reels that wire was taken up onto.
    pub filled: Vec<ReelFilled>,
    /// All of it.
    pub all: WireAccount,
    /// What is to be looked into, in words.
    pub words: Vec<String>,
}

/// The books of all lines with their crossings.
///
/// # Errors
/// A line longer, or with more crossings, than the reckonings take.
pub fn balance(lines: &[(Line, Vec<Crossing>)], profile: &Profile) -> Result<Stores, line_wire::Error> {
    let mut stores = Stores::default();
    for (line, crossings) in lines {
        for section in &line.recovery.sections {
            fill(&mut stores.filled, &section.onto, section.length_m, section.splices);
        }
        if !line.reels.is_empty() {
            of_line(line, crossings, profile, &mut stores)?;
        } else if !line.recovery.sections.is_empty() {
            stores
                .words
                .push(format!("line {}: wire came up of which no reel is on record", line.designation));
        }
    }
    stores.all = stores.all.closed(stores.reels.len());
    Ok(stores)
}

fn fill(filled: &mut Vec<ReelFilled>, label: &Name, length_m: Metres, splices: u16) {
    match filled.iter_mut().find(|reel| reel.label == *label) {
        Some(reel) => {
            reel.length_m = reel.length_m + length_m;
            // Another length on the same reel is spliced to the one before.
            reel.splices = reel.splices.saturating_add(splices).saturating_add(1);
            reel.class = WireClass::of(reel.length_m, reel.splices);
        }
        None => filled.push(ReelFilled {
            label: label.clone(),
            length_m,
            splices,
            class: WireClass::of(length_m, splices),
        }),
    }
}

fn of_line(
    line: &Line,
    crossings: &[Crossing],
    profile: &Profile,
    stores: &mut Stores,
) -> Result<(), line_wire::Error> {
    let reckoned = line_wire::reckon(line, crossings, profile, PacePlan::default())?;
    let lies = lying(line);
    let last = line.reels.len() - 1;
    let spans: Vec<(Metres, Metres)> = line
        .reels
        .iter()
        .enumerate()
        .map(|(number, reel)| {
            // What was laid before a reel is on record came off the first one.
            let from = if number == 0 { Metres::ZERO } else { reel.from_chainage_m };
            let to = line.reels.get(number + 1).map_or(line.laid_length, |next| next.from_chainage_m);
            (from, to.max(from))
        })
        .collect();
    let up: Vec<_> = line.recovery.sections.iter().map(|s| (s.from_m, s.to_m, s.length_m)).collect();
    let gone: Vec<_> = line.recovery.not_back.iter().map(|p| (p.from_m, p.to_m, p.length_m)).collect();
    for (number, reel) in line.reels.iter().enumerate() {
        let rest = line.recovery.rests.iter().find(|rest| rest.reel == reel.id);
        let left = rest.map_or(reckoned.reels[number].left_m, |rest| rest.left_m);
        let drawn = reel.length_m - left;
        let (from, to) = spans[number];
        let still: Metres = lies.iter().map(|stretch| overlap(from, to, stretch.from, stretch.to)).sum();
        let length = to - from;
        let part = if length > Metres::ZERO { still.value() / length.value() } else { 0.0 };
        let (returned_m, gone_m) = (share(&up, &spans, number, last), share(&gone, &spans, number, last));
        let account = WireAccount {
            issued_m: reel.length_m,
            laid_m: Metres::bounded(drawn.value() * part),
            on_reel_m: if rest.is_some() { Metres::ZERO } else { left },
            returned_m: returned_m + rest.map_or(Metres::ZERO, |rest| rest.left_m),
            lost_m: gone_m,
            ..WireAccount::default()
        }
        .closed(1);
        if !account.balanced {
            stores.words.push(format!(
                "reel {} of line {}: {}",
                reel.label,
                line.designation,
                if account.missing_m > Metres::ZERO {
                    format!("{:.0} is accounted for nowhere; say what was lost or left, and why", account.missing_m)
                } else {
                    let over = Metres::ZERO - account.missing_m;
                    format!("{over:.0} more came back than went out; look at the lengths and at what came up twice")
                }
            ));
        }
        let all = &mut stores.all;
        all.issued_m = all.issued_m + account.issued_m;
        all.laid_m = all.laid_m + account.laid_m;
        all.on_reel_m = all.on_reel_m + account.on_reel_m;
        all.returned_m = all.returned_m + account.returned_m;
        all.lost_m = all.lost_m + account.lost_m;
        stores.reels.push(ReelAccount {
            line: line.id,
            designation: line.designation.clone(),
            reel: reel.id,
            label: reel.label.clone(),
            rest_measured: rest.is_some(),
            account,
        });
    }
    Ok(())
}

fn overlap(from: Metres, to: Metres, other_from: Metres, other_to: Metres) -> Metres {
    (to.min(other_to) - from.max(other_from)).max(Metres::ZERO)
}

/// What of the pieces, by their ground, came off this reel. A piece that lies beyond all of them came off the last.
fn share(
    pieces: &[(Metres, Metres, Metres)],
    spans: &[(Metres, Metres)],
    number: usize,
    last: usize,
) -> Metres {
    let mut sum = Metres::ZERO;
    for &(from, to, wire) in pieces {
        let met = |&(begins, ends): &(Metres, Metres)| overlap(from, to, begins, ends).value();
        let all: f64 = spans.iter().map(met).sum();
        if all > 0.0 {
            sum = sum + Metres::bounded(wire.value() * met(&spans[number]) / all);
        } else if number == last {
            sum = sum + wire;
        }
    }
    sum
}
