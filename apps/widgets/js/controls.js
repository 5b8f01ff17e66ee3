// The settings column: native inputs made from the schema, and the talk with the server.

const ANSWER_MS = 400; // a lost answer holds the next message back no longer than this
const SILENT_MS = 6000; // a server that says nothing at all for so long has probably stopped
// How many of a group's common settings a low screen shows; taller ones show one or two more.
const FIRST_SHOWN = { boat: 1, sounder: 1, fish: 5, lake: 0, display: 3 };
const TALL = [860, 1000];

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "text") element.textContent = value;
    else if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value !== false && value != null) element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter(Boolean));
  return element;
}

// At most one message in flight; while it is, newer values wait and only the newest is sent.
function createSender(model, silent) {
  const sender = { n: 0, flight: 0, sent: {}, waiting: {}, timer: 0, silence: 0 };
  const send = (message) => {
    sender.silence = sender.silence || setTimeout(silent, SILENT_MS);
    model.send_msg(message);
  };
  sender.heard = () => {
    clearTimeout(sender.silence);
    sender.silence = 0;
  };
  sender.next = () => {
    clearTimeout(sender.timer);
    sender.flight = 0;
    sender.sent = {};
    if (!Object.keys(sender.waiting).length) return;
    sender.n += 1;
    sender.flight = sender.n;
    sender.sent = sender.waiting;
    sender.waiting = {};
    sender.timer = setTimeout(sender.next, ANSWER_MS);
    send({ type: "set", values: sender.sent, n: sender.n });
  };
  sender.set = (id, value) => {
    sender.waiting[id] = value;
    if (!sender.flight) sender.next();
  };
  sender.answered = (n) => {
    if (sender.flight && n >= sender.flight) sender.next();
  };
  sender.pending = (id) => id in sender.waiting || id in sender.sent;
  sender.other = (message) => { // a new scene makes waiting values meaningless
    sender.waiting = {};
    send(message);
  };
  return sender;
}

// Local settings are named like the receiver's: "receiver.gain" acts as display.gain.
function displayKey(id) {
  return id.split(".").pop();
}

function limitWords(control) {
  const unit = control.unit ? ` ${control.unit}` : "";
  return say("limits", { min: figure(control.min, control.digits), unit,
    max: figure(control.max, control.digits) });
}

function helpWords(control) {
  const limits = control.kind === "range" ? limitWords(control) : "";
  return [control.help, limits].filter(Boolean).join(" ");
}

function rangeControl(control, change) {
  const { id, min, max, step, unit, label } = control;
  const common = { min, max, step, "aria-describedby": `${id}.limits` };
  const slider = make("input", { type: "range", id, ...common });
  const number = make("input", { type: "number", id: `${id}.number`, ...common, inputmode: "decimal",
    "aria-label": say("numberName", { label }) + (unit ? `, ${unit}` : "") });
  const show = (value, alsoNumber = true) => {
    slider.value = value;
    slider.style.setProperty("--part", `${(100 * (slider.value - min)) / (max - min || 1)}%`);
    slider.setAttribute("aria-valuetext", `${figure(Number(value), control.digits)} ${unit || ""}`.trim());
    if (alsoNumber) number.value = Number(value).toFixed(control.digits ?? 0);
  };
  let writing = false; // a half-written number is not overwritten
  slider.addEventListener("input", () => {
    show(slider.value);
    change(Number(slider.value));
  });
  number.addEventListener("input", () => { writing = true; });
  number.addEventListener("blur", () => { writing = false; });
  number.addEventListener("change", () => {
    writing = false;
    const asked = number.value === "" ? NaN : Number(number.value);
    const typed = Number.isNaN(asked) ? Number(slider.value) : clamp(asked, min, max);
    if (typed !== asked) {
      const key = Number.isNaN(asked) ? "noNumber" : "held";
      const text = say(key, { label, limits: limitWords(control), value: figure(typed, control.digits) });
      number.dispatchEvent(new CustomEvent("aw-tell", { bubbles: true, composed: true, detail: text }));
    }
    show(typed);
    change(typed);
  });
  const element = make("div", { class: "control", title: helpWords(control) },
    make("div", { class: "name" }, make("label", { for: id, text: label }),
      make("span", { class: "amount" }, number, make("span", { class: "unit", text: unit || "" }))),
    slider, make("span", { class: "unseen", id: `${id}.limits`, text: helpWords(control) }));
  return { element, show, busy: () => writing };
}

function selectControl(control, change) {
  const select = make("select", { id: control.id, "aria-describedby": `${control.id}.limits` });
  const fill = (options) => {
    if (select.dataset.options === JSON.stringify(options)) return;
    select.dataset.options = JSON.stringify(options);
    select.replaceChildren(...options.map((text, i) => make("option", { value: i, text })));
  };
  fill(control.options || []);
  let byIndex = false;
  select.addEventListener("change", () => {
    const at = Number(select.value);
    change(byIndex ? at : select.options[at].textContent);
  });
  const show = (value, options) => {
    if (options) fill(options);
    byIndex = typeof value === "number"; // the fish are chosen by number, the rest by word
    const texts = [...select.options].map((option) => option.textContent);
    select.value = String(byIndex ? value : texts.indexOf(value));
  };
  const element = make("div", { class: "control one", title: helpWords(control) },
    make("label", { for: control.id, text: control.label }), select,
    make("span", { class: "unseen", id: `${control.id}.limits`, text: helpWords(control) }));
  return { element, show, busy: () => false };
}

