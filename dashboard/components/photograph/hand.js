// Mouse, finger and keys on the picture.
const NEAR = 14, STILL = 5;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function pointers(canvas, work) {
  let held = null;
  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  canvas.onpointerdown = (event) => {
    if (event.button !== 0) return;
    const from = place(event);
    held = { from, last: from, moved: false, mark: work.markNear(from, NEAR), scrolls: event.pointerType !== "mouse" };
    try {
      canvas.setPointerCapture(event.pointerId);
    } catch {
      // A pointer that is gone already.
    }
  };
  canvas.onpointermove = (event) => {
    const at = place(event);
    if (!held) {
      if (event.pointerType === "mouse") work.look(work.view.pixel(at));
      return;
    }
    if (!held.moved && Math.hypot(at[0] - held.from[0], at[1] - held.from[1]) < STILL) return;
    if (!held.moved && held.mark) work.begin(held.mark);
    held.moved = true;
    const by = [at[0] - held.last[0], at[1] - held.last[1]];
    held.last = at;
    if (held.mark) work.shift(by[0] / work.view.scale, by[1] / work.view.scale);
    else {
      work.view.move(...by);
      work.draw();
    }
  };
  canvas.onpointerup = (event) => {
    if (!held) return;
    const { moved, mark } = held;
    held = null;
    if (moved) {
      if (mark) work.tell();
    } else if (mark && mark !== work.current && work.clicks[work.current]) work.choose(mark);
    else work.set(work.view.pixel(place(event)));
  };
  canvas.onpointercancel = () => {
    held = null;
  };
  canvas.onpointerleave = () => {
    if (!held) work.look(null);
  };
  canvas.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && canvas.getRootNode().activeElement !== canvas) return;
    event.preventDefault();
    work.view.zoom(Math.exp(-event.deltaY / 400), place(event));
    work.draw();
  }, { passive: false });
}

function keys(event, work) {
  const arrow = ARROWS[event.key], step = event.shiftKey ? 20 : 1;
  const done = {
    Enter: () => work.set(work.cursor()), " ": () => work.set(work.cursor()),
    Delete: () => work.remove(), Backspace: () => work.remove(),
    "+": () => work.zoom(1.5), "=": () => work.zoom(1.5), "-": () => work.zoom(1 / 1.5), 0: () => work.zoom(0),
    PageDown: () => work.step(1), PageUp: () => work.step(-1),
  }[event.key];
  if (arrow) work.nudge(arrow[0] * step, arrow[1] * step);
  else if (event.key === "z" && (event.ctrlKey || event.metaKey)) work.undo();
  else if (done && !event.ctrlKey && !event.metaKey) done();
  else return;
  event.preventDefault();
  event.stopPropagation();
}
