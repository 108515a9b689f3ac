//! Tells reports tersely and takes them in as the service does: each is decided on its own line with that line's
//! crossings, and not on the whole operation.

use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::{
    construction::Construction,
    crossing::{Crossing, CrossingState, GivenTo},
    fault::signs::{FaultKind, Sign},
    geodesy::Position,
    guide::{Choice, Item, guide},
    ids::{CrossingId, LineId, ReelId, ReportId},
    installation::Installation,
    line::{Designation, Line, LineState},
    obstacle::Obstacle,
    party::{Party, Sender},
    plan::PlanVersion,
    profile::Profile,
    refusal::Refusal,
    report::{
        Answered, Body, CallBackGood, Correction, CrossingFinished, CrossingGivenBack, CrossingGivenOut,
        CrossingMadeGood, CrossingMarked, CrossingPassed, CrossingStruckOut, Entry, Finding, LineHandedOver,
        LineOrderedUp, LinePlanned, LineProved, Note, OnCrossing, OnLine, PlanIssued, Readings, ReelReturned,
        ReelStarted, Report, SectionTakenUp, SpliceMade, Subject, TestMade, TestedFrom, TraceExtended,
        TroubleCleared, TroubleNarrowed, TroubleReported, WatchSet, WireFate, WireLost,
    },
    text::{Name, Remark},
    trace::Trace,
    units::Metres,
};
use uuid::Uuid;

/// Route A on real ground, (54.0800, -4.6700) to (54.0950, -4.6350): 2834.290 m by GeographicLib 2.1.
pub(crate) const ROUTE_A: [(f64, f64); 2] = [(54.08, -4.67), (54.095, -4.635)];
/// Route B, (54.0700, -4.6500) to (54.0900, -4.6450): 2250.055 m by GeographicLib 2.1.
pub(crate) const ROUTE_B: [(f64, f64); 2] = [(54.07, -4.65), (54.09, -4.645)];

pub(crate) fn place(lat: f64, lon: f64) -> Position {
    Position::new(lon, lat).unwrap()
}

pub(crate) fn trace(places: &[(f64, f64)]) -> Trace {
    Trace::new(places.iter().map(|&(lat, lon)| place(lat, lon)).collect()).unwrap()
}

/// The place at a chainage of route A.
pub(crate) fn on_a(chainage: f64) -> Position {
    trace(&ROUTE_A).at(m(chainage)).unwrap()
}

