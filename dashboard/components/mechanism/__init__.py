"""The moving mechanism: a stroke played, scrubbed and stepped, or the key pressed by hand, all in the browser."""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

import streamlit as st

from sim.report.formats.packed_columns import select_columns

SCRIPTS = ("data", "state", "colours", "picture", "overlay", "curves", "press", "timeline", "controls", "main")
"""The scripts that make one module, in their order."""
GHOST_COLUMNS = (
    "kf", "kr", "w", "j", "l", "h", "e", "r", "d", "string", "crown", "travel", "crown_speed", "key_speed",
)  # fmt: skip
"""Columns of a second unit that are shown."""


def show_mechanism(
    stroke: dict[str, Any],
    press: dict[str, Any] | None = None,
    ghost: dict[str, Any] | None = None,
    *,
    key: str,
    inches: bool = False,
    by_hand: bool = False,
) -> Any:
    """Show a stroke (``film``), with the slow press of the same unit (``press_film``) and a second unit's stroke.

    What the person chose (moment, speed, zoom and so on) is kept under ``key``
    when new data come; ``by_hand`` has it begin with the press.  Lengths are written in mm, or in inches.
    """
    thin = None if ghost is None else ghost | {"table": select_columns(ghost["table"], GHOST_COLUMNS)}
    return _component()(key=key, data=encode_message(stroke, press, thin, key=key, inches=inches, by_hand=by_hand))


def encode_message(
    stroke: Mapping[str, Any],
    press: Mapping[str, Any] | None = None,
    ghost: Mapping[str, Any] | None = None,
    *,
    key: str = "",
    inches: bool = False,
    by_hand: bool = False,
) -> bytes:
    """What goes to the browser: uint32 length of a JSON text, the text, then the bytes of all tables.

    In the text a table's ``bytes`` is where they begin after it, and ``film`` tells these bytes from others.
    """
    blocks: list[bytes] = []
    content = {"key": key, "inches": inches, "by_hand": by_hand, "stroke": stroke, "press": press, "ghost": ghost}
    plain = _without_bytes(content, blocks) | {"film": f"{zlib.crc32(b''.join(blocks)):08x}"}
    text = json.dumps(plain, allow_nan=False, separators=(",", ":")).encode()
    return b"".join([struct.pack("<I", len(text)), text, *blocks])


def _without_bytes(value: Any, blocks: list[bytes]) -> Any:
    if isinstance(value, Mapping):
        return {name: _without_bytes(v, blocks) for name, v in value.items()}
    if isinstance(value, bytes):
        place = sum(map(len, blocks))
        blocks.append(value)
        return place
    return value


def _component() -> Any:
    script, style = load_assets()
    return _register_component(script, style)


@cache
def load_assets() -> tuple[str, str]:
    """The component's script, one module, and its style."""
    here = files(__package__)
    script = "\n".join(here.joinpath(f"{name}.js").read_text(encoding="utf-8") for name in SCRIPTS)
    return script, here.joinpath("mechanism.css").read_text(encoding="utf-8")


@cache
def _register_component(script: str, style: str) -> Any:
    return st.components.v2.component("action_unit.mechanism", js=script, css=style, isolate_styles=True)
