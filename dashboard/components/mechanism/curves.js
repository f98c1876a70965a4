// Curves over time, with the cursor of the time line; and the slow press over key travel.

const PANELS = {
  crown: { title: "Crown to string", kind: "length", lines: [["crown", "crown to string", "orange"]] },
  key: { title: "Key travel", kind: "length", lines: [["travel", "key travel", "blue"]] },
  forces: { title: "Forces", kind: "N", lines: [] },
  speeds: { title: "Speeds", kind: "m/s", lines: [["crown_speed", "crown", "orange"], ["key_speed", "key", "blue"]] },
  energy: {
    title: "Energy", kind: "mJ",
    lines: [
      ["work", "finger's work", "ink"], ["moving", "moving", "orange"], ["stored", "stored", "blue"],
      ["sounding", "in the string", "purple"], ["lost", "lost", "green"],
    ],
  },
};
const FORCES = [
  ["finger", "finger", "ink"], ["capstan", "capstan", "brown"], ["jack_knuckle", "jack", "green"],
  ["lever_knuckle", "lever", "sky"], ["toe_button", "button", "purple"], ["drop_screw", "drop screw", "pink"],
  ["string", "string", "orange"], ["backcheck", "check", "blue"], ["punching", "punching", "brown"],
];
const GUTTER = { left: 48, right: 10, top: 22, bottom: 6 };
const PANEL_HEIGHT = 128;
const AXIS_HEIGHT = 34;

/** Lines of a panel that this stroke has: column's name, title, colour and dash. */
function linesOf(m, panel) {
  const chosen = panel === "forces" ? FORCES.filter(([name]) => m.state.lines.includes(name)) : PANELS[panel].lines;
  return chosen
    .map(([name, title, colour]) => {
      const source = panel === "forces" ? FORCES : PANELS[panel].lines;
      const dash = DASHES[source.findIndex(([n]) => n === name) % DASHES.length];
      return { column: panel === "forces" ? `N_${name}` : name, title, colour, dash };
    })
    .filter((line) => m.stroke.table.columns[line.column]);
}

function unitOf(m, kind) {
  if (kind !== "length") return { text: kind, factor: 1, digits: kind === "m/s" ? 2 : 1 };
  return m.inches ? { text: "in", factor: 1 / 25.4, digits: 3 } : { text: "mm", factor: 1, digits: 2 };
}

/** Draw what does not change while playing onto the curves' own sheet; remember where values go. */
function layCurves(m) {
  const { sheet, size } = m.curves;
  const pen = sheet.getContext("2d");
  const order = Object.keys(PANELS).filter((name) => m.state.panels.includes(name));
  pen.setTransform(size.ratio, 0, 0, size.ratio, 0, 0);
  pen.clearRect(0, 0, size.width, size.height);
  m.curves.values = [];
  m.curves.boxes = [];
  m.curves.plot = { left: GUTTER.left, right: size.width - GUTTER.right, from: m.span[0], to: m.span[1] };
  const each = (size.height - AXIS_HEIGHT) / Math.max(1, order.length);
  order.forEach((name, i) => layPanel(m, pen, name, i * each, each));
  if (order.length) layTimeAxis(m, pen, size.height - AXIS_HEIGHT);
}

function layPanel(m, pen, name, top, height) {
  const lines = linesOf(m, name);
  const unit = unitOf(m, PANELS[name].kind);
  const { left, right, from, to } = m.curves.plot;
  const box = { left, right, top: top + GUTTER.top, low: top + height - GUTTER.bottom };
  box.top += layLegend(m, pen, lines, unit, left, right, top);
  m.curves.boxes.push(box);
  const [low, high] = rangeOf(m, lines, unit.factor);
  layHeightAxis(m, pen, box, low, high, unit.text);
  const x = (ms) => box.left + ((ms - from) / (to - from)) * (box.right - box.left);
  const y = (value) => box.low - ((value - low) / (high - low)) * (box.low - box.top);
  for (const line of lines) {
    pen.strokeStyle = m.colours.lines[line.colour];
    if (ghostShown(m) && name !== "forces" && name !== "energy") {
      pen.globalAlpha = 0.55;
      layLine(pen, m.ghost, line, unit.factor, (ms) => x(ms - ghostTime(m, 0)), y, [2, 2], [from, to], ghostTime(m, 0));
      pen.globalAlpha = 1;
    }
    layLine(pen, m.stroke, line, unit.factor, x, y, line.dash, [from, to], 0);
  }
}

function layLine(pen, film, line, factor, x, y, dash, [from, to], shift) {
  const column = film.table.columns[line.column];
  if (!column) return;
  const first = Math.floor(rowOfTime(film, from + shift));
  const last = Math.ceil(rowOfTime(film, to + shift));
  pen.setLineDash(dash);
  pen.lineWidth = 1.7;
  pen.beginPath();
  for (let i = first; i <= last; i++) pen.lineTo(x(film.start + i * film.step), y(column[i] * factor));
  pen.stroke();
  pen.setLineDash([]);
}

