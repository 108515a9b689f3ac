//! Where crews are: written over, bounded, and forgotten when its time is up.

use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::{party::Party, units::Metres};
use laywire_store::{
    crew_position::{self, OFTENEST},
    listener::{Heard, Listener},
    pass::{self, Pass},
};

use crate::ground::{Ground, at, now, sender};

async fn crew(ground: &Ground, team: &str, secret: u8) -> Pass {
    let holder = sender(Party::LeadTeam, team);
    pass::give(&ground.pool, ground.operation, &holder, &[secret; 32], now()).await.unwrap()
}

async fn rows(ground: &Ground) -> i64 {
    sqlx::query_scalar("select count(*) from crew_position").fetch_one(&ground.pool).await.unwrap()
}

async fn shared(ground: &Ground, now: DateTime<Utc>) -> Vec<String> {
    let crews = crew_position::shared(&ground.pool, ground.operation, None, now).await.unwrap();
    crews.into_iter().map(|crew| crew.holder.team.to_string()).collect()
}

#[tokio::test]
async fn a_position_is_written_over_and_every_process_hears_of_it() {
    let ground = Ground::new().await;
    let pass = crew(&ground, "Lead 1", 1).await;
    let mut listener = Listener::start(&ground.pool).await.unwrap();
    let (first, until) = (now(), now() + TimeDelta::hours(1));
    let accuracy = Some(Metres::new(5.0).unwrap());
    for (n, lon) in [(0, -4.66), (1, -4.65)] {
        let when = first + OFTENEST * n;
        assert!(
            crew_position::share(&ground.pool, &pass, at(lon, 54.09), accuracy, when, until).await.unwrap()
        );
        assert_eq!(listener.next().await.unwrap(), Heard::Crew(ground.operation, pass.id));
    }
    assert_eq!(rows(&ground).await, 1, "where it was before is not kept");
    let crews = crew_position::shared(&ground.pool, ground.operation, Some(pass.id), first).await.unwrap();
    assert_eq!((crews[0].position, crews[0].accuracy), (at(-4.65, 54.09), accuracy));
}

#[tokio::test]
async fn a_pass_that_writes_too_often_changes_nothing_and_tells_nobody() {
    let ground = Ground::new().await;
    let pass = crew(&ground, "Lead 1", 1).await;
    let first = now();
    let until = first + TimeDelta::hours(1);
    assert!(crew_position::share(&ground.pool, &pass, at(-4.66, 54.09), None, first, until).await.unwrap());
    let soon = first + OFTENEST - TimeDelta::milliseconds(1);
    assert!(!crew_position::share(&ground.pool, &pass, at(-4.65, 54.09), None, soon, until).await.unwrap());
    crew_position::stop(&ground.pool, &pass, soon).await.unwrap();
    assert!(!crew_position::share(&ground.pool, &pass, at(-4.65, 54.09), None, soon, until).await.unwrap());
    assert_eq!(shared(&ground, soon).await, Vec::<String>::new());
    let kept: Option<f64> =
        sqlx::query_scalar("select longitude from crew_position").fetch_one(&ground.pool).await.unwrap();
    assert_eq!(kept, None, "where it stopped sharing is forgotten");
}

#[tokio::test]
async fn what_is_over_is_neither_shown_nor_kept() {
    let ground = Ground::new().await;
    let (one, two) = (crew(&ground, "Lead 1", 1).await, crew(&ground, "Lead 2", 2).await);
    let start = now();
    let (soon, late) = (start + TimeDelta::minutes(5), start + TimeDelta::hours(1));
    assert!(crew_position::share(&ground.pool, &one, at(-4.66, 54.09), None, start, soon).await.unwrap());
    assert!(crew_position::share(&ground.pool, &two, at(-4.65, 54.09), None, start, late).await.unwrap());
    assert_eq!(shared(&ground, start).await, ["Lead 1", "Lead 2"]);
    assert_eq!(shared(&ground, soon).await, ["Lead 2"]);
    assert_eq!(crew_position::forget_old(&ground.pool, soon + OFTENEST).await.unwrap(), 1);
    assert_eq!(rows(&ground).await, 1);
    pass::revoke(&ground.pool, ground.operation, two.id, soon).await.unwrap();
    assert_eq!(shared(&ground, soon).await, Vec::<String>::new());
    assert_eq!(crew_position::forget_old(&ground.pool, soon + OFTENEST).await.unwrap(), 1);
}