function toggleControl(control, change) {
  const box = make("input", { type: "checkbox", id: control.id,
    "aria-describedby": `${control.id}.limits` });
  box.addEventListener("change", () => change(box.checked));
  const element = make("div", { class: "control one", title: helpWords(control) },
    make("label", { for: control.id, text: control.label }), box,
    make("span", { class: "unseen", id: `${control.id}.limits`, text: helpWords(control) }));
  return { element, show: (value) => { box.checked = Boolean(value); }, busy: () => false };
}

const CONTROL_KINDS = { range: rangeControl, select: selectControl, toggle: toggleControl };

// A group shows its common settings; the others unfold.
function buildGroup(group, built) {
  const extra = window.innerWidth < NARROW ? Infinity
    : TALL.filter((height) => window.innerHeight >= height).length;
  const flagged = group.controls.filter((control) => control.common);
  const common = (flagged.length ? flagged : group.controls.slice(0, 3))
    .slice(0, (FIRST_SHOWN[group.id] ?? 2) + extra);
  const rest = group.controls.filter((control) => !common.includes(control));
  const button = make("button", { type: "button", class: "more", "aria-expanded": "false" });
  const open = (all) => {
    rest.forEach((control) => { built.get(control.id).element.hidden = !all; });
    button.setAttribute("aria-expanded", String(all));
    const counts = { rest: rest.length, all: group.controls.length,
      group: group.title };
    button.textContent = all ? say("fewer") : say("more", counts);
    button.setAttribute("aria-label", all ? `${group.title}: ${say("fewer")}` :
      `${say("more", counts)}. ${say("moreName", counts)}`);
  };
  button.addEventListener("click", () => open(button.getAttribute("aria-expanded") !== "true"));
  open(false);
  const head = make("div", { class: "head" }, make("h2", { text: group.title }),
    rest.length ? button : null);
  return make("section", { class: "group", "aria-label": group.title }, head,
    ...group.controls.map((control) => built.get(control.id).element));
}

function sceneChooser(state, sender, startAfresh) {
  const select = make("select", { id: "scene" },
    ...state.schema.scenes.map((scene) => make("option", { value: scene.id, text: scene.title })));
  select.addEventListener("change", () => sender.other({ type: "scene", id: select.value }));
  const reset = make("button", { type: "button", class: "plain", text: say("reset"),
    title: say("resetHelp"), onclick: () => {
      startAfresh(); // here and now: the server keeps silent about values that stay the same
      sender.other({ type: "reset" });
    } });
  const show = (id) => {
    if (id != null) select.value = id;
  };
  return { show, element: make("section", { class: "group scene", "aria-label": say("scene") },
    make("div", { class: "head" }, make("label", { for: "scene", text: say("scene") }), reset),
    select) };
}

// A setting that does not apply to what is in hand stays in its place, but cannot be moved.
function setIdle(element, idle) {
  element.classList.toggle("idle", idle);
  element.querySelectorAll("input, select").forEach((input) => { input.disabled = idle; });
}

function buildControls(state, host, sender, { changedDisplay, startAfresh }) {
  const built = new Map();
  const scene = sceneChooser(state, sender, startAfresh);
  const all = state.schema.groups.flatMap((group) => group.controls);
  for (const control of all) {
    const change = control.local
      ? (value) => changedDisplay(displayKey(control.id), value)
      : (value) => sender.set(control.id, value);
    built.set(control.id, CONTROL_KINDS[control.kind](control, change));
  }
  host.append(scene.element, ...state.schema.groups.map((group) => buildGroup(group, built)));
  const refresh = () => {
    scene.show(state.values.scene);
    const options = state.values.options || {};
    for (const control of all) {
      const value = control.local ? state.display[displayKey(control.id)] : state.values[control.id];
      const one = built.get(control.id);
      setIdle(one.element, value == null);
      if (value == null || (!control.local && sender.pending(control.id))) continue;
      one.show(value, control.kind === "range" ? !one.busy() : options[control.id]);
    }
  };
  return { refresh };
}

function segmented(name, legend, options, chosen, change) {
  return make("fieldset", { class: "segmented" }, make("legend", { class: "unseen", text: legend }),
    ...options.map(([value, text]) => make("label", {},
      make("input", { type: "radio", name, value, checked: value === chosen,
        onchange: () => change(value) }), make("span", { text }))));
}

// A new scene brings its own display settings; after that they are the reader's.
function adoptDisplay(state) {
  for (const group of state.schema.groups) {
    for (const { id, local } of group.controls) {
      if (local && state.values[id] != null) state.display[displayKey(id)] = state.values[id];
    }
  }
  Object.assign(state, { home: null, paletteChosen: false });
  followTheme(state, themeNow());
}
