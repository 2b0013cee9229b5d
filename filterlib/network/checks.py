"""What makes a circuit impossible to solve, derived from its graph and named by element or node."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from functools import lru_cache

from filterlib.errors import CircuitError
from filterlib.network.equations.pattern import join, root
from filterlib.network.netlist import REFERENCE, Element, Netlist, Structure

Edge = tuple[Element, tuple[str, ...]]


def check(netlist: Netlist, ports: Iterable[str] = (), *, reference: str = REFERENCE) -> None:
    """Refuse a circuit that has no single solution, naming the element or the node.

    Parameters
    ----------
    ports : nodes to which something outside is connected, so that one element is enough there.

    Raises
    ------
    CircuitError
        Arrays of different lengths, no reference node, a node of one element, a node with no path to the reference, a
        loop of ideal voltage sources, or a set of nodes that only ideal current sources reach.
    """
    nodes, _ = netlist.nodes, netlist.designs
    if reference not in nodes:
        raise CircuitError(f'no node "{reference}": one node has to be the reference')
    _check_graph(nodes, netlist.structure, tuple(ports), reference)


@lru_cache(maxsize=256)  # the same circuit with other values comes again and again
def _check_graph(nodes: tuple[str, ...], elements: Structure, ports: tuple[str, ...], reference: str) -> None:
    edges = [(e, e.nodes[i : i + 2]) for e in elements if e.kind != "couple" for i in range(0, len(e.nodes), 2)]
    group = {node: node for node in nodes}
    for element, (a, b) in edges:
        if element.kind == "voltage_source" and not join(group, a, b):
            raise CircuitError(f"{element.name}: closes a loop of ideal voltage sources")
    for element, (a, b) in edges:
        if not element.kind.endswith("_source"):
            join(group, a, b)
    joined = {node for node in nodes if root(group, node) == root(group, reference)}
    for element, (a, b) in edges:
        if element.kind == "current_source":
            join(group, a, b)
    _check_paths(nodes, group, reference)
    _check_ends(nodes, edges, {*ports, reference})
    _check_cuts(nodes, edges, joined)


def _check_paths(nodes: tuple[str, ...], group: dict[str, str], reference: str) -> None:
    for node in nodes:
        if root(group, node) != root(group, reference):
            raise CircuitError(f'node "{node}" has no path to "{reference}"')


def _check_ends(nodes: tuple[str, ...], edges: list[Edge], outside: set[str]) -> None:
    touching = Counter(node for _, pair in edges for node in pair)
    for node in nodes:
        if touching[node] < 2 and node not in outside:
            only = next(e.name for e, pair in edges if node in pair)
            raise CircuitError(f'node "{node}" has only one element, {only}')


def _check_cuts(nodes: tuple[str, ...], edges: list[Edge], joined: set[str]) -> None:
    for element, (a, b) in edges:
        if element.kind == "current_source" and (a in joined) != (b in joined):
            raise CircuitError(f'{element.name}: only ideal current sources lead to node "{b if a in joined else a}"')
