//! What a line is after a test, a word from the watch, or trouble.

use chrono::{DateTime, Utc};

use super::{CALLS_KEPT, Installation, Step, full, room, said_or_stood, wants};
use crate::{
    crossing::{Crossing, CrossingState},
    fault::halving::SearchStretch,
    geodesy::Position,
    line::{Line, LineState},
    party::Sender,
    profile::Profile,
    proof,
    proving::{
        ProofLost, ProofLostBy, Test, Trouble, TroubleClearing, TroubleStep, TroubleStretch, TroubleTold,
        Watch,
    },
    refusal::Refusal,
    report::{
        Finding, LineHandedOver, LineProved, TestMade, TestedFrom, TroubleCleared, TroubleNarrowed,
        TroubleReported, WatchSet,
    },
    trouble,
    units::Metres,
};

/// Troubles kept on the line itself; the log has them all.
const TROUBLES_KEPT: usize = 50;
/// Most reports of one trouble, and most who cleared it.
const MOST_TOLD: usize = 50;
/// Most steps of one search: halving finds a pace of ground on any line in twenty.
const MOST_STEPS: usize = 100;

/// The line is proved and handed over no more, for this reason.
pub(super) fn lose_proof(line: &mut Line, because: ProofLostBy) {
    if let Some(was_proved_at) = line.proved_at.take() {
        line.proving.proof_lost = Some(ProofLost { was_proved_at, because });
    }
    line.handed_over_at = None;
    line.handed_over_to = None;
    line.proving.tags.clear();
}

fn keep(line: &mut Line, test: Test) {
    line.proving.tests.push(test);
    let over = line.proving.tests.len().saturating_sub(CALLS_KEPT);
    line.proving.tests.drain(..over);
}

fn not_in_trouble(line: &Line) -> Result<(), Refusal> {
    let told = line.proving.trouble().and_then(|trouble| trouble.told.first());
    told.map_or(Ok(()), |told| {
        let need = format!("{} reported trouble on it that is not cleared; clear it first", told.team);
        Err(wants(line, &need))
    })
}

impl Installation {
    fn of_line(&self, line: &Line) -> Vec<Crossing> {
        self.crossings.of_line(line.id).cloned().collect()
    }

