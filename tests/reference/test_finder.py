"""The finder's cheapest way, searched again on the same graph by networkx (Dijkstra's algorithm)."""

import networkx


def test_the_cheapest_way_costs_what_another_search_finds(ask):
    found = 0
    for search in ask("finder", [0.5, 1.25, 2.125, 3.75]):
        graph = networkx.Graph()
        graph.add_weighted_edges_from(search["steps"])
        assert graph.number_of_edges() > 10_000
        try:
            cost = networkx.dijkstra_path_length(graph, search["from"], search["to"])
        except (networkx.NetworkXNoPath, networkx.NodeNotFound):
            cost = None
        assert search["cost"] == cost
        found += cost is not None
    assert found >= 2, "most of the made-up ends have a way between them"
