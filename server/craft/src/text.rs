//! Words that people typed: bounded, and free of characters that could disguise or break what is shown.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Why a text was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TextError {
    /// Nothing but white space.
    #[error("it is empty: write something, or leave the field out")]
    Empty,
    /// Longer than the field holds.
    #[error("it has {length} characters and may have at most {most}")]
    TooLong {
        /// Characters given.
        length: usize,
        /// Characters allowed.
        most: usize,
    },
    /// A control or direction character.
    #[error("it holds the unprintable character U+{code:04X}: remove it")]
    Unprintable {
        /// The character's code point.
        code: u32,
    },
}

fn checked(raw: &str, most: usize, lines: bool) -> Result<String, TextError> {
    let text = raw.trim();
    if text.is_empty() {
        return Err(TextError::Empty);
    }
    let length = text.chars().count();
    if length > most {
        return Err(TextError::TooLong { length, most });
    }
    // Direction overrides and isolates (Unicode UAX 9) can make a shown text read as another one.
    let disguises = |c: char| matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}');
    match text.chars().find(|&c| (c.is_control() && !(lines && c == '\n')) || disguises(c)) {
        Some(c) => Err(TextError::Unprintable { code: c as u32 }),
        None => Ok(text.to_owned()),
    }
}

macro_rules! text {
    ($(#[$doc:meta])* $name:ident, $most:tt, $lines:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
        #[serde(try_from = "String")]
        #[schema(value_type = String, min_length = 1, max_length = $most)]
        pub struct $name(String);

        impl $name {
            /// Trims and checks what was typed.
            ///
            /// # Errors
            /// When it is empty, too long or holds unprintable characters.
            pub fn new(raw: &str) -> Result<Self, TextError> {
                checked(raw, $most, $lines).map(Self)
            }

            /// The text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl TryFrom<String> for $name {
            type Error = TextError;
            fn try_from(raw: String) -> Result<Self, TextError> {
                Self::new(&raw)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&self.0)
            }
        }
    };
}

text!(
    /// A name: a team's call sign, an end of a line, a reel's label. At most 40 characters on one line.
    Name,
    40,
    false
);
text!(
    /// Remarks and reasons. At most 500 characters, line breaks allowed.
    Remark,
    500,
    true
);
text!(
    /// Where a figure was read. At most 300 characters on one line.
    Source,
    300,
    false
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_trimmed_and_bounded() {
        assert_eq!(Name::new("  Follow-up 1 ").unwrap().as_str(), "Follow-up 1");
        assert_eq!(Name::new(" \t"), Err(TextError::Empty));
        assert_eq!(Name::new(&"x".repeat(41)), Err(TextError::TooLong { length: 41, most: 40 }));
        assert!(Name::new(&"é".repeat(40)).is_ok());
    }

    #[test]
    fn a_character_that_disguises_is_refused() {
        assert_eq!(Name::new("a\u{202E}b"), Err(TextError::Unprintable { code: 0x202E }));
        assert_eq!(Name::new("a\u{0}b"), Err(TextError::Unprintable { code: 0 }));
        assert!(Name::new("two\nlines").is_err());
        assert!(Remark::new("two\nlines").is_ok());
    }
}
