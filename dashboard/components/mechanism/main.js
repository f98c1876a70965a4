// The component: new data in, state kept, one loop of frames.

const DRAG = 0.05; // mm of key travel per px dragged

export default function (component) {
  const { data, parentElement: host } = component;
  if (!data) return undefined;
  const message = unpack(data);
  const m = host.machine || (host.machine = assemble(host));
  if (!m.root.isConnected) host.append(m.root);
  stop(m);
  receive(m, message);
  const turn = ++m.turn;
  return () => {
    if (m.turn === turn) stop(m);
  };
}

function assemble(host) {
  const m = {
    root: element("div", { class: "machine", role: "group", "aria-label": "Moving mechanism" }),
    turn: 0, frame: 0, frames: 0, pose: newPose(), ghostPose: newPose(), arrows: [], taken: [],
    arrowPool: Array.from({ length: 32 }, () => ({})), calm: matchMedia("(prefers-reduced-motion: reduce)"),
  };
  build(m, host);
  m.tick = (now) => step(m, now);
  m.observer = new ResizeObserver(() => resize(m));
  m.root.addEventListener("keydown", (event) => onKey(m, event));
  onDrag(m.curves.canvas, (x) => scrubCurve(m, x));
  onDrag(m.timeline.canvas, (x, y, first) => {
    const event = first ? markAt(m, x, y) : null;
    goTo(m, event ? event.ms : timeAt(m, x));
  });
  dragKey(m);
  return m;
}

function receive(m, message) {
  Object.assign(m, { inches: message.inches, film: message.film, stroke: message.stroke, ghost: message.ghost, press: message.press });
  m.state = stateFor(message.key, message.byHand);
  if (!m.press) m.state.manner = "blow";
  if (m.press) m.state.travel = Math.min(m.state.travel, m.press.bottom);
  m.span = spanOf(m.stroke, m.state.span);
  m.state.time = Math.min(Math.max(m.state.time ?? m.span[0], m.span[0]), m.span[1]);
  m.colours = readColours(m.root);
  const font = m.colours.font;
  m.fonts = { plain: `13px ${font}`, bold: `600 13px ${font}`, small: `12px ${font}`, smallBold: `600 12px ${font}` };
  listEvents(m);
  m.observer.observe(m.root);
  m.last = null;
  layOut(m);
}

function stop(m) {
  cancelAnimationFrame(m.frame);
  m.frame = 0;
  m.observer.disconnect();
}

/** Everything that follows from state, data and size; then a picture. */
function layOut(m) {
  showControls(m);
  m.scrub.min = String(Math.round(rowOfTime(m.stroke, m.span[0])));
  m.scrub.max = String(Math.round(rowOfTime(m.stroke, m.span[1])));
  if (m.press) m.hand.max = String(Math.floor(m.press.bottom / 0.05) * 0.05);
  resize(m);
}

function resize(m) {
  const wide = m.root.clientWidth >= 860;
  m.root.classList.toggle("wide", wide);
  const stage = m.stage.clientWidth;
  if (!stage) return;
  const high = Math.round(Math.min(Math.max(stage * 0.5, Math.min(stage * 0.55, 380), 200), 620));
  m.picture.size = fit(m.picture.canvas, stage, high);
  m.picture.view = viewOf(m.stroke, m.state.view, stage, high);
  const blow = m.state.manner === "blow";
  if (blow) m.timeline.size = fit(m.timeline.canvas, m.timeline.canvas.parentElement.clientWidth, BASE + 24);
  const wanted = blow ? AXIS_HEIGHT + m.state.panels.length * PANEL_HEIGHT : 260;
  const beside = m.stage.parentElement.offsetHeight + (blow ? m.blowOnly[0] : m.handOnly).offsetHeight - m.whichCurves.offsetHeight;
  m.curves.size = fit(m.curves.canvas, m.curves.canvas.parentElement.clientWidth, Math.max(wanted, wide ? Math.min(beside, 760) : 0));
  m.curves.sheet.width = m.curves.canvas.width;
  m.curves.sheet.height = m.curves.canvas.height;
  if (blow) {
    layCurves(m);
    layTimeline(m);
  } else {
    layPress(m);
  }
  ask(m);
}

