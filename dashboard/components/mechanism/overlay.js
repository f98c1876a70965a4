// What is written on the picture: forces as arrows, names, the crown's distance, the finger.

const ARROW = 78; // px of the greatest force of the stroke; others by the square root of their share
const NUMBERED = 5; // so many of the largest arrows carry their number
const WAYS = [[1, 1], [1, -1], [-1, 1], [-1, -1], [1.6, 1.6], [-1.6, 1.6], [1.6, -1.6]]; // where a name may stand

function drawForces(m, pen, view) {
  const found = m.arrows;
  found.length = 0;
  const { meetings } = m.pose.table;
  for (let i = 0; i < meetings.length; i++) {
    const { N, x, y, way } = meetings[i];
    const force = N && way ? at(N, m.pose.row) : 0;
    if (force < 0.03) continue;
    const arrow = m.arrowPool[i];
    arrow.force = force;
    arrow.name = m.stroke.contacts[i].name;
    arrow.x = view.x + view.scale * at(x, m.pose.row);
    arrow.y = view.y - view.scale * at(y, m.pose.row);
    arrow.angle = at(way, m.pose.row);
    if (arrow.x > -20 && arrow.x < view.width + 20 && arrow.y > -20 && arrow.y < view.height + 20) found.push(arrow);
  }
  found.sort((a, b) => b.force - a.force);
  const most = m.state.manner === "press" ? Math.min(m.stroke.greatest, 12) : m.stroke.greatest;
  for (const arrow of found) drawArrow(m, pen, arrow, Math.max(10, ARROW * Math.sqrt(Math.min(1, arrow.force / most))));
  for (let i = 0; i < Math.min(view.width < 500 ? 3 : NUMBERED, found.length); i++) numberArrow(m, pen, found[i], view);
}

function drawArrow(m, pen, arrow, length) {
  const [dx, dy] = [Math.cos(arrow.angle), -Math.sin(arrow.angle)];
  const [tipX, tipY] = [arrow.x + dx * length, arrow.y + dy * length];
  arrow.tipX = tipX;
  arrow.tipY = tipY;
  for (const [colour, width] of [[m.colours.back, 5], [m.colours.lines.orange, 2.4]]) {
    pen.strokeStyle = pen.fillStyle = colour;
    pen.lineWidth = width;
    pen.beginPath();
    pen.moveTo(arrow.x, arrow.y);
    pen.lineTo(tipX - dx * 6, tipY - dy * 6);
    pen.stroke();
    pen.beginPath();
    pen.moveTo(tipX, tipY);
    pen.lineTo(tipX - dx * 10 - dy * 4.5, tipY - dy * 10 + dx * 4.5);
    pen.lineTo(tipX - dx * 10 + dy * 4.5, tipY - dy * 10 - dx * 4.5);
    pen.closePath();
    if (width > 3) pen.stroke();
    pen.fill();
  }
  pen.beginPath();
  pen.arc(arrow.x, arrow.y, 2.6, 0, 2 * Math.PI);
  pen.fill();
}

function numberArrow(m, pen, arrow, view) {
  const gram = m.state.manner === "press" && arrow.name === "finger";
  const text = gram ? `${plain(arrow.force / GRAM_FORCE, 0)} gf` : `${plain(arrow.force, arrow.force < 10 ? 2 : 1)} N`;
  const side = Math.cos(arrow.angle) < -0.5 ? -1 : 1;
  const x = Math.min(Math.max(arrow.tipX + side * 7, side < 0 ? 54 : 4), view.width - (side < 0 ? 4 : 54));
  const y = freeHeight(m.taken, side < 0 ? x - 50 : x, Math.min(Math.max(arrow.tipY, 10), view.height - 8));
  writeText(m, pen, text, x, y, { align: side < 0 ? "right" : "left", colour: m.colours.lines.orange, bold: true });
}

/** The nearest height at which a number covers nothing written before; keeps it. */
function freeHeight(taken, x, y) {
  for (let i = 0; i < 9; i++) {
    const tried = y + (i % 2 ? 1 : -1) * 16 * Math.ceil(i / 2);
    if (take(taken, x, tried, 50)) return tried;
  }
  return y;
}

/** Take a line of text's place (left, middle height, width; px) if nothing stands there. */
function take(taken, x, y, width) {
  for (let i = 0; i < taken.length; i += 3) {
    if (Math.abs(taken[i + 1] - y) < 15 && x < taken[i] + taken[i + 2] + 2 && taken[i] < x + width + 2) return false;
  }
  taken.push(x, y, width);
  return true;
}

