// Conducts an attempt that the server follows on the car's own signals: it says what is next a
// third of a second ahead, moves the plan with what was really done, and tells at once what is lost.

const OLD_S = 1; // a cue older than this was for whoever looked on before
const PATIENCE_S = 2; // without the server for so long, nobody coaches any more
const SILENT_S = 3; // it tells of itself every half second: a connection this still is dead, too
const LOOK_S = 0.25; // a page that stood still itself has not listened for longer

export class LiveConductor {
  constructor(plan, base, clock, words, marks) {
    Object.assign(this, { plan, base, clock, words, marks, live: true, phase: "ready", why: "", cues: [], taps: [], paused: null, index: 0, moved: false });
    this.drives = false;
    this.progress = null;
    this.id = ""; // the attempt's
    this.seat = ""; // this page's, where it drives
    this.away = Infinity; // how well the server's clock is known [s]
    this.shift = 0; // performance clock minus the server's [s]
    this.gone = null; // since when the server has not been heard [s]
    this.silent = 0; // for how long nothing came while this page listened [s]
    this.looked = null;
    this.after = "";
  }

  // Whether nobody knows what the car does now.
  get unheard() { return this.gone !== null || this.silent > SILENT_S / 2; }

  async begin(now, wish) {
    await this.sync(6);
    const answer = await fetch(`${this.base}/live`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(wish) });
    if (!answer.ok) throw new Error(await sentence(answer) || this.words.lost);
    this.unmet = (await answer.json()).unmet;
    this.id = this.seat = wish.id;
    this.drives = true;
    this.listen();
  }

  // Look on at what another page drives.
  async watch() {
    await this.sync(6);
    this.listen();
  }

  listen() {
    this.phase = "running";
    this.events = new EventSource(`${this.base}/live`);
    this.events.onmessage = (event) => { this.gone = null; this.silent = 0; this.hear(JSON.parse(event.data)); };
    this.events.onerror = () => { if (this.gone === null) this.gone = performance.now() / 1000; };
  }

  async sync(times) {
    for (let count = 0; count < times; count += 1) {
      const asked = performance.now() / 1000;
      const { now_s } = await (await fetch(`${this.base}/clock`)).json();
      const got = performance.now() / 1000;
      if (got - asked < this.away) { this.away = got - asked; this.shift = (asked + got) / 2 - now_s; }
    }
  }

  // A moment of the server's clock on the coach's clock, and back [s].
  at(server) { return server + this.shift + this.clock.shift; }
  server(now) { return now - this.shift - this.clock.shift; }

  hear(told) {
    this.id = told.id;
    for (const cue of told.cues || []) if (cue.at_s > told.now_s - OLD_S) this.cues.push({ ...cue, when: this.at(cue.at_s) });
    if (told.progress) this.progress = { ...told.progress, heard: this.clock.now() };
    this.after = told.after;
    document.dispatchEvent(new CustomEvent("signals", { detail: told }));
    if (told.seen) document.dispatchEvent(new CustomEvent("seat", { detail: told.seen }));
    if (told.phase && told.phase !== "running" && this.phase === "running") { this.phase = told.phase; this.why = told.why || ""; }
    if (told.see || told.trouble) this.events.close();
  }

  take(now) {
    const look = performance.now() / 1000;
    this.silent += Math.min(look - (this.looked ?? look), LOOK_S);
    this.looked = look;
    if (this.gone !== null && look - this.gone > PATIENCE_S) this.end("void", this.words.lost);
    // Whoever only watches goes on watching where another page still drives.
    if (this.drives && this.silent > SILENT_S) this.end("void", this.words.lost);
    const due = this.cues.filter((cue) => cue.when <= now);
    this.cues = this.cues.filter((cue) => cue.when > now);
    return due;
  }

  upcoming(until) { return this.cues.filter((cue) => cue.when <= until); }

  // Taps tell that the awaited has come; in the practice car only what no signal shows.
  tap(at, stamp, up = false) { if (this.marks && this.drives && !up) this.tell("mark", { id: this.seat }); return null; }

  tell(what, body) {
    return fetch(`${this.base}/live/${what}`, { method: "POST", keepalive: true, headers: { "content-type": "application/json" }, body: JSON.stringify(body) }).catch(() => {});
  }

  // Anybody may stop; only who drives holds it void.
  end(phase, why) {
    if (this.phase !== "running") return;
    this.phase = phase;
    this.why = why;
    this.cues = [];
    if (phase === "stopped") this.tell("stop", {});
    else if (this.drives) this.tell("void", { id: this.seat, why });
  }

  view(now) {
    const told = this.progress;
    if (!told) return { phase: this.phase, step: null, place: 0, of: 0, elapsed: 0, left: 0, length: 0, nextIn: Infinity, next: "", awaits: "", means: "" };
    const since = told.stands ? 0 : now - told.heard;
    // What was handed over early and is still to come is next, whatever the server looks at.
    const coming = told.stands ? undefined : this.cues.filter((cue) => cue.kind === "now" && cue.edge >= 0).sort((a, b) => a.when - b.when)[0];
    const nextIn = coming ? coming.when - now : told.next_in_s === null ? Infinity : told.next_in_s - since;
    return {
      phase: this.phase, why: this.why, step: told.step ? this.plan.steps[told.step] : null, place: told.place, of: told.of,
      elapsed: told.elapsed_s + since, left: told.left_s - since, length: told.length_s, awaits: told.awaits,
      next: coming ? coming.text : told.next_say, nextIn, paused: told.stands, means: this.marks ? told.means : "",
    };
  }
}

// The one sentence of an answer that is no yes, whether it came as data or as a page.
export async function sentence(answer) {
  const text = await answer.text();
  try { return JSON.parse(text).error || ""; } catch { /* a page */ }
  const page = new DOMParser().parseFromString(text, "text/html");
  return (page.querySelector(".sorry") || page.body).textContent.trim();
}
