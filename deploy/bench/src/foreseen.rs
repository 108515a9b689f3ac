//! What a trace of fifty kilometres will meet, grouped and with all that is within reach, against the bare ST_Intersection
//! SELECT of the same trace with the same table.

use std::time::{Duration, Instant};

use laywire_craft::{geodesy::Position, profile::Profile, trace::Trace};
use laywire_store::{PgPool, foreseen::foreseen};

use crate::{Failure, median, micros};

const TURNS: usize = 30;
const WARM: usize = 3;
/// Corners of a trace up and down the island; a team's plan has a position some two hundred metres apart.
const CORNERS: [(f64, f64); 7] = [
    (-4.66, 54.085),
    (-4.55, 54.15),
    (-4.63, 54.20),
    (-4.49, 54.19),
    (-4.44, 54.29),
    (-4.60, 54.27),
    (-4.43, 54.335),
];
const LEG_M: f64 = 200.0;
/// Materialized, so that the trace is read once and not for each way.
const BARE: &str = "with given as materialized (select st_geomfromtext($1, 4326) as trace)
    select way_id, kind, class, st_asbinary(st_intersection(ground, trace))
    from given join terrain_line on ground && trace
    where st_intersects(ground, trace) and kind not in ('coast', 'power_line')";

pub(crate) async fn measure(pool: &PgPool) -> Result<(), Failure> {
    let trace = trace()?;
    let places: Vec<String> = trace.positions().iter().map(|p| format!("{} {}", p.lon(), p.lat())).collect();
    let text = format!("linestring({})", places.join(","));
    let [mut whole, mut bare] = [(); 2].map(|()| Vec::<Duration>::with_capacity(TURNS));
    let mut met = 0;
    let mut crossings = 0;
    for turn in 0..WARM + TURNS {
        let began = Instant::now();
        let answer = foreseen(pool, trace.clone(), Profile::field().clone()).await?;
        let took = began.elapsed();
        crossings = answer.foreseen.crossings.len();
        let began = Instant::now();
        let rows = sqlx::query(BARE).bind(&text).fetch_all(pool).await?;
        let select = began.elapsed();
        met = rows.len();
        if turn >= WARM {
            whole.push(took);
            bare.push(select);
        }
    }
    let [whole, bare] = [&mut whole, &mut bare].map(|times| micros(median(times)));
    println!(
        "foreseen on {:.1} km in {} positions: {crossings} crossings of {met} ways: {whole:.0} µs, bare SELECT {bare:.0} µs, ratio {:.2}",
        trace.length().value() / 1000.0,
        places.len(),
        whole / bare
    );
    Ok(())
}

fn trace() -> Result<Trace, Failure> {
    let corners = CORNERS.iter().map(|&(lon, lat)| Position::new(lon, lat)).collect::<Result<Vec<_>, _>>()?;
    let corners = Trace::new(corners)?;
    let mut places = vec![corners.start()];
    let mut at = LEG_M;
    while let Some(place) = corners.at(laywire_craft::units::Metres::new(at)?) {
        places.push(place);
        at += LEG_M;
    }
    Ok(Trace::new(places)?)
}
