"""What a pass consists of and what it costs. Pure: from a station and numbers to visits and a budget."""

from sweeper.plan.budget import Budget, budget
from sweeper.plan.edge_budget import EdgeBudget, edge_budget
from sweeper.plan.order import one_pass, path_order, relay_moves

__all__ = ["Budget", "EdgeBudget", "budget", "edge_budget", "one_pass", "path_order", "relay_moves"]
