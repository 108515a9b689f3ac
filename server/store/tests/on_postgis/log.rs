//! The wire log: each report once, numbers without a gap, and nothing that is written ever changes.

use laywire_craft::{
    ids::{CrossingId, LineId},
    party::Party,
    refusal::Refusal,
    report::{Body, Correction, Note, OnCrossing, OnLine, Report},
    text::Remark,
};
use laywire_store::log::Outcome;
use uuid::Uuid;

use crate::ground::{Ground, at, marked, note, planned, post, report, sender};

#[tokio::test]
async fn a_batch_sent_again_stands_once() {
    let ground = Ground::new().await;
    let batch: Vec<Report> = (0..5).map(|n| note(&format!("note {n}"))).collect();
    let first = ground.record(&post(), batch.clone()).await;
    let again = ground.record(&post(), batch).await;
    for (n, (first, again)) in (1..).zip(first.iter().zip(&again)) {
        assert_eq!(*first, Outcome::Recorded { sequence: n });
        assert_eq!(*again, Outcome::AlreadyRecorded { sequence: n });
    }
    assert_eq!(ground.numbers().await, [1, 2, 3, 4, 5]);
}

#[tokio::test]
async fn a_report_twice_in_one_batch_stands_once() {
    let ground = Ground::new().await;
    let (a, b) = (note("a"), note("b"));
    let outcomes = ground.record(&post(), vec![a.clone(), b, a]).await;
    assert_eq!(
        outcomes,
        [
            Outcome::Recorded { sequence: 1 },
            Outcome::Recorded { sequence: 2 },
            Outcome::AlreadyRecorded { sequence: 1 }
        ]
    );
    assert_eq!(ground.numbers().await, [1, 2]);
}

