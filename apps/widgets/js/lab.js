// The Open lab page: its skeleton, its layout, the run, and one repaint per frame.

// heights of the axis band, of a plot's head line and of the line under it
const [RULER, HEAD, OUTSIDE] = [52, 24, 28];

// Lake view, playhead and a place for the looks; level scale and Run stand over the traces.
function buildFigure(page) {
  page.lake = makeLayers("lake", say("lakeView"));
  page.exaggeration = make("span", { class: "sub" });
  page.scaleCanvas = make("canvas", { role: "img" });
  page.strongest = make("p");
  page.scale = make("div", { class: "scale" }, make("div", { class: "plothead" },
    make("strong", { text: say("level") })), page.scaleCanvas, page.strongest);
  page.slider = make("input", { type: "range", class: "playhead", min: 1, "aria-label": say("ping") });
  page.ruler = make("canvas", { "aria-hidden": "true" });
  page.run = make("button", { type: "button", class: "run", text: say("run") });
  page.whole = make("button", { type: "button", class: "plain", text: say("whole"), hidden: true });
  page.buttons = make("div", { class: "buttons" }, page.run, page.whole);
  page.corner = make("div", { class: "corner" }, page.scale);
  page.runSlot = make("div", { class: "runslot" }, page.buttons);
  page.rows = make("div", { class: "rows" });
  page.bottom = make("canvas", { class: "bottomaxis", "aria-hidden": "true" });
  page.figure = make("div", { class: "figure" },
    make("div", { class: "row" }, make("div", {}, make("div", { class: "plothead" },
      make("h2", { text: say("lakeView") }), page.exaggeration), page.lake.element), page.corner),
    make("div", { class: "row" }, make("div", { class: "ruler" }, page.ruler, page.slider), page.runSlot),
    page.rows, page.bottom);
}

function buildPage(root) {
  const page = { plots: new Map() };
  buildFigure(page);
  page.theme = make("button", { type: "button", class: "plain" });
  page.title = make("h1");
  page.lookFor = make("p", { class: "lookfor" });
  page.switches = make("div", { class: "switches" });
  page.readout = make("p", { class: "readout" });
  page.live = make("p", { class: "unseen", "aria-live": "polite" });
  page.status = make("p", { class: "status", role: "status" });
  page.caution = make("p", { class: "caution", text: say("caution") });
  page.foot = make("div", { class: "foot" }, page.readout, page.status, page.caution, page.live);
  page.caption = make("p", { class: "caption" });
  page.table = make("table");
  page.main = make("main", {}, make("div", { class: "bar" }, page.title,
    page.switches, page.lookFor), page.figure, page.foot,
  page.caption, make("p", { class: "caption small", text: say("pooled") }),
  make("details", { class: "data" }, make("summary", { text: say("table") }), page.table));
  page.settings = make("aside", { class: "settings", "aria-label": say("settings") });
  root.append(make("header", {}, make("span", { class: "brand", text: say("brand") }),
    make("nav", { "aria-label": say("pages") }, make("span", { "aria-current": "page", text: say("openLab") })),
    page.theme), page.main, page.settings);
  return page;
}

// Sizes from the room there is: plots as wide as it allows, in whole pixels a ping when near.
function layOut(state, page, root) {
  const narrow = root.clientWidth < NARROW;
  root.classList.toggle("narrow", narrow);
  const slot = narrow ? page.foot : page.runSlot;
  if (page.buttons.parentNode !== slot) slot.prepend(page.buttons);
  const home = narrow ? page.figure : page.corner;
  if (page.scale.parentNode !== home) home.append(page.scale);
  const full = Math.floor(page.figure.clientWidth);
  const left = 42;
  const gap = narrow ? 8 : 14;
  let trace = narrow ? 76 : clamp(Math.round(full * 0.17), 130, 190);
  let width = Math.max(80, full - left - gap - trace);
  const ratio = window.devicePixelRatio || 1;
  const whole = (Math.floor((width * ratio) / state.header.pings) * state.header.pings) / ratio;
  if (whole > 0 && width - whole <= 70) {
    trace += width - whole;
    width = whole;
  }
  const screen = window.innerHeight;
  const lake = narrow ? 96 : clamp(Math.round(screen * 0.15), 96, 160);
  const top = page.figure.getBoundingClientRect().top - root.getBoundingClientRect().top;
  const lines = OUTSIDE * Math.min(2, shownLooks(state).filter((look) => look.outside).length);
  const room = screen - top - HEAD - lake - RULER - lines - (page.foot.offsetHeight || 36) - 4;
  const height = lookHeights(state, page, room, narrow);
  page.size = { narrow, full, left, gap, trace, width, lake, height: (look) => Math.round(height(look)) };
  for (const [name, pixels] of Object.entries({ plot: left + width, trace, gap, left })) {
    page.figure.style.setProperty(`--${name}`, `${pixels}px`);
  }
}

