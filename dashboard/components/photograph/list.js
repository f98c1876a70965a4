// The list of what is asked, and the buttons.
function button(text, label, act) {
  const b = document.createElement("button");
  b.type = "button";
  b.textContent = text;
  if (label) b.setAttribute("aria-label", label);
  b.onclick = act;
  return b;
}

function tools(work) {
  const row = document.createElement("div");
  row.className = "tools";
  row.append(
    button("Larger", "", () => work.zoom(1.5)), button("Smaller", "", () => work.zoom(1 / 1.5)),
    button("Whole picture", "", () => work.zoom(0)), button("Undo", "Undo the last click", () => work.undo()),
    button("Take out", "Take this click out", () => work.remove()), button("Skip", "Go on to the next place", () => work.step(1)),
  );
  return row;
}

function entry(asked, i, work) {
  const at = work.clicks[asked.name], item = document.createElement("li");
  const state = at ? `${at[0].toFixed(1)}, ${at[1].toFixed(1)}` : asked.needed ? "needed" : "";
  const b = button("", "", () => work.choose(asked.name));
  b.dataset.name = asked.name;
  if (asked.name === work.current) b.setAttribute("aria-current", "true");
  for (const [name, text] of [["number", `${i + 1}`], ["told", asked.told], ["state", state]]) {
    const span = document.createElement("span");
    span.className = name;
    span.textContent = text;
    b.append(span);
  }
  b.classList.toggle("done", Boolean(at));
  item.append(b);
  return item;
}

// Buttons stay the same where they can, so that the keyboard's place is not lost.
function fill(list, work) {
  const focused = list.getRootNode().activeElement?.dataset?.name;
  const top = list.scrollTop;
  list.replaceChildren(...work.asked.map((a, i) => entry(a, i, work)));
  list.scrollTop = top;
  const now = list.querySelector("[aria-current]");
  if (now) {
    const above = now.offsetTop - list.offsetTop;
    if (above < list.scrollTop || above + now.offsetHeight > list.scrollTop + list.clientHeight) list.scrollTop = above - list.clientHeight / 2;
  }
  if (focused) list.querySelector(`[data-name="${focused}"]`)?.focus({ preventScroll: true });
}
