// A capture as it goes on: what to do now, and the readings as traces and as numbers.
// Without this script the page shows what was so when it loaded, and its buttons work.

const root = document.querySelector("[data-states]");
const words = JSON.parse(root.dataset.words);
const SPAN_S = 60;
const HEIGHT = 150;
// Each reading's name, unit and scale as the reader wants them; readings come in metric units.
const named = JSON.parse(root.dataset.names);
const unitOf = (name, metric) => named[name]?.[1] ?? metric;
// Figures as the page's language writes them, which need not be the browser's.
const lang = document.documentElement.lang;
const grouped = new Intl.NumberFormat(lang);
const formats = {};
// As many places as in metric units, and what a smaller figure needs more.
function figure(value, factor) {
  const places = Math.max(2 + Math.ceil(-Math.log10(factor) - 0.1), 0);
  formats[places] ||= new Intl.NumberFormat(lang, { minimumFractionDigits: places, maximumFractionDigits: places, useGrouping: false });
  return formats[places].format(value);
}
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name]);
const shown = {};
function put(name, text) {
  if (shown[name] === text) return;
  shown[name] = text;
  const place = root.querySelector(`[data-tell="${name}"]`);
  if (place) place.textContent = text;
}

// Readings by parameter: times and values, no older than can be seen.
const kept = new Map();
function hear(rows) {
  for (const [at, values] of rows) {
    for (const [name, value] of Object.entries(values)) {
      if (!kept.has(name)) kept.set(name, { times: [], values: [] });
      const one = kept.get(name);
      if (one.times.length && at <= one.times.at(-1)) continue;
      const [, , factor, offset] = named[name] || ["", "", 1, 0];
      one.times.push(at);
      one.values.push(value * factor + offset);
      if (at > last) last = at;
    }
  }
  for (const one of kept.values()) {
    let old = 0;
    while (old < one.times.length && one.times[old] < last - SPAN_S - 1) old += 1;
    if (old > 50) { one.times.splice(0, old); one.values.splice(0, old); }
  }
  soon();
}
let last = 0;

// A slow device draws less often instead of falling behind: after each picture it has half the
// time that the picture took for everything else.
let drawing = false;
let beganMs = 0;
let restMs = 0;
const after = new MessageChannel();
after.port1.onmessage = () => { const now = performance.now(); restMs = now + (now - beganMs) / 2; };
function soon() {
  if (drawing) return;
  drawing = true;
  const wait = restMs - performance.now();
  if (wait > 1) setTimeout(() => requestAnimationFrame(draw), wait);
  else requestAnimationFrame(draw);
}

// Each picture: parameters that share an axis. A dash tells lines apart, not colour alone.
const BORDERS = ["solid", "dashed", "dotted", "double"];
const DASHES = [[], [8, 4], [2, 3], [8, 3, 2, 3]];
const PICTURES = [
  { unit: "rpm", names: [["engine_speed", words.speed]] },
  { unit: "g/s", names: [["mass_air_flow", words.airflow]] },
  { unit: "kPa", names: [["intake_manifold_pressure", words.pressure]] },
  { unit: "%", names: [1, 2].flatMap((bank) => [["short", words.short], ["long", words.long]].map(([kind, word]) => [`${kind}_term_fuel_trim_bank_${bank}`, `${word}, ${fill(words.bank, { n: bank })}`])) },
];
const charts = [];

function colour(name) { return getComputedStyle(document.documentElement).getPropertyValue(name).trim(); }

function make(picture, names) {
  const box = document.createElement("div");
  root.querySelector("[data-traces]").append(box);
  const axis = { stroke: colour("--ink"), grid: { stroke: colour("--grid"), width: 1 }, ticks: { stroke: colour("--grid") }, font: "13px system-ui" };
  const options = {
    width: box.clientWidth || 340, height: HEIGHT, legend: { live: false, markers: { width: 2, dash: (_, index) => BORDERS[index - 1] } }, cursor: { show: false }, pxAlign: 0,
    scales: { x: { time: false } },
    axes: [{ ...axis, values: (_, ticks) => ticks.map((tick) => `${Math.round(tick)}`) }, { ...axis, size: 52, space: 24, values: (_, ticks) => ticks.map((tick) => grouped.format(tick)) }],
    series: [{}, ...names.map(([, word], index) => ({ label: `${word} [${unitOf(names[0][0], picture.unit)}]`, stroke: colour(`--c${index + 1}`), width: 2, dash: DASHES[index], spanGaps: true, points: { show: false } }))],
  };
  const plot = new window.uPlot(options, [[], ...names.map(() => [])], box);
  box.querySelector("canvas").setAttribute("aria-hidden", "true");
  charts.push({ picture, names, plot, box });
}

function remake() {
  for (const { plot, box } of charts.splice(0)) { plot.destroy(); box.remove(); }
}
new MutationObserver(remake).observe(document.documentElement, { attributes: true, attributeFilter: ["data-light"] });
window.addEventListener("resize", () => charts.forEach(({ plot, box }) => plot.setSize({ width: box.clientWidth, height: HEIGHT })));

