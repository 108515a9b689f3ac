//! What the trade says about a place: which constructions are allowed, in which order to prefer them, what the lead
//! team does at the least, what the follow-up team finishes, and the cautions that go with the work.
//!
//! It never decides on a report (see [`crate::installation`]); it answers what the trade says about a place.
//! Sources by key: *SS0440*, *SS0444*, *SS04377*: US Army correspondence subcourses on field wire, after TC 24-20;
//! *GO 95*: California Public Utilities Commission, General Order 95; *WAC*: Washington Administrative Code;
//! *1910.333*: 29 CFR 1910.333; *PS 623*: US Army preventive maintenance monthly, October 2004;
//! *MIL-HDBK-1025/10* and *MIL-HDBK-1012/3*: US Navy handbooks; *Corcoran 1917*: A. P. Corcoran, Popular Science
//! Monthly 90(6).

use std::borrow::Cow;

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    obstacle::Obstacle,
    profile::{HeightRules, Profile, feet_and_metres},
    refusal::Refusal,
    units::Metres,
};

/// One thing to do, or one caution to heed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Item {
    /// A stable name, which a report uses to say that it is done.
    pub id: &'static str,
    /// What to do, in words.
    pub text: String,
    /// Where the practice was read.
    pub source: Cow<'static, str>,
}

pub(crate) fn item(id: &'static str, text: impl Into<String>, source: impl Into<Cow<'static, str>>) -> Item {
    Item { id, text: text.into(), source: source.into() }
}

pub(crate) const PRACTICE: &str = "common practice, no source";
const RAIL_UNDER: &str =
    "SS0444 p. 25: under the rails, between the ties; a train's updraft lifts loose wire";

/// Whether the construction is allowed at the obstacle, and if not, which rule forbids it.
///
/// # Errors
/// The refusal with the obstacle, the construction and the reason.
///
/// # Source
/// SS0444 p. 25 for railways, SS0440 p. 33 for roads; the rest is common practice, no source.
///
/// ```
/// use laywire_craft::{construction::Construction, guide::check, obstacle::Obstacle, refusal::Refusal};
/// assert!(check(Obstacle::Railway, false, Construction::UnderRails).is_ok());
/// let construction = Construction::OverheadPoles;
/// let over = check(Obstacle::Railway, false, construction);
/// assert_eq!(over, Err(Refusal::OverheadOverRailway { construction }));
/// ```
pub fn check(obstacle: Obstacle, hard_surface: bool, construction: Construction) -> Result<(), Refusal> {
    use Construction as C;
    use Obstacle as O;
    let wrong = |why: &str, instead: &str| {
        Err(Refusal::ConstructionNotAllowed {
            obstacle,
            construction,
            why: why.to_owned(),
            instead: instead.to_owned(),
        })
    };
    match (obstacle, construction) {
        (O::Railway, c) if c.is_overhead() => Err(Refusal::OverheadOverRailway { construction: c }),
        (O::Railway, C::Buried | C::Ladder) => wrong(
            "no wire may lie on a track, and nobody digs across one",
            "go under the rails, between two ties",
        ),
        (O::Stream, C::ThroughCulvert | C::Buried | C::Ladder) => {
            wrong("water moves and strains wire that lies in it", "go overhead, or along a bridge")
        }
        (o, C::UnderRails) if o != O::Railway => {
            wrong("there are no rails here", "choose from what this obstacle allows")
        }
        (O::DirtRoad | O::Path, C::Ladder) => {
            wrong("a ladder is for a hard surface that cannot be dug", "bury it, or go overhead")
        }
        (_, C::Ladder) if !hard_surface => {
            wrong("a ladder is for a hard surface that cannot be dug", "bury it, or go overhead")
        }
        (_, C::Buried) if hard_surface => {
            wrong("a hard surface cannot be dug", "go overhead, through a culvert or under a bridge")
        }
        _ => Ok(()),
    }
}

/// One construction that is allowed at a place.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Choice {
    /// The construction.
    pub construction: Construction,
    /// Why it stands where it stands in the list.
    pub reason: &'static str,
    /// The least height, for an overhead crossing: the one that governs.
    pub least_height_m: Option<Metres>,
    /// The heights that the field rule and the civil code ask for, and which of them governs.
    pub heights: Option<HeightRules>,
    /// The least depth, for a buried crossing.
    pub least_depth_m: Option<Metres>,
    /// The source of the height that governs, or of the depth.
    pub figure_source: Option<String>,
    /// Whether it may stay. A ladder may not: it has to be replaced before the crossing is finished.
    pub lasting: bool,
    /// What the lead team does at the least.
    pub lead: Vec<Item>,
    /// What the follow-up team finishes.
    pub finish: Vec<Item>,
    /// The cautions that go with the work.
    pub cautions: Vec<Item>,
}