    pub(super) fn test_made(
        &self,
        b: &TestMade,
        stood: Option<Position>,
        by: &Sender,
        when: DateTime<Utc>,
    ) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        if line.laid.is_empty() {
            return Err(wants(&line, "no wire is reported on it; report where it lies, and then the test"));
        }
        if let Some(readings) = &b.readings {
            proof::check(readings).map_err(|out| Refusal::Reading { what: out.to_string() })?;
        }
        let chainage_m = match b.from {
            TestedFrom::NearEnd => Metres::ZERO,
            TestedFrom::FarEnd => line.laid_length,
            TestedFrom::Along => said_or_stood(&line, b.chainage_m, stood)?,
        };
        let test = Test {
            at: when,
            team: by.team.clone(),
            from: b.from,
            chainage_m,
            to_whom: b.to_whom.clone(),
            rang: b.rang,
            spoke: b.spoke,
            quality: b.quality,
            after: b.after,
            readings: b.readings.clone(),
            is_final: false,
        };
        if test.is_good() {
            self.called(&mut line, b.from == TestedFrom::FarEnd, chainage_m, by, when)?;
        }
        keep(&mut line, test);
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn line_proved(
        &self,
        b: &LineProved,
        by: &Sender,
        when: DateTime<Utc>,
        profile: &Profile,
    ) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        if line.state != LineState::Finished {
            return Err(wants(&line, "it is proved when it is through and no crossing is unfinished"));
        }
        not_in_trouble(&line)?;
        let test = Test {
            at: when,
            team: by.team.clone(),
            from: TestedFrom::FarEnd,
            chainage_m: line.laid_length,
            to_whom: None,
            rang: true,
            spoke: true,
            quality: None,
            after: None,
            readings: b.readings.clone(),
            is_final: true,
        };
        if let Some(readings) = &b.readings {
            let reading = |what: String| Refusal::Reading { what };
            proof::check(readings).map_err(|out| reading(out.to_string()))?;
            let judged = proof::judge(&line, &self.of_line(&line), profile, &test)
                .map_err(|error| reading(error.to_string()))?;
            let words = judged.bad();
            if !words.is_empty() {
                return Err(Refusal::NotGood { designation: line.designation, words });
            }
        }
        line.proved_at = Some(when);
        line.proving.proof_lost = None;
        keep(&mut line, test);
        let proved = self
            .crossings
            .of_line(line.id)
            .filter(|c| c.state == CrossingState::Finished)
            .map(|c| Crossing { state: CrossingState::Proved, proved_at: Some(when), ..c.clone() })
            .collect();
        Ok(self.settled(line, proved))
    }

    pub(super) fn line_handed_over(&self, b: &LineHandedOver, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        if line.state != LineState::Proved {
            return Err(wants(&line, "it is handed over once it is proved"));
        }
        not_in_trouble(&line)?;
        line.handed_over_at = Some(when);
        line.handed_over_to = Some(b.to.clone());
        line.proving.tags.clone_from(&b.tags);
        line.proving.watch = None;
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn watch_set(&self, b: &WatchSet, by: &Sender, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        match line.state {
            LineState::Through | LineState::Finished | LineState::Proved => {}
            LineState::Planned | LineState::Laying => {
                return Err(wants(&line, "a watch is set once a call came from its far end"));
            }
            LineState::HandedOver => return Err(wants(&line, "the switchboard's crew has it")),
            LineState::Recovered => return Err(wants(&line, "there is nothing left to watch")),
        }
        if line.recovery.ordered_up.is_some() {
            return Err(wants(&line, "it is ordered up"));
        }
        let chainage_m = said_or_stood(&line, b.chainage_m.or(Some(line.laid_length)), None)?;
        line.proving.watch =
            Some(Watch { who: b.who.clone(), since: when, chainage_m, team: by.team.clone() });
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn trouble_reported(
        &self,
        b: &TroubleReported,
        by: &Sender,
        when: DateTime<Utc>,
    ) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        if line.laid.is_empty() {
            return Err(wants(&line, "no wire is reported on it that could be in trouble"));
        }
        if line.recovery.ordered_up.is_some() {
            return Err(wants(&line, "it is ordered up, and is to be dead"));
        }
        let told =
            TroubleTold { at: when, team: by.team.clone(), signs: b.signs.clone(), remark: b.remark.clone() };
        if b.signs.contains(&crate::fault::signs::Sign::NothingPasses) && line.proving.silent_since.is_none()
        {
            line.proving.silent_since = Some(when);
        }
        match line.proving.troubles.last_mut().filter(|trouble| trouble.is_open()) {
            // Another has seen it as well: it is one trouble until it is cleared.
            Some(open) if open.told.len() < MOST_TOLD => open.told.push(told),
            Some(_) => return Err(full(&line, "reports of this trouble", MOST_TOLD)),
            None => {
                let stretch = TroubleStretch { from_m: Metres::ZERO, to_m: line.laid_length };
                let (steps, cleared) = (Vec::new(), Vec::new());
                line.proving.troubles.push(Trouble { told: vec![told], steps, stretch, cleared });
                let over = line.proving.troubles.len().saturating_sub(TROUBLES_KEPT);
                line.proving.troubles.drain(..over);
            }
        }
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn trouble_narrowed(
        &self,
        b: &TroubleNarrowed,
        by: &Sender,
        when: DateTime<Utc>,
        profile: &Profile,
    ) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        let Some(open) = line.proving.trouble() else {
            return Err(wants(&line, "no trouble is open on it; report its signs first"));
        };
        room(&line, "steps of this search", open.steps.len(), MOST_STEPS)?;
        let before = open.stretch;
        let (stretch, told_nothing) = match &b.finding {
            Finding::Answered(heard) => {
                let halved = SearchStretch::new(before.from_m, before.to_m).and_then(|stretch| {
                    stretch.after_test(heard.chainage_m, heard.near_answers, heard.far_answers)
                });
                match halved {
                    Ok(left) => (TroubleStretch { from_m: left.from(), to_m: left.to() }, None),
                    // It was heard so, whatever it means: the stretch stays, and the reason is told.
                    Err(why) => (before, Some(why.to_string())),
                }
            }
            Finding::Measured(measured) => {
                let found = trouble::measured(&line, &self.of_line(&line), profile, measured)
                    .map_err(|error| Refusal::Reading { what: error.to_string() })?;
                let (from_m, to_m) = (before.from_m.max(found.from_m), before.to_m.min(found.to_m));
                if from_m < to_m {
                    (TroubleStretch { from_m, to_m }, None)
                } else {
                    let why = format!(
                        "by these readings it lies from {} to {}, and by what was found before from {} to {}: there \
                         may be two faults, or one of them was misread",
                        found.from_m, found.to_m, before.from_m, before.to_m
                    );
                    (before, Some(why))
                }
            }
        };
        let step = TroubleStep {
            at: when,
            team: by.team.clone(),
            finding: b.finding.clone(),
            stretch,
            told_nothing,
        };
        if let Some(open) = line.proving.troubles.last_mut() {
            open.stretch = stretch;
            open.steps.push(step);
        }
        Ok(self.settled(line, Vec::new()))
    }

    pub(super) fn trouble_cleared(
        &self,
        b: &TroubleCleared,
        by: &Sender,
        when: DateTime<Utc>,
    ) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        let chainage_m = b.chainage_m.map(|said| said_or_stood(&line, Some(said), None)).transpose()?;
        // Two crews may each have found something: what the second did is in the ground as well.
        let Some(trouble) = line.proving.troubles.last_mut() else {
            return Err(wants(&line, "no trouble was reported on it; report its signs first"));
        };
        if trouble.cleared.len() >= MOST_TOLD {
            return Err(full(&line, "clearings of this trouble", MOST_TOLD));
        }
        trouble.cleared.push(TroubleClearing {
            at: when,
            team: by.team.clone(),
            fault: b.fault,
            cause: b.cause.clone(),
            chainage_m,
            cut: b.cut,
        });
        line.proving.speaks(when);
        // What was cut before the line was proved lay in the ground, mended, when it was proved.
        if b.cut && line.proved_at.is_some_and(|proved| proved <= when) {
            lose_proof(&mut line, ProofLostBy::WireCut);
        }
        Ok(self.settled(line, Vec::new()))
    }
}
