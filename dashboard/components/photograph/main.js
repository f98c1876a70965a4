const MOST_UNDO = 200, QUIET = 300;

class Work {
  constructor(parent) {
    this.root = document.createElement("div");
    this.root.className = "photograph";
    this.canvas = document.createElement("canvas");
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.canvas.setAttribute("aria-label", "The photograph. Arrow keys move the cross by a pixel, with Shift by twenty; Enter sets the place; Page Down goes on; plus and minus zoom.");
    this.lens = document.createElement("canvas");
    this.lens.className = "lens";
    this.lens.setAttribute("aria-hidden", "true");
    this.lens.hidden = true;
    this.status = document.createElement("p");
    this.status.className = "status";
    this.status.setAttribute("role", "status");
    this.list = document.createElement("ol");
    this.list.setAttribute("aria-label", "Places to click");
    const stage = document.createElement("div");
    stage.className = "stage";
    stage.append(this.canvas, this.lens);
    const left = document.createElement("div");
    left.append(this.status, stage, tools(this));
    this.root.append(left, this.list);
    parent.append(this.root);
    this.view = new View(this.canvas, this.lens);
    Object.assign(this, { asked: [], clicks: {}, past: [], current: "", free: null, version: null, mark: "", timer: 0 });
    pointers(this.canvas, this);
    this.canvas.onkeydown = (event) => keys(event, this);
    this.canvas.onfocus = () => this.draw();
    this.canvas.onblur = () => this.look(null);
    this.watch = new ResizeObserver(() => {
      this.view.fit();
      this.draw();
    });
    this.watch.observe(this.canvas);
  }

  take({ data, setStateValue }) {
    this.send = setStateValue;
    this.asked = data.asked;
    this.size = data.size;
    if (data.version !== this.version) {
      Object.assign(this, { version: data.version, clicks: { ...data.clicks }, past: [], current: "", free: null });
    }
    if (!this.asked.some((a) => a.name === this.current)) this.current = this.firstOpen();
    if (data.mark !== this.mark || !this.view.image) this.load(data);
    this.show();
  }

  load(data) {
    if (!data.picture) {
      this.send("has", ""); // it was shown before, by another window's element: ask for it again
      return;
    }
    if (this.loading === data.mark) return;
    this.loading = data.mark;
    const image = new Image();
    image.onload = () => {
      Object.assign(this, { mark: data.mark, loading: "" });
      Object.assign(this.view, { image, size: data.size });
      this.root.dataset.mark = data.mark;
      this.canvas.style.aspectRatio = `${data.size[0]} / ${data.size[1]}`;
      this.view.fit();
      this.view.showAll();
      this.draw();
    };
    image.src = data.picture;
  }

  firstOpen(after = -1) {
    const open = (a) => !this.clicks[a.name];
    const rest = this.asked.slice(after + 1);
    return (rest.find(open) ?? this.asked.find(open) ?? this.asked[this.asked.length - 1]).name;
  }

  place() {
    return this.asked.findIndex((a) => a.name === this.current);
  }

  cursor() {
    const middle = () => this.view.pixel([this.view.wide / 2, this.view.high / 2]);
    return this.clicks[this.current] ?? this.free ?? (this.free = middle().map(Math.round));
  }

  keep() {
    this.past.push([{ ...this.clicks }, this.current]);
    if (this.past.length > MOST_UNDO) this.past.shift();
  }

  set(at) {
    this.keep();
    const fresh = !this.clicks[this.current];
    this.clicks[this.current] = this.inside(at);
    this.free = this.clicks[this.current];
    if (fresh) this.current = this.firstOpen(this.place());
    this.tell();
  }

  inside(at) {
    return at.map((v, i) => Math.round(10 * Math.min(Math.max(v, 0), this.size[i])) / 10);
  }

  begin(name) {
    this.keep();
    this.current = name;
  }

  shift(dx, dy) {
    const [x, y] = this.clicks[this.current];
    this.clicks[this.current] = this.inside([x + dx, y + dy]);
    this.look(this.clicks[this.current]);
  }

  nudge(dx, dy) {
    const at = this.cursor();
    if (this.clicks[this.current]) {
      this.keep();
      this.clicks[this.current] = this.inside([at[0] + dx, at[1] + dy]);
      this.tell();
    } else this.free = this.inside([at[0] + dx, at[1] + dy]);
    this.view.reveal(this.cursor());
    this.draw();
  }

  remove() {
    if (!this.clicks[this.current]) return;
    this.keep();
    this.free = this.clicks[this.current];
    delete this.clicks[this.current];
    this.tell();
  }

  undo() {
    if (!this.past.length) return;
    [this.clicks, this.current] = this.past.pop();
    this.tell();
  }

  choose(name) {
    this.current = name;
    if (this.clicks[name]) this.view.reveal(this.clicks[name]);
    this.show();
  }

  step(by) {
    const at = this.place() + by;
    if (at >= 0 && at < this.asked.length) this.choose(this.asked[at].name);
  }

  zoom(by) {
    const at = this.clicks[this.current];
    if (by) this.view.zoom(by, at ? this.view.screen(at) : undefined);
    else this.view.showAll();
    this.draw();
  }

  markNear(at, near) {
    let found = null, least = near;
    for (const { name } of this.asked) {
      if (!this.clicks[name]) continue;
      const [x, y] = this.view.screen(this.clicks[name]), far = Math.hypot(x - at[0], y - at[1]);
      if (far < least && (name === this.current || this.clicks[this.current])) [found, least] = [name, far];
    }
    return found;
  }

  look(at) {
    this.under = at;
    this.draw();
  }

  tell() {
    this.show();
    clearTimeout(this.timer);
    const told = { version: this.version, at: { ...this.clicks } };
    this.timer = setTimeout(() => {
      this.send("has", this.mark);
      this.send("clicks", told);
    }, QUIET);
  }

  show() {
    const now = this.asked[this.place()], done = this.asked.filter((a) => this.clicks[a.name]).length;
    const left = this.asked.filter((a) => a.needed && !this.clicks[a.name]).length;
    this.status.textContent = `${this.place() + 1}. ${now.told}${this.clicks[now.name] ? " (set)" : ": click it"} · ${done} of ${this.asked.length} set${left ? `, ${left} still needed` : ""}`;
    fill(this.list, this);
    this.draw();
  }

  draw() {
    const marks = this.asked
      .map((a, i) => ({ name: a.name, colour: a.colour, number: `${i + 1}`, at: this.clicks[a.name] }))
      .filter((m) => m.at);
    const focused = this.canvas.getRootNode().activeElement === this.canvas;
    const at = this.under ?? (focused ? this.cursor() : this.clicks[this.current] ?? null);
    this.view.draw(marks, at && this.view.wide ? at : null, this.current);
  }
}

export default function (component) {
  const { parentElement } = component;
  parentElement.work ??= new Work(parentElement);
  parentElement.work.take(component);
  return () => {
    clearTimeout(parentElement.work?.timer);
    parentElement.work?.watch.disconnect();
    parentElement.work?.root.remove();
    delete parentElement.work;
  };
}
