//! The share-out of the queue among several follow-up teams. Asking changes nothing: what the command post takes of it goes into
//! the log as reports `crossing_given_out`.

use std::{collections::HashSet, sync::Arc};

use axum::{Extension, Json, extract::State};
use laywire_craft::{
    crossing::{Crossing, GivenTo, RoundPlace},
    duty::Act,
    geodesy::Position,
    ids::{CrossingId, OperationId},
    pace::Means,
    profile::Profile,
    report::Kind,
    road::Travel,
    share_out::{MOST_CROSSINGS, MOST_TEAMS, Question, share_out, timed},
    text::Name,
    units::Minutes,
};
use laywire_store::road;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::plan::MapUsed;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// What is to be shared out, and among whom.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShareOutQuestion {
    /// The follow-up teams.
    #[schema(min_items = 1, max_items = 10)]
    teams: Vec<TeamAt>,
    /// By what means the teams go.
    #[serde(default)]
    by: Means,
    /// Which crossings; left out, all that are unfinished, up to 100.
    #[serde(default)]
    #[schema(max_items = 100)]
    crossings: Option<Vec<CrossingId>>,
}

/// A team and where it is.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TeamAt {
    /// Its call sign.
    team: Name,
    /// Where it is, or will be when it sets out.
    position: Position,
    /// Its round, where somebody has put it together. Given for any team, nothing is shared out: each round is timed as it
    /// stands, after what the team has in hand.
    #[serde(default)]
    #[schema(max_items = 100)]
    round: Option<Vec<CrossingId>>,
}

/// A proposal: who finishes what, in which order.
#[derive(Serialize, ToSchema)]
pub struct ShareOut {
    /// The map.
    map: MapUsed,
    /// Each team's round, in the order of the question.
    rounds: Vec<Round>,
    /// Crossings that no way leads to from any team.
    not_reached: Vec<CrossingId>,
    /// Crossings that nobody can be sent to now, and why.
    left_out: Vec<LeftOut>,
    /// When the last is finished, in minutes from now; null when there is nothing to do.
    #[schema(required = true)]
    ends_after_min: Option<Minutes>,
}

/// A team's round.
#[derive(Serialize, ToSchema)]
pub struct Round {
    /// The team.
    team: Name,
    /// Where it goes, one after the other.
    stops: Vec<RoundStop>,
}

/// A crossing in a team's round.
#[derive(Serialize, ToSchema)]
pub struct RoundStop {
    /// The crossing.
    crossing: CrossingId,
    /// Whether the team has it in hand already.
    in_hand: bool,
    /// What the report `crossing_given_out` says to give it so.
    to: GivenTo,
    /// The way there, in minutes.
    travel_min: Minutes,
    /// The way there, in metres.
    distance_m: laywire_craft::units::Metres,
    /// When the work begins, in minutes from now.
    begins_after_min: Minutes,
    /// When it is finished, in minutes from now.
    ends_after_min: Minutes,
}

/// A crossing that is not shared out.
#[derive(Serialize, ToSchema)]
pub struct LeftOut {
    /// The crossing.
    crossing: CrossingId,
    /// Why nobody is sent there.
    because: WhyLeftOut,
}

/// Why nobody is sent to a crossing.
#[derive(Clone, Copy, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WhyLeftOut {
    /// The wire is not over yet.
    NotPassed,
    /// Another team has it in hand.
    InHandOfAnother,
    /// It is finished, struck out or not there any more.
    NotUnfinished,
}

