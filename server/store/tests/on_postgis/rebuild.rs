//! The state is what the log adds up to: after a long story with slips and corrections in it, and again after somebody
//! has laid hands on a row.

use laywire_craft::{
    construction::Construction,
    crossing::GivenTo,
    fault::signs::{FaultKind, Sign},
    guide,
    ids::{CrossingId, LineId, ReelId, ReportId},
    obstacle::Obstacle,
    party::{Party, Sender},
    profile::Profile,
    report::{
        Answered, Body, CallBackGood, Correction, CrossingFinished, CrossingGivenBack, CrossingGivenOut,
        CrossingMarked, CrossingPassed, CrossingStruckOut, Finding, Kind, LineHandedOver, LineProved, Note,
        OnCrossing, OnLine, Readings, ReelStarted, Report, SpliceMade, TestMade, TestedAfter, TestedFrom,
        TraceExtended, TroubleCleared, TroubleNarrowed, TroubleReported, WatchSet, Weather,
    },
    text::{Name, Remark},
    units::{Decibels, Metres, Ohms},
};
use laywire_store::{
    log::Outcome,
    pass,
    rebuild::{check, rebuild},
};
use rand::{RngExt, SeedableRng, rngs::StdRng, seq::IndexedRandom};
use std::collections::HashMap;
use uuid::Uuid;

use crate::ground::{Ground, at, now, planned, post, report, sender};

/// Makes one report after another up: most make sense, some do not, and now and then one puts an earlier one right.
struct Story {
    rng: StdRng,
    lines: Vec<LineId>,
    crossings: Vec<(CrossingId, Obstacle, Construction)>,
    told: Vec<Report>,
    profile: &'static Profile,
}

impl Story {
    fn line(&mut self) -> LineId {
        *self.lines.choose(&mut self.rng).unwrap()
    }

    fn metres(&mut self, most: f64) -> Metres {
        Metres::new(self.rng.random_range(0.0..most)).unwrap()
    }

    fn remark(&mut self) -> Remark {
        Remark::new(&format!("remark {}\nécrit à la main", self.rng.random_range(0..1_000))).unwrap()
    }

    fn done(&mut self, obstacle: Obstacle, how: Construction, lead: bool, most: bool) -> Vec<String> {
        let hard = obstacle.usually_hard();
        let guide = guide::guide(obstacle, hard, self.profile);
        let choice = guide.allowed.into_iter().find(|c| c.construction == how);
        let list = choice.map(|c| if lead { c.lead } else { c.finish }).unwrap_or_default();
        list.iter().filter(|_| most || self.rng.random_bool(0.5)).map(|item| item.id.to_owned()).collect()
    }

    fn mark(
        &mut self,
        crossing: CrossingId,
        line: LineId,
        obstacle: Obstacle,
    ) -> (CrossingMarked, Construction) {
        let how = *Construction::ALL.choose(&mut self.rng).unwrap();
        let allowed = guide::guide(obstacle, obstacle.usually_hard(), self.profile).allowed;
        let how =
            if self.rng.random_bool(0.9) { allowed.choose(&mut self.rng).unwrap().construction } else { how };
        let marked = CrossingMarked {
            crossing,
            line,
            position: at(
                -4.67 + self.rng.random_range(0.0..0.035),
                54.08 + self.rng.random_range(0.0..0.015),
            ),
            obstacle,
            hard_surface: None,
            construction: Some(how),
            clearance_m: self.rng.random_bool(0.3).then(|| self.metres(9.0)),
            because: None,
            span_m: self.rng.random_bool(0.3).then(|| self.metres(40.0)),
        };
        (marked, how)
    }

