// The slow press: force under the finger against key travel, on both ways, with a dot where the key is.

const ROOM_ABOVE = 1.45; // the curve is shown up to this many times the let-off hump; the punching goes on above

function layPress(m) {
  const { sheet, size } = m.curves;
  const pen = sheet.getContext("2d");
  const { press } = m;
  const unit = unitOf(m, "length");
  pen.setTransform(size.ratio, 0, 0, size.ratio, 0, 0);
  pen.clearRect(0, 0, size.width, size.height);
  const box = { left: GUTTER.left, right: size.width - GUTTER.right, top: GUTTER.top + 16, low: size.height - AXIS_HEIGHT - GUTTER.bottom };
  const most = press.hump * ROOM_ABOVE;
  const low = press.up ? Math.min(0, press.up.columns.finger_gf.reduce((a, b) => Math.min(a, b), 0)) : 0;
  m.curves.plot = {
    ...box, x: (mm) => box.left + (mm / press.bottom) * (box.right - box.left),
    y: (gf) => box.low - ((Math.min(gf, most) - low) / (most - low)) * (box.low - box.top),
    travel: (px) => ((px - box.left) / (box.right - box.left)) * press.bottom,
  };
  m.curves.values = [];
  layHeightAxis(m, pen, box, low, most, "gf");
  layPressAxis(m, pen, unit, box);
  layBranch(m, pen, press.down, "blue", []);
  if (press.up) layBranch(m, pen, press.up, "green", [7, 3]);
  layPressWords(m, pen, box);
}

function layPressAxis(m, pen, unit, box) {
  const { found, digits } = ticks(0, m.press.bottom * unit.factor, Math.max(2, Math.round((box.right - box.left) / 60)));
  const marks = found.map((v) => [m.curves.plot.x(v / unit.factor), plain(v, digits)]);
  layBaseAxis(m, pen, box.low + GUTTER.bottom, marks);
  pen.fillText(`key travel under the finger, ${unit.text}`, (box.left + box.right) / 2, box.low + GUTTER.bottom + 25);
}

function layBranch(m, pen, table, colour, dash) {
  const { travel, finger_gf: force } = table.columns;
  const { x, y } = m.curves.plot;
  pen.strokeStyle = m.colours.lines[colour];
  pen.lineWidth = 2;
  pen.setLineDash(dash);
  pen.beginPath();
  for (let i = 0; i < table.rows; i++) pen.lineTo(x(travel[i]), y(force[i]));
  pen.stroke();
  pen.setLineDash([]);
}

function layPressWords(m, pen, box) {
  const { press } = m;
  pen.font = m.fonts.small;
  pen.textAlign = "left";
  let x = box.left;
  for (const [text, colour, dash, there] of [["pressing", "blue", [], true], ["letting up", "green", [7, 3], press.up]]) {
    if (!there) continue;
    pen.strokeStyle = m.colours.lines[colour];
    pen.setLineDash(dash);
    pen.beginPath();
    pen.moveTo(x, 12);
    pen.lineTo(x + 22, 12);
    pen.stroke();
    pen.setLineDash([]);
    pen.fillStyle = m.colours.text;
    pen.fillText(text, x + 26, 12);
    x += 26 + pen.measureText(text).width + 16;
  }
  if (press.escape === null) {
    pen.fillText(press.outcome, x, 12);
    return;
  }
  pressMark(m, pen, box, press.escape, "escape", box.top - 8);
  if (press.home !== null) pressMark(m, pen, box, press.home, "jack home (up)", box.low - 10);
}

function pressMark(m, pen, box, mm, text, y) {
  const x = m.curves.plot.x(mm);
  pen.strokeStyle = m.colours.muted;
  pen.lineWidth = 1;
  pen.setLineDash([1, 3]);
  pen.beginPath();
  pen.moveTo(x, box.top);
  pen.lineTo(x, box.low);
  pen.stroke();
  pen.setLineDash([]);
  writeText(m, pen, text, x - 4, y, { align: "right" });
}

function drawPressDot(m, pen) {
  const table = branchOf(m);
  const { x, y, top, low } = m.curves.plot;
  const force = at(table.columns.finger_gf, m.pose.row);
  const [px, py] = [x(m.state.travel), y(force)];
  pen.strokeStyle = m.colours.muted;
  pen.lineWidth = 1;
  pen.beginPath();
  pen.moveTo(px, top);
  pen.lineTo(px, low);
  pen.stroke();
  pen.beginPath();
  pen.arc(px, py, 7, 0, 2 * Math.PI);
  pen.fillStyle = m.colours.lines.orange;
  pen.fill();
  pen.strokeStyle = m.colours.back;
  pen.lineWidth = 2;
  pen.stroke();
  const left = px > (m.curves.plot.left + m.curves.plot.right) / 2;
  writeText(m, pen, `${plain(force, 0)} gf`, px + (left ? -12 : 12), Math.max(py, top + 8), {
    align: left ? "right" : "left", bold: true, colour: m.colours.lines.orange,
  });
}
