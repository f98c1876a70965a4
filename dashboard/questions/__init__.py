"""Pages, one a question: address to title and what draws it.  A new page is one new entry.

The folder is not called "pages": Streamlit would make pages of its files by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module


def _page(name: str, title: str) -> tuple[str, Callable[[], None]]:
    """A page's title and what draws it: ``show`` of the module of that name, loaded when first opened."""

    def show() -> None:
        import_module(f"{__name__}.{name}").show()

    return title, show


PAGES: Mapping[str, tuple[str, Callable[[], None]]] = {
    "note": _page("note", "What will this note do?"),
    "spring": _page("spring", "What does the spring do?"),
    "rails": _page("rails", "Where should the rails go?"),
    "order": _page("order", "Set it up in order"),
    "rough": _page("rough", "Regulate a rough unit"),
    "friction": _page("friction", "Where is the friction lost?"),
    "diagnose": _page("diagnose", "Why is this note sluggish?"),
    "compare": _page("compare", "Compare two units"),
    "record": _page("record", "Bench sheet and section"),
    "lessons": _page("lessons", "Learn the escapement"),
    "practice": _page("practice", "Find the hidden fault"),
    "photograph": _page("photograph", "Read a photograph"),
    "scenario": _page("scenario", "The scenario"),
}
