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
    this.day = 0; // the day's clock at the last look [s]
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

  // Once a frame: follow the sound card's clock, and notice whether time was lost. While a device
  // sleeps its monotonic clock may stand still; the day's clock goes on.
  look() {
    const now = performance.now() / 1000;
    const day = Date.now() / 1000;
    const away = this.seen === null ? 0 : Math.max(now - this.seen, day - this.day);
    if (away > AWAY_S) this.lost = this.words.stood.replace("{n}", away.toLocaleString(document.documentElement.lang, { maximumFractionDigits: 1 }));
    [this.seen, this.day] = [now, day];
    if (!this.context) return;
    if (this.context.state !== "running") { this.lost = this.words.muted; return; }
    const off = this.context.currentTime - now - this.shift;
    if (Math.abs(off) > JUMP_S) { this.lost = this.words.stuck; this.shift += off; } else this.shift += 0.05 * off;
  }
}