/// One construction that is refused at a place, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Forbidden {
    /// The construction.
    pub construction: Construction,
    /// The rule, in words.
    pub reason: String,
}

/// All that the trade says about one kind of place.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Guide {
    /// The obstacle.
    pub obstacle: Obstacle,
    /// Whether its surface is hard, so that it cannot be dug.
    pub hard_surface: bool,
    /// What is allowed, the best first.
    pub allowed: Vec<Choice>,
    /// What is refused.
    pub refused: Vec<Forbidden>,
}

/// What the trade says about crossing this obstacle.
///
/// ```
/// use laywire_craft::{construction::Construction, guide::guide};
/// use laywire_craft::{obstacle::Obstacle, profile::Profile, units::feet};
/// let road = guide(Obstacle::Road, true, Profile::field());
/// assert_eq!(road.allowed[0].construction, Construction::ThroughCulvert);
/// let overhead = road.allowed.iter().find(|choice| choice.construction.is_overhead()).ok_or("none")?;
/// // SS0440 pp. 29, 31: at least 14 ft over a secondary road; NESC rule 232: 15.5 ft, which governs on a public one.
/// let heights = overhead.heights.as_ref().ok_or("no rule")?;
/// assert_eq!((heights.field.least_m, overhead.least_height_m), (feet(14.0), Some(feet(15.5))));
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn guide(obstacle: Obstacle, hard_surface: bool, profile: &Profile) -> Guide {
    let mut allowed = Vec::new();
    let mut refused = Vec::new();
    for construction in ranked(obstacle) {
        match check(obstacle, hard_surface, construction) {
            Ok(()) => allowed.push(choice_where(obstacle, None, construction, profile)),
            Err(refusal) => refused.push(Forbidden { construction, reason: refusal.to_string() }),
        }
    }
    Guide { obstacle, hard_surface, allowed, refused }
}

/// Every construction in the order in which the trade prefers it here: a minor road is sooner dug than spanned.
fn ranked(obstacle: Obstacle) -> [Construction; 8] {
    use Construction as C;
    match obstacle {
        Obstacle::DirtRoad | Obstacle::Path => [
            C::ThroughCulvert,
            C::UnderBridge,
            C::Buried,
            C::OverheadTrees,
            C::OverheadPoles,
            C::OverheadLancePoles,
            C::UnderRails,
            C::Ladder,
        ],
        _ => C::ALL,
    }
}

/// The choice of a construction that [`check`] allows, with the heights over a way that is public, or not, or as the
/// profile has it.
pub(crate) fn choice_where(
    obstacle: Obstacle,
    public: Option<bool>,
    construction: Construction,
    profile: &Profile,
) -> Choice {
    let heights = construction.is_overhead().then(|| profile.heights_over(obstacle, public)).flatten();
    let depth = (construction == Construction::Buried).then_some(&profile.burial.depth);
    let height_source = heights.as_ref().map(|heights| heights.governs.source.clone());
    Choice {
        construction,
        reason: reason(obstacle, construction),
        least_height_m: heights.as_ref().map(|heights| heights.governs.least_m),
        least_depth_m: depth.map(|depth| depth.value),
        figure_source: height_source.or(depth.map(|depth| depth.source.to_string())),
        lasting: construction != Construction::Ladder,
        lead: lead_list(obstacle, construction),
        finish: finishing_list(heights.as_ref(), construction, profile, obstacle),
        cautions: cautions(obstacle, construction),
        heights,
    }
}

fn reason(obstacle: Obstacle, construction: Construction) -> &'static str {
    use Construction as C;
    match (obstacle, construction) {
        (_, C::ThroughCulvert) => "A culvert within reach keeps wire out of traffic with the least work.",
        (Obstacle::Stream, C::UnderBridge) => {
            "A bridge within reach spares the span: tie outside or under its deck."
        }
        (_, C::UnderBridge) => "A bridge within reach keeps wire out of traffic with the least work.",
        (_, C::UnderRails) => {
            "Between two ties, in a small trench, without slack: the only way across a track."
        }
        (_, C::OverheadTrees) => "Trees on both sides carry it without poles of our own.",
        (_, C::OverheadPoles) => "Standing poles carry it, if they are sound and carry no power.",
        (_, C::OverheadLancePoles) => "Where nothing stands, two lance poles lashed together a side.",
        (_, C::Buried) => "A surface that can be dug takes it out of the way for good.",
        (_, C::Ladder) => "Only until it is replaced: a hard surface, nothing to hang from, no time.",
    }
}

