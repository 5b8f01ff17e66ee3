// The one horizontal axis under which lake view, echograms and playhead stand, in columns; and the
// run that moves the playhead along it.

const TOLD_MS = 6000; // how long a word about a typed value stands
const NARROW = 900; // below this width, CSS pixels, the page is stacked
const WIDEST = 8; // a pass may shrink to this part of the first one before metres rescale

function columnStep(header) {
  return header.dx > 0 ? header.dx : STANDING_STEP_M;
}

// Columns always fill the width. Metres and seconds keep the scale of the scene's first pass, so
// that a slower boat widens a mark in columns and leaves it alone in metres.
function makeAxis(state, width) {
  const { pings, dx, dt, x0 } = state.header;
  const step = columnStep(state.header);
  state.home = state.home || { m: pings * dx, s: pings * dt };
  let count = pings;
  if (state.axisKind === "metres" && dx > 0) count = Math.max(pings, state.home.m / dx);
  if (state.axisKind === "seconds" && dt > 0) count = Math.max(pings, state.home.s / dt);
  count = Math.min(count, pings * WIDEST);
  const first = state.axisKind === "metres" ? (pings - count) / 2 : 0;
  const scale = width / count;
  const zero = dx > 0 ? 0.5 : pings / 2; // a standing boat is in the middle of its drawing
  return {
    width, scale, pings,
    pixelsPerMetre: scale / step,
    x: (column) => (column - first) * scale,
    column: (x) => x / scale + first,
    metresX: (m) => ((m - x0) / step + zero - first) * scale,
    boatX: (ping) => ((dx > 0 ? ping + 0.5 : pings / 2) - first) * scale,
    ping: (x) => clamp(Math.floor(x / scale + first), 0, pings - 1),
    scales: {
      columns: { unit: say("unitColumns"), low: first, high: first + count,
        x: (value) => (value - 0.5 - first) * scale, clip: [1, pings] },
      metres: { unit: say("unitMetres"), low: x0 + (first - zero) * step,
        high: x0 + (first + count - zero) * step,
        x: (value) => ((value - x0) / step + zero - first) * scale },
      seconds: { unit: say("unitSeconds"), low: (first - 0.5) * dt,
        high: (first + count - 0.5) * dt, x: (value) => (value / dt + 0.5 - first) * scale,
        clip: [0, Infinity] },
    },
  };
}

function niceTicks(low, high, most) {
  const rough = (high - low) / Math.max(most, 1);
  if (!(rough > 0)) return [];
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * [1, 2, 5, 10].find((n) => n * power >= rough * 0.999);
  const ticks = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + 1e-9 * step; n += 1) {
    ticks.push(n * step);
  }
  ticks.digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  return ticks;
}

const FONT_SMALL = '11px system-ui, "DejaVu Sans", sans-serif';

// Sizes a canvas for the screen's own pixels and returns a context in CSS pixels.
function fit(canvas, width, height, options) {
  const ratio = window.devicePixelRatio || 1;
  const w = Math.round(width * ratio);
  const h = Math.round(height * ratio);
  if (canvas.width !== w || canvas.height !== h) {
    canvas.width = w;
    canvas.height = h;
    canvas.style.width = `${width}px`;
    canvas.style.height = `${height}px`;
  }
  const context = canvas.getContext("2d", options);
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, height);
  context.font = FONT_SMALL;
  return context;
}

// One line of ticks; `up` says whether the ticks point up from y.
function drawScaleLine(context, state, axis, kind, left, y, up, strong) {
  const scale = axis.scales[kind];
  const ticks = niceTicks(scale.low, scale.high, axis.width / 66);
  context.fillStyle = strong ? state.inks.ink : state.inks.muted;
  context.strokeStyle = state.inks.line;
  context.textBaseline = up ? "top" : "bottom";
  context.lineWidth = 1;
  const textY = up ? y + 6 : y - 6;
  const span = scale.clip || [-Infinity, Infinity];
  for (const value of ticks) {
    if (value < span[0] || value > span[1]) continue;
    const x = left + scale.x(value);
    context.beginPath();
    context.moveTo(Math.round(x) + 0.5, y);
    context.lineTo(Math.round(x) + 0.5, up ? y + 4 : y - 4);
    context.stroke();
    context.textAlign = x > left + axis.width - 14 ? "right" : x < left + 14 ? "left" : "center";
    context.fillText(figure(value, ticks.digits), x, textY);
  }
  context.textAlign = "right";
  context.fillText(scale.unit, left - 8, textY);
}

