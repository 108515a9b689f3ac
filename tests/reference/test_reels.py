"""The reel plan against CP-SAT of OR-tools, which is told the rules and nothing of the way the craft searches.

The lines are the same each time: now and then a drawn line keeps the solver busy for ever, and how long it takes is
what a run can rely on. Set LAYWIRE_SEED to draw others.
"""

import os
import random

import pytest
from ortools.sat.python import cp_model

LINES = 30


@pytest.fixture(scope="module")
def draw():
    seed = int(os.environ.get("LAYWIRE_SEED", "1"))
    print(f"LAYWIRE_SEED={seed}")
    return random.Random(seed)


def line(draw, number):
    """A line in whole metres: open country, many crossings, or hardly a place for a splice; full and begun reels."""
    length = draw.randrange(1_500, 5_000)
    closed = [0.05, 0.3, 0.9][number % 3]
    at, no_splice = 0, []
    while at < length:
        step = draw.randrange(100, 600)
        start = min(at + round(step * (1 - closed)), length)
        no_splice.append({"from_m": start, "to_m": min(at + step, length)})
        at += step
    full = [402, 804, 1609]
    reels = [draw.choice(full) if draw.random() < 0.5 else draw.randrange(200, 1609) for _ in range(9)]
    return {
        "length_m": length,
        "ends_m": 0,
        "no_splice": no_splice,
        "reels": [{"label": f"R{n}", "left_m": left} for n, left in enumerate(reels)],
    }


def places(question):
    """The runs of whole metres where a splice may be."""
    inside = lambda at: any(s["from_m"] < at < s["to_m"] for s in question["no_splice"])
    free = [at for at in range(1, question["length_m"]) if not inside(at)]
    return cp_model.Domain.from_values(free) if free else None


def solve(question, reels, objective, exactly=None):
    """The least sum of `objective(uses)` over all plans, or None when there is no plan.

    Places in the order of laying: the wire of place n begins where that of place n - 1 ends. Places from the last reel
    on are empty and stand at the far end.
    """
    model = cp_model.CpModel()
    length, free, many = question["length_m"], places(question), len(reels)
    end = cp_model.Domain.from_values([length])
    ends = [model.new_int_var_from_domain(free.union_with(end) if free else end, f"end{n}") for n in range(many)]
    uses = [[model.new_bool_var(f"use{n}_{r}") for r in range(many)] for n in range(many)]
    for n in range(many):
        begin = ends[n - 1] if n else 0
        model.add_at_most_one(uses[n])
        model.add(ends[n] >= begin)
        model.add(ends[n] - begin <= sum(reel * use for reel, use in zip(reels, uses[n], strict=True)))
    for r in range(many):
        model.add_at_most_one(use[r] for use in uses)
    for n in range(1, many):
        model.add(sum(uses[n]) <= sum(uses[n - 1]))
    model.add(ends[-1] == length)
    if exactly is not None:
        model.add(sum(sum(use) for use in uses) == exactly)
    model.minimize(sum(objective(reel) * use[r] for use in uses for r, reel in enumerate(reels)))
    solver = cp_model.CpSolver()
    # One worker searches in the same order each time.
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), solver.status_name(status)
    return round(solver.objective_value) if status == cp_model.OPTIMAL else None


def test_no_plan_has_fewer_splices_or_leaves_less(draw, ask):
    questions = [line(draw, number) for number in range(LINES)]
    planned = short = 0
    for question, answer in zip(questions, ask("reels", questions), strict=True):
        reels = [reel["left_m"] for reel in question["reels"]]
        fewest = solve(question, reels, lambda _: 1)
        outcome = answer["outcome"]
        if fewest is None:
            assert outcome["outcome"] == "short", question
            assert outcome["proved"], question
            missing = round(outcome["missing_m"])
            assert solve(question, [*reels, missing], lambda _: 1) is not None, question
            assert missing == 1 or solve(question, [*reels, missing - 1], lambda _: 1) is None, question
            short += 1
            continue
        least = solve(question, reels, lambda reel: reel, exactly=fewest)
        assert outcome["outcome"] == "planned", question
        assert (outcome["splices"], round(outcome["rest_m"])) == (fewest - 1, least - question["length_m"]), question
        assert outcome["fewest_proved"], question
        assert outcome["least_rest_proved"], question
        planned += 1
    assert planned > LINES // 3, (planned, short)
