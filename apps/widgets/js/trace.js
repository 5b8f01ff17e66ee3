// The ping trace: level against range at one ping, on the echogram's range axis, on
// the colour scale's decibel axis; and what can be read off a picture, in words.

const BEFORE_BED_M = 0.2; // a bed's skirt is no mark

function drawTrace(canvas, state, look, width, height) {
  const context = fit(canvas, width, height + 16);
  const axis = levelAxis(state, width);
  const ping = pingNow(state);
  context.fillStyle = state.inks.wash;
  context.fillRect(axis.x(axis.weak), 0, axis.x(axis.strong) - axis.x(axis.weak), height);
  drawLevelTicks(context, state, axis, height, width);
  if (look.codes && ping < state.run.seen) {
    drawBand(context, state, look, ping, height);
    drawLevels(context, state, look, ping, axis, height);
    drawTraceCursor(context, state, look, axis, width, height);
  }
}

function drawLevelTicks(context, state, axis, height, width) {
  context.textAlign = "center";
  context.textBaseline = "top";
  for (const value of niceTicks(axis.low, axis.high, width / 44)) {
    const x = Math.round(axis.x(value)) + 0.5;
    context.strokeStyle = state.inks.hair;
    context.lineWidth = 1;
    context.beginPath();
    context.moveTo(x, 0);
    context.lineTo(x, height + 3);
    context.stroke();
    context.fillStyle = state.inks.muted;
    const half = context.measureText(figure(value)).width / 2;
    context.fillText(figure(value), clamp(x, half, width - half), height + 5);
  }
}

// The ping's own column of colours, so that colour and level are read side by side.
function drawBand(context, state, look, ping, height) {
  const rows = Math.min(look.rows, Math.round(height));
  for (let row = 0; row < rows; row += 1) {
    const cell = Math.floor(((row + 0.5) * look.rows) / rows);
    context.fillStyle = levelCss(state, cellLevel(state, look, ping, cell));
    context.fillRect(0, (row * height) / rows, BAND, height / rows + 0.5);
  }
  context.strokeStyle = state.inks.line;
  context.strokeRect(0.5, 0.5, BAND - 1, height - 1);
}

// Cells that share a screen row are pooled as in the echogram.
function drawLevels(context, state, look, ping, axis, height) {
  const rows = Math.min(look.rows, Math.round(height));
  const one = look.codes.subarray(ping * look.rows, (ping + 1) * look.rows);
  const pool = poolCodes({ rows: look.rows, codes: one }, 1, 1, rows);
  context.beginPath();
  for (let row = 0; row < rows; row += 1) {
    const range = rangeOf(look, ((row + 0.5) * look.rows) / rows - 0.5);
    const level = codeLevel(state, pool.codes[row]) + compensationDb(state, look, range);
    context.lineTo(axis.x(clamp(level, axis.low, axis.high)), ((row + 0.5) * height) / rows);
  }
  context.strokeStyle = state.inks.ink;
  context.lineWidth = 1;
  context.lineJoin = "round";
  context.stroke();
}

function drawTraceCursor(context, state, look, axis, width, height) {
  const at = cursorNow(state);
  if (!at || at.look !== look.name) return;
  const y = Math.floor(rowY(look, height, rangeOf(look, at.row))) + 0.5;
  const level = clamp(cellLevel(state, look, at.ping, at.row), axis.low, axis.high);
  context.strokeStyle = state.inks.target;
  context.setLineDash([2, 2]);
  context.beginPath();
  context.moveTo(0, y);
  context.lineTo(width, y);
  context.stroke();
  context.setLineDash([]);
  context.beginPath();
  context.arc(axis.x(level), y, 4, 0, 2 * Math.PI);
  context.fillStyle = levelCss(state, level);
  context.fill();
  context.strokeStyle = state.inks.ink;
  context.lineWidth = 1.5;
  context.stroke();
}

// The main mark: the strongest cell well before the bed's first return on its side.
function findMarks(state, look) {
  const { pings } = state.header;
  let best = null;
  const near = Math.max(0.6, 0.08 * look.rows * look.dr);
  const step = Math.max(1, Math.floor(pings / 300));
  for (let ping = 0; ping < pings; ping += step) {
    for (let row = 0; row < look.rows; row += 1) {
      const range = rangeOf(look, row);
      const bed = bedBegins(look, range < 0, ping);
      const code = look.codes[ping * look.rows + row];
      const inside = Math.abs(range) > near && Math.abs(range) < bed - BEFORE_BED_M;
      if (inside && (!best || code > best.code)) best = { code, ping, row };
    }
  }
  return { bed: bedBegins(look, best && rangeOf(look, best.row) < 0, pings >> 1), best };
}

