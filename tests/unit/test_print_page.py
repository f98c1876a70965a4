"""Pages to print: every block is there, texts stand as they are, nothing is asked of anyone."""

from __future__ import annotations

import base64
from html.parser import HTMLParser

import pytest

from sim.report.formats.tables import CAUTIONS
from sim.report.paper import web_page
from sim.report.paper.blocks import (
    INVENTED,
    Block,
    Heading,
    Lines,
    Mark,
    Picture,
    Sideways,
    Size,
    Table,
    Text,
    Ticks,
    Together,
)
from sim.report.paper.pdf import SIZES
from sim.report.paper.print_page import render_page
from tests.printed import BLOCKS, MARKUP, WORDS, build_section_table

HOSTILE = (
    "<script>alert(1)</script>", "{{ 7 * 7 }}", "{% raw %}", "\"'><img src=x onerror=y>", "</style><b>", "&lt;", "<!--",
    "\\\"; } @import url(//x); /*", "=1+1", "]]>", "a\u202eb", "x\0y",
)  # fmt: skip
ADDRESSES = {"src", "srcset", "href", "action", "data", "poster", "background"}


class Seen(HTMLParser):
    """The tags of a page with what they say, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len(attrs) == len(dict(attrs)), "an attribute twice"
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def count(self, tag: str, kind: str = "") -> int:
        return sum(name == tag and kind in (said.get("class") or "").split() if kind else name == tag
                   for name, said in self.tags)  # fmt: skip

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


@pytest.mark.parametrize("size", SIZES)
def test_every_block_is_on_the_page(size: Size) -> None:
    blocks: list[Block] = [*BLOCKS, Together([Heading("together"), Lines(2)]), Sideways([build_section_table(5)])]
    seen = Seen(render_page("A sheet", blocks, size=size, date="2026-03-01"))
    for words in (WORDS, MARKUP, "A picture: falling", "it plays", "set off", CAUTIONS, "59.25 mm", "2026-03-01"):
        assert words in seen.text
    assert seen.text.count(f"{INVENTED}.") == 1 and "Invented\\000020demo" in seen.text, "at the head, in every foot"
    assert seen.count("span", "box") == 60 + 2 + 5 and seen.count("td", "room") == 60 + 5
    assert seen.count("tr") == 61 + 6 and seen.count("h2") == 3 and seen.count("section", "sideways") == 1
    (shown,) = [said["src"] or "" for tag, said in seen.tags if tag == "img"]
    picture = next(block for block in BLOCKS if isinstance(block, Picture))
    assert base64.b64decode(shown.removeprefix("data:image/png;base64,")) == picture.png
    assert f"size: {size};" in seen.text and f"size: {size} landscape" in seen.text


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_texts_stand_as_they_are_in_every_place(words: str) -> None:
    seen, calm = (Seen(render_page(w, _said(w), date=w)) for w in (words, "x"))
    assert [tag for tag, _ in seen.tags] == [tag for tag, _ in calm.tags]
    assert sum(text.strip().count(words.strip()) for text in seen.texts) == 11
    assert {said["alt"] for tag, said in seen.tags if tag == "img"} == {words}


def _said(words: str) -> list[Block]:
    table = Table((words, ""), [(words, Mark.TICK), (words, Mark.ROOM)], (0, 1))
    shown = Picture(b"\x89PNG", words)
    return [Heading(words), Text(words), Text(words, True), table, shown, Ticks([words]), Lines(1)]


def test_the_page_asks_no_host_and_runs_nothing() -> None:
    made = render_page(HOSTILE[0], BLOCKS)
    seen = Seen(made)
    said = [(name, value or "") for _, attributes in seen.tags for name, value in attributes.items()]
    assert {value.split(",")[0] for name, value in said if name in ADDRESSES} == {"data:image/png;base64"}
    assert not {tag for tag, _ in seen.tags} & {"script", "link", "iframe", "object", "embed", "form", "base", "svg"}
    assert "url(" not in made.split("</style>")[0] and "@import" not in made.split("</style>")[0]
    assert "default-src 'none'; img-src data:; style-src 'unsafe-inline'" in made
    assert not [name for name, _ in said if name.startswith("on")]


def test_what_is_not_invented_does_not_say_so() -> None:
    made = render_page("A", [Text("alone")], invented=False, caution=False)
    assert INVENTED not in made and "Before touching" not in made and "invented" not in Seen(made).text.split("}")[-1]
    assert made == render_page("A", [Text("alone")], invented=False, caution=False)


def test_an_address_holds_what_it_is_made_of() -> None:
    assert web_page.embed_data(b"\0\xff", "image/png") == "data:image/png;base64,AP8="
