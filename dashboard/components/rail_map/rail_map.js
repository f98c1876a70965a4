// From dark to light with the value; text is black or white, whichever stands out more.
const LOW = [22, 60, 72], HIGH = [240, 226, 160];

function shade(share) {
  const c = LOW.map((low, i) => Math.round(low + (HIGH[i] - low) * share));
  const [r, g, b] = c.map((v) => ((v / 255 + 0.055) / 1.055) ** 2.4);
  const text = 0.2126 * r + 0.7152 * g + 0.0722 * b > 0.179 ? "#000000" : "#ffffff";
  return [`rgb(${c.join(",")})`, text];
}

function cell(place, share, where, chosen) {
  const b = document.createElement("button");
  b.type = "button";
  b.className = place.mark ? "not" : "fits";
  b.textContent = place.mark || place.shown;
  if (place.best) {
    const rank = document.createElement("span");
    rank.className = "best";
    rank.textContent = `no. ${place.best}`;
    b.append(rank);
  }
  const [back, text] = share === null ? ["#e8e8e8", "#000000"] : shade(share);
  b.style.backgroundColor = back;
  b.style.color = text;
  b.setAttribute("aria-label", place.told);
  b.title = place.told;
  b.tabIndex = where.first ? 0 : -1;
  b.onclick = () => chosen({ row: where.row, column: where.column });
  return b;
}

function walk(buttons, event) {
  const step = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] }[event.key];
  if (!step) return;
  const here = event.target.closest("button");
  for (let r = 0; r < buttons.length; r += 1) {
    const c = buttons[r].indexOf(here);
    if (c < 0) continue;
    const next = buttons[r + step[0]]?.[c + step[1]];
    if (next) {
      here.tabIndex = -1;
      next.tabIndex = 0;
      next.focus();
    }
    event.preventDefault();
    return;
  }
}

function head(text, scope) {
  const th = document.createElement("th");
  th.scope = scope;
  th.textContent = text;
  return th;
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const values = data.rows.flat().map((p) => p.value).filter((v) => v !== null);
  const low = Math.min(...values), span = Math.max(...values) - low || 1;
  const table = document.createElement("table");
  const caption = document.createElement("caption");
  caption.textContent = `${data.reading}; across: ${data.across}, upward: ${data.up}. A framed number meets every target; a letter says why not.`;
  table.append(caption);
  const chosen = (where) => setTriggerValue("chosen", where);
  const buttons = data.rows.map((row, r) => {
    const line = table.insertRow();
    line.append(head(row[0].y, "row"));
    return row.map((place, c) => {
      const share = place.value === null ? null : (place.value - low) / span;
      const b = cell(place, share, { row: r, column: c, first: r === 0 && c === 0 }, chosen);
      line.insertCell().append(b);
      return b;
    });
  });
  const foot = table.insertRow();
  foot.append(head(data.length, "row"));
  for (const place of data.rows[0]) foot.append(head(place.x, "col"));
  table.onkeydown = (event) => walk(buttons, event);
  const wrap = document.createElement("div");
  wrap.className = "wrap";
  wrap.append(table);
  parentElement.querySelector(".wrap")?.remove();
  parentElement.append(wrap);
}