pub(crate) fn m(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

pub(crate) fn name(text: &str) -> Name {
    Name::new(text).unwrap()
}

pub(crate) fn because(text: &str) -> Remark {
    Remark::new(text).unwrap()
}

// ── who ──────────────────────────────────────────────────────────────────────────────────────────────────────────────

fn sender(party: Party, team: &str) -> Sender {
    Sender { party, team: name(team) }
}

pub(crate) fn post() -> Sender {
    sender(Party::CommandPost, "Post")
}

pub(crate) fn lead() -> Sender {
    sender(Party::LeadTeam, "Lead 1")
}

pub(crate) fn other_lead() -> Sender {
    sender(Party::LeadTeam, "Lead 2")
}

pub(crate) fn follow_up() -> Sender {
    sender(Party::FollowUpTeam, "Follow-up 1")
}

pub(crate) fn other_follow_up() -> Sender {
    sender(Party::FollowUpTeam, "Follow-up 2")
}

pub(crate) fn observer() -> Sender {
    sender(Party::Observer, "Visitor")
}

// ── what ─────────────────────────────────────────────────────────────────────────────────────────────────────────────

pub(crate) fn line(n: u128) -> LineId {
    LineId(Uuid::from_u128(0x1000 + n))
}

pub(crate) fn crossing(n: u128) -> CrossingId {
    CrossingId(Uuid::from_u128(0x2000 + n))
}

pub(crate) fn reel(n: u128) -> ReelId {
    ReelId(Uuid::from_u128(0x3000 + n))
}

pub(crate) fn planned(line: LineId, number: &str, along: Option<Trace>) -> Body {
    Body::LinePlanned(LinePlanned {
        line,
        designation: Designation::new(number).unwrap(),
        from: name("Post"),
        to: name("Far switchboard"),
        trace: along,
    })
}

pub(crate) fn issued(line: LineId, version: u16, along: Trace) -> Body {
    Body::PlanIssued(PlanIssued { line, plan: PlanVersion::try_from(version).unwrap(), trace: along })
}

pub(crate) fn started(line: LineId) -> Body {
    Body::LineStarted(OnLine { line })
}

pub(crate) fn laid(line: LineId, positions: Vec<Position>) -> Body {
    Body::TraceExtended(TraceExtended { line, positions })
}

pub(crate) fn reel_started(line: LineId, n: u128, length: f64) -> Body {
    Body::ReelStarted(ReelStarted { line, reel: reel(n), label: name("R"), length_m: m(length) })
}

pub(crate) fn splice(line: LineId, chainage: Option<f64>) -> Body {
    Body::SpliceMade(SpliceMade { line, chainage_m: chainage.map(m) })
}

/// A crossing of line 1 as a report names it, 1,000 m along route A where nothing else is said.
pub(crate) fn at(n: u128, obstacle: Obstacle, construction: Construction) -> CrossingMarked {
    CrossingMarked {
        crossing: crossing(n),
        line: line(1),
        position: on_a(1_000.0),
        obstacle,
        hard_surface: None,
        construction: Some(construction),
        clearance_m: None,
        span_m: None,
        because: None,
    }
}

pub(crate) fn foreseen(what: CrossingMarked) -> Body {
    Body::CrossingForeseen(what)
}

pub(crate) fn marked(what: CrossingMarked) -> Body {
    Body::CrossingMarked(what)
}

pub(crate) fn passed(n: u128) -> CrossingPassed {
    CrossingPassed { crossing: crossing(n), clear_of_traffic: false, clearance_m: None, done: Vec::new() }
}

pub(crate) fn taken(n: u128) -> Body {
    Body::CrossingTaken(OnCrossing { crossing: crossing(n) })
}

pub(crate) fn given_back(n: u128) -> Body {
    Body::CrossingGivenBack(CrossingGivenBack { crossing: crossing(n), because: None })
}

pub(crate) fn given_out(n: u128, to: Option<(&str, i16)>) -> Body {
    let to =
        to.map(|(team, place)| GivenTo { team: Name::new(team).unwrap(), place: place.try_into().unwrap() });
    Body::CrossingGivenOut(CrossingGivenOut { crossing: crossing(n), to })
}

pub(crate) fn finished(n: u128, done: Vec<String>) -> CrossingFinished {
    CrossingFinished { crossing: crossing(n), construction: None, clearance_m: None, depth_m: None, done }
}

pub(crate) fn crossing_proved(n: u128) -> Body {
    Body::CrossingProved(OnCrossing { crossing: crossing(n) })
}

pub(crate) fn struck_out(n: u128) -> Body {
    Body::CrossingStruckOut(CrossingStruckOut { crossing: crossing(n), because: because("dry ditch") })
}

pub(crate) fn call(line: LineId, from_far_end: bool) -> Body {
    Body::CallBackGood(CallBackGood { line, from_far_end, chainage_m: None })
}

pub(crate) fn line_proved(line: LineId) -> Body {
    Body::LineProved(LineProved { line, readings: None })
}

pub(crate) fn handed_over(line: LineId) -> Body {
    Body::LineHandedOver(LineHandedOver {
        line,
        to: name("Switchboard crew"),
        tags: vec![name("1"), name("2")],
    })
}

pub(crate) fn tested(line: LineId, from: TestedFrom, answered: bool, readings: Option<Readings>) -> Body {
    Body::TestMade(TestMade {
        line,
        from,
        chainage_m: None,
        to_whom: Some(name("Post")),
        rang: answered,
        spoke: answered,
        quality: None,
        after: None,
        readings,
    })
}

pub(crate) fn watched(line: LineId) -> Body {
    Body::WatchSet(WatchSet { line, who: name("Quill"), chainage_m: None })
}

pub(crate) fn trouble(line: LineId, signs: &[Sign]) -> Body {
    Body::TroubleReported(TroubleReported { line, signs: signs.to_vec(), remark: None })
}

pub(crate) fn answered(line: LineId, chainage: f64, near_answers: bool, far_answers: bool) -> Body {
    let heard = Answered { chainage_m: m(chainage), near_answers, far_answers };
    Body::TroubleNarrowed(TroubleNarrowed { line, finding: Finding::Answered(heard) })
}

pub(crate) fn cleared(line: LineId, cut: bool) -> Body {
    Body::TroubleCleared(TroubleCleared {
        line,
        fault: FaultKind::Open,
        cause: because("pulled out of its splice by a cart"),
        chainage_m: Some(m(300.0)),
        cut,
    })
}

pub(crate) fn ordered_up(line: LineId) -> Body {
    Body::LineOrderedUp(LineOrderedUp { line, confirmed_dead_by: name("Switchboard crew") })
}

pub(crate) fn taken_up(line: LineId, from: f64, to: f64, length: f64) -> Body {
    Body::SectionTakenUp(SectionTakenUp {
        line,
        from_m: m(from),
        to_m: m(to),
        onto: name("R back"),
        length_m: m(length),
        splices: 2,
    })
}

pub(crate) fn made_good(n: u128) -> Body {
    Body::CrossingMadeGood(CrossingMadeGood { crossing: crossing(n), remark: None })
}

pub(crate) fn lost(line: LineId, from: f64, to: f64, length: f64) -> Body {
    Body::WireLost(WireLost {
        line,
        from_m: m(from),
        to_m: m(to),
        length_m: m(length),
        fate: WireFate::Left,
        because: because("under the ice of the mill pond"),
    })
}

pub(crate) fn returned(line: LineId, n: u128, left: f64) -> Body {
    Body::ReelReturned(ReelReturned { line, reel: reel(n), left_m: m(left) })
}

pub(crate) fn note(line: Option<LineId>, crossing: Option<CrossingId>) -> Body {
    Body::Note(Note { line, crossing, about: None, text: because("ground is soft here") })
}

pub(crate) fn withdrawn(corrects: ReportId) -> Body {
    Body::Correction(Correction { corrects, instead: None, because: because("it did not happen") })
}

pub(crate) fn replaced(corrects: ReportId, instead: Body) -> Body {
    Body::Correction(Correction {
        corrects,
        instead: Some(Box::new(instead)),
        because: because("slip of the finger"),
    })
}

/// The ids of a whole list, as a team that did all of it ticks them.
pub(crate) fn ids(list: &[Item]) -> Vec<String> {
    list.iter().map(|item| item.id.to_owned()).collect()
}

pub(crate) fn choice(obstacle: Obstacle, construction: Construction) -> Choice {
    let allowed = |hard| guide(obstacle, hard, Profile::field()).allowed;
    let found = allowed(obstacle.usually_hard()).into_iter().chain(allowed(false)).chain(allowed(true));
    found.into_iter().find(|choice| choice.construction == construction).unwrap()
}

/// Everything on the finishing list.
pub(crate) fn all(obstacle: Obstacle, construction: Construction) -> Vec<String> {
    ids(&choice(obstacle, construction).finish)
}

// ── how it goes ──────────────────────────────────────────────────────────────────────────────────────────────────────

/// An operation: its log, and what it adds up to.
#[derive(Default)]
pub(crate) struct Story {
    pub(crate) log: Vec<Entry>,
    pub(crate) now: Installation,
    /// The line that each entry speaks of, as the log keeps it.
    lines: Vec<Option<LineId>>,
    /// What it added up to after each entry.
    moments: Vec<Installation>,
    /// What the batch at work has read so far.
    desk: Installation,
    told: u32,
    /// For whom it is sent, where that is not who sends it.
    made_by: Option<Sender>,
    /// How long ago it happened, where a device was out of reach meanwhile.
    ago: TimeDelta,
}

/// Every story that ends well is played again, and each of its moments is shown as it was.
impl Drop for Story {
    fn drop(&mut self) {
        if !std::thread::panicking() {
            crate::replay::shows_every_moment(&self.log, &self.moments);
        }
    }
}

impl Story {
    /// Nothing has happened yet.
    pub(crate) fn new() -> Self {
        Self::default()
    }

    /// Line 1 is planned along route A and started, and nothing is laid.
    pub(crate) fn under_way() -> Self {
        let mut story = Self::new();
        story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
        story.tell(&lead(), started(line(1)));
        story
    }

    /// Line 1 is laid over the first `chainage` metres of route A.
    pub(crate) fn laid_to(chainage: f64) -> Self {
        let mut story = Self::under_way();
        story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(chainage)]));
        story
    }

    /// When the report that is told next will have happened.
    pub(crate) fn clock(&self) -> DateTime<Utc> {
        DateTime::<Utc>::UNIX_EPOCH + TimeDelta::days(20_000) + TimeDelta::minutes(self.told.into())
    }

    /// A report that has to stand.
    #[track_caller]
    pub(crate) fn tell(&mut self, by: &Sender, body: Body) -> ReportId {
        let kind = body.kind();
        match self.hear(by, body) {
            Ok(id) => id,
            Err(refusal) => panic!("{} by {}: {refusal}", kind, by.team),
        }
    }

    /// A report that has to stand, of something that happened that many minutes ago on a device that was out of reach.
    #[track_caller]
    pub(crate) fn tell_late(&mut self, by: &Sender, minutes_ago: i64, body: Body) -> ReportId {
        self.ago = TimeDelta::minutes(minutes_ago);
        let id = self.tell(by, body);
        self.ago = TimeDelta::zero();
        id
    }

    /// A report that has to be refused; a refused report changes nothing.
    #[track_caller]
    pub(crate) fn refuse(&mut self, by: &Sender, body: Body) -> Refusal {
        let kind = body.kind();
        let before = (self.now.clone(), self.log.len());
        let Err(refusal) = self.hear(by, body) else { panic!("{} by {} should not stand", kind, by.team) };
        assert_eq!((&self.now, self.log.len()), (&before.0, before.1));
        refusal
    }

    /// The same of a report that somebody sends for another.
    #[track_caller]
    pub(crate) fn refuse_for(&mut self, by: &Sender, made_by: &Sender, body: Body) -> Refusal {
        self.made_by = Some(made_by.clone());
        let refusal = self.refuse(by, body);
        self.made_by = None;
        refusal
    }

    /// A report that may stand or not, from a device that does not know where it is.
    #[track_caller]
    pub(crate) fn hear(&mut self, by: &Sender, body: Body) -> Result<ReportId, Refusal> {
        let heard = self.hear_from(by, None, body);
        if heard.is_ok() {
            assert_eq!(self.now, self.added_up(), "the state is what the log adds up to");
        }
        heard
    }

    /// The same from a device that says where it is. Whoever tells it checks what the log adds up to.
    pub(crate) fn hear_from(
        &mut self,
        by: &Sender,
        stood: Option<Position>,
        body: Body,
    ) -> Result<ReportId, Refusal> {
        self.begin_batch();
        self.hear_in_batch(by, stood, body)
    }

    /// What was read for earlier reports is put away.
    pub(crate) fn begin_batch(&mut self) {
        self.desk = Installation::default();
    }

    /// Takes a report in beside those of the same batch.
    pub(crate) fn hear_in_batch(
        &mut self,
        by: &Sender,
        stood: Option<Position>,
        body: Body,
    ) -> Result<ReportId, Refusal> {
        let profile = Profile::field();
        let of = self.lay_out(&body);
        let id = ReportId(Uuid::from_u128(0x4000 + u128::from(self.told)));
        let entry = Entry {
            sequence: i64::try_from(self.log.len()).unwrap() + 1,
            by: by.clone(),
            received_at: self.clock() + TimeDelta::seconds(5),
            report: Report {
                id,
                at: self.clock() - self.ago,
                clock_offset_ms: None,
                made_by: self.made_by.clone(),
                position: stood,
                body,
            },
        };
        self.told += 1;
        let history: Vec<Entry> = match entry.report.body {
            Body::Correction(_) => {
                let of_line = self.log.iter().zip(&self.lines).filter(|&(_, line)| *line == of);
                of_line.map(|(entry, _)| entry.clone()).collect()
            }
            _ => Vec::new(),
        };
        let decided = self.desk.decide(&entry, &history, profile);
        let by_the_whole = self.now.decide(&entry, &self.log, profile);
        assert_eq!(decided, by_the_whole, "one line and the whole operation decide alike");
        let change = decided?;
        self.desk.adopt(change.clone());
        self.now.adopt(change);
        self.log.push(entry);
        self.lines.push(of);
        self.moments.push(self.now.clone());
        Ok(id)
    }

    /// The whole log added up anew.
    #[track_caller]
    pub(crate) fn added_up(&self) -> Installation {
        match Installation::fold(&self.log, Profile::field()) {
            Ok(sum) => sum,
            Err(broken) => panic!("{broken}"),
        }
    }

    /// Reads what the rules have to see: the line with its crossings, and whatever may stand in the report's way.
    fn lay_out(&mut self, body: &Body) -> Option<LineId> {
        let right = match body {
            Body::Correction(correction) => correction.instead.as_deref().unwrap_or(body),
            body => body,
        };
        if let Body::LinePlanned(right) = right {
            let namesake = self.now.lines.values().find(|line| line.designation == right.designation);
            if let Some(id) = namesake.map(|line| line.id) {
                self.read(id);
            }
        }
        let of = match body.subject() {
            Subject::Line(line) => Some(line),
            Subject::Crossing(crossing, named) => {
                let of = self.now.crossings.get(&crossing).map(|crossing| crossing.line);
                if let Some(of) = of {
                    self.read(of);
                }
                named.or(of)
            }
            Subject::Report(id) => {
                let place = self.log.iter().position(|entry| entry.report.id == id);
                place.and_then(|place| self.lines[place])
            }
            Subject::Operation => None,
        };
        if let Some(of) = of {
            self.read(of);
        }
        of
    }

    fn read(&mut self, id: LineId) {
        if self.desk.lines.contains_key(&id) {
            return;
        }
        if let Some(line) = self.now.lines.get(&id) {
            self.desk.lines.insert(id, line.clone());
            let crossings = self.now.crossings.values().filter(|crossing| crossing.line == id);
            self.desk.crossings.extend(crossings.map(|crossing| (crossing.id, crossing.clone())));
        }
    }

    // ── what is to be seen ───────────────────────────────────────────────────────────────────────────────────────────

    pub(crate) fn line(&self, n: u128) -> &Line {
        &self.now.lines[&line(n)]
    }

    pub(crate) fn crossing(&self, n: u128) -> &Crossing {
        &self.now.crossings[&crossing(n)]
    }

    pub(crate) fn line_is(&self, n: u128) -> LineState {
        self.line(n).state
    }

    pub(crate) fn crossing_is(&self, n: u128) -> CrossingState {
        self.crossing(n).state
    }

    /// Crossing `n` is marked and passed by the lead team.
    pub(crate) fn pass(&mut self, what: CrossingMarked) -> ReportId {
        let crossing = what.crossing;
        self.tell(&lead(), marked(what));
        self.tell(&lead(), Body::CrossingPassed(CrossingPassed { crossing, ..passed(0) }))
    }
}
