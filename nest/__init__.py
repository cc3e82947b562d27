"""From knives and hides to a checked cut plan.

Data flows one way: knife → sheath → week → place → check → plan → figures,
draw, report → cli. Units and axes are those of :mod:`hides`.
"""
