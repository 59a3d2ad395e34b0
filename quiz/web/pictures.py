"""Figures and charts, ready for the page: the one place where a drawing of the core becomes markup."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from cases.procedure.figure import Figure
from quiz.practice.charts import Chart, Table


@dataclass(frozen=True)
class Picture:
    """A figure, ready for the page."""

    svg: Markup
    title: str
    caption: str = ""
    aid: bool = False
    """Whether it only shows how things lie that the words beside it say: for pages with room."""


@dataclass(frozen=True)
class ChartView:
    """A chart, ready for the page."""

    picture: Picture
    key: tuple[str, ...]
    tables: tuple[Table, ...]


def picture(figure: Figure | None) -> Picture | None:
    """Make a figure ready for the page, where there is one."""
    return None if figure is None else _ready(figure)


def telling(figure: Figure | None) -> Picture | None:
    """Make a figure of findings ready for the page, unless it only repeats the words beside it."""
    return None if figure is None or figure.use == "none" else _ready(figure)


def captioned(figure: Figure, caption: str) -> Picture:
    """Make a figure ready for the page with a sentence under it."""
    return _ready(figure, caption)


def chart_view(chart: Chart) -> ChartView:
    """Make a chart ready for the page."""
    return ChartView(_ready(chart.figure), chart.key, chart.tables)


def _ready(figure: Figure, caption: str = "") -> Picture:
    # The core escapes every word that it letters, and no request reaches it unread.
    return Picture(Markup(figure.svg), figure.title, caption, figure.use == "aid")  # noqa: S704