/** Give a canvas its size on the page, with the screen's own pixels. */
function fit(canvas, width, height) {
  const ratio = Math.min(window.devicePixelRatio || 1, 3);
  const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== w) canvas.width = w;
  if (canvas.height !== h) canvas.height = h;
  canvas.style.height = `${height}px`;
  return { width, height, ratio };
}

function change(m, wanted) {
  Object.assign(m.state, wanted);
  if ("manner" in wanted) m.state.playing = false;
  m.span = spanOf(m.stroke, m.state.span);
  m.state.time = Math.min(Math.max(m.state.time, m.span[0]), m.span[1]);
  layOut(m);
}

/** One frame soon, if none is coming. */
function ask(m) {
  if (!m.frame) m.frame = requestAnimationFrame(m.tick);
}

function step(m, now) {
  m.frame = 0;
  const s = m.state;
  if (s.playing && s.manner === "blow") {
    if (m.last === null) Object.assign(m, { last: now, counted: now, framesThen: m.frames, eventAt: now });
    if (m.calm.matches) playByEvents(m, now);
    else playOn(m, now - m.last);
    m.last = now;
  } else {
    m.last = null;
  }
  draw(m, now);
  if (s.playing) ask(m);
}

function playOn(m, passed) {
  const s = m.state;
  const [from, to] = m.span;
  s.time += Math.min(passed, 100) * s.speed;
  if (s.time < to) return;
  if (s.loop) s.time = from + ((s.time - to) % (to - from));
  else Object.assign(s, { time: to, playing: false });
  if (!s.playing) showControls(m);
}

/** Without continuous motion: from event to event, with a pause at each. */
function playByEvents(m, now) {
  if (now - m.eventAt < EVENT_PAUSE && m.last !== now) return;
  m.eventAt = now;
  const next = nextEvent(m.stroke, m.state.time, 1, m.span);
  if (next) m.state.time = next.ms;
  else if (m.state.loop) m.state.time = m.span[0];
  else m.state.playing = false;
  showControls(m);
}

function draw(m, now) {
  const s = m.state;
  if (s.manner === "press") {
    const table = branchOf(m);
    setPose(m.pose, m.stroke, table, rowOfValue(table.columns.travel, s.travel));
  } else {
    setPose(m.pose, m.stroke, m.stroke.table, rowOfTime(m.stroke, s.time));
    m.scrub.value = String(Math.round(m.pose.row));
  }
  drawPicture(m);
  drawCurves(m);
  if (m.root.dataset.film !== m.film) m.root.dataset.film = m.film; // which data the picture shows
  m.frames += 1;
  if (!s.playing) tell(m);
  else if (now - (m.told ?? 0) > 120) Object.assign(m, { told: now }), brieflyTell(m);
  count(m, now);
}

function brieflyTell(m) {
  m.words.textContent = momentText(m);
  const event = lastEvent(m.stroke, m.state.time);
  Array.from(m.eventList.children).forEach((row, i) => {
    if (m.stroke.events[i] === event) row.setAttribute("aria-current", "true");
    else row.removeAttribute("aria-current");
  });
}

/** The moment in words, for eyes, ears and tests. */
function tell(m) {
  brieflyTell(m);
  const words = momentInWords(m);
  m.picture.canvas.setAttribute("aria-label", words);
  m.curves.canvas.setAttribute("aria-label", m.state.manner === "press" ? "Force under the finger against key travel" : "Curves over time");
  const { state: s, root } = m;
  if (s.manner === "press") tellForce(m);
  else m.scrub.setAttribute("aria-valuetext", momentText(m));
  Object.assign(root.dataset, {
    time: s.time.toFixed(3), manner: s.manner, view: s.view, playing: String(s.playing), frames: String(m.frames),
    crown: at(m.pose.table.columns.crown, m.pose.row).toFixed(4),
  });
}

function tellForce(m) {
  const force = at(m.pose.table.columns.finger_gf, m.pose.row);
  m.hand.value = String(m.state.travel);
  m.hand.setAttribute("aria-valuetext", momentText(m));
  m.felt.textContent = `${plain(force, 0)} gf`;
  const most = m.press.hump * ROOM_ABOVE;
  m.barMark.hidden = m.press.escape === null;
  m.barMark.style.left = `${100 / ROOM_ABOVE}%`;
  m.bar.firstChild.style.width = `${Math.min(Math.max(force / most, 0), 1) * 100}%`;
  Object.assign(m.root.dataset, { travel: m.state.travel.toFixed(3), force: force.toFixed(2), branch: m.state.branch });
}

