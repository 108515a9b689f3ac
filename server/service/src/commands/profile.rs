//! `laywire profile`: what a unit's file comes to. It exits with a failure when the file is refused.

use std::{
    io::Read,
    path::{Path, PathBuf},
};

use clap::Args;
use laywire_craft::profile::{MOST_BYTES, Profile};

use super::{CommandError, say};

/// Check a unit's profile, and print its figures with their sources and warnings.
#[derive(Args)]
pub(super) struct Check {
    /// The file, in TOML. Without it the built-in figures are printed.
    file: Option<PathBuf>,
}

impl Check {
    pub(super) fn run(&self) -> Result<(), CommandError> {
        let profile = of(self.file.as_deref())?;
        say(profile.name.as_str());
        for row in profile.figures() {
            say(&format!("{:<44} {:<20} {}", row.figure, row.value.to_string(), row.source));
        }
        for warning in &profile.warnings {
            say(&format!("WARNING: {}", warning.text));
        }
        Ok(())
    }
}

/// The profile in a file, or the built-in one where there is no file.
pub(super) fn of(file: Option<&Path>) -> Result<Profile, CommandError> {
    let Some(file) = file else { return Ok(Profile::field().clone()) };
    let io = |error| CommandError::Io { what: file.display().to_string(), error };
    let mut text = String::new();
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    // One byte more than is taken, so that a longer file is refused and not cut short.
    let opened = std::fs::File::open(file).map_err(io)?;
    opened.take(most.saturating_add(1)).read_to_string(&mut text).map_err(io)?;
    Profile::unit(&text).map_err(|error| CommandError::Wrong(format!("{}: {error}", file.display())))
}
