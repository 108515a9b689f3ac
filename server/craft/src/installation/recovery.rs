//! What a line is after something was said while it was taken up.

use chrono::{DateTime, Utc};

use super::{AHEAD_OF_TRACE, Installation, Step, in_range, room, wants};
use crate::{
    line::Line,
    party::Sender,
    recovery::{MadeGood, NotBack, OrderedUp, RestReturned, SectionUp, WireClass},
    refusal::Refusal,
    report::{CrossingMadeGood, LineOrderedUp, ReelReturned, SectionTakenUp, WireLost},
    units::Metres,
};

/// Most sections, and most pieces that did not come back, of one line.
const MOST_PIECES: usize = 1_000;
/// More wire than this comes up in no one section.
const MOST_WIRE_M: f64 = 20_000.0;

impl Installation {
    /// The gate before anything is taken up: the last word that was had over the wire may not be a living one.
    pub(super) fn line_ordered_up(&self, b: &LineOrderedUp, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        if line.laid.is_empty() {
            return Err(wants(&line, "no wire is reported on it, so that there is nothing to take up"));
        }
        if line.recovery.ordered_up.is_some() {
            return Err(wants(&line, "it is ordered up already"));
        }
        let calls = line.call_backs.iter().map(|call| (call.at, &call.team));
        let tests =
            line.proving.tests.iter().filter(|test| test.is_alive()).map(|test| (test.at, &test.team));
        let dead = line.proving.tests.iter().filter(|test| !test.is_alive()).map(|test| test.at).max();
        if let Some((at, team)) = calls.chain(tests).max_by_key(|(at, _)| *at)
            && dead.is_none_or(|dead| dead <= at)
        {
            let (designation, team) = (line.designation.clone(), team.clone());
            return Err(Refusal::StillAlive { designation, team, at });
        }
        line.recovery.ordered_up =
            Some(OrderedUp { at: when, confirmed_dead_by: b.confirmed_dead_by.clone() });
        // Whoever sits there goes with the line, and nobody waits for a word over it any more.
        line.proving.watch = None;
        line.proving.speaks(when);
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn section_taken_up(
        &self,
        b: &SectionTakenUp,
        by: &Sender,
        when: DateTime<Utc>,
    ) -> Result<Step, Refusal> {
        let mut line = ordered_up(self.line(b.line)?)?.clone();
        on_the_line(&line, b.from_m, b.to_m)?;
        in_range("Wire taken up", b.length_m, 0.0, MOST_WIRE_M)?;
        room(&line, "sections", line.recovery.sections.len(), MOST_PIECES)?;
        line.recovery.sections.push(SectionUp {
            at: when,
            team: by.team.clone(),
            from_m: b.from_m,
            to_m: b.to_m,
            onto: b.onto.clone(),
            length_m: b.length_m,
            splices: b.splices,
            class: WireClass::of(b.length_m, b.splices),
        });
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn wire_lost(&self, b: &WireLost, by: &Sender, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut line = ordered_up(self.line(b.line)?)?.clone();
        on_the_line(&line, b.from_m, b.to_m)?;
        in_range("Wire lost or left", b.length_m, 0.0, MOST_WIRE_M)?;
        room(&line, "pieces lost or left", line.recovery.not_back.len(), MOST_PIECES)?;
        line.recovery.not_back.push(NotBack {
            at: when,
            team: by.team.clone(),
            from_m: b.from_m,
            to_m: b.to_m,
            length_m: b.length_m,
            fate: b.fate,
            because: b.because.clone(),
        });
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn crossing_made_good(
        &self,
        b: &CrossingMadeGood,
        by: &Sender,
        when: DateTime<Utc>,
    ) -> Result<Step, Refusal> {
        let crossing = self.crossing(b.crossing)?;
        let mut line = ordered_up(self.line(crossing.line)?)?.clone();
        // Told by two, it is made good once: the first stays.
        if !line.recovery.made_good.iter().any(|made| made.crossing == crossing.id) {
            line.recovery.made_good.push(MadeGood {
                crossing: crossing.id,
                at: when,
                team: by.team.clone(),
                remark: b.remark.clone(),
            });
        }
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn reel_returned(&self, b: &ReelReturned, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        let Some(reel) = line.reels.iter().find(|reel| reel.id == b.reel) else {
            return Err(wants(
                &line,
                "there is no such reel on it; choose a reel that was begun on this line",
            ));
        };
        in_range("What is left on the reel", b.left_m, 0.0, reel.length_m.value())?;
        // Measured again, the last measure counts.
        line.recovery.rests.retain(|rest| rest.reel != b.reel);
        line.recovery.rests.push(RestReturned { reel: b.reel, at: when, left_m: b.left_m });
        Ok(self.settled(line, Vec::new()))
    }
}

fn ordered_up(line: &Line) -> Result<&Line, Refusal> {
    if line.recovery.ordered_up.is_some() {
        return Ok(line);
    }
    Err(wants(line, "nothing of it comes up before the command post has confirmed it dead and ordered it up"))
}

fn on_the_line(line: &Line, from_m: Metres, to_m: Metres) -> Result<(), Refusal> {
    if from_m < Metres::ZERO || to_m <= from_m {
        return Err(Refusal::NoStretch { from_m, to_m });
    }
    if to_m > line.laid_length + AHEAD_OF_TRACE {
        return Err(Refusal::BeyondTheWire { chainage_m: to_m, laid_m: line.laid_length });
    }
    Ok(())
}
