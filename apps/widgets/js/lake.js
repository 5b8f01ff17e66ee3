// The lake view: the drawing of the water over the same columns as the echograms.

const ARC_REACH = (18 * Math.PI) / 180; // how far a range is shown beyond a thin beam

function lakeScale(state, axis, height) {
  const lake = state.header.lake;
  const hull = (lake.boat || []).map((point) => point[1]);
  const top = Math.min(-0.04 * lake.depth_max, ...hull.map((z) => z - 0.02 * lake.depth_max));
  const perMetre = height / (lake.depth_max - top);
  return { perMetre, top, bottom: lake.depth_max, y: (z) => (z - top) * perMetre,
    factor: perMetre / axis.pixelsPerMetre };
}

function exaggerationWords(state, axis, height) {
  const factor = lakeScale(state, axis, height).factor;
  return say("heights", { factor: figure(factor, factor < 10 ? 1 : 0) });
}

function pathOf(context, points, toX, toY, close) {
  context.beginPath();
  points.forEach(([x, z], i) => (i ? context.lineTo(toX(x), toY(z)) : context.moveTo(toX(x), toY(z))));
  if (close) context.closePath();
}

function inPlot(context, left, axis, height, draw) {
  context.save();
  context.beginPath();
  context.rect(left, 0, axis.width, height);
  context.clip();
  draw();
  context.restore();
}

// How shapes of a role are drawn: fill and stroke by the names of the inks, opacity of the fill,
// width and dashes in pixels. Roles that are not here are filled and stroked in the ink they name.
const LAKE_ROLES = {
  water: { fill: "water" },
  bladder: { fill: "bladder" },
  bed: { fill: "bed", stroke: "bedline" },
  soft: { fill: "water", alpha: 0.4 },
  hard: { stroke: "bedline", width: 1.5 },
  surface: { stroke: "surface", width: 1.5 },
  thermocline: { fill: "surface", alpha: 0.16, stroke: "surface", dash: [5, 4] },
  weedbed: { fill: "weed", alpha: 0.16 },
  weed: { stroke: "weed" },
  stone: { fill: "bedline", alpha: 0.75, stroke: "bedline" },
  timber: { fill: "bedline", stroke: "bedline" },
  inside: { fill: "paper", alpha: 0.45 },
  net: { stroke: "muted", dash: [3, 2] },
  mesh: { stroke: "muted", width: 0.5, faint: 0.35 },
  sheet: { stroke: "muted", width: 2 },
  frame: { stroke: "ink", width: 2 },
  air: { fill: "bladder", stroke: "accent", width: 1.5 },
  plate: { fill: "muted", stroke: "muted" },
  housing: { fill: "muted", stroke: "ink" },
  steel: { fill: "muted", stroke: "ink" },
  rope: { stroke: "bedline", width: 1.2 },
  float: { fill: "target", stroke: "target" },
  school: { stroke: "fish", width: 1.4 },
  motion: { stroke: "accent", width: 1.4 },
};
// Words keep clear of these where they can.
const LAKE_SOLID = new Set(["fish", "target", "school", "motion", "stone", "timber", "weedbed", "inside",
  "plate", "housing", "float", "steel", "rope"]);

function drawLake(canvas, state, axis, left, height) {
  const context = fit(canvas, left + axis.width, height);
  const lake = state.header.lake;
  const scale = lakeScale(state, axis, height);
  const toX = (m) => left + axis.metresX(m);
  const inks = { ...state.inks, weed: getComputedStyle(canvas).getPropertyValue("--ok").trim() };
  inPlot(context, left, axis, height, () => {
    for (const shape of lake.shapes) {
      if (shape.kind !== "label") drawShape(context, inks, shape, toX, scale.y);
    }
    drawLabels(context, state, lake.shapes, toX, scale.y, left, axis.width, height);
  });
  drawSideScale(context, state, left, height, Math.max(0, scale.top), scale.bottom, scale.y, "m");
}

function drawShape(context, inks, shape, toX, toY) {
  const own = { fill: shape.role, stroke: shape.role };
  const how = LAKE_ROLES[shape.role] || own;
  const ink = (name) => inks[name] || inks.ink;
  context.lineJoin = "round";
  context.lineWidth = how.width || 1;
  context.strokeStyle = ink(how.stroke);
  if (shape.kind === "dot") {
    drawDot(context, ink(shape.role), toX(shape.points[0][0]), toY(shape.points[0][1]));
  } else if (shape.kind === "strokes") {
    drawStrokes(context, shape.points, toX, toY, how.faint || 1);
  } else if (shape.kind === "arrow") {
    drawArrow(context, shape.points.map(([x, z]) => [toX(x), toY(z)]));
  } else {
    drawOutline(context, shape, how, ink(how.fill), toX, toY);
  }
}