/// The least that keeps the line alive and lets traffic pass.
fn lead_list(obstacle: Obstacle, construction: Construction) -> Vec<Item> {
    use Construction as C;
    let mut list = match construction {
        C::ThroughCulvert => {
            vec![item("pull_through", "Pull the wire through, clear of the water's bed", "SS0440 p. 33")]
        }
        C::UnderBridge => {
            vec![item("off_roadway", "Lay it under or outside the deck, off the roadway", PRACTICE)]
        }
        C::UnderRails => vec![
            item("railway_leave", "The railway has given leave, and one person watches for trains", PRACTICE),
            item(
                "between_ties",
                "Lay it under the rails, between two ties, close to one of them",
                RAIL_UNDER,
            ),
            item("no_slack", "Draw it tight to a stake on each side: no slack at the rails", RAIL_UNDER),
        ],
        C::OverheadTrees | C::OverheadPoles | C::OverheadLancePoles => {
            vec![item(
                "lift",
                "Lift the wire over with a throw-line or lance pole and tie it off on both sides",
                PRACTICE,
            )]
        }
        C::Buried => vec![item(
            "flat_across",
            "Lay it straight across, flat and taut, and stake both sides",
            "SS0444 p. 25",
        )],
        C::Ladder => vec![
            item(
                "conductors_apart",
                "Lay the conductors parallel, farther apart than the longest vehicle",
                "SS0440 p. 33",
            ),
            item("stakes", "Stake both sides and splice again on the far side", "SS0440 p. 33"),
        ],
    };
    if obstacle == Obstacle::Stream {
        list.push(item("no_splice", "No splice in the span: change reels well before or after it", PRACTICE));
    }
    list.push(item(
        "spare",
        "Leave a spare length on both sides for the follow-up team",
        "SS0440 pp. 29, 31",
    ));
    list.push(item("tags", "Tag both sides with the line's number", "SS0444 p. 30, par. 37"));
    list
}

/// What makes the crossing safe for traffic, water and weather.
fn finishing_list(
    heights: Option<&HeightRules>,
    construction: Construction,
    profile: &Profile,
    obstacle: Obstacle,
) -> Vec<Item> {
    let mut list = Vec::new();
    if construction.is_overhead() && obstacle == Obstacle::Stream {
        list.push(item(
            "height",
            "Lowest point of the wire clear of the highest water and what it carries",
            PRACTICE,
        ));
        list.push(item("no_splice", "No splice anywhere in the span", PRACTICE));
    }
    if let Some(heights) = heights {
        list.push(height_item(heights));
    }
    list.extend(building(construction, profile));
    let tags = if construction.is_overhead() {
        item("tags", "Tag on both sides, 6 in (15 cm) behind the stake, away from the road", "SS0440 p. 31")
    } else {
        item("tags", "Tag on both sides, and wherever the construction changes", "SS0444 p. 30, par. 37")
    };
    list.push(tags);
    list.push(item("call", "Call both ways over the wire after the last touch", "SS04377 p. 22"));
    list
}

/// The height that governs, and beside it the other rule where the two differ.
fn height_item(heights: &HeightRules) -> Item {
    let governs = &heights.governs;
    let least = feet_and_metres(governs.least_m);
    let mut text = format!("Lowest point of the wire at least {least} above the surface");
    let other = if governs == &heights.field { &heights.civil } else { &heights.field };
    if other.least_m > governs.least_m {
        // A smaller height governs only where the way is not public.
        let civil = feet_and_metres(other.least_m);
        text = format!("{text}. This way is not public; on a public one at least {civil}");
    }
    item("height", text, governs.source.clone())
}