/** Frames drawn a second while playing, for the benchmark. */
function count(m, now) {
  if (!m.state.playing || now - m.counted < 1000) return;
  m.root.dataset.fps = (((m.frames - m.framesThen) * 1000) / (now - m.counted)).toFixed(1);
  m.root.dataset.frames = String(m.frames);
  m.root.dataset.time = m.state.time.toFixed(3);
  Object.assign(m, { counted: now, framesThen: m.frames });
}

function playPause(m) {
  const s = m.state;
  s.playing = !s.playing;
  if (s.playing && s.time >= m.span[1]) s.time = m.span[0];
  m.root.dataset.playing = String(s.playing);
  showControls(m);
  ask(m);
}

/** Halt at a moment. */
function goTo(m, time) {
  m.state.playing = false;
  const inside = time >= m.span[0] - 1e-6 && time <= m.span[1] + 1e-6;
  if (!inside) change(m, { span: "whole" });
  m.state.time = Math.min(Math.max(time, m.span[0]), m.span[1]);
  showControls(m);
  ask(m);
}

function stepRow(m, sense) {
  const { start, step: each } = m.stroke;
  const row = (m.state.time - start) / each;
  goTo(m, Math.min(Math.max(start + each * (sense > 0 ? Math.floor(row + 1.001) : Math.ceil(row - 1.001)), m.span[0]), m.span[1]));
}

function stepEvent(m, sense) {
  const found = nextEvent(m.stroke, m.state.time, sense, m.span);
  goTo(m, found ? found.ms : m.span[sense > 0 ? 1 : 0]);
}

function press(m, travel) {
  moveKey(m, travel);
  ask(m);
}

function onKey(m, event) {
  const { key, target, shiftKey } = event;
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const own = target.matches("button, select, summary, input[type=checkbox]");
  const range = target.matches("input[type=range]");
  let done = true;
  if (key === " " && !own && m.state.manner === "blow") playPause(m);
  else if (own || (range && !shiftKey)) done = false;
  else if (m.state.manner === "press") done = pressKey(m, key);
  else if (key === "ArrowRight" || key === "ArrowLeft") {
    (shiftKey ? stepEvent : stepRow)(m, key === "ArrowRight" ? 1 : -1);
  } else if (key === "Home") goTo(m, m.span[0]);
  else if (key === "End") goTo(m, m.span[1]);
  else done = false;
  if (done) event.preventDefault();
  if (done || key.length === 1) event.stopPropagation(); // the page has shortcuts of its own
}

function pressKey(m, key) {
  const way = { ArrowDown: 0.05, ArrowRight: 0.05, ArrowUp: -0.05, ArrowLeft: -0.05, PageDown: 0.5, PageUp: -0.5 }[key];
  if (way) press(m, m.state.travel + way);
  else if (key === "Home") press(m, 0);
  else if (key === "End") press(m, m.press.bottom);
  else return false;
  return true;
}

/** Call with the place (px) on an element, as long as a pointer is held down on it. */
function onDrag(target, act) {
  let held = false;
  const call = (event, first) => {
    const box = target.getBoundingClientRect();
    act(event.clientX - box.left, event.clientY - box.top, first);
  };
  target.addEventListener("pointerdown", (event) => {
    held = true;
    target.setPointerCapture(event.pointerId);
    call(event, true);
  });
  target.addEventListener("pointermove", (event) => held && call(event, false));
  for (const end of ["pointerup", "pointercancel"]) target.addEventListener(end, () => { held = false; });
}

function scrubCurve(m, x) {
  const { plot } = m.curves;
  if (m.state.manner === "press") press(m, plot.travel(x));
  else goTo(m, Math.min(Math.max(plot.from + ((x - plot.left) / (plot.right - plot.left)) * (plot.to - plot.from), plot.from), plot.to));
}

function dragKey(m) {
  let before = null;
  onDrag(m.picture.canvas, (x, y, first) => {
    if (m.state.manner !== "press") return;
    if (!first) press(m, m.state.travel + (y - before) * DRAG);
    before = y;
  });
}
