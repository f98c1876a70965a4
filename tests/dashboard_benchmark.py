"""How fast the dashboard is: ``python tests/dashboard_benchmark.py [--quick] [--json]``, from the top folder.

Figures of a real headless Chromium on this machine; no test, since times depend on it.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psutil
from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))

from dashboard.session.work import Work
from tests.app.numbers import is_printed_value, list_predicted
from tests.app.server import BROWSER_FLAGS, Server, build_dashboard_command, find_browser, find_free_port, run_server
from tests.app.visit import MACHINE, Visit

SESSIONS = 10
STARTS = 7
WARM_UP = 60
"""Slider moves before memory is looked at: caches are full then."""
PARTS = 5
"""Memory is looked at so many times."""
STOPWATCH = """() => {
  if (window.drawn) { window.drawn.length = 0; return; }
  const m = %s;
  window.drawn = [];
  let pressed = 0;
  addEventListener("keydown", () => { pressed = performance.now(); }, true);
  new MutationObserver(() => window.drawn.push(performance.now() - pressed))
    .observe(m.root, { attributeFilter: ["data-film"] });
}"""
FIRST_SEEN = f"""
  window.seen = {{}};
  setInterval(() => {{
    if ({MACHINE}?.root.dataset.film && document.querySelector(".readings")) seen.drawn ??= Date.now();
    if (document.querySelector(".st-key-slide_springs-repetition input")) seen.sliders ??= Date.now();
  }}, 10);
"""
"""Notes when the page first has its parts, by the clock of this machine."""
Say = Callable[[str, Any], None]


def find_quantile(values: list[float], part: float) -> float:
    """The value below which a share of them lies."""
    return statistics.quantiles(values, n=100, method="inclusive")[round(100 * part) - 1]


@contextmanager
def open_visit(browser: Browser, server: Server) -> Any:
    """Someone at the first page, with all its readings there."""
    context = browser.new_context(viewport={"width": 1280, "height": 1000})
    context.set_default_timeout(120_000)
    yield Visit(context.new_page(), server.url)
    context.close()


def measure_first_page(browser: Browser) -> dict[str, float]:
    """From the command to what is seen, the kernel compiled before: medians over several starts."""
    found: list[tuple[float, float, float]] = []
    for _ in range(STARTS):
        context = browser.new_context(viewport={"width": 1280, "height": 1000})
        page, port, begun = context.new_page(), find_free_port(), time.time()
        page.add_init_script(FIRST_SEEN)
        with run_server(build_dashboard_command(port), port) as server:
            answers = time.time()
            page.goto(server.url, wait_until="commit")
            page.wait_for_function("window.seen.drawn && window.seen.sliders")
            seen = page.evaluate("window.seen")
            found.append((answers - begun, seen["drawn"] / 1000 - begun, seen["sliders"] / 1000 - begun))
        context.close()
    answers, drawn, sliders = map(statistics.median, zip(*found, strict=True))
    return {"server answers, s": answers, "mechanism and first readings drawn, s": drawn, "sliders too, s": sliders}


def measure_moves(visit: Visit, count: int, at_rest: bool) -> list[float]:
    """Key press to new picture, s; from a page at rest, or while slow readings are being computed."""
    page = visit.computed().page
    page.evaluate(STOPWATCH % MACHINE)
    visit.slider("springs.repetition").focus()
    for i in range(count):
        before = visit.film()
        page.keyboard.press("ArrowRight" if i < count / 2 else "ArrowLeft")  # and back, not into the slider's end
        visit.drawn_anew(before)
        if at_rest:
            visit.computed()
    return [ms / 1000 for ms in page.evaluate("window.drawn")]


def measure_frame_rate(visit: Visit) -> list[float]:
    """Frames a second while playing, as the component counts them each second."""
    visit.machine.get_by_role("button", name="Play", exact=True).click()
    found = []
    for _ in range(5):
        before = visit.inside("m.counted")
        visit.page.wait_for_function(f"before => ({MACHINE}).counted !== before", arg=before)
        found.append(float(visit.machine.get_attribute("data-fps") or 0))
    visit.machine.get_by_role("button", name="Pause", exact=True).click()
    return found[1:]


def measure_many_visits(browser: Browser, server: Server) -> dict[str, float]:
    """Ten at once, each with a spring of their own: how long it takes, and how many see another's numbers."""
    people = [Visit(browser.new_context().new_page(), server.url) for _ in range(SESSIONS)]
    springs = [30.0 + 0.45 * i for i in range(SESSIONS)]
    errors: list[str] = []
    for visit in people:
        visit.page.on("pageerror", lambda error: errors.append(str(error)))
        visit.page.goto(server.url)
    for visit in people:
        visit.computed()
    wanted = [list_predicted(Work().with_control("springs.repetition", spring * 1e-3)) for spring in springs]
    begun = time.perf_counter()
    for visit, spring in zip(people, springs, strict=True):
        box = visit.page.get_by_label("type repetition spring")
        box.fill(f"{spring} N·mm")
        box.press("Enter")
    for visit, spring in zip(people, springs, strict=True):
        visit.page.locator(".st-key-slide_springs-repetition").get_by_text(f"{spring:.2f}").first.wait_for()
        visit.computed()
    lasted = time.perf_counter() - begun
    mixed = 0
    for visit, found in zip(people, wanted, strict=True):
        mixed += sum(not is_printed_value(name, text, *found[name]) for name, text in visit.cards().items())
        errors += visit.page.locator("[data-testid=stException]").all_inner_texts()
    for visit in people:
        visit.page.context.close()
    return {"sessions": SESSIONS, "errors": len(errors), "foreign numbers": mixed, "all readings of all, s": lasted}