/// What this construction asks for wherever it stands.
fn building(construction: Construction, profile: &Profile) -> Vec<Item> {
    use Construction as C;
    let mut list = Vec::new();
    match construction {
        C::ThroughCulvert => {
            list.push(item(
                "tie_ends",
                "Tie both ends outside, above the normal water, clear of debris",
                PRACTICE,
            ));
            list.push(item("no_chafe", "Tape or pad it where it bends over an edge", PRACTICE));
        }
        C::UnderBridge => {
            list.push(item(
                "tie_under",
                "Tie it under or outside the deck at intervals, out of reach of traffic",
                PRACTICE,
            ));
            list.push(item("no_chafe", "Tape or pad it where it bends over an edge", PRACTICE));
        }
        C::UnderRails => {
            let stakes = &profile.railway.stake_distance;
            let text = format!(
                "Stakes at least {} outside the rails (1 to 2 ft is usual), wire tied to both, no slack",
                feet_and_metres(stakes.value)
            );
            list.push(item("stakes", text, stakes.source.to_string()));
            list.push(item("trench", "Trench it to the edge of the improved ground on both sides", PRACTICE));
            list.push(item("ballast", "Ballast put back as it was", PRACTICE));
        }
        C::OverheadTrees => {
            list.push(item(
                "tree_tie",
                "Loop-knot tie at height that gives with the tree's sway",
                "SS0440 p. 29",
            ));
            list.push(item(
                "ground_tie",
                "Ground tie 3 to 6 in (8 to 15 cm) up on both sides, slack kept behind it",
                "SS0440 p. 29",
            ));
        }
        C::OverheadPoles => {
            list.push(item(
                "pole_sound",
                "Poles are sound, carry no power line, and their owner agrees",
                "WAC 296-54-529; PS 623 p. 44",
            ));
            list.push(item(
                "pole_tie",
                "Tie at height; clove hitch on an insulator with 4 to 6 in (10 to 15 cm) of tape",
                "SS0440 p. 31",
            ));
            list.push(item(
                "ground_tie",
                "Ground tie 3 to 6 in (8 to 15 cm) up on both sides, slack kept behind it",
                "SS0440 p. 29",
            ));
        }
        C::OverheadLancePoles => {
            list.push(item(
                "lash",
                "Two lance poles lashed a side, overlap at least 5 ft (1.52 m)",
                "SS0440 p. 31",
            ));
            list.push(item(
                "guys",
                "Guyed at 45° to the line, 1 m out for each metre up; stake at the pole's foot",
                "SS0440 p. 31",
            ));
        }
        C::Buried => {
            let text = format!("Trench at least {} deep", feet_and_metres(profile.burial.depth.value));
            list.push(item("depth", text, profile.burial.depth.source.to_string()));
            list.push(item(
                "stakes",
                "Stake each side; a spare length left in the trench and at both ends",
                "SS0444 p. 25",
            ));
            list.push(item(
                "backfill",
                "Packed back without a hump, spoil kept at the side for when it settles",
                "SS0444 p. 25",
            ));
        }
        C::Ladder => {
            list.push(item(
                "replace",
                "Replace the ladder by an overhead crossing, a culvert or a bridge",
                "SS0440 p. 33",
            ));
        }
    }
    list
}

