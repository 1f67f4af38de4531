// The bench screen. The browser moves the focus and keeps the queue: a caliper types in bursts, and
// what was typed must survive a server that is away. The input element is never replaced.
import { Queue, freshId } from "./queue.js";
import { draw } from "./drawing.js";

const start = JSON.parse(document.getElementById("start").textContent);
const { instrument, which, units, words } = start;
const el = Object.fromEntries(
  ["stages", "modes", "drawing", "legend", "alarms", "name", "aim", "what", "typed", "kept", "enter", "undo",
    "weigh", "waiting", "figures", "next", "link", "back", "on", "lamp"].map((id) => [id, document.getElementById(id)]),
);
const perUnit = units === "inch" ? 25.4 : 1;
const digits = units === "inch" ? 3 : 2;
let state = start.state;
let at = 0; // station in hand, or -1 for a tapped place
let free = null; // the tapped place {x_mm, y_mm, u, v}
let weighing = false;
let offline = false;
let asked = 0;
const queue = new Queue(instrument);

const shown = (mm) => `${(mm / perUnit).toFixed(digits)}${units === "inch" ? " in" : " mm"}`;
const parse = (text) => {
  const found = /^\+?\s*(\d{1,4}(?:[.,]\d{0,4})?|[.,]\d{1,4})\s*(mm|in)?$/i.exec(text.trim());
  if (!found) return null;
  const unit = (found[2] || (units === "inch" ? "in" : "mm")).toLowerCase();
  return parseFloat(found[1].replace(",", ".")) * (unit === "in" ? 25.4 : 1);
};

function place() {
  return at >= 0 ? state.stations[at] : free;
}

function render() {
  const now = place();
  el.name.textContent = weighing ? `${words.weigh}: ${which}` : at >= 0 ? now.name : words.free;
  const was = at >= 0 && now.read_mm !== null ? ` · ${words.now} ${shown(now.read_mm)}` : "";
  el.aim.textContent = weighing || at < 0 ? "" : `${words.target} ${shown(now.target_mm)}${was}`;
  el.what.textContent = weighing ? `${words.weigh}, g` : `${words.read}, ${units === "inch" ? "in" : "mm"}`;
  el.enter.textContent = weighing ? words.weigh : words.read;
  el.weigh.setAttribute("aria-pressed", String(weighing));
  buttons(el.stages, state.stages.map((s) => ({ key: s.tool, text: s.name })), state.stage, beginStage);
  const maps = ["still", "left", "target"].map((k) => ({ key: k, text: words[k] }));
  buttons(el.modes, maps, state.mode, (mode) => ask(state.stage, mode));
  draw(el.drawing, state, at, free);
  legend();
  list(el.alarms, state.alarms.map((a) => [a.text]));
  waiting();
  figures();
  el.next.textContent = state.needed > 0
    ? start.needed.replace("{count}", state.needed)
    : state.next ? state.next.text : "";
  el.undo.disabled = state.last === null && queue.size === 0;
  link();
}

function buttons(into, all, current, act) {
  if (into.dataset.keys !== all.map((a) => a.key).join()) {
    into.dataset.keys = all.map((a) => a.key).join();
    into.replaceChildren(...all.map(({ key, text }) => {
      const one = document.createElement("button");
      one.type = "button";
      one.textContent = text;
      one.dataset.key = key;
      one.addEventListener("click", () => { act(key); el.typed.focus(); });
      return one;
    }));
  }
  for (const one of into.children) one.setAttribute("aria-pressed", String(one.dataset.key === current));
}

function list(into, rows) {
  into.replaceChildren(...rows.map((parts) => {
    const row = document.createElement("div");
    row.append(...parts);
    return row;
  }));
}

function waiting() {
  list(el.waiting, state.waiting.map(({ id, text }) => {
    const said = document.createElement("span");
    said.textContent = text;
    const yes = button(words.accept, () => send({ kind: "accept", names: id }));
    const no = button(words.strike, () => send({ kind: "strike", names: id }));
    return [said, yes, no];
  }));
}