    fn on_line(&mut self) -> Body {
        let line = self.line();
        match self.rng.random_range(0..11) {
            0 => Body::LineStarted(OnLine { line }),
            1 | 2 => {
                let count = self.rng.random_range(1..6);
                let place = |rng: &mut StdRng| {
                    at(-4.67 + rng.random_range(0.0..0.035), 54.08 + rng.random_range(0.0..0.015))
                };
                Body::TraceExtended(TraceExtended {
                    line,
                    positions: (0..count).map(|_| place(&mut self.rng)).collect(),
                })
            }
            3 => Body::ReelStarted(ReelStarted {
                line,
                reel: ReelId(Uuid::now_v7()),
                label: Name::new("R 7").unwrap(),
                length_m: self.metres(1_600.0),
            }),
            4 => Body::SpliceMade(SpliceMade { line, chainage_m: Some(self.metres(900.0)) }),
            5 => Body::CallBackGood(CallBackGood {
                line,
                from_far_end: self.rng.random_bool(0.2),
                chainage_m: None,
            }),
            6 => Body::LineProved(LineProved { line, readings: None }),
            7 => Body::LineHandedOver(LineHandedOver {
                line,
                to: Name::new("Switchboard").unwrap(),
                tags: vec![Name::new("12").unwrap()],
            }),
            _ => self.at_the_end(line),
        }
    }

    /// Tests, trouble, and the way back to stores.
    fn at_the_end(&mut self, line: LineId) -> Body {
        match self.rng.random_range(0..8) {
            0..=2 => {
                let answered = self.rng.random_bool(0.7);
                let readings = self.rng.random_bool(0.5).then(|| Readings {
                    loop_ohm: Some(Ohms::new(self.rng.random_range(0.0..900.0)).unwrap()),
                    loss_db: Some(Decibels::new(self.rng.random_range(0.0..40.0)).unwrap()),
                    weather: Some(Weather::Rain),
                    ..Readings::default()
                });
                Body::TestMade(TestMade {
                    line,
                    from: if self.rng.random_bool(0.3) { TestedFrom::FarEnd } else { TestedFrom::Along },
                    chainage_m: Some(self.metres(900.0)),
                    to_whom: Some(Name::new("Post").unwrap()),
                    rang: answered,
                    spoke: answered,
                    quality: None,
                    after: Some(TestedAfter::Reel),
                    readings,
                })
            }
            3 => Body::WatchSet(WatchSet { line, who: Name::new("Quill").unwrap(), chainage_m: None }),
            4 => Body::TroubleReported(TroubleReported {
                line,
                signs: vec![Sign::NothingPasses, Sign::CrankEasy],
                remark: Some(self.remark()),
            }),
            5 | 6 => {
                let heard = Answered {
                    chainage_m: self.metres(900.0),
                    near_answers: self.rng.random_bool(0.5),
                    far_answers: self.rng.random_bool(0.5),
                };
                Body::TroubleNarrowed(TroubleNarrowed { line, finding: Finding::Answered(heard) })
            }
            _ => Body::TroubleCleared(TroubleCleared {
                line,
                fault: FaultKind::Open,
                cause: self.remark(),
                chainage_m: None,
                cut: self.rng.random_bool(0.5),
            }),
        }
    }

    fn on_crossing(&mut self) -> Body {
        // The work goes on at a few of them, so that some come far.
        let few = &self.crossings[self.crossings.len().saturating_sub(6)..];
        let Some(&(crossing, obstacle, how)) = few.choose(&mut self.rng) else { return self.on_line() };
        match self.rng.random_range(0..10) {
            0..=2 => Body::CrossingPassed(CrossingPassed {
                crossing,
                clear_of_traffic: self.rng.random_bool(0.5),
                clearance_m: self.rng.random_bool(0.4).then(|| self.metres(9.0)),
                done: self.done(obstacle, how, true, false),
            }),
            3 => Body::CrossingTaken(OnCrossing { crossing }),
            4 => Body::CrossingGivenBack(CrossingGivenBack { crossing, because: Some(self.remark()) }),
            5 | 6 => Body::CrossingFinished(CrossingFinished {
                crossing,
                construction: None,
                clearance_m: how.is_overhead().then(|| self.metres(12.0)),
                depth_m: (how == Construction::Buried).then(|| self.metres(0.5)),
                done: self.done(obstacle, how, false, true),
            }),
            7 => Body::CrossingProved(OnCrossing { crossing }),
            8 => Body::CrossingGivenOut(CrossingGivenOut {
                crossing,
                to: self.rng.random_bool(0.8).then(|| GivenTo {
                    team: Name::new("Follow-up 1").unwrap(),
                    place: self.rng.random_range(1..9).try_into().unwrap(),
                }),
            }),
            _ => Body::CrossingStruckOut(CrossingStruckOut { crossing, because: self.remark() }),
        }
    }

