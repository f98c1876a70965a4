// Colours of materials and lines, for light and dark; every line also has a dash of its own.

const MATERIALS = {
  spruce: ["#f2e8d0", "#7d735c"], keytop: ["#fdfcf8", "#d9d6cd"], ebony: ["#4b4a4f", "#26252a"],
  maple: ["#e7d2a9", "#927850"], beech: ["#d9b389", "#82603d"], pear: ["#bd8562", "#8a5237"],
  walnut: ["#a6805f", "#604734"], "white felt": ["#f2efe8", "#c9c5bb"], leather: ["#cda377", "#94704b"],
  felt: ["#b0566a", "#93394c"], brass: ["#d6b651", "#b2932f"], steel: ["#9aa6b0", "#717c87"],
  rail: ["#d5dadf", "#3f474f"], bed: ["#e4e8eb", "#2e353c"], pin: ["#3b4148", "#e1e5e9"],
};
const SQUEEZED = ["#2a1414", "#1b0b0e"]; // what a felt's colour goes to as it is squeezed through
const LEVELS = 16;
const LINES = {
  blue: ["#0a5ea0", "#6fb8f5"], orange: ["#b84a05", "#ff9d5c"], green: ["#0b7358", "#52d1b2"],
  purple: ["#82429a", "#d8a3ee"], brown: ["#6e5410", "#e0c04f"], pink: ["#a83267", "#f79cc6"],
  sky: ["#326f93", "#a6d8f7"], ink: ["#39424c", "#e8eaec"],
};
const DASHES = [[], [7, 3], [2, 3], [9, 3, 2, 3], [4, 2], [12, 4], [1.5, 2], [6, 2, 1, 2]];

/** Colours of the theme that the page has now. */
function readColours(root) {
  const style = getComputedStyle(root);
  const back = style.getPropertyValue("--st-background-color").trim() || "#ffffff";
  const text = style.getPropertyValue("--st-text-color").trim() || "#31333f";
  const dark = luminance(back) < 0.4 ? 1 : 0;
  const fills = {};
  const squeezed = {};
  for (const [stuff, pair] of Object.entries(MATERIALS)) {
    fills[stuff] = pair[dark];
    squeezed[stuff] = Array.from({ length: LEVELS }, (_, i) => blend(pair[dark], SQUEEZED[dark], (0.75 * i) / (LEVELS - 1)));
  }
  const lines = {};
  for (const [name, pair] of Object.entries(LINES)) lines[name] = pair[dark];
  return {
    back, text, fills, squeezed, lines, dark: dark === 1,
    edge: dark ? "#d8d2c8" : "#463c33", wire: dark ? "#c9b777" : "#7d6a2c", string: dark ? "#aab4bf" : "#4d5863",
    faint: blend(back, text, 0.18), muted: blend(back, text, 0.68), font: style.fontFamily || "sans-serif",
  };
}

function channels(colour) {
  const pen = channels.pen || (channels.pen = document.createElement("canvas").getContext("2d"));
  pen.fillStyle = "#000000";
  pen.fillStyle = colour;
  const found = pen.fillStyle;
  if (found.startsWith("#")) return [1, 3, 5].map((i) => parseInt(found.slice(i, i + 2), 16));
  return found.match(/[\d.]+/g).slice(0, 3).map(Number);
}

function luminance(colour) {
  const [r, g, b] = channels(colour);
  return (0.299 * r + 0.587 * g + 0.114 * b) / 255;
}

function blend(a, b, share) {
  const [p, q] = [channels(a), channels(b)];
  return `rgb(${p.map((v, i) => Math.round(v + (q[i] - v) * share)).join(",")})`;
}
