"""Pages, one a question: address to title and what draws it.  A new page is one new entry.

The folder is not called "pages": Streamlit would make pages of its files by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from dashboard.questions import compare, note, order, rails, scenario, spring

PAGES: Mapping[str, tuple[str, Callable[[], None]]] = {
    "note": ("What will this note do?", note.show),
    "spring": ("What does the spring do?", spring.show),
    "rails": ("Where should the rails go?", rails.show),
    "order": ("Set it up in order", order.show),
    "compare": ("Compare two units", compare.show),
    "scenario": ("The scenario", scenario.show),
}