    fn correction(&mut self) -> Option<Body> {
        let wrong = self.told.choose(&mut self.rng)?.clone();
        let instead = match &wrong.body {
            _ if self.rng.random_bool(0.4) => None,
            Body::CrossingMarked(b) => {
                let (line, crossing, obstacle) = (b.line, b.crossing, b.obstacle);
                Some(Body::CrossingMarked(self.mark(crossing, line, obstacle).0))
            }
            Body::SpliceMade(b) => {
                Some(Body::SpliceMade(SpliceMade { chainage_m: Some(self.metres(900.0)), ..b.clone() }))
            }
            Body::TraceExtended(b) => {
                let mut positions = b.positions.clone();
                positions.push(at(-4.64, 54.09));
                Some(Body::TraceExtended(TraceExtended { line: b.line, positions }))
            }
            other => Some(other.clone()),
        };
        Some(Body::Correction(Correction {
            corrects: wrong.id,
            instead: instead.map(Box::new),
            because: self.remark(),
        }))
    }

    fn next(&mut self) -> Report {
        let body = match self.rng.random_range(0..14) {
            0..=2 => self.on_line(),
            3 => {
                let (crossing, line) = (CrossingId(Uuid::now_v7()), self.line());
                let obstacle = *Obstacle::ALL.choose(&mut self.rng).unwrap();
                let (marked, _) = self.mark(crossing, line, obstacle);
                if self.rng.random_bool(0.2) {
                    Body::CrossingForeseen(marked)
                } else {
                    Body::CrossingMarked(marked)
                }
            }
            4..=11 => self.on_crossing(),
            12 => {
                let (line, text) = (Some(self.line()), self.remark());
                self.correction().unwrap_or(Body::Note(Note { line, crossing: None, about: None, text }))
            }
            _ => Body::Note(Note { line: None, crossing: None, about: None, text: self.remark() }),
        };
        let mut report = report(body);
        report.position = self.rng.random_bool(0.5).then(|| at(-4.65, 54.09));
        report
    }
}

async fn told(ground: &Ground, seed: u64, reports: usize) -> HashMap<Kind, usize> {
    let lines: Vec<LineId> = (0..3).map(|_| LineId(Uuid::now_v7())).collect();
    for (n, line) in lines.iter().enumerate() {
        ground.stands(&post(), vec![planned(*line, &format!("L-{n}"))]).await;
    }
    let teams: [Sender; 3] =
        [post(), sender(Party::LeadTeam, "Lead 1"), sender(Party::FollowUpTeam, "Follow-up 1")];
    pass::give(&ground.pool, ground.operation, &teams[2], &[7; 32], now()).await.unwrap();
    let (rng, profile) = (StdRng::seed_from_u64(seed), Profile::field());
    let mut story = Story { rng, lines, crossings: Vec::new(), told: Vec::new(), profile };
    let mut recorded = HashMap::new();
    let mut left = reports;
    while left > 0 {
        let count = story.rng.random_range(1..=12).min(left);
        left -= count;
        let batch: Vec<Report> = (0..count).map(|_| story.next()).collect();
        let by = teams.choose_weighted(&mut story.rng, |t| if t.party == Party::CommandPost { 3 } else { 1 });
        let outcomes = ground.record(by.unwrap(), batch.clone()).await;
        for (report, outcome) in batch.into_iter().zip(outcomes) {
            if matches!(outcome, Outcome::Recorded { .. }) {
                *recorded.entry(report.body.kind()).or_default() += 1;
                if let Body::CrossingMarked(b) = &report.body {
                    story.crossings.extend(b.construction.map(|how| (b.crossing, b.obstacle, how)));
                }
                story.told.push(report);
            }
        }
    }
    recorded
}

