"""The forecast against another event simulation, in simpy: the teams are processes that wait for events, take crossings
from a common list and rest. It is told the likely minutes and the distributions, and nothing of the way the craft plays.

Without spread both have to agree to the second; with spread their means and deviations have to lie within what chance
leaves between two samples.
"""

import math
import os
import random
import statistics

import pytest
import simpy

PLANS = 100
# What the field profile has, by hand: minutes of the lead team and of the follow-up team, metres a minute, factors.
CONSTRUCTIONS = {
    "through_culvert": (5, 10),
    "under_bridge": (8, 15),
    "under_rails": (10, 20),
    "overhead_lance_poles": (5.5, 30),
    "buried": (3.5, 15),
    "ladder": (12, 40),
}
KINDS = [
    ("road", "overhead_lance_poles"),
    ("road", "ladder"),
    ("main_highway", "through_culvert"),
    ("dirt_road", "buried"),
    ("stream", "under_bridge"),
    ("railway", "under_rails"),
]
GROUND = {"roadside": 1, "open": 1.2, "wooded": 2, "broken": 1.5, "wet": 2.5}
MILE = 1609.344 / 60
LAYING = {("vehicle", "day"): 6, ("vehicle", "night"): 3, ("foot", "day"): 1.05, ("foot", "night"): 0.7}
FOLLOWING = {"vehicle": 8, "foot": 2.5}
NIGHT, REEL, TEST = 1.5, 5, 5
RANK = {"main_highway": 0, "railway": 0, "road": 1, "dirt_road": 2, "stream": 3}


@pytest.fixture(scope="module")
def draw():
    seed = int(os.environ.get("LAYWIRE_SEED", "1"))
    print(f"LAYWIRE_SEED={seed}")
    return random.Random(seed)


def plan(draw):
    legs = [
        {"length_m": draw.uniform(50, 3_000), "ground": draw.choice(list(GROUND))} for _ in range(draw.randrange(1, 8))
    ]
    length = sum(leg["length_m"] for leg in legs)
    crossings = []
    for _ in range(draw.randrange(0, 15)):
        obstacle, construction = draw.choice(KINDS)
        at = draw.uniform(0, length * 0.999)
        crossings.append({"chainage_m": at, "obstacle": obstacle, "construction": construction})
    return {
        "line": {
            "legs": legs,
            "crossings": crossings,
            "reel_changes": draw.randrange(0, 8),
            "light": draw.choice(["day", "night"]),
            "lead_means": draw.choice(["vehicle", "foot"]),
            "follow_up_means": draw.choice(["vehicle", "foot"]),
            "follow_up_after_min": draw.choice([0, draw.uniform(0, 120)]),
        },
        "follow_up_teams": draw.randrange(1, 5),
        "order": draw.choice(["along", "nearest", "traffic_first"]),
        "breaks": draw.choice([None, {"after_min": draw.uniform(30, 120), "length_min": draw.uniform(5, 30)}]),
        "try_helps": False,
    }


