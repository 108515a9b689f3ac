//! The figures that an operation is opened under: its log is judged by them, and by no others, for all its time.

use laywire_craft::{
    construction::Construction,
    ids::{CrossingId, LineId, OperationId},
    obstacle::Obstacle,
    profile::Profile,
    refusal::Refusal,
    report::{Body, CrossingMarked, OnLine},
    text::Name,
    units::{Metres, feet},
};
use laywire_store::{
    log::{Outcome, record},
    operation::{open, profile, slack_percent},
    rebuild::{check, rebuild},
};
use uuid::Uuid;

use crate::ground::{Ground, at, now, planned, post, report};

/// Marks a road crossed on poles with the wire at this height, on a line of its own.
async fn marked_at(ground: &Ground, operation: OperationId, height: f64) -> Outcome {
    let line = LineId(Uuid::now_v7());
    let bodies = vec![
        planned(line, "L-12"),
        Body::LineStarted(OnLine { line }),
        Body::CrossingMarked(CrossingMarked {
            crossing: CrossingId(Uuid::now_v7()),
            line,
            position: at(-4.65, 54.0886),
            obstacle: Obstacle::Road,
            hard_surface: None,
            construction: Some(Construction::OverheadPoles),
            clearance_m: Some(Metres::new(height).unwrap()),
            span_m: None,
            because: None,
        }),
    ];
    let reports = bodies.into_iter().map(report).collect();
    let outcomes = record(&ground.pool, operation, &post(), reports, now()).await.unwrap();
    outcomes.into_iter().next_back().unwrap().1
}

#[tokio::test]
async fn each_operation_is_judged_by_its_own_profile() {
    let ground = Ground::new().await;
    // SS0440 pp. 29, 31: 14 ft over a secondary road; NESC rule 232: 15.5 ft, on public ones.
    let closed =
        Profile::unit(r#"heights.road.public = { yes = false, source = "closed training ground" }"#).unwrap();
    let training = ground.under(&closed).await;
    let over_14_ft = 4.3;
    assert!(matches!(marked_at(&ground, training, over_14_ft).await, Outcome::Recorded { .. }));
    assert_eq!(
        marked_at(&ground, ground.operation, over_14_ft).await,
        Outcome::Refused(Refusal::TooLow {
            obstacle: Obstacle::Road,
            given_m: Metres::new(over_14_ft).unwrap(),
            least_m: feet(15.5)
        })
    );
    assert_eq!(profile(&ground.pool, training).await.unwrap(), closed, "with its warning");
    assert_eq!(&profile(&ground.pool, ground.operation).await.unwrap(), Profile::field());

    // What stands in the log adds up by the figures that it was recorded under.
    let found = check(&ground.pool, training).await.unwrap();
    assert_eq!((found.entries, found.found), (3, Vec::new()));
    assert_eq!(rebuild(&ground.pool, training).await.unwrap(), 3);
}

#[tokio::test]
async fn the_slack_is_the_profiles() {
    let ground = Ground::new().await;
    let unit = r#"wire.slack = { percent = 25, source = "90th Division memoir p. 63: 25 % more than appeared needed" }"#;
    let ours = ground.under(&Profile::unit(unit).unwrap()).await;
    for (operation, percent) in [(ours, 25), (ground.operation, 20)] {
        let whole = profile(&ground.pool, operation).await.unwrap();
        assert_eq!(slack_percent(&ground.pool, operation).await.unwrap(), percent);
        assert_eq!(whole.wire.slack.value, percent, "as in the whole");
    }
}

/// An operation from before operations had a profile.
#[tokio::test]
async fn an_older_operation_keeps_the_figures_that_it_was_recorded_under() {
    let ground = Ground::new().await;
    for back in [
        "alter table operation drop column profile",
        "delete from _sqlx_migrations where version = 4",
        "insert into operation (operation, name, opened_at) \
         values ('01900000-0000-7000-8000-000000000001', 'Older', now())",
    ] {
        sqlx::query(back).execute(&ground.pool).await.unwrap();
    }
    let pool = laywire_store::open(ground.scratch.options(), 2).await.unwrap();
    let older = OperationId("01900000-0000-7000-8000-000000000001".parse().unwrap());
    let figures = profile(&pool, older).await.unwrap();
    let least = |obstacle| figures.least_height(obstacle).unwrap().value;
    // The field rules alone: SS0440 pp. 29, 31 and GO 64-A rule 84.4.
    assert_eq!(least(Obstacle::MainHighway), feet(18.0));
    assert_eq!((least(Obstacle::Road), least(Obstacle::DirtRoad)), (feet(14.0), feet(14.0)));
    assert_eq!(least(Obstacle::Path), feet(8.0));
    assert_eq!(figures.warnings.len(), 3, "roads, dirt roads and paths ask for more on a public way");
    assert!(matches!(marked_at(&ground, older, 4.3).await, Outcome::Recorded { .. }));
    assert!(check(&pool, older).await.unwrap().found.is_empty());
}

/// The counter row is written with every entry: what never changes is not copied along with it.
#[tokio::test]
async fn the_profile_is_kept_aside_from_the_counter() {
    let ground = Ground::new().await;
    let storage: String = sqlx::query_scalar(
        "select attstorage::text from pg_attribute where attrelid = 'operation'::regclass and attname = 'profile'",
    )
    .fetch_one(&ground.pool)
    .await
    .unwrap();
    assert_eq!(storage, "e", "external");
    // Twenty operations on one page of 8 kB: their profiles are not on it.
    for n in 0..20 {
        let name = Name::new(&format!("Exercise {n}")).unwrap();
        open(&ground.pool, &name, Profile::field(), now()).await.unwrap();
    }
    let pages: i64 = sqlx::query_scalar("select pg_relation_size('operation') / 8192")
        .fetch_one(&ground.pool)
        .await
        .unwrap();
    assert_eq!(pages, 1);
}
