// Conducts an attempt that the server follows on the car's own signals: it says what is next a
// third of a second ahead, moves the plan with what was really done, and tells at once what is lost.

export class LiveConductor {
  constructor(plan, base, clock) {
    Object.assign(this, { plan, base, clock, live: true, phase: "ready", why: "", cues: [], taps: [], paused: null, index: 0, moved: false });
    this.progress = null;
    this.seen = null;
    this.address = "";
    this.showing = null;
    this.away = Infinity; // how well the server's clock is known [s]
    this.shift = 0; // performance clock minus the server's [s]
  }

  async begin() {
    await this.sync(6);
    const answer = await fetch(`${this.base}/live`, { method: "POST" });
    if (!answer.ok) throw new Error((await answer.json().catch(() => ({}))).error || "");
    this.phase = "running";
    this.events = new EventSource(`${this.base}/live`);
    this.events.onmessage = (event) => this.hear(JSON.parse(event.data));
  }

  async sync(times) {
    for (let count = 0; count < times; count += 1) {
      const asked = performance.now() / 1000;
      const { now_s } = await (await fetch(`${this.base}/clock`)).json();
      const got = performance.now() / 1000;
      if (got - asked < this.away) { this.away = got - asked; this.shift = (asked + got) / 2 - now_s; }
    }
  }

  // A moment of the server's clock on the coach's clock [s].
  at(server) { return server + this.shift + this.clock.shift; }

  hear(told) {
    for (const cue of told.cues || []) this.cues.push({ ...cue, when: this.at(cue.at_s) });
    if (told.progress) this.progress = { ...told.progress, heard: this.clock.now() };
    if (told.seen) this.seen = told.seen;
    if (told.trace) document.dispatchEvent(new CustomEvent("pedal", { detail: told.trace }));
    if (told.seen) document.dispatchEvent(new CustomEvent("seat", { detail: told.seen }));
    if (told.phase && told.phase !== "running" && this.phase === "running") { this.phase = told.phase; this.why = told.why || ""; }
    if (told.see) { this.address = told.see; this.events.close(); if (this.showing) this.showing(told.see); }
  }

  take(now) {
    const due = this.cues.filter((cue) => cue.when <= now);
    this.cues = this.cues.filter((cue) => cue.when > now);
    return due;
  }

  upcoming(until) { return this.cues.filter((cue) => cue.when <= until); }

  // In the practice car taps move key and pedal; elsewhere they mark what is awaited.
  tap() { return null; }

  end(phase, why) {
    if (this.phase !== "running") return;
    this.phase = phase;
    this.why = why;
    fetch(`${this.base}/live/stop`, { method: "POST" }).catch(() => {});
  }

  mark() { fetch(`${this.base}/live/mark`, { method: "POST" }).catch(() => {}); }

  see(showing) { this.showing = showing; if (this.address) showing(this.address); }

  view(now) {
    const told = this.progress;
    if (!told) return { phase: this.phase, step: null, place: 0, of: 0, elapsed: 0, left: 0, length: 0, nextIn: Infinity, next: "", awaits: "", means: "" };
    const since = now - told.heard;
    // What was handed over early and is still to come is next, whatever the server looks at.
    const coming = this.cues.filter((cue) => cue.kind === "now" && cue.edge >= 0).sort((a, b) => a.when - b.when)[0];
    const nextIn = coming ? coming.when - now : told.next_in_s === null ? Infinity : told.next_in_s - since;
    return {
      phase: this.phase, why: this.why, step: told.step ? this.plan.steps[told.step] : null, place: told.place, of: told.of,
      elapsed: told.elapsed_s + since, left: told.left_s - since, length: told.length_s, awaits: told.awaits,
      next: coming ? coming.text : told.next_say, nextIn, paused: false, means: "",
    };
  }
}
