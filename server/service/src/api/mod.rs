//! The routes, one file a noun, each function named as the operation in the OpenAPI document.

pub mod crew_position;
pub mod crossing;
pub mod feed;
pub mod finder;
pub mod forecast;
pub mod geojson;
pub mod guide;
pub mod health;
pub mod line;
pub mod log;
pub mod operation;
pub mod pass;
pub mod plan;
pub mod queue;
pub mod reach;
pub mod reckon;
pub mod reference;
pub mod report;
pub mod review;
pub mod saved_plan;
pub mod session;
pub mod tile;
mod time;
