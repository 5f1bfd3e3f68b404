// The coach's clock is the sound card's: cues are laid on it ahead of time, and taps are read on it.
// Where there is no sound, the computer's own monotonic clock takes its place.

const AWAY_S = 1.5; // without a frame for so long, the device slept or stood still
const JUMP_S = 0.3; // sound that jumps against the computer's clock has been interrupted

export class Clock {
  constructor(words) {
    this.words = words;
    this.context = null;
    this.shift = 0; // audio clock minus performance clock [s]
    this.seen = null;
    this.lost = "";
  }

  async open(quiet) {
    this.lost = "";
    this.seen = null;
    if (quiet) return this.close();
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) return;
    if (!this.context) this.context = new Context({ latencyHint: "interactive" });
    await Promise.race([this.context.resume(), new Promise((done) => setTimeout(done, 1000))]);
    if (this.context.state !== "running") return this.close();
    this.shift = this.context.currentTime - performance.now() / 1000;
  }

  close() {
    if (this.context) this.context.close();
    this.context = null;
  }

  get sounds() { return this.context !== null && this.context.state === "running"; }

  // How late sound is by the device's own account [s].
  get latency() { return this.context ? this.context.outputLatency || this.context.baseLatency || 0 : 0; }

  now() { return this.at(performance.now()); }

  // A moment of the computer's clock, such as an event's time stamp [ms], on this clock [s].
  at(milliseconds) { return milliseconds / 1000 + this.shift; }

  // Once a frame: follow the sound card's clock, and notice whether time was lost.
  look() {
    const now = performance.now() / 1000;
    if (this.seen !== null && now - this.seen > AWAY_S) this.lost = this.words.stood.replace("{n}", (now - this.seen).toFixed(1));
    this.seen = now;
    if (!this.context) return;
    if (this.context.state !== "running") { this.lost = this.words.muted; return; }
    const away = this.context.currentTime - now - this.shift;
    if (Math.abs(away) > JUMP_S) { this.lost = this.words.stuck; this.shift += away; } else this.shift += 0.05 * away;
  }
}
