//! `laywire openapi`: the document, for the client that is made of it.

use super::{CommandError, say};

pub(super) fn run() -> Result<(), CommandError> {
    let text = crate::openapi::document()
        .to_pretty_json()
        .map_err(|error| CommandError::Wrong(format!("the document cannot be written: {error}")))?;
    say(&text);
    Ok(())
}
