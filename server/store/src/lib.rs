//! The built binary over real HTTP.
