// Echograms: pooling cells to pixels, colouring them by lookup, and the cross over them.

// Squared energy of each 8-bit code, for pooling. The root of the mean square lies between mean
// and maximum: speckle keeps its look (+1.5 dB) and a thin mark does not vanish.
const SQUARES = Float64Array.from({ length: 256 }, (_, code) => 10 ** (code * 0.1));

// For each of `from` places the one of `to` places under its middle.
function mapCells(from, to) {
  return Int32Array.from({ length: from }, (_, i) => Math.floor(((i + 0.5) * to) / from));
}

// Codes at no more than one cell per screen pixel, ping-major like the codes themselves.
function poolCodes(look, pings, width, height) {
  const w = Math.max(1, Math.min(pings, width));
  const h = Math.max(1, Math.min(look.rows, height));
  if (w === pings && h === look.rows) return { codes: look.codes, w, h };
  const columnTo = mapCells(pings, w);
  const rowTo = mapCells(look.rows, h);
  const rowCount = new Float64Array(h);
  for (const to of rowTo) rowCount[to] += 1;
  const codes = new Uint8Array(w * h);
  const sums = new Float64Array(h);
  for (let column = 0, ping = 0; column < w; column += 1) {
    sums.fill(0);
    let merged = 0;
    for (; columnTo[ping] === column; ping += 1, merged += 1) {
      const base = ping * look.rows;
      for (let row = 0; row < look.rows; row += 1) sums[rowTo[row]] += SQUARES[look.codes[base + row]];
    }
    for (let row = 0; row < h; row += 1) {
      codes[column * h + row] = Math.round(10 * Math.log10(sums[row] / (rowCount[row] * merged)));
    }
  }
  return { codes, w, h };
}

// Keeps, for each plot, the codes of every screen pixel, row by row, and one image of them; both
// are rebuilt only for new data or a new size, so that gain and palette need one lookup a pixel.
function preparePlot(plot, state, look, width, height) {
  const key = `${width}x${height}`;
  if (plot.codes === look.codes && plot.key === key) return;
  const pool = poolCodes(look, state.header.pings, width, height);
  if (plot.key !== key) {
    plot.image = new ImageData(width, height);
    plot.cells = new Uint32Array(plot.image.data.buffer);
    plot.pixels = new Uint8Array(width * height);
  }
  const rowOf = mapCells(height, pool.h);
  Object.assign(plot, { codes: look.codes, key, pool, rowOf });
  const columnOf = mapCells(width, pool.w).map((column) => column * pool.h);
  for (let y = 0, i = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1, i += 1) plot.pixels[i] = pool.codes[columnOf[x] + rowOf[y]];
  }
}

function colourPlot(plot, state, look, table) {
  const { width, height } = plot.image;
  const { cells, pixels, rowOf } = plot;
  const offsets = rowOffsets(state, look, plot.pool.h);
  for (let y = 0, i = 0; y < height; y += 1) {
    const offset = offsets[rowOf[y]];
    for (const end = i + width; i < end; i += 1) cells[i] = table[pixels[i] + offset];
  }
}

function drawEchogram(plot, state, look, axis, table, left, height) {
  const context = fit(plot.base, left + axis.width, height, { willReadFrequently: true });
  const ratio = window.devicePixelRatio || 1;
  const from = Math.round((left + axis.x(0)) * ratio);
  const to = Math.round((left + axis.x(axis.pings)) * ratio);
  context.fillStyle = state.inks.wash;
  context.fillRect(left, 0, axis.width, height);
  if (look.codes && table) {
    preparePlot(plot, state, look, Math.max(1, to - from), Math.round(height * ratio));
    colourPlot(plot, state, look, table);
    context.putImageData(plot.image, from, 0);
  }
  const low = look.range0 - look.dr / 2;
  const high = low + look.rows * look.dr;
  drawSideScale(context, state, left, height, low, high, (r) => rowY(look, height, r), low < 0 ? "" : "m");
  if (low < 0) drawSideWords(context, state, left, height);
}

function rowY(look, height, range) {
  return ((range - look.range0) / look.dr + 0.5) * (height / look.rows);
}

function drawSideWords(context, state, left, height) {
  context.fillStyle = state.inks.muted;
  context.textAlign = "center";
  for (const [word, y] of [["sideAxisPort", height * 0.25], ["sideAxisStarboard", height * 0.75]]) {
    context.save();
    context.translate(left - 33, y);
    context.rotate(-Math.PI / 2);
    context.textBaseline = "middle";
    context.fillText(say(word), 0, 0);
    context.restore();
  }
}

// White casing, black core: reads on any palette. Dashes alternate the two.
function twoTone(context, points, dash = []) {
  for (const [style, width] of [["rgba(255,255,255,.9)", dash.length ? 1 : 3], ["#101418", 1]]) {
    context.strokeStyle = style;
    context.lineWidth = width;
    context.setLineDash(width === 1 && style[0] === "#" ? dash : []);
    context.beginPath();
    for (const [x1, y1, x2, y2] of points) {
      context.moveTo(x1, y1);
      context.lineTo(x2, y2);
    }
    context.stroke();
  }
  context.setLineDash([]);
}

