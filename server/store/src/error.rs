//! What can go wrong between the service and the database.

/// Why the store could not do it. Nothing of it is meant for a client's eyes.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The database refused or did not answer.
    #[error("database: {0}")]
    Database(#[from] sqlx::Error),
    /// The schema could not be brought up to date.
    #[error("migration: {0}")]
    Migration(String),
    /// A row holds what no version of the program wrote.
    #[error("the row of {what} holds {value:?}, which is not known")]
    Corrupt {
        /// The table and column.
        what: &'static str,
        /// What stands there.
        value: String,
    },
    /// The operation does not exist.
    #[error("there is no operation {0}")]
    NoSuchOperation(uuid::Uuid),
    /// A pass of another party that still holds bears the call sign.
    #[error("the call sign {team} is another party's already: a call sign belongs to one party")]
    CallSignInUse {
        /// The call sign.
        team: String,
    },
    /// A report is sent for a team that never had a pass.
    #[error("no team {team} of that party ever had a pass into this operation")]
    NoSuchTeam {
        /// The call sign.
        team: String,
    },
    /// The log does not add up.
    #[error("the log does not add up: {0}")]
    Broken(#[from] laywire_craft::installation::Broken),
}

impl StoreError {
    /// Whether the database is out of reach, so that asking again later may help.
    #[must_use]
    pub fn is_passing(&self) -> bool {
        matches!(
            self,
            Self::Database(
                sqlx::Error::Io(_)
                    | sqlx::Error::PoolTimedOut
                    | sqlx::Error::PoolClosed
                    | sqlx::Error::WorkerCrashed
            )
        ) || matches!(self, Self::Database(sqlx::Error::Database(e))
            // 57P0x: the server is shutting down or starting; 08xxx: the connection broke (PostgreSQL, appendix A).
            if e.code().is_some_and(|code| code.starts_with("57P0") || code.starts_with("08")))
    }

    pub(crate) fn corrupt(what: &'static str, value: impl std::fmt::Debug) -> Self {
        Self::Corrupt { what, value: format!("{value:?}") }
    }
}

/// One of a known set of names.
pub(crate) fn named<T: Copy>(
    what: &'static str,
    all: &[T],
    name: impl Fn(T) -> &'static str,
    value: &str,
) -> Result<T, StoreError> {
    all.iter().copied().find(|&t| name(t) == value).ok_or_else(|| StoreError::corrupt(what, value))
}
