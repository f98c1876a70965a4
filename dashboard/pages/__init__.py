"""Pages, one a question: address to title and what draws it.  A new page is one new entry.

The server is started with ``dashboard/frame/app.py``: beside a script of its own, a folder of this name would be
taken for pages by the framework itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module


def _page(name: str, title: str) -> tuple[str, Callable[[], None]]:
    """A page's title and what draws it: ``show_page`` of the module of that name, loaded when first opened."""

    def show() -> None:
        import_module(f"{__name__}.{name}").show_page()

    return title, show


PAGES: Mapping[str, tuple[str, Callable[[], None]]] = {
    "predict": _page("predict", "What will this note do?"),
    "spring": _page("spring", "What does the spring do?"),
    "rails": _page("rails", "Where should the rails go?"),
    "orders": _page("orders", "Set it up in order"),
    "rough": _page("rough", "Regulate a rough unit"),
    "friction": _page("friction", "Where is the friction lost?"),
    "diagnose": _page("diagnose", "Why is this note sluggish?"),
    "compare": _page("compare", "Compare two units"),
    "section": _page("section", "Bench sheet and section"),
    "lesson": _page("lesson", "Learn the escapement"),
    "practice": _page("practice", "Find the hidden fault"),
    "photograph": _page("photograph", "Read a photograph"),
    "scenario": _page("scenario", "The scenario"),
}