class Once:
    """One day played. `times` gives a factor for a kind of work."""

    def __init__(self, question, times):
        self.env, self.question, self.times = simpy.Environment(), question, times
        line = question["line"]
        self.line, self.legs = line, line["legs"]
        self.length = sum(leg["length_m"] for leg in self.legs)
        night = line["light"] == "night"
        self.night = NIGHT if night else 1
        self.laying = LAYING[line["lead_means"], line["light"]] * MILE
        self.following = FOLLOWING[line["follow_up_means"]] * MILE / self.night
        self.order = sorted(range(len(line["crossings"])), key=lambda n: line["crossings"][n]["chainage_m"])
        self.passed = {n: self.env.event() for n in self.order}
        self.open = list(self.order)
        self.through = self.env.event()
        self.left = len(self.order)
        self.all_done = self.env.event()
        self.waiting = 0
        # The work of the lead team is known before its day is played, so that a team which finds nothing to do knows
        # what will be passed next, as crews do by telephone.
        self.proving = []
        if not self.left:
            self.all_done.succeed()

    def ground(self, start, end):
        """Metres from one chainage to another, each so many times as it takes."""
        start, end = min(start, end), max(start, end)
        total = at = 0
        for leg in self.legs:
            inside = min(end, at + leg["length_m"]) - max(start, at)
            total += max(inside, 0) * GROUND[leg["ground"]]
            at += leg["length_m"]
        return total

    def work(self, crew, minutes):
        """Works with the rests that fall into it."""
        breaks = self.question["breaks"]
        while minutes > 0:
            if breaks and crew["worked"] >= breaks["after_min"] - 1e-9:
                yield self.env.timeout(breaks["length_min"])
                crew["worked"] = 0
            step = min(minutes, breaks["after_min"] - crew["worked"]) if breaks else minutes
            yield self.env.timeout(step)
            crew["worked"] += step
            minutes -= step
            if minutes < 1e-9:
                return

    def wait(self, crew, event):
        since = self.env.now
        yield event
        waited = self.env.now - since
        self.waiting += waited
        breaks = self.question["breaks"]
        if breaks and waited > 0 and waited >= breaks["length_min"]:
            crew["worked"] = 0

    def lead(self):
        crew, at, team = {"worked": 0}, 0, self.times("teams")
        reels = self.line["reel_changes"] * REEL * self.night / self.length
        for stop in [*self.order, None]:
            crossing = self.line["crossings"][stop] if stop is not None else None
            to = crossing["chainage_m"] if crossing else self.length
            yield from self.work(crew, team * self.times("laying") * self.ground(at, to) / self.laying)
            yield from self.work(crew, team * self.times("reel_changes") * reels * (to - at))
            at = to
            if crossing:
                minutes = CONSTRUCTIONS[crossing["construction"]][0] * self.night
                yield from self.work(crew, team * self.times("crossings") * minutes)
                self.passed[stop].succeed()
        yield from self.work(crew, team * self.times("tests") * TEST * self.night)
        self.through.succeed()

    def choose(self, at):
        order = self.question["order"]
        crossings = self.line["crossings"]
        if order == "along":
            return self.open[0]
        over = [n for n in self.open if self.passed[n].processed]
        if not over:
            return self.open[0]
        rank = lambda n: RANK[crossings[n]["obstacle"]] if order == "traffic_first" else 0
        return min(over, key=lambda n: (rank(n), self.ground(at, crossings[n]["chainage_m"])))

    def follow_up(self):
        crew, at, team = {"worked": 0}, 0, self.times("teams")
        yield self.env.timeout(self.line["follow_up_after_min"])
        while self.open:
            # Whatever is passed at this very moment is passed: the lead team's event comes first.
            yield self.env.timeout(0)
            if not self.open:
                break
            stop = self.choose(at)
            self.open.remove(stop)
            crossing = self.line["crossings"][stop]
            to = crossing["chainage_m"]
            yield from self.work(crew, team * self.times("following") * self.ground(at, to) / self.following)
            at = to
            yield from self.wait(crew, self.passed[stop])
            minutes = CONSTRUCTIONS[crossing["construction"]][1] * self.night
            yield from self.work(crew, team * self.times("crossings") * minutes)
            self.left -= 1
            if not self.left:
                self.all_done.succeed()
        yield from self.work(crew, team * self.times("following") * self.ground(at, self.length) / self.following)
        self.proving.append(crew)
        if len(self.proving) > 1:
            return
        yield from self.wait(crew, self.through & self.all_done)
        yield from self.work(crew, team * self.times("tests") * TEST * self.night)
        self.finished = self.env.now

    def play(self):
        self.env.process(self.lead())
        self.through.callbacks.append(lambda _: setattr(self, "through_at", self.env.now))
        for _ in range(self.question["follow_up_teams"]):
            self.env.process(self.follow_up())
        self.env.run()
        return self.through_at, self.finished, self.waiting


NONE = {name: {"least": 1, "most": 1} for name in ("laying", "following", "crossings", "reel_changes", "tests", "teams")}


def test_without_spread_another_simulation_plays_the_same_day(ask, draw):
    questions = [{**plan(draw), "spread": NONE, "runs": 1} for _ in range(PLANS)]
    for question, answer in zip(questions, ask("forecast", questions), strict=True):
        assert "refused" not in answer, answer
        theirs = Once(question, lambda _: 1).play()
        ours = [answer[name]["p50_min"] for name in ("through", "finished", "waiting")]
        assert ours == pytest.approx(theirs, abs=1 / 60), question


def test_with_spread_another_simulation_has_the_same_mean_and_deviation(ask, draw):
    runs, theirs_runs = 2_000, 400
    spread = {
        "laying": {"least": 0.8, "most": 1.5},
        "following": {"least": 0.8, "most": 1.4},
        "crossings": {"least": 0.7, "most": 2},
        "reel_changes": {"least": 0.7, "most": 2},
        "tests": {"least": 0.8, "most": 2},
        "teams": {"least": 0.85, "most": 1.3},
    }
    questions = [{**plan(draw), "spread": spread, "runs": runs, "seed": n} for n in range(20)]
    chance = random.Random(draw.random())
    times = lambda name: chance.triangular(spread[name]["least"], spread[name]["most"], 1)
    for question, answer in zip(questions, ask("forecast", questions), strict=True):
        played = [Once(question, times).play() for _ in range(theirs_runs)]
        for name, of in (("through", 0), ("finished", 1)):
            theirs = [run[of] for run in played]
            mean, deviation = statistics.fmean(theirs), statistics.stdev(theirs)
            error = deviation * math.sqrt(1 / runs + 1 / theirs_runs)
            assert abs(answer[name]["mean_min"] - mean) < 4.5 * error, (name, question)
            # The standard error of a deviation is about its part 1 / sqrt 2n; 1.5 for tails that are not normal.
            apart = 4.5 * 1.5 * deviation * math.sqrt(1 / (2 * runs) + 1 / (2 * theirs_runs))
            assert abs(answer[name]["deviation_min"] - deviation) < apart, (name, question)
            ninety = sorted(theirs)[math.ceil(0.9 * theirs_runs) - 1]
            # Of a quantile: sqrt(0.9 * 0.1 / n) over the density there, about 0.175 / deviation of a normal one.
            apart = 4.5 * 1.5 * deviation / 0.175 * math.sqrt(0.09 / theirs_runs + 0.09 / runs)
            assert abs(answer[name]["p90_min"] - ninety) < apart, (name, question)
