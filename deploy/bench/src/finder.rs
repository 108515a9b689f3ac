//! Two ways over thirty kilometres of the island, search alone and with what they will meet.

use std::time::{Duration, Instant};

use laywire_craft::{
    finder::{self, Costs, Sought},
    geodesy::{self, Position},
    profile::Profile,
};
use laywire_store::{PgPool, foreseen};

use crate::{Failure, median, micros};

const TURNS: usize = 7;
/// From near the south coast of the island to the north of it.
const ENDS: [(f64, f64); 2] = [(-4.66, 54.085), (-4.47, 54.335)];

pub(crate) async fn measure(pool: &PgPool) -> Result<(), Failure> {
    let [from, to] = ENDS.map(|(lon, lat)| Position::new(lon, lat));
    let sought = Sought { from: from?, to: to?, via: Vec::new(), not_here: Vec::new() };
    let costs = Costs::of(Profile::field());
    let [mut read, mut searched] = [(); 2].map(|()| Vec::<Duration>::with_capacity(TURNS));
    let mut lengths = Vec::new();
    for turn in 0..=TURNS {
        let began = Instant::now();
        let (ground, _) = foreseen::ground_in(pool, sought.area()?).await?;
        let reading = began.elapsed();
        let began = Instant::now();
        let answer = finder::find(&sought, &ground, &costs)?;
        let search = began.elapsed();
        if turn > 0 {
            read.push(reading);
            searched.push(search);
        }
        lengths = answer.found.iter().map(|found| found.trace.length().value() / 1000.0).collect();
    }
    let [read, searched] = [&mut read, &mut searched].map(|times| micros(median(times)) / 1e6);
    println!(
        "finder between ends {:.1} km apart: ways of {lengths:.1?} km; ground read in {read:.2} s, both ways found in {searched:.2} s",
        geodesy::distance(sought.from, sought.to).value() / 1000.0,
    );
    Ok(())
}