function drawDot(context, ink, x, y) {
  context.beginPath();
  context.arc(x, y, 3, 0, 2 * Math.PI);
  context.fillStyle = ink;
  context.fill();
}

// A polygon or a line. A thin stroke keeps small things visible where their outline is narrower
// than a pixel.
function drawOutline(context, shape, how, fill, toX, toY) {
  const closed = shape.kind === "polygon";
  pathOf(context, shape.points, toX, toY, closed);
  if (closed && how.fill) {
    context.globalAlpha = how.alpha || 1;
    context.fillStyle = fill;
    context.fill();
    context.globalAlpha = 1;
  }
  if (!how.stroke || (closed && how.dash)) return;
  context.setLineDash(how.dash || []);
  context.stroke();
  context.setLineDash([]);
}

// Many short strokes, two points each.
function drawStrokes(context, points, toX, toY, opacity) {
  context.globalAlpha = opacity;
  context.lineCap = "round";
  context.beginPath();
  points.forEach(([x, z], i) => (i % 2 ? context.lineTo(toX(x), toY(z)) : context.moveTo(toX(x), toY(z))));
  context.stroke();
  context.lineCap = "butt";
  context.globalAlpha = 1;
}

function drawArrow(context, [from, to]) {
  const turn = Math.atan2(to[1] - from[1], to[0] - from[0]);
  context.beginPath();
  context.moveTo(...from);
  context.lineTo(...to);
  for (const side of [-1, 1]) {
    context.moveTo(...to);
    context.lineTo(to[0] - 7 * Math.cos(turn + side * 0.45), to[1] - 7 * Math.sin(turn + side * 0.45));
  }
  context.stroke();
}

// The box of a drawn thing in pixels, as middle and half sizes.
function boxOf(points, toX, toY) {
  const xs = points.map((point) => toX(point[0]));
  const ys = points.map((point) => toY(point[1]));
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  return { x: (x0 + x1) / 2, y: (y0 + y1) / 2, half: (x1 - x0) / 2 + 2, tall: (y1 - y0) / 2 + 2 };
}

// Labels stand above, below or beside what they name, clear of things and of one another where
// they can.
function drawLabels(context, state, shapes, toX, toY, left, width, height) {
  const things = shapes.filter((shape) => LAKE_SOLID.has(shape.role))
    .map((shape) => boxOf(shape.points, toX, toY));
  const words = [];
  context.textBaseline = "middle";
  context.textAlign = "center";
  context.lineJoin = "round";
  for (const { kind, text, points } of shapes) {
    if (kind !== "label" || !text) continue;
    const half = context.measureText(text).width / 2 + 3;
    const at = toX(points[0][0]);
    const home = toY(points[0][1]);
    if (at < left - half || at > left + width + half) continue;
    const fitted = (x) => clamp(x, left + half, left + width - half);
    const tries = [0, -11, -16, 11, 16].map((shift) => [fitted(at), home + shift])
      .concat([1, -1].map((way) => [fitted(at + way * (half + 8)), home]))
      .concat([-24, 24, -37, 37].map((shift) => [fitted(at), home + shift]))
      .map(([x, y]) => ({ x, y: clamp(y, 8, height - 8), half, tall: 6 }));
    const meets = (one, other) => Math.abs(other.y - one.y) <= other.tall + one.tall
      && Math.abs(other.x - one.x) <= other.half + one.half;
    const clear = tries.filter((box) => !words.some((other) => meets(box, other)));
    const box = clear.find((one) => !things.some((other) => meets(one, other))) || clear[0] || tries[1];
    words.push(box);
    context.lineWidth = 3;
    context.strokeStyle = state.inks.water;
    context.strokeText(text, box.x, box.y);
    context.fillStyle = state.inks.ink;
    context.fillText(text, box.x, box.y);
  }
}

