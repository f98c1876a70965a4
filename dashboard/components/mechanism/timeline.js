// The time line: moments of the stroke to scale, its events as numbered marks that jump there.

const THUMB = 9; // half a thumb of the range input, px: both use the same line
const BADGE = 10; // radius of a mark, px
const STORIES = 4;
const STORY_HEIGHT = 23;
const BASE = STORIES * STORY_HEIGHT + 6;

function layTimeline(m) {
  const { pen, size } = m.timeline;
  pen.setTransform(size.ratio, 0, 0, size.ratio, 0, 0);
  pen.clearRect(0, 0, size.width, size.height);
  const [from, to] = m.span;
  const x = (ms) => THUMB + ((ms - from) / (to - from)) * (size.width - 2 * THUMB);
  m.timeline.x = x;
  m.timeline.marks = placeMarks(m.stroke.events, m.span, x, size.width);
  layTicks(m, pen, x, from, to);
  for (const mark of m.timeline.marks) layLeader(m, pen, mark);
  for (const mark of m.timeline.marks) layMark(m, pen, mark);
}

/** Marks side by side where there is room, else one story higher; the leader shows the exact place. */
function placeMarks(events, [from, to], x, width) {
  const ends = new Array(STORIES).fill(-Infinity);
  const marks = [];
  events.forEach((event, i) => {
    if (event.ms < from - 1e-6 || event.ms > to + 1e-6) return;
    const exact = x(event.ms);
    let story = ends.findIndex((end) => exact - BADGE > end + 3);
    if (story < 0) story = ends.indexOf(Math.min(...ends));
    const centre = Math.min(Math.max(exact, ends[story] + BADGE + 3, BADGE + 1), width - BADGE - 1);
    ends[story] = centre + BADGE;
    marks.push({ event, number: i + 1, exact, x: centre, y: BASE - 14 - story * STORY_HEIGHT });
  });
  return marks;
}

function layTicks(m, pen, x, from, to) {
  const { width } = m.timeline.size;
  const { found, digits } = ticks(from, to, Math.max(3, Math.round(width / 90)));
  pen.strokeStyle = m.colours.muted;
  pen.lineWidth = 1;
  pen.beginPath();
  pen.moveTo(THUMB, BASE);
  pen.lineTo(width - THUMB, BASE);
  for (const t of found) {
    pen.moveTo(x(t), BASE);
    pen.lineTo(x(t), BASE + 5);
  }
  pen.stroke();
  pen.font = m.fonts.small;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillStyle = m.colours.text;
  found.forEach((t, i) => {
    const text = i === found.length - 1 ? `${plain(t, digits)} ms` : plain(t, digits);
    pen.fillText(text, Math.min(Math.max(x(t), 14), width - 24), BASE + 14);
  });
}

function layLeader(m, pen, { exact, x, y }) {
  pen.strokeStyle = m.colours.muted;
  pen.lineWidth = 1;
  pen.beginPath();
  pen.moveTo(x, y + BADGE);
  pen.lineTo(exact, BASE - 3);
  pen.lineTo(exact, BASE);
  pen.stroke();
}

function layMark(m, pen, { number, x, y }) {
  pen.lineWidth = 1;
  pen.beginPath();
  pen.arc(x, y, BADGE, 0, 2 * Math.PI);
  pen.fillStyle = m.colours.back;
  pen.fill();
  pen.strokeStyle = m.colours.text;
  pen.stroke();
  pen.font = m.fonts.smallBold;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillStyle = m.colours.text;
  pen.fillText(String(number), x, y + 0.5);
}

/** The event whose mark is under the pointer. */
function markAt(m, x, y) {
  let best = null;
  let nearest = 16;
  for (const mark of m.timeline.marks) {
    const away = Math.hypot(mark.x - x, mark.y - y);
    if (away < nearest) [best, nearest] = [mark.event, away];
  }
  return best;
}

function timeAt(m, x) {
  const [from, to] = m.span;
  const share = (x - THUMB) / (m.timeline.size.width - 2 * THUMB);
  return from + Math.min(Math.max(share, 0), 1) * (to - from);
}