def measure_memory(visit: Visit, server: Server, count: int) -> dict[str, float]:
    """Memory of the server over many slider moves, MB."""
    measure_moves(visit, WARM_UP, at_rest=False)
    found = [_read_resident_memory(server)]
    for _ in range(PARTS):
        measure_moves(visit, count // PARTS, at_rest=False)
        visit.computed()
        found.append(_read_resident_memory(server))
    told = {f"after {count // PARTS * i} moves, MB": part for i, part in enumerate(found)}
    slope = statistics.linear_regression(range(len(found)), found).slope
    return told | {"kB a move, straight line": slope * PARTS / count * 1000}


def _read_resident_memory(server: Server) -> float:
    return float(psutil.Process(server.process).memory_info().rss) / 1e6


def measure_all(quick: bool, say: Say) -> None:
    """All of them, told one by one."""
    subprocess.run(
        [sys.executable, "-m", "sim", "predict", "concert-grand-natural", "--json"], stdout=subprocess.DEVNULL
    )
    port = find_free_port()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=BROWSER_FLAGS)
        say("first page after start", measure_first_page(browser))
        with run_server(build_dashboard_command(port), port) as server, open_visit(browser, server) as visit:
            visit.open().computed()
            for name, at_rest in (("slider to new picture, page at rest", True), ("... while it computes", False)):
                took = measure_moves(visit, 20 if quick else 80, at_rest)
                say(
                    name,
                    {
                        "moves": len(took),
                        "p50, s": find_quantile(took, 0.5),
                        "p95, s": find_quantile(took, 0.95),
                        "most, s": max(took),
                    },
                )
            say(
                "frames a second while playing",
                {"least": min(found := measure_frame_rate(visit)), "mean": statistics.mean(found)},
            )
            say("sessions at once", measure_many_visits(browser, server))
            say("memory of the server", measure_memory(visit, server, 100 if quick else 1000))
        browser.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer moves")
    parser.add_argument("--json", action="store_true", help="figures as JSON")
    options = parser.parse_args()
    found: dict[str, Any] = {}

    def say(name: str, values: Any) -> None:
        found[name] = values
        if not options.json:
            told = ", ".join(f"{k} {v:.3g}" if isinstance(v, float) else f"{k} {v}" for k, v in values.items())
            print(f"{name}: {told}", flush=True)

    measure_all(options.quick, say)
    if options.json:
        print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
