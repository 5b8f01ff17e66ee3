// Colour is a label on decibels: palettes, the lookup from codes to colours, range compensation,
// the colour scale; and the page's own light and dark theme.

const TABLE_ZERO = 384; // place of code 0 in the lookup, so that row offsets never leave it
const TABLE_SIZE = 1024;
const STEPS = 8;

function decodePalettes(encoded) {
  const palettes = {};
  for (const [name, text] of Object.entries(encoded || {})) {
    palettes[name] = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  }
  return palettes;
}

function stepped(display) {
  return display.steps === true || display.steps === "8 steps";
}

// Colour position 0..1 of a level: strongest at level = -gain.
function position(display, level) {
  return clamp((level + display.gain) / display.decibels_shown + 1, 0, 1);
}

function stepIndex(display, level) {
  return Math.min(Math.floor(position(display, level) * STEPS), STEPS - 1);
}

function paletteIndex(display, level) {
  if (!stepped(display)) return Math.round(position(display, level) * 255);
  return Math.round(((stepIndex(display, level) + 0.5) / STEPS) * 255);
}

function levelRgb(state, level) {
  const palette = state.palettes[state.display.palette] || Object.values(state.palettes)[0];
  const at = 3 * paletteIndex(state.display, level);
  return palette ? [palette[at], palette[at + 1], palette[at + 2]] : [128, 128, 128];
}

function levelCss(state, level) {
  return `rgb(${levelRgb(state, level).join(",")})`;
}

// One 32-bit colour per code, padded on both sides for the row offsets of range compensation.
function buildTable(state) {
  const table = new Uint32Array(TABLE_SIZE);
  for (let i = 0; i < TABLE_SIZE; i += 1) {
    const [r, g, b] = levelRgb(state, codeLevel(state, i - TABLE_ZERO));
    table[i] = (255 << 24) | (b << 16) | (g << 8) | r; // little-endian RGBA
  }
  return table;
}

// What the chosen range compensation adds to the coded one, 40 log r + 2 alpha r, in dB.
function compensationDb(state, look, range) {
  const rule = state.display.range_compensation;
  const r = Math.max(Math.abs(range), NEAREST_M);
  if (rule === "20 log r") return -20 * Math.log10(r);
  if (rule === "none") return -40 * Math.log10(r) - 2 * (look.absorption || 0) * r;
  return 0;
}

// Lookup offset of each of `rows` pooled rows: one for a whole cell, so that cells stay blocks.
function rowOffsets(state, look, rows) {
  const offsets = new Int32Array(rows);
  const step = state.header.code_step_db;
  for (let row = 0; row < rows; row += 1) {
    const range = rangeOf(look, ((row + 0.5) * look.rows) / rows - 0.5);
    const codes = Math.round(compensationDb(state, look, range) / step);
    offsets[row] = TABLE_ZERO + clamp(codes, -TABLE_ZERO, TABLE_SIZE - TABLE_ZERO - 256);
  }
  return offsets;
}

function cellLevel(state, look, ping, row) {
  const code = look.codes[ping * look.rows + row];
  return codeLevel(state, code) + compensationDb(state, look, rangeOf(look, row));
}

function stepOf(state, look, ping, row) {
  return stepIndex(state.display, cellLevel(state, look, ping, row));
}

// The level axis shared by the colour scale and every ping trace: the data and the whole band.
function levelDomain(state) {
  const strong = -state.display.gain;
  const weak = strong - state.display.decibels_shown;
  return { low: Math.min(state.levels.low, Math.floor(weak / 10) * 10),
    high: Math.max(state.levels.high, Math.ceil(strong / 10) * 10), weak, strong };
}

const BAND = 9; // width of the strip of colours along the trace's edge, CSS pixels

function levelAxis(state, width) {
  const domain = levelDomain(state);
  const span = Math.max(domain.high - domain.low, 1);
  return { ...domain, x: (level) => BAND + 5 + ((level - domain.low) / span) * (width - BAND - 12) };
}

