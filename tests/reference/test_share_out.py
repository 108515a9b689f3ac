"""The share-out of the queue beside OR-tools' vehicle routing, which seeks the soonest end of the last team on the same places."""

import random

from ortools.constraint_solver import pywrapcp, routing_enums_pb2

SCALE = 1_000


def made_up(seed, teams, crossings):
    draw = random.Random(seed)
    places = [(draw.uniform(0, 40), draw.uniform(0, 40)) for _ in range(teams + crossings)]
    way = lambda a, b: ((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5
    return {
        "ready": [draw.choice([0, 0, 15]) for _ in range(teams)],
        "work": [draw.uniform(10, 40) for _ in range(crossings)],
        "travel": [[way(a, b) for b in places] for a in places],
    }


def by_or_tools(question):
    teams, crossings = len(question["ready"]), len(question["work"])
    end = teams + crossings
    manager = pywrapcp.RoutingIndexManager(end + 1, teams, list(range(teams)), [end] * teams)
    routing = pywrapcp.RoutingModel(manager)

    def minutes(a, b):
        a, b = manager.IndexToNode(a), manager.IndexToNode(b)
        if a == end:
            return 0
        at = question["ready"][a] if a < teams else question["work"][a - teams]
        # A team that does nothing ends at once.
        if b == end:
            return 0 if a < teams else round(at * SCALE)
        return round((at + question["travel"][a][b]) * SCALE)

    callback = routing.RegisterTransitCallback(minutes)
    routing.SetArcCostEvaluatorOfAllVehicles(callback)
    routing.AddDimension(callback, 0, 100_000 * SCALE, True, "time")
    routing.GetDimensionOrDie("time").SetGlobalSpanCostCoefficient(1_000)
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.solution_limit = 2_000
    search.time_limit.FromSeconds(3)
    solution = routing.SolveWithParameters(search)
    time = routing.GetDimensionOrDie("time")
    return max(solution.Min(time.CumulVar(routing.End(team))) for team in range(teams)) / SCALE


def test_no_share_out_ends_much_later_than_what_or_tools_finds(ask):
    sizes = [(2, 10), (3, 15), (3, 24), (4, 30), (5, 40)]
    questions = [made_up(seed, *size) for seed, size in enumerate(sizes)]
    for size, question, ends in zip(sizes, questions, ask("share_out", questions)):
        theirs = by_or_tools(question)
        assert ends <= theirs * 1.03, (size, ends, theirs)
        # Whoever shares out must at least do the work.
        assert ends >= (sum(question["work"]) + sum(question["ready"])) / len(question["ready"]) * 0.9, (size, ends)