function button(text, act) {
  const one = document.createElement("button");
  one.type = "button";
  one.textContent = text;
  one.addEventListener("click", () => { act(); el.typed.focus(); });
  return one;
}

function figures() {
  const f = state.figures;
  const rows = [];
  if (f.weighed_g !== undefined) rows.push([words.weighed, `${f.weighed_g} g`, ""]);
  if (f.now_g !== null) rows.push([words.now, `≈ ${f.now_g} g`, ""], [words.off, `≈ ${f.still_g} g`, ""]);
  rows.push([f.end_name, `${f.end_g} g`, "small"]);
  el.figures.replaceChildren(...rows.flatMap(([name, value, kind]) => {
    const dt = document.createElement("dt");
    const dd = document.createElement("dd");
    dt.textContent = name;
    dd.textContent = value;
    dd.className = kind;
    return [dt, dd];
  }));
}

function legend() {
  el.legend.replaceChildren(...state.legend.map((band) => {
    const one = document.createElement("span");
    const box = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const fill = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    fill.setAttribute("width", "32");
    fill.setAttribute("height", "24");
    fill.setAttribute("fill", band.colour);
    box.append(fill);
    one.append(box, `${band.from}–${band.to}`);
    return one;
  }));
}

function link() {
  if (offline) el.link.textContent = start.offline.replace("{count}", queue.size);
  else el.link.textContent = queue.size ? start.waiting.replace("{count}", queue.size) : words.kept;
}

// One reading: taken at once, whatever the server does.
function enter() {
  const text = el.typed.value.trim();
  el.typed.value = "";
  if (!text) return;
  if (weighing) {
    weighing = false;
    el.kept.textContent = `${words.weighed} ${text}`;
    send({ kind: "weight", plate: which, typed: text });
    render();
    return;
  }
  const now = place();
  const mm = parse(text);
  const name = at >= 0 ? now.name : `x ${now.x_mm.toFixed(0)}, y ${now.y_mm.toFixed(0)}`;
  el.kept.textContent = `${name}: ${text}`;
  send({ kind: "reading", plate: which, station: name, typed: text, x_mm: now.x_mm, y_mm: now.y_mm });
  if (at >= 0) {
    if (mm !== null) {
      now.read_mm = mm;
      now.mark = mm < now.floor_mm ? "below" : now.mark || "within";
      if (mm < now.floor_mm) {
        const told = start.below.replace("{t}", shown(mm)).replace("{place}", name).replace("{floor}", shown(now.floor_mm));
        list(el.alarms, [[told], ...state.alarms.map((a) => [a.text])]);
      }
    }
    at = (at + 1) % state.stations.length;
  } else {
    at = 0;
    free = null;
  }
  headline();
}

function headline() {
  const now = place();
  el.name.textContent = at >= 0 ? now.name : words.free;
  const was = at >= 0 && now.read_mm !== null ? ` · ${words.now} ${shown(now.read_mm)}` : "";
  el.aim.textContent = at >= 0 ? `${words.target} ${shown(now.target_mm)}${was}` : "";
  draw(el.drawing, state, at, free);
}

function send(what) {
  queue.add({ id: freshId(), stage: state.stage, at_us: Date.now() * 1000, ...what });
  flush();
}

let flushing = false;
async function flush() {
  link();
  if (flushing) return;
  flushing = true;
  try {
    while (queue.size) {
      const batch = queue.first(200);
      const answer = await fetch(`/api/${instrument}/entries`, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(batch),
      });
      if (answer.status >= 500) throw new Error("away");
      offline = false;
      const told = await answer.json();
      if (!Array.isArray(told)) {
        el.kept.textContent = told.sentence || "";
        break;
      }
      for (const one of told) {
        if (one.kept || !["disk-full", "book-busy", "book-read-only", "book-unwritable"].includes(one.key)) queue.done(one.id);
        if (!one.kept) el.kept.textContent = one.sentence;
      }
      if (told.every((one) => !one.kept && ["disk-full", "book-busy", "book-read-only", "book-unwritable"].includes(one.key))) break;
    }
    await refresh();
  } catch {
    offline = true;
  } finally {
    flushing = false;
    link();
  }
}

