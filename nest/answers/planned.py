"""A checked plan: the plan file, lists, and the pages to cut by."""

from __future__ import annotations

from nest.answers.pages import KINDS, pictured
from nest.draw.sheet import Sheet
from nest.figures import FIGURES
from nest.planning import Planned
from nest.plans import text_of
from nest.report.cutplan import cut_detail, cut_plan
from nest.report.lists import figures_text, parts_text

ENDINGS = (
    *(".plan.json", ".parts.csv", ".figures.csv"),
    *(f".cutplan.{kind}" for kind in KINDS),
    ".detail.pdf",
)


def facts(planned: Planned) -> dict[str, str]:
    """Yields and costs, as :data:`nest.figures.FIGURES` defines them."""
    figures = planned.figures
    return {FIGURES[key].label: figures.text(key) for key in figures.numbers}


def picture(planned: Planned) -> Sheet:
    """The cut plan: the whole hide on one page, in mm."""
    return cut_plan(planned.plan, planned.hide, planned.figures)


def files(planned: Planned, name: str) -> dict[str, bytes]:
    """The plan, its lists, the cut plan in three formats, and its used part for the bench."""
    plan, figures = planned.plan, planned.figures
    lists = {
        f"{name}.plan.json": text_of(plan).encode(),
        f"{name}.parts.csv": parts_text(plan).encode(),
        f"{name}.figures.csv": figures_text(figures).encode(),
    }
    detail = {f"{name}.detail.pdf": cut_detail(plan, planned.hide, figures).data("pdf")}
    return lists | pictured(picture(planned), f"{name}.cutplan") | detail