// Colours over the decibel axis. Outside the band the end colours run on, thinner.
function drawColourScale(canvas, state, width) {
  const tall = 18;
  const context = fit(canvas, width, tall + 20);
  const axis = levelAxis(state, width);
  const left = axis.x(axis.low);
  const right = axis.x(axis.high);
  for (let x = left; x < right; x += 0.5) {
    const level = axis.low + ((x + 0.25 - left) / (right - left)) * (axis.high - axis.low);
    const inside = level >= axis.weak && level <= axis.strong;
    context.fillStyle = levelCss(state, level);
    context.fillRect(x, inside ? 0 : 5, 0.5, inside ? tall : tall - 10);
  }
  context.strokeStyle = state.inks.line;
  context.lineWidth = 1;
  const from = Math.round(axis.x(axis.weak)) + 0.5;
  context.strokeRect(from, 0.5, Math.round(axis.x(axis.strong)) - from, tall - 1);
  context.strokeRect(left, 5.5, right - left, tall - 11);
  context.textAlign = "center";
  context.textBaseline = "top";
  context.fillStyle = state.inks.muted;
  for (const value of niceTicks(axis.low, axis.high, width / 40)) {
    const half = context.measureText(figure(value)).width / 2;
    context.fillText(figure(value), clamp(axis.x(value), half, width - half), tall + 5);
  }
  canvas.setAttribute("aria-label", say("scaleName",
    { weak: figure(axis.weak), strong: figure(axis.strong) }));
}

function colourScaleWords(state) {
  const { gain, range_compensation: rule } = state.display;
  const after = rule === "none" ? "" : `, ${say("levelAfter", { rule })}`;
  const strongest = say("strongest", { level: figure(-gain) });
  return `${say("levelUnit")}${after}. ${strongest}`;
}

// Interface colours for the canvases, read once from the style sheet for each theme.
function readInks(root) {
  const style = getComputedStyle(root);
  const inks = {};
  for (const name of ["ink", "muted", "accent", "line", "hair", "paper", "wash", "water", "bed",
    "bedline", "fish", "bladder", "target", "surface", "beam", "hull"]) {
    inks[name] = style.getPropertyValue(`--${name}`).trim();
  }
  return inks;
}

const THEME_EVENT = "archwise-theme";
const THEME_PALETTES = { light: "Shore", dark: "Lantern" };

function themeNow() {
  const set = document.documentElement.dataset.theme;
  if (set === "dark" || set === "light") return set;
  return window.matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
}

// A palette nobody chose follows the theme: a pale picture would blind in a dim room.
function followTheme(state, theme) {
  const { palette } = state.display;
  const own = Object.values(THEME_PALETTES).includes(palette) && !state.paletteChosen;
  if (own && state.palettes[THEME_PALETTES[theme]]) state.display.palette = THEME_PALETTES[theme];
}

// The theme lives on the document, so that every part of the site can follow it.
function watchTheme(state, root, button, changed) {
  const apply = () => {
    const theme = themeNow();
    root.dataset.theme = theme;
    button.textContent = say(theme === "dark" ? "toLight" : "toDark");
    state.inks = readInks(root);
    followTheme(state, theme);
    changed();
  };
  button.addEventListener("click", () => {
    const theme = themeNow() === "dark" ? "light" : "dark";
    document.documentElement.dataset.theme = theme;
    document.dispatchEvent(new CustomEvent(THEME_EVENT, { detail: { theme } }));
  });
  const observer = new MutationObserver(apply);
  observer.observe(document.documentElement, { attributes: true, attributeFilter: ["data-theme"] });
  document.documentElement.dataset.theme = themeNow();
  apply();
  return () => observer.disconnect();
}

// Everything that changes with data, size, palette or gain.
function drawBases(state, page) {
  const { size, axis } = page;
  const table = Object.keys(state.palettes).length ? buildTable(state) : null;
  for (const plot of page.plots.values()) {
    const look = state.looks.get(plot.name);
    plot.row.hidden = !look || !(state.view === "all" || state.view === plot.name);
    if (!plot.row.hidden) drawEchogram(plot, state, look, axis, table, size.left, size.height(look));
  }
  drawColourScale(page.scaleCanvas, state, size.narrow ? size.full : size.trace);
}