// What moves with the playhead: beams, the arc of the cursor's range, the boat.
function drawLakeOver(canvas, state, axis, left, height) {
  const context = fit(canvas, left + axis.width, height);
  const lake = state.header.lake;
  const scale = lakeScale(state, axis, height);
  const ping = pingNow(state);
  const boat = { x: left + axis.boatX(ping), z: lake.transducer || 0 };
  const toX = (m) => boat.x + m * axis.pixelsPerMetre;
  inPlot(context, left, axis, height, () => {
    context.save();
    clipToWater(context, state, axis, left, scale.y);
    for (const look of shownLooks(state)) {
      drawBeam(context, state, look.name, boat.z, scale, toX);
    }
    context.restore();
    drawArc(context, state, boat.z, scale, toX);
    if (lake.boat && lake.boat.length) {
      pathOf(context, lake.boat, toX, scale.y, true);
      context.fillStyle = state.inks.hull;
      context.fill();
    }
    drawSideNote(context, state, boat.x, left, axis.width, scale.y(boat.z));
  });
}

function clipToWater(context, state, axis, left, toY) {
  const water = state.header.lake.shapes.find((s) => s.role === "water" && s.kind === "polygon");
  if (!water) return;
  pathOf(context, water.points, (m) => left + axis.metresX(m), toY, true);
  context.clip();
}

function halfAngle(state, name) {
  const beam = (state.header.lake.beams || {})[name];
  return beam ? (beam.half_deg * Math.PI) / 180 : 0;
}

function drawBeam(context, state, name, z, scale, toX) {
  const half = halfAngle(state, name);
  if (!half || name === "side") return; // the side beams point out of this plane
  const reach = Math.tan(Math.min(half, 1.45)) * (scale.bottom - z);
  pathOf(context, [[0, z], [-reach, scale.bottom], [reach, scale.bottom]], toX, scale.y, true);
  if (name === "cone") {
    context.fillStyle = state.inks.beam;
    context.fill();
  }
  context.strokeStyle = state.inks.accent;
  context.lineWidth = 1;
  context.globalAlpha = name === "cone" ? 0.35 : 0.9;
  context.stroke();
  context.globalAlpha = 1;
}

function arcPoints(range, z, half) {
  const points = [];
  for (let n = -24; n <= 24; n += 1) {
    const angle = (n / 24) * half;
    points.push([range * Math.sin(angle), z + range * Math.cos(angle)]);
  }
  return points;
}

function drawArc(context, state, z, scale, toX) {
  const at = cursorNow(state);
  const look = at && state.looks.get(at.look);
  if (!look || look.name === "side") return;
  const range = rangeOf(look, at.row);
  const half = halfAngle(state, look.name);
  context.strokeStyle = state.inks.target;
  context.lineWidth = 1;
  context.setLineDash([2, 3]);
  pathOf(context, arcPoints(range, z, Math.max(half, ARC_REACH)), toX, scale.y, false);
  context.stroke();
  context.setLineDash([]);
  context.lineWidth = 2.5;
  pathOf(context, arcPoints(range, z, half), toX, scale.y, false);
  context.stroke();
}

function drawSideNote(context, state, x, left, width, y) {
  const at = cursorNow(state);
  const look = at && state.looks.get(at.look);
  if (!look || look.name !== "side") return;
  const text = say("sideNote", { range: rangeWords(look, at.row) });
  const toRight = x + 20 + context.measureText(text).width < left + width;
  context.textAlign = toRight ? "left" : "right";
  context.textBaseline = "top";
  context.lineWidth = 3;
  context.strokeStyle = state.inks.water;
  context.fillStyle = state.inks.ink;
  context.strokeText(text, x + (toRight ? 14 : -14), y + 8);
  context.fillText(text, x + (toRight ? 14 : -14), y + 8);
}

function lakeDescription(state, axis) {
  const metres = axis.scales.metres;
  const labels = state.header.lake.shapes.filter((s) => s.kind === "label").map((s) => s.text);
  return say("lakeName", { from: figure(metres.low, 1), to: figure(metres.high, 1),
    depth: figure(state.header.lake.depth_max, 1),
    labels: labels.length ? `${labels.slice(0, 16).join("; ")}.` : "" });
}

function placeSlider(page, axis) {
  const thumb = 24;
  const from = axis.x(0.5);
  page.slider.style.left = `${page.size.left + from - thumb / 2}px`;
  page.slider.style.width = `${axis.x(axis.pings - 0.5) - from + thumb}px`;
}

function drawLakes(state, page) {
  const { size, axis } = page;
  drawLake(page.lake.base, state, axis, size.left, size.lake);
  drawRuler(page.ruler, state, axis, size.left, RULER);
  const foot = fit(page.bottom, size.left + axis.width, 22);
  drawScaleLine(foot, state, axis, state.axisKind, size.left, 0, true, true);
  page.exaggeration.textContent = exaggerationWords(state, axis, size.lake);
  placeSlider(page, axis);
}
