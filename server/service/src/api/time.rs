//! A time as it goes out: RFC 3339 in UTC. It is the text that chrono itself writes, made in one piece: chrono's own
//! serializing hands every letter to JSON's escaping one by one, and the queue writes some sixty times in an answer.

use chrono::{DateTime, SecondsFormat, Utc};
use serde::{Serialize as _, Serializer};

/// A time.
pub(super) fn at<S: Serializer>(time: &DateTime<Utc>, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&text(time))
}

/// A time that may not have come yet.
#[allow(clippy::ref_option, reason = "serde's shape")]
pub(super) fn perhaps<S: Serializer>(time: &Option<DateTime<Utc>>, to: S) -> Result<S::Ok, S::Error> {
    time.as_ref().map(text).serialize(to)
}

fn text(time: &DateTime<Utc>) -> String {
    time.to_rfc3339_opts(SecondsFormat::AutoSi, true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_written_as_chrono_writes_it() {
        for micros in [0, 1, 1_500_000, 1_732_575_600_123_456, -62_135_596_800_000_000] {
            let time = DateTime::from_timestamp_micros(micros).unwrap();
            assert_eq!(
                at(&time, serde_json::value::Serializer).unwrap(),
                serde_json::to_value(time).unwrap()
            );
        }
    }
}
