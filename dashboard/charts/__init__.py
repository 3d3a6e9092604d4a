"""A review as Vega-Lite specifications: one layered view a chart, without axes or legends.

Everything is drawn as marks in data units, so that names stand at their lines at any width.
Field names are fixed; a person's own words are only ever values. The specifications are
plain dicts: the same drawing through Altair's classes takes as long as all the rest of a page.
"""

from dashboard.charts.by_lift import gain_by_lift
from dashboard.charts.overlay import overlay
from dashboard.charts.steps import rungs, stairs

__all__ = ["gain_by_lift", "overlay", "rungs", "stairs"]