#[tokio::test]
async fn the_state_is_what_the_log_adds_up_to() {
    let mut seen: HashMap<Kind, usize> = HashMap::new();
    for seed in 1..=3 {
        let ground = Ground::new().await;
        for (kind, count) in told(&ground, seed, 500).await {
            *seen.entry(kind).or_default() += count;
        }
        let differences = check(&ground.pool, ground.operation).await.unwrap();
        assert_eq!(differences.found, Vec::<String>::new(), "story {seed}");
        assert_eq!(i64::try_from(differences.entries).unwrap(), ground.sequence().await);
    }
    for kind in [
        Kind::LineStarted,
        Kind::TraceExtended,
        Kind::ReelStarted,
        Kind::SpliceMade,
        Kind::CrossingForeseen,
        Kind::CrossingMarked,
        Kind::CrossingPassed,
        Kind::CrossingTaken,
        Kind::CrossingGivenBack,
        Kind::CrossingGivenOut,
        Kind::CrossingFinished,
        Kind::CrossingProved,
        Kind::CrossingStruckOut,
        Kind::CallBackGood,
        Kind::TestMade,
        Kind::TroubleReported,
        Kind::TroubleNarrowed,
        Kind::TroubleCleared,
        Kind::Correction,
        Kind::Note,
    ] {
        assert!(
            seen.get(&kind).is_some_and(|&count| count >= 3),
            "the stories hardly tell of {kind}: {seen:?}"
        );
    }
}

#[tokio::test]
async fn a_row_that_was_laid_hands_on_is_found_and_mended() {
    let ground = Ground::new().await;
    told(&ground, 9, 200).await;
    let whole = async || {
        let lines = laywire_store::lines(&ground.pool, ground.operation, 0).await.unwrap();
        let crossings = laywire_store::crossings(&ground.pool, ground.operation, 0).await.unwrap();
        let lines: Vec<_> = lines.into_iter().map(|l| l.now).collect();
        (lines, crossings.into_iter().map(|c| c.now).collect::<Vec<_>>())
    };
    let right = whole().await;
    for tampering in [
        "update crossing set clearance_m = coalesce(clearance_m, 0) + 0.001 where id = (select min(id::text)::uuid from crossing)",
        "update crossing set wire_in_traffic = not wire_in_traffic where id = (select min(id::text)::uuid from crossing)",
        "delete from crossing where id = (select min(id::text)::uuid from crossing)",
        "update line set laid_length_m = laid_length_m + 1 where designation = 'L-1'",
        "update line set splices = '[{\"chainage_m\": 1, \"at\": \"2026-05-04T08:00:00Z\"}]' where designation = 'L-1'",
        "insert into line (operation, id, designation, from_end, to_end, state, changed)
             select operation, gen_random_uuid(), 'X-1', 'a', 'b', 'planned', 1 from operation",
    ] {
        let done = sqlx::query(tampering).execute(&ground.pool).await.unwrap();
        assert_eq!(done.rows_affected(), 1, "{tampering}");
        let found = check(&ground.pool, ground.operation).await.unwrap().found;
        assert_eq!(found.len(), 1, "{tampering}: {found:?}");
        rebuild(&ground.pool, ground.operation).await.unwrap();
        let found = check(&ground.pool, ground.operation).await.unwrap().found;
        assert_eq!(found, Vec::<String>::new(), "{tampering}");
        assert_eq!(whole().await, right, "{tampering}");
    }
}

/// A rebuild may not hide from a feed what it changed: everything counts as changed by the last entry.
#[tokio::test]
async fn after_a_rebuild_a_feed_hears_of_every_row_with_the_last_entry() {
    let ground = Ground::new().await;
    told(&ground, 10, 60).await;
    let last = ground.sequence().await;
    rebuild(&ground.pool, ground.operation).await.unwrap();
    let lines = laywire_store::lines(&ground.pool, ground.operation, last - 1).await.unwrap();
    assert_eq!(lines.len(), 3);
    assert!(lines.iter().all(|line| line.changed == last));
}

#[tokio::test]
async fn an_operation_that_is_not_there_has_no_log_to_add_up() {
    let ground = Ground::new().await;
    let nowhere = laywire_craft::ids::OperationId(Uuid::now_v7());
    for error in
        [check(&ground.pool, nowhere).await.unwrap_err(), rebuild(&ground.pool, nowhere).await.unwrap_err()]
    {
        assert!(matches!(error, laywire_store::StoreError::NoSuchOperation(id) if id == nowhere.0));
    }
    let unknown = ReportId(Uuid::now_v7());
    let withdrawn =
        Correction { corrects: unknown, instead: None, because: Remark::new("never was").unwrap() };
    let outcomes = ground.record(&post(), vec![report(Body::Correction(withdrawn))]).await;
    assert!(matches!(outcomes[..], [Outcome::Refused(laywire_craft::refusal::Refusal::NoSuchReport)]));
}
