// Words, number formats and the one state object that every view reads.

const TEXT = {
  brand: "Archwise",
  openLab: "Open lab",
  pages: "Pages",
  toDark: "Dark theme",
  toLight: "Light theme",
  scene: "Scene",
  reset: "Reset",
  resetHelp: "Back to the start of this scene",
  settings: "Settings",
  allLooks: "All three",
  looks: "Looks shown",
  axis: "Horizontal axis",
  columns: "Pings",
  metres: "Metres",
  seconds: "Seconds",
  unitColumns: "ping",
  unitMetres: "m",
  unitSeconds: "s",
  run: "Run",
  pause: "Pause",
  resume: "Go on",
  whole: "Show all",
  ping: "Ping",
  pingOf: "ping {ping} of {pings}, {seconds} s, {metres} m along the track",
  lakeView: "Lake view",
  heights: "heights drawn ×{factor}",
  pingTrace: "Ping trace",
  level: "Level, dB",
  levelUnit: "Re source level at 1 m",
  levelAfter: "after {rule} + 2αr",
  strongest: "Strongest colour at −gain = {level} dB.",
  readout: "ping {ping}, {range}, {time} ms, {level}, step {step} of 8",
  below: "below {level} dB",
  decibels: "{level} dB",
  metresRange: "{range} m",
  port: "{range} m to port",
  starboard: "{range} m to starboard",
  hint: "Point at an echogram to read ping, range and level.",
  sideNote: "side: {range}, out of this plane",
  sideAxisPort: "port, m",
  sideAxisStarboard: "starboard, m",
  plotHelp: "Arrow keys move the cursor, with Shift ten cells at a time. Escape clears it.",
  plotName: "{title} echogram, {pings} pings, {from} to {to} m.",
  plotMark: "The bed begins near {bed}; before it the strongest mark is at ping {ping}, {range}, {level} dB.",
  plotEmpty: "{title} echogram, nothing drawn yet.",
  lakeName: "Lake view: drawing of the water along the track, {from} to {to} m, {depth} m deep. {labels}",
  traceName: "Ping trace, {title}: level against range at ping {ping}.",
  scaleName: "Colour scale from {weak} to {strong} dB.",
  pooled: "Where several cells share one screen pixel, their energy is pooled so that thin marks stay.",
  caution: "Simulated teaching image, not a chart: never navigate by it.",
  ready: "ready",
  busy: "drawing…",
  warming: "first start: compiling the echo engine, about half a minute",
  error: "That did not work. The last picture stays.",
  silent: "No answer from Archwise. If it has stopped, start it again; then reload this page.",
  more: "{rest} more",
  moreName: "{group}: show all {all} settings",
  fewer: "fewer",
  limits: "{min} to {max}{unit}",
  slant: "slant range from the transducer, m",
  held: "{label} goes from {limits}: {value} was taken.",
  noNumber: "{label} takes a number; it stays as it was.",
  numberName: "{label}, as a number",
  table: "Strongest marks as a table",
  thLook: "Look",
  thMark: "Strongest mark before the bed",
  thLevel: "Level",
  thBed: "Bed begins near",
};

const MINUS = "\u2212";
const STANDING_STEP_M = 0.05; // width of a column in the lake drawing when the boat stands still
const NEAREST_M = 0.05; // range compensation is held still nearer than this
const ASSUMED_SPEED = 1450; // m/s, only if the picture does not say

function say(key, words = {}) {
  return TEXT[key].replace(/\{(\w+)\}/g, (_, name) => String(words[name] ?? ""));
}

function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}

// A number with a true minus sign and no "-0".
function figure(value, digits = 0) {
  const text = Math.abs(value).toFixed(digits);
  return (value < 0 && Number(text) !== 0 ? MINUS : "") + text;
}

