// Conducts an attempt from its plan alone: which stretch, which step, which cue, what a tap means.
// No sound and no page here; times are seconds on the coach's clock.

const NEAR_S = 2.5; // a tap this far from an action still means it
const SETTLED_S = 1.0; // so long after a step began, a tap means the event that it waits for

export class Conductor {
  constructor(plan, words) {
    this.plan = plan;
    this.words = words;
    this.phase = "ready";
    this.why = "";
    this.taps = [];
    this.marked = new Set();
    this.paused = null;
    this.came = new Set(); // what stops a clock, and has not been told to be over
    this.live = false;
  }

  begin(now) {
    this.phase = "running";
    this.began = now + 0.3;
    this.first = this.began + this.plan.count_in_s;
    this.load(0, this.first, now);
  }

  load(index, origin, now) {
    this.index = index;
    this.origin = origin;
    this.stretch = structuredClone(this.plan.stretches[index]);
    this.stretch.edges.forEach((edge) => { edge.tapped = false; });
    // By how much each action is called before its time.
    for (const cue of this.stretch.cues) {
      const edge = cue.edge < 0 ? null : this.stretch.edges[cue.edge];
      if (edge && (cue.kind === "now" || cue.kind === "beat")) edge.lead = edge.at_s - cue.at_s;
    }
    this.cues = this.stretch.cues.map((cue) => ({ ...cue, when: Math.max(origin + cue.at_s, now) }));
    this.cues.sort((a, b) => a.when - b.when);
  }

  // Cues that are due, taken out; and the end where its time has come.
  take(now) {
    this.now = now;
    if (this.phase !== "running" || this.paused !== null) return [];
    const due = [];
    while (this.cues.length && this.cues[0].when <= now) due.push(this.cues.shift());
    if (this.pause(now)) return due;
    if (now >= this.origin + this.stretch.ends_s) this.over();
    return due;
  }

  upcoming(until) { return this.phase === "running" && this.paused === null ? this.cues.filter((cue) => cue.when <= until) : []; }

  over() {
    const waits = this.stretch.waits;
    if (waits) this.end("lost", this.words.late.replace("{n}", waits.timeout_s).replace("{what}", waits.words));
    else if (this.index + 1 < this.plan.stretches.length) this.load(this.index + 1, this.origin + this.stretch.ends_s, this.origin + this.stretch.ends_s);
    else this.end("done", "");
  }

  end(phase, why) {
    if (this.phase !== "running" && this.phase !== "ready") return;
    this.phase = phase;
    this.why = why;
    this.cues = [];
    if (this.now !== undefined) this.ended = this.now;
  }

  slot(now) {
    let found = null;
    const at = Math.min(now, this.paused ?? now); // a clock that stands stays in its step
    for (const slot of this.stretch.slots) if (at >= this.origin + slot.begin_s - 1e-9) found = slot;
    return found || (this.index ? this.stretch.slots[0] : null);
  }

  // What a tap at a moment would mean: an event of the car, or the nearest action.
  meaning(now) {
    const slot = this.phase === "running" ? this.slot(now) : null;
    if (slot) {
      const step = this.plan.steps[slot.step];
      if (step.stops.length) return step.stops[this.came.has(step.stops[0].event) ? 1 : 0];
      const into = now - this.origin - slot.begin_s;
      const due = this.nearest(now, 1.0);
      if (step.event && !this.marked.has(`${this.index} ${step.event}`) && into > SETTLED_S && !due) return { event: step.event, words: step.event_words };
    }
    const edge = this.phase === "running" ? this.nearest(now, NEAR_S) : null;
    return edge ? { edge, words: this.plan.steps[edge.step].say } : { words: "" };
  }

  nearest(now, within) {
    let best = null;
    for (const edge of this.stretch.edges) {
      if (edge.tapped) continue;
      const away = Math.abs(now - this.origin - edge.at_s);
      if (away <= within && (!best || away < Math.abs(now - this.origin - best.at_s))) best = edge;
    }
    return best;
  }