#[tokio::test]
async fn the_same_batch_on_two_connections_at_once_stands_once() {
    let ground = Ground::new().await;
    for round in 0..20 {
        let batch: Vec<Report> = (0..5).map(|n| note(&format!("note {round} {n}"))).collect();
        let by = post();
        let (a, b) = tokio::join!(ground.record(&by, batch.clone()), ground.record(&by, batch));
        for pair in a.iter().zip(&b) {
            match pair {
                (Outcome::Recorded { sequence: one }, Outcome::AlreadyRecorded { sequence: other })
                | (Outcome::AlreadyRecorded { sequence: one }, Outcome::Recorded { sequence: other }) => {
                    assert_eq!(one, other);
                }
                _ => panic!("{pair:?}"),
            }
        }
    }
    assert_eq!(ground.numbers().await, (1..=100).collect::<Vec<i64>>());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_reader_never_sees_a_hole_while_eight_write() {
    const WRITERS: usize = 8;
    const BATCHES: usize = 25;
    let ground = Ground::new().await;
    let write = async |writer: usize| {
        let by = sender(Party::LeadTeam, &format!("Lead {writer}"));
        for n in 0..BATCHES {
            let mut batch = vec![note("one")];
            if n % 3 == 0 {
                // Refused: it must use up no number.
                batch.push(report(Body::LineStarted(OnLine { line: LineId(Uuid::now_v7()) })));
            }
            batch.push(note("two"));
            let outcomes = ground.record(&by, batch).await;
            assert_eq!(outcomes.iter().filter(|o| matches!(o, Outcome::Recorded { .. })).count(), 2);
        }
    };
    let total = WRITERS * BATCHES * 2;
    let read = async {
        let mut polls = 0;
        loop {
            let numbers = ground.numbers().await;
            assert!(numbers.iter().copied().eq((1..).take(numbers.len())), "a hole: {numbers:?}");
            polls += 1;
            if numbers.len() == total {
                return polls;
            }
        }
    };
    let writers = futures_of(WRITERS, write);
    let ((), polls) = tokio::join!(writers, read);
    assert!(polls > 10, "the reader looked only {polls} times while the writers wrote");
    assert_eq!(ground.sequence().await, i64::try_from(total).unwrap());
}

async fn futures_of(count: usize, make: impl AsyncFn(usize)) {
    let mut all: Vec<_> = (0..count).map(|n| Box::pin(make(n))).collect();
    std::future::poll_fn(|context| {
        all.retain_mut(|one| one.as_mut().poll(context).is_pending());
        if all.is_empty() { std::task::Poll::Ready(()) } else { std::task::Poll::Pending }
    })
    .await;
}

#[tokio::test]
async fn a_refused_report_uses_up_no_number_and_changes_nothing() {
    let ground = Ground::new().await;
    let line = ground.line("L-12").await;
    let before =
        (ground.sequence().await, laywire_store::lines(&ground.pool, ground.operation, 0).await.unwrap());
    let observer = sender(Party::Observer, "Visitor");
    let twice = report(Body::LineStarted(OnLine { line }));
    let outcomes = ground.record(&post(), vec![twice]).await;
    assert!(matches!(&outcomes[..], [Outcome::Refused(Refusal::LineState { .. })]), "{outcomes:?}");
    let outcomes = ground.record(&observer, vec![note("I was here")]).await;
    assert!(matches!(&outcomes[..], [Outcome::Refused(Refusal::NotYours { .. })]), "{outcomes:?}");
    let after =
        (ground.sequence().await, laywire_store::lines(&ground.pool, ground.operation, 0).await.unwrap());
    assert_eq!(before, after);
    assert_eq!(ground.record(&post(), vec![note("next")]).await, [Outcome::Recorded { sequence: 3 }]);
}

#[tokio::test]
async fn of_two_teams_that_take_a_crossing_at_once_one_gets_it_and_the_other_is_told_who() {
    let ground = Ground::new().await;
    let line = ground.line("L-12").await;
    let (one, other) =
        (sender(Party::FollowUpTeam, "Follow-up 1"), sender(Party::FollowUpTeam, "Follow-up 2"));
    for n in 0..20 {
        let crossing = CrossingId(Uuid::now_v7());
        ground.stands(&post(), vec![marked(crossing, line, at(-4.66 + 0.001 * f64::from(n), 54.085))]).await;
        let take = || vec![report(Body::CrossingTaken(OnCrossing { crossing }))];
        let (a, b) = tokio::join!(ground.record(&one, take()), ground.record(&other, take()));
        let holder = match (&a[..], &b[..]) {
            ([Outcome::Recorded { .. }], [Outcome::Refused(Refusal::InHandOf { team, .. })]) => {
                assert_eq!(*team, one.team);
                &one
            }
            ([Outcome::Refused(Refusal::InHandOf { team, .. })], [Outcome::Recorded { .. }]) => {
                assert_eq!(*team, other.team);
                &other
            }
            both => panic!("{both:?}"),
        };
        let crossings = laywire_store::crossings(&ground.pool, ground.operation, 0).await.unwrap();
        let held = crossings.iter().find(|c| c.now.id == crossing).unwrap().now.in_hand.clone().unwrap();
        assert_eq!(held.team, holder.team);
    }
}

#[tokio::test]
async fn the_log_takes_no_change_whoever_asks() {
    let ground = Ground::new().await;
    ground.record(&post(), vec![note("stays")]).await;
    for statement in [
        "update wire_log set team = 'x'",
        "delete from wire_log",
        "truncate wire_log",
        "truncate operation cascade",
    ] {
        let error = sqlx::query(statement).execute(&ground.pool).await.unwrap_err();
        assert!(error.to_string().contains("append-only"), "{statement}: {error}");
    }
    assert_eq!(ground.numbers().await, [1]);
}

/// A number that one line gives up and another takes in the same batch is in use by one of them at every moment.
#[tokio::test]
async fn lines_that_swap_numbers_in_one_batch_are_both_taken() {
    let ground = Ground::new().await;
    for round in 0..8 {
        let (a, b) = (LineId(Uuid::now_v7()), LineId(Uuid::now_v7()));
        let (x, y) = (format!("A-{round}"), format!("B-{round}"));
        let (plan_a, plan_b) = (report(planned(a, &x)), report(planned(b, &y)));
        let right = |wrong: &Report, line, number: &str| {
            report(Body::Correction(Correction {
                corrects: wrong.id,
                instead: Some(Box::new(planned(line, number))),
                because: Remark::new("numbers were mixed up").unwrap(),
            }))
        };
        let batch =
            vec![right(&plan_a, a, &format!("C-{round}")), right(&plan_b, b, &x), right(&plan_a, a, &y)];
        ground.record(&post(), vec![plan_a, plan_b]).await;
        let outcomes = ground.record(&post(), batch).await;
        assert!(outcomes.iter().all(|o| matches!(o, Outcome::Recorded { .. })), "{outcomes:?}");
        let lines = laywire_store::lines(&ground.pool, ground.operation, 0).await.unwrap();
        let number = |id| lines.iter().find(|l| l.now.id == id).unwrap().now.designation.to_string();
        assert_eq!((number(a), number(b)), (y, x));
    }
}

/// A note that names one line and a crossing of another would stand in the way of every later correction on that line.
#[tokio::test]
async fn a_note_on_two_lines_at_once_spoils_no_correction() {
    let ground = Ground::new().await;
    let (one, other) = (ground.line("L-1").await, ground.line("L-2").await);
    let crossing = CrossingId(Uuid::now_v7());
    ground.stands(&post(), vec![marked(crossing, one, at(-4.65, 54.09))]).await;
    let both =
        Note { line: Some(other), crossing: Some(crossing), about: None, text: Remark::new("odd").unwrap() };
    ground.record(&post(), vec![report(Body::Note(both))]).await;
    let wrong = report(Body::Note(Note {
        line: Some(other),
        crossing: None,
        about: None,
        text: Remark::new("wrong").unwrap(),
    }));
    let withdrawn = report(Body::Correction(Correction {
        corrects: wrong.id,
        instead: None,
        because: Remark::new("not so").unwrap(),
    }));
    let outcomes = ground.record(&post(), vec![wrong, withdrawn]).await;
    assert!(outcomes.iter().all(|o| matches!(o, Outcome::Recorded { .. })), "{outcomes:?}");
}
