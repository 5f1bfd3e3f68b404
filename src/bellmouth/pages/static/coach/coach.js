// The coach on the page: start, cues on the audio clock, taps as evidence, stop, and what came of it.

import { Clock } from "./clock.js";
import { Conductor } from "./conduct.js";
import { Face } from "./face.js";
import { Chair, mark } from "./chair.js";
import { Kept } from "./kept.js";
import { LiveConductor, sentence } from "./live.js";
import { Sound, say, shake } from "./sound.js";
import { Windows } from "./windows.js";

const AHEAD_S = 20; // sound is laid on the clock so far ahead
const root = document.querySelector("[data-coach]");
const words = JSON.parse(root.dataset.words);
const base = root.dataset.coach;
const live = root.dataset.live || "";
if (live) words.idle = words.shown;
const clock = new Clock(words);
const lost = root.querySelector("[data-lost]");
const face = new Face(root, words);
const chair = new Chair(base, lost);
const kept = new Kept(base);
const picture = live ? new Windows(root, words) : null;
const settings = root.querySelector("form[data-settings]");
let conductor = null;
let sound = null;
let lock = null;
let busy = false; // a second tap while it begins is the same tap
let laid = new Set();

// Kept on this device: its sound is as late tomorrow as it is today.
for (const field of settings.elements) {
  if (!field.name) continue;
  const kept = localStorage.getItem(`coach ${field.name}`);
  if (kept !== null) { if (field.type === "checkbox") field.checked = kept === "true"; else field.value = kept; }
  field.addEventListener("change", () => localStorage.setItem(`coach ${field.name}`, field.type === "checkbox" ? String(field.checked) : field.value));
}
const wants = (name) => settings.elements[name].checked;
const text = (name) => String(settings.elements[name].value).trim();
const amount = (name) => Number(text(name).replace(",", ".")) || 0;
// Without a lead the server takes what suits the person.
const wish = () => ({ quiet: wants("quiet"), lead_ms: text("lead") === "" ? null : amount("lead"), person: text("person") });

document.addEventListener("signals", ({ detail }) => { if (picture) picture.hear(detail); });

function told(text) { root.querySelector("[data-told]").textContent = text; }

async function plan() {
  const told = Object.entries(wish()).filter(([, value]) => value !== null);
  const answer = await fetch(`${base}/plan?${new URLSearchParams(told)}`);
  if (!answer.ok) throw new Error(await sentence(answer) || words.lost);
  return answer.json();
}

async function prepare(tones) {
  await clock.open(wants("quiet"));
  sound = new Sound(clock, tones);
  sound.early = amount("offset") / 1000;
  if (clock.latency && !localStorage.getItem("coach offset")) {
    settings.elements.offset.value = Math.round(1000 * clock.latency);
    sound.early = clock.latency;
  }
  window.coachSound = { clock, sound }; // so that the sound can be measured
}

root.querySelector("[data-check]").addEventListener("click", async () => {
  const made = await plan();
  await prepare(made.tones_hz);
  if (!clock.sounds) { told(words.silent); return; }
  const begin = clock.now() + 0.5;
  Object.keys(made.tones_hz).forEach((name, index) => sound.tone(name, begin + index));
  told(words.tones);
});

root.querySelector("[data-start]").addEventListener("click", () => start(false));
root.querySelector("[data-take]").addEventListener("click", () => (conductor && conductor.live ? takeOver() : start(true)));

async function start(take) {
  if (busy || (conductor && conductor.phase === "running")) return;
  busy = true;
  try {
    chair.id = mark();
    const seat = await chair.sit(take);
    if (!seat.drives) { await other(seat.runs); return; }
    other(null);
    const made = await plan();
    await prepare(made.tones_hz);
    conductor = live ? new LiveConductor(made, base, clock, words, root.hasAttribute("data-taps")) : new Conductor(made, words);
    await stayAwake();
    await conductor.begin(clock.now(), { id: chair.id, ...wish() });
    root.querySelector("[data-unmet]").textContent = (conductor.unmet || []).length ? `${words.unmet} ${conductor.unmet.join(" ")}` : "";
    run();
    if (!live) kept.going(taps("void", words.left));
    if (!clock.sounds && !wants("quiet")) told(words.silent);
  } catch (error) {
    chair.leave();
    sleep();
    told(error instanceof Response ? await sentence(error) : error.message);
  } finally { busy = false; }
}

