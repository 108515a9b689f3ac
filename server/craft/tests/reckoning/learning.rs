//! A section's own rates, against figures that others published of their own numbers.

use laywire_craft::{
    construction::Construction,
    ids::OperationId,
    pace::{Light, Means},
    profile::Profile,
    review::learning::{Case, Estimate, Learned, MOST_CASES, Rates, check, rates},
    units::Minutes,
};
use uuid::Uuid;

/// The energies of NIST/SEMATECH e-Handbook 7.1.6, as used there for a box plot (from memory): 90 values, median 559.5, and
/// nothing beyond the outer fences.
const NIST: [u32; 90] = [
    30, 171, 184, 201, 212, 250, 265, 270, 272, 289, 305, 306, 322, 322, 336, 346, 351, 370, 390, 404, 409,
    411, 436, 437, 439, 441, 444, 448, 451, 453, 470, 480, 482, 487, 494, 495, 499, 503, 514, 521, 522, 527,
    548, 550, 559, 560, 570, 572, 574, 578, 585, 592, 592, 607, 616, 618, 621, 629, 637, 638, 640, 656, 668,
    707, 709, 719, 737, 739, 752, 758, 766, 792, 792, 794, 802, 818, 830, 832, 843, 858, 860, 869, 918, 925,
    953, 991, 1000, 1005, 1068, 1441,
];

fn operation(n: u128) -> OperationId {
    OperationId(Uuid::from_u128(n))
}

const BURIED: Learned = Learned::Passing { construction: Construction::Buried, light: Light::Day };

fn of(figure: Learned, times: &[f64]) -> Vec<Case> {
    let case = |&time: &f64| Case {
        operation: operation(1),
        figure,
        time_min: Minutes::new(time).unwrap(),
        entries: vec![1, 2],
    };
    times.iter().map(case).collect()
}

fn learned(cases: Vec<Case>) -> Rates {
    rates(cases, operation(9), Vec::new(), Profile::field())
}

fn only(rates: &Rates) -> &Estimate {
    let [estimate] = rates.estimates.as_slice() else { panic!("{rates:?}") };
    estimate
}

fn near(time: Minutes, wanted: f64) {
    assert!((time.value() - wanted).abs() < 1e-9, "{time} is not {wanted}");
}

#[test]
fn the_middle_and_the_spread_are_those_of_published_examples() {
    // The example of numpy's documentation of `percentile` (from memory): the median of 10, 7, 4, 3, 2, 1 is 3.5.
    let rates = learned(of(BURIED, &[10.0, 7.0, 4.0, 3.0, 2.0, 1.0]));
    near(only(&rates).all.median_min, 3.5);
    // R's documentation of `quantile`, whose default is the same definition (from memory): of 1 to 10 the tenths are 1.9 and 9.1.
    let ten: Vec<f64> = (1..=10_u32).map(f64::from).collect();
    let rates = learned(of(BURIED, &ten));
    near(only(&rates).all.p10_min, 1.9);
    near(only(&rates).all.p90_min, 9.1);
    let energies: Vec<f64> = NIST.iter().copied().map(f64::from).collect();
    let rates = learned(of(BURIED, &energies));
    near(only(&rates).all.median_min, 559.5);
    assert!(only(&rates).far_out.is_empty() && only(&rates).without_far_out.is_none());
}

#[test]
fn a_case_far_out_is_shown_and_the_estimate_is_told_with_and_without_it() {
    // By hand: quartiles 5 and 7, so that 13 is the fence. With it the median is 6, without it 5.5.
    let rates = learned(of(BURIED, &[4.0, 20.0, 5.0, 7.0, 6.0]));
    let estimate = only(&rates);
    near(estimate.all.median_min, 6.0);
    near(estimate.all.p10_min, 4.4);
    near(estimate.all.p90_min, 14.8);
    let without = estimate.without_far_out.unwrap();
    assert_eq!((estimate.all.cases, without.cases), (5, 4));
    near(without.median_min, 5.5);
    near(without.p10_min, 4.3);
    near(without.p90_min, 6.7);
    let [far] = estimate.far_out.as_slice() else { panic!("{estimate:?}") };
    near(far.time_min, 20.0);
    assert_eq!(rates.cases.len(), 5, "it stays among the cases");
    // At the fence itself a case is not beyond it.
    let rates = learned(of(BURIED, &[4.0, 13.0, 5.0, 7.0, 6.0]));
    assert!(only(&rates).far_out.is_empty());
}

