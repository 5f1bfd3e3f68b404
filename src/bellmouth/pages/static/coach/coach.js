// The coach on the page: start, cues on the audio clock, taps as evidence, stop, and what came of it.

import { Clock } from "./clock.js";
import { Conductor } from "./conduct.js";
import { Face } from "./face.js";
import { LiveConductor } from "./live.js";
import { Sound, say, shake } from "./sound.js";

const AHEAD_S = 20; // sound is laid on the clock so far ahead
const root = document.querySelector("[data-coach]");
const words = JSON.parse(root.dataset.words);
const base = root.dataset.coach;
const clock = new Clock();
const face = new Face(root, words);
const settings = root.querySelector("form[data-settings]");
let conductor = null;
let sound = null;
let lock = null;
let laid = new Set();

// Kept on this device: its sound is as late tomorrow as it is today.
for (const field of settings.elements) {
  if (!field.name) continue;
  const kept = localStorage.getItem(`coach ${field.name}`);
  if (kept !== null) { if (field.type === "checkbox") field.checked = kept === "true"; else field.value = kept; }
  field.addEventListener("change", () => localStorage.setItem(`coach ${field.name}`, field.type === "checkbox" ? String(field.checked) : field.value));
}
const wants = (name) => settings.elements[name].checked;
const amount = (name) => Number(String(settings.elements[name].value).replace(",", ".")) || 0;

function told(text) { root.querySelector("[data-told]").textContent = text; }

async function plan() {
  const answer = await fetch(`${base}/plan?quiet=${wants("quiet")}&lead_ms=${amount("lead")}`);
  if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).error || words.lost);
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
  told(Object.keys(made.tones_hz).join(", "));
});

root.querySelector("[data-start]").addEventListener("click", async () => {
  try {
    const made = await plan();
    await prepare(made.tones_hz);
    conductor = root.dataset.live ? new LiveConductor(made, base, clock) : new Conductor(made);
    laid = new Set();
    face.flashes = wants("flash");
    await stayAwake();
    await conductor.begin(clock.now());
    root.dataset.phase = "running";
    if (!clock.sounds && !wants("quiet")) told(words.silent);
    root.querySelector(conductor.live ? "[data-act=pedal]" : "[data-zone]").focus({ preventScroll: true });
    root.scrollIntoView();
    requestAnimationFrame(frame);
  } catch (error) { told(error.message); }
});

async function stayAwake() {
  try { lock = navigator.wakeLock ? await navigator.wakeLock.request("screen") : null; } catch { lock = null; }
  root.querySelector("[data-awake]").hidden = lock !== null;
}

function frame() {
  if (!conductor) return;
  clock.look();
  if (clock.lost && conductor.phase === "running") conductor.end("void", clock.lost);
  const now = clock.now();
  lay(now);
  for (const cue of conductor.take(now)) give(cue);
  face.draw(conductor.view(now), now);
  if (conductor.phase === "running") requestAnimationFrame(frame);
  else finish(now);
}

// Every tone is scheduled on the audio clock before its time; a plan that moved is laid anew.
function lay(now) {
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
  if (cue.kind === "say" && cue.sounds && wants("voice") && !wants("quiet")) say(cue.text);
  if (wants("vibrate") && (cue.kind === "now" || cue.kind === "beat" || cue.kind === "lead")) shake(cue.tone);
}

function stamp(event, source) {
  return { performance_ms: event.timeStamp, audio_s: clock.context ? clock.context.currentTime : 0, source };
}

function hit(event, source, up = false) {
  if (!conductor || conductor.phase !== "running") return;
  event.preventDefault();
  const before = conductor.index;
  conductor.tap(clock.at(event.timeStamp), stamp(event, source), up);
  if (conductor.index !== before || conductor.paused !== null) { sound.hush(); laid = new Set(); }
  const zone = root.querySelector("[data-zone]");
  zone.classList.toggle("down", !up);
}

const zone = root.querySelector("[data-zone]");
zone.addEventListener("pointerdown", (event) => { zone.setPointerCapture(event.pointerId); hit(event, "tap"); });
zone.addEventListener("pointerup", (event) => hit(event, "tap", true));
zone.addEventListener("pointercancel", (event) => hit(event, "tap", true));
document.addEventListener("keydown", (event) => {
  if (!conductor || conductor.phase !== "running" || event.repeat || event.key === "Tab") return;
  if (event.key === "Escape") { stop(); return; }
  if (event.target.closest && event.target.closest("[data-stop]")) return;
  hit(event, `key ${event.key}`.slice(0, 20));
});
document.addEventListener("keyup", (event) => {
  if (event.key === "Tab" || event.key === "Escape") return;
  hit(event, `key ${event.key}`.slice(0, 20), true);
});
document.addEventListener("visibilitychange", () => {
  if (document.hidden && conductor && conductor.phase === "running") conductor.end("void", words.hidden);
});

function stop() { if (conductor) conductor.end("stopped", ""); }
root.querySelector("[data-stop]").addEventListener("click", stop);

async function finish(now) {
  const { phase, why } = conductor;
  sound.hush();
  if (!wants("quiet") && clock.sounds) sound.tone(phase === "done" ? "done" : "stop", clock.now() + 0.02);
  if (wants("vibrate")) shake(phase === "done" ? "wait" : "stop");
  if (lock) lock.release().catch(() => {});
  root.dataset.phase = phase;
  face.draw(conductor.view(now), now);
  const safe = conductor.plan.safe_state;
  told({ done: words.done, lost: `${words.lost_attempt} ${why} ${safe}`, stopped: `${words.stopped} ${safe}`, void: `${words.void} ${why} ${safe}` }[phase]);
  if (conductor.live) { conductor.see((address) => show(address)); return; }
  const taps = { phase, why, taps: conductor.taps.slice(0, 2000), device: { early_ms: 1000 * sound.early, latency_ms: 1000 * clock.latency, lead_ms: amount("lead") } };
  sessionStorage.setItem(`taps ${base}`, JSON.stringify(taps));
  await send(taps);
}

// Nothing lost: where the server does not answer the taps stay here and are sent when it does.
async function send(taps) {
  try {
    const answer = await fetch(`${base}/attempt`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(taps) });
    if (!answer.ok) throw new Error();
    sessionStorage.removeItem(`taps ${base}`);
    show((await answer.json()).see);
  } catch {
    root.querySelector("[data-unsent]").hidden = false;
    setTimeout(() => send(taps), 3000);
  }
}

function show(address) {
  root.querySelector("[data-unsent]").hidden = true;
  const link = root.querySelector("[data-see]");
  link.href = address;
  link.hidden = false;
  link.focus();
}

const unsent = sessionStorage.getItem(`taps ${base}`);
if (unsent) send(JSON.parse(unsent));
root.dataset.ready = "yes";