function run() {
  laid = new Set();
  face.flashes = wants("flash");
  face.calls = wants("two");
  root.dataset.phase = "running";
  root.querySelector(live === "practice" ? "[data-act=pedal]" : "[data-zone]").focus({ preventScroll: true });
  root.scrollIntoView();
  requestAnimationFrame(frame);
}

// Another page drives: this one looks on where the car is followed, and may take over.
async function other(runs) {
  const place = root.querySelector("[data-other]");
  place.hidden = runs === null;
  if (runs === null) { delete root.dataset.watching; return; }
  root.querySelector("[data-other-says]").textContent = live && runs ? words.watching : words.other;
  if (live && runs) await watch();
}

async function watch() {
  root.dataset.watching = "yes";
  conductor = new LiveConductor(await plan(), base, clock, words, root.hasAttribute("data-taps"));
  await conductor.watch();
  run();
}

async function takeOver() {
  if (busy) return;
  busy = true;
  try {
    chair.id = mark();
    await prepare(conductor.plan.tones_hz);
    await chair.sit(true);
    conductor.drives = true;
    conductor.seat = chair.id;
    other(null);
    await stayAwake();
  } catch { told(words.lost); } finally { busy = false; }
}

chair.taken = () => {
  if (!conductor || conductor.phase !== "running") return;
  if (!conductor.live) { conductor.end("void", words.taken); return; }
  conductor.drives = false;
  sound.hush();
  root.dataset.watching = "yes";
  root.querySelector("[data-other]").hidden = false;
  root.querySelector("[data-other-says]").textContent = `${words.taken} ${words.watching}`;
};
const watching = () => Boolean(conductor && conductor.live && !conductor.drives);

async function stayAwake() {
  try { lock = navigator.wakeLock ? await navigator.wakeLock.request("screen") : null; } catch { lock = null; }
  root.querySelector("[data-awake]").hidden = lock !== null;
}

function sleep() {
  if (lock) lock.release().catch(() => {});
  lock = null;
}

function frame() {
  if (!conductor) return;
  clock.look();
  if (clock.lost && !watching() && conductor.phase === "running") conductor.end("void", clock.lost);
  const now = clock.now();
  lay(now);
  for (const cue of conductor.take(now)) give(cue);
  face.draw(conductor.view(now), now);
  if (picture) picture.draw(conductor.server(now));
  if (conductor.live) lost.hidden = !conductor.unheard;
  if (conductor.phase === "running") requestAnimationFrame(frame);
  else finish(now);
}

// Every tone is scheduled on the audio clock before its time; a plan that moved is laid anew.
function lay(now) {
  if (!sound || watching()) return;
  if (conductor.moved) { sound.hush(); laid = new Set(); conductor.moved = false; }
  for (const cue of conductor.upcoming(now + AHEAD_S)) {
    const name = `${cue.when.toFixed(4)} ${cue.kind} ${cue.text}`;
    if (laid.has(name) || !cue.tone || !cue.sounds) continue;
    laid.add(name);
    sound.tone(cue.tone, cue.when);
  }
}

function give(cue) {
  face.given(cue);
  if (watching()) return;
  if (cue.kind === "say" && cue.sounds && wants("voice") && !wants("quiet")) say(cue.text);
  if (wants("vibrate") && (cue.kind === "now" || cue.kind === "beat" || cue.kind === "lead")) shake(cue.tone);
}

function stamp(event, source) {
  return { performance_ms: event.timeStamp, audio_s: clock.context ? clock.context.currentTime : 0, source };
}

function hit(event, source, up = false) {
  if (!conductor || conductor.phase !== "running" || watching()) return;
  event.preventDefault();
  const before = conductor.index;
  conductor.tap(clock.at(event.timeStamp), stamp(event, source), up);
  if (!conductor.live) kept.going(taps("void", words.left));
  if (conductor.index !== before || conductor.paused !== null) { sound.hush(); laid = new Set(); }
  const zone = root.querySelector("[data-zone]");
  zone.classList.toggle("down", !up);
}

// A key that moves the practice car, or a control of it that has the focus, tells nothing.
const drives = (event) => live === "practice" && ([" ", "k", "s"].includes(event.key.toLowerCase()) || (event.key === "Enter" && Boolean(event.target.closest?.(".seat"))));