// Collects what has to be repainted and does it once, in the next frame.
function createPainter(state, page, root) {
  const due = new Set();
  let frame = 0;
  let rest = 0;
  const paint = () => {
    frame = 0;
    if (!state.header || !root.clientWidth) return;
    const began = performance.now();
    if (due.has("size")) {
      writeOutside(state, page);
      layOut(state, page, root);
    }
    if (due.has("size") || due.has("axis")) page.axis = makeAxis(state, page.size.width);
    if (["size", "axis", "lake"].some((part) => due.has(part))) drawLakes(state, page);
    if (["size", "axis", "colour"].some((part) => due.has(part))) drawBases(state, page);
    drawOvers(state, page);
    writeMoving(state, page);
    due.clear();
    clearTimeout(rest);
    rest = setTimeout(() => describe(state, page), 500);
    root.dataset.seq = state.header.seq;
    root.dataset.drawMs = (performance.now() - began).toFixed(1);
  };
  return (...parts) => {
    parts.forEach((part) => due.add(part));
    frame = frame || requestAnimationFrame(paint);
  };
}

// What the plots may ask for: one cursor, one playhead.
function createActions(state, page, run, touch) {
  const to = (ping) => {
    state.ping = clamp(ping, 0, state.header.pings - 1);
    run.scrubbed();
    touch("over");
  };
  const pin = ({ look, row, ping }) => {
    Object.assign(state, { cursor: { look, row }, hover: null });
    to(ping);
  };
  return {
    layout: () => page,
    to,
    pin,
    hover: (at) => {
      if (state.run.mode === "running" || (!at && !state.hover)) return;
      state.hover = at && at.ping < state.run.seen ? at : null;
      touch("over");
    },
    clear: () => {
      Object.assign(state, { cursor: null, hover: null });
      touch("over");
    },
  };
}

function listenPage(state, page, actions, run, touch) {
  page.slider.addEventListener("input", () => actions.to(Number(page.slider.value) - 1));
  page.run.addEventListener("click", run.press);
  page.whole.addEventListener("click", run.finish);
  listenScrub(page.lake.element, page, actions);
  const looks = [["all", say("allLooks")], ...[...state.looks.values()].map((l) => [l.name, l.title])];
  page.switches.replaceChildren(
    segmented("look", say("looks"), looks, state.view, (view) => {
      Object.assign(state, { view, cursor: view === "all" || state.cursor?.look === view ? state.cursor : null });
      touch("size");
    }),
    segmented("axis", say("axis"), ["columns", "metres", "seconds"].map((k) => [k, say(k)]),
      state.axisKind, (kind) => { state.axisKind = kind; touch("axis"); }));
}

// Data, values and status as they come from the server.
function listenModel(state, page, root, { actions, controls, run, sender, startAfresh, touch }) {
  const onPayload = () => {
    const first = !state.header;
    if (!readPayload(state, state.model.payload)) return;
    for (const look of state.looks.values()) {
      if (!page.plots.has(look.name)) listenEchogram(buildRow(page, look), state, actions);
    }
    writeData(state, page);
    if (first) listenPage(state, page, actions, run, touch);
    root.classList.remove("empty");
    touch("size");
  };
  const onValues = () => {
    const before = state.values.scene;
    state.values = { ...state.model.values };
    if (before !== state.values.scene) startAfresh();
    sender.answered(state.values._n ?? 0);
    controls.refresh();
    touch("colour");
  };
  const onStatus = () => {
    const { state: name = "ready", text } = state.model.status || {};
    const told = performance.now() < state.toldUntil ? state.told : "";
    page.status.textContent = text || told || say(name);
    if (!state.header) [page.title.textContent, page.lookFor.textContent] = [say("openLab"), page.status.textContent];
    root.dataset.status = name;
  };
  root.addEventListener("aw-tell", (event) => {
    [state.told, state.toldUntil] = [event.detail, performance.now() + TOLD_MS];
    page.status.textContent = event.detail;
    setTimeout(onStatus, TOLD_MS + 50);
  });
  root.classList.add("empty");
  for (const [name, hear] of Object.entries({ status: onStatus, payload: onPayload, values: onValues })) {
    state.model.on(name, () => {
      sender.heard();
      hear();
    });
    hear();
  }
}

export function render({ model, el }) {
  const root = make("div", { class: "aw" });
  el.append(root);
  const state = createState(model);
  state.palettes = decodePalettes(state.schema.palettes);
  adoptDisplay(state);
  const page = buildPage(root);
  const touch = createPainter(state, page, root);
  const sender = createSender(model, () => {
    page.status.textContent = say("silent");
    root.dataset.status = "error";
  });
  const run = createRun(state, () => touch("over"));
  const actions = createActions(state, page, run, touch);
  const changedDisplay = (key, value) => {
    state.display[key] = value;
    if (key === "palette") state.paletteChosen = true;
    touch("colour");
  };
  const startAfresh = () => {
    adoptDisplay(state);
    run.finish(); // a picture that starts covered would look like none
    controls.refresh();
    touch("colour");
  };
  const controls = buildControls(state, page.settings, sender, { changedDisplay, startAfresh });
  const unwatch = watchTheme(state, root, page.theme, () => {
    controls.refresh();
    touch("lake", "colour");
  });
  listenModel(state, page, root, { actions, controls, run, sender, startAfresh, touch });
  const onSize = () => touch("size");
  const resized = new ResizeObserver(onSize);
  resized.observe(root);
  window.addEventListener("resize", onSize);
  root.archwise = { state, page, sender, colourAt: (name, ping, row) =>
    levelRgb(state, cellLevel(state, state.looks.get(name), ping, row)) };
  model.on("remove", () => {
    run.stop();
    sender.heard();
    unwatch();
    resized.disconnect();
    window.removeEventListener("resize", onSize);
  });
}
