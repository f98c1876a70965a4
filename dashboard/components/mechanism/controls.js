// The page's elements, built once; texts that come from a scenario go in through textContent alone.

function element(tag, attributes = {}, ...children) {
  const found = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "text") found.textContent = value;
    else if (name.startsWith("on")) found.addEventListener(name.slice(2), value);
    else if (value !== null) found.setAttribute(name, value);
  }
  found.append(...children);
  return found;
}

/** Buttons of which one is pressed. */
function choice(label, options, value, choose) {
  const buttons = Object.entries(options).map(([name, text]) =>
    element("button", { type: "button", text, "data-value": name, onclick: () => choose(name) }));
  const group = element("div", { class: "group", role: "group", "aria-label": label }, ...buttons);
  const show = () => buttons.forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.value === value())));
  return { group, show };
}

function toggle(text, value, choose, title = null) {
  const button = element("button", { type: "button", text, title, onclick: () => choose(!value()) });
  return { group: button, show: () => button.setAttribute("aria-pressed", String(value())) };
}

function select(label, options, value, choose) {
  const list = element("select", { "aria-label": label, onchange: () => choose(list.value) },
    ...options.map(([name, text]) => element("option", { value: name, text })));
  const group = element("label", { class: "pick" }, element("span", { text: label }), list);
  return { group, show: () => { list.value = String(value()); } };
}

function tick(text, value, choose) {
  const box = element("input", { type: "checkbox", onchange: () => choose(box.checked) });
  const group = element("label", { class: "tick" }, box, element("span", { text }));
  return { group, show: () => { box.checked = value(); } };
}

function buildControls(m) {
  const s = () => m.state;
  const set = (name) => (value) => change(m, { [name]: value });
  const within = (name, item) => (on) => change(m, {
    [name]: on ? [...s()[name], item] : s()[name].filter((x) => x !== item),
  });
  const parts = {
    manner: choice("Manner", { blow: "Blow", press: "Press by hand" }, () => s().manner, set("manner")),
    view: choice("Zoom", VIEWS, () => s().view, set("view")),
    names: toggle("Names", () => s().names, set("names"), "Write the names of the parts"),
    forces: toggle("Forces", () => s().forces, set("forces"), "Show what presses where, and how hard"),
    ghost: toggle("Second unit", () => s().ghost, set("ghost"), "Lay the second unit's outline over this one"),
    lineUp: select("lined up where", Object.entries(LINE_UPS), () => s().lineUp, set("lineUp")),
    speed: select("speed", SPEEDS.map((v) => [String(v), v === 1 ? "real time" : `1/${Math.round(1 / v)}`]),
      () => s().speed, (v) => change(m, { speed: Number(v) })),
    span: select("time line", Object.entries(SPANS), () => s().span, set("span")),
    loop: toggle("Loop", () => s().loop, set("loop"), "Begin again at the end"),
    panels: Object.entries(PANELS).map(([name, { title }]) =>
      tick(title, () => s().panels.includes(name), within("panels", name))),
    lines: FORCES.map(([name, title]) => tick(title, () => s().lines.includes(name), within("lines", name))),
  };
  m.controls = parts;
  return parts;
}

function buildStage(m) {
  const canvas = element("canvas", { role: "img", "aria-label": "Side view of the action" });
  const words = element("p", { class: "moment" });
  const stage = element("div", {
    class: "stage", tabindex: "0", role: "group",
    "aria-label": "Picture. Space plays and pauses; left and right arrow step; shift with them steps by events.",
  }, canvas);
  m.picture = { canvas, pen: canvas.getContext("2d"), size: null, view: null };
  m.stage = stage;
  m.words = words;
  m.hint = element("p", {
    class: "small",
    text: "Arrows: what pushes the part they point into; four times the force is twice the length. "
      + "Broad bars: where felt or leather is squeezed, broader the more of it is used up.",
  });
  return element("div", { class: "picture" }, stage, words, m.hint);
}

function buildCurves(m) {
  const canvas = element("canvas", { role: "img", "aria-label": "Curves over time" });
  m.curves = { canvas, pen: canvas.getContext("2d"), sheet: document.createElement("canvas"), size: null, values: [] };
  m.whichCurves = element("details", { class: "which" }, element("summary", { text: "Which curves" }),
    element("div", { class: "ticks", role: "group", "aria-label": "Curves shown" }, ...m.controls.panels.map((p) => p.group)),
    element("p", { class: "small", text: "Forces shown:" }),
    element("div", { class: "ticks", role: "group", "aria-label": "Forces shown" }, ...m.controls.lines.map((p) => p.group)));
  return element("div", { class: "curves" }, m.whichCurves, canvas);
}