async function refresh() {
  await ask(state.stage, state.mode);
}

async function ask(stage, mode) {
  const mine = ++asked;
  try {
    const query = new URLSearchParams({ stage, mode });
    const answer = await fetch(`/api/${instrument}/${which}/state?${query}`);
    const found = await answer.json();
    if (mine !== asked) return; // a later answer is on its way
    if (answer.ok) {
      for (const entry of queue.all()) {
        const here = found.stations.find((s) => s.name === entry.station);
        if (entry.kind === "reading" && here) here.read_mm = parse(entry.typed);
      }
      state = found;
      offline = false;
    } else el.kept.textContent = found.sentence;
  } catch {
    offline = true;
  }
  render();
}

function beginStage(tool) {
  state.stage = tool;
  send({ kind: "stage", plate: which, stage: tool });
}

function undo() {
  const mine = queue.all().at(-1);
  if (mine && offline) queue.done(mine.id);
  else if (state.last) send({ kind: "strike", names: state.last.id });
  render();
}

function step(by) {
  const count = state.stations.length;
  at = at < 0 ? 0 : (at + by + count) % count;
  free = null;
  headline();
}

function tap(event) {
  const svg = el.drawing.querySelector("svg");
  const box = svg.getBoundingClientRect();
  const [wide, high] = state.size_mm;
  const scale = Math.min(box.width / wide, box.height / high);
  const u = (event.clientX - box.left - (box.width - scale * wide) / 2) / scale;
  const v = (event.clientY - box.top - (box.height - scale * high) / 2) / scale;
  const away = state.stations.map((s) => Math.hypot(s.u - u, s.v - v));
  const near = away.indexOf(Math.min(...away));
  if (away[near] <= 6) {
    at = near;
    free = null;
  } else {
    const { sign, u0, v0 } = state.frame;
    free = { u, v, x_mm: Math.round((v0 - v) * 10) / 10, y_mm: Math.round(sign * (u - u0) * 10) / 10, read_mm: null };
    at = -1;
  }
  headline();
  el.typed.focus();
}

function keys(event) {
  if (event.key === "Enter") { event.preventDefault(); enter(); return; }
  if (event.key === "Tab") { event.preventDefault(); step(event.shiftKey ? -1 : 1); return; }
  if (el.typed.value === "" && !event.ctrlKey && !event.metaKey && !event.altKey) {
    const act = { u: undo, w: toggleWeigh, m: nextMap }[event.key];
    if (act) { event.preventDefault(); act(); }
  }
}

function toggleWeigh() {
  weighing = !weighing;
  render();
}

function nextMap() {
  const all = ["still", "left", "target"];
  ask(state.stage, all[(all.indexOf(state.mode) + 1) % 3]);
}

function lamp(set) {
  document.documentElement.dataset.lamp = set;
  el.lamp.setAttribute("aria-pressed", String(set === "dark"));
  el.lamp.textContent = set === "dark" ? words.light : words.dark;
  try { localStorage.setItem("lamp", set); } catch { /* no place to keep it */ }
}

el.typed.addEventListener("keydown", keys);
el.enter.addEventListener("click", () => { enter(); el.typed.focus(); });
el.undo.addEventListener("click", () => { undo(); el.typed.focus(); });
el.weigh.addEventListener("click", () => { toggleWeigh(); el.typed.focus(); });
el.back.addEventListener("click", () => { step(-1); el.typed.focus(); });
el.on.addEventListener("click", () => { step(1); el.typed.focus(); });
el.drawing.addEventListener("click", tap);
el.lamp.addEventListener("click", () => { lamp(document.documentElement.dataset.lamp === "dark" ? "light" : "dark"); el.typed.focus(); });
let remembered = null;
try { remembered = localStorage.getItem("lamp"); } catch { /* none */ }
lamp(remembered || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light"));
render();
el.typed.focus();
await queue.open();
flush();
setInterval(() => { if (offline || queue.size) flush(); }, 1000);
const live = new EventSource(`/api/${instrument}/changes`);
live.addEventListener("message", (event) => { if (Number(event.data) !== state.entries && !flushing) refresh(); });
