// What came from the computation: bytes to films, and values and poses at a moment.

const GRAM_FORCE = 9.80665e-3;
const BODIES = ["", "kf", "kr", "w", "j", "l", "h", "d"];

/** Header and films of one message: uint32 length of a JSON text, the text, then the tables' bytes. */
function unpack(bytes) {
  const own = bytes.slice(); // at the start of a buffer of its own, so that int16 stand at even places
  const size = new DataView(own.buffer).getUint32(0, true);
  const message = JSON.parse(new TextDecoder().decode(own.subarray(4, 4 + size)));
  const tables = own.buffer.slice(4 + size);
  return {
    key: message.key,
    inches: message.inches,
    byHand: message.by_hand,
    film: message.film,
    stroke: message.stroke && readFilm(message.stroke, tables),
    ghost: message.ghost && readFilm(message.ghost, tables),
    press: message.press && readPress(message.press, tables, message.stroke.contacts),
  };
}

function readTable(table, buffer, contacts) {
  const rows = table.rows;
  const columns = {};
  for (const { name, at, scale, offset } of table.columns) {
    const out = new Float32Array(rows).fill(offset);
    if (at >= 0) {
      const stored = new Int16Array(buffer, table.bytes + at * rows * 2, rows);
      for (let i = 0; i < rows; i++) out[i] = offset + scale * stored[i];
    }
    columns[name] = out;
  }
  const of = (kind, contact) => columns[`${kind}_${contact.name}`] || null;
  const meetings = contacts.map((c) => ({
    N: of("N", c), gap: of("gap", c), x: of("x", c), y: of("y", c), way: of("way", c), lie: of("lie", c),
  }));
  return { rows, columns, meetings };
}

function readFilm(film, buffer) {
  const squeezing = (s) =>
    film.contacts.map((c, i) => (c.part === s.part && c.stuff === s.stuff ? i : -1)).filter((i) => i >= 0);
  const shapes = film.shapes.map((s) => ({
    ...s, points: Float32Array.from(s.points), give: Object.entries(s.give ?? {}).map(([by, way]) => ({ by, way: Float32Array.from(way) })), squeezers: squeezing(s),
  }));
  const events = film.events.filter((e) => e.ms !== null).sort((a, b) => a.ms - b.ms);
  const missed = film.events.filter((e) => e.ms === null);
  const table = readTable(film.table, buffer, film.contacts);
  let greatest = 0;
  for (const { N } of table.meetings) if (N) greatest = N.reduce((a, b) => Math.max(a, b), greatest);
  return { ...film, shapes, events, missed, table, greatest, end: film.start + film.step * (table.rows - 1) };
}

function readPress(press, buffer, contacts) {
  const down = readTable(press.down, buffer, contacts);
  const up = press.up && readTable(press.up, buffer, contacts);
  const bottom = down.columns.travel[down.rows - 1];
  return { ...press, down, up, bottom, hump: humpOf(press, down) };
}

/** Greatest force before the crown is highest, gf (the whole way down where there is no escape). */
function humpOf(press, down) {
  const { travel, finger_gf: force } = down.columns;
  const end = press.escape === null ? 0.9 * travel[down.rows - 1] : press.escape;
  let most = 1;
  for (let i = 0; i < down.rows && travel[i] <= end; i++) most = Math.max(most, force[i]);
  return most;
}

/** A column between two rows. */
function at(column, row) {
  const i = Math.floor(row);
  const part = row - i;
  return part === 0 || i + 1 >= column.length ? column[Math.min(i, column.length - 1)]
    : column[i] + (column[i + 1] - column[i]) * part;
}

function rowOfTime(film, ms) {
  return Math.min(Math.max((ms - film.start) / film.step, 0), film.table.rows - 1);
}

/** Row (with its fraction) at which a rising column reaches a value. */
function rowOfValue(column, value) {
  let low = 0;
  let high = column.length - 1;
  if (value <= column[low]) return low;
  if (value >= column[high]) return high;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (column[middle] <= value) low = middle;
    else high = middle;
  }
  const rise = column[high] - column[low];
  return rise > 0 ? low + (value - column[low]) / rise : low;
}

function eventOf(film, name) {
  const found = film.events.find((e) => e.name === name);
  return found ? found.ms : null;
}

function newPose() {
  const frames = {};
  for (const body of BODIES) frames[body] = { x: 0, y: 0, c: 1, s: 0 };
  return { table: null, row: 0, e: 0, r: 0, d: 0, string: 0, frames };
}

/** Where every body stands at a row of a table; fills ``pose``. */
function setPose(pose, film, table, row) {
  const c = table.columns;
  pose.table = table;
  pose.row = row;
  pose.e = at(c.e, row);
  pose.r = at(c.r, row);
  pose.d = at(c.d, row);
  pose.string = at(c.string, row);
  const f = pose.frames;
  const { w, h, j, l } = film.centres;
  turn(f.kf, at(c.kf, row), 0, 0);
  turn(f.kr, at(c.kr, row), 0, 0);
  turn(f.w, at(c.w, row), w[0], w[1]);
  turn(f.h, at(c.h, row), h[0], h[1]);
  turn(f.j, at(c.j, row), worldX(f.w, j[0], j[1]), worldY(f.w, j[0], j[1]));
  turn(f.l, at(c.l, row), worldX(f.w, l[0], l[1]), worldY(f.w, l[0], l[1]));
}

function turn(frame, angle, x, y) {
  frame.x = x;
  frame.y = y;
  frame.c = Math.cos(angle);
  frame.s = Math.sin(angle);
}

function worldX(frame, x, y) {
  return frame.x + frame.c * x - frame.s * y;
}

function worldY(frame, x, y) {
  return frame.y + frame.s * x + frame.c * y;
}