  // A tap went down (or a knuckle came off again, which means something for the pedal only).
  tap(at, stamp, up = false) {
    if (this.phase !== "running") return null;
    const found = this.meaning(at);
    const pedal = found.edge && (found.edge.action === "press" || found.edge.action === "release");
    if (up && !(pedal && found.edge.action === "release")) return null;
    if (found.event) { this.note(found.event, at, stamp); this.mark(found.event, at); return found; }
    if (found.edge) {
      const { step, kind, number, action, at_s, lead } = found.edge;
      found.edge.tapped = true;
      const called = lead === undefined ? {} : { step, kind, number, cued_s: Math.max(this.origin + at_s - lead - this.began, 0) };
      this.note(action === "other" ? step : action, at, { ...stamp, ...called });
      return found;
    }
    if (!up) this.note("", at, stamp);
    return null;
  }

  note(means, at, stamp) { this.taps.push({ means, at_s: Math.max(at - this.began, 0), ...stamp }); }

  // Up to when whoever taps was at it: what ends the last step would have been tapped until then.
  // The clock of the taps and the other one are a few milliseconds apart.
  watched(now) { return Math.max((this.ended ?? now) - this.began, 0, ...this.taps.map((one) => one.at_s)); }

  mark(event, at) {
    this.marked.add(`${this.index} ${event}`);
    for (const [stop, go] of Object.values(this.plan.steps).filter((one) => one.stops.length).map((one) => one.stops)) {
      if (event === stop.event) this.came.add(stop.event);
      else if (event === go.event) this.came.delete(stop.event);
    }
    this.pause(at);
    const waits = this.stretch.waits;
    const since = this.origin + this.stretch.slots.at(-1).begin_s;
    if (!waits || waits.event !== event || at < since) return undefined;
    if (this.index + 1 === this.plan.stretches.length) return this.end("done", "");
    const least = this.plan.steps[this.stretch.slots.at(-1).step].least_s;
    return this.load(this.index + 1, Math.max(at, since + least), at);
  }

  // A clock that one event stops and another lets run on; what stops it may have come before the step.
  pause(at) {
    const slot = this.slot(at);
    const stops = slot ? this.plan.steps[slot.step].stops : [];
    if (!stops.length) return this.paused !== null;
    const stands = this.came.has(stops[0].event);
    const begins = this.origin + slot.begin_s;
    if (this.paused === null && stands && at >= begins) this.paused = at;
    else if (this.paused !== null && !stands) this.goOn(slot, at - this.paused);
    return this.paused !== null;
  }

  goOn(slot, by) {
    this.paused = null;
    this.cues.forEach((cue) => { cue.when += by; cue.at_s += by; });
    for (const one of this.stretch.slots) {
      if (one.begin_s > slot.begin_s) one.begin_s += by;
      if (one.end_s !== null && one.end_s > slot.begin_s) one.end_s += by;
    }
    this.stretch.edges.forEach((edge) => { if (edge.at_s > slot.begin_s + 1e-9) edge.at_s += by; });
    this.stretch.ends_s += by;
  }

  // What a face shows now.
  view(now) {
    const slot = this.stretch ? this.slot(now) : null;
    const step = slot ? this.plan.steps[slot.step] : null;
    const elapsed = slot ? (this.paused ?? now) - this.origin - slot.begin_s : 0;
    const awaits = Boolean(slot && slot.end_s === null && this.stretch.waits);
    const length = slot ? (awaits ? this.stretch.waits.timeout_s : slot.end_s === null ? 0 : slot.end_s - slot.begin_s) : 0;
    const next = this.cues && this.cues.find((cue) => cue.kind === "now" && cue.edge >= 0);
    const names = Object.keys(this.plan.steps);
    return {
      phase: this.phase, why: this.why, step, place: slot ? names.indexOf(slot.step) + 1 : 0, of: names.length,
      elapsed: Math.max(elapsed, 0), left: Math.max(length - elapsed, 0), length, awaits: awaits ? this.stretch.waits.words : "",
      next: next ? next.text : "", nextIn: next ? next.when - (this.paused ?? now) : Infinity, paused: this.paused !== null,
      means: this.meaning(now).words,
    };
  }
}