#[test]
fn fewer_than_five_cases_are_too_few_and_offer_nothing() {
    let rates = learned(of(BURIED, &[4.0, 5.0, 6.0, 300.0]));
    let estimate = only(&rates);
    assert!(estimate.too_few && estimate.line.is_none() && estimate.far_out.is_empty());
    assert!(estimate.words.contains("too few"), "{}", estimate.words);
    assert_eq!(rates.profile, "");
}

#[test]
fn what_is_offered_is_a_profile_that_has_the_median_and_nothing_else_of_its_own() {
    let mut cases = of(BURIED, &[4.0, 5.0, 6.0, 7.0, 8.0]);
    // A kilometre in 50 min is 20 m in one.
    let laying = Learned::Laying { means: Means::Foot, light: Light::Day };
    cases.extend(of(laying, &[50.0, 40.0, 60.0, 45.0, 55.0]));
    // A profile has no figure of its own for a crossing at night.
    let at_night = Learned::Finishing { construction: Construction::Buried, light: Light::Night };
    cases.extend(of(at_night, &[20.0, 21.0, 22.0, 23.0, 24.0]));
    let rates = learned(cases);
    let profile = Profile::unit(&rates.profile).unwrap();
    let field = Profile::field();
    let minutes = |profile: &Profile| profile.pace.constructions.of(Construction::Buried).lead.value;
    assert_eq!(minutes(&profile), Minutes::new(6.0).unwrap());
    assert!((profile.pace.laying_rate(Means::Foot, Light::Day).value.value() - 20.0).abs() < 1e-9);
    assert_eq!(
        profile.pace.constructions.of(Construction::Buried).follow_up,
        field.pace.constructions.of(Construction::Buried).follow_up
    );
    let night = rates.estimates.iter().find(|estimate| estimate.figure == at_night).unwrap();
    assert!(night.profile.is_none() && night.line.is_none() && !night.too_few);
    // What the operation's profile has stands beside it: 3 to 4 min (Corcoran 1917).
    let buried = rates.estimates.iter().find(|estimate| estimate.figure == BURIED).unwrap();
    assert_eq!(buried.profile_min, Minutes::new(3.5).ok());
    assert_eq!(buried.profile.as_deref(), Some("pace.constructions.buried.lead"));
}

#[test]
fn cases_that_an_operation_brings_again_are_replaced_by_its_own() {
    let mut earlier = of(BURIED, &[4.0, 5.0]);
    earlier.extend(of(BURIED, &[9.0]).into_iter().map(|case| Case { operation: operation(2), ..case }));
    let own = of(BURIED, &[6.0]);
    let rates = rates(earlier, operation(1), own, Profile::field());
    let times: Vec<f64> = rates.cases.iter().map(|case| case.time_min.value()).collect();
    assert_eq!(times, [9.0, 6.0]);
}

#[test]
fn the_oldest_cases_are_left_out_and_counted_when_there_are_too_many() {
    let earlier = of(BURIED, &vec![4.0; MOST_CASES]);
    let rates = rates(earlier, operation(2), of(BURIED, &[6.0, 6.0]), Profile::field());
    assert_eq!((rates.left_out, rates.cases.len()), (2, MOST_CASES));
    assert!(check(&rates.cases).is_ok(), "what comes out may go in again");
}

#[test]
fn cases_that_nobody_can_have_are_refused_by_name() {
    let mut cases = of(BURIED, &[4.0, 20_000.0]);
    assert_eq!(
        check(&cases).unwrap_err().to_string(),
        "cases[1].time_min is 20000; give a number from 0 to 10080"
    );
    cases.pop();
    cases[0].entries = vec![1; 101];
    assert!(check(&cases).unwrap_err().to_string().starts_with("cases[0].entries has 101"));
    assert!(check(&of(BURIED, &vec![1.0; MOST_CASES + 1])).is_err());
}