const zone = root.querySelector("[data-zone]");
zone.addEventListener("pointerdown", (event) => { zone.setPointerCapture(event.pointerId); hit(event, "tap"); });
zone.addEventListener("pointerup", (event) => hit(event, "tap", true));
zone.addEventListener("pointercancel", (event) => hit(event, "tap", true));
document.addEventListener("keydown", (event) => {
  if (!conductor || conductor.phase !== "running" || event.repeat || event.key === "Tab") return;
  if (event.key === "Escape") { stop(); return; }
  if (event.target.closest && event.target.closest("[data-stop]")) return;
  if (drives(event)) return;
  hit(event, `key ${event.key}`.slice(0, 20));
});
document.addEventListener("keyup", (event) => {
  if (event.key === "Tab" || event.key === "Escape" || drives(event)) return;
  hit(event, `key ${event.key}`.slice(0, 20), true);
});
document.addEventListener("visibilitychange", () => {
  if (document.hidden && conductor && conductor.phase === "running" && !watching()) conductor.end("void", words.hidden);
  // A lock on the screen is gone once the page was hidden.
  if (!document.hidden && conductor && conductor.phase === "running") stayAwake();
});
// The back button in the middle: nobody hears the cues any more.
window.addEventListener("pagehide", () => {
  if (!conductor || conductor.phase !== "running" || watching()) return;
  conductor.end("void", words.left);
  if (conductor.live) return; // the server ends it, with why, and frees the seat
  send(taps("void", words.left));
  chair.leave(); // whoever opens it again finds the seat free
});

function stop() { if (conductor) conductor.end("stopped", ""); }
root.querySelector("[data-stop]").addEventListener("click", stop);

async function finish(now) {
  const { phase, why } = conductor;
  const drove = !watching();
  if (sound && drove) {
    sound.hush();
    if (!wants("quiet") && clock.sounds) sound.tone(phase === "done" ? "done" : "stop", clock.now() + 0.02);
    if (wants("vibrate")) shake(phase === "done" ? "wait" : "stop");
  }
  sleep();
  other(null);
  root.dataset.phase = phase;
  face.draw(conductor.view(now), now);
  const safe = conductor.plan.safe_state;
  told({ done: words.done, lost: `${words.lost_attempt} ${why} ${safe}`, stopped: `${words.stopped} ${safe}`, void: `${words.void} ${why} ${safe}` }[phase]);
  if (conductor.live) await waitFor(conductor.id);
  else await send(taps(phase, why));
  chair.leave();
}

function taps(phase, why) {
  return { id: chair.id, phase, why, taps: conductor.taps.slice(0, 2000), watched_s: conductor.watched(clock.now()), person: text("person"), device: { early_ms: 1000 * sound.early, latency_ms: 1000 * clock.latency, lead_ms: amount("lead") } };
}

// What came of an attempt that the server followed: also where it was killed and is back again.
async function waitFor(id) {
  let away = false;
  for (;;) {
    try {
      const answer = await fetch(`${root.dataset.car}/coached/${id}`);
      if (!answer.ok) throw new Error();
      const { see } = await answer.json();
      lost.hidden = true;
      if (see) { if (root.hasAttribute("data-after")) told(words.done); if (away) told(`${words.again} ${conductor.plan.safe_state}`); show(see); return; }
    } catch { away = true; lost.hidden = false; }
    root.toggleAttribute("data-after", Boolean(conductor.after));
    if (conductor.after) told(conductor.after);
    await new Promise((done) => setTimeout(done, 500));
  }
}

// Nothing lost: where the server does not answer the taps stay here and are sent when it does.
async function send(attempt) {
  kept.over(attempt);
  for (;;) {
    try { const { see, why } = await kept.send(attempt); show(see); if (why) told(why); return; } catch { root.querySelector("[data-unsent]").hidden = false; }
    await new Promise((done) => setTimeout(done, 3000));
  }
}

function show(address) {
  root.querySelector("[data-unsent]").hidden = true;
  root.removeAttribute("data-after");
  if (!address) return;
  const link = root.querySelector("[data-see]");
  link.href = address;
  link.hidden = false;
  link.focus();
}

for (const one of kept.left()) send(one);
if (live && root.dataset.runs) other(true);
// Nobody presses a button that nothing listens to yet.
for (const one of root.querySelectorAll("[data-check], [data-start]")) one.disabled = false;
root.dataset.ready = "yes";