function buildTransport(m) {
  const button = (text, label, act) => element("button", { type: "button", text, "aria-label": label, onclick: act });
  m.play = element("button", { type: "button", class: "play", onclick: () => playPause(m) });
  m.scrub = element("input", { type: "range", class: "scrub", "aria-label": "Moment of the stroke", step: "1" });
  m.scrub.addEventListener("input", () => goTo(m, m.stroke.start + m.stroke.step * Number(m.scrub.value)));
  const canvas = element("canvas", { "aria-hidden": "true" });
  m.timeline = { canvas, pen: canvas.getContext("2d"), size: null, marks: [] };
  m.transport = element("div", { class: "transport" },
    element("div", { class: "group" },
      button("‹‹ event", "Back to the event before", () => stepEvent(m, -1)),
      button("‹ row", "One row back", () => stepRow(m, -1)), m.play,
      button("row ›", "One row on", () => stepRow(m, 1)),
      button("event ››", "On to the next event", () => stepEvent(m, 1))),
    m.controls.loop.group, m.controls.speed.group, m.controls.span.group);
  return element("div", { class: "time" }, m.transport, element("div", { class: "line" }, canvas, m.scrub));
}

function buildHand(m) {
  m.hand = element("input", { type: "range", min: "0", step: "0.05", "aria-label": "Key travel under the finger" });
  m.hand.addEventListener("input", () => press(m, Number(m.hand.value)));
  m.barMark = element("span", { class: "mark", text: "greatest before let-off" });
  m.bar = element("div", { class: "bar", "aria-hidden": "true" }, element("div"), m.barMark);
  m.felt = element("output", { class: "felt", "aria-label": "Force under the finger" });
  return element("div", { class: "hand" },
    element("p", { class: "small", text: "Drag the key down in the picture or with the slider; arrow keys move it by 0.05 mm." }),
    element("label", { class: "depth" }, element("span", { text: "key down" }), m.hand),
    element("div", { class: "force" }, element("span", { text: "under the finger" }), m.felt, m.bar));
}

function buildEvents(m) {
  m.eventList = element("ol", { class: "events", "aria-label": "Events of the stroke" });
  m.missed = element("p", { class: "small" });
  return element("section", { class: "happened", "aria-label": "Events" }, m.eventList, m.missed);
}

function build(m, host) {
  const c = buildControls(m);
  m.title = element("p", { class: "title" });
  const second = element("div", { class: "group second" }, c.ghost.group, c.lineUp.group);
  m.second = second;
  m.blowOnly = [buildTransport(m), buildEvents(m)];
  m.handOnly = buildHand(m);
  m.main = element("div", { class: "main" }, buildStage(m), m.blowOnly[0], m.handOnly, buildCurves(m));
  m.root.append(
    element("div", { class: "bar-top" }, c.manner.group, c.view.group,
      element("div", { class: "group", role: "group", "aria-label": "Shown in the picture" }, c.names.group, c.forces.group), second),
    m.title, m.main, m.blowOnly[1]);
  host.append(m.root);
}

/** The list of events anew: number, what happened, when. */
function listEvents(m) {
  const rows = m.stroke.events.map((event, i) =>
    element("li", {}, element("button", { type: "button", onclick: () => goTo(m, event.ms) },
      element("span", { class: "number", text: String(i + 1) }), element("span", { text: event.title }),
      element("span", { class: "when", text: `${plain(event.ms, 2)} ms` }))));
  m.eventList.replaceChildren(...rows);
  m.missed.textContent = m.stroke.missed.length ? `Did not happen: ${m.stroke.missed.map((e) => e.title).join("; ")}.` : "";
}

function showControls(m) {
  const { controls: c, state: s } = m;
  for (const part of [c.manner, c.view, c.names, c.forces, c.ghost, c.lineUp, c.speed, c.span, c.loop, ...c.panels, ...c.lines]) {
    part.show();
  }
  c.manner.group.hidden = !m.press;
  const blow = s.manner === "blow";
  m.blowOnly.forEach((part) => { part.hidden = !blow; });
  m.handOnly.hidden = blow;
  m.whichCurves.hidden = !blow;
  m.hint.hidden = !s.forces;
  m.second.hidden = !m.ghost || !blow;
  m.title.textContent = m.ghost && blow ? `${m.stroke.title}; dashed: ${m.ghost.title}` : m.stroke.title;
  m.play.textContent = s.playing ? "Pause" : "Play";
  m.stage.classList.toggle("by-hand", !blow);
}
