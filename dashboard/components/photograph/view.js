// The picture as it is looked at: which part, how large; marks over it; the magnifier.
const MOST_ZOOM = 24, LENS = 150, LENS_SCALE = 6, CLOSE = 18;

class View {
  constructor(canvas, lens) {
    Object.assign(this, { canvas, lens, image: null, size: [1, 1], scale: 1, x: 0, y: 0 });
  }

  // Room on the screen, in its own points; where it changed, the same middle stays in the middle.
  fit() {
    const box = this.canvas.getBoundingClientRect(), sharp = window.devicePixelRatio || 1;
    if (!box.width) return;
    const whole = this.isWhole();
    [this.wide, this.high] = [box.width, box.height];
    for (const [c, w, h] of [[this.canvas, box.width, box.height], [this.lens, LENS, LENS]]) {
      c.width = Math.round(w * sharp);
      c.height = Math.round(h * sharp);
      c.getContext("2d").setTransform(sharp, 0, 0, sharp, 0, 0);
    }
    if (whole) this.showAll();
    else this.keepIn();
  }

  least() {
    return Math.min(this.wide / this.size[0], this.high / this.size[1]);
  }

  isWhole() {
    return !this.wide || this.scale <= this.least() * 1.001;
  }

  showAll() {
    this.scale = this.least();
    this.keepIn();
  }

  keepIn() {
    this.scale = Math.min(Math.max(this.scale, this.least()), MOST_ZOOM);
    for (const [at, room, size] of [["x", this.wide, this.size[0]], ["y", this.high, this.size[1]]]) {
      const seen = room / this.scale;
      this[at] = seen >= size ? (size - seen) / 2 : Math.min(Math.max(this[at], 0), size - seen);
    }
    this.canvas.style.touchAction = this.isWhole() ? "pan-y" : "none";
  }

  zoom(by, at = [this.wide / 2, this.high / 2]) {
    const [px, py] = this.pixel(at);
    this.scale = Math.min(Math.max(this.scale * by, this.least()), MOST_ZOOM);
    this.x = px - at[0] / this.scale;
    this.y = py - at[1] / this.scale;
    this.keepIn();
  }

  move(dx, dy) {
    this.x -= dx / this.scale;
    this.y -= dy / this.scale;
    this.keepIn();
  }

  pixel([sx, sy]) {
    return [this.x + sx / this.scale, this.y + sy / this.scale];
  }

  screen([px, py]) {
    return [(px - this.x) * this.scale, (py - this.y) * this.scale];
  }

  // Bring a place into the part that is looked at.
  reveal(at) {
    const [sx, sy] = this.screen(at), margin = 30;
    if (sx > margin && sy > margin && sx < this.wide - margin && sy < this.high - margin) return;
    this.x = at[0] - this.wide / this.scale / 2;
    this.y = at[1] - this.high / this.scale / 2;
    this.keepIn();
  }

  paint(context, scale, x, y) {
    const ratio = this.image.naturalWidth / this.size[0];
    context.imageSmoothingEnabled = scale < 3;
    context.drawImage(this.image, -x * scale, -y * scale, this.image.naturalWidth * (scale / ratio), this.image.naturalHeight * (scale / ratio));
  }

  draw(marks, at, current) {
    if (!this.image || !this.wide) return;
    const c = this.canvas.getContext("2d");
    c.fillStyle = "#808488";
    c.fillRect(0, 0, this.wide, this.high);
    this.paint(c, this.scale, this.x, this.y);
    const places = marks.map((m) => this.screen(m.at));
    marks.forEach((m, i) => {
      const [x, y] = places[i], chosen = m.name === current;
      const alone = places.every((p, j) => i === j || Math.hypot(p[0] - x, p[1] - y) > CLOSE);
      cross(c, places[i], m.colour, chosen, chosen || alone ? m.number : "");
    });
    if (at) hair(c, this.screen(at));
    this.magnify(at);
  }

  magnify(at) {
    const c = this.lens.getContext("2d");
    c.fillStyle = "#808488";
    c.fillRect(0, 0, LENS, LENS);
    this.lens.hidden = !at;
    if (!at) return;
    this.lens.className = `lens ${this.screen(at)[0] > this.wide / 2 ? "left" : "right"}`;
    const scale = Math.max(LENS_SCALE, Math.min(2 * this.scale, 16)), half = LENS / 2 / scale;
    this.paint(c, scale, at[0] - half, at[1] - half);
    hair(c, [LENS / 2, LENS / 2], 60);
  }
}

function cross(c, [x, y], colour, chosen, number) {
  const arm = chosen ? 13 : 9;
  for (const [width, ink] of [[chosen ? 6 : 4, "#ffffff"], [chosen ? 3 : 1.6, colour]]) {
    c.strokeStyle = ink;
    c.lineWidth = width;
    c.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      c.moveTo(x + 3 * dx, y + 3 * dy);
      c.lineTo(x + arm * dx, y + arm * dy);
    }
    c.stroke();
  }
  c.font = `${chosen ? "bold " : ""}12px sans-serif`;
  c.lineWidth = 3;
  c.strokeStyle = "#ffffff";
  c.strokeText(number, x + 6, y - 6);
  c.fillStyle = colour;
  c.fillText(number, x + 6, y - 6);
}

function hair(c, [x, y], arm = 22) {
  for (const [width, ink] of [[3, "rgb(255 255 255 / 75%)"], [1, "#000000"]]) {
    c.strokeStyle = ink;
    c.lineWidth = width;
    c.beginPath();
    c.moveTo(x - arm, y);
    c.lineTo(x + arm, y);
    c.moveTo(x, y - arm);
    c.lineTo(x, y + arm);
    c.stroke();
  }
}