/// Proposes which team finishes which crossings, so that the last ends soonest: by the travel along roads, tracks and paths, and the
/// profile's minutes for each construction by day. What a team has in hand it finishes first.
#[utoipa::path(post, path = "/api/operations/{op}/queue/share-out", tag = "crossings", operation_id = "share_out_queue",
    params(("op" = OperationId, Path)), request_body = ShareOutQuestion,
    responses((status = 200, body = ShareOut), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn share_out_queue(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(asked): Sent<ShareOutQuestion>,
) -> Result<Json<ShareOut>, Problem> {
    seat.must(Act::Report(Kind::CrossingGivenOut))?;
    checked(&asked)?;
    let (pool, operation) = (&service.pool, seat.0.operation);
    // One more than may be shared out, to see that there are too many.
    let most = i64::try_from(MOST_CROSSINGS).unwrap_or(i64::MAX).saturating_add(1);
    let unfinished = laywire_store::unfinished(pool, operation, asked.crossings.as_deref(), most).await?;
    if unfinished.len() > MOST_CROSSINGS {
        return Err(Problem::CannotReckon {
            field: Some("crossings".to_owned()),
            why: format!(
                "more than {MOST_CROSSINGS} crossings are unfinished: name up to {MOST_CROSSINGS} of them"
            ),
        });
    }
    let profile = laywire_store::operation::profile(pool, operation).await?;
    let desk = Desk::of(&asked, unfinished);
    let turn = service.turn().await?;
    let places = desk.places(&asked);
    let (travel, map) = road::travel(pool, places.clone(), places.len(), asked.by, profile.clone()).await?;
    let shared = turn.reckon(move || desk.shared(&asked, &travel, &profile)).await?;
    let (rounds, not_reached, left_out) = shared;
    let ends = rounds.iter().filter_map(|round| round.stops.last()).map(|stop| stop.ends_after_min);
    let ends_after_min = ends.reduce(Minutes::max);
    Ok(Json(ShareOut { map: map.into(), rounds, not_reached, left_out, ends_after_min }))
}

fn checked(asked: &ShareOutQuestion) -> Result<(), Problem> {
    let malformed = |field: &str, what: String| Err(Problem::Malformed { field: field.to_owned(), what });
    if !(1..=MOST_TEAMS).contains(&asked.teams.len()) {
        return malformed("teams", format!("{} teams are named; give 1 to {MOST_TEAMS}", asked.teams.len()));
    }
    let names: HashSet<&str> = asked.teams.iter().map(|at| at.team.as_str()).collect();
    if names.len() < asked.teams.len() {
        return malformed("teams", "a team is named twice; leave one out".to_owned());
    }
    let mut in_rounds = HashSet::new();
    for id in asked.teams.iter().filter_map(|at| at.round.as_ref()).flatten() {
        if !in_rounds.insert(id) {
            return malformed(
                "teams",
                format!("crossing {id} stands in the rounds twice; leave it out once"),
            );
        }
    }
    let count = asked.crossings.as_ref().map_or(1, Vec::len);
    if !(1..=MOST_CROSSINGS).contains(&count) {
        return malformed("crossings", format!("{count} crossings are named; give 1 to {MOST_CROSSINGS}"));
    }
    Ok(())
}

/// What the teams have in hand, what can be shared out, and what cannot.
struct Desk {
    in_hand: Vec<Vec<Crossing>>,
    free: Vec<Crossing>,
    left_out: Vec<LeftOut>,
}

impl Desk {
    fn of(asked: &ShareOutQuestion, crossings: Vec<Crossing>) -> Self {
        let found: HashSet<CrossingId> = crossings.iter().map(|crossing| crossing.id).collect();
        let mut desk =
            Self { in_hand: vec![Vec::new(); asked.teams.len()], free: Vec::new(), left_out: Vec::new() };
        for id in asked.crossings.iter().flatten().filter(|id| !found.contains(id)) {
            desk.leave_out(*id, WhyLeftOut::NotUnfinished);
        }
        for crossing in crossings {
            let holder = crossing.in_hand.as_ref().map(|held| &held.team);
            let team = asked.teams.iter().position(|at| Some(&at.team) == holder);
            match (team, holder) {
                _ if crossing.passed_at.is_none() => desk.leave_out(crossing.id, WhyLeftOut::NotPassed),
                (Some(team), _) => desk.in_hand[team].push(crossing),
                (None, Some(_)) => desk.leave_out(crossing.id, WhyLeftOut::InHandOfAnother),
                (None, None) => desk.free.push(crossing),
            }
        }
        for held in &mut desk.in_hand {
            held.sort_by_key(|crossing| crossing.in_hand.as_ref().map(|held| held.since));
        }
        desk
    }

    /// The rounds as somebody has put them together, by the numbers of what is free; none where nobody has.
    fn rounds(&self, asked: &ShareOutQuestion) -> Option<Vec<Vec<usize>>> {
        let number = |id: &CrossingId| self.free.iter().position(|crossing| crossing.id == *id);
        asked.teams.iter().any(|at| at.round.is_some()).then(|| {
            let round = |at: &TeamAt| at.round.iter().flatten().filter_map(number).collect();
            asked.teams.iter().map(round).collect()
        })
    }

    fn leave_out(&mut self, crossing: CrossingId, because: WhyLeftOut) {
        self.left_out.push(LeftOut { crossing, because });
    }

    /// The teams, what they have in hand, and what is free.
    fn places(&self, asked: &ShareOutQuestion) -> Vec<Position> {
        let teams = asked.teams.iter().map(|at| at.position);
        let crossings = self.in_hand.iter().flatten().chain(&self.free).map(|crossing| crossing.position);
        teams.chain(crossings).collect()
    }

    fn shared(
        self,
        asked: &ShareOutQuestion,
        travel: &[Vec<Option<Travel>>],
        profile: &Profile,
    ) -> (Vec<Round>, Vec<CrossingId>, Vec<LeftOut>) {
        let work = |crossing: &Crossing| {
            let minutes = |construction| profile.pace.constructions.of(construction).follow_up.value;
            crossing.construction.map_or(Minutes::ZERO, minutes)
        };
        let mut rounds: Vec<Round> =
            asked.teams.iter().map(|at| Round { team: at.team.clone(), stops: Vec::new() }).collect();
        let mut not_reached = Vec::new();
        // Where each team is, and when, after what it has in hand.
        let mut set_out: Vec<(usize, Minutes)> =
            (0..asked.teams.len()).map(|team| (team, Minutes::ZERO)).collect();
        let mut place = asked.teams.len();
        for (team, held) in self.in_hand.iter().enumerate() {
            for crossing in held {
                let (at, now) = set_out[team];
                match travel[at][place] {
                    Some(way) => {
                        let begins = now + way.travel_min;
                        let ends = begins + work(crossing);
                        rounds[team].add(crossing.id, true, way, begins, ends);
                        set_out[team] = (place, ends);
                    }
                    None => not_reached.push(crossing.id),
                }
                place += 1;
            }
        }
        let rows = set_out.iter().map(|&(at, _)| at).chain(place..travel.len());
        let columns = |row: usize| {
            let to = set_out.iter().map(|&(at, _)| at).chain(place..travel.len());
            to.map(|column| travel[row][column]).collect()
        };
        let question = Question {
            ready: set_out.iter().map(|&(_, ready)| ready).collect(),
            work: self.free.iter().map(work).collect(),
            travel: rows.map(columns).collect(),
        };
        let answer = match self.rounds(asked) {
            Some(rounds) => timed(&question, &rounds),
            None => share_out(&question),
        };
        for (round, stops) in rounds.iter_mut().zip(answer.rounds) {
            for stop in stops {
                let crossing = self.free[stop.crossing].id;
                round.add(crossing, false, stop.travel, stop.begins, stop.ends);
            }
        }
        not_reached.extend(answer.not_reached.iter().map(|&number| self.free[number].id));
        (rounds, not_reached, self.left_out)
    }
}

impl Round {
    fn add(&mut self, crossing: CrossingId, in_hand: bool, way: Travel, begins: Minutes, ends: Minutes) {
        let place = i16::try_from(self.stops.len() + 1).unwrap_or(RoundPlace::LAST);
        let Ok(place) = RoundPlace::try_from(place) else { return };
        self.stops.push(RoundStop {
            crossing,
            in_hand,
            to: GivenTo { team: self.team.clone(), place },
            travel_min: way.travel_min,
            distance_m: way.distance_m,
            begins_after_min: begins,
            ends_after_min: ends,
        });
    }
}
