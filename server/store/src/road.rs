//! Travel by the roads of the terrain. The ground about the places is read for each question; what it means for a team is
//! decided in `craft`.

use laywire_craft::{
    geodesy::Position,
    pace::Means,
    profile::Profile,
    road::{self, Travel},
};
use sqlx::PgPool;

use crate::{
    StoreError,
    foreseen::{self, ForeseenError},
    terrain::Extract,
};

/// Why travel cannot be told.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RoadError {
    /// No map is loaded.
    #[error(
        "no map is loaded, and without one no road is known: load an extract, or ask for the nearest over the ground"
    )]
    NoMap,
    /// The places are too far apart.
    #[error(transparent)]
    Asked(#[from] road::RoadError),
    /// There is too much on the map, or the database did not do what it was asked.
    #[error(transparent)]
    Ground(#[from] ForeseenError),
}

impl From<StoreError> for RoadError {
    fn from(error: StoreError) -> Self {
        Self::Ground(error.into())
    }
}

/// The travel from each of the first `from` places to every place, and the map that it is by.
///
/// # Errors
/// No map, places too far apart, too much ground, or when the database does not answer.
pub async fn travel(
    pool: &PgPool,
    places: Vec<Position>,
    from: usize,
    by: Means,
    profile: Profile,
) -> Result<(Vec<Vec<Option<Travel>>>, Extract), RoadError> {
    let area = road::area(&places)?.ok_or(RoadError::NoMap)?;
    let (ground, map) = foreseen::ways_in(pool, area).await?.ok_or(RoadError::NoMap)?;
    // Some ten thousand ways take a while: other requests are not held up.
    let travel = tokio::task::spawn_blocking(move || {
        road::travel(&ground.ways, &ground.closed, by, &profile, &places, from)
    });
    let travel =
        travel.await.map_err(|_| StoreError::corrupt("terrain", "what could not be reckoned with"))?;
    Ok((travel, map))
}
