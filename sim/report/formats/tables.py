"""What tables have in common: how they look, and the cautions that stand below them."""

from __future__ import annotations

from rich import box
from rich.table import Table

CAUTIONS = (
    "Before touching the action: key weights are lead (do not dry-sand, file or drill; wash hands); glues and solvents "
    "give off vapour and may burn (air the room, no flame); an action is heavy and awkward (two people; press no key "
    "while it is drawn out); strings nearby are at full tension; tools are sharp. Local rules and licensed practice "
    "come first."
)


def new_plain_table(title: str) -> Table:
    """A table with a line under its head and no frame."""
    return Table(
        title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False
    )