function drawEchogramOver(plot, state, look, axis, left, height) {
  const context = fit(plot.over, left + axis.width, height);
  inPlot(context, left, axis, height, () => {
    const seen = left + axis.x(Math.min(state.run.seen, axis.pings));
    if (state.run.seen < axis.pings) {
      context.fillStyle = state.inks.wash;
      context.fillRect(seen, 0, Math.ceil(left + axis.x(axis.pings)) + 1 - seen, height);
    }
    const at = cursorNow(state);
    const x = Math.floor(left + axis.x(pingNow(state) + 0.5)) + 0.5;
    if (!at || at.look !== look.name) {
      twoTone(context, [[x, 0, x, height]], [3, 3]);
      return;
    }
    const y = Math.floor(rowY(look, height, rangeOf(look, at.row))) + 0.5;
    const gap = 9; // the cell itself stays clear
    twoTone(context, [[x, 0, x, y - gap], [x, y + gap, x, height],
      [left, y, x - gap, y], [x + gap, y, left + axis.width, y]]);
  });
  context.strokeStyle = state.inks.line;
  context.lineWidth = 1;
  context.strokeRect(left + 0.5, 0.5, axis.width - 1, height - 1);
}

// Mouse, touch and keys on one echogram. Hover looks, a press or a drag pins; touch drags sideways
// only, so that a finger can still scroll the page.
function listenEchogram(plot, state, actions) {
  const cell = (event) => {
    const look = state.looks.get(plot.name);
    const { axis, size } = actions.layout();
    const box = plot.element.getBoundingClientRect();
    const row = Math.floor(((event.clientY - box.top) / size.height(look)) * look.rows);
    return { look: plot.name, row: clamp(row, 0, look.rows - 1),
      ping: axis.ping(event.clientX - box.left - size.left) };
  };
  plot.element.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    plot.element.setPointerCapture(event.pointerId);
    plot.dragging = true;
    actions.pin(cell(event));
  });
  plot.element.addEventListener("pointermove", (event) => {
    if (plot.dragging) actions.pin(cell(event));
    else if (event.pointerType === "mouse") actions.hover(cell(event));
  });
  for (const end of ["pointerup", "pointercancel"]) {
    plot.element.addEventListener(end, () => { plot.dragging = false; });
  }
  plot.element.addEventListener("pointerleave", () => actions.hover(null));
  plot.element.addEventListener("keydown", (event) => keyEchogram(event, plot, state, actions));
}

function keyEchogram(event, plot, state, actions) {
  const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const move = moves[event.key];
  if (event.key === "Escape") actions.clear();
  if (!move) return;
  event.preventDefault();
  const look = state.looks.get(plot.name);
  const same = state.cursor && state.cursor.look === plot.name;
  const pace = event.shiftKey ? 10 : 1;
  const row = same ? state.cursor.row + move[1] * pace : look.rows >> 1;
  actions.pin({ look: plot.name, row: clamp(row, 0, look.rows - 1),
    ping: clamp(state.ping + move[0] * pace, 0, state.header.pings - 1) });
}

function makeLayers(kind, name) {
  const base = make("canvas", { role: "img", "aria-label": name });
  const over = make("canvas", { class: "over", "aria-hidden": "true" });
  return { base, over, element: make("div", { class: `layers ${kind}` }, base, over) };
}

// One row per look: head, echogram with its cross, ping trace. Kept while the look exists.
function buildRow(page, look) {
  const plot = { ...makeLayers("echogram", look.title), name: look.name };
  Object.assign(plot, { title: make("h2"), sub: make("span", { class: "sub" }),
    trace: make("canvas", { role: "img", "aria-label": say("pingTrace") }) });
  plot.element.tabIndex = 0;
  plot.element.setAttribute("role", "application");
  plot.row = make("div", { class: "row look", "data-look": look.name },
    make("div", {}, make("div", { class: "plothead" }, plot.title, plot.sub,
      make("span", { class: "sub slant", text: say("slant") })), plot.element),
    make("div", { class: "trace" }, make("div", { class: "plothead" },
      page.plots.size ? null : make("span", { class: "sub", text: say("pingTrace") })), plot.trace));
  plot.outside = make("details", { class: "outside" }, make("summary", { class: "sub" }),
    make("ul", { class: "sub" }));
  page.plots.set(look.name, plot);
  page.rows.append(plot.row);
  return plot;
}

// One muted line under each echogram on what lies outside the models' stated ranges, the sentences
// behind it; the last one stands under the axis.
function writeOutside(state, page) {
  const shown = [...page.plots.values()].filter((plot) => shownLooks(state).some((l) => l.name === plot.name));
  for (const plot of page.plots.values()) {
    const look = state.looks.get(plot.name);
    plot.outside.hidden = !look || !look.outside || !shown.includes(plot);
    if (plot.outside.hidden) continue;
    const [line, list] = plot.outside.children;
    if (line.textContent !== look.outside) line.textContent = look.outside;
    list.replaceChildren(...(look.limits || []).map((text) => make("li", { text })));
    const after = plot === shown[shown.length - 1] ? page.bottom : plot.row;
    if (after.nextSibling !== plot.outside) after.after(plot.outside);
  }
}

// Everything that follows the playhead and the cursor.
function drawOvers(state, page) {
  const { size, axis } = page;
  drawLakeOver(page.lake.over, state, axis, size.left, size.lake);
  for (const plot of page.plots.values()) {
    if (plot.row.hidden) continue;
    const look = state.looks.get(plot.name);
    drawEchogramOver(plot, state, look, axis, size.left, size.height(look));
    drawTrace(plot.trace, state, look, size.trace, size.height(look));
  }
}
