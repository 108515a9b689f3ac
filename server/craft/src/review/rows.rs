//! A review as a table: a row a figure.

use super::{Count, Figure, LineReview, Review};
use crate::units::{KilometresPerHour, Metres, Minutes};

/// One figure of a review.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Of what.
    pub subject: String,
    /// Which.
    pub figure: &'static str,
    /// The figure; empty where it is not known.
    pub value: String,
    /// In which unit.
    pub unit: &'static str,
    /// The numbers of the entries that it comes from.
    pub entries: Vec<i64>,
}

struct Rows(Vec<Row>);

impl Rows {
    fn add(
        &mut self,
        subject: &str,
        figure: &'static str,
        value: Option<f64>,
        unit: &'static str,
        entries: &[i64],
    ) {
        let value = value.map(|value| value.to_string()).unwrap_or_default();
        self.0.push(Row { subject: subject.to_owned(), figure, value, unit, entries: entries.to_vec() });
    }

    fn times(&mut self, subject: &str, figures: &[(&'static str, &Figure<Minutes>)]) {
        for (figure, time) in figures {
            self.add(subject, figure, time.value.map(Minutes::value), "min", &time.entries);
        }
    }

    fn lengths(&mut self, subject: &str, figures: &[(&'static str, &Figure<Metres>)]) {
        for (figure, length) in figures {
            self.add(subject, figure, length.value.map(Metres::value), "m", &length.entries);
        }
    }

    fn rates(&mut self, subject: &str, figures: &[(&'static str, &Figure<KilometresPerHour>)]) {
        for (figure, rate) in figures {
            self.add(subject, figure, rate.value.map(KilometresPerHour::value), "km/h", &rate.entries);
        }
    }

    fn counts(&mut self, subject: &str, figures: &[(&'static str, &Count)]) {
        for (figure, count) in figures {
            #[allow(clippy::cast_precision_loss, reason = "entries of an operation")]
            self.add(subject, figure, Some(count.count as f64), "", &count.entries);
        }
    }

    /// What lies along a line: its legs, its crossings, and its troubles.
    fn along(&mut self, line_name: &str, line: &LineReview) {
        for leg in &line.legs {
            let subject = format!("{line_name}, leg {:.0} to {:.0} m", leg.from_m.value(), leg.to_m.value());
            self.times(&subject, &[("laying", &leg.laying)]);
            self.rates(&subject, &[("laying", &leg.rate_km_per_h)]);
        }
        for crossing in &line.crossings {
            let what = crossing.obstacle.words();
            let subject = format!("{line_name}, {what} at {:.0} m", crossing.chainage_m.value());
            self.times(
                &subject,
                &[
                    ("passing", &crossing.passing),
                    ("waiting", &crossing.waiting),
                    ("finishing", &crossing.finishing),
                    ("unfinished", &crossing.unfinished),
                    ("proving", &crossing.proving),
                ],
            );
            self.counts(&subject, &[("conflicts", &crossing.conflicts)]);
        }
        for (number, trouble) in line.troubles.iter().enumerate() {
            let subject = format!("{line_name}, trouble {}", number + 1);
            self.times(&subject, &[("lasted", &trouble.lasted), ("silent", &trouble.silent)]);
            self.counts(&subject, &[("told", &trouble.told), ("steps of the search", &trouble.steps)]);
        }
    }
}

/// The review's figures, line by line, then the teams and the constructions.
#[must_use]
pub fn rows(review: &Review) -> Vec<Row> {
    let mut rows = Rows(Vec::new());
    rows.times("operation", &[("silent", &review.silent)]);
    rows.counts("operation", &[("corrections", &review.corrections)]);
    for line in &review.lines {
        let subject = format!("line {}", line.designation);
        rows.times(
            &subject,
            &[
                ("order to start", &line.order_to_start),
                ("order to through", &line.order_to_through),
                ("order to finished", &line.order_to_finished),
                ("order to proved", &line.order_to_proved),
                ("start to through", &line.start_to_through),
                ("laying", &line.laying),
                ("at crossings", &line.at_crossings),
                ("through to finished", &line.through_to_finished),
                ("finished to proved", &line.finished_to_proved),
                ("passing", &line.passing),
                ("finishing", &line.finishing),
                ("longest without a call", &line.longest_without_call),
                ("silent", &line.silent),
            ],
        );
        rows.rates(
            &subject,
            &[("laying", &line.rate_km_per_h), ("laying, all in all", &line.overall_rate_km_per_h)],
        );
        let wire = &line.wire;
        rows.add(&subject, "wire planned", wire.planned_m.map(Metres::value), "m", &[]);
        rows.lengths(
            &subject,
            &[
                ("wire laid", &wire.laid_m),
                ("wire on reels", &wire.on_reels_m),
                ("wire drawn", &wire.drawn_m),
                ("wire left", &wire.left_m),
                ("wire returned", &wire.returned_m),
                ("wire lost", &wire.lost_m),
                ("wire missing", &wire.missing_m),
            ],
        );
        rows.counts(
            &subject,
            &[
                ("splices", &line.splices),
                ("reels", &line.reels),
                ("good calls", &line.calls),
                ("called or proved again", &line.tested_again),
                ("good tests", &line.tests.good),
                ("worse tests", &line.tests.worse),
                ("bad tests", &line.tests.bad),
                ("tests made again", &line.tests.again),
                ("corrections", &line.corrections),
            ],
        );
        rows.along(&subject, line);
    }
    for team in &review.teams {
        let subject = format!("{} {}", team.party.words(), team.team);
        rows.counts(
            &subject,
            &[("reports", &team.reports), ("passed", &team.passed), ("finished", &team.finished)],
        );
        rows.times(
            &subject,
            &[
                ("span", &team.span),
                ("at crossings", &team.at_crossings),
                ("waiting", &team.waiting),
                ("between", &team.between),
            ],
        );
    }
    for built in &review.constructions {
        let subject = format!("construction {}", built.construction.words());
        rows.times(
            &subject,
            &[("passing, on average", &built.passing), ("finishing, on average", &built.finishing)],
        );
    }
    rows.0
}
