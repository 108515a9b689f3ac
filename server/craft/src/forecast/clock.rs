//! One team's time as it goes on: work by the light that there is, rests, and waiting.

use chrono::{DateTime, TimeDelta, Utc};

use super::{Breaks, DAYS_OF_LIGHT, UnderTheSun, by};
use crate::{pace::Light, sun};

/// What is shorter than this, in minutes, is a remainder of a sum and no work.
const BLINK: f64 = 1e-9;

/// Minutes that a piece of work takes by day and by night.
pub(super) type ByLight = [f64; 2];

/// What holds for all teams: the light and the rests.
pub(super) struct Conditions {
    /// From which minute on there is which light; the first is from the beginning.
    light: Vec<(f64, usize)>,
    breaks: Option<(f64, f64)>,
    /// The light by the clock.
    told: Vec<sun::Change>,
}

impl Conditions {
    /// Under the sun, or by one light throughout.
    pub(super) fn of(under: Option<UnderTheSun>, light: Light, breaks: Option<Breaks>) -> Self {
        let told = under.map_or_else(Vec::new, |at| sun::light(at.place, at.from, DAYS_OF_LIGHT));
        let light = match under {
            None => vec![(0.0, by(light))],
            Some(at) => told
                .iter()
                .map(|change| {
                    #[allow(clippy::cast_precision_loss, reason = "seconds of some months")]
                    let seconds = (change.at - at.from).max(TimeDelta::zero()).num_seconds() as f64;
                    (seconds / 60.0, by(change.light))
                })
                .collect(),
        };
        let breaks = breaks.map(|Breaks { after_min, length_min }| (after_min.value(), length_min.value()));
        Self { light, breaks, told }
    }

    /// The light by the clock, up to a moment.
    pub(super) fn until(&self, end: Option<DateTime<Utc>>) -> Vec<sun::Change> {
        self.told.iter().filter(|change| end.is_none_or(|end| change.at <= end)).copied().collect()
    }
}

/// A team's time.
#[derive(Clone, Copy)]
pub(super) struct Clock {
    /// Now, in minutes from the beginning.
    pub(super) now: f64,
    /// Work since the last rest.
    worked: f64,
    /// Which light there is, by its place in the list.
    light: usize,
}

impl Clock {
    pub(super) fn at(now: f64) -> Self {
        Self { now, worked: 0.0, light: 0 }
    }

    /// Works for so many times the minutes: through dusk and dawn with what is left of the work, and with its rests.
    pub(super) fn work(&mut self, minutes: ByLight, times: f64, conditions: &Conditions) {
        let mut left = 1.0;
        loop {
            while conditions.light.get(self.light + 1).is_some_and(|&(from, _)| from <= self.now) {
                self.light += 1;
            }
            let light = conditions.light.get(self.light).map_or(0, |&(_, light)| light);
            let whole = minutes[light] * times;
            if whole <= 0.0 {
                return;
            }
            if let Some((after, length)) = conditions.breaks
                && self.worked >= after
            {
                self.now += length;
                self.worked = 0.0;
                continue;
            }
            let rest = whole * left;
            let until_light =
                conditions.light.get(self.light + 1).map_or(f64::INFINITY, |&(from, _)| from - self.now);
            let until_break = conditions.breaks.map_or(f64::INFINITY, |(after, _)| after - self.worked);
            if rest <= until_light + BLINK && rest <= until_break + BLINK {
                self.now += rest;
                self.worked += rest;
                return;
            }
            // Set to the very moment, so that no remainder of a subtraction keeps it from coming.
            if until_light <= until_break {
                self.now += until_light;
                self.worked += until_light;
                self.light += 1;
                left -= until_light / whole;
            } else {
                self.now += until_break;
                self.worked = f64::INFINITY;
                left -= until_break / whole;
            }
        }
    }

    /// Waits until a moment, and says how long that was.
    pub(super) fn wait(&mut self, until: f64, conditions: &Conditions) -> f64 {
        let waited = (until - self.now).max(0.0);
        if conditions.breaks.is_some_and(|(_, length)| waited >= length && waited > 0.0) {
            self.worked = 0.0;
        }
        self.now = self.now.max(until);
        waited
    }
}