// Parameters are asked one after another, so each has times of its own: merged, oldest first.
function columns(names) {
  const lines = names.map(([name]) => kept.get(name));
  if (lines.length === 1) return [lines[0].times, lines[0].values];
  const next = lines.map(() => 0);
  const told = [[], ...lines.map(() => [])];
  for (;;) {
    let at = Infinity;
    for (let i = 0; i < lines.length; i += 1) if (lines[i].times[next[i]] < at) at = lines[i].times[next[i]];
    if (at === Infinity) return told;
    told[0].push(at);
    for (let i = 0; i < lines.length; i += 1) {
      const here = lines[i].times[next[i]] === at;
      told[i + 1].push(here ? lines[i].values[next[i]] : null);
      if (here) next[i] += 1;
    }
  }
}

let frames = 0;
function draw() {
  drawing = false;
  beganMs = performance.now();
  after.port2.postMessage(null);
  frames += 1;
  root.dataset.frames = frames;
  const wanted = PICTURES.map((picture) => ({ picture, names: picture.names.filter(([name]) => kept.has(name)) })).filter(({ names }) => names.length);
  const told = (list) => list.map(({ names }) => names.map(([name]) => name).join()).join("|");
  if (told(wanted) !== told(charts)) { remake(); wanted.forEach(({ picture, names }) => make(picture, names)); }
  for (const { names, plot } of charts) {
    plot.batch(() => { plot.setData(columns(names), false); plot.setScale("x", { min: Math.max(last - SPAN_S, 0), max: Math.max(last, SPAN_S) }); });
  }
  const speed = kept.get("engine_speed");
  if (speed) put("speed", String(Math.round(speed.values.at(-1))));
}

// The same as numbers, twice a second and only where somebody looks.
const table = root.querySelector("[data-numbers]");
setInterval(() => {
  if (!table.closest("details").open) return;
  table.replaceChildren(...[...kept.entries()].sort().map(([name, { values }]) => {
    const row = document.createElement("tr");
    const head = document.createElement("th");
    head.scope = "row";
    head.textContent = named[name]?.[0] || name.replaceAll("_", " ");
    row.append(head);
    for (const value of [values.at(-1), Math.min(...values), Math.max(...values)]) {
      const cell = document.createElement("td");
      cell.className = "n";
      cell.textContent = figure(value, named[name]?.[2] ?? 1);
      row.append(cell);
    }
    const unit = document.createElement("td");
    unit.textContent = unitOf(name, units[name] || "");
    row.append(unit);
    return row;
  }));
}, 500);
let units = {};

// The connection: it comes back by itself, goes on after the last event that came, and one that is
// silent for longer than the server ever is counts as lost, whatever the browser thinks of it.
const SILENT_MS = 7000;
const lost = root.querySelector("[data-lost]");
let events;
let heardMs = 0;
let lastEvent = "";
function open() {
  if (events) events.close();
  heardMs = performance.now();
  events = new EventSource(root.dataset.states + (lastEvent ? `?after=${encodeURIComponent(lastEvent)}` : ""));
  const on = (name, act) => events.addEventListener(name, (event) => {
    heardMs = performance.now();
    if (event.lastEventId) lastEvent = event.lastEventId;
    lost.hidden = true;
    act(event);
  });
  on("alive", () => {});
  on("anew", (event) => {
    kept.clear();
    last = 0;
    put("missed", JSON.parse(event.data).missed ? words.missed : "");
  });
  on("rows", (event) => hear(JSON.parse(event.data)));
  on("state", (event) => tell(JSON.parse(event.data)));
  events.onerror = () => { lost.hidden = false; if (events.readyState === EventSource.CLOSED) setTimeout(() => location.reload(), 3000); };
}
const watch = setInterval(() => {
  if (performance.now() - heardMs < SILENT_MS) return;
  lost.hidden = false;
  open();
}, 1000);
function tell(state) {
  const { advice } = state;
  const step = advice && advice.step;
  const said = state.said?.[root.dataset.speak] || { do: step?.do, caution: step?.caution, hint: advice?.hint, trouble: state.trouble, notes: state.notes.join(" ") };
  units = state.units || units;
  put("phase", words[state.phase]);
  put("seconds", fill(words.seconds, { n: Math.round(state.seconds) }));
  put("samples", fill(words.readings, { n: state.samples }));
  put("doing", said.trouble || (step ? said.do : state.quiet ? words.quiet : state.phase === "ended" ? words.ended_hint : ""));
  put("hint", (advice ? said.hint || "" : said.notes).replace(/(\d) degC/g, "$1\u00a0°C"));
  put("caution", step ? said.caution : "");
  put("step", step ? fill(words.step, { n: advice.number, of: advice.of }) : "");
  put("steady", advice ? (advice.steady ? `■ ${words.steady}` : `~ ${words.moving}`) : "");
  if (advice) root.querySelector("progress").value = advice.share;
  if (state.phase === "ended" || state.phase === "failed") { clearInterval(watch); events.close(); lookAfter(); }
}
// What is over waits to be ended, here or on another page; from there this one goes on by itself.
async function lookAfter() {
  try {
    const { see } = await (await fetch(root.dataset.over, { cache: "no-store" })).json();
    if (see) {
      put("doing", words.taken);
      setTimeout(() => location.assign(see), 2500);
      return;
    }
  } catch { /* Asked again. */ }
  setTimeout(lookAfter, 2000);
}
open();