function secondKind(kind) {
  return kind === "metres" ? "columns" : "metres";
}

// The band between lake and echograms: second scale against the lake, chosen one against the
// echograms. The playhead slider lies between the two.
function drawRuler(canvas, state, axis, left, height) {
  const context = fit(canvas, left + axis.width, height);
  drawScaleLine(context, state, axis, secondKind(state.axisKind), left, 0, true, false);
  drawScaleLine(context, state, axis, state.axisKind, left, height, false, true);
}

// Ticks of a vertical axis; `toY` maps a value to pixels.
function drawSideScale(context, state, left, height, low, high, toY, unit) {
  context.textAlign = "right";
  context.textBaseline = "middle";
  context.strokeStyle = state.inks.line;
  context.lineWidth = 1;
  const ticks = niceTicks(low, high, height / 34);
  for (const value of ticks) {
    const y = toY(value);
    if (y < -1 || y > height + 1) continue;
    context.fillStyle = state.inks.muted;
    context.beginPath();
    context.moveTo(left - 4, Math.round(y) + 0.5);
    context.lineTo(left, Math.round(y) + 0.5);
    context.stroke();
    const text = figure(Math.abs(value), ticks.digits);
    const isLast = value === ticks[ticks.length - 1];
    context.fillText(isLast && unit ? `${text} ${unit}` : text, left - 7, clamp(y, 6, height - 6));
  }
}

const LONGEST_RUN_S = 12;
const JUMPS = 12; // a run under "reduced motion" shows this many still pictures

// Uncovers the columns in proportion to the boat's own time, compressed when it would take long.
function createRun(state, changed) {
  const run = state.run;
  const still = window.matchMedia("(prefers-reduced-motion: reduce)");
  let last = 0;
  let at = 0; // columns passed, with a fraction
  let frame = 0;
  const show = () => {
    const { pings } = state.header;
    const jump = Math.ceil(pings / JUMPS);
    const seen = still.matches ? Math.floor(at / jump) * jump : Math.floor(at);
    run.seen = clamp(seen, 1, pings);
    state.ping = run.seen - 1;
  };
  const tick = (now) => {
    const { pings, dt } = state.header;
    at += (Math.min(now - last, 100) / 1e3) * (pings / clamp(pings * dt, 0.5, LONGEST_RUN_S));
    last = now;
    if (at >= pings) {
      state.ping = pings - 1;
      return finish();
    }
    show();
    changed();
    frame = requestAnimationFrame(tick);
  };
  const finish = () => {
    cancelAnimationFrame(frame);
    Object.assign(run, { mode: "whole", seen: Infinity });
    changed();
  };
  const go = (from) => {
    cancelAnimationFrame(frame);
    at = from;
    state.hover = null;
    run.mode = "running";
    last = performance.now();
    show();
    frame = requestAnimationFrame(tick);
    changed();
  };
  const pause = () => {
    cancelAnimationFrame(frame);
    run.mode = "paused";
    changed();
  };
  const press = () => {
    if (!state.header) return;
    if (run.mode === "running") pause();
    else go(run.mode === "paused" ? run.seen : 0);
  };
  // Scrubbing during a run takes the uncovered part along.
  const scrubbed = () => {
    if (run.mode === "whole") return;
    at = state.ping + 1;
    run.seen = at;
  };
  return { press, finish, scrubbed, stop: () => cancelAnimationFrame(frame) };
}

function lookHeights(state, page, room, narrow) {
  const shown = shownLooks(state);
  if (narrow) return () => (shown.length > 1 ? 150 : 300);
  if (shown.length === 1) return () => clamp(room - HEAD - 20, 200, 720);
  const three = (room - 3 * HEAD - 20) / 3;
  if (three >= 190) return () => three;
  const two = clamp((room - 2 * HEAD) / 2, 120, 360);
  return (look) => (look.range0 < 0 ? Math.max(two, 180) : two);
}

// Dragging over the lake moves the boat; the slider is its keyboard twin.
function listenScrub(element, page, actions) {
  const drag = (event) => {
    if (event.type === "pointerdown") element.setPointerCapture(event.pointerId);
    else if (!event.buttons) return;
    actions.to(page.axis.ping(event.clientX - element.getBoundingClientRect().left - page.size.left));
  };
  element.addEventListener("pointerdown", drag);
  element.addEventListener("pointermove", drag);
}