/** Text with a rim of the page's colour, readable on any part. */
function writeText(m, pen, text, x, y, { align = "left", colour = m.colours.text, bold = false } = {}) {
  pen.font = bold ? m.fonts.bold : m.fonts.plain;
  pen.textAlign = align;
  pen.textBaseline = "middle";
  pen.lineWidth = 4;
  pen.strokeStyle = m.colours.back;
  pen.strokeText(text, x, y);
  pen.fillStyle = colour;
  pen.fillText(text, x, y);
}

/** Names with leaders, each where there is room; in a small picture some find none. */
function drawNames(m, pen, view) {
  const near = Math.min(1, Math.max(0.55, view.width / 800));
  pen.font = m.fonts.plain;
  for (const name of m.stroke.names) {
    if (!name.views.includes(m.state.view)) continue;
    const frame = m.pose.frames[name.body];
    const x = view.x + view.scale * worldX(frame, name.at[0], name.at[1]);
    const y = view.y - view.scale * worldY(frame, name.at[0], name.at[1]);
    const half = pen.measureText(name.text).width / 2 + 4;
    for (let i = 0; i < WAYS.length; i++) {
      const [alongX, alongY] = WAYS[((name.way ?? 0) + i) % WAYS.length];
      const textX = Math.min(Math.max(x + name.away[0] * near * alongX, half), view.width - half);
      const textY = Math.min(Math.max(y + name.away[1] * near * alongY, 10), view.height - 10);
      if (!take(m.taken, textX - half, textY, 2 * half)) continue;
      name.way = ((name.way ?? 0) + i) % WAYS.length;
      leader(m, pen, x, y, textX, textY);
      writeText(m, pen, name.text, textX, textY, { align: "center" });
      break;
    }
  }
}

function leader(m, pen, x, y, textX, textY) {
  for (const [colour, width] of [[m.colours.back, 3], [m.colours.muted, 1]]) {
    pen.strokeStyle = pen.fillStyle = colour;
    pen.lineWidth = width;
    pen.beginPath();
    pen.moveTo(x, y);
    pen.lineTo(textX, textY);
    pen.stroke();
  }
  pen.beginPath();
  pen.arc(x, y, 1.8, 0, 2 * Math.PI);
  pen.fill();
}

/** Crown to string as a dimension beside the hammer. */
function drawCrownGap(m, pen, view) {
  if (m.state.view === "escapement") return;
  const gap = at(m.pose.table.columns.crown, m.pose.row);
  const { y, strike } = m.stroke.string;
  const x = view.x + view.scale * (strike + (m.state.view === "head" ? 22 : 26));
  const [top, low] = [view.y - view.scale * y, view.y - view.scale * (y - gap)];
  pen.strokeStyle = m.colours.lines.blue;
  pen.lineWidth = 1.2;
  pen.beginPath();
  pen.moveTo(view.x + view.scale * (strike + 3), low);
  pen.lineTo(x + 5, low);
  pen.moveTo(x, low);
  pen.lineTo(x, top);
  pen.stroke();
  const text = lengthText(m, Math.max(0, gap), 1);
  const inside = x + 62 < view.width;
  const height = Math.max(low - top > 24 ? (low + top) / 2 : low + 13, 10);
  take(m.taken, inside ? x + 4 : x - 62, height, 58);
  writeText(m, pen, text, x + (inside ? 8 : -8), height, { align: inside ? "left" : "right", colour: m.colours.lines.blue });
}

/** A finger tip on the key, where it presses. */
function drawFinger(m, pen, view) {
  const { x, y, N } = m.pose.table.meetings[0];
  if (!x || (m.state.manner === "blow" && at(N, m.pose.row) <= 0)) return;
  const px = view.x + view.scale * at(x, m.pose.row);
  const py = view.y - view.scale * at(y, m.pose.row);
  const wide = Math.max(9, 6.5 * view.scale);
  pen.beginPath();
  pen.arc(px, py - wide, wide, 0, Math.PI);
  pen.lineTo(px - wide, py - wide * 3.2);
  pen.arc(px, py - wide * 3.2, wide, Math.PI, 0);
  pen.closePath();
  pen.fillStyle = m.colours.back;
  pen.fill();
  pen.strokeStyle = m.colours.text;
  pen.lineWidth = 1.5;
  pen.stroke();
}