/** Samples and names of the lines over a panel, with room for the value at the cursor; gives the height taken. */
function layLegend(m, pen, lines, unit, left, right, top) {
  pen.font = m.fonts.small;
  pen.textBaseline = "middle";
  pen.textAlign = "left";
  let x = left;
  let y = top + 12;
  for (const line of lines) {
    const room = pen.measureText(`-000.00 ${unit.text}`).width;
    const width = 26 + pen.measureText(line.title).width + 6 + room + 10;
    if (x > left && x + width > right + 10) {
      x = left;
      y += 16;
    }
    pen.strokeStyle = m.colours.lines[line.colour];
    pen.lineWidth = 2.2;
    pen.setLineDash(line.dash);
    pen.beginPath();
    pen.moveTo(x, y);
    pen.lineTo(x + 22, y);
    pen.stroke();
    pen.setLineDash([]);
    pen.fillStyle = m.colours.text;
    pen.fillText(line.title, x + 26, y);
    const column = m.stroke.table.columns[line.column];
    m.curves.values.push({ column, unit, x: x + 26 + pen.measureText(line.title).width + 6, y });
    x += width;
  }
  return y - top - 12;
}

function rangeOf(m, lines, factor) {
  let [low, high] = [0, 0];
  const reach = (film, shift) => {
    for (const line of lines) {
      const column = film.table.columns[line.column];
      if (!column) continue;
      const last = Math.ceil(rowOfTime(film, m.span[1] + shift));
      for (let i = Math.floor(rowOfTime(film, m.span[0] + shift)); i <= last; i++) {
        low = Math.min(low, column[i] * factor);
        high = Math.max(high, column[i] * factor);
      }
    }
  };
  reach(m.stroke, 0);
  if (ghostShown(m)) reach(m.ghost, ghostTime(m, 0));
  const room = Math.max(1e-3, high - low) * 0.06;
  return [low < 0 ? low - room : low, high + room];
}

function niceStep(span, parts) {
  const rough = span / parts;
  const ten = 10 ** Math.floor(Math.log10(rough));
  return ten * [1, 2, 5, 10].find((f) => f * ten >= rough);
}

function ticks(low, high, parts) {
  const step = niceStep(high - low, parts);
  const found = [];
  for (let v = Math.ceil(low / step - 1e-9) * step; v <= high + step * 1e-9; v += step) found.push(v);
  return { found, digits: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
}

function layHeightAxis(m, pen, box, low, high, unit) {
  const { found, digits } = ticks(low, high, Math.max(2, Math.round((box.low - box.top) / 28)));
  pen.font = m.fonts.small;
  pen.textAlign = "right";
  pen.textBaseline = "middle";
  pen.lineWidth = 1;
  found.forEach((value, i) => {
    const y = box.low - ((value - low) / (high - low)) * (box.low - box.top);
    pen.strokeStyle = value === 0 ? m.colours.muted : m.colours.faint;
    pen.beginPath();
    pen.moveTo(box.left, y);
    pen.lineTo(box.right, y);
    pen.stroke();
    pen.fillStyle = m.colours.text;
    const last = i === found.length - 1;
    pen.fillText(last ? `${plain(value, digits)} ${unit}` : plain(value, digits), box.left - 5, Math.max(y, 7));
  });
}

function layTimeAxis(m, pen, top) {
  const { left, right, from, to } = m.curves.plot;
  const { found, digits } = ticks(from, to, Math.max(2, Math.round((right - left) / 70)));
  layBaseAxis(m, pen, top, found.map((t) => [left + ((t - from) / (to - from)) * (right - left), plain(t, digits)]));
  pen.fillText("time, ms", (left + right) / 2, top + 25);
}

function layBaseAxis(m, pen, top, marks) {
  pen.font = m.fonts.small;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillStyle = m.colours.text;
  pen.strokeStyle = m.colours.muted;
  pen.lineWidth = 1;
  for (const [x, text] of marks) {
    pen.beginPath();
    pen.moveTo(x, top - GUTTER.bottom);
    pen.lineTo(x, top - 1);
    pen.stroke();
    pen.fillText(text, x, top + 8);
  }
}

/** The sheet, and on it the cursor with the values there. */
function drawCurves(m) {
  const { pen, size, sheet } = m.curves;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.clearRect(0, 0, pen.canvas.width, pen.canvas.height);
  pen.drawImage(sheet, 0, 0);
  pen.setTransform(size.ratio, 0, 0, size.ratio, 0, 0);
  if (m.state.manner === "press") drawPressDot(m, pen);
  else if (m.curves.values.length) drawCursor(m, pen);
}

function drawCursor(m, pen) {
  const { plot, values, boxes } = m.curves;
  const x = plot.left + ((m.state.time - plot.from) / (plot.to - plot.from)) * (plot.right - plot.left);
  pen.strokeStyle = m.colours.text;
  pen.lineWidth = 1.2;
  pen.beginPath();
  for (const { top, low } of boxes) {
    pen.moveTo(x, top - 2);
    pen.lineTo(x, low + GUTTER.bottom);
  }
  pen.stroke();
  pen.font = m.fonts.smallBold;
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  pen.fillStyle = m.colours.text;
  for (const { column, unit, x: valueX, y } of values) {
    pen.fillText(`${plain(at(column, m.pose.row) * unit.factor, unit.digits)} ${unit.text}`, valueX, y);
  }
}
