//! All the SQL: the wire log, the state it adds up to, the terrain, and the private database.

pub mod terrain;
