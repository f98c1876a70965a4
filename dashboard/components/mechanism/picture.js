// The side view: bodies in their pose, the string, springs, squeezed felts and the second unit's outline.

const MARGIN = 6; // px around what a view shows

/** How the view's millimetres come onto the canvas: pixels a mm, and the place of the plane's origin. */
function viewOf(film, name, width, height) {
  const [left, right, low, high] = film.views[name];
  const scale = Math.min((width - 2 * MARGIN) / (right - left), (height - 2 * MARGIN) / (high - low));
  return { scale, x: width / 2 - (scale * (left + right)) / 2, y: height / 2 + (scale * (low + high)) / 2, width, height };
}

function drawPicture(m) {
  const { pen, size } = m.picture;
  const view = m.picture.view;
  pen.setTransform(size.ratio, 0, 0, size.ratio, 0, 0);
  pen.clearRect(0, 0, size.width, size.height);
  pen.lineJoin = pen.lineCap = "round";
  let behind = true; // the spring stands behind lever and jack
  for (const shape of m.stroke.shapes) {
    if (behind && shape.body === "l") {
      drawBow(pen, view, m.stroke.spring, m.pose, m.colours.wire, Math.max(1.2, 0.8 * view.scale));
      behind = false;
    }
    drawShape(m, pen, view, shape);
  }
  if (ghostShown(m)) drawGhost(m, pen, view);
  drawSqueezes(m, pen, view);
  if (m.state.view === "whole") drawFinger(m, pen, view);
  m.taken.length = 0;
  drawCrownGap(m, pen, view);
  if (m.state.names) drawNames(m, pen, view);
  if (m.state.forces) drawForces(m, pen, view);
}

function ghostShown(m) {
  return m.ghost && m.state.ghost && m.state.manner === "blow";
}

function drawShape(m, pen, view, shape) {
  const { colours, pose } = m;
  if (shape.part === "string") {
    drawString(m, pen, view);
    return;
  }
  const felt = shape.stuff === "white felt" && shape.part === "hammer";
  trace(pen, view, shape, pose, felt ? m.stroke.string.y + pose.string : Infinity);
  if (!shape.closed) {
    pen.strokeStyle = shape.stuff === "wire" ? colours.wire : colours.faint;
    pen.lineWidth = shape.stuff === "wire" ? Math.min(Math.max(1.2, 1.1 * view.scale), 4) : 1;
    pen.stroke();
    return;
  }
  pen.fillStyle = colours.squeezed[shape.stuff][squeezeLevel(m, shape)];
  pen.fill();
  pen.strokeStyle = colours.edge;
  pen.lineWidth = view.scale > 3 ? 1.2 : 0.8;
  pen.stroke();
}

/** The outline of a shape where its body stands; nothing of it above ``ceiling``. */
function trace(pen, view, shape, pose, ceiling) {
  const { points, give, body } = shape;
  const frame = pose.frames[body];
  pen.beginPath();
  for (let i = 0; i < points.length; i += 2) {
    let x = points[i];
    let y = points[i + 1];
    for (const { by, way } of give) {
      x += way[i] * pose[by];
      y += way[i + 1] * pose[by];
    }
    const up = Math.min(worldY(frame, x, y), ceiling);
    pen.lineTo(view.x + view.scale * worldX(frame, x, y), view.y - view.scale * up);
  }
  if (shape.closed) pen.closePath();
}

function squeezeLevel(m, shape) {
  let share = 0;
  for (const i of shape.squeezers) {
    const { gap } = m.pose.table.meetings[i];
    if (gap) share = Math.max(share, -at(gap, m.pose.row) / m.stroke.contacts[i].thick);
  }
  return Math.min(LEVELS - 1, Math.round(Math.sqrt(Math.max(0, share)) * (LEVELS - 1)));
}

/** The string: pushed up at the strike point, the bend running away to the rear, held at the near end. */
function drawString(m, pen, view) {
  const { y, strike, near, far, run } = m.stroke.string;
  const { columns } = m.pose.table;
  const [left, right] = [-view.x / view.scale, (view.width - view.x) / view.scale];
  const thick = Math.max(1.6, 0.9 * view.scale);
  const place = (x, up) => pen.lineTo(view.x + view.scale * x, view.y - view.scale * (y + up) - thick / 2);
  pen.beginPath();
  place(Math.max(left, near - 110), 0);
  place(near, 0);
  place(strike, m.pose.string);
  if (m.state.manner === "blow") {
    for (let x = strike + 5; x < Math.min(far, right); x += 5) {
      place(x, at(columns.string, Math.max(0, m.pose.row - (x - strike) / run / m.stroke.step)));
    }
  } else {
    place(far, 0);
  }
  pen.strokeStyle = m.colours.string;
  pen.lineWidth = thick;
  pen.stroke();
}

function drawBow(pen, view, spring, pose, colour, width) {
  const { loop, slot, sag, share } = spring;
  const { w, l } = pose.frames;
  const px = (x) => view.x + view.scale * x;
  const py = (y) => view.y - view.scale * y;
  pen.beginPath();
  let x = 0;
  let y = 0;
  for (let i = 0; i < loop.length; i += 2) {
    x = worldX(w, loop[i], loop[i + 1]);
    y = worldY(w, loop[i], loop[i + 1]);
    pen.lineTo(px(x), py(y));
  }
  const endX = worldX(l, slot[0], slot[1]);
  const endY = worldY(l, slot[0], slot[1]);
  pen.quadraticCurveTo(px(x * share + endX * (1 - share)), py(y * share + endY * (1 - share) - sag), px(endX), py(endY));
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.stroke();
}

/** The second unit: outlines only, dashed, with its own button and screw. */
function drawGhost(m, pen, view) {
  const { ghost, ghostPose } = m;
  setPose(ghostPose, ghost, ghost.table, rowOfTime(ghost, ghostTime(m, m.state.time)));
  pen.setLineDash([5, 3]);
  pen.strokeStyle = m.colours.lines.blue;
  pen.lineWidth = 1.4;
  for (const shape of ghost.shapes) {
    const own = shape.body !== "" || shape.part === "button" || shape.part === "drop screw";
    if (!own || !shape.closed || shape.part === "pin") continue;
    trace(pen, view, shape, ghostPose, Infinity);
    pen.stroke();
  }
  pen.setLineDash([]);
}

/** Where a felt is squeezed: as wide as what presses into it sinks in, thicker the more of the felt is used up. */
function drawSqueezes(m, pen, view) {
  pen.strokeStyle = m.colours.lines.pink;
  pen.lineCap = "butt";
  for (let i = 0; i < m.stroke.contacts.length; i++) {
    const contact = m.stroke.contacts[i];
    const { gap, x, y, lie, N } = m.pose.table.meetings[i];
    if (!gap || !(contact.radius || contact.width)) continue;
    const deep = -at(gap, m.pose.row);
    if (deep <= 1e-3 || at(N, m.pose.row) < 0.01) continue;
    const half = contact.width ? contact.width / 2 : Math.sqrt(2 * contact.radius * deep);
    const angle = lie ? at(lie, m.pose.row) : Math.PI / 2;
    const [dx, dy] = [-Math.sin(angle) * half * view.scale, -Math.cos(angle) * half * view.scale];
    const [px, py] = [view.x + view.scale * at(x, m.pose.row), view.y - view.scale * at(y, m.pose.row)];
    pen.lineWidth = 2 + 4 * Math.min(1, deep / contact.thick);
    pen.beginPath();
    pen.moveTo(px - dx, py - dy);
    pen.lineTo(px + dx, py + dy);
    pen.stroke();
  }
}