function createState(model) {
  return {
    model,
    schema: model.schema || { groups: [], scenes: [], palettes: {} },
    values: { ...(model.values || {}) },
    display: { gain: 20, decibels_shown: 50, palette: "Shore", steps: "smooth",
      range_compensation: "40 log r" },
    palettes: {},
    header: null,
    looks: new Map(),
    view: "all",
    axisKind: "columns",
    ping: 0, // the playhead, pinned
    cursor: null, // {look, row}, pinned; its ping is the playhead
    hover: null, // {look, row, ping}, while the mouse is over a plot
    run: { mode: "whole", seen: Infinity },
    home: null, // length of the first pass of a scene: keeps metres and seconds at one scale
    inks: {},
    levels: { low: -100, high: 0 },
  };
}

// A bytes parameter may reach the browser as an ArrayBuffer or as a view of one.
function asBytes(payload) {
  if (!payload) return null;
  const bytes = ArrayBuffer.isView(payload)
    ? new Uint8Array(payload.buffer, payload.byteOffset, payload.byteLength)
    : new Uint8Array(payload);
  return bytes.length > 4 ? bytes : null;
}

// Reads a payload into the state; looks that carry no codes keep the ones they had.
function readPayload(state, payload) {
  const bytes = asBytes(payload);
  if (!bytes) return false;
  const length = new DataView(bytes.buffer, bytes.byteOffset, 4).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length)));
  const body = bytes.subarray(4 + length);
  const looks = new Map();
  for (const look of header.looks) {
    const old = state.looks.get(look.name);
    const size = header.pings * look.rows;
    const fresh = look.codes && body.subarray(look.codes.offset, look.codes.offset + size);
    const kept = old && old.codes && old.codes.length === size ? old.codes : null;
    looks.set(look.name, { ...look, codes: fresh || kept });
  }
  const first = !state.header;
  const changed = first || state.header.pings !== header.pings;
  state.header = header;
  state.looks = looks;
  if (first) state.ping = Math.floor(header.pings / 2);
  else if (changed) state.ping = clamp(state.ping, 0, header.pings - 1);
  if (changed) state.hover = null;
  if (state.cursor) keepCursor(state);
  if (!looks.has(state.view)) state.view = "all";
  state.levels = levelSpan(state);
  return true;
}

function keepCursor(state) {
  const look = state.looks.get(state.cursor.look);
  state.cursor = look && { ...state.cursor, row: clamp(state.cursor.row, 0, look.rows - 1) };
}

// The span of levels worth an axis: from the faintest hundredth to the strongest, in tens.
function levelSpan(state) {
  const counts = new Uint32Array(256);
  let total = 0;
  for (const look of state.looks.values()) {
    if (!look.codes) continue;
    for (let i = 0; i < look.codes.length; i += 7) counts[look.codes[i]] += 1;
    total += Math.ceil(look.codes.length / 7);
  }
  let low = 0;
  for (let seen = 0; low < 255 && (seen += counts[low]) < total / 100; ) low += 1;
  let high = 255;
  while (high > low && !counts[high]) high -= 1;
  return { low: Math.floor(codeLevel(state, low) / 10) * 10,
    high: Math.ceil(codeLevel(state, high) / 10) * 10 };
}

function codeLevel(state, code) {
  return state.header.code_low_db + code * state.header.code_step_db;
}

function shownLooks(state) {
  const all = [...state.looks.values()];
  return state.view === "all" ? all : all.filter((look) => look.name === state.view);
}

// What the cross stands on now: the hovered cell, else the pinned one; null when there is none.
function cursorNow(state) {
  if (state.hover) return state.hover;
  return state.cursor && { ...state.cursor, ping: state.ping };
}

function pingNow(state) {
  return state.hover ? state.hover.ping : state.ping;
}

function rangeOf(look, row) {
  return look.range0 + row * look.dr;
}

function rangeWords(look, row, digits = 2) {
  const range = rangeOf(look, row);
  const key = look.range0 >= 0 ? "metresRange" : range < 0 ? "port" : "starboard";
  return say(key, { range: figure(Math.abs(range), digits) });
}

