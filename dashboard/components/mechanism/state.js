// What the person chose, in one object that outlives new data and a change of page.

const remembered = new Map();
const SPEEDS = [1 / 200, 1 / 100, 1 / 50, 1 / 20, 1 / 10, 1 / 5, 1 / 2, 1];
const VIEWS = { whole: "Whole unit", escapement: "Escapement", head: "Hammer and check" };
const SPANS = { blow: "the blow", string: "around the string", whole: "everything" };
const LINE_UPS = { key_leaves_rest: "key leaves rest", string_contact: "crown touches string" };
const EVENT_PAUSE = 1200; // ms at each event where continuous motion is not wanted

function stateFor(key, byHand) {
  if (!remembered.has(key)) {
    remembered.set(key, {
      manner: byHand ? "press" : "blow", time: null, playing: false, speed: 1 / 50, loop: true, span: "blow", view: "whole",
      names: false, forces: false, ghost: true, lineUp: "string_contact",
      panels: ["crown", "key", "forces"], lines: ["finger", "jack_knuckle", "toe_button", "string"],
      travel: 0, branch: "down", deeper: true,
    });
  }
  return remembered.get(key);
}

/** First and last moment of the time line, ms: each at a row. */
function spanOf(film, span) {
  const leaves = eventOf(film, "key_leaves_rest");
  const contact = eventOf(film, "string_contact");
  const last = eventOf(film, "caught") ?? eventOf(film, "tail_meets_backcheck") ?? eventOf(film, "key_bottom");
  let [from, to] = [film.start, film.end];
  if (span === "blow" && leaves !== null) [from, to] = [leaves - 5, (last ?? film.end - 10) + 10];
  if (span === "string" && contact !== null) {
    const bottom = eventOf(film, "key_bottom") ?? contact;
    [from, to] = [Math.min(eventOf(film, "toe_meets_button") ?? contact - 8, contact) - 2, Math.max(contact + 5, bottom + 2)];
  }
  from = film.start + film.step * Math.ceil(rowOfTime(film, from) - 1e-6);
  to = film.start + film.step * Math.floor(rowOfTime(film, to) + 1e-6);
  return to > from ? [from, to] : [film.start, film.end];
}

/** The moment of the second unit that belongs to a moment of the first, ms. */
function ghostTime(m, time) {
  const name = m.state.lineUp;
  const here = eventOf(m.stroke, name) ?? eventOf(m.stroke, "key_leaves_rest") ?? m.stroke.start;
  const there = eventOf(m.ghost, name) ?? eventOf(m.ghost, "key_leaves_rest") ?? m.ghost.start;
  return time - here + there;
}

/** The last event at or before a time; a hair's breadth counts as at it. */
function lastEvent(film, time) {
  let found = null;
  for (const e of film.events) if (e.ms <= time + 1e-3) found = e;
  return found;
}

function nextEvent(film, time, sense, [from, to]) {
  const inside = film.events.filter((e) => e.ms >= from && e.ms <= to);
  return sense > 0 ? inside.find((e) => e.ms > time + 1e-3) : inside.findLast((e) => e.ms < time - 1e-3);
}

/** Move the key of the slow press; which branch it is on follows from where it has been. */
function moveKey(m, wanted) {
  const { state: s, press } = m;
  const travel = Math.min(Math.max(wanted, 0), press.bottom);
  if (press.up && press.escape !== null) {
    const tripped = travel > press.escape;
    const home = travel <= (press.home ?? 0);
    if (tripped) s.branch = travel < s.travel ? "up" : "down";
    else if (s.branch === "up" && travel > s.travel && home) s.branch = "down";
    else if (s.branch === "down" && s.travel > press.escape && travel < s.travel) s.branch = "up";
    if (travel === 0) s.branch = "down";
  } else {
    s.branch = "down";
  }
  s.deeper = travel > s.travel;
  s.travel = travel;
}

/** What the key of the slow press is doing, in words. */
function wayText(m) {
  const { branch, deeper, travel } = m.state;
  if (branch === "up") return deeper ? "pressed again before the jack is home" : "letting up";
  const back = !deeper && travel > 0 && m.press.escape !== null && travel < m.press.escape;
  return back ? "let up before escape, force as when pressing" : "pressing";
}

function branchOf(m) {
  return m.state.branch === "up" && m.press.up ? m.press.up : m.press.down;
}

// Numbers as they are written.

function lengthText(m, mm, digits = 2) {
  if (m.inches) return `${plain(mm / 25.4, digits + 1)} in`;
  return `${plain(mm, digits)} mm`;
}

function plain(value, digits) {
  const text = value.toFixed(digits);
  return Number(text) === 0 ? text.replace("-", "") : text;
}

function momentText(m) {
  const { columns } = m.pose.table;
  const row = m.pose.row;
  const crown = `crown to string ${lengthText(m, at(columns.crown, row))}`;
  const key = `key down ${lengthText(m, at(columns.travel, row))}`;
  if (m.state.manner === "press") {
    return `${wayText(m)} · ${key} · ${crown} · under the finger ${plain(at(columns.finger_gf, row), 0)} gf`;
  }
  const event = lastEvent(m.stroke, m.state.time);
  return `${plain(m.state.time, 2)} ms · ${crown} · ${key}${event ? ` · ${event.title}` : " · at rest"}`;
}

/** The moment in words, with the forces that act, for those who do not see the picture. */
function momentInWords(m) {
  const forces = [];
  m.pose.table.meetings.forEach(({ N }, i) => {
    const force = N ? at(N, m.pose.row) : 0;
    if (force >= 0.05) forces.push(`${m.stroke.contacts[i].title} ${plain(force, 1)} N`);
  });
  const pressing = forces.length ? `Forces: ${forces.join(", ")}.` : "No contact presses.";
  return `Side view, ${VIEWS[m.state.view].toLowerCase()}. ${momentText(m)}. ${pressing}`;
}