function bedBegins(look, toPort, ping) {
  const { down, port, starboard } = look.bed;
  return (down || (toPort ? port : starboard))[ping];
}

function plotDescription(state, look) {
  if (!look.codes) return say("plotEmpty", { title: look.title });
  const low = look.range0 - look.dr / 2;
  const name = say("plotName", { title: look.title, pings: state.header.pings,
    from: figure(low, 1), to: figure(low + look.rows * look.dr, 1) });
  const { bed, best } = look.found || (look.found = findMarks(state, look));
  if (!best) return name;
  return `${name} ` + say("plotMark", { bed: say("metresRange", { range: figure(bed, 1) }),
    ping: best.ping + 1, range: rangeWords(look, best.row),
    level: figure(cellLevel(state, look, best.ping, best.row)) });
}

// The same findings as a table, for those who cannot see the pictures.
function fillTable(table, state) {
  const head = ["thLook", "thMark", "thLevel", "thBed"].map((key) => make("th", { scope: "col", text: say(key) }));
  const rows = [...state.looks.values()].filter((look) => look.codes).map((look) => {
    const { bed, best } = look.found || (look.found = findMarks(state, look));
    const mark = best ? `${say("ping")} ${best.ping + 1}, ${rangeWords(look, best.row)}` : "";
    const level = best ? `${figure(cellLevel(state, look, best.ping, best.row))} dB` : "";
    return make("tr", {}, make("th", { scope: "row", text: look.title }),
      ...[mark, level, say("metresRange", { range: figure(bed, 1) })].map((text) => make("td", { text })));
  });
  table.replaceChildren(make("thead", {}, make("tr", {}, ...head)), make("tbody", {}, ...rows));
}

function levelWords(state, look, ping, row) {
  const code = look.codes[ping * look.rows + row];
  const level = codeLevel(state, code) + compensationDb(state, look, rangeOf(look, row));
  const text = { level: figure(level) };
  return code === 0 ? say("below", text) : say("decibels", text);
}

function readoutWords(state) {
  const at = cursorNow(state);
  const look = at && state.looks.get(at.look);
  if (!look || !look.codes || at.ping >= state.run.seen) return say("hint");
  const ms = (2e3 * Math.abs(rangeOf(look, at.row))) / (state.header.sound_speed || ASSUMED_SPEED);
  return `${look.title}: ` + say("readout", {
    ping: at.ping + 1, range: rangeWords(look, at.row), time: figure(ms, 1),
    level: levelWords(state, look, at.ping, at.row),
    step: 1 + stepOf(state, look, at.ping, at.row),
  });
}

// Words that need no hurry: descriptions, and the polite line, once the cursor has come to rest.
function describe(state, page) {
  page.live.textContent = cursorNow(state) && state.run.mode !== "running" ? page.readout.textContent : "";
  page.lake.base.setAttribute("aria-label", lakeDescription(state, page.axis));
  for (const plot of page.plots.values()) {
    const look = state.looks.get(plot.name);
    if (!look) continue;
    plot.base.setAttribute("aria-label", plotDescription(state, look));
    plot.trace.setAttribute("aria-label", say("traceName", { title: look.title, ping: pingNow(state) + 1 }));
  }
  if (page.seqInTable !== state.header.seq) fillTable(page.table, state);
  page.seqInTable = state.header.seq;
}

function writeData(state, page) {
  const { title, look_for: lookFor, caption, caution } = state.header;
  page.title.textContent = title || "";
  page.lookFor.textContent = lookFor || "";
  page.caption.textContent = caption || "";
  page.caution.textContent = caution || say("caution");
  page.slider.max = state.header.pings;
  for (const look of state.looks.values()) {
    const plot = page.plots.get(look.name);
    plot.title.textContent = look.title;
    plot.sub.textContent = look.subtitle || "";
    plot.element.setAttribute("aria-label", `${look.title}. ${say("plotHelp")}`);
  }
}

function writeMoving(state, page) {
  const { mode } = state.run;
  const ping = pingNow(state);
  const { header } = state;
  page.readout.textContent = readoutWords(state);
  page.readout.classList.toggle("idle", !cursorNow(state));
  page.slider.value = ping + 1;
  page.slider.setAttribute("aria-valuetext", say("pingOf", { ping: ping + 1, pings: header.pings,
    seconds: figure(ping * header.dt, 1), metres: figure(header.x0 + ping * header.dx, 1) }));
  page.run.textContent = say({ whole: "run", running: "pause", paused: "resume" }[mode]);
  page.whole.hidden = mode === "whole";
  page.strongest.textContent = colourScaleWords(state);
}