/// The cautions of this work at this place. They defer to local codes and licensed practice.
pub(crate) fn cautions(obstacle: Obstacle, construction: Construction) -> Vec<Item> {
    use Construction as C;
    let mut list = Vec::new();
    match obstacle {
        Obstacle::MainHighway | Obstacle::Road | Obstacle::DirtRoad => list.push(item(
            "traffic",
            "Traffic: signs, cones and a look-out on both approaches before anybody steps on the road; at night, lights. \
             Agree it with the traffic authority.",
            "MIL-HDBK-1025/10 secs. 4, 8",
        )),
        Obstacle::Railway => list.push(item(
            "trains",
            "Trains: only with the railway's leave and under its own watch rules. One person does nothing but watch. A train \
             may need over a mile (1.6 km) to stop. Keep metal tools off both rails at once.",
            PRACTICE,
        )),
        Obstacle::Stream => list.push(item(
            "water",
            "Water: nobody wades or swims with the wire in moving water. A flotation device wherever a fall could be \
             into water, and somebody below with a line to throw.",
            "MIL-HDBK-1025/10 sec. 4",
        )),
        Obstacle::Path => {}
    }
    if construction.is_overhead() {
        list.push(item(
            "power",
            "Power lines: every overhead wire is live until its owner says it is not and it is seen to be grounded. Keep at least \
             10 ft (3 m), more above 50 kV, with body, pole and loose wire; never throw wire over or hang it above one.",
            "29 CFR 1910.333; WAC 296-54-529; PS 623 p. 44",
        ));
        list.push(item(
            "storm",
            "Storms: no work aloft with thunder about, in high wind or ice. Shelter when thunder follows lightning within 30 s; go \
             back 30 min after the last.",
            "WAC 296-45-385; 30/30 as in contractors' rules",
        ));
    }
    match construction {
        C::OverheadTrees | C::OverheadPoles => list.push(item(
            "climbing",
            "Climbing: only people trained and equipped for it, harness and lanyard above 4 ft (1.2 m). Sound the pole or limb \
             first. One climbs at a time, nobody stands below, tools go up by line.",
            "MIL-HDBK-1025/10 secs. 4, 7",
        )),
        C::OverheadLancePoles => list.push(item(
            "poles",
            "Raising poles: enough hands, keep from under, and look up: no power line within twice the pole's height.",
            "PS 623 p. 44",
        )),
        C::UnderRails | C::Buried => list.push(item(
            "digging",
            "Digging: have buried cables and pipes located first (48 h notice is usual). Dig by hand.",
            "MIL-HDBK-1012/3",
        )),
        C::ThroughCulvert => list.push(item(
            "culvert",
            "Culverts: do not crawl in. Pull the wire through with a rod or a line; mind rising water and bad air.",
            PRACTICE,
        )),
        C::UnderBridge => list.push(item(
            "bridge",
            "Bridges: work from the bank or a safe walkway, never over the parapet unsecured; its owner decides.",
            PRACTICE,
        )),
        C::Ladder => list.push(item(
            "ladder",
            "A ladder lies in traffic until it is replaced: keep a watch on it.",
            "SS0440 p. 33",
        )),
    }
    if obstacle == Obstacle::Road && construction.is_overhead() {
        list.push(item(
            "civil_height",
            "Public roads: civil codes ask for more than the field rule, 15.5 ft (4.7 m) in NESC 232. The greater governs.",
            "IEEE C2 (NESC) rule 232",
        ));
    }
    list.push(item(
        "local",
        "Local codes, the owner's rules and licensed practice come before this list.",
        PRACTICE,
    ));
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_ever_goes_over_a_railway() {
        // SS0444 p. 25; GO 95 rule 113.4 keeps pairs as weak as field wire off railway spans as well.
        for hard in [false, true] {
            let guide = guide(Obstacle::Railway, hard, Profile::field());
            assert!(guide.allowed.iter().all(|c| !c.construction.is_overhead()));
            assert_eq!(guide.refused.iter().filter(|f| f.construction.is_overhead()).count(), 3);
            assert!(guide.allowed.iter().any(|c| c.construction == Construction::UnderRails));
        }
    }

    #[test]
    fn every_place_allows_something_that_lasts_and_names_its_cautions() {
        for obstacle in Obstacle::ALL {
            for hard in [false, true] {
                let guide = guide(obstacle, hard, Profile::field());
                assert_eq!(guide.allowed.len() + guide.refused.len(), Construction::ALL.len());
                assert!(guide.allowed.iter().any(|c| c.lasting), "{obstacle} {hard}");
                for choice in &guide.allowed {
                    assert!(
                        !choice.lead.is_empty() && !choice.finish.is_empty() && !choice.cautions.is_empty()
                    );
                    assert!(
                        choice.finish.iter().any(|i| i.id == "tags"),
                        "tags on both sides of every crossing"
                    );
                    let mut ids: Vec<_> = choice.finish.iter().map(|i| i.id).collect();
                    ids.sort_unstable();
                    ids.dedup();
                    assert_eq!(ids.len(), choice.finish.len(), "ids are unique in a list");
                }
            }
        }
    }

    #[test]
    fn the_greater_of_the_field_and_the_civil_height_governs() {
        // SS0440 pp. 29, 31: 14 ft over a secondary road, 18 ft over a primary one. NESC rule 232: 15.5 ft over roads.
        let over = |o| {
            let g = guide(o, true, Profile::field());
            g.allowed.iter().find(|c| c.construction.is_overhead()).unwrap().least_height_m.unwrap().value()
        };
        assert!((over(Obstacle::Road) - 4.7244).abs() < 1e-9);
        assert!((over(Obstacle::MainHighway) - 5.4864).abs() < 1e-9);
    }

    #[test]
    fn a_hard_surface_is_not_dug_and_a_soft_one_gets_no_ladder() {
        assert!(check(Obstacle::Road, true, Construction::Buried).is_err());
        assert!(check(Obstacle::Road, false, Construction::Buried).is_ok());
        assert!(check(Obstacle::Road, true, Construction::Ladder).is_ok());
        assert!(check(Obstacle::Road, false, Construction::Ladder).is_err());
        assert!(check(Obstacle::DirtRoad, true, Construction::Ladder).is_err());
    }

    #[test]
    fn a_minor_road_is_sooner_dug_than_spanned() {
        let order: Vec<_> = guide(Obstacle::DirtRoad, false, Profile::field())
            .allowed
            .iter()
            .map(|c| c.construction)
            .collect();
        let place = |c| order.iter().position(|&x| x == c).unwrap();
        assert!(place(Construction::Buried) < place(Construction::OverheadLancePoles));
        assert_eq!(order[0], Construction::ThroughCulvert);
    }
}
