//! The names that machines use: one type per kind of thing, so that a line's id cannot stand where a crossing's
//! belongs. All are UUIDs (RFC 9562); what a device makes is version 7, so that it sorts by time.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
        #[serde(transparent)]
        #[schema(value_type = Uuid)]
        pub struct $name(pub Uuid);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }
    };
}

id!(
    /// One command post's lines over one period.
    OperationId
);
id!(
    /// A wire route between two ends.
    LineId
);
id!(
    /// The place where a line meets an obstacle.
    CrossingId
);
id!(
    /// One report, made on the device before it is sent.
    ReportId
);
id!(
    /// One reel of wire on the line.
    ReelId
);
id!(
    /// The secret's public name.
    PassId
);
